package draw

import (
	"math"

	"cornerwright/internal/say"
)

// IntervalRow is one line of an interval chart.
type IntervalRow struct {
	Name          string
	Value, Lo, Hi float64 // NaN: withheld
	Matters       float64 // half-width of the band that does not matter; 0 = none
	Answer        string  // in words, at the right
	Primary       bool
	Href          string
}

// IntervalOptions choose the axis of an interval chart.
type IntervalOptions struct {
	Width      float64 // mm
	Unit       string  // "s"
	Less, More string  // words for the two sides: "faster", "slower"
	Decimals   int
	Most       float64 // the axis reaches at least so far to both sides, for charts on one scale
}

// Intervals draws a verdict: a row per turn on one axis, with the interval, the
// zero line and the band of differences that do not matter. Returns the height.
func Intervals(c Canvas, rows []IntervalRow, o IntervalOptions) float64 {
	name, answer := 20.0, 0.0
	for _, r := range rows {
		name = math.Max(name, c.Width(r.Name, Text{Size: 3.1, Bold: r.Primary})+4)
		answer = math.Max(answer, c.Width(r.Answer, Text{Size: 3})+4)
	}
	name, answer = math.Min(name, o.Width*0.3), math.Min(answer, o.Width*0.34)
	most := o.Most
	for _, r := range rows {
		for _, v := range []float64{r.Lo, r.Hi, r.Value, r.Matters * 1.3} {
			if finite(v) {
				most = math.Max(most, math.Abs(v))
			}
		}
	}
	if most == 0 {
		most = 0.1
	}
	most *= 1.08
	x := Scale{-most, most, name, o.Width - answer - 1}
	const rh, top = 7.4, 8.0
	h := top + rh*float64(len(rows))
	side := Text{Size: 2.8, Ink: Soft}
	c.Text(Point{x.Lo, 3}, "← "+o.Less, side)
	side.Anchor = End
	c.Text(Point{x.Hi, 3}, o.More+" →", side)
	at, d := Ticks(-most, most, 5)
	for i, r := range rows {
		y := top + (float64(i)+0.5)*rh
		if r.Primary {
			c.Rect(0, y-rh/2, o.Width, rh, Pen{}, Wash)
		}
		if r.Matters > 0 {
			c.Rect(x.Clamp(-r.Matters), y-rh/2+0.5, x.Clamp(r.Matters)-x.Clamp(-r.Matters), rh-1, Pen{}, Shade)
		}
	}
	for _, v := range at {
		p := Pen{Ink: Faint, Width: 0.2}
		if v == 0 {
			p = Pen{Ink: Dark, Width: 0.45}
		}
		line(c, x.At(v), top-1, x.At(v), h, p)
		c.Text(Point{x.At(v), h + 3.6}, Signed(v, d), Text{Size: 2.7, Ink: Soft, Anchor: Middle})
	}
	c.Text(Point{x.Hi + 1.5, h + 3.6}, o.Unit, Text{Size: 2.7, Ink: Soft})
	for i, r := range rows {
		y := top + (float64(i)+0.5)*rh
		ns := Text{Size: 3.1, Ink: Dark, Bold: r.Primary}
		txt := func() { c.Text(Point{1, y + 1.1}, Fit(c, r.Name, name-3, ns), ns) }
		if r.Href != "" {
			c.Link(r.Href, r.Name, txt)
		} else {
			txt()
		}
		if finite(r.Lo, r.Hi) {
			pen := Pen{Ink: Dark, Width: 0.45}
			if r.Primary {
				pen.Width = 0.9
			}
			line(c, x.Clamp(r.Lo), y, x.Clamp(r.Hi), y, pen)
			for _, v := range []float64{r.Lo, r.Hi} {
				line(c, x.Clamp(v), y-1.1, x.Clamp(v), y+1.1, pen)
			}
		}
		if finite(r.Value) {
			look := Reference
			if r.Primary {
				look = Trial
			}
			Mark(c, Point{x.Clamp(r.Value), y}, 1.15, look)
		} else {
			c.Text(Point{x.At(0), y + 1}, string(say.T("withheld")), Text{Size: 2.7, Ink: Soft, Anchor: Middle, Italic: true, Halo: true})
		}
		as := Text{Size: 3, Ink: Dark, Bold: r.Primary}
		c.Text(Point{x.Hi + 2.5, y + 1.1}, Fit(c, r.Answer, answer, as), as)
	}
	return h + 6
}
