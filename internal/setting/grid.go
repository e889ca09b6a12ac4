package setting

import (
	"fmt"
	"math"
	"sort"
	"strings"
)

// axisScale is what one unit of an axis is in SI. An axis is typed into a
// bike in its own unit; the recording is SI.
// A switch, as it is asked for every sample: a table of names costs more than
// everything else that is done with a sample.
func axisScale(unit string) (si float64, ok bool) {
	switch unit {
	case "", "1", "rad", "m/s", "rpm", "Pa", "m", "m/s2", "s", "N", "N.m", "Nm":
		return 1, true
	case "1/min": // engine speed is handed over in 1/min, see Axis.FromSI
		return 1, true
	case "%":
		return 0.01, true
	case "deg":
		return math.Pi / 180, true
	case "km/h":
		return 1 / 3.6, true
	case "mph":
		return 0.44704, true // exact: international mile, 1959
	case "bar":
		return 1e5, true
	case "kPa":
		return 1e3, true
	case "mm", "ms":
		return 1e-3, true
	case "g":
		return 9.80665, true // standard gravity
	}
	return 0, false
}

// FromSI converts a value of the axis's channel to the axis's unit. Engine
// speed is the exception: it is handed over in 1/min, as ride.Signals has it.
// An unknown unit gives NaN.
func (a Axis) FromSI(x float64) float64 {
	k, ok := axisScale(a.Unit)
	if !ok {
		return math.NaN()
	}
	return x / k
}

// Signed tells whether the axis has points below zero. A lean axis without
// them is looked up with the magnitude of lean.
func (a Axis) Signed() bool { return len(a.Points) > 0 && a.Points[0] < 0 }

// Locate returns the interval i..i+1 that x (in the axis's unit) falls in, and
// how far into it, 0..1. Outside the points it is held at the edge, as a
// controller holds it. With one point, i and f are 0.
func (a Axis) Locate(x float64) (i int, f float64) {
	p := a.Points
	n := len(p)
	if n < 2 || !(x > p[0]) { // NaN too: held at the first
		return 0, 0
	}
	if x >= p[n-1] {
		return n - 2, 1
	}
	// Axes have a handful of points: a scan beats a binary search.
	for i = 0; x >= p[i+1]; i++ {
	}
	return i, (x - p[i]) / (p[i+1] - p[i])
}

// Weight is the share of one cell in an interpolated value.
type Weight struct {
	Row, Column int
	W           float64 // 0..1; the four of a sample sum to 1
}

// Weights returns the bilinear weights of the (up to four) cells that make the
// value of a grid at row and column coordinates in the axes' own units. Cells
// of weight zero may be among them.
func (s *Setting) Weights(row, column float64) [4]Weight {
	i, f := s.Rows.Locate(row)
	j, g := s.Columns.Locate(column)
	i1, j1 := i, j
	if len(s.Rows.Points) > 1 {
		i1++
	}
	if len(s.Columns.Points) > 1 {
		j1++
	}
	return [4]Weight{
		{i, j, (1 - f) * (1 - g)},
		{i, j1, (1 - f) * g},
		{i1, j, f * (1 - g)},
		{i1, j1, f * g},
	}
}

// Value interpolates a grid at row and column coordinates in the axes' own
// units, bilinearly, held at the edges. A list is looked up by column = gear
// (counted from 1), a scalar ignores both. NaN outside a list or for values of
// the wrong shape.
func (s *Setting) Value(v Values, row, column float64) float64 {
	switch s.Kind {
	case Scalar:
		return v.at(0, 0)
	case List:
		return v.at(0, int(column)-1)
	}
	sum := 0.0
	for _, w := range s.Weights(row, column) {
		if w.W != 0 {
			sum += w.W * v.at(w.Row, w.Column)
		}
	}
	return sum
}

func (v Values) at(i, j int) float64 {
	if i < 0 || i >= len(v) || j < 0 || j >= len(v[i]) {
		return math.NaN()
	}
	return v[i][j]
}

