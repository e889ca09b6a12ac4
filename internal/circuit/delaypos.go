package circuit

import "math"

const (
	delayEvery = 0.4 // s between the rows that the delay of positions is found from
	// strayWay (m2/s) is what the way is unsure of while the bike leans, brakes or has
	// its front wheel in the air: so much that ways on both sides are hardly tied
	// together. What the odometer gets wrong there it gets wrong on every lap.
	strayWay = 1.0
	// leastPart (s) is by how much a receiver's speed must be older than its positions
	// to be told from an odometer that errs.
	leastPart = 0.0125
)

// positionDelay finds how far the positions are older than the wheel. A fix that is
// older by l lies v l behind the place the odometer has for it; the speed of a lap
// varies, so the smoother's slow states cannot follow that. It is the generalised
// least-squares estimate of three more unknowns beside the states, the delay and what
// GPS speed has left of load and growth, with W the weight that the smoother leaves to
// the residuals: M = P'WP, g = P'Wy for patterns P. What it says is joined with what
// GPS speed says of the same unknowns, unless the two clearly part: receivers filter
// speed and position differently. The odometer is the wheel's own, since a habit
// learnt from GPS speed is as late as that, and only its ways upright and off the brakes
// count: slip and shrink with lean are found from GPS speed. rough asks for no more
// than whether the two part.
func (j *joint) positionDelay(rough bool) {
	d := j.d
	rows, first := j.coarseRows()
	q := j.noise()
	sm := &j.coarse
	if len(rows) < 100 || !sm.solve(rows, q, false) {
		return
	}
	patterns := 1
	if d.wheel && j.f.logged && d.fitted && !rough {
		patterns = 3
	}
	base := append([]row(nil), rows...)
	var g [3]float64
	var m [3][3]float64
	weigh := func(k int) (sum float64) {
		for i := range rows {
			r := &base[i]
			if k == 0 {
				x, y := sm.rest(rows, i)
				sum -= r.w / sq(q.white) * r.v * (r.tx*x + r.ty*y)
			} else if i > 0 {
				sum -= first[k-1][i] * sm.along(rows, i) / r.strays(&q)
			}
		}
		return sum
	}
	for k := range patterns {
		g[k] = weigh(k)
	}
	for l := range patterns {
		for i := range rows {
			r := &rows[i]
			r.rx, r.ry, r.more, r.dnom = 0, 0, 0, r.do
			if l == 0 {
				r.rx, r.ry = -r.v*r.tx, -r.v*r.ty
			} else if i > 0 {
				r.dnom += first[l-1][i]
			}
		}
		if !sm.solve(rows, q, false) {
			return
		}
		for k := range patterns {
			m[k][l] = weigh(k)
		}
	}
	j.joinDelays(g, m, patterns)
}

// along is what the solution leaves of the way to row i (m).
func (sm *smoother) along(rows []row, i int) float64 {
	r, a, b := &rows[i], &sm.x[i-1], &sm.x[i]
	return r.do + r.more - r.dnom - (b[iDS] - a[iDS] - r.do*a[iB] - 0.5*r.do*r.bow*(a[iD]+b[iD]))
}

// coarseRows are rows delayEvery apart, each the mean of the fixes about it with the
// weight of all, by the wheel alone: without headings and GPS speed. first are the
// ways (m) that one unit of load and of growth adds since the row before.
func (j *joint) coarseRows() (out []row, first [2][]float64) {
	d := j.d
	var steady []bool
	if d.wheel {
		steady = d.steady(j.phi)
	}
	stride := max(1, int(math.Round(j.f.rate*delayEvery)))
	half := (stride - 1) / 2
	last := -1
	for mid := half; mid+half < len(j.rows); mid += stride {
		r := j.rows[mid]
		var w, x, y float64
		for k := mid - half; k <= mid+half; k++ {
			p := &j.rows[k]
			w, x, y = w+p.w, x+p.w*p.rx, y+p.w*p.ry
		}
		if math.Abs(j.f.t[mid+half]-j.f.t[mid-half]) > 2*delayEvery {
			w = 0
		}
		r.w = w
		if w > 0 {
			r.rx, r.ry = x/w, y/w
		}
		r.cw, r.gw, r.dv = 0, 0, math.NaN()
		var load, growth float64
		if last >= 0 {
			r.dt, r.do, r.dnom, r.more, r.lift, r.bad, r.jump, r.blind = 0, 0, 0, 0, 0, false, false, 0
			bow := 0.0
			for k := last + 1; k <= mid; k++ {
				p := &j.rows[k]
				r.dt, r.dnom, r.more = r.dt+p.dt, r.dnom+p.dnom, r.more+p.more
				r.bad, r.jump, r.blind = r.bad || p.bad, r.jump || p.jump, math.Max(r.blind, p.blind)
				bow += p.do * p.bow
				r.lift += p.lift
			}
			r.do = j.bare[mid] - j.bare[last]
			if r.do > 0.1 {
				r.bow = bow / r.do
			}
			if d.wheel {
				a := max(0, int((j.f.t[last]-d.latency-d.t0)/d.dt))
				b := min(len(d.raw)-1, int((j.f.t[mid]-d.latency-d.t0)/d.dt))
				for i := a; i < b; i++ {
					v, x := d.raw[i], d.accel[i]
					growth += v * v * v * d.dt
					if !steady[i] {
						r.lift += strayWay * d.dt
					}
					if x > delayDrive {
						load += v * x * d.dt
					}
				}
			}
		}
		out = append(out, r)
		first[0], first[1] = append(first[0], load*loadUsual), append(first[1], growth*growthUsual)
		last = mid
	}
	return out, first
}

