package circuit

import (
	"math"

	"cornerwright/internal/recording"
	"cornerwright/internal/signal"
)

// yawDelay finds the GPS delay against the yaw gyro, where there is no wheel to
// find it by. A gyro fixed to a leaned bike feels the rate of heading times the
// cosine of lean, and lean follows from speed and rate of heading. SE holds what
// a heading filtered otherwise than the position may add.
func yawDelay(rec *recording.Recording, f *fixes) (delay, se float64, ok bool) {
	c := rec.Channel(recording.YawRate)
	if c == nil || c.Rate() < 10 || !f.headed && !f.logged {
		return 0, 0, false
	}
	// Integral of the gyro on an even grid, so that means over a fix's window are exact.
	const dt = 0.02
	span := recording.Span{From: c.Time[0], To: c.Time[len(c.Time)-1]}
	n := int((span.To-span.From)/dt) + 1
	if n < 500 {
		return 0, 0, false
	}
	g := signal.Resample(c.Time, c.Value, span.From, dt, n)
	for i := 1; i < n; i++ {
		g[i] = g[i-1] + g[i]*dt
	}
	type pair struct{ a, b, rate float64 }
	var pairs []pair
	stride := 1 + len(f.t)/6000
	for k := 1; k+1 < len(f.t); k += stride {
		w := f.t[k+1] - f.t[k-1]
		if w > 1.2 || f.v[k] < 12 {
			continue
		}
		r := wrapPi(f.h[k+1]-f.h[k-1]) / w
		if math.Abs(r) > 2 {
			continue
		}
		pairs = append(pairs, pair{f.t[k-1], f.t[k+1], r / math.Sqrt(1+sq(f.v[k]*r/gravity))})
	}
	if len(pairs) < 200 {
		return 0, 0, false
	}
	cost := func(l float64) (rest, corr float64) {
		var xx, xy, yy float64
		for _, p := range pairs {
			// ISO 8855: yaw is positive to the left, headings grow to the right.
			x := -(signal.At(g, span.From, dt, p.b-l) - signal.At(g, span.From, dt, p.a-l)) / (p.b - p.a)
			xx, xy, yy = xx+x*x, xy+x*p.rate, yy+p.rate*p.rate
		}
		return yy - xy*xy/xx, xy / math.Sqrt(xx*yy)
	}
	best := math.Inf(1)
	for l := -0.1; l <= 1.501; l += 0.05 {
		if r, _ := cost(l); r < best {
			best, delay = r, l
		}
	}
	h := 0.04
	for range 3 {
		a, _ := cost(delay - h)
		b, _ := cost(delay)
		d, _ := cost(delay + h)
		if curve := a - 2*b + d; curve > 0 {
			delay += math.Max(-h, math.Min(h, 0.5*h*(a-d)/curve))
			se = math.Sqrt(b / float64(len(pairs)) / (0.5 * curve / (h * h)))
		}
		h *= 0.7
	}
	_, corr := cost(delay)
	return delay, math.Hypot(se, 0.0035), corr > 0.9
}

// bridgeSpeed fills the holes of a recording without wheel speed by the mean
// speed of the other laps at the same places, quickened or slowed so that the
// far side is reached in time. A straight line between the speeds on both sides
// would leave out the turn between them.
func (j *joint) bridgeSpeed() {
	d, f, l := j.d, j.fixes, &j.line
	if d.wheel || j.grid == nil || len(l.X) == 0 {
		return
	}
	n := int(math.Max(8, l.Length/10))
	cell := func(s float64) int { return min(int(l.wrap(s)/l.Length*float64(n)), n-1) }
	holes := d.gaps(f)
	if len(holes) == 0 {
		return
	}
	// The pit lane runs beside the line too: only what is nearly as quick as the
	// quickest counts.
	sum, count, top := make([]float64, n), make([]float64, n), make([]float64, n)
	for pass := range 2 {
		k := 0
		for i, v := range d.v {
			for k < len(holes) && i > holes[k][1] {
				k++
			}
			if k < len(holes) && i >= holes[k][0] || v < 8 {
				continue
			}
			c := cell(j.grid[i])
			if pass == 0 {
				top[c] = math.Max(top[c], v)
			} else if v > 0.85*top[c] {
				sum[c] += v
				count[c]++
			}
		}
	}
	for _, h := range holes {
		a, b := h[0], h[1]
		s0, way := j.grid[a-1], j.grid[b+1]-j.grid[a-1]
		if way < 10 || way > l.Length {
			continue
		}
		// Time that the mean lap takes for the way.
		t := 0.0
		usual := true
		for x := 0.5; x < way; x++ {
			c := cell(s0 + x)
			if count[c] == 0 {
				usual = false
				break
			}
			t += count[c] / sum[c]
		}
		if !usual {
			continue
		}
		quick := t / (float64(b-a+2) * d.dt)
		if quick < 0.8 || quick > 1.25 {
			continue // no lap like the others: it stopped, or fell
		}
		s := s0
		for i := a; i <= b; i++ {
			c := cell(s)
			d.v[i] = quick * sum[c] / count[c]
			s += d.v[i] * d.dt
		}
	}
	d.integrate()
}

