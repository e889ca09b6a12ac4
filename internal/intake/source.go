package intake

import (
	"math"
	"sort"

	"cornerwright/internal/intake/table"
	"cornerwright/internal/recording"
	"cornerwright/internal/say"
)

// source is a table of raw values in the file's own units, the common product
// of all readers.
type source struct {
	name, format string
	cols         []*column
	rows         int
	clock        *column // the time column among cols, nil if there is none
	rate         float64 // rows per second where there is no clock
	line         func(row int) int
	problems     []recording.Problem
	restarts     []int // rows before which the logger started anew
	lostRows     int
	lostBytes    int64
	preamble     map[string]string
	epochSet     bool    // by a column of dates: epochUnix is midnight
	epochUnix    float64 // Unix seconds at clock 0, where the reader knows; NaN otherwise
	headerLine   int
	headerText   string
	finalClock   []float64        // the recording's clock, one instant a row
	lostAt       []int            // rows before which others could not be read
	clockMarks   []recording.Mark // that our own column file carries
	segments     []int            // rows at which reception began anew: a gap stands before
}

// column holds raw values: of all rows, or of those listed in at.
type column struct {
	table.Column
	values   []float64
	at       []int32 // rows, ascending; nil: every row
	decimals int     // values are m/10^decimals exactly; -1: any float64
	labels   []string
	spec     spec
	fixed    string       // channel that the reader knows; "" where names decide
	minutes  bool         // was in degrees and minutes, ddmm.mmmm, and is turned to degrees
	own      *metaChannel // what our own column file says of it
	told     bool         // a column map states unit, scale or sign: never changed against it
	plain    bool         // never taken for a known channel: a selector of a bus message
	info     ColumnInfo
	rescaled float64 // by physics, after spec; 0 where nothing was changed
}

// spec says how raw values become SI: ((x + shift) * mul / div) * scale + add.
type spec struct {
	Shift, Mul, Div float64
	Scale           float64
	Table           []float64 `json:",omitempty"` // by raw index: labels
}

func (s spec) si(x float64) float64 {
	if s.Table != nil {
		if i := int(x); i >= 0 && i < len(s.Table) {
			return s.Table[i]
		}
		return math.NaN()
	}
	return (x + s.Shift) * s.Mul / s.Div * s.Scale
}

// row returns the row of the i-th value.
func (c *column) row(i int) int {
	if c.at == nil {
		return i
	}
	return int(c.at[i])
}

// compact drops NaN values, keeping the rows of the rest.
func (c *column) compact() {
	n := 0
	for _, v := range c.values {
		if v != v {
			n++
		}
	}
	if n == 0 {
		return
	}
	at := make([]int32, 0, len(c.values)-n)
	values := make([]float64, 0, len(c.values)-n)
	for i, v := range c.values {
		if v == v {
			at = append(at, int32(c.row(i)))
			values = append(values, v)
		}
	}
	c.at, c.values = at, values
}

// keep thins the column to the samples i for which f is true.
func (c *column) keep(f func(i int) bool) {
	at := make([]int32, 0, len(c.values)/4)
	values := make([]float64, 0, len(c.values)/4)
	for i, v := range c.values {
		if f(i) {
			at = append(at, int32(c.row(i)))
			values = append(values, v)
		}
	}
	c.at, c.values = at, values
}

// beside returns the last value at or before row a and the first at or after row
// b with their rows; -1 where there is none.
func (c *column) beside(a, b int) (v, w float64, i, j int) {
	i, j = -1, -1
	n := len(c.values)
	lo, hi := a, b
	if c.at != nil {
		lo = sort.Search(n, func(k int) bool { return int(c.at[k]) > a }) - 1
		hi = sort.Search(n, func(k int) bool { return int(c.at[k]) >= b })
	}
	for k := min(lo, n-1); k >= 0; k-- {
		if c.values[k] == c.values[k] {
			v, i = c.values[k], c.row(k)
			break
		}
	}
	for k := hi; k < n; k++ {
		if c.values[k] == c.values[k] {
			w, j = c.values[k], c.row(k)
			break
		}
	}
	return v, w, i, j
}

// renumber applies a mapping of rows after some were dropped or moved: to[row]
// is the new row, -1 for a dropped one; moved says that order changed.
func (c *column) renumber(to []int32, moved bool) {
	if moved {
		c.reorder(to)
		return
	}
	if c.at == nil {
		n := 0
		for i, v := range c.values {
			if to[i] >= 0 {
				c.values[n] = v
				n++
			}
		}
		c.values = c.values[:n]
		return
	}
	n := 0
	for i, r := range c.at {
		if to[r] >= 0 {
			c.at[n], c.values[n] = to[r], c.values[i]
			n++
		}
	}
	c.at, c.values = c.at[:n], c.values[:n]
}

// reorder is renumber for rows that change their order.
func (c *column) reorder(to []int32) {
	type cell struct {
		row int32
		v   float64
	}
	cells := make([]cell, 0, len(c.values))
	for i, v := range c.values {
		if r := to[c.row(i)]; r >= 0 {
			cells = append(cells, cell{r, v})
		}
	}
	sort.Slice(cells, func(i, j int) bool { return cells[i].row < cells[j].row })
	c.values = c.values[:len(cells)]
	if c.at != nil {
		c.at = c.at[:len(cells)]
	}
	for i, x := range cells {
		c.values[i] = x.v
		if c.at != nil {
			c.at[i] = x.row
		}
	}
}

func (s *source) problem(sev recording.Severity, line, col int, channel string, text, mend say.Text) {
	s.problems = append(s.problems, recording.Problem{Severity: sev, Line: line, Column: col, Channel: channel, Text: text, Mend: mend})
}
