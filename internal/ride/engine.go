package ride

import (
	"math"

	"cornerwright/internal/bike"
)

const torqueTerms = 9

// torqueModel gives crank torque (N.m) from an opening 0..1 (grip or plate), as
// fitted to the run: A(n) (1 - exp(-a(n) g)) - d(n), the saturating flow of a
// throttle, with A and the engine's own drag d quadratic in engine speed and a
// linear in it; beside it what of the road load the bike file has wrong.
type torqueModel struct {
	w      *work
	coef   [torqueTerms]float64
	a0, a1 float64
	sigma  float64 // N.m, of the upper side of the residuals
	loss   float64 // N.m, by which shapes of the throttle are compared
}

// torqueLine is one sample of a fit: the terms and the torque (N.m).
type torqueLine struct {
	x [torqueTerms]float64
	y float64
}

// row fills the terms of the model for sample i at opening g.
func (m *torqueModel) row(i int, g float64, x *[torqueTerms]float64) {
	s := &m.w.r.Signals
	n := s.RPM[i] / 10000
	v := m.w.speed[i] / 50
	sin := math.Sin(s.Lean[i])
	f := 1 - math.Exp(-math.Max(0.3, m.a0+m.a1*(n-0.8))*g)
	*x = [torqueTerms]float64{f, f * n, f * n * n, 1, n, n * n, v * v, sin * sin, (float64(s.Gear[i]) - 3) * (1 - g)}
}

// at is the torque at sample i for opening g.
func (m *torqueModel) at(i int, g float64) float64 {
	var x [torqueTerms]float64
	m.row(i, g, &x)
	t := 0.0
	for k := range x {
		t += m.coef[k] * x[k]
	}
	return t
}

// engine is at without what drags on the bike: torque of the engine alone.
func (m *torqueModel) engine(i int, g float64) float64 {
	var x [torqueTerms]float64
	m.row(i, g, &x)
	x[6], x[7], x[8] = 0, 0, 0
	t := 0.0
	for k := range x {
		t += m.coef[k] * x[k]
	}
	return t
}

// crankTorque estimates torque at the crank from the bike's acceleration on the
// grid; NaN without a gear. nil where mass, drag area or ratios are missing.
func (w *work) crankTorque() []float64 {
	s := &w.r.Signals
	if s.Force == nil || s.Gear == nil || s.RPM == nil || len(w.b.Drive.Gears) == 0 {
		return nil
	}
	torque, a := w.mem.take(), w.mem.take()
	spin := w.wheelSpin(a, 5)
	m := w.b.RearForce(1, 0, 0) - w.b.RearForce(0, 0, 0)
	for i := range torque {
		if s.Gear[i] == 0 {
			torque[i] = math.NaN()
			continue
		}
		r := bike.Rolling(w.rearRadius, w.rearCrown, s.Lean[i])
		turn := a[i] / r
		if spin != nil {
			turn = spin[i]
		}
		torque[i] = w.b.CrankTorque(s.Force[i]+m*(a[i]-w.accel[i]), turn, r, int(s.Gear[i]))
	}
	w.mem.back(a)
	if spin != nil {
		w.mem.back(spin)
	}
	return torque
}

// notDriven marks where torque cannot be held against an opening: brakes, air,
// limiter, shifts, a closing or closed grip.
func (w *work) notDriven(open []float64) []bool {
	s := &w.r.Signals
	out := w.mem.mask()
	lim := math.Inf(1)
	if w.b.Drive.LimiterRPM > 0 {
		lim = w.b.Drive.LimiterRPM - 150
	}
	for i := range out {
		out[i] = w.braking[i] || s.Airborne[i] || s.RPM[i] > lim
	}
	widen(out, w.samples(0.05), w.samples(0.2))
	for i := range out {
		j := max(0, i-w.samples(0.05))
		closing := (open[j] - open[i]) / (float64(max(1, i-j)) * w.dt)
		if w.shifting[i] || closing > 0.6 || open[i] < 0.03 || w.speed[i] < 8 || s.Gear[i] == 0 {
			out[i] = true
		}
	}
	return out
}

