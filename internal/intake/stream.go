package intake

import (
	"encoding/json"
	"fmt"
	"io"
	"sync"

	"cornerwright/internal/intake/columnfile"
	"cornerwright/internal/intake/table"
	"cornerwright/internal/say"
)

// columnStream writes the columns of a text table to a column file while its
// blocks come by, in the file's own units and digits, one row group a block.
// Blocks are encoded on the goroutines that parsed them.
//
// The first block tells how many decimals each column has and whether it is
// one of decimals at all. A later block may need more: then nothing more is
// written, needs are still gathered, and the caller starts again with them, or
// writes the columns from memory.
type columnStream struct {
	d     *table.Dialect
	cols  []streamColumn // those kept, in the order of the text
	w     *columnfile.Writer
	ready chan struct{} // closed once cols is known

	mu     sync.Mutex
	needs  []streamColumn // as cols, widened by every block since
	unfit  bool
	labels [][]string // of label columns, by place in cols
}

// streamColumn is how one column is kept.
type streamColumn struct {
	index    int // in the dialect
	decimals int
	float    bool
}

// encoded is what columnStream keeps with a block.
type encoded struct {
	group  columnfile.Group
	floats []float64
	ints   []int64
	fit    bool
}

// newColumnStream writes to w; needs of an earlier pass, or nil.
func newColumnStream(d *table.Dialect, w io.Writer, needs []streamColumn) *columnStream {
	c := &columnStream{d: d, w: columnfile.NewWriter(w), ready: make(chan struct{})}
	if needs != nil {
		c.cols = needs
		close(c.ready)
	} else {
		for i := range d.Columns {
			if d.Columns[i].Kind != table.Skip {
				c.cols = append(c.cols, streamColumn{index: i})
			}
		}
	}
	c.needs = append([]streamColumn{}, c.cols...)
	c.labels = make([][]string, len(c.cols))
	return c
}

// work encodes a block; see table.ScanWith.
func (c *columnStream) work(b *table.Block) {
	e, ok := b.Extra.(*encoded)
	if !ok {
		e = &encoded{}
		b.Extra = e
	}
	e.fit = false
	select {
	case <-c.ready:
	default:
		if b.Seq == 0 {
			for k := range c.cols {
				col := &b.Cols[c.cols[k].index]
				c.cols[k].decimals, c.cols[k].float = col.Decimals, col.Float != nil
			}
			close(c.ready)
		}
	}
	<-c.ready
	c.mu.Lock()
	unfit := c.unfit
	c.mu.Unlock()
	fit := true
	e.group.Reset(b.Rows, len(c.cols))
	for k, sc := range c.cols {
		col := &b.Cols[sc.index]
		overflow := false
		switch {
		case c.d.Columns[sc.index].Kind == table.Label:
		case unfit: // nothing is written any more; only needs count
			overflow = !sc.float && col.Float == nil && col.Decimals <= sc.decimals && overflows(col.Mant, pow10int(sc.decimals-col.Decimals))
		case sc.float:
			e.floats = col.Values(e.floats[:0])
			e.group.Floats(k, e.floats)
		case col.Float != nil || col.Decimals > sc.decimals:
			fit = false
		case !e.group.Ints(k, col.Mant, pow10int(sc.decimals-col.Decimals)):
			fit, overflow = false, true
		}
		if overflow || col.Float != nil || col.Decimals > sc.decimals {
			c.mu.Lock()
			n := &c.needs[k]
			n.decimals = max(n.decimals, col.Decimals)
			n.float = n.float || overflow || col.Float != nil
			c.mu.Unlock()
		}
	}
	if !fit {
		c.mu.Lock()
		c.unfit = true
		c.mu.Unlock()
	}
	e.fit = fit && !unfit
}

// sink writes an encoded block; blocks come in order.
func (c *columnStream) sink(b *table.Block) error {
	e := b.Extra.(*encoded)
	if !e.fit || c.broken() {
		return nil
	}
	for k, sc := range c.cols {
		if c.d.Columns[sc.index].Kind != table.Label {
			continue
		}
		col := &b.Cols[sc.index]
		to := make([]int64, len(col.Labels()))
		for i, w := range col.Labels() {
			to[i] = int64(indexOf(&c.labels[k], w))
		}
		e.ints = append(e.ints[:0], col.Mant...)
		for i, m := range e.ints {
			if m != table.Blank {
				e.ints[i] = to[m]
			}
		}
		e.group.Ints(k, e.ints, 1)
	}
	return c.w.Append(&e.group)
}

// broken tells whether some block did not fit.
func (c *columnStream) broken() bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.unfit
}

// decided is how the columns were kept once a stream has ended, or are to be
// kept on the next pass. A column of no block at all stays one of integers.
func (c *columnStream) decided() []streamColumn {
	out := append([]streamColumn{}, c.cols...)
	for k, n := range c.needs {
		out[k].decimals = max(out[k].decimals, n.decimals)
		out[k].float = out[k].float || n.float
	}
	return out
}

