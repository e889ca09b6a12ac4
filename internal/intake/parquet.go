package intake

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"time"

	"github.com/parquet-go/parquet-go"
	"github.com/parquet-go/parquet-go/encoding"
	"github.com/parquet-go/parquet-go/format"

	"cornerwright/internal/intake/table"
	"cornerwright/internal/recording"
)

func isParquet(head []byte) bool { return bytes.HasPrefix(head, []byte("PAR1")) }

// openParquet opens a Parquet file; the library's panics on broken input become
// errors.
func openParquet(name string, r io.ReaderAt, size int64) (f *parquet.File, err error) {
	defer func() {
		if p := recover(); p != nil {
			f, err = nil, fmt.Errorf("%v", p)
		}
		if err != nil {
			err = &Error{File: name, Text: "damaged Parquet: " + err.Error(), Mend: "the end of a Parquet file holds its table of contents, without which nothing can be found: copy or export the file again"}
		}
	}()
	// The library believes the footer's stated length and allocates it.
	var tail [8]byte
	if size < 12 {
		return nil, errors.New("it is shorter than a footer")
	}
	if _, err := r.ReadAt(tail[:], size-8); err != nil {
		return nil, err
	}
	if string(tail[4:]) != "PAR1" {
		return nil, errors.New("the last bytes are not those of a Parquet file: it was cut off")
	}
	if n := int64(binary.LittleEndian.Uint32(tail[:4])); n > size-12 {
		return nil, fmt.Errorf("its footer claims %d bytes, the file has %d", n, size)
	}
	return parquet.OpenFile(r, size, parquet.SkipPageIndex(true), parquet.SkipBloomFilters(true))
}

// ReadColumns builds a recording from a column file that WriteColumns wrote.
// With names, only those channels are read.
func ReadColumns(name string, r io.ReaderAt, size int64, names ...string) (*recording.Recording, error) {
	return ReadColumnsIf(name, r, size, func(c *recording.Channel) bool { return len(names) == 0 || slices.Contains(names, c.Name) })
}

// ReadColumnsIf is ReadColumns for the channels that want chooses by what is
// known of them without their samples: name, where it is from, and unit.
func ReadColumnsIf(name string, r io.ReaderAt, size int64, want func(*recording.Channel) bool) (rec *recording.Recording, err error) {
	f, err := openParquet(name, r, size)
	if err != nil {
		return nil, err
	}
	doc, ok := f.Lookup(columnsKey)
	if !ok {
		return nil, fmt.Errorf("%w: %w", ErrColumnsVersion, &Error{File: name, Text: "this Parquet file was not written here", Mend: "add it as a recording instead"})
	}
	var m meta
	if err := json.Unmarshal([]byte(doc), &m); err != nil {
		return nil, &Error{File: name, Text: "damaged column file: " + err.Error(), Mend: "rebuild it from the original recording"}
	}
	if m.Version != ColumnsVersion {
		return nil, fmt.Errorf("%w: %w", ErrColumnsVersion, &Error{File: name, Text: fmt.Sprintf("column file of version %d, this program reads %d", m.Version, ColumnsVersion), Mend: "rebuild it from the original recording"})
	}
	rec = &recording.Recording{Format: m.Format, Name: m.Name, Hash: m.Hash, Rows: m.Rows, Problems: m.Problems, Clock: m.Clock}
	if m.Epoch != "" {
		if rec.Epoch, err = time.Parse(time.RFC3339Nano, m.Epoch); err != nil {
			return nil, &Error{File: name, Text: "damaged column file: " + err.Error(), Mend: "rebuild it from the original recording"}
		}
		rec.Epoch = rec.Epoch.UTC()
	}
	index := map[string]int{}
	for i, c := range f.Schema().Columns() {
		index[c[0]] = i
	}
	rows := int(f.NumRows())
	clock, _, _, err := leafValues(name, f, index[clockColumn], rows)
	if err != nil {
		return nil, err
	}
	for _, mc := range m.Channels {
		ch := &recording.Channel{Name: mc.Name, Known: mc.Known, From: mc.From, Unit: mc.Unit, SourceUnit: mc.SourceUnit, Step: mc.Step, Marks: mc.Marks}
		if !want(ch) {
			continue
		}
		i, ok := index[mc.Column]
		if !ok {
			return nil, &Error{File: name, Text: fmt.Sprintf("damaged column file: column %q is missing", mc.Column), Mend: "rebuild it from the original recording"}
		}
		v, at, _, err := leafValues(name, f, i, rows)
		if err != nil {
			return nil, err
		}
		c := &column{values: v, at: at, spec: mc.Spec}
		ch.Time, ch.Value = c.si(clock)
		if mc.Rescaled != 0 {
			for i := range ch.Value {
				ch.Value[i] = ch.Value[i]*mc.Rescaled + 0
			}
		}
		rec.Channels = append(rec.Channels, ch)
	}
	return rec, nil
}