// Shape returns rows and columns that the setting's values must have. Gears is
// the number of gears of the bike, for a list.
func (s *Setting) Shape(gears int) (rows, columns int) {
	switch s.Kind {
	case List:
		return 1, gears
	case Grid:
		return len(s.Rows.Points), len(s.Columns.Points)
	}
	return 1, 1
}

// CellName names a cell as a person would: "lean 40 deg, speed 140 km/h",
// "gear 2", or "" for a scalar.
func (s *Setting) CellName(row, column int) string {
	switch s.Kind {
	case List:
		by := s.By
		if by == "" {
			by = "gear"
		}
		return fmt.Sprintf("%s %d", by, column+1)
	case Grid:
		return s.Rows.pointName(row) + ", " + s.Columns.pointName(column)
	}
	return ""
}

func (a Axis) pointName(i int) string {
	if i < 0 || i >= len(a.Points) {
		return fmt.Sprintf("%s point %d (there is none)", a.Channel, i+1)
	}
	return strings.TrimSpace(fmt.Sprintf("%s %s %s", a.Channel, Number(a.Points[i]), a.Unit))
}

// CellsName names a group of cells: "lean 40..48 deg x speed 100..140 km/h",
// "gears 2, 3", or "" for a scalar.
func (s *Setting) CellsName(cells []Cell) string {
	if len(cells) == 0 {
		return "no cells"
	}
	switch s.Kind {
	case List:
		g := make([]int, 0, len(cells))
		for _, c := range cells {
			g = append(g, c.Column+1)
		}
		sort.Ints(g)
		word := "gear "
		if len(g) > 1 {
			word = "gears "
		}
		t := make([]string, len(g))
		for i := range g {
			t[i] = fmt.Sprint(g[i])
		}
		return word + strings.Join(t, ", ")
	case Grid:
		r0, r1, c0, c1 := cells[0].Row, cells[0].Row, cells[0].Column, cells[0].Column
		for _, c := range cells {
			r0, r1 = min(r0, c.Row), max(r1, c.Row)
			c0, c1 = min(c0, c.Column), max(c1, c.Column)
		}
		name := s.Rows.spanName(r0, r1) + " x " + s.Columns.spanName(c0, c1)
		if (r1-r0+1)*(c1-c0+1) != len(cells) {
			name += fmt.Sprintf(" (%d cells of it)", len(cells))
		}
		return name
	}
	return ""
}

func (a Axis) spanName(i, j int) string {
	if i < 0 || j >= len(a.Points) || i == j {
		return a.pointName(i)
	}
	return strings.TrimSpace(fmt.Sprintf("%s %s..%s %s", a.Channel, Number(a.Points[i]), Number(a.Points[j]), a.Unit))
}

// Check returns what is wrong with values as values of the setting: shape,
// holes and range; empty if nothing.
func (s *Setting) Check(v Values, gears int) []string {
	var bad []string
	rows, columns := s.Shape(gears)
	if len(v) != rows {
		return []string{fmt.Sprintf("%s has %d rows of values, %d are needed", s.ID, len(v), rows)}
	}
	for i := range v {
		if len(v[i]) != columns {
			bad = append(bad, fmt.Sprintf("%s row %d has %d values, %d are needed", s.ID, i+1, len(v[i]), columns))
			continue
		}
		for j, x := range v[i] {
			switch {
			case math.IsNaN(x) || math.IsInf(x, 0):
				bad = append(bad, fmt.Sprintf("%s has no value at %s", s.ID, s.CellName(i, j)))
			case s.hasRange() && (x < s.Range[0] || x > s.Range[1]):
				bad = append(bad, fmt.Sprintf("%s at %s is %s %s, outside its range %s..%s %s", s.ID, s.CellName(i, j), Number(x), s.Unit, Number(s.Range[0]), Number(s.Range[1]), s.Unit))
			}
		}
	}
	return bad
}

func (s *Setting) hasRange() bool { return s.Range[0] != 0 || s.Range[1] != 0 }
