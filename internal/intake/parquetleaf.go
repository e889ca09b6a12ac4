package intake

import (
	"errors"
	"io"

	"github.com/parquet-go/parquet-go"
	"github.com/parquet-go/parquet-go/encoding"
	"github.com/parquet-go/parquet-go/format"

	"cornerwright/internal/say"
)

// leafValues reads one column whole: its values and, if it has nulls, their
// rows. dec is the number of decimals where the file states one, else -1.
func leafValues(name string, f *parquet.File, col, rows int) (v []float64, at []int32, dec int, err error) {
	v, at, dec, holes, err := leafGroups(f, col, rows)
	if err == nil && len(holes) > 0 {
		err = holes[0].err
	}
	if err != nil && !errors.Is(err, errNested) && !errors.Is(err, errNotNumber) {
		err = &Error{File: name, Text: say.T("damaged Parquet, column {col}: {why}", col+1, err), Mend: say.T("what could be read is kept; export the file again if you can")}
	}
	return v, at, dec, err
}

// hole is a stretch of rows of one column that cannot be read, to excluded.
type hole struct {
	from, to int
	err      error
}

// leafGroups reads one column, row group by row group: one that is damaged
// leaves blanks from its first bad page to its end, and a hole.
func leafGroups(f *parquet.File, col, rows int) (v []float64, at []int32, dec int, holes []hole, err error) {
	dec = -1
	leaf := f.Root()
	cols := f.Schema().Columns()
	if col < 0 || col >= len(cols) {
		return nil, nil, -1, nil, say.Error("no such column")
	}
	for _, part := range cols[col] {
		if leaf = leaf.Column(part); leaf == nil {
			return nil, nil, -1, nil, say.Error("no such column")
		}
	}
	if leaf.MaxRepetitionLevel() > 0 {
		return nil, nil, -1, nil, errNested
	}
	scale := 0
	if lt := leaf.Type().LogicalType(); lt != nil {
		switch d := lt.Value.(type) {
		case *format.DecimalType:
			scale = int(d.Scale)
			dec = scale
		case *format.TimestampType:
			switch d.Unit.Value.(type) {
			case *format.MilliSeconds:
				scale = 3
			case *format.MicroSeconds:
				scale = 6
			case *format.NanoSeconds:
				scale = 9
			}
			dec = scale
		}
	}
	if scale > 22 || scale < 0 {
		return nil, nil, -1, nil, say.Error("a decimal scale of {scale}", scale)
	}
	capRows := rows
	if capRows > 1<<24 {
		capRows = 1 << 20 // grows as far as there are values
	}
	l := &leafReader{div: pow10(scale), optional: leaf.MaxDefinitionLevel() > 0, depth: int(leaf.MaxDefinitionLevel()), v: make([]float64, 0, min(capRows, 1<<22))}
	if l.optional {
		l.at = make([]int32, 0, cap(l.v)/8)
	}
	row := 0
	for i, g := range f.RowGroups() {
		l.row = row
		row += int(g.NumRows())
		e := checkPages(f, i, col)
		if e == nil {
			e = l.group(g.ColumnChunks()[col])
		}
		if errors.Is(e, errNotNumber) {
			return nil, nil, -1, nil, e
		}
		if e == nil && l.row != row {
			e = say.Error("{row} values where {g} are due", l.row-row+int(g.NumRows()), g.NumRows())
		}
		if e == nil {
			continue
		}
		if l.row > row { // more than the group holds: none of them can be placed
			l.back(row)
			l.row = row - int(g.NumRows())
			l.back(l.row)
		}
		holes = append(holes, hole{l.row, row, e})
		for !l.optional && len(l.v) < row {
			l.v = append(l.v, nan)
		}
	}
	if len(l.at) == row && len(holes) == 0 {
		l.at = nil // all there: on every row
	}
	return l.v, l.at, dec, holes, nil
}