// joinDelays joins what positions say of delay, load and growth, as normal equations
// about what they are taken to be, with what GPS speed says.
func (j *joint) joinDelays(g [3]float64, m [3][3]float64, patterns int) {
	d := j.d
	// Positions by themselves: load and growth from GPS speed, its delay free.
	own := mat5{0: m[0][0], 6: 1, 12: 1, 18: 1, 24: 1}
	b := vec5{g[0]}
	if patterns == 3 {
		info := d.marginal()
		for k := range 2 {
			own[(k+1)*5] = m[k+1][0]
			for l := range k + 1 {
				own[(k+1)*5+l+1] = m[k+1][l+1] + info[k][l]
			}
			b[k+1] = g[k+1]
		}
	}
	x, sd, ok := solve5(own, b)
	if !ok {
		return
	}
	l, se := x[0], sd[0]
	if d.speedLag != 0 || math.Abs(l) > math.Max(3*math.Hypot(se, d.latencySE), leastPart) {
		l = math.Max(-0.3, math.Min(0.3, l))
		d.latency += l
		d.speedLag -= l
		if !d.wheel {
			se = math.Hypot(se, d.latencySE)
		}
		d.latencySE = se
		return
	}
	if patterns < 3 {
		return
	}
	all := d.info
	b = vec5{}
	at, sign := [3]int{dDelay, dLoad, dGrowth}, [3]float64{-1, 1, 1}
	for k, p := range at {
		b[p] = sign[k] * g[k]
		for l, o := range at {
			if o <= p {
				all[p*5+o] += sign[k] * sign[l] * m[k][l]
			}
		}
	}
	if d.yawSE > 0 {
		all[dDelay*5+dDelay] += 1 / sq(d.yawSE)
		b[dDelay] += (d.latency - d.yaw) / sq(d.yawSE)
	}
	if x, sd, ok = solve5(all, b); ok {
		d.latency -= math.Max(-0.05, math.Min(0.05, x[dDelay]))
		d.latencySE = sd[dDelay]
	}
}

// marginal is what the fit to GPS speed says of load and growth alone, in their usual
// sizes, as normal equations.
func (d *odometer) marginal() (info [2][2]float64) {
	l := d.info
	if !chol5(&l) {
		return
	}
	var c [2]vec5
	for k := range c {
		c[k][dLoad+k] = 1
		forward5(&l, &c[k])
		backward5(&l, &c[k])
	}
	a, b, e := c[0][dLoad], c[0][dGrowth], c[1][dGrowth]
	det := a*e - b*b
	if !(det > 0) {
		return
	}
	return [2][2]float64{{e / det, -b / det}, {-b / det, a / det}}
}

// solve5 solves normal equations (lower triangle) whose unknowns may be of very
// different sizes; sd are the square roots of the inverse's diagonal.
func solve5(norm mat5, b vec5) (x, sd vec5, ok bool) {
	var unit vec5
	for k := range unit {
		if !(norm[k*5+k] > 0) {
			return x, sd, false
		}
		unit[k] = 1 / math.Sqrt(norm[k*5+k])
	}
	for k := range unit {
		for q := 0; q <= k; q++ {
			norm[k*5+q] *= unit[k] * unit[q]
		}
		x[k] = b[k] * unit[k]
	}
	if !chol5(&norm) {
		return x, sd, false
	}
	forward5(&norm, &x)
	backward5(&norm, &x)
	for k := range x {
		x[k] *= unit[k]
		var c vec5
		c[k] = 1
		forward5(&norm, &c)
		for _, v := range c {
			sd[k] += v * v
		}
		sd[k] = math.Sqrt(sd[k]) * unit[k]
	}
	return x, sd, true
}
