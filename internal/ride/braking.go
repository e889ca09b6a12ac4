package ride

import (
	"fmt"
	"math"

	"cornerwright/internal/say"
	"cornerwright/internal/signal"
)

// brakeOn is the pressure in Pa above which a brake counts as on.
func brakeOn(p []float64) float64 {
	return math.Max(0.5e5, 0.03*quantile(sorted(p), 0.99))
}

// masks finds where the rider brakes.
func (w *work) masks() {
	w.braking = make([]bool, w.n)
	s := &w.r.Signals
	v := w.pos.Speed
	for _, p := range [][]float64{s.FrontBrake, s.RearBrake} {
		if p == nil {
			continue
		}
		on := brakeOn(p)
		for i, x := range p {
			if x > on {
				w.braking[i] = true
			}
		}
	}
	if s.FrontBrake == nil {
		k := w.samples(0.15)
		for i := k; i < w.n-k; i++ {
			if (v[i+k]-v[i-k])/(2*float64(k)*w.dt) < -3 {
				w.braking[i] = true
			}
		}
		w.cannot(say.T("brake pressure"), say.T("no front brake pressure is logged"), say.T("log front brake pressure; braking is taken from deceleration beyond 3 m/s2"))
	}
	widen(w.braking, w.samples(0.05), w.samples(0.15))
}

// brakeSlip takes the slip of the braked front wheel out of ground speed: a tyre
// that brakes turns slower than it rolls, in proportion to brake pressure (or
// to deceleration where no pressure is logged). The share is fitted to GPS speed.
func (w *work) brakeSlip(t, v []float64) {
	if w.front == nil {
		return
	}
	s := &w.r.Signals
	x, a := w.mem.zeros(), w.mem.take()
	defer w.mem.back(x, a)
	w.slope(a, w.speed, 5)
	if s.FrontBrake != nil {
		for i, p := range s.FrontBrake {
			x[i] = math.Max(0, p) / 1e6
		}
		signal.LowPassInto(x, x, 12, w.rate, &w.sc)
	} else {
		for i := range x {
			if w.braking[i] {
				x[i] = math.Max(0, -a[i]-2) / 10
			}
		}
	}
	if len(t) < 100 {
		if s.FrontBrake != nil {
			top := quantile(sorted(x), 0.99)
			for i := range w.speed {
				if !s.Airborne[i] && !w.locked[i] {
					w.speed[i] *= 1 + 0.025*math.Min(1.2, x[i]/math.Max(top, 0.1))
				}
			}
			w.r.Tyres.Notes = append(w.r.Tyres.Notes, "no GPS speed: 2.5 % slip of the front wheel at the hardest braking is assumed")
		}
		return
	}
	// Slip over pressure is a bent line through nil: four pieces up to the top.
	const knots = 4
	top := quantile(sorted(x), 0.995)
	if !(top > 0) {
		return
	}
	hats := func(p float64, h *[knots]float64) {
		*h = [knots]float64{}
		u := math.Min(p/top, 1.2) * knots
		k := min(int(u), knots-1)
		f := u - float64(k)
		if k > 0 {
			h[k-1] = 1 - f
		}
		h[k] = f
	}
	var h [knots]float64
	// What is left of the GPS delay looks like slip while the bike slows: it is an
	// unknown too, held at 0 +- 3 ms by rows that stand for that knowledge.
	const held, holds = 100, 10.5
	fit := signal.RobustFit(len(t)+held, knots+1, func(k int, row []float64) (float64, bool) {
		if k >= len(t) {
			clear(row)
			row[knots] = holds
			return 0, true
		}
		u := t[k] / w.dt
		i := int(u)
		if i < 2 || i >= w.n-3 || !w.braking[i] || w.locked[i] || s.Airborne[i] || w.speed[i] < 12 || x[i] <= 0 {
			return 0, false
		}
		f := u - float64(i)
		at := func(q []float64) float64 { return q[i] + f*(q[i+1]-q[i]) }
		hats(at(x), &h)
		vi := at(w.speed)
		for j := range h {
			row[j] = h[j] * vi
		}
		row[knots] = at(a)
		return v[k] - vi, true
	}, 1.5, 0.6, 0.4, 0.4)
	if !fit.OK || fit.N < 80 {
		return
	}
	last := fit.Coef[knots-1]
	if last < 0.002 || last > 0.12 || last < 2*math.Sqrt(fit.Cov[knots-1][knots-1]) {
		return
	}
	prev := 0.0
	for j := range knots { // rising, as a tyre's slip does
		fit.Coef[j] = math.Max(prev, math.Min(fit.Coef[j], last))
		prev = fit.Coef[j]
	}
	for i := range w.speed {
		if s.Airborne[i] || w.locked[i] || x[i] <= 0 {
			continue
		}
		hats(x[i], &h)
		k := 0.0
		for j := range h {
			k += h[j] * fit.Coef[j]
		}
		w.speed[i] *= 1 + k
	}
	w.r.Tyres.Notes = append(w.r.Tyres.Notes, fmt.Sprintf("the front wheel slips %.1f %% at the hardest braking: taken out of ground speed", 100*last))
}

// bridgeSpeed puts the position's speed where the front wheel is in the air,
// locked or marked, joined to the wheel at both ends. Between the ends the
// accelerometer, where there is one, carries the detail.
func (w *work) bridgeSpeed(v []float64, bad []bool) {
	m := w.mem.mask()
	defer w.mem.put(m)
	air := w.r.Signals.Airborne
	for i := range m {
		m[i] = air[i] || w.locked[i] || (bad != nil && bad[i])
	}
	for _, sp := range w.pos.Replaced {
		for i := w.index(sp.From); i <= w.index(sp.To); i++ {
			m[i] = true
		}
	}
	join(m, w.samples(0.1))
	stretches(m, func(a, b int) {
		if a == 0 || b >= w.n {
			for i := a; i < b; i++ {
				v[i] = w.pos.Speed[i]
			}
			return
		}
		src := w.pos.Speed
		span := float64(b-a) * w.dt
		if w.accelX != nil && span < 3 {
			// Integrate the accelerometer; its offset is what the ends demand.
			va, vb := v[a-1], v[b]
			sum := 0.0
			for i := a; i <= b; i++ {
				sum += 0.5 * (w.accelX[i] + w.accelX[i-1]) * w.dt
			}
			fix := (vb - va - sum) / float64(b-a+1)
			x := va
			for i := a; i < b; i++ {
				x += 0.5*(w.accelX[i]+w.accelX[i-1])*w.dt + fix
				v[i] = x
			}
			return
		}
		da, db := v[a-1]-src[a-1], v[b]-src[b]
		for i := a; i < b; i++ {
			f := float64(i-a+1) / float64(b-a+1)
			v[i] = src[i] + da + f*(db-da)
		}
	})
}
