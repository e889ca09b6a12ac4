package draw

import (
	"math"
	"strconv"

	"cornerwright/internal/say"
)

// Dots is one small multiple: a turn's value lap by lap.
type Dots struct {
	Name   string
	Values []float64 // one a lap, NaN where it cannot be given
	Looks  []Look    // one a lap
	Titles []string  // one a lap, may be nil
	Href   string
}

// MultiplesOptions choose scales and layout of small multiples.
type MultiplesOptions struct {
	Width    float64 // mm
	Columns  int     // 0 = as many as fit
	Unit     string
	Decimals int
	// About true centres each panel on its own median and keeps one common
	// scale of differences: turns of unlike length stay comparable.
	About bool
}

// Multiples draws one panel a turn on a common scale: laps left to right, the
// median as a thick line. Returns the height used.
func Multiples(c Canvas, d []Dots, o MultiplesOptions) float64 {
	if len(d) == 0 {
		c.Text(Point{o.Width / 2, 6}, string(say.T("no turns yet")), Text{Size: 3.2, Ink: Soft, Anchor: Middle})
		return 10
	}
	cols := o.Columns
	if cols == 0 {
		cols = int(math.Max(2, math.Floor(o.Width/34)))
	}
	cols = min(cols, len(d))
	pw, ph := o.Width/float64(cols), 27.0
	var all [][]float64
	med := make([]float64, len(d))
	for i, p := range d {
		var ok []float64
		for k, v := range p.Values {
			if finite(v) && (k >= len(p.Looks) || p.Looks[k] != Struck) {
				ok = append(ok, v)
			}
		}
		med[i] = median(ok)
		vs := append([]float64(nil), p.Values...)
		if o.About {
			for k := range vs {
				vs[k] -= med[i]
			}
		}
		all = append(all, robust(vs))
	}
	lo, hi, ok := span(0.08, all...)
	if !ok {
		lo, hi = 0, 1
	}
	for i, p := range d {
		x0, y0 := float64(i%cols)*pw, float64(i/cols)*ph
		x1, top, bot := x0+pw-3, y0+5.4, y0+ph-3
		name := func() {
			c.Text(Point{x0 + 1, y0 + 3.6}, p.Name, Text{Size: 3.1, Ink: Dark, Bold: true})
		}
		if p.Href != "" {
			c.Link(p.Href, p.Name, name)
		} else {
			name()
		}
		if finite(med[i]) {
			c.Text(Point{x1, y0 + 3.6}, Number(med[i], o.Decimals)+" "+o.Unit, Text{Size: 2.8, Ink: Soft, Anchor: End})
		}
		line(c, x0+1, bot, x1, bot, Pen{Ink: Faint, Width: 0.2})
		line(c, x0+1, top, x0+1, bot, Pen{Ink: Faint, Width: 0.2})
		n := len(p.Values)
		if n == 0 || !finite(med[i]) {
			c.Text(Point{x0 + pw/2, y0 + ph/2}, string(say.T("withheld")), Text{Size: 2.8, Ink: Soft, Anchor: Middle, Italic: true})
			continue
		}
		x := Scale{-0.6, float64(n) - 0.4, x0 + 2, x1}
		y := Scale{lo, hi, bot - 0.8, top + 0.8}
		base := 0.0
		if o.About {
			base = med[i]
		}
		ym := y.Clamp(med[i] - base)
		line(c, x0+1, ym, x1, ym, Median.Pen())
		for k, v := range p.Values {
			if !finite(v) {
				continue
			}
			l := Reference
			if k < len(p.Looks) {
				l = p.Looks[k]
			}
			at := Point{x.At(float64(k)), y.Clamp(v - base)}
			r := math.Min(1.15, 0.38*(x1-x0)/float64(n))
			mark := func() { Mark(c, at, r, l) }
			if k < len(p.Titles) {
				c.Titled(p.Titles[k], mark)
			} else {
				mark()
			}
		}
	}
	h := math.Ceil(float64(len(d))/float64(cols)) * ph
	note := string(say.T("each panel spans {span} {unit}", Number(hi-lo, o.Decimals), o.Unit))
	c.Text(Point{1, h + 2}, note, Text{Size: 2.6, Ink: Soft})
	return h + 3.5
}

// robust leaves out values far outside the bulk, so that one spoilt lap does
// not flatten every panel; such laps are drawn at the edge.
func robust(v []float64) []float64 {
	var ok []float64
	for _, x := range v {
		if finite(x) {
			ok = append(ok, x)
		}
	}
	if len(ok) < 5 {
		return ok
	}
	m := median(ok)
	dev := make([]float64, len(ok))
	for i, x := range ok {
		dev[i] = math.Abs(x - m)
	}
	lim := 6 * median(dev)
	out := ok[:0:0]
	for _, x := range ok {
		if lim == 0 || math.Abs(x-m) <= lim {
			out = append(out, x)
		}
	}
	return out
}

func median(v []float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	s := append([]float64(nil), v...)
	for i := 1; i < len(s); i++ { // small n
		for j := i; j > 0 && s[j] < s[j-1]; j-- {
			s[j], s[j-1] = s[j-1], s[j]
		}
	}
	n := len(s)
	if n%2 == 1 {
		return s[n/2]
	}
	return (s[n/2-1] + s[n/2]) / 2
}

// LapDot is one lap of a lap chart.
type LapDot struct {
	Number int
	Time   float64 // s; NaN: no time
	Look   Look
	Slot   string
	Title  string
}

// Laps draws lap times in riding order, the slot letter under each. Returns the
// height used.
func Laps(c Canvas, laps []LapDot, width float64) float64 {
	const left, top, h = 15.0, 3.0, 34.0
	ts := make([]float64, 0, len(laps))
	for _, l := range laps {
		ts = append(ts, l.Time)
	}
	lo, hi, ok := span(0.12, robust(ts))
	if !ok {
		c.Text(Point{width / 2, 8}, string(say.T("no timed lap")), Text{Size: 3.2, Ink: Soft, Anchor: Middle})
		return 12
	}
	x := Scale{-0.6, float64(len(laps)) - 0.4, left, width - 2}
	y := Scale{lo, hi, top + h, top}
	at, d := Ticks(lo, hi, 4)
	for _, v := range at {
		line(c, left, y.At(v), width-2, y.At(v), Pen{Ink: Faint, Width: 0.2})
		c.Text(Point{left - 1.5, y.At(v) + 0.9}, LapTime(v, d), Text{Size: 2.6, Ink: Soft, Anchor: End})
	}
	every := 1 + int(float64(len(laps))*4.5/(width-left))
	for i, l := range laps {
		px := x.At(float64(i))
		if i%every == 0 {
			c.Text(Point{px, top + h + 3.8}, strconv.Itoa(l.Number), Text{Size: 2.6, Ink: Soft, Anchor: Middle})
			if l.Slot != "" {
				c.Text(Point{px, top + h + 7.2}, l.Slot, Text{Size: 2.6, Ink: Dark, Anchor: Middle, Bold: l.Look == Trial})
			}
		}
		if !finite(l.Time) {
			continue
		}
		p := Point{px, y.Clamp(l.Time)}
		c.Titled(l.Title, func() { Mark(c, p, 1.25, l.Look) })
	}
	c.Text(Point{left - 1.5, top + h + 3.8}, string(say.T("lap")), Text{Size: 2.6, Ink: Soft, Anchor: End})
	c.Text(Point{left - 1.5, top + h + 7.2}, string(say.T("slot")), Text{Size: 2.6, Ink: Soft, Anchor: End})
	return top + h + 8.5
}
