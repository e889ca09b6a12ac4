package table

import (
	"bytes"
	"strings"

	"cornerwright/internal/say"
)

// parser turns whole rows to a Block. It keeps its buffers, so one parser
// serves block after block.
type parser struct {
	d    *Dialect
	blk  *Block
	room int  // rows the column buffers hold
	open bool // the text's last line had no line end of its own
	// columns with a cell of the present row that could not be read
	badIn []int
	// run of unreadable lines being collected into one issue
	bad badRun
}

type badRun struct {
	from, to, bytes, rows int
	why                   say.Text
	column                int
	source                string
}

// maxIssues bounds the issues kept per block; the rest are counted in the lost
// rows all the same.
const maxIssues = 200

func newParser(d *Dialect) *parser { return &parser{d: d} }

// reset prepares blk for rows of a text of n bytes.
func (p *parser) reset(blk *Block, n int) {
	cols := len(p.d.Columns)
	if len(blk.Cols) != cols {
		blk.Cols = make([]ColumnBlock, cols)
	}
	for i := range blk.Cols {
		c := &blk.Cols[i]
		*c = ColumnBlock{Mant: c.Mant[:cap(c.Mant)]}
		if p.d.Columns[i].Kind == Label {
			c.labels = map[string]int{}
		}
	}
	blk.Rows, blk.Lines, blk.Bytes = 0, 0, n
	blk.Issues, blk.Breaks, blk.Restart = blk.Issues[:0], blk.Breaks[:0], blk.Restart[:0]
	blk.LostRows, blk.LostBytes, blk.LostAt = 0, 0, blk.LostAt[:0]
	p.blk = blk
	p.room = 0
	if cols > 0 {
		p.room = len(blk.Cols[0].Mant)
		for i := range blk.Cols {
			p.room = min(p.room, len(blk.Cols[i].Mant))
		}
	}
	p.bad = badRun{}
}

// grow makes room for more rows, after row.
func (p *parser) grow(row int, left, used int) {
	// Rows still to come, from the bytes a row took so far.
	per := 2 * len(p.d.Columns)
	if row > 0 {
		per = max(1, used/row)
	}
	room := row + left/per + left/per/16 + 16
	for i := range p.blk.Cols {
		c := &p.blk.Cols[i]
		m := make([]int64, room)
		copy(m, c.Mant[:min(row, len(c.Mant))])
		c.Mant = m
		if c.Float != nil {
			f := make([]float64, room)
			copy(f, c.Float[:min(row, len(c.Float))])
			c.Float = f
		}
	}
	p.room = room
}

// parse reads b, whole lines of which the last ends in '\n', whose first line
// has number line and whose first row follows row rows.
func (p *parser) parse(b []byte, blk *Block, line, row0 int) {
	p.reset(blk, len(b))
	blk.line, blk.row = line, row0
	d := p.d
	ncols := len(d.Columns)
	delim, decimal := d.Delimiter, d.Decimal
	blanks := delim == ' '
	cols := blk.Cols
	row, pos, n := 0, 0, len(b)
	nextLine := -1 // line on which the next row is expected
	first := line
	for pos < n {
		start := pos
		switch b[pos] {
		case '\n':
			pos++
			line++
			continue
		case '\r':
			pos++
			continue
		case ' ', '\t':
			if lineBlank(b[pos:]) {
				pos += bytes.IndexByte(b[pos:], '\n') + 1
				line++
				continue
			}
		}
		if d.Comment != "" && b[pos] == d.Comment[0] && bytes.HasPrefix(b[pos:], []byte(d.Comment)) {
			pos += bytes.IndexByte(b[pos:], '\n') + 1
			line++
			continue
		}
		if row >= p.room {
			p.grow(row, n-pos, pos)
			cols = blk.Cols
		}
		p.badIn = p.badIn[:0]
		badCells, fields, quotedLines := 0, 0, 0
		badCol := 0
		ended := false
		for c := 0; c < ncols; c++ {
			col := &cols[c]
			kind := d.Columns[c].Kind
			fields++
			if kind == Number {
				// The fast path: sign, digits, point, digits, delimiter. Everything
				// else goes through the slow one.
				q := pos
				neg := b[q] == '-'
				if neg {
					q++
				}
				var m int64
				q0 := q
				x := b[q] - '0'
				for x <= 9 {
					m = m*10 + int64(x)
					q++
					x = b[q] - '0'
				}
				digits, k := q-q0, 0
				if b[q] == decimal && decimal != delim {
					q++
					f0 := q
					x = b[q] - '0'
					for x <= 9 {
						m = m*10 + int64(x)
						q++
						x = b[q] - '0'
					}
					k = q - f0
					digits += k
				}
				if e := b[q]; uint(digits-1) < 15 && (e == delim || e == '\n' || e == '\r') && !blanks {
					if neg {
						m = -m
					}
					if k == col.Decimals && col.Float == nil {
						col.Mant[row] = m
					} else {
						col.put(row, m, k, p.room)
					}
					pos = q
					if e == delim {
						pos++
						continue
					}
					ended = true
					break
				}
			}
			// Slow path: find the cell's end, then read it by kind.
			text, next, end, lines, issue := field(b, pos, delim)
			quotedLines += lines
			if issue != "" {
				badCells++
				badCol = c + 1
			}
			if !p.cell(col, &d.Columns[c], row, text, line) {
				badCells++
				p.badIn = append(p.badIn, c)
				if badCol == 0 {
					badCol = c + 1
				}
			}
			pos = next
			if end {
				ended = true
				break
			}
		}
		extra := 0
		for !ended { // fields beyond the header
			text, next, end, lines, _ := field(b, pos, delim)
			quotedLines += lines
			if len(text) > 0 { // a trailing delimiter alone is harmless
				extra++
			}
			pos, ended = next, end
		}
		// Step over the line's end.
		if pos < n && b[pos] == '\r' {
			pos++
		}
		if pos < n && b[pos] == '\n' {
			pos++
		}
		raw := b[start:pos]
		ok := true
		last := p.open && pos >= n
		switch {
		case fields < ncols && last && p.brokenOff(b):
			ok = false
			p.lost(line, raw, fields, say.T("the file ends in the middle of a row: {fields} {fields|field|fields} of {ncols}", fields, ncols))
		case fields < ncols && !d.Short:
			ok = false
			if p.header(raw) {
				blk.Restart = append(blk.Restart, row)
				break
			}
			p.lost(line, raw, fields, say.T("row has {fields} {fields|field|fields}, header has {ncols}", fields, ncols))
		case extra > 0:
			ok = false
			p.lost(line, raw, ncols+1, say.T("row has {ncols} fields, header has {ncols2}", ncols+extra, ncols))
		case badCells > 0 && p.hopeless(row, fields, badCells):
			ok = false
			switch {
			case p.header(raw):
				blk.Restart = append(blk.Restart, row)
			case p.unitRow(raw): // stands under a repeated header
			default:
				p.lost(line, raw, badCol, say.T("row is not numbers"))
			}
		}
		if ok && last && fields == ncols && p.brokenOff(b) {
			ok = false
			p.lost(line, raw, ncols, say.T("the file ends in the middle of a number: its last cell has fewer digits than those above"))
		}
		if !ok && blk.LostRows > 0 && p.bad.to == line {
			if n := len(blk.LostAt); n == 0 || blk.LostAt[n-1] != row {
				blk.LostAt = append(blk.LostAt, row)
			}
		}
		if !ok { // what was bad in a row that goes is told with the row
			for _, c := range p.badIn {
				if cols[c].bad--; cols[c].bad == 0 {
					cols[c].badAt, cols[c].badTxt = 0, ""
				}
			}
		}
		if ok {
			for c := fields; c < ncols; c++ {
				cols[c].blank(row)
			}
			if line != nextLine {
				blk.Breaks = append(blk.Breaks, Break{row, line})
			}
			nextLine = line + 1
			row++
		}
		line += 1 + quotedLines
		if quotedLines > 0 {
			nextLine = -1
		}
	}
	p.flushBad()
	blk.Rows = row
	blk.Lines = line - first
	for c := range cols {
		cols[c].finish(row)
	}
}

