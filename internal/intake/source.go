package intake

import (
	"math"

	"cornerwright/internal/intake/table"
	"cornerwright/internal/recording"
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
	epochUnix    float64 // Unix seconds at clock 0, where the reader knows; NaN otherwise
	headerLine   int
	headerText   string
	finalClock   []float64 // the recording's clock, one instant a row
	segments     []int     // rows at which reception began anew: a gap stands before
}

// column holds raw values: of all rows, or of those listed in at.
type column struct {
	table.Column
	values   []float64
	at       []int32 // rows, ascending; nil: every row
	decimals int     // values are m/10^decimals exactly; -1: any float64
	labels   []string
	spec     spec
	fixed    string // channel that the reader knows; "" where names decide
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

// renumber applies a mapping of rows after some were dropped: to[row] is the new
// row, -1 for a dropped one.
func (c *column) renumber(to []int32) {
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

func (s *source) problem(sev recording.Severity, line, col int, channel, text, mend string) {
	s.problems = append(s.problems, recording.Problem{Severity: sev, Line: line, Column: col, Channel: channel, Text: text, Mend: mend})
}
