package draw

import (
	"math"

	"cornerwright/internal/circuit"
	"cornerwright/internal/say"
)

// Band is one phase of a turn on a strip's axis.
type Band struct {
	Phase    circuit.Phase
	From, To float64
}

// Series is one lap's line in a panel. X and Y have one length; NaN breaks the
// line.
type Series struct {
	X, Y  []float64
	Look  Look
	Title string
}

// Panel is one quantity of a strip.
type Panel struct {
	Name, Unit string
	Series     []Series
	// From, To fix the scale where From < To; otherwise it follows the data.
	From, To float64
	Zero     bool // draw the zero line
}

// StripOptions choose what a turn strip shows.
type StripOptions struct {
	Width float64 // mm
	XName string  // "s after the window opens" or "m from the gate"
}

// Strip draws a turn: the axis runs left to right through the phases, which are
// bands with their names, and the panels stand one under the other. It returns
// the height used.
func Strip(c Canvas, bands []Band, panels []Panel, o StripOptions) float64 {
	const left, right, top, gap, ph = 17.0, 3.0, 6.5, 2.2, 17.0
	var xs [][]float64
	for _, p := range panels {
		for _, s := range p.Series {
			xs = append(xs, s.X)
		}
	}
	for _, b := range bands {
		xs = append(xs, []float64{b.From, b.To})
	}
	x0, x1, ok := span(0, xs...)
	if !ok {
		c.Text(Point{o.Width / 2, 8}, string(say.T("no lap covers this turn")), Text{Size: 3.2, Ink: Soft, Anchor: Middle})
		return 12
	}
	x := Scale{x0, x1, left, o.Width - right}
	h := top + float64(len(panels))*(ph+gap) + 6
	for i, b := range bands {
		if !finite(b.From, b.To) || b.To <= b.From {
			continue
		}
		a, z := x.Clamp(b.From), x.Clamp(b.To)
		fill := Wash
		if i%2 == 1 {
			fill = Paper
		}
		c.Rect(a, top-4.6, z-a, h-top-6+4.6-gap+0.1, Pen{}, fill)
		line(c, a, top-4.6, a, h-6-gap, Pen{Ink: Faint, Width: 0.2})
		ts := Text{Size: 2.7, Ink: Soft, Anchor: Middle}
		if name := phaseName(b.Phase); c.Width(name, ts) < z-a {
			c.Text(Point{(a + z) / 2, top - 1.6}, name, ts)
		}
	}
	y := top
	for _, p := range panels {
		panel(c, p, x, y, ph)
		y += ph + gap
	}
	at, d := Ticks(x0, x1, int(math.Max(3, o.Width/22)))
	for _, v := range at {
		c.Text(Point{x.At(v), y + 2.6}, Number(v, d), Text{Size: 2.6, Ink: Soft, Anchor: Middle})
	}
	if o.XName != "" {
		c.Text(Point{o.Width - right, y + 5.6}, o.XName, Text{Size: 2.6, Ink: Soft, Anchor: End})
	}
	return y + 7
}

func phaseName(p circuit.Phase) string {
	if p == circuit.PhasePickup {
		return string(say.T("pick-up"))
	}
	return string(say.Key(string(p)))
}

func panel(c Canvas, p Panel, x Scale, top, h float64) {
	var ys [][]float64
	for _, s := range p.Series {
		ys = append(ys, s.Y)
	}
	lo, hi := p.From, p.To
	if lo >= hi {
		var ok bool
		if lo, hi, ok = span(0.06, ys...); !ok {
			c.Text(Point{x.Lo + 2, top + h/2}, string(say.T("{name}: not recorded", say.Text(p.Name))), Text{Size: 2.8, Ink: Soft})
			return
		}
	}
	y := Scale{lo, hi, top + h, top}
	line(c, x.Lo, top+h, x.Hi, top+h, Pen{Ink: Faint, Width: 0.2})
	at, d := Ticks(lo, hi, 3)
	for _, v := range at {
		yy := y.At(v)
		line(c, x.Lo-1, yy, x.Lo, yy, Pen{Ink: Soft, Width: 0.2})
		c.Text(Point{x.Lo - 1.4, yy + 0.9}, Number(v, d), Text{Size: 2.5, Ink: Soft, Anchor: End})
	}
	if p.Zero && lo < 0 && hi > 0 {
		line(c, x.Lo, y.At(0), x.Hi, y.At(0), Pen{Ink: Soft, Width: 0.2, Dash: []float64{0.6, 0.8}})
	}
	for pass := 0; pass < 2; pass++ {
		for _, s := range p.Series {
			if (s.Look == Median || s.Look == Chosen) != (pass == 1) {
				continue // the thick lines lie on top
			}
			pts := make([]Point, 0, len(s.X))
			for i := range s.X {
				v := s.Y[i]
				if finite(v) {
					v = math.Max(lo, math.Min(hi, v))
				}
				pts = append(pts, Point{x.At(s.X[i]), y.At(v)})
			}
			draw := func() { c.Path(pts, false, s.Look.Pen(), None) }
			if s.Title != "" {
				c.Titled(s.Title, draw)
			} else {
				draw()
			}
		}
	}
	label := p.Name
	if p.Unit != "" {
		label += "  " + p.Unit
	}
	c.Text(Point{x.Lo + 1, top + 2.9}, label, Text{Size: 2.7, Ink: Dark, Halo: true})
}