// gaps are the holes of a recording: first and last sample of the grid within, and
// the fix after.
func (d *odometer) gaps(f *fixes) [][3]int {
	limit := math.Max(0.8, 2.5/f.rate)
	var out [][3]int
	for i := 1; i < len(f.t); i++ {
		if f.t[i]-f.t[i-1] > limit {
			a := int(math.Ceil((f.t[i-1] - d.latency - d.t0) / d.dt))
			b := int((f.t[i] - d.latency - d.t0) / d.dt)
			if a > 0 && b < len(d.v)-1 && a < b {
				out = append(out, [3]int{a, b, i})
			}
		}
	}
	return out
}

// bridge fills the holes of a recording without wheel speed from a whole lap
// without one, before anything is known of the line: the places on both sides
// are found on that lap, and the speeds between them are taken from it.
func (l *loop) bridge(f *fixes, d *odometer) {
	gaps := d.gaps(f)
	if d.wheel || len(gaps) == 0 || len(l.cross) < 2 {
		return
	}
	clean := func(a, b float64) bool {
		for _, g := range gaps {
			if d.t0+float64(g[1])*d.dt > a && d.t0+float64(g[0])*d.dt < b {
				return false
			}
		}
		return true
	}
	for k := range l.whole {
		a, b := l.cross[k], l.cross[k+1]
		if !l.whole[k] || !clean(a.t, b.t) {
			continue
		}
		length := b.o - a.o
		// Fixes of that lap and their distance from its beginning.
		var at []int
		var way []float64
		for i := range f.t {
			if t := f.t[i] - d.latency; t >= a.t && t < b.t {
				o, _ := d.at(t)
				at, way = append(at, i), append(way, o-a.o)
			}
		}
		place := func(i int) (float64, bool) {
			best, s := 20.0, 0.0
			for q, m := range at {
				if x := math.Hypot(f.x[m]-f.x[i], f.y[m]-f.y[i]); x < best && math.Abs(wrapPi(f.h[m]-f.h[i])) < 0.8 {
					sin, cos := math.Sincos(f.h[m])
					best, s = x, way[q]+(f.x[i]-f.x[m])*sin+(f.y[i]-f.y[m])*cos
				}
			}
			return s, best < 20
		}
		speed := func(s float64) float64 {
			s = math.Mod(math.Mod(s, length)+length, length)
			lo, hi := 0, len(way)-1
			for lo < hi {
				if m := (lo + hi) / 2; way[m] < s {
					lo = m + 1
				} else {
					hi = m
				}
			}
			return math.Max(3, f.v[at[lo]])
		}
		for _, g := range gaps {
			s0, ok0 := place(g[2] - 1)
			s1, ok1 := place(g[2])
			if !ok0 || !ok1 {
				continue
			}
			dist := math.Mod(s1-s0+length, length)
			t := 0.0
			for x := 0.5; x < dist; x++ {
				t += 1 / speed(s0+x)
			}
			quick := t / (float64(g[1]-g[0]+2) * d.dt)
			if quick < 0.7 || quick > 1.4 {
				continue
			}
			s := s0
			for i := g[0]; i <= g[1]; i++ {
				d.v[i] = quick * speed(s)
				s += d.v[i] * d.dt
			}
		}
		break
	}
	d.integrate()
	for k := range l.cross {
		l.cross[k].o, _ = d.at(l.cross[k].t)
	}
	l.consistent()
}
