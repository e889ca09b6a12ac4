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
	"strings"
	"time"

	"github.com/parquet-go/parquet-go"
	"github.com/parquet-go/parquet-go/format"

	"cornerwright/internal/intake/table"
	"cornerwright/internal/recording"
	"cornerwright/internal/say"
)

func isParquet(head []byte) bool { return bytes.HasPrefix(head, []byte("PAR1")) }

// openParquet opens a Parquet file; the library's panics on broken input become
// errors.
func openParquet(name string, r io.ReaderAt, size int64) (f *parquet.File, err error) {
	defer func() {
		if p := recover(); p != nil {
			f, err = nil, say.Error("{p}", p)
		}
		if ours := (*Error)(nil); err != nil && !errors.As(err, &ours) {
			err = &Error{File: name, Text: say.T("damaged Parquet: {why}", err), Mend: say.T("the end of a Parquet file holds its table of contents, without which nothing can be found: copy or export the file again")}
		}
	}()
	// The library believes the footer's stated length and allocates it.
	var tail [8]byte
	if size < 12 {
		return nil, say.Error("it is shorter than a footer")
	}
	if _, err := r.ReadAt(tail[:], size-8); err != nil {
		return nil, err
	}
	if string(tail[4:]) != "PAR1" {
		return nil, say.Error("the last bytes are not those of a Parquet file: it was cut off")
	}
	if n := int64(binary.LittleEndian.Uint32(tail[:4])); n > size-12 {
		return nil, say.Error("its footer claims {n} bytes, the file has {size}", n, size)
	}
	if f, err = parquet.OpenFile(r, size, parquet.SkipPageIndex(true), parquet.SkipBloomFilters(true)); err != nil {
		return nil, err
	}
	// The library's LZ4 gives other values than the file has where a page packs badly,
	// and asks for memory without end where one is damaged.
	for _, g := range f.Metadata().RowGroups {
		for i := range g.Columns {
			if g.Columns[i].MetaData.Codec == format.Lz4Raw {
				return nil, &Error{File: name, Text: say.T("column {c} is packed with LZ4, which is not read", fmt.Sprintf("%q", strings.Join(g.Columns[i].MetaData.PathInSchema, "."))), Mend: say.T("write the Parquet file with another codec: zstd, snappy, gzip or none")}
			}
		}
	}
	return f, nil
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
		return nil, say.Error("{errcolumnsversion}: {x}", ErrColumnsVersion, &Error{File: name, Text: say.T("this Parquet file was not written here"), Mend: say.T("add it as a recording instead")})
	}
	var m meta
	if err := json.Unmarshal([]byte(doc), &m); err != nil {
		return nil, &Error{File: name, Text: say.T("damaged column file: {why}", err), Mend: say.T("rebuild it from the original recording")}
	}
	if m.Version != ColumnsVersion {
		return nil, say.Error("{errcolumnsversion}: {x}", ErrColumnsVersion, &Error{File: name, Text: say.T("column file of version {version}, this program reads {columnsversion}", m.Version, ColumnsVersion), Mend: say.T("rebuild it from the original recording")})
	}
	rec = &recording.Recording{Format: m.Format, Name: m.Name, Hash: m.Hash, Rows: m.Rows, Problems: recording.Unkeep(m.Problems), Clock: recording.UnkeepMarks(m.Clock)}
	if m.Epoch != "" {
		if rec.Epoch, err = time.Parse(time.RFC3339Nano, m.Epoch); err != nil {
			return nil, &Error{File: name, Text: say.T("damaged column file: {why}", err), Mend: say.T("rebuild it from the original recording")}
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
		ch := &recording.Channel{Name: mc.Name, Known: mc.Known, From: mc.From, Unit: mc.Unit, SourceUnit: mc.SourceUnit, Step: mc.Step, Marks: recording.UnkeepMarks(mc.Marks)}
		if !want(ch) {
			continue
		}
		i, ok := index[mc.Column]
		if !ok {
			return nil, &Error{File: name, Text: say.T("damaged column file: column {column} is missing", fmt.Sprintf("%q", mc.Column)), Mend: say.T("rebuild it from the original recording")}
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

var (
	errNested    = say.Error("it holds lists")
	errNotNumber = say.Error("it holds no numbers")
)

// readParquet reads a Parquet table of any origin. One that WriteColumns wrote
// gives back its recording.
func readParquet(name string, r io.ReaderAt, size int64, opts Options) (*Result, error) {
	f, err := openParquet(name, r, size)
	var repaired say.Text
	if err != nil {
		if f, repaired = reopenParquet(name, r, size); f == nil {
			return nil, err
		}
	}
	if f.NumRows() == 0 {
		return nil, &Error{File: name, Text: say.T("the Parquet table holds no row"), Mend: say.T("export the recording again")}
	}
	if f.NumRows() > math.MaxInt32 {
		return nil, &Error{File: name, Text: say.T("the Parquet table holds {f} rows, too many for one recording", f.NumRows()), Mend: say.T("export it in parts")}
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
		return nil, &Error{File: name, Text: say.T("damaged Parquet: {f} rows stated, {rows} listed", f.NumRows(), rows), Mend: say.T("copy or export the file again")}
	}
	if n := int64(len(f.Schema().Columns())); f.NumRows()*8 > (size*maxParquet+8<<20)/max(n, 1) {
		return nil, &Error{File: name, Text: say.T("the Parquet table claims {f} rows of {n} columns in {size} bytes", f.NumRows(), n, size), Mend: say.T("no recording is so even: copy or export the file again")}
	}
	s := &source{name: name, format: "Parquet", epochUnix: nan, rows: int(f.NumRows()), line: func(int) int { return 0 }}
	own, isOwn := f.Lookup(columnsKey)
	var m meta
	saved := map[string]*metaChannel{}
	if isOwn && json.Unmarshal([]byte(own), &m) == nil {
		s.clockMarks = recording.UnkeepMarks(m.Clock)
		if t, err := time.Parse(time.RFC3339Nano, m.Epoch); err == nil {
			s.epochUnix = float64(t.Unix()) + float64(t.Nanosecond())/1e9
		}
		for _, c := range m.Channels {
			saved[c.Column] = &c
		}
	}
	if repaired != "" {
		s.problem(recording.Fault, 0, 0, "", repaired, say.T("what could be read is kept; copy or export the file again if you can"))
	}
	for i, path := range f.Schema().Columns() {
		head := path[0]
		for _, p := range path[1:] {
			head += "." + p
		}
		v, at, dec, holes, err := leafGroups(f, i, s.rows)
		if err != nil {
			s.problem(recording.Note, 0, i+1, "", say.T("column {head} is left out: {why}", fmt.Sprintf("%q", head), err), say.T("nothing to do; a recording needs columns of numbers"))
			continue
		}
		lost := 0
		for _, h := range holes {
			lost += h.to - h.from
			s.problem(recording.Fault, 0, i+1, "", say.T("column {head}: rows {from} to {to} of {rows} cannot be read, their block is damaged", fmt.Sprintf("%q", head), h.from+1, h.to, s.rows), say.T("the other rows are kept; export the file again if you can"))
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
		return nil, &Error{File: name, Text: say.T("no column of numbers in the Parquet table"), Mend: say.T("export the recording again")}
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