// brokenOff tells whether the last line of b, which had no line end, was cut:
// the lines above agree in their number of cells and in the decimals of their
// last cell, and it has fewer. A file may well end without a line end (RFC 4180,
// section 2, rule 2), so that alone says nothing.
func (p *parser) brokenOff(b []byte) bool {
	b = b[:len(b)-1]
	end := bytes.LastIndexByte(b, '\n')
	last := splitLine(bytes.TrimRight(b[end+1:], "\r"), p.d.Delimiter)
	cells, decimals, seen := 0, 0, 0
	for ; end > 0 && seen < 8; seen++ {
		start := bytes.LastIndexByte(b[:end], '\n')
		r := splitLine(bytes.TrimRight(b[start+1:end], "\r"), p.d.Delimiter)
		k := decimalsOf(r[len(r)-1], p.d.Decimal)
		if seen > 0 && (len(r) != cells || k != decimals) {
			return false
		}
		cells, decimals, end = len(r), k, start
	}
	if seen < 2 || cells != len(p.d.Columns) {
		return false
	}
	return len(last) < cells || len(last) == cells && decimals > 0 && last[cells-1] != "" && decimalsOf(last[cells-1], p.d.Decimal) < decimals
}

// hopeless tells whether a row of full length must go: nothing in it could be
// read, or more cells are bad than good.
func (p *parser) hopeless(row, fields, bad int) bool {
	good := fields
	for c := range fields {
		col := &p.blk.Cols[c]
		if col.Float != nil {
			if col.Float[row] != col.Float[row] {
				good--
			}
		} else if col.Mant[row] == Blank {
			good-- // bad cells are blanks by now
		}
	}
	return good == 0 || bad >= 3 && bad >= good
}

// header tells whether a line is the header again.
func (p *parser) header(raw []byte) bool {
	h := p.d.Header
	return h != "" && string(bytes.TrimSpace(raw)) == strings.TrimSpace(h)
}

// unitRow tells whether most cells of a line are units.
func (p *parser) unitRow(raw []byte) bool {
	cells := splitLine(bytes.TrimRight(raw, "\r\n"), p.d.Delimiter)
	return unitShare(cells) > 0.5
}

// lost notes an unreadable line; neighbours make one issue.
func (p *parser) lost(line int, raw []byte, column int, why say.Text) {
	p.blk.LostRows++
	p.blk.LostBytes += len(raw)
	b := &p.bad
	if b.rows > 0 && line == b.to+1 {
		b.to = line
		b.rows++
		b.bytes += len(raw)
		return
	}
	p.flushBad()
	*b = badRun{from: line, to: line, rows: 1, bytes: len(raw), why: why, column: column, source: Shorten(raw)}
}

func (p *parser) flushBad() {
	b := p.bad
	p.bad = badRun{}
	if b.rows == 0 || len(p.blk.Issues) >= maxIssues {
		return
	}
	text := b.why
	if b.rows > 1 {
		text = say.T("lines {from} to {to} cannot be read ({rows} {rows|row|rows}, {bytes} bytes): the first {why}", b.from, b.to, b.rows, b.bytes, b.why)
	}
	p.blk.Issues = append(p.blk.Issues, Issue{Warning, b.from, b.column, text,
		say.T("nothing to do: this is left out and the gap is marked; the original is kept"), b.source})
}