// indexOf returns the place of a word in a list, to which it is added where it
// is new.
func indexOf(list *[]string, w string) int {
	for i, l := range *list {
		if l == w {
			return i
		}
	}
	*list = append(*list, w)
	return len(*list) - 1
}

// overflows tells whether an integer times factor is too large for a column.
func overflows(m []int64, factor int64) bool {
	limit := int64(columnfile.MaxInteger) / factor
	for _, x := range m {
		if x != table.Blank && (x >= limit || x <= -limit) {
			return true
		}
	}
	return false
}

func pow10int(k int) int64 {
	v := int64(1)
	for range k {
		v *= 10
	}
	return v
}

// Imported says what Import did.
type Imported struct {
	Rows, LostRows int
	LostBytes      int64
	Columns        []ImportedColumn
	Passes         int // over the text: 1, or more where digits changed within a column
}

// ImportedColumn is one column of an imported table.
type ImportedColumn struct {
	Name, Header, Unit string
	Kind               string   // "number", "clock", "date-time", "label"
	Decimals           int      // -1: kept as float64
	Base               int64    // Unix seconds at 0, of a date-time column
	Labels             []string `json:",omitempty"`
}

// importKey is the key of the document that Import adds to its file.
const importKey = "cornerwright.table"

// Import copies a delimited text table of any size to a column file (see
// package columnfile), every column under its own name in the file's own unit,
// values exact to the last bit. Nothing is interpreted: no channels, no units
// converted, no clock put right. Memory does not grow with the table. create is
// called at the start of each pass over the text and must give an empty file;
// there is a second pass only where a column's digits change after the first
// block. Columns of free text are left out.
func Import(name string, r io.ReaderAt, size int64, create func() (io.Writer, error), opts Options) (*Imported, error) {
	var needs []streamColumn
	for pass := 1; ; pass++ {
		text, _, err := openText(name, r, size)
		if err != nil {
			return nil, err
		}
		d, text, err := sniffText(name, text, opts)
		if err != nil {
			return nil, err
		}
		w, err := create()
		if err != nil {
			return nil, err
		}
		c := newColumnStream(d, w, needs)
		out := &Imported{Passes: pass}
		var read int64
		err = table.ScanWith(text, d, opts.Workers, c.work, func(b *table.Block) error {
			out.Rows += b.Rows
			out.LostRows += b.LostRows
			out.LostBytes += int64(b.LostBytes)
			read += int64(b.Bytes)
			if opts.Progress != nil {
				opts.Progress(Progress{Bytes: read, Total: size, Rows: out.Rows})
			}
			return c.sink(b)
		})
		if err != nil {
			return nil, &Error{File: name, Text: say.T("the import breaks off after {rows} rows: {why}", out.Rows, err), Mend: say.T("see that the disk is not full, and copy the file from the stick again")}
		}
		if out.Rows == 0 {
			return nil, &Error{File: name, Line: d.DataLine, Text: say.T("no row of data could be read"), Mend: say.T("give a table whose rows have as many cells as its header")}
		}
		if c.broken() {
			needs = c.decided()
			continue
		}
		names := map[string]bool{}
		var cols []columnfile.Column
		for k, sc := range c.cols {
			dc := &d.Columns[sc.index]
			// The unit stands in the name, so that a reader of the file has it.
			head := dc.Header
			if dc.Unit != "" {
				head += " [" + dc.Unit + "]"
			}
			n := head
			for i := 2; n == "" || names[n]; i++ {
				n = fmt.Sprintf("%s_%d", head, i)
			}
			names[n] = true
			ic := ImportedColumn{Name: n, Header: dc.Cell, Unit: dc.Unit, Kind: dc.Kind.String(), Decimals: sc.decimals, Base: dc.Base, Labels: c.labels[k]}
			if sc.float {
				ic.Decimals = -1
			}
			out.Columns = append(out.Columns, ic)
			cols = append(cols, columnfile.Column{Name: n, Scale: sc.decimals, Float: sc.float})
		}
		doc, err := json.Marshal(out)
		if err != nil {
			return nil, say.Error("intake: import: {why}", err)
		}
		return out, c.w.Close(cols, map[string]string{importKey: string(doc)})
	}
}

// openText gives the decoded text of an input that is not compressed.
func openText(name string, r io.ReaderAt, size int64) (text io.Reader, encoding string, err error) {
	if size == 0 {
		return nil, "", &Error{File: name, Text: say.T("the file is empty (0 bytes)"), Mend: say.T("copy the recording from the logger again")}
	}
	head := make([]byte, min(size, 64<<10))
	n, err := r.ReadAt(head, 0)
	if err != nil && err != io.EOF {
		return nil, "", &Error{File: name, Text: say.T("cannot be read: {why}", err), Mend: say.T("copy the file from the stick again")}
	}
	text, encoding = decode(head[:n], io.NewSectionReader(r, 0, size))
	return text, encoding, nil
}
