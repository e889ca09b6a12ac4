package intake

import (
	"bytes"
	"errors"
	"fmt"
	"io"

	"cornerwright/internal/intake/table"
	"cornerwright/internal/recording"
	"cornerwright/internal/say"
)

// sniffText states the dialect of a delimited table from the head of r; rest is
// the whole text again.
func sniffText(name string, r io.Reader, opts Options) (d *table.Dialect, rest io.Reader, err error) {
	head := make([]byte, table.HeadSize)
	n, err := io.ReadFull(r, head)
	head = head[:n]
	whole := err == io.EOF || err == io.ErrUnexpectedEOF
	over := table.Overrides{}
	if m := opts.Map; m != nil {
		if m.Decimal != "" {
			over.Decimal = m.Decimal[0]
		}
		if m.Delimiter != "" {
			over.Delimiter = m.Delimiter[0]
		}
		over.HeaderRow, over.NoHeader = m.HeaderLine, m.NoHeader
	}
	d, err = table.Sniff(head, whole, over)
	if err != nil {
		var nt *table.NoTable
		if errors.As(err, &nt) {
			return nil, nil, &Error{File: name, Line: nt.Line, Column: nt.Column, Text: nt.Text, Mend: nt.Mend, Source: nt.Source}
		}
		return nil, nil, &Error{File: name, Text: say.Of(err)}
	}
	if d.Line == 0 && (opts.Map == nil || len(opts.Map.Columns) == 0) {
		return nil, nil, &Error{File: name, Line: d.DataLine, Column: 1, Text: say.T("no header row: the table starts with numbers ({columns} columns)", len(d.Columns)),
			Mend: say.T("put a row of column names above the numbers, or give a column map with index = 1, 2, ..."), Source: firstLine(head[d.Offset:])}
	}
	return d, io.MultiReader(bytes.NewReader(head), r), nil
}

// readText reads a delimited table from r, decoded text of about size bytes.
func readText(name string, r io.Reader, size int64, opts Options) (*source, error) {
	d, r, err := sniffText(name, r, opts)
	if err != nil {
		return nil, err
	}
	s := &source{name: name, format: "text table", preamble: d.Preamble, headerLine: d.Line, headerText: table.Shorten([]byte(d.Header)), epochUnix: nan}
	for i := range d.Columns {
		c := &column{Column: d.Columns[i]}
		if senses, _ := match(c.Header); len(senses) > 0 && senses[0].channel == recording.Gear && c.Kind != table.Label {
			d.Columns[i].Words = gearWords
		}
		s.cols = append(s.cols, c)
	}
	var breaks []table.Break
	var read int64
	bad := make([]badCells, len(s.cols))
	err = table.Scan(r, d, opts.Workers, func(b *table.Block) error {
		for _, br := range b.Breaks {
			breaks = append(breaks, table.Break{Row: s.rows + br.Row, Line: br.Line})
		}
		for _, r := range b.Restart {
			s.restarts = append(s.restarts, s.rows+r)
		}
		for _, r := range b.LostAt {
			s.lostAt = append(s.lostAt, s.rows+r)
		}
		for _, is := range b.Issues {
			if len(s.problems) < 500 {
				s.problem(recording.Severity(is.Severity), is.Line, is.Column, "", is.Text, is.Mend)
			}
		}
		s.lostRows += b.LostRows
		s.lostBytes += int64(b.LostBytes)
		if b.Seq == 0 && b.Bytes > 0 {
			// Room for all rows at once: a column that grows by doubling touches
			// three times the memory, and fresh memory costs more than parsing.
			rows := int(float64(size)/float64(b.Bytes)*float64(b.Rows)*1.02) + 64
			if opts.sized {
				for _, c := range s.cols {
					if c.Kind != table.Skip {
						c.values = make([]float64, 0, max(rows, b.Rows))
					}
				}
			}
		}
		for i := range b.Cols {
			s.cols[i].take(&b.Cols[i])
			bad[i].add(&b.Cols[i])
		}
		s.rows += b.Rows
		read += int64(b.Bytes)
		if opts.Progress != nil {
			opts.Progress(Progress{Bytes: read, Total: size, Rows: s.rows})
		}
		return nil
	})
	if err != nil {
		line := 0
		if len(breaks) > 0 {
			last := breaks[len(breaks)-1]
			line = s.rows - last.Row + last.Line
		}
		s.problem(recording.Fault, line, 0, "", say.T("the file breaks off after {rows} rows: {why}", s.rows, err), say.T("what came before is kept; copy the file from the stick again if you can"))
	}
	if s.rows == 0 {
		return nil, &Error{File: name, Line: d.DataLine, Text: say.T("no row of data could be read"), Mend: say.T("give a table whose rows have as many cells as its header"), Source: s.headerText}
	}
	s.line = func(row int) int { return lineOf(breaks, row) }
	for i, c := range s.cols {
		if bad[i].n > 0 {
			s.problem(recording.Warning, bad[i].line, c.Index, "", say.T("column {header}: {n} {n|cell|cells} could not be read as {kind}, the first is {text}", fmt.Sprintf("%q", c.Header), bad[i].n, c.Kind, fmt.Sprintf("%q", shortCell(bad[i].text))), say.T(`they count as blanks; mend the cells, or leave the column out with channel = "ignore"`))
		}
		if bad[i].unit != "" && c.Unit == "" {
			c.Unit = bad[i].unit
		}
		if c.Kind == table.Degrees {
			c.Unit = "deg"
		}
		if c.Unit == "" && c.Kind == table.Clock {
			c.Unit = "s"
		}
	}
	return s, nil
}

