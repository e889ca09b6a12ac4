package circuit

import (
	"math"

	"cornerwright/internal/signal"
)

// joint is the state of the iteration between line and smoother.
type joint struct {
	f     *fixes // with voids in the holes
	fixes *fixes // without
	d     *odometer
	line  Line
	s     []float64 // unwrapped S at the fixes
	q     noise
	fixed bool // q is not estimated
	// antenna is its height (m); lean (rad) at the rows moves it aside.
	antenna  float64
	antennaV []float64 // m/s, speeds as logged
	sm       *smoother
	coarse   smoother // of positionDelay and tune
	beside   smoother // of tune, that two are tried at once
	rows     []row
	bias     [2]float64 // m, constant GPS offset removed
	phi      []float64  // lean from path on the grid, for the rolling radius
	grid     []float64  // S on the grid
	aside    []float64  // m right of the line, of each raw fix
	bare     []float64  // m, the odometer at the rows without habits
	jumped   []bool     // fixes between two opposite jumps, once found
	trust    trust
	laps     float64   // that the line is learnt from; 0 if it was known
	habits   []float64 // relative error of the odometer by place, see habit
}

// learn fits line and positions to each other.
func (j *joint) learn(lp *loop) {
	length := lp.length
	use := make([]bool, len(j.s))
	for i, s := range j.s {
		k := int(math.Floor(s / length))
		use[i] = k >= 0 && k < len(lp.whole) && lp.whole[k]
	}
	for _, w := range lp.whole {
		if w {
			j.laps++
		}
	}
	for round := range 3 {
		if round == 1 {
			clear(j.jumped) // found on a line that was still rough
			for i := range j.rows {
				j.rows[i].jump = false
			}
		}
		pts := make([]point, 0, len(j.s))
		for i := range j.s {
			if !use[i] || j.f.isVoid(i) {
				continue
			}
			x, y, w := j.f.x[i], j.f.y[i], 1.0
			if round > 0 {
				e := &j.sm.x[i]
				a, b := j.antennaAt(i)
				x, y = x-e[iCX]-a, y-e[iCY]-b
				w = j.rows[i].w
			}
			p := math.Mod(j.s[i], length)
			if p < 0 {
				p += length
			}
			q := point{p: p, x: x, y: y, w: w, v: j.f.v[i], heading: j.f.headed && j.f.v[i] > 8}
			if q.heading {
				q.sin, q.cos = math.Sincos(j.f.h[i])
			}
			pts = append(pts, q)
		}
		line, arc := fitLine(pts, length)
		steps := float64(len(arc) - 1)
		for i, s := range j.s {
			k := math.Floor(s / length)
			u := (s - k*length) / length * steps
			a := min(int(u), len(arc)-2)
			j.s[i] = k*line.Length + arc[a] + (u-float64(a))*(arc[a+1]-arc[a])
		}
		j.line = line
		length = line.Length
		j.spread()
		if round < 2 {
			j.contactSpeed()
			j.d.calibrate(j.fixes, j.phi)
			j.byWheel()
			j.applyHabit(j.habits)
			j.bridgeSpeed()
		}
		j.solve(min(1+round, 2), false) // the first line is too rough to judge outliers by
		j.judge()
		j.tune()
		if round < 2 {
			j.positionDelay(round == 0)
		}
		j.habit()
	}
}

// locateKnown lays the run on a known line and finds the run's offset.
func (j *joint) locateKnown() {
	for round := range 3 {
		j.spread()
		if round < 2 {
			j.contactSpeed()
			j.d.calibrate(j.fixes, j.phi)
			j.byWheel()
			j.applyHabit(j.habits)
			j.bridgeSpeed()
		}
		j.solve(2, false)
		var mx, my float64
		for i := range j.sm.x {
			mx += j.sm.x[i][iCX]
			my += j.sm.x[i][iCY]
		}
		n := float64(len(j.sm.x))
		j.bias[0] += mx / n
		j.bias[1] += my / n
		j.judge()
		j.tune()
		if round < 2 {
			j.positionDelay(round == 0)
		}
		j.habit()
	}
	j.finish()
}

// finish solves once more with covariances.
func (j *joint) finish() {
	j.solve(2, true)
}

// spread carries S from the fixes to the grid and computes lean from the path.
func (j *joint) spread() {
	j.carry()
	signal.Pieces(len(j.phi), func(from, to int) {
		for i := from; i < to; i++ {
			v := j.d.v[i]
			x := v * v * j.line.kappaAt(j.grid[i]) / gravity
			// tyreLean(atan x), with sin(atan x) by algebra and asin by its series.
			u := 0.08 / 0.52 * x / math.Sqrt(1+x*x)
			j.phi[i] = math.Atan(x) + u + u*u*u/6
		}
	})
}

