package intake

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"sort"
	"strings"

	"cornerwright/internal/intake/columnfile"
	"cornerwright/internal/recording"
	"cornerwright/internal/say"
	"cornerwright/internal/signal"
)

// The column file of a recording (see package columnfile) holds the file's own
// values in the file's own units, by channel, so that they are exact and small:
// integers with a DECIMAL scale wherever every value is a short decimal. Blanks
// are nulls. A document under the key "cornerwright" says what turns them to
// channels again, and carries the marks and problems.
const (
	columnsKey  = "cornerwright"
	clockColumn = "time"
	rowGroup    = 1 << 15
)

// ColumnsVersion is the version of column files and of the decisions of reading
// that they keep: raise it whenever the same input is to give another
// recording. Files of another version are refused, to be made anew from the
// original.
const ColumnsVersion = 4

// ErrColumnsVersion is what ReadColumns wraps for a file of another version, or
// one that is no column file at all.
var ErrColumnsVersion = say.Error("column file of another version")

// meta is the document in the file's key-value pairs.
type meta struct {
	Version  int
	Format   string
	Name     string
	Hash     string
	Epoch    string `json:",omitempty"`
	Rows     int
	Problems []recording.Kept
	Clock    []recording.KeptMark
	Channels []metaChannel
	Map      string
}

type metaChannel struct {
	Name       string
	Column     string
	Known      bool
	From       string
	Unit       string
	SourceUnit string
	Step       float64
	Marks      []recording.KeptMark `json:",omitempty"`
	Spec       spec
	Rescaled   float64 `json:",omitempty"`
}

// WriteColumns writes recording i of a result as a column file, from which
// ReadColumns builds the same recording, bit for bit, without the text. part
// narrows it to one outing: a recording that holds a stretch of the samples of
// recording i, with its own marks and problems; nil writes the whole.
func WriteColumns(w io.Writer, res *Result, i int, part *recording.Recording) error {
	if i < 0 || i >= len(res.sources) {
		return say.Error("intake: no recording {i} to write", i)
	}
	if part == nil {
		part = res.Recordings[i]
	}
	if err := res.sources[i].writeColumns(w, part, res.Map); err != nil {
		return say.Error("intake: write columns: {why}", err)
	}
	return nil
}

// stretch is a column's samples that go to a file.
type stretch struct {
	values []float64
	at     []int32 // rows, counted in the file; nil: every row
}

// cut returns the samples of rows lo to hi.
func (c *column) cut(lo, hi int) stretch {
	if c.at == nil {
		return stretch{values: c.values[lo:hi]}
	}
	a := sort.Search(len(c.at), func(i int) bool { return int(c.at[i]) >= lo })
	b := sort.Search(len(c.at), func(i int) bool { return int(c.at[i]) >= hi })
	at := c.at[a:b]
	if lo > 0 {
		at = make([]int32, b-a)
		for i := range at {
			at[i] = c.at[a+i] - int32(lo)
		}
	}
	return stretch{c.values[a:b], at}
}

func (s *source) writeColumns(w io.Writer, rec *recording.Recording, mapText string) error {
	m := meta{Version: ColumnsVersion, Format: rec.Format, Name: rec.Name, Hash: rec.Hash, Rows: rec.Rows, Problems: recording.Keep(rec.Problems), Clock: recording.KeepMarks(rec.Clock), Map: mapText}
	if !rec.Epoch.IsZero() {
		m.Epoch = rec.Epoch.Format("2006-01-02T15:04:05.999999999Z07:00")
	}
	span := rec.Span()
	lo := sort.SearchFloat64s(s.finalClock, span.From)
	hi := sort.Search(len(s.finalClock), func(i int) bool { return s.finalClock[i] > span.To })
	rows := hi - lo
	data := []stretch{{values: s.finalClock[lo:hi]}}
	cols := []columnfile.Column{plan(clockColumn, data[0].values, -1)}
	taken := map[string]bool{clockColumn: true}
	for _, c := range s.cols {
		ch := rec.Channel(c.info.Channel)
		if c == s.clock || c.info.Channel == "" || ch == nil {
			continue
		}
		name := strings.ReplaceAll(c.info.Channel, ".", "_")
		for n := 2; taken[name]; n++ {
			name = fmt.Sprintf("%s_%d", c.info.Channel, n)
		}
		taken[name] = true
		x := c.cut(lo, hi)
		cols = append(cols, plan(name, x.values, c.decimals))
		data = append(data, x)
		m.Channels = append(m.Channels, metaChannel{ch.Name, name, ch.Known, ch.From, ch.Unit, ch.SourceUnit, ch.Step, recording.KeepMarks(ch.Marks), c.spec, c.rescaled})
	}
	doc, err := json.Marshal(m)
	if err != nil {
		return err
	}
	f := columnfile.NewWriter(w)
	var g columnfile.Group
	next := make([]int, len(cols)) // position in each sparse column
	ints := make([]int64, 0, min(rows, rowGroup))
	floats := make([]float64, 0, min(rows, rowGroup))
	for from := 0; from < rows; from += rowGroup {
		n := min(rowGroup, rows-from)
		g.Reset(n, len(cols))
		for k, c := range cols {
			// The group's rows of this column, NaN for blanks.
			v := floats[:n]
			if x := data[k]; x.at == nil {
				v = x.values[from : from+n]
			} else {
				for i := range v {
					v[i] = nan
				}
				for ; next[k] < len(x.at) && int(x.at[next[k]]) < from+n; next[k]++ {
					v[int(x.at[next[k]])-from] = x.values[next[k]]
				}
			}
			if c.Float {
				g.Floats(k, v)
				continue
			}
			p := pow10(c.Scale)
			ints = ints[:n]
			for i, x := range v {
				if x != x {
					ints[i] = columnfile.Blank
				} else {
					ints[i] = int64(signal.Nearest(float64(x * p)))
				}
			}
			if !g.Ints(k, ints, 1) {
				return say.Error("column {name} does not fit its scale", c.Name)
			}
		}
		if err := f.Append(&g); err != nil {
			return err
		}
	}
	return f.Close(cols, map[string]string{columnsKey: string(doc)})
}

// plan chooses how a column is kept: the least scale at which every value is an
// integer over a power of ten, bit for bit; float64 where there is none.
// decimals is what the reader saw, -1 where it does not know.
func plan(name string, v []float64, decimals int) columnfile.Column {
	from, to := 0, 9
	if decimals >= 0 {
		from, to = decimals, min(decimals, 18)
	}
	for k := from; k <= to; k++ {
		p := pow10(k)
		fits := true
		for _, x := range v {
			// Division by an exact power rounds once, as reading the text did. Of
			// the two zeros the integers have one.
			m := signal.Nearest(float64(x * p))
			if m/p != x || m >= columnfile.MaxInteger || m <= -columnfile.MaxInteger || m == 0 && math.Signbit(x) {
				fits = false
				break
			}
		}
		if fits {
			return columnfile.Column{Name: name, Scale: k}
		}
	}
	return columnfile.Column{Name: name, Float: true}
}
