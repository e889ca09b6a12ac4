package circuit

import (
	"math"

	"cornerwright/internal/signal"
)

// A receiver's speed and heading err with a memory of seconds, and so does a wheel:
// the ways they add up to stray further than their scatter from fix to fix says.
// What counts is the density of the error at low frequencies, in m2/s: what a second
// adds to the variance of the way. It is found from the recording itself.

// trust holds those densities, 0 while not known.
type trust struct {
	along  float64             // of the way along by GPS speed
	across float64             // least, of the way across by GPS heading
	white  [acrossBins]float64 // of the way across, by speed, from fix to fix
	walk   float64             // least, of an odometer made of GPS speed
}

const (
	acrossBin  = 10.0 // m/s
	acrossBins = 9
	headSlow   = 6.0  // m/s below which a heading says little
	headFar    = 0.2  // rad from the line beyond which it is another road, or wrong
	shareGap   = 4.0  // s
	nearGap    = 1.5  // s
	farGap     = 6.0  // s
	longMemory = 4.0  // s
	leastShare = 0.03 // of the difference of two ways that either owns at least
)

// heading sets what GPS heading tells of row i: how far the bike went across since
// the fix before. before and the result are the angles to the line there (rad), NaN
// where there is none.
func (j *joint) heading(i int, before float64) float64 {
	r := &j.rows[i]
	if !j.f.headed || !j.headingCounts(i) {
		return math.NaN()
	}
	_, _, h, _ := j.line.At(j.s[i])
	a := wrapPi(j.f.h[i] - h)
	white := j.trust.white[min(int(j.f.v[i]/acrossBin), acrossBins-1)]
	if white == 0 || math.IsNaN(before) || r.dt > 1.5/j.f.rate || math.Abs(a) > headFar || math.Abs(before) > headFar {
		return a
	}
	r.cd = r.do * 0.5 * (before + a)
	r.cw = 1 / (math.Max(j.trust.across, white)*r.dt + 1e-6)
	return a
}

// headingCounts tells whether the heading of row i says something of the way across
// the line.
func (j *joint) headingCounts(i int) bool {
	r := &j.rows[i]
	return !j.f.isVoid(i) && j.f.v[i] > headSlow && (j.jumped[i] || math.Hypot(r.rx, r.ry) < farFix)
}

// judge finds how far to trust GPS speed and heading as ways, from the solution at
// hand.
func (j *joint) judge() {
	if j.fixed {
		j.judgeHeadings()
		return
	}
	seen, way := make([]float64, len(j.rows)), make([]float64, len(j.rows))
	w := &windows{j.f.t, seen, j.f.rate}
	if j.f.headed && j.judgeHeadings() {
		sum := 0.0
		for i := range j.rows {
			r, e := &j.rows[i], &j.sm.x[i]
			if r.cw > 0 {
				sum += r.cd
			}
			sum -= r.do * r.kappa * e[iDS]
			way[i], seen[i] = sum, math.NaN()
			if r.w > 0.5 {
				seen[i] = r.ty*(r.rx-e[iCX]) - r.tx*(r.ry-e[iCY])
			}
		}
		j.trust.across = math.Max(0, w.strays(way))
	}
	if !j.f.logged {
		return
	}
	other := make([]float64, len(j.rows))
	sum, more := 0.0, 0.0
	for i := range j.rows {
		r, e := &j.rows[i], &j.sm.x[i]
		if i > 0 {
			sum += r.do + r.more + 0.5*r.do*r.bow*(j.sm.x[i-1][iD]+e[iD]) - r.dnom
			if g := j.bySpeed(i); g == g {
				more += g
			}
		}
		way[i], other[i], seen[i] = sum, sum+more, math.NaN()
		if r.w > 0.5 {
			seen[i] = r.tx*(r.rx-e[iCX]) + r.ty*(r.ry-e[iCY])
		}
	}
	if !j.d.wheel {
		j.trust.walk = math.Max(0, w.strays(way))
		return
	}
	if part, all, ok := w.share(way, other); ok {
		all *= j.ownHabit()
		part = math.Max(leastShare, math.Min(1-leastShare, part))
		j.trust.along, j.q.walk = (1-part)*all, math.Max(1e-4, part*all)
	}
}

// ownHabit is by how much the density of the difference between two speeds is larger
// than it looks, as the odometer's habit was learnt from the same n laps and has taken
// up an nth of what GPS speed errs by.
func (j *joint) ownHabit() float64 {
	if j.laps < 3 || len(j.habits) == 0 {
		return 1
	}
	w := j.laps / (j.laps + habitDoubt)
	return 1 / (1 - w*(2-w)/j.laps)
}

// bySpeed is by how much the way from row i-1 to i by GPS speed is longer than the
// odometer's (m), NaN where they cannot be compared.
func (j *joint) bySpeed(i int) float64 {
	r := &j.rows[i]
	if r.dt > 1.5/j.f.rate {
		return math.NaN()
	}
	return 0.5 * r.dt * (j.rows[i-1].dv + r.dv)
}