// carry is spread without the lean.
func (j *joint) carry() {
	d := j.d
	n := len(d.v)
	if j.grid == nil {
		j.grid = make([]float64, n)
		j.phi = make([]float64, n)
	}
	m := len(j.f.t)
	// S - o is smooth between fixes; o carries the detail.
	k := 0
	ofix := make([]float64, m)
	for i := range ofix {
		ofix[i], _ = d.at(j.f.t[i] - d.latency)
	}
	for i := range j.grid {
		t := d.t0 + float64(i)*d.dt + d.latency
		for k < m && j.f.t[k] <= t {
			k++
		}
		var off float64
		switch {
		case k == 0:
			off = j.s[0] - ofix[0]
		case k == m:
			off = j.s[m-1] - ofix[m-1]
		default:
			w := (t - j.f.t[k-1]) / (j.f.t[k] - j.f.t[k-1])
			a, b := j.s[k-1]-ofix[k-1], j.s[k]-ofix[k]
			off = a + w*(b-a)
		}
		j.grid[i] = d.o[i] + off
	}
}

// tyreLean adds the lean that tyre width asks for, for a usual machine (mean
// crown 80 mm, centre of mass 0.6 m): good enough for a rolling radius.
func tyreLean(ideal float64) float64 {
	return ideal + math.Asin(0.08*math.Sin(ideal)/0.52)
}

// solve linearises about the present S and solves, reweighting outliers.
func (j *joint) solve(rounds int, cov bool) {
	f, d := j.f, j.d
	n := len(f.t)
	if cap(j.rows) < n {
		j.rows = make([]row, n)
	}
	j.rows = j.rows[:n]
	if len(j.aside) != n {
		j.aside, j.jumped = make([]float64, n), make([]bool, n)
	}
	var po, pt float64
	known := len(j.sm.x) == n
	angle := math.NaN()
	lifts := j.lifts()
	for i := range j.rows {
		last := 0.0
		if known && i > 0 {
			last = 0.5 * (j.sm.x[i-1][iD] + j.sm.x[i][iD])
		}
		t := f.t[i] - d.latency
		o, v := d.at(t)
		x, y, h, _ := j.line.At(j.s[i])
		sin, cos := math.Sincos(h)
		r := &j.rows[i]
		w, jump := r.w, r.jump
		*r = row{tx: sin, ty: cos, rx: f.x[i] - j.bias[0] - x, ry: f.y[i] - j.bias[1] - y, w: 1, v: v, dv: f.v[i] - v}
		if d.speedLag != 0 {
			_, v = d.at(t - d.speedLag)
			r.dv = f.v[i] - v
		}
		if w > 0 && w < 1 {
			r.w = w
		}
		r.jump = jump && i > 0
		if !d.wheel || math.Abs(r.dv) > 2 || f.isVoid(i) {
			r.dv = math.NaN()
		}
		if i > 0 {
			r.dt, r.do, r.dnom = t-pt, o-po, j.s[i]-j.s[i-1]
			r.kappa = j.line.kappaAt(0.5 * (j.s[i] + j.s[i-1]))
			r.lay(last)
			r.bad = j.badBetween(pt, t) || r.dt > 1.5
			if !d.wheel {
				r.blind = f.hole(i)
			} else if lifts != nil && f.hole(i) > 0 {
				k := min(int(j.line.wrap(j.s[i])/j.line.Length*float64(len(lifts))), len(lifts)-1)
				r.lift = lifts[k] * r.do
			} else if g := j.bySpeed(i); f.logged && j.trust.along > 0 && g == g {
				r.gd, r.gw = g, 1/(j.trust.along*r.dt+1e-8)
			}
		}
		if j.antenna != 0 {
			a, b := j.antennaAt(i)
			r.rx, r.ry = r.rx-a, r.ry-b
		}
		angle = j.heading(i, angle)
		j.aside[i] = r.rx*cos - r.ry*sin
		if f.isVoid(i) {
			r.w, j.aside[i] = 0, 0
		} else if j.jumped[i] || math.Hypot(r.rx, r.ry) > farFix { // pit lane, paddock, or a fix that jumped
			r.w = 0
		}
		r.off = math.Abs(j.aside[i]) > tuneAside || i > 0 && math.Abs(j.aside[i-1]) > tuneAside
		po, pt = o, t
	}
	q := j.noise()
	res := make([]float64, 0, n)
	for round := 0; round < rounds; round++ {
		last := round == rounds-1
		if !j.sm.solve(j.rows, q, cov && last) {
			return
		}
		if cov && last {
			break
		}
		res = res[:0]
		for i := range j.rows {
			r, e := &j.rows[i], &j.sm.x[i]
			nx, ny := r.ty, -r.tx
			r0 := r.rx - e[iCX] - r.tx*e[iDS] - nx*e[iD]
			r1 := r.ry - e[iCY] - r.ty*e[iDS] - ny*e[iD]
			a := math.Hypot(r0, r1)
			if r.w > 0 {
				res = append(res, r0, r1)
				r.w = 1
				if a > 3*q.white {
					r.w = math.Max(3*q.white/a, 1e-4)
					if a > 8*q.white {
						r.w *= 0.1
					}
				}
			}
		}
		if len(res) > 60 && !j.fixed {
			j.q.white = whiteNoise(res)
			q.white = j.q.white
		}
		j.jumps()
	}
	for i := range j.s {
		j.s[i] += j.sm.x[i][iDS]
	}
	if !cov {
		return
	}
}

