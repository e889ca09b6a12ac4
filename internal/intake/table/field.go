package table

import "bytes"

// maxQuoted bounds a quoted cell: beyond it an opening quote is taken for a
// stray one, lest it swallow the file.
const (
	maxQuoted      = 64 << 10
	maxQuotedLines = 50
)

// field returns the trimmed text of the cell at pos of b, which ends in '\n';
// the place after its delimiter or of its line end; whether the line ends
// there; the line breaks inside the cell; and what is wrong with its quotes.
func field(b []byte, pos int, delim byte) (text []byte, next int, end bool, lines int, issue string) {
	if delim == ' ' {
		return blankField(b, pos)
	}
	i := pos
	for b[i] == ' ' && delim != ' ' {
		i++
	}
	if b[i] == '"' {
		if text, next, lines, ok := quoted(b, i); ok {
			rest := next
			for b[rest] == ' ' {
				rest++
			}
			switch c := b[rest]; {
			case c == delim:
				return text, rest + 1, false, lines, ""
			case c == '\n' || c == '\r':
				return text, rest, true, lines, ""
			}
			// Text after the closing quote: not RFC 4180. Keep the cell as it stands.
			issue = "text after a closing quote"
		} else {
			issue = "a quote that does not close"
		}
	}
	for i = pos; b[i] != delim && b[i] != '\n' && b[i] != '\r'; i++ {
	}
	text = b[pos:i]
	if n := len(text); n > 0 && (mayTrim(text[0]) || mayTrim(text[n-1])) {
		text = bytes.Trim(text, " \t\u00a0")
	}
	if b[i] == delim {
		return text, i + 1, false, 0, issue
	}
	return text, i, true, 0, issue
}

// mayTrim tells whether a cell that begins or ends in c may have blanks there.
func mayTrim(c byte) bool { return c <= ' ' || c >= 0x80 }

// quoted reads the quoted cell that opens at i; next is past its closing quote.
func quoted(b []byte, i int) (text []byte, next, lines int, ok bool) {
	i++
	start := i
	var buf []byte
	for ; i < len(b) && i-start < maxQuoted; i++ {
		switch b[i] {
		case '"':
			if i+1 < len(b) && b[i+1] == '"' {
				buf = append(buf, b[start:i+1]...)
				i++
				start = i + 1
				continue
			}
			if buf == nil {
				return b[start:i], i + 1, lines, true
			}
			return append(buf, b[start:i]...), i + 1, lines, true
		case '\n':
			if lines++; lines > maxQuotedLines {
				return nil, 0, 0, false
			}
		}
	}
	return nil, 0, 0, false
}

// blankField is field for cells parted by runs of blanks.
func blankField(b []byte, pos int) (text []byte, next int, end bool, lines int, issue string) {
	for b[pos] == ' ' || b[pos] == '\t' {
		pos++
	}
	i := pos
	for b[i] != ' ' && b[i] != '\t' && b[i] != '\n' && b[i] != '\r' {
		i++
	}
	text = b[pos:i]
	for b[i] == ' ' || b[i] == '\t' {
		i++
	}
	return text, i, b[i] == '\n' || b[i] == '\r', 0, ""
}

// splitLine cuts one record (no line end needed) in its cells.
func splitLine(line []byte, delim byte) []string {
	b := append(append(make([]byte, 0, len(line)+1), line...), '\n')
	out := make([]string, 0, bytes.Count(line, []byte{delim})+1)
	// Without quotes every cell is a piece of the line: one string serves them all.
	whole := ""
	if bytes.IndexByte(line, '"') < 0 {
		whole = string(b)
	}
	for pos := 0; ; {
		text, next, end, _, _ := field(b, pos, delim)
		if n := len(text); n > 0 && whole != "" {
			from := cap(b) - cap(text)
			out = append(out, whole[from:from+n])
		} else {
			out = append(out, string(text))
		}
		if end || len(out) > maxColumns {
			return out
		}
		pos = next
	}
}

// maxColumns bounds the columns of a table.
const maxColumns = 100_000

// put stores m/10^k in row; the column's common power grows as needed, and a
// value that does not fit turns the column block to floats.
func (c *ColumnBlock) put(row int, m int64, k, room int) {
	if c.Float != nil {
		c.Float[row] = float64(m) / pow10[k]
		return
	}
	switch {
	case k < c.Decimals:
		f := ipow10[c.Decimals-k]
		if m > maxMant/f || m < -maxMant/f {
			c.toFloat(row, room)
			c.Float[row] = float64(m) / pow10[k]
			return
		}
		m *= f
	case k > c.Decimals:
		f := ipow10[k-c.Decimals]
		for i, v := range c.Mant[:row] {
			if v != Blank && (v > maxMant/f || v < -maxMant/f) {
				c.toFloat(row, room)
				c.Float[row] = float64(m) / pow10[k]
				return
			}
			_ = i
		}
		for i, v := range c.Mant[:row] {
			if v != Blank {
				c.Mant[i] = v * f
			}
		}
		c.Decimals = k
	}
	c.Mant[row] = m
}

// putFloat stores a value that is no short decimal.
func (c *ColumnBlock) putFloat(row int, f float64, room int) {
	if c.Float == nil {
		c.toFloat(row, room)
	}
	c.Float[row] = f
}

// putFloat2 stores a value that stands for a word.
func (c *ColumnBlock) putFloat2(row int, f float64, room int) {
	if f == float64(int64(f)) {
		c.put(row, int64(f), 0, room)
		return
	}
	c.putFloat(row, f, room)
}

func (c *ColumnBlock) blank(row int) {
	if c.Float != nil {
		c.Float[row] = nan
		return
	}
	c.Mant[row] = Blank
}

func (c *ColumnBlock) toFloat(row, room int) {
	f := make([]float64, max(room, row+1))
	div := pow10[c.Decimals]
	for i, m := range c.Mant[:row] {
		if m == Blank {
			f[i] = nan
		} else {
			f[i] = float64(m) / div
		}
	}
	c.Float = f
}

// finish cuts the column to its rows and counts its blanks.
func (c *ColumnBlock) finish(rows int) {
	if c.Float != nil {
		c.Float = c.Float[:rows]
		for _, f := range c.Float {
			if f != f {
				c.Blanks++
			}
		}
		return
	}
	c.Mant = c.Mant[:rows]
	for _, m := range c.Mant {
		if m == Blank {
			c.Blanks++
		}
	}
}
