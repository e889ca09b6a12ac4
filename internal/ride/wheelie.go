package ride

import (
	"math"

	"cornerwright/internal/bike"
	"cornerwright/internal/say"
	"cornerwright/internal/signal"
)

// airborne finds where the front wheel has left the ground and where it is
// locked: in both its speed changes in a way that the bike's does not. It sets
// Signals.Airborne (widened: what to leave out) and w.inAir, w.locked (as the
// wheel shows it).
func (w *work) airborne() {
	s := &w.r.Signals
	if s.Airborne == nil {
		s.Airborne, w.inAir, w.locked = make([]bool, w.n), make([]bool, w.n), make([]bool, w.n)
	}
	clear(s.Airborne)
	clear(w.inAir)
	clear(w.locked)
	if w.front == nil {
		w.cannot(say.T("wheel lift and front lock"), say.T("no front wheel speed is logged"), say.T("log front wheel speed"))
		return
	}
	vf, df := w.mem.take(), w.mem.take()
	defer w.mem.back(vf, df)
	// The wheel slows when the bike comes upright: take the shrink of the rolling
	// radius with lean out first.
	shrink := 0.2
	if c, r := w.b.Front.CrownRadius, w.b.FrontRadius(); c > 0 {
		shrink = c / r
	}
	if w.frontFit && w.frontCrown > 0 {
		shrink = w.frontCrown / w.frontRadius
	}
	signal.Pieces(w.n, func(from, to int) {
		for i := from; i < to; i++ {
			vf[i] = w.front[i] * (1 - shrink*(1-math.Cos(s.Lean[i])))
		}
	})
	var ax []float64
	ref := "accelerometer"
	if w.accelX != nil {
		ax = w.mem.take()
		defer w.mem.back(ax)
		signal.LowPassTwo(signal.Series{Dst: vf, X: vf, Cut: 8}, signal.Series{Dst: ax, X: w.accelX, Cut: 8}, w.rate, &w.sc)
		signal.DerivativeInto(df, vf, w.dt)
	} else {
		signal.LowPassInto(vf, vf, 8, w.rate, &w.sc)
		signal.DerivativeInto(df, vf, w.dt)
		ax = vf // its memory is free now
	}
	switch {
	case w.accelX != nil:
	case w.rear != nil:
		// The driven wheel's acceleration, slip and all, stands in.
		w.slope(ax, w.rear, 6)
		ref = "rear wheel"
	default:
		w.slope(ax, w.pos.Speed, 2)
		ref = "GPS speed"
	}
	if w.accelX == nil {
		w.cannot(say.T("gentle wheel lifts"), say.T("no longitudinal acceleration is logged: the {ref} stands in, and a wheel that leaves the ground slowly is not seen", ref), say.T("log accel_x"))
	}
	// The wheel falls behind the bike by this much: brake drag and air slow a
	// wheel in the air by 1 to 3 m/s2 while the bike goes on accelerating.
	behind := 3.0
	if ref != "accelerometer" {
		behind = 6
	}
	bad := w.bad("front_speed")
	brakes := w.r.Signals.FrontBrake
	for i := range df {
		if w.pos.Speed[i] < 6 || (bad != nil && bad[i]) {
			continue
		}
		if ax[i] > 1.5 && df[i] < ax[i]-behind && df[i] < 0.8 && !w.braking[i] && (s.Grip == nil || s.Grip[i] > 0.1) {
			w.inAir[i] = true
		}
		if w.braking[i] && (brakes == nil || brakes[i] > 2e5) && df[i] < ax[i]-12 && df[i] < -15 {
			w.locked[i] = true
		}
	}
	join(w.inAir, w.samples(0.15))
	drop(w.inAir, w.samples(0.10))
	join(w.locked, w.samples(0.08))
	copy(s.Airborne, w.inAir)
	widen(s.Airborne, w.samples(0.1), w.samples(0.25))
}