// leafValues reads one column whole: its values and, if it has nulls, their
// rows. dec is the number of decimals where the file states one, else -1.
func leafValues(name string, f *parquet.File, col, rows int) (v []float64, at []int32, dec int, err error) {
	v, at, dec, holes, err := leafGroups(f, col, rows)
	if err == nil && len(holes) > 0 {
		err = holes[0].err
	}
	if err != nil && !errors.Is(err, errNested) && !errors.Is(err, errNotNumber) {
		err = &Error{File: name, Text: fmt.Sprintf("damaged Parquet, column %d: %v", col+1, err), Mend: "what could be read is kept; export the file again if you can"}
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
		return nil, nil, -1, nil, fmt.Errorf("no such column")
	}
	for _, part := range cols[col] {
		if leaf = leaf.Column(part); leaf == nil {
			return nil, nil, -1, nil, fmt.Errorf("no such column")
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
		return nil, nil, -1, nil, fmt.Errorf("a decimal scale of %d", scale)
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
			e = fmt.Errorf("%d values where %d are due", l.row-row+int(g.NumRows()), g.NumRows())
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
			err = fmt.Errorf("%v", p)
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
			return errors.New("it states more values than it holds, or fewer")
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

var (
	errNested    = errors.New("it holds lists")
	errNotNumber = errors.New("it holds no numbers")
)

// readParquet reads a Parquet table of any origin. One that WriteColumns wrote
// gives back its recording.
func readParquet(name string, r io.ReaderAt, size int64, opts Options) (*Result, error) {
	f, err := openParquet(name, r, size)
	var repaired string
	if err != nil {
		if f, repaired = reopenParquet(name, r, size); f == nil {
			return nil, err
		}
	}
	if f.NumRows() == 0 {
		return nil, &Error{File: name, Text: "the Parquet table holds no row", Mend: "export the recording again"}
	}
	if f.NumRows() > math.MaxInt32 {
		return nil, &Error{File: name, Text: fmt.Sprintf("the Parquet table holds %d rows, too many for one recording", f.NumRows()), Mend: "export it in parts"}
	}
	// Each value takes eight bytes in memory, whatever a few bytes of the file
	// claim to stand for.
	rows := int64(0)
	for _, g := range f.RowGroups() {
		if g.NumRows() < 0 {
			rows = math.MaxInt64
			break
		}
		rows += g.NumRows()
	}
	if rows != f.NumRows() {
		return nil, &Error{File: name, Text: fmt.Sprintf("damaged Parquet: %d rows stated, %d listed", f.NumRows(), rows), Mend: "copy or export the file again"}
	}
	if n := int64(len(f.Schema().Columns())); f.NumRows()*8 > (size*maxParquet+8<<20)/max(n, 1) {
		return nil, &Error{File: name, Text: fmt.Sprintf("the Parquet table claims %d rows of %d columns in %d bytes", f.NumRows(), n, size), Mend: "no recording is so even: copy or export the file again"}
	}
	s := &source{name: name, format: "Parquet", epochUnix: nan, rows: int(f.NumRows()), line: func(int) int { return 0 }}
	own, isOwn := f.Lookup(columnsKey)
	var m meta
	saved := map[string]*metaChannel{}
	if isOwn && json.Unmarshal([]byte(own), &m) == nil {
		s.clockMarks = m.Clock
		if t, err := time.Parse(time.RFC3339Nano, m.Epoch); err == nil {
			s.epochUnix = float64(t.Unix()) + float64(t.Nanosecond())/1e9
		}
		for _, c := range m.Channels {
			saved[c.Column] = &c
		}
	}
	if repaired != "" {
		s.problem(recording.Fault, 0, 0, "", repaired, "what could be read is kept; copy or export the file again if you can")
	}
	for i, path := range f.Schema().Columns() {
		head := path[0]
		for _, p := range path[1:] {
			head += "." + p
		}
		v, at, dec, holes, err := leafGroups(f, i, s.rows)
		if err != nil {
			s.problem(recording.Note, 0, i+1, "", fmt.Sprintf("column %q is left out: %v", head, err), "nothing to do; a recording needs columns of numbers")
			continue
		}
		lost := 0
		for _, h := range holes {
			lost += h.to - h.from
			s.problem(recording.Fault, 0, i+1, "", fmt.Sprintf("column %q: rows %d to %d of %d cannot be read, their block is damaged", head, h.from+1, h.to, s.rows), "the other rows are kept; export the file again if you can")
		}
		s.lostRows = max(s.lostRows, lost)
		c := &column{values: v, at: at, decimals: dec}
		h, u := table.SplitHeader(head)
		if mc := saved[head]; mc != nil {
			c.own, c.fixed, h, u = mc, mc.Name, mc.From, mc.SourceUnit
		} else if isOwn && head == clockColumn {
			c.fixed, u = timeChannel, "s"
		}
		c.Column = table.Column{Header: h, Cell: head, Unit: u, Index: i + 1, Kind: table.Number}
		for j, x := range c.values { // infinities are blanks
			if math.IsInf(x, 0) {
				c.values[j] = nan
			}
		}
		if isTimestamp(f, path) && len(v) > 0 {
			c.Kind, c.Day = table.DateTime, true
			c.Base = int64(math.Floor(v[0]))
			for j := range c.values {
				c.values[j] -= float64(c.Base)
			}
			roundTo(c.values, dec)
			c.Unit = "s"
		}
		s.cols = append(s.cols, c)
	}
	if len(s.cols) == 0 || s.rows == 0 {
		return nil, &Error{File: name, Text: "no column of numbers in the Parquet table", Mend: "export the recording again"}
	}
	return finish([]*source{s}, opts)
}

// maxParquet bounds how many bytes of values a byte of the file may stand for.
const maxParquet = 1000

// isTimestamp tells whether a column holds date-times.
func isTimestamp(f *parquet.File, path []string) bool {
	leaf := f.Root()
	for _, p := range path {
		if leaf = leaf.Column(p); leaf == nil {
			return false
		}
	}
	lt := leaf.Type().LogicalType()
	if lt == nil {
		return false
	}
	_, ok := lt.Value.(*format.TimestampType)
	return ok
}
