package book

import (
	"context"
	"fmt"
	"io"
	"math"
	"os"
	"sort"
	"strings"

	"github.com/parquet-go/parquet-go"
	"github.com/parquet-go/parquet-go/compress/zstd"

	"cornerwright/internal/recording"
)

// A column file is one Parquet table: the column time (s, on the recording's
// own clock, rising) and one optional DOUBLE column a channel in the SI unit,
// with a row for each instant at which any channel has a sample. Name, column
// of the file, unit and the recording's data stand in the file's key-value
// metadata, so that it can be read without the book.

const columnRows = 1 << 15 // a row group: 330 s at 100 1/s

// columnsOf writes a recording as a column file.
func columnsOf(w io.Writer, rec *recording.Recording) error {
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

// verifyColumns reads a column file and compares it with the original: number
// of samples and sum of every channel.
func (b *Book) verifyColumns(ctx context.Context, r Run, path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return err
	}
	p, err := parquet.OpenFile(f, info.Size())
	if err != nil {
		return fmt.Errorf("it cannot be read: %w", err)
	}
	if sum, ok := p.Lookup("recording.sha256"); !ok || sum != r.Original {
		return fmt.Errorf("it is of another original")
	}
	rec, err := b.Recording(ctx, r.Number)
	if err != nil {
		return err
	}
	type tally struct {
		n   int
		sum float64
	}
	want := map[string]tally{}
	for _, c := range rec.Channels {
		if len(c.Time) == 0 {
			continue
		}
		x := tally{n: len(c.Value)}
		for _, v := range c.Value {
			x.sum += v
		}
		want[columnName(c.Name)] = x
	}
	got := map[string]tally{}
	columns := p.Schema().Columns()
	for _, g := range p.RowGroups() {
		if err := ctx.Err(); err != nil {
			return err
		}
		for i, chunk := range g.ColumnChunks() {
			name := columns[i][0]
			x := got[name]
			pages := chunk.Pages()
			for {
				page, err := pages.ReadPage()
				if err == io.EOF {
					break
				}
				if err != nil {
					pages.Close()
					return fmt.Errorf("column %s cannot be read: %w", name, err)
				}
				vals := make([]parquet.Value, page.NumValues())
				n, err := page.Values().ReadValues(vals)
				if err != nil && err != io.EOF {
					pages.Close()
					return fmt.Errorf("column %s cannot be read: %w", name, err)
				}
				for _, v := range vals[:n] {
					if !v.IsNull() {
						x.n++
						x.sum += v.Double()
					}
				}
				parquet.Release(page)
			}
			pages.Close()
			got[name] = x
		}
	}
	for name, w := range want {
		g := got[name]
		if g.n != w.n || math.Abs(g.sum-w.sum) > 1e-9*(math.Abs(w.sum)+1) {
			return fmt.Errorf("column %s holds %d samples, the original %d", name, g.n, w.n)
		}
	}
	return nil
}
