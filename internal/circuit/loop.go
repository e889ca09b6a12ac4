package circuit

import (
	"math"
	"sort"

	"cornerwright/internal/signal"
)

// crossing is one passage over a gate line as the raw fixes have it.
type crossing struct {
	t, o float64 // recording clock (latency removed), odometer
}

// gateAt is a gate across the road: a point and the riding direction there.
type gateAt struct{ x, y, h float64 }

// crossings finds where the raw fixes pass the gate within half its width,
// rolling at more than slow m/s in its direction.
func crossings(f *fixes, d *odometer, g gateAt, half, slow float64) []crossing {
	sin, cos := math.Sincos(g.h)
	var out []crossing
	reach := half + 120
	for i := 1; i < len(f.t); i++ {
		dx, dy := f.x[i]-g.x, f.y[i]-g.y
		if math.Abs(dx) > reach || math.Abs(dy) > reach || f.v[i] < slow {
			continue
		}
		b := dx*sin + dy*cos
		px, py := f.x[i-1]-g.x, f.y[i-1]-g.y
		a := px*sin + py*cos
		if a >= 0 || b < 0 || b-a > 150 || f.t[i]-f.t[i-1] > 3 {
			continue
		}
		if math.Abs(wrapPi(f.h[i]-g.h)) > math.Pi/3 {
			continue
		}
		w := -a / (b - a)
		if math.Abs((px+w*(dx-px))*cos-(py+w*(dy-py))*sin) > half {
			continue
		}
		t := f.t[i-1] + w*(f.t[i]-f.t[i-1]) - d.latency
		o, _ := d.at(t)
		if n := len(out); n > 0 && o-out[n-1].o < 300 {
			continue
		}
		out = append(out, crossing{t, o})
	}
	return out
}

// loop is what closes: a gate that was passed repeatedly after equal distances.
type loop struct {
	gate   gateAt
	cross  []crossing
	length float64 // m by odometer, median of the consistent laps
	whole  []bool  // interval k..k+1 is one plain lap
}

// consistent marks the intervals whose length agrees with the commonest one.
func (l *loop) consistent() int {
	n := len(l.cross) - 1
	if n < 1 {
		return 0
	}
	best, at := 0, 0.0
	for k := 0; k < n; k++ {
		ref := l.cross[k+1].o - l.cross[k].o
		c := 0
		for j := 0; j < n; j++ {
			if math.Abs(l.cross[j+1].o-l.cross[j].o-ref) < 0.02*ref {
				c++
			}
		}
		if c > best || c == best && ref < at {
			best, at = c, ref
		}
	}
	var lens []float64
	l.whole = make([]bool, n)
	for k := range l.whole {
		x := l.cross[k+1].o - l.cross[k].o
		if math.Abs(x-at) < 0.025*at {
			l.whole[k] = true
			lens = append(lens, x)
		}
	}
	l.length = signal.Median(lens)
	l.quick()
	return best
}

// quick leaves out of the whole laps those ridden much slower than the others
// (out of the pit lane, into it, behind a flag): they may not lie on the line.
func (l *loop) quick() {
	var times []float64
	for k, w := range l.whole {
		if w {
			times = append(times, l.cross[k+1].t-l.cross[k].t)
		}
	}
	if len(times) < 3 {
		return
	}
	limit := 1.06 * signal.Quantile(times, 0.4)
	left := 0
	for k, w := range l.whole {
		if w && l.cross[k+1].t-l.cross[k].t <= limit {
			left++
		}
	}
	if left < 2 {
		return
	}
	for k := range l.whole {
		if l.cross[k+1].t-l.cross[k].t > limit {
			l.whole[k] = false
		}
	}
}

// findLoop looks for a gate on fast straight ground that closes the most laps.
func findLoop(f *fixes, d *odometer) (loop, bool) {
	fast := signal.Quantile(f.v, 0.98)
	order := make([]int, 0, len(f.t))
	for i := 2; i < len(f.t)-2; i++ {
		// Straight ahead over the neighbouring fixes, and not at the edge of a hole.
		if f.v[i] > 0.45*fast && f.v[i] > 6 && f.t[i+1]-f.t[i-1] < 4 &&
			math.Abs(wrapPi(f.h[i+1]-f.h[i-1]))/math.Max(f.t[i+1]-f.t[i-1], 1e-3)/f.v[i] < 1.0/150 {
			order = append(order, i)
		}
	}
	sort.Slice(order, func(a, b int) bool { return f.v[order[a]] > f.v[order[b]] })
	var best loop
	count := 0
	var tried []gateAt
next:
	for _, i := range order {
		g := gateAt{f.x[i], f.y[i], f.h[i]}
		for _, q := range tried {
			if math.Hypot(q.x-g.x, q.y-g.y) < 90 {
				continue next
			}
		}
		tried = append(tried, g)
		l := loop{gate: g, cross: crossings(f, d, g, 18, 6)}
		if c := l.consistent(); c > count {
			best, count = l, c
		}
		if len(tried) >= 24 {
			break
		}
	}
	return best, count >= 1 && best.length > 250 && best.ridden()
}

// ridden tells whether a whole lap was quicker than a walk: about a car park any place
// comes by again some day.
func (l *loop) ridden() bool {
	for k, w := range l.whole {
		if w && l.cross[k+1].o-l.cross[k].o > walking*(l.cross[k+1].t-l.cross[k].t) {
			return true
		}
	}
	return false
}

// fill puts crossings where the gate was passed while no fix told so (an outage
// over the gate): a stretch of about m lap lengths holds m laps.
func (l *loop) fill(d *odometer) {
	if len(l.cross) < 2 || l.length <= 0 {
		return
	}
	cross := []crossing{l.cross[0]}
	var whole []bool
	for k := 1; k < len(l.cross); k++ {
		a, b := l.cross[k-1], l.cross[k]
		m := math.Round((b.o - a.o) / l.length)
		if m < 2 || math.Abs((b.o-a.o)/m/l.length-1) > 0.04 {
			cross = append(cross, b)
			whole = append(whole, l.whole[k-1])
			continue
		}
		for j := 1.0; j <= m; j++ {
			c := b
			if j < m {
				c.o = a.o + (b.o-a.o)*j/m
				i := sort.SearchFloat64s(d.o, c.o)
				c.t = d.t0 + d.dt*float64(i)
			}
			cross = append(cross, c)
			whole = append(whole, false)
		}
	}
	l.cross, l.whole = cross, whole
}

// phases gives every fix its unwrapped place S by odometer share between
// crossings; before the first and after the last crossing by distance alone.
// Intervals that are not one plain lap (pit lane, a cut) count as one lap.
func (l *loop) phases(f *fixes, d *odometer, length float64) []float64 {
	s := make([]float64, len(f.t))
	k := 0
	for i := range f.t {
		o, _ := d.at(f.t[i] - d.latency)
		for k < len(l.cross) && l.cross[k].o <= o {
			k++
		}
		switch {
		case k == 0:
			s[i] = o - l.cross[0].o
		case k == len(l.cross):
			s[i] = float64(k-1)*length + o - l.cross[k-1].o
		default:
			a, b := l.cross[k-1], l.cross[k]
			s[i] = length * (float64(k-1) + (o-a.o)/(b.o-a.o))
		}
	}
	return s
}
