package draw

import (
	"math"

	"cornerwright/internal/say"
	"cornerwright/internal/setting"
)

// CellsOptions choose what a heat table of cells shows.
type CellsOptions struct {
	Width    float64        // mm
	New      setting.Values // nil: no change to show
	Dwell    [][]float64    // s spent per cell on the recorded laps, weighted; nil: none
	Decimals int            // of the values; -1 = as many as needed
	Empty    bool           // leave values out (for a picture of use alone)
	Tall     bool           // rows as high as with a change, to stand beside one
}

// Cells draws the values of a setting: the value in the cell, time spent there
// as a bar under it, and a change as old, arrow, new in a frame. Returns the
// height used. A hole or a ragged row is drawn as an empty cell.
func Cells(c Canvas, s setting.Setting, old setting.Values, o CellsOptions) float64 {
	rows := len(old)
	cols := 0
	for _, r := range old {
		if len(r) > cols {
			cols = len(r)
		}
	}
	if rows == 0 || cols == 0 {
		c.Text(Point{o.Width / 2, 6}, string(say.T("no values")), Text{Size: 3.2, Ink: Soft, Anchor: Middle})
		return 10
	}
	dec := o.Decimals
	if dec < 0 {
		dec = math.MinInt
		for _, v := range []setting.Values{old, o.New} {
			for _, r := range v {
				for _, x := range r {
					dec = max(dec, decimalsOf(x))
				}
			}
		}
		dec = max(dec, 0)
	}
	left, top := 16.0, 9.5
	if s.Kind != setting.Grid {
		left = 2
	}
	if s.Kind == setting.Scalar {
		top = 2
	}
	cw := math.Min((o.Width-left-1)/float64(cols), 24)
	ch := 8.2
	hasNew := o.New != nil
	if hasNew || o.Tall {
		ch = 9.4
	}
	most := 0.0
	for _, r := range o.Dwell {
		for _, d := range r {
			if finite(d) {
				most = math.Max(most, d)
			}
		}
	}
	head := Text{Size: 2.7, Ink: Soft, Anchor: Middle}
	switch s.Kind {
	case setting.Grid:
		c.Text(Point{left + cw*float64(cols)/2, 3}, axisName(s.Columns), head)
		c.Text(Point{3, top + ch*float64(rows)/2}, axisName(s.Rows), Text{Size: 2.7, Ink: Soft, Anchor: Middle, Angle: 90})
		for j := 0; j < cols && j < len(s.Columns.Points); j++ {
			c.Text(Point{left + (float64(j)+0.5)*cw, top - 1.6}, number(s.Columns.Points[j]), Text{Size: 3, Ink: Dark, Anchor: Middle})
		}
		for i := 0; i < rows && i < len(s.Rows.Points); i++ {
			c.Text(Point{left - 1.5, top + (float64(i)+0.5)*ch + 1}, number(s.Rows.Points[i]), Text{Size: 3, Ink: Dark, Anchor: End})
		}
	case setting.List:
		by := s.By
		if by == "" {
			by = "gear"
		}
		for j := 0; j < cols; j++ {
			c.Text(Point{left + (float64(j)+0.5)*cw, top - 1.6}, string(say.T("{by} {n}", say.Key(by), number(float64(j+1)))), head)
		}
	}
	for i, r := range old {
		for j := range r {
			x, y := left+float64(j)*cw, top+float64(i)*ch
			dwell := 0.0
			if i < len(o.Dwell) && j < len(o.Dwell[i]) && finite(o.Dwell[i][j]) {
				dwell = o.Dwell[i][j]
			}
			changed := hasNew && i < len(o.New) && j < len(o.New[i]) && o.New[i][j] != r[j]
			fill := Paper
			if most > 0 && dwell > 0.02*most {
				fill = Wash
			}
			c.Rect(x, y, cw, ch, Pen{Ink: Faint, Width: 0.2}, fill)
			if !o.Empty {
				vs := Text{Size: 3.1, Ink: Dark, Anchor: Middle}
				mid := y + ch/2 + 0.5
				if changed {
					a, b := Number(r[j], dec), Number(o.New[i][j], dec)
					vs.Bold = true
					whole := a + " → " + b
					if c.Width(whole, vs) < cw-1.2 {
						c.Text(Point{x + cw/2, mid}, whole, vs)
					} else {
						c.Text(Point{x + cw/2, y + 3.1}, a+" →", Text{Size: 2.6, Ink: Soft, Anchor: Middle})
						c.Text(Point{x + cw/2, y + 6.6}, b, vs)
					}
				} else {
					c.Text(Point{x + cw/2, mid}, Number(r[j], dec), vs)
				}
			}
			if most > 0 && dwell > 0 {
				w := (cw - 1.6) * dwell / most
				bar := func() { c.Rect(x+0.8, y+ch-1.5, math.Max(w, 0.25), 0.9, Pen{}, Soft) }
				c.Titled(string(say.T("{time} s spent here", Number(dwell, 1))), bar)
			}
		}
	}
	// Frames last, so that no neighbour's hairline crosses them.
	if hasNew {
		for i, r := range old {
			for j := range r {
				if i < len(o.New) && j < len(o.New[i]) && o.New[i][j] != r[j] {
					c.Rect(left+float64(j)*cw+0.3, top+float64(i)*ch+0.3, cw-0.6, ch-0.6, Pen{Ink: Dark, Width: 0.6}, None)
				}
			}
		}
	}
	return top + ch*float64(rows) + 1
}

func axisName(a setting.Axis) string {
	if a.Unit == "" {
		return string(say.Key(a.Channel))
	}
	return string(say.T("{channel}, {unit}", say.Key(a.Channel), a.Unit))
}

// decimalsOf returns the decimals a value needs, at most 4.
func decimalsOf(v float64) int {
	for d := 0; d < 4; d++ {
		p := math.Pow(10, float64(d))
		if math.Abs(math.Round(v*p)/p-v) < 1e-9 {
			return d
		}
	}
	return 4
}

func number(v float64) string { return Number(v, decimalsOf(v)) }