// fitTorque fits the model to torque where out does not forbid. Where shortfall
// is true, what lies below the model counts half as far: cuts are all below.
func (w *work) fitTorque(torque, open []float64, out []bool, shortfall bool) *torqueModel {
	// The shape of the throttle, along one of its two numbers after the other: a
	// grid over both finds the same at three times the price.
	var best *torqueModel
	step := max(w.samples(0.25), len(torque)/3000)
	try := func(a0, a1 float64) {
		m := &torqueModel{w: w, sigma: 6, a0: a0, a1: a1}
		if m.fit(torque, open, out, shortfall, step, 4) && (best == nil || m.loss < best.loss) {
			best = m
		}
	}
	for a0 := 1.0; a0 <= 6; a0 += 0.5 {
		try(a0, -1)
	}
	if best != nil {
		a0 := best.a0
		for _, a1 := range []float64{-3, -2, 0} {
			try(a0, a1)
		}
		try(a0-0.5, best.a1)
		try(a0+0.5, best.a1)
	}
	if best == nil || !best.fit(torque, open, out, shortfall, w.samples(0.05), 6) {
		return nil
	}
	return best
}

// closedDrag is the torque of an engine on a closed throttle, N.m at the crank, as
// far as a fit is to believe it that saw little of it (common practice: 10 to 25).
const closedDrag = -15

// fit solves for the linear terms by reweighting, on every step-th sample.
func (m *torqueModel) fit(torque, open []float64, out []bool, shortfall bool, step, rounds int) bool {
	lines := m.w.lines[:0]
	for i := 0; i < len(torque); i += step {
		if !out[i] {
			lines = append(lines, torqueLine{y: torque[i]})
			m.row(i, open[i], &lines[len(lines)-1].x)
		}
	}
	m.w.lines = lines
	res := make([]float64, 0, len(lines))
	for round := range rounds {
		var A [torqueTerms][torqueTerms + 1]float64
		res = res[:0]
		loss := 0.0
		for i := range lines {
			x := &lines[i].x
			wt := 1.0
			if round > 0 {
				r := lines[i].y
				for k := range x {
					r -= m.coef[k] * x[k]
				}
				u := r / (2.4 * m.sigma)
				if r < 0 && shortfall {
					u *= 2
				}
				if r > 0 || !shortfall {
					res = append(res, math.Abs(r))
				}
				wt = 1 / (1 + u*u)
				if !shortfall { // what the plate shows is no outlier, however it came about
					wt = 1 / math.Max(1, math.Abs(u))
					loss += math.Abs(r)
				}
			}
			for k := range x {
				wx := wt * x[k]
				for l := 0; l <= k; l++ {
					A[k][l] += wx * x[l]
				}
				A[k][torqueTerms] += wx * lines[i].y
			}
		}
		// A closed throttle drags, by some 15 N.m at any speed. Where hardly anything
		// but an open grip was ridden, nothing else tells what the throttle gives from
		// what is always there: a fit without it takes every cut for an outlier and
		// the throttle for a switch. It weighs like a fortieth of the samples.
		for _, n := range [5]float64{0.4, 0.6, 0.8, 1, 1.2} {
			if shortfall {
				break // the grip is no plate: what it gives when closed is not known
			}
			x := [torqueTerms]float64{3: 1, 4: n, 5: n * n}
			wt := float64(len(lines)) / 200
			for k := range x {
				for l := 0; l <= k; l++ {
					A[k][l] += wt * x[k] * x[l]
				}
				A[k][torqueTerms] += wt * x[k] * closedDrag
			}
		}
		if !solveSym(&A, &m.coef) {
			return false
		}
		if len(res) > 60 {
			m.sigma = math.Max(0.5, quick(res, 0.68))
			m.loss = m.sigma
			if !shortfall {
				m.loss = loss / float64(len(res))
			}
		}
	}
	return true
}

// solveSym solves the symmetric system whose lower triangle and right side are
// given, with a trace of a ridge.
func solveSym(a *[torqueTerms][torqueTerms + 1]float64, x *[torqueTerms]float64) bool {
	const p = torqueTerms
	var d [p]float64
	for i := range p {
		if !(a[i][i] > 0) {
			return false
		}
		d[i] = 1 / math.Sqrt(a[i][i])
	}
	for i := range p {
		for j := 0; j <= i; j++ {
			a[i][j] *= d[i] * d[j]
			a[j][i] = a[i][j]
		}
		a[i][p] *= d[i]
		a[i][i] += 1e-8
	}
	for c := range p {
		if a[c][c] < 1e-10 {
			return false
		}
		for r := c + 1; r < p; r++ {
			f := a[r][c] / a[c][c]
			for k := c; k <= p; k++ {
				a[r][k] -= f * a[c][k]
			}
		}
	}
	for i := p - 1; i >= 0; i-- {
		s := a[i][p]
		for k := i + 1; k < p; k++ {
			s -= a[i][k] * x[k]
		}
		x[i] = s / a[i][i]
	}
	for i := range p {
		x[i] *= d[i]
	}
	return true
}
