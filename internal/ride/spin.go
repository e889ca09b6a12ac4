package ride

import (
	"math"

	"cornerwright/internal/say"
)

// spinLimit is the rear slip beyond which the rear counts as spinning at a lean
// (rad): the upper end of usual working slip of a dry track tyre, 15 % upright
// falling to 8 % from 50 deg on (from memory, least certain of the limits).
func spinLimit(lean float64) float64 {
	d := math.Abs(lean) * 180 / math.Pi
	switch {
	case d <= 20:
		return 0.15
	case d >= 50:
		return 0.08
	}
	return 0.15 - 0.07*(d-20)/30
}

// findSpins makes episodes of rear slip in drive beyond the target of the
// bike's grid plus 2 points, or beyond spinLimit where the file has no grid.
func (w *work) findSpins() {
	s := &w.r.Signals
	if s.RearSlip == nil {
		w.cannot(say.T("spin"), say.T("rear slip cannot be given"), say.T("see rear slip"))
		return
	}
	if w.front == nil {
		w.cannot(say.T("spin"), say.T("without front wheel speed slip rests on GPS speed: too coarse to tell a spin"), say.T("log front wheel speed"))
		return
	}
	target := w.slipTarget()
	x := w.mem.zeros()
	defer w.mem.back(x)
	for i, v := range s.RearSlip {
		if math.IsNaN(v) || w.braking[i] || s.Airborne[i] || w.speed[i] < 8 {
			continue
		}
		if s.Grip != nil && s.Grip[i] < 0.05 {
			continue
		}
		limit := spinLimit(s.Lean[i])
		if target != nil {
			limit = target(i) + 0.02
		}
		x[i] = v - limit
	}
	g := gate{on: 0, hold: 0.06, off: -0.005, over: 0.05, merge: 0.1, least: 0.08}
	for _, st := range g.cut(x, w.dt) {
		a, b := st[0], min(st[1], w.n-1)
		e := Episode{Kind: Spin, Start: w.time(a), End: w.time(b), Inferred: true}
		for i := a; i < b; i++ {
			if v := s.RearSlip[i]; !math.IsNaN(v) {
				e.Peak = math.Max(e.Peak, v)
				e.Mean += v / float64(b-a)
			}
		}
		e.Marked = w.marked(span(e), "rear_speed", "front_speed")
		w.r.Episodes = append(w.r.Episodes, e)
		// The rear grips again and throws the bike upright: worse than any lap time.
		const deg = math.Pi / 180
		if e.Peak > 0.15 && math.Abs(s.Lean[a]) > 35*deg {
			for i := a; i < min(w.n-w.samples(0.4), b+w.samples(0.2)); i++ {
				j := i + w.samples(0.1)
				fall := (s.RearSlip[i] - s.RearSlip[j]) / 0.1
				if fall > 0.6 && math.Abs(w.roll[j]) > 80*deg && w.roll[j]*s.Lean[j] < 0 {
					w.r.Episodes = append(w.r.Episodes, Episode{Kind: Highside, Start: w.time(i), End: w.time(i + w.samples(0.4)), Peak: e.Peak, Inferred: true})
					break
				}
			}
		}
	}
}