// join closes holes shorter than k samples; drop takes away stretches shorter
// than k.
func join(m []bool, k int) {
	last := -1
	for i := range m {
		if !m[i] {
			continue
		}
		if last >= 0 && i-last > 1 && i-last <= k {
			for j := last + 1; j < i; j++ {
				m[j] = true
			}
		}
		last = i
	}
}

func drop(m []bool, k int) {
	stretches(m, func(a, b int) {
		if b-a < k {
			for i := a; i < b; i++ {
				m[i] = false
			}
		}
	})
}

// findWheelies makes episodes of the front wheel in the air.
func (w *work) findWheelies() {
	if w.front == nil {
		return
	}
	stretches(w.inAir, func(a, b int) {
		e := Episode{Kind: Wheelie, Start: w.time(a), End: w.time(b), Inferred: true}
		w.r.Episodes = append(w.r.Episodes, e)
	})
}

// findRearLift looks for the rear wheel leaving the ground under the front
// brake: at a deceleration near the machine's limit, with the shock at its top,
// or the nose pitching down.
func (w *work) findRearLift() {
	s := &w.r.Signals
	limit := w.b.LiftLimit()
	if math.IsNaN(limit) {
		limit = 11
	}
	if s.Shock == nil && w.pitchRate == nil {
		w.cannot(say.T("rear lift"), say.T("neither shock travel nor pitch rate is logged"), say.T("log shock travel"))
		return
	}
	// The front wheel's speed will not do: a braked tyre's slip looks like
	// deceleration (a third of what was found so was none).
	if w.accelX == nil {
		w.cannot(say.T("rear lift"), say.T("no longitudinal acceleration is logged, and the deceleration of a braked wheel is not the machine's"), say.T("log accel_x"))
		return
	}
	a := w.mem.take()
	defer w.mem.back(a)
	signal.LowPassInto(a, w.accelX, 7, w.rate, &w.sc)
	m := w.mem.mask()
	defer w.mem.put(m)
	if s.Shock != nil {
		top := quantile(sorted(s.Shock), 0.002)
		for i := range m {
			m[i] = w.braking[i] && a[i] < -0.972*limit && s.Shock[i] < top+1.2e-3 && w.speed[i] > 8
		}
	} else {
		p := w.mem.take()
		defer w.mem.back(p)
		signal.LowPassInto(p, w.pitchRate, 6, w.rate, &w.sc)
		for i := range m {
			m[i] = w.braking[i] && a[i] < -0.965*limit && p[i] > 0.1
		}
	}
	join(m, w.samples(0.1))
	drop(m, w.samples(0.08))
	stretches(m, func(a, b int) {
		w.r.Episodes = append(w.r.Episodes, Episode{Kind: RearLift, Start: w.time(a), End: w.time(b), Inferred: true})
	})
}

// findLocks makes episodes of a front wheel that the brake has nearly or wholly
// stopped: front slip below -10 % for 50 ms.
func (w *work) findLocks() {
	s := &w.r.Signals
	if w.front == nil {
		return
	}
	slip := s.FrontSlip
	if slip == nil {
		slip = w.mem.take()
		defer w.mem.back(slip)
		for i := range slip {
			slip[i] = bike.Slip(w.front[i], 1, w.speed[i])
		}
	}
	m := w.mem.mask()
	defer w.mem.put(m)
	for i := range m {
		m[i] = w.braking[i] && slip[i] < -0.10 && w.speed[i] > 6 && !s.Airborne[i]
	}
	join(m, w.samples(0.1))
	drop(m, w.samples(0.05))
	stretches(m, func(a, b int) {
		e := Episode{Kind: Lock, Start: w.time(a), End: w.time(b), Inferred: true}
		var sum float64
		for i := a; i < b; i++ {
			e.Peak = math.Min(e.Peak, slip[i])
			sum += slip[i]
		}
		e.Mean = sum / float64(b-a)
		w.r.Episodes = append(w.r.Episodes, e)
	})
}
