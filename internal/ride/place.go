package ride

import (
	"math"
	"sort"
)

// Lean classes, in rad.
const (
	uprightBelow = 25 * math.Pi / 180 // |lean| at the start below it: upright
	nearMaxLean  = 3 * math.Pi / 180  // within it of that bend's greatest lean on that lap, and
	maxLeanFrom  = 40 * math.Pi / 180 // from here on: at maximum lean
)

// place gives every episode its lap, turn, phase, lean, speed, gear and class,
// and puts them in order of time.
func (w *work) place() {
	s := &w.r.Signals
	r := w.r
	for k := range r.Episodes {
		e := &r.Episodes[k]
		i := w.index(e.Start)
		e.Lean, e.Speed = s.Lean[i], w.speed[i]
		if s.Gear != nil && e.Gear == 0 {
			e.Gear = int(s.Gear[i])
		}
		e.Lap = int(w.lap[i])
		if r.Circuit != nil {
			e.Place = r.Circuit.Wrap(w.pos.S[i])
			e.Turn = r.Circuit.TurnAt(w.pos.S[i])
			if p := w.passAt(e.Start, e.Turn); p != nil {
				e.Phase = p.PhaseAt(e.Start)
				e.Lap = p.Lap
			}
		}
		if s.RearSlip != nil && e.Kind != Wheelie {
			for j := i; j <= w.index(e.End); j++ {
				if v := s.RearSlip[j]; !math.IsNaN(v) {
					e.Slip = math.Max(e.Slip, v)
				}
			}
		}
		if e.Kind == Cut || e.Kind == Spin {
			e.LeanClass = w.class(i)
		}
	}
	sort.SliceStable(r.Episodes, func(a, b int) bool { return r.Episodes[a].Start < r.Episodes[b].Start })
}

// passAt finds the pass through a turn that holds instant t. Passes follow each
// other in time, a lap of turns overlapping at most.
func (w *work) passAt(t float64, turn int) *Pass {
	ps := w.r.Passes
	after := sort.Search(len(ps), func(k int) bool { return ps[k].Start > t })
	for k := after - 1; k >= max(0, after-2*len(w.r.Circuit.Turns)); k-- {
		p := &ps[k]
		if p.Turn == turn && t >= p.Start && t < p.End {
			return p
		}
	}
	return nil
}

// class is the lean class at sample i: upright below 25 deg; else at maximum
// lean within 3 deg of the greatest lean of the same bend (the stretch of one
// sign about i) and at 40 deg or more; else picking up.
func (w *work) class(i int) LeanClass {
	lean := w.r.Signals.Lean
	if math.Abs(lean[i]) < uprightBelow {
		return Upright
	}
	sign := math.Copysign(1, lean[i])
	const low = 8 * math.Pi / 180
	most := math.Abs(lean[i])
	for j := i; j >= 0 && lean[j]*sign > low; j-- {
		most = math.Max(most, lean[j]*sign)
	}
	for j := i; j < w.n && lean[j]*sign > low; j++ {
		most = math.Max(most, lean[j]*sign)
	}
	if math.Abs(lean[i]) >= most-nearMaxLean && math.Abs(lean[i]) >= maxLeanFrom {
		return AtMaxLean
	}
	return PickingUp
}