var gearWords = map[string]float64{"n": 0, "neutral": 0, "leerlauf": 0, "folle": 0, "neutre": 0, "1st": 1, "2nd": 2, "3rd": 3, "4th": 4, "5th": 5, "6th": 6}

type badCells struct {
	n, line    int
	text, unit string
}

func (b *badCells) add(c *table.ColumnBlock) {
	n, line, text, u := c.Bad()
	if b.n == 0 {
		b.line, b.text = line, text
	}
	b.n += n
	if b.unit == "" {
		b.unit = u
	}
}

// take appends a block's cells.
func (c *column) take(b *table.ColumnBlock) {
	if c.Kind == table.Skip {
		return
	}
	if b.Float != nil {
		c.decimals = -1
	} else if c.decimals >= 0 {
		c.decimals = max(c.decimals, b.Decimals)
	}
	n := len(c.values)
	c.values = b.Values(c.values)
	if c.Kind == table.Label {
		to := make([]float64, len(b.Labels()))
		for i, w := range b.Labels() {
			j := -1
			for k, l := range c.labels {
				if l == w {
					j = k
				}
			}
			if j < 0 {
				j = len(c.labels)
				c.labels = append(c.labels, w)
			}
			to[i] = float64(j)
		}
		for i, v := range c.values[n:] {
			if v == v {
				c.values[n+i] = to[int(v)]
			}
		}
	}
}

func lineOf(breaks []table.Break, row int) int {
	lo, hi := 0, len(breaks)
	for lo < hi {
		m := (lo + hi) / 2
		if breaks[m].Row <= row {
			lo = m + 1
		} else {
			hi = m
		}
	}
	if lo == 0 {
		return 0
	}
	b := breaks[lo-1]
	return row - b.Row + b.Line
}

func firstLine(b []byte) string {
	if i := bytes.IndexByte(b, '\n'); i >= 0 {
		b = b[:i]
	}
	return table.Shorten(b)
}

// shortCell is the beginning of a cell, enough to find it by.
func shortCell(s string) string {
	if r := []rune(s); len(r) > 40 {
		return string(r[:40]) + "…"
	}
	return s
}
