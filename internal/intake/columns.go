package intake

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strings"

	"github.com/parquet-go/parquet-go"

	"cornerwright/internal/recording"
)

// A column file is Parquet without a codec. The columns are named by channel,
// hold the file's own values in the file's own units, and are, wherever every
// value is a short decimal, integers with a DECIMAL scale, delta-packed:
// value = integer / 10^scale, correctly rounded, hence exact to the last bit.
// Other columns are float64. Blanks are nulls. A document under the key
// "cornerwright" says what turns them to channels again.
const (
	columnsKey     = "cornerwright"
	columnsVersion = 1
	clockColumn    = "time"
	rowGroup       = 1 << 15
)

// storedColumn says how one column is stored.
type storedColumn struct {
	name     string
	kind     storedKind
	scale    int
	optional bool
}

type storedKind uint8

const (
	storedInt32 storedKind = iota
	storedInt64
	storedDouble
)

func (c storedColumn) node() parquet.Node {
	var n parquet.Node
	switch c.kind {
	case storedInt32:
		n = parquet.Encoded(parquet.Decimal(c.scale, 9, parquet.Int32Type), &parquet.DeltaBinaryPacked)
	case storedInt64:
		n = parquet.Encoded(parquet.Decimal(c.scale, 18, parquet.Int64Type), &parquet.DeltaBinaryPacked)
	default:
		n = parquet.Encoded(parquet.Leaf(parquet.DoubleType), &parquet.Plain)
	}
	n = parquet.Compressed(n, &parquet.Uncompressed)
	if c.optional {
		n = parquet.Optional(n)
	}
	return n
}

// orderedGroup keeps the columns in the order of the file; parquet.Group would
// sort them by name.
type orderedGroup struct {
	parquet.Group
	order []string
}

func (g orderedGroup) Fields() []parquet.Field {
	by := map[string]parquet.Field{}
	for _, f := range g.Group.Fields() {
		by[f.Name()] = f
	}
	out := make([]parquet.Field, len(g.order))
	for i, n := range g.order {
		out[i] = by[n]
	}
	return out
}

func storedSchema(cols []storedColumn) *parquet.Schema {
	g := orderedGroup{Group: parquet.Group{}}
	for _, c := range cols {
		g.Group[c.name] = c.node()
		g.order = append(g.order, c.name)
	}
	return parquet.NewSchema("recording", g)
}

// meta is the document in the file's key-value metadata.
type meta struct {
	Version  int
	Format   string
	Name     string
	Hash     string
	Epoch    string `json:",omitempty"`
	Rows     int
	Problems []recording.Problem
	Clock    []recording.Mark
	Channels []metaChannel
	Map      string
}

type metaChannel struct {
	Name       string
	Known      bool
	From       string
	Unit       string
	SourceUnit string
	Step       float64
	Marks      []recording.Mark `json:",omitempty"`
	Spec       spec
	Rescaled   float64 `json:",omitempty"`
}

// WriteColumns writes recording i of a result as a column file, from which
// ReadColumns builds the same recording, bit for bit, without the text.
func WriteColumns(w io.Writer, res *Result, i int) error {
	if i < 0 || i >= len(res.sources) {
		return fmt.Errorf("intake: no recording %d to write", i)
	}
	return res.sources[i].writeColumns(w, res.Recordings[i], res.Map)
}

