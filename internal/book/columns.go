package book

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"reflect"
	"sort"
	"strings"

	"github.com/parquet-go/parquet-go"
	"github.com/parquet-go/parquet-go/compress/zstd"

	"cornerwright/internal/intake"
	"cornerwright/internal/recording"
)

// A run's column file (package intake, WriteColumns) holds its recording exact
// to the last bit in about an eighth of the text's bytes. It stands between the
// original and every later look at the run: the original is read once, when it
// is added, and again only where the column file is missing, damaged or of
// another version.

const columnRows = 1 << 15 // a row group of an export: 330 s at 100 1/s

// writeColumns writes the column file of one outing to a name of tmp/ and syncs
// it.
func (b *Book) writeColumns(tmp string, res *intake.Result, of int, part *recording.Recording) error {
	f, err := b.fs.Create(tmp)
	if err != nil {
		return err
	}
	err = intake.WriteColumns(f, res, of, part)
	if err == nil {
		err = f.Sync()
	}
	if cerr := f.Close(); err == nil {
		err = cerr
	}
	return err
}

// Recording reads the recording of a run from its column file, or anew from its
// original where that cannot serve.
func (b *Book) Recording(ctx context.Context, run int) (*recording.Recording, error) {
	r, err := b.Run(fmt.Sprint(run))
	if err != nil {
		return nil, err
	}
	path := b.columnPath(r.Meeting, r.Bike, r.ID)
	rec, err := b.readColumns(r, path)
	if err == nil {
		return rec, nil
	}
	res, of, rec, rerr := b.reread(ctx, r)
	if rerr != nil {
		return nil, rerr
	}
	if errors.Is(err, intake.ErrColumnsVersion) && !b.readOnly {
		// Of an earlier method: made anew while the reading is at hand. Where that
		// fails the original still serves.
		_ = b.replaceColumns(path, res, of, rec)
	}
	return rec, nil
}

// readerAt is an open file to be read at any place, with its size; one that a
// file system cannot read so is taken into memory.
func (b *Book) readerAt(f io.Reader, path string) (io.ReaderAt, int64, error) {
	if at, ok := f.(io.ReaderAt); ok {
		info, err := b.fs.Stat(path)
		if err != nil {
			return nil, 0, err
		}
		return at, info.Size(), nil
	}
	data, err := io.ReadAll(f)
	return bytes.NewReader(data), int64(len(data)), err
}

// readColumns reads a run's column file.
func (b *Book) readColumns(r Run, path string) (*recording.Recording, error) {
	f, err := b.fs.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	at, size, err := b.readerAt(f, path)
	if err != nil {
		return nil, err
	}
	rec, err := intake.ReadColumns(r.Name, at, size)
	if err != nil {
		return nil, err
	}
	if rec.Hash != r.Original {
		return nil, fmt.Errorf("it is of another original")
	}
	return rec, nil
}

// replaceColumns makes a column file anew.
func (b *Book) replaceColumns(path string, res *intake.Result, of int, rec *recording.Recording) error {
	tmp := b.tmpName()
	err := b.writeColumns(tmp, res, of, rec)
	if err == nil {
		err = b.place(tmp, path)
	}
	if err != nil {
		b.fs.Remove(tmp)
	}
	return err
}

// reread reads the recording of a run anew from its original: what the file
// gives, and which recording of it the run is or is a part of.
func (b *Book) reread(ctx context.Context, r Run) (res *intake.Result, of int, rec *recording.Recording, err error) {
	data, err := b.originalBytes(r.Original)
	if err != nil {
		return nil, 0, nil, err
	}
	if err := ctx.Err(); err != nil {
		return nil, 0, nil, err
	}
	var m []byte
	if err := b.r.QueryRow(`SELECT map FROM run WHERE number = ?`, r.Number).Scan(&m); err != nil {
		return nil, 0, nil, b.ioError(err)
	}
	in := &input{ReaderAt: bytes.NewReader(data), size: int64(len(data)), hash: r.Original}
	res, err = readFile(r.Name, in, "column map", m, nil)
	if err != nil {
		return nil, 0, nil, fmt.Errorf("run %d: reading its original again: %w", r.Number, err)
	}
	parts, from := outingsOf(res)
	best, miss := 0, math.Inf(1)
	for i, p := range parts {
		// By its place in the file; by its span where a later splitter cuts
		// differently.
		s := p.Span()
		d := math.Abs(s.From-r.Span[0]) + math.Abs(s.To-r.Span[1])
		if i+1 == r.Outing && d < 2 {
			d = -1
		}
		if d < miss {
			best, miss = i, d
		}
	}
	parts[best].Hash = r.Original
	return res, from[best], parts[best], nil
}