// leafReader gathers the values of one column.
type leafReader struct {
	div      float64
	optional bool
	v        []float64
	at       []int32
	depth    int // definition level of a value that is there
	row      int // rows passed
}

// back takes values away down to a row.
func (l *leafReader) back(row int) {
	n := row
	if l.optional {
		n = len(l.at)
		for n > 0 && int(l.at[n-1]) >= row {
			n--
		}
		l.at = l.at[:n]
	}
	l.v = l.v[:min(n, len(l.v))]
}

// group reads the pages of one row group; the library's panics on broken input
// become errors.
func (l *leafReader) group(chunk parquet.ColumnChunk) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = say.Error("{p}", p)
		}
	}()
	pages := chunk.Pages()
	defer pages.Close()
	for {
		p, e := pages.ReadPage()
		if e == io.EOF {
			return nil
		}
		if e != nil {
			return e
		}
		e = l.page(p)
		parquet.Release(p)
		if e != nil {
			return e
		}
	}
}

// page reads one page, whole or not at all.
func (l *leafReader) page(p parquet.Page) error {
	if !l.optional && p.Dictionary() == nil {
		data := p.Data()
		n := int(p.NumValues())
		switch data.Kind() {
		case encoding.Int32:
			for _, x := range data.Int32() {
				l.v = append(l.v, float64(x)/l.div)
			}
		case encoding.Int64:
			for _, x := range data.Int64() {
				l.v = append(l.v, float64(x)/l.div)
			}
		case encoding.Double:
			for _, x := range data.Double() {
				l.v = append(l.v, x+0)
			}
		case encoding.Float:
			for _, x := range data.Float() {
				l.v = append(l.v, float64(x)+0)
			}
		case encoding.Boolean:
			bits := data.Boolean()
			for i := range n {
				l.v = append(l.v, float64(bits[i>>3]>>(i&7)&1))
			}
		default:
			return errNotNumber
		}
		l.row += n
		return nil
	}
	start := l.row
	if levels := p.DefinitionLevels(); p.Dictionary() == nil && l.depth == 1 && len(levels) == int(p.NumValues()) {
		// Flat columns of the usual kinds need not go value by value.
		was := len(l.v)
		ok := true
		switch data := p.Data(); data.Kind() {
		case encoding.Int64:
			for _, x := range data.Int64() {
				l.v = append(l.v, float64(x)/l.div)
			}
		case encoding.Double:
			for _, x := range data.Double() {
				l.v = append(l.v, x+0)
			}
		default:
			ok = false
		}
		if ok {
			for i, d := range levels {
				if d == 1 {
					l.at = append(l.at, int32(l.row+i))
				}
			}
			l.row += len(levels)
			if len(l.at) == len(l.v) {
				return nil
			}
			l.v, l.at, l.row = l.v[:was], l.at[:was], start
			return say.Error("it states more values than it holds, or fewer")
		}
	}
	var buf [512]parquet.Value
	vr := p.Values()
	for {
		k, e := vr.ReadValues(buf[:])
		for _, x := range buf[:k] {
			if !x.IsNull() {
				y, ok := l.number(x)
				if !ok {
					return errNotNumber
				}
				l.v = append(l.v, y)
				if l.optional {
					l.at = append(l.at, int32(l.row))
				}
			}
			l.row++
		}
		if e == io.EOF || e == nil && k == 0 {
			return nil
		}
		if e != nil {
			l.back(start)
			l.row = start
			return e
		}
	}
}

// number reads one value.
func (l *leafReader) number(x parquet.Value) (float64, bool) {
	switch x.Kind() {
	case parquet.Int32:
		return float64(x.Int32()) / l.div, true
	case parquet.Int64:
		return float64(x.Int64()) / l.div, true
	case parquet.Double:
		return x.Double() + 0, true
	case parquet.Float:
		return float64(x.Float()) + 0, true
	case parquet.Boolean:
		if x.Boolean() {
			return 1, true
		}
		return 0, true
	}
	return 0, false
}
