package ride

import (
	"math"

	"cornerwright/internal/bike"
	"cornerwright/internal/setting"
	"cornerwright/internal/signal"
)

// signatureCut estimates torque reduction from the bike's acceleration alone:
// crank torque from force and ratio, against a model of what the engine gives
// at that grip and speed, fitted to the run with weights that let shortfalls
// count little. It sees large cuts only. accept tells which stretches stand.
func (w *work) signatureCut() (cut []float64, accept func(a, b int) bool) {
	s := &w.r.Signals
	if s.Force == nil || len(w.b.Drive.Gears) == 0 {
		w.cannot("cuts", "without cut or throttle channel they need mass, drag area and ratios in the bike file", "log throttle beside grip")
		return nil, nil
	}
	n := w.n
	torque := make([]float64, n)
	tmp := make([]float64, n)
	signal.LowPassInto(tmp, w.speed, 5, w.rate, &w.sc)
	a := make([]float64, n)
	signal.DerivativeInto(a, tmp, w.dt)
	grip := make([]float64, n)
	signal.LowPassInto(grip, s.Grip, 5, w.rate, &w.sc)
	lag := w.samples(0.03)
	for i := range torque {
		if s.Gear[i] == 0 {
			torque[i] = math.NaN()
			continue
		}
		r := bike.Rolling(w.rearRadius, w.rearCrown, s.Lean[i])
		torque[i] = w.b.CrankTorque(s.Force[i]+w.b.RearForce(a[i]-w.accel[i], 0, 0)-w.b.RearForce(0, 0, 0), a[i]/r, r, int(s.Gear[i]))
	}
	// Where the model can be held against the run.
	out := make([]bool, n)
	lim := math.Inf(1)
	if w.b.Drive.LimiterRPM > 0 {
		lim = w.b.Drive.LimiterRPM - 250
	}
	for i := range out {
		out[i] = w.braking[i] || s.Airborne[i] || s.RPM[i] > lim
	}
	widen(out, w.samples(0.05), w.samples(0.2))
	for i := range out {
		j := max(0, i-w.samples(0.05))
		closing := (grip[j] - grip[i]) / (float64(max(1, i-j)) * w.dt)
		if w.shifting[i] || closing > 0.6 || grip[i] < 0.03 || w.speed[i] < 8 || math.IsNaN(torque[i]) {
			out[i] = true
		}
	}
	const p = 14
	row := func(i int, x *[p]float64) {
		g := grip[max(0, i-lag)]
		m := s.RPM[i] / 10000
		v := w.speed[i] / 50
		sin := math.Sin(s.Lean[i])
		gear := float64(s.Gear[i]) - 3
		*x = [p]float64{1, g, g * g, g * g * g, m, m * g, m * g * g, m * m, m * m * g, v * v, sin * sin, gear * (1 - g), gear * (1 - g) * m, m * m * m * g}
	}
	step := w.samples(0.05)
	var coef [p]float64
	sigma := 10.0
	var x [p]float64
	for round := range 8 {
		var A [p][p + 1]float64
		var res []float64
		for i := 0; i < n; i += step {
			if out[i] {
				continue
			}
			row(i, &x)
			wt := 1.0
			if round > 0 {
				r := torque[i]
				for k := range x {
					r -= coef[k] * x[k]
				}
				res = append(res, r)
				u := r / (2.4 * sigma)
				if r < 0 {
					u *= 2
				}
				wt = 1 / (1 + u*u)
			}
			for k := range x {
				for l := 0; l <= k; l++ {
					A[k][l] += wt * x[k] * x[l]
				}
				A[k][p] += wt * x[k] * torque[i]
			}
		}
		if !solveSym(&A, &coef) {
			w.cannot("cuts", "the run does not excite the engine enough to learn its torque", "ride more laps, or log throttle beside grip")
			return nil, nil
		}
		if len(res) > 200 {
			// The upper half tells the noise: cuts are all in the lower.
			up := res[:0]
			for _, r := range res {
				if r > 0 {
					up = append(up, r)
				}
			}
			sortFloats(up)
			sigma = math.Max(0.5, quantile(up, 0.68))
		}
	}
	cut = make([]float64, n)
	for i := range cut {
		if out[i] {
			continue
		}
		row(i, &x)
		m := 0.0
		for k := range x {
			m += coef[k] * x[k]
		}
		if m < 12 {
			continue
		}
		if d := m - torque[i]; d > 0 && d > 1.25*sigma {
			cut[i] = math.Min(1, d/m)
		}
	}
	target := w.slipTarget()
	accept = func(a, b int) bool {
		most, peak, strong := math.Inf(-1), 0.0, 0.0
		for i := a; i < b; i++ {
			if s.RearSlip == nil || math.IsNaN(s.RearSlip[i]) {
				continue
			}
			peak = math.Max(peak, s.RearSlip[i])
			if target != nil {
				most = math.Max(most, s.RearSlip[i]-target(i))
			}
			strong = math.Max(strong, cut[i])
		}
		if target != nil {
			return peak > 0.02 && most > -0.01
		}
		return strong > 0.08 && float64(b-a)*w.dt >= 0.25
	}
	return cut, accept
}

// solveSym solves the symmetric system whose lower triangle and right side are
// given, with a trace of a ridge.
func solveSym(a *[14][15]float64, x *[14]float64) bool {
	const p = 14
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

// slipTarget gives the slip target of the bike's grid at sample i in the slot in
// use; nil if the bike file has no such grid over lean and speed.
func (w *work) slipTarget() func(i int) float64 {
	var st *setting.Setting
	for k := range w.b.Settings {
		s := &w.b.Settings[k]
		if s.Acts == "slip-target" && s.Kind == setting.Grid && s.Rows.Channel == "lean" && s.Columns.Channel == "speed" {
			st = s
		}
	}
	if st == nil {
		return nil
	}
	byslot := map[int8]setting.Values{}
	for letter, all := range w.b.First {
		if v, ok := all[st.ID]; ok {
			byslot[int8(letter[0]-'A')] = v
		}
	}
	ref := byslot[0]
	if w.b.Slots.Reference != "" {
		ref = byslot[int8(w.b.Slots.Reference[0]-'A')]
	}
	if ref == nil {
		return nil
	}
	value := 1.0
	if st.Unit == "%" {
		value = 0.01
	}
	sig := &w.r.Signals
	return func(i int) float64 {
		v := ref
		if sig.Slot != nil {
			if x, ok := byslot[sig.Slot[i]]; ok {
				v = x
			}
		}
		lean := sig.Lean[i]
		if !st.Rows.Signed() {
			lean = math.Abs(lean)
		}
		return value * st.Value(v, st.Rows.FromSI(lean), st.Columns.FromSI(w.speed[i]))
	}
}