func (s *source) writeColumns(w io.Writer, rec *recording.Recording, mapText string) error {
	m := meta{Version: columnsVersion, Format: rec.Format, Name: rec.Name, Hash: rec.Hash, Rows: rec.Rows, Problems: rec.Problems, Clock: rec.Clock, Map: mapText}
	if !rec.Epoch.IsZero() {
		m.Epoch = rec.Epoch.Format("2006-01-02T15:04:05.999999999Z07:00")
	}
	clock := s.finalClock
	cols := []storedColumn{plan(clockColumn, clock, nil, len(clock), -1)}
	data := []*column{nil}
	for _, c := range s.cols {
		ch := rec.Channel(c.info.Channel)
		if c == s.clock || c.info.Channel == "" || ch == nil {
			continue
		}
		name := c.info.Channel
		if name == clockColumn {
			name = "time_of_file"
		}
		cols = append(cols, plan(name, c.values, c.at, s.rows, c.decimals))
		data = append(data, c)
		m.Channels = append(m.Channels, metaChannel{ch.Name, ch.Known, ch.From, ch.Unit, ch.SourceUnit, ch.Step, ch.Marks, c.spec, c.rescaled})
	}
	doc, err := json.Marshal(m)
	if err != nil {
		return fmt.Errorf("intake: write columns: %w", err)
	}
	pw := parquet.NewWriter(w, storedSchema(cols), parquet.DataPageStatistics(false), parquet.KeyValueMetadata(columnsKey, string(doc)),
		parquet.PageBufferSize(1<<20), parquet.CreatedBy("cornerwright", "1", ""))
	next := make([]int, len(cols)) // position in each sparse column
	vals := make([]parquet.Value, 0, rowGroup)
	for lo := 0; lo < s.rows; lo += rowGroup {
		hi := min(lo+rowGroup, s.rows)
		rg := pw.BeginRowGroup()
		for k, cw := range rg.ColumnWriters() {
			vals = vals[:0]
			put := func(v float64) parquet.Value { return cols[k].value(v) }
			switch {
			case k == 0:
				for _, v := range clock[lo:hi] {
					vals = append(vals, put(v))
				}
			case data[k].at == nil:
				for _, v := range data[k].values[lo:hi] {
					vals = append(vals, put(v))
				}
			default:
				c := data[k]
				for r := lo; r < hi; r++ {
					if j := next[k]; j < len(c.at) && int(c.at[j]) == r {
						vals = append(vals, put(c.values[j]).Level(0, 1, 0))
						next[k]++
					} else {
						vals = append(vals, parquet.Value{}.Level(0, 0, 0))
					}
				}
			}
			if _, err := cw.WriteRowValues(vals); err != nil {
				return fmt.Errorf("intake: write columns: %w", err)
			}
		}
		if _, err := rg.Commit(); err != nil {
			return fmt.Errorf("intake: write columns: %w", err)
		}
	}
	if err := pw.Close(); err != nil {
		return fmt.Errorf("intake: write columns: %w", err)
	}
	return nil
}

// value is v as it is stored.
func (c storedColumn) value(v float64) parquet.Value {
	switch c.kind {
	case storedInt32:
		return parquet.Int32Value(int32(math.Round(v * pow10(c.scale))))
	case storedInt64:
		return parquet.Int64Value(int64(math.Round(v * pow10(c.scale))))
	}
	return parquet.DoubleValue(v)
}

// plan chooses the storage of a column: the least scale at which every value is
// an integer over a power of ten, bit for bit; float64 where there is none.
func plan(name string, v []float64, at []int32, rows, decimals int) storedColumn {
	c := storedColumn{name: strings.ReplaceAll(name, ".", "_"), kind: storedDouble, optional: at != nil}
	from, to := 0, 9
	if decimals >= 0 {
		from, to = decimals, decimals
	}
	for k := from; k <= to && k <= 18; k++ {
		top, ok := 0.0, true
		p := pow10(k)
		for _, x := range v {
			m := math.Round(x * p)
			if m/p != x || math.Abs(m) >= 1<<53 || m == 0 && math.Signbit(x) {
				ok = false
				break
			}
			top = math.Max(top, math.Abs(m))
		}
		if !ok {
			continue
		}
		c.scale = k
		c.kind = storedInt64
		// DECIMAL of 32 bits holds nine digits.
		if top < 1e9 && k <= 9 {
			c.kind = storedInt32
		} else if top >= 1e18 {
			c.kind = storedDouble
		}
		return c
	}
	return c
}
