package intake

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
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
func ReadColumns(name string, r io.ReaderAt, size int64, names ...string) (rec *recording.Recording, err error) {
	f, err := openParquet(name, r, size)
	if err != nil {
		return nil, err
	}
	doc, ok := f.Lookup(columnsKey)
	if !ok {
		return nil, &Error{File: name, Text: "this Parquet file was not written here", Mend: "add it as a recording instead"}
	}
	var m meta
	if err := json.Unmarshal([]byte(doc), &m); err != nil {
		return nil, &Error{File: name, Text: "damaged column file: " + err.Error(), Mend: "rebuild it from the original recording"}
	}
	if m.Version != columnsVersion {
		return nil, &Error{File: name, Text: fmt.Sprintf("column file of version %d, this program reads %d", m.Version, columnsVersion), Mend: "rebuild it from the original recording"}
	}
	rec = &recording.Recording{Format: m.Format, Name: m.Name, Hash: m.Hash, Rows: m.Rows, Problems: m.Problems, Clock: m.Clock}
	if m.Epoch != "" {
		if rec.Epoch, err = time.Parse(time.RFC3339Nano, m.Epoch); err != nil {
			return nil, &Error{File: name, Text: "damaged column file: " + err.Error(), Mend: "rebuild it from the original recording"}
		}
		rec.Epoch = rec.Epoch.UTC()
	}
	want := map[string]bool{}
	for _, n := range names {
		want[n] = true
	}
	index := map[string]int{}
	for i, c := range f.Schema().Columns() {
		index[c[0]] = i
	}
	clock, _, _, err := leafValues(name, f, index[clockColumn], m.Rows)
	if err != nil {
		return nil, err
	}
	for _, mc := range m.Channels {
		if len(want) > 0 && !want[mc.Name] {
			continue
		}
		stored := plan(mc.Name, nil, nil, 0, -1).name
		if stored == clockColumn {
			stored = "time_of_file"
		}
		i, ok := index[stored]
		if !ok {
			return nil, &Error{File: name, Text: fmt.Sprintf("damaged column file: column %q is missing", stored), Mend: "rebuild it from the original recording"}
		}
		v, at, _, err := leafValues(name, f, i, m.Rows)
		if err != nil {
			return nil, err
		}
		ch := &recording.Channel{Name: mc.Name, Known: mc.Known, From: mc.From, Unit: mc.Unit, SourceUnit: mc.SourceUnit, Step: mc.Step, Marks: mc.Marks}
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
// rows. kind is the leaf's physical kind.
func leafValues(name string, f *parquet.File, col, rows int) (v []float64, at []int32, dec int, err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("%v", p)
		}
		if err != nil {
			var e *Error
			if !errors.As(err, &e) && !errors.Is(err, errNested) && !errors.Is(err, errNotNumber) {
				err = &Error{File: name, Text: fmt.Sprintf("damaged Parquet, column %d: %v", col+1, err), Mend: "what could be read is kept; export the file again if you can"}
			}
		}
	}()
	leaf := f.Root()
	cols := f.Schema().Columns()
	if col < 0 || col >= len(cols) {
		return nil, nil, 0, fmt.Errorf("no such column")
	}
	for _, part := range cols[col] {
		if leaf = leaf.Column(part); leaf == nil {
			return nil, nil, 0, fmt.Errorf("no such column")
		}
	}
	if leaf.MaxRepetitionLevel() > 0 {
		return nil, nil, -1, errNested
	}
	scale := 0
	dec = -1
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
		return nil, nil, -1, fmt.Errorf("a decimal scale of %d", scale)
	}
	div := pow10(scale)
	optional := leaf.MaxDefinitionLevel() > 0
	row := 0
	capRows := rows
	if capRows > 1<<24 {
		capRows = 1 << 20 // grows as far as there are values
	}
	v = make([]float64, 0, min(capRows, 1<<22))
	for _, g := range f.RowGroups() {
		chunk := g.ColumnChunks()[col]
		pages := chunk.Pages()
		for {
			p, e := pages.ReadPage()
			if e == io.EOF {
				break
			}
			if e != nil {
				pages.Close()
				return v, at, dec, e
			}
			n := int(p.NumValues())
			if !optional && p.Dictionary() == nil {
				data := p.Data()
				switch data.Kind() {
				case encoding.Int32:
					for _, x := range data.Int32() {
						v = append(v, float64(x)/div)
					}
				case encoding.Int64:
					for _, x := range data.Int64() {
						v = append(v, float64(x)/div)
					}
				case encoding.Double:
					for _, x := range data.Double() {
						v = append(v, x+0)
					}
				case encoding.Float:
					for _, x := range data.Float() {
						v = append(v, float64(x)+0)
					}
				case encoding.Boolean:
					bits := data.Boolean()
					for i := range n {
						v = append(v, float64(bits[i>>3]>>(i&7)&1))
					}
				default:
					pages.Close()
					parquet.Release(p)
					return nil, nil, -1, errNotNumber
				}
				row += n
				parquet.Release(p)
				continue
			}
			if at == nil && optional {
				at = make([]int32, 0, cap(v)/8)
			}
			var buf [512]parquet.Value
			vr := p.Values()
			for {
				k, e := vr.ReadValues(buf[:])
				for _, x := range buf[:k] {
					if !x.IsNull() {
						var y float64
						switch x.Kind() {
						case parquet.Int32:
							y = float64(x.Int32()) / div
						case parquet.Int64:
							y = float64(x.Int64()) / div
						case parquet.Double:
							y = x.Double() + 0
						case parquet.Float:
							y = float64(x.Float()) + 0
						case parquet.Boolean:
							y = 0
							if x.Boolean() {
								y = 1
							}
						default:
							pages.Close()
							parquet.Release(p)
							return nil, nil, -1, errNotNumber
						}
						v = append(v, y)
						if optional {
							at = append(at, int32(row))
						}
					}
					row++
				}
				if e == io.EOF || k == 0 {
					break
				}
				if e != nil {
					pages.Close()
					parquet.Release(p)
					return v, at, dec, e
				}
			}
			parquet.Release(p)
		}
		pages.Close()
	}
	return v, at, dec, nil
}