// judgeHeadings finds the noise of the speed across by GPS heading from fix to fix,
// by speed, from second differences: some receivers err by an angle, others by a
// speed across. ok is false with too few headings.
func (j *joint) judgeHeadings() (ok bool) {
	f := j.f
	var d [acrossBins][]float64
	var x [3]float64
	for i := range j.rows {
		x[0], x[1], x[2] = x[1], x[2], math.NaN()
		if f.headed && j.headingCounts(i) {
			_, _, h, _ := j.line.At(j.s[i])
			x[2] = f.v[i] * wrapPi(f.h[i]-h)
		}
		if v := x[2] - 2*x[1] + x[0]; i > 1 && v == v && f.t[i]-f.t[i-2] < 3/f.rate {
			k := min(int(f.v[i]/acrossBin), acrossBins-1)
			d[k] = append(d[k], v)
		}
	}
	last := 0.0
	for k := range d {
		if len(d[k]) >= 40 {
			last = sq(signal.Spread(sample(d[k], 3000)))/6/f.rate + 1e-6
		}
		j.trust.white[k] = last
	}
	for k := acrossBins - 2; k >= 0; k-- {
		if j.trust.white[k] == 0 {
			j.trust.white[k] = j.trust.white[k+1]
		}
	}
	return last > 0
}

// windows takes means over a second of what the fixes see less a dead reckoning.
type windows struct {
	t, seen []float64
	rate    float64
}

// steps is by how much the mean of seen less way changes over a gap in time, at
// every half second; NaN where there are not enough fixes.
func (w *windows) steps(way []float64, gap float64) []float64 {
	half := max(1, int(math.Round(0.5*w.rate)))
	n := len(w.t)
	sum, num := make([]float64, n+1), make([]int, n+1)
	for i := range w.t {
		sum[i+1], num[i+1] = sum[i], num[i]
		if d := w.seen[i] - way[i]; d == d {
			sum[i+1] += d
			num[i+1]++
		}
	}
	mean := func(i int) float64 {
		a, b := i-half, i+half
		if a < 0 || b > n || num[b]-num[a] < half || w.t[b-1]-w.t[a] > 2 {
			return math.NaN()
		}
		return (sum[b] - sum[a]) / float64(num[b]-num[a])
	}
	k := max(1, int(math.Round(gap*w.rate)))
	out := make([]float64, 0, n/half)
	for i := half; i+k+half <= n; i += half {
		x := math.NaN()
		if math.Abs(w.t[i+k]-w.t[i]-gap) < 0.5 {
			x = mean(i+k) - mean(i)
		}
		out = append(out, x)
	}
	return out
}

// strays is the density of a dead reckoning's own error, seen against the fixes,
// less one and a half standard errors: means over a second are compared over two
// gaps in time; the fixes' noise adds to both alike and drops out.
func (w *windows) strays(way []float64) float64 {
	spread := func(gap float64) (v, n float64) {
		all := w.steps(way, gap)
		d := all[:0]
		for _, x := range all {
			if x == x {
				d = append(d, x)
			}
		}
		if len(d) < 80 {
			return math.NaN(), 0
		}
		return sq(signal.Spread(d)), float64(len(d)) / 2 / (gap + 1) // as many as are independent
	}
	a, _ := spread(nearGap)
	b, n := spread(farGap)
	if math.IsNaN(a) || math.IsNaN(b) {
		return 0
	}
	return (b-a)/(farGap-nearGap) - 1.5*math.Sqrt(2/n)*b/(farGap-nearGap)
}

// share is how much of the difference between two reckonings of one way is the
// error of the first: with a the fixes' way less the first's and e the second's
// less the first's, cov(a, e) / var(e). The fixes' noise, common to both, drops out.
// density is that of the difference; an error with a memory of seconds shows all of
// it only beyond them.
func (w *windows) share(way, other []float64) (part, density float64, ok bool) {
	const wild, wilder = 4.0, 6.0 // m: a wheel in the air or a jump of the fixes
	apart := func(gap float64) (ee, ae, n float64) {
		a, b := w.steps(way, gap), w.steps(other, gap)
		for i := range a {
			if e := a[i] - b[i]; math.Abs(e) < wild && math.Abs(a[i]) < wilder {
				ee, ae, n = ee+e*e, ae+a[i]*e, n+1
			}
		}
		return ee / n, ae / n, n
	}
	ee, ae, n := apart(shareGap)
	if n < 80 || !(ee > 0) {
		return 0, 0, false
	}
	// Means over a second at either end take a third of a second off the way between.
	density = ee / (shareGap - 1.0/3)
	near, _, _ := apart(0.75 * shareGap)
	far, _, m := apart(2 * shareGap)
	if m >= 80 {
		density = math.Max(density, longRun(near, far, 0.75*shareGap-1.0/3, 2*shareGap-1.0/3))
	}
	return ae / ee, density, true
}

// longRun is the low-frequency density of a speed error from the variance of the way
// it adds up to over a short and a long time (s). With a memory m that variance is
// density (t - m (1 - exp(-t/m))), the integral of a Gauss-Markov process; the ratio
// of the two tells m, of which longMemory is the most.
func longRun(near, far, short, long float64) float64 {
	shape := func(t, m float64) float64 { return t - m*(1-math.Exp(-t/m)) }
	lo, hi := 0.01, longMemory
	for range 30 {
		if m := 0.5 * (lo + hi); shape(long, m)*near < far*shape(short, m) {
			lo = m
		} else {
			hi = m
		}
	}
	return far / shape(long, lo)
}