// exportParquet writes a recording as a Parquet table for other programs: the
// column time (s, on the recording's own clock, rising) and one optional DOUBLE
// column a channel in the SI unit, with a row for each instant at which any
// channel has a sample. Name, column of the file, unit and the recording's data
// stand in the file's key-value metadata, so that it can be read without the
// book.
func exportParquet(w io.Writer, rec *recording.Recording) error {
	var chans []*recording.Channel
	taken := map[string]bool{"time": true}
	names := map[*recording.Channel]string{}
	for _, c := range rec.Channels {
		if len(c.Time) == 0 {
			continue
		}
		name := columnName(c.Name)
		for n := 2; taken[name]; n++ {
			name = fmt.Sprintf("%s_%d", columnName(c.Name), n)
		}
		taken[name] = true
		names[c] = name
		chans = append(chans, c)
	}
	group := parquet.Group{"time": parquet.Leaf(parquet.DoubleType)}
	for _, n := range names {
		group[n] = parquet.Optional(parquet.Leaf(parquet.DoubleType))
	}
	schema := parquet.NewSchema("recording", group)
	opts := []parquet.WriterOption{schema, parquet.Compression(&zstd.Codec{}), parquet.CreatedBy("cornerwright", "1", ""),
		parquet.KeyValueMetadata("recording.name", rec.Name), parquet.KeyValueMetadata("recording.sha256", rec.Hash), parquet.KeyValueMetadata("recording.format", rec.Format)}
	if !rec.Epoch.IsZero() {
		opts = append(opts, parquet.KeyValueMetadata("recording.epoch", rec.Epoch.UTC().Format("2006-01-02T15:04:05.999999999Z07:00")))
	}
	for _, c := range chans {
		opts = append(opts, parquet.KeyValueMetadata("channel."+names[c], fmt.Sprintf("%s [%s] from %q [%s]", c.Name, c.Unit, c.From, c.SourceUnit)))
	}
	out := parquet.NewWriter(w, opts...)
	index := map[string]int{}
	for i, path := range schema.Columns() {
		index[path[0]] = i
	}
	ticks := instants(rec)
	next := make([]int, len(chans))
	width := len(chans) + 1
	rows := make([]parquet.Row, 0, 1024)
	cells := make([]parquet.Value, 1024*width)
	for at, t := range ticks {
		row := parquet.Row(cells[len(rows)*width : (len(rows)+1)*width])
		row[index["time"]] = parquet.DoubleValue(t).Level(0, 0, index["time"])
		for i, c := range chans {
			k := index[names[c]]
			if j := next[i]; j < len(c.Time) && c.Time[j] == t {
				row[k] = parquet.DoubleValue(c.Value[j]).Level(0, 1, k)
				next[i]++
			} else {
				row[k] = parquet.NullValue().Level(0, 0, k)
			}
		}
		if rows = append(rows, row); len(rows) == cap(rows) || at == len(ticks)-1 {
			if _, err := out.WriteRows(rows); err != nil {
				return err
			}
			rows = rows[:0]
		}
		if (at+1)%columnRows == 0 {
			if err := out.Flush(); err != nil {
				return err
			}
		}
	}
	return out.Close()
}

// columnName is a channel's name as a column: letters, digits and underscores,
// so that every engine takes it without quotes.
func columnName(s string) string {
	var b strings.Builder
	for _, r := range strings.ToLower(s) {
		switch {
		case r >= 'a' && r <= 'z', r >= '0' && r <= '9', r == '_', r > 127:
			b.WriteRune(r)
		default:
			b.WriteByte('_')
		}
	}
	if b.Len() == 0 {
		return "column"
	}
	return b.String()
}

// instants are all instants at which any channel has a sample, in order.
func instants(rec *recording.Recording) []float64 {
	seen := map[*float64]bool{}
	var clocks [][]float64
	for _, c := range rec.Channels {
		if len(c.Time) > 0 && !seen[&c.Time[0]] {
			seen[&c.Time[0]] = true
			clocks = append(clocks, c.Time)
		}
	}
	sort.Slice(clocks, func(i, j int) bool { return len(clocks[i]) > len(clocks[j]) })
	var out []float64
	for _, c := range clocks {
		out = mergeSorted(out, c)
	}
	return out
}

// mergeSorted joins two rising series, equal values once.
func mergeSorted(a, b []float64) []float64 {
	if len(a) == 0 {
		return b
	}
	out := make([]float64, 0, len(a)+len(b)/8)
	i, j := 0, 0
	for i < len(a) || j < len(b) {
		switch {
		case j == len(b) || i < len(a) && a[i] < b[j]:
			out = append(out, a[i])
			i++
		case i == len(a) || b[j] < a[i]:
			out = append(out, b[j])
			j++
		default:
			out = append(out, a[i])
			i, j = i+1, j+1
		}
	}
	return out
}

// verifyColumns compares a column file with the original, value by value and
// bit by bit. A file of another version gives an error that wraps
// intake.ErrColumnsVersion.
func (b *Book) verifyColumns(ctx context.Context, r Run, path string) error {
	got, err := b.readColumns(r, path)
	if err != nil {
		return err
	}
	_, _, want, err := b.reread(ctx, r)
	if err != nil {
		return err
	}
	return sameRecording(want, got)
}

// sameRecording says where two recordings differ.
func sameRecording(want, got *recording.Recording) error {
	if len(got.Channels) != len(want.Channels) {
		return fmt.Errorf("it holds %d channels, the original %d", len(got.Channels), len(want.Channels))
	}
	for i, w := range want.Channels {
		g := got.Channels[i]
		switch {
		case g.Name != w.Name || g.From != w.From || g.Unit != w.Unit || g.SourceUnit != w.SourceUnit:
			return fmt.Errorf("channel %d is %s, in the original %s", i+1, g.Name, w.Name)
		case len(g.Value) != len(w.Value):
			return fmt.Errorf("channel %s holds %d samples, the original %d", w.Name, len(g.Value), len(w.Value))
		}
		for j := range w.Value {
			if math.Float64bits(g.Value[j]) != math.Float64bits(w.Value[j]) || math.Float64bits(g.Time[j]) != math.Float64bits(w.Time[j]) {
				return fmt.Errorf("channel %s differs from the original at %.3f s", w.Name, w.Time[j])
			}
		}
		if len(g.Marks)+len(w.Marks) > 0 && !reflect.DeepEqual(g.Marks, w.Marks) {
			return fmt.Errorf("channel %s carries other marks than the original", w.Name)
		}
	}
	return nil
}