var (
	errNested    = errors.New("it holds lists")
	errNotNumber = errors.New("it holds no numbers")
)

// readParquet reads a Parquet table of any origin. One that WriteColumns wrote
// gives back its recording.
func readParquet(name string, r io.ReaderAt, size int64, opts Options) (*Result, error) {
	f, err := openParquet(name, r, size)
	if err != nil {
		return nil, err
	}
	if f.NumRows() == 0 {
		return nil, &Error{File: name, Text: "the Parquet table holds no row", Mend: "export the recording again"}
	}
	if f.NumRows() > math.MaxInt32 {
		return nil, &Error{File: name, Text: fmt.Sprintf("the Parquet table holds %d rows, too many for one recording", f.NumRows()), Mend: "export it in parts"}
	}
	s := &source{name: name, format: "Parquet", epochUnix: nan, rows: int(f.NumRows()), line: func(int) int { return 0 }}
	own, isOwn := f.Lookup(columnsKey)
	var m meta
	units := map[string]string{}
	if isOwn && json.Unmarshal([]byte(own), &m) == nil {
		for _, c := range m.Channels {
			units[c.Name] = c.SourceUnit
		}
	}
	least := s.rows
	for i, path := range f.Schema().Columns() {
		head := path[0]
		for _, p := range path[1:] {
			head += "." + p
		}
		v, at, dec, err := leafValues(name, f, i, s.rows)
		if errors.Is(err, errNested) || errors.Is(err, errNotNumber) || v == nil && err != nil {
			s.problem(recording.Note, 0, i+1, "", fmt.Sprintf("column %q is left out: %v", head, reason(err)), "nothing to do; a recording needs columns of numbers")
			continue
		}
		if err != nil {
			s.problem(recording.Fault, 0, i+1, "", fmt.Sprintf("column %q breaks off after %d of %d values: %v", head, len(v), s.rows, reason(err)), "what came before is kept; export the file again if you can")
			s.lostRows = max(s.lostRows, s.rows-len(v))
			if at == nil {
				least = min(least, len(v))
			}
		}
		c := &column{values: v, at: at, decimals: dec}
		h, u := table.SplitHeader(head)
		if isOwn {
			h, u = head, units[head]
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
	if least < s.rows { // columns that broke off: keep the rows all have
		s.rows = least
		to := make([]int32, f.NumRows())
		for i := range to {
			if to[i] = int32(i); i >= least {
				to[i] = -1
			}
		}
		for _, c := range s.cols {
			if c.at == nil {
				c.values = c.values[:least]
			} else {
				c.renumber(to, false)
			}
		}
	}
	if len(s.cols) == 0 || s.rows == 0 {
		return nil, &Error{File: name, Text: "no column of numbers in the Parquet table", Mend: "export the recording again"}
	}
	return finish([]*source{s}, opts)
}

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

func reason(err error) string {
	var e *Error
	if errors.Is(err, errNested) || errors.Is(err, errNotNumber) {
		return err.Error()
	}
	if errors.As(err, &e) {
		return e.Text
	}
	return err.Error()
}