// byWheel keeps the odometer at the rows before any habit is put into it.
func (j *joint) byWheel() {
	j.bare = j.bare[:0]
	for _, t := range j.f.t {
		o, _ := j.d.at(t - j.d.latency)
		j.bare = append(j.bare, o)
	}
}

// antennaAt is how far (m east, north) the antenna is from the tyres at row i.
func (j *joint) antennaAt(i int) (x, y float64) {
	if j.antenna == 0 || len(j.phi) == 0 || len(j.line.X) == 0 {
		return 0, 0
	}
	lean := signal.At(j.phi, j.d.t0, j.d.dt, j.f.t[i]-j.d.latency)
	_, _, h, _ := j.line.At(j.s[i])
	sin, cos := math.Sincos(h)
	a := j.antenna * math.Sin(lean) // to the right of the road for a lean to the right
	return a * cos, -a * sin
}

// contactSpeed gives the speed of the tyres for that of an antenna, which runs on
// the smaller radius: the fixes' speeds are put back and scaled anew.
func (j *joint) contactSpeed() {
	if j.antenna == 0 || !j.fixes.logged {
		return
	}
	f := j.fixes
	if j.antennaV == nil {
		j.antennaV = append([]float64(nil), f.v...)
	}
	at := signal.At
	for k, v := range j.antennaV {
		t := f.t[k] - j.d.latency - j.d.speedLag
		kappa := j.line.kappaAt(at(j.grid, j.d.t0, j.d.dt, t))
		f.v[k] = v * (1 + kappa*j.antenna*math.Sin(at(j.phi, j.d.t0, j.d.dt, t)))
	}
}

const (
	// A rider's offset is no Gauss-Markov process. His path is smoother, so that headings
	// that follow it closely from fix to fix tell more than that process lets them; where
	// they follow it less its shape matters and the spread found is too small. It is taken
	// wayward times as far, and up to waywardBlind more from headWeak (m2/s) on: the
	// density of the way across by headings of 0.25 degrees five times a second at 25 m/s.
	// From runs made for it: with the spread as found slow gates at 5 Hz were off by a
	// tenth more than they claimed, while at 20 Hz s claimed too much.
	wayward      = 0.95
	waywardBlind = 0.25
	headWeak     = 0.0024
	// speedMemory is how much more a speed error with a memory of two seconds walks in
	// the long run than over the three seconds that tune looks at: 2 t / (t - m (1 -
	// exp(-t/m))) halves, t = 3 s, m = 2 s.
	speedMemory = 2.0
)

// noise is the model's noise for the odometer at hand.
func (j *joint) noise() noise {
	q := j.q
	if j.laps > 1 && !j.fixed {
		// A line learnt from n laps has taken up an nth of what they have apart.
		f := math.Sqrt(j.laps / (j.laps - 1))
		q.slow, q.offset = q.slow*f, q.offset*f
	}
	if !j.fixed {
		q.offset *= wayward + waywardBlind*j.headless()
	}
	if !j.d.wheel {
		// GPS speed drifts with a memory of seconds: its integral walks.
		if j.f.logged && !j.fixed {
			q.walk *= speedMemory
		}
		q.walk = math.Max(q.walk, j.trust.walk)
		q.drift = 1e-8
	}
	return q
}

// headless is from 0 to 1 how weakly headings tell how the rider goes across.
func (j *joint) headless() float64 {
	usual := j.trust.white[2] // at 20 to 30 m/s
	if !j.f.headed || usual == 0 {
		return 1
	}
	return math.Min(1, usual/headWeak)
}

// lay linearises the way along the line about an offset d (m): a bike d inside a
// bend goes on along the line by 1 / (1 - kappa d) of its own way.
func (r *row) lay(d float64) {
	c := math.Max(-0.5, math.Min(0.5, r.kappa*d))
	r.bow = r.kappa / sq(1-c)
	r.more = r.do * (1/(1-c) - 1 - c/sq(1-c))
}
