package ride

import (
	"math"

	"cornerwright/internal/say"
)

// findUpshifts measures every upshift: the gap in drive, the length of the cut,
// the step of engine speed beyond the new gear's.
func (w *work) findUpshifts() {
	s := &w.r.Signals
	if s.Gear == nil || s.RPM == nil {
		w.cannot(say.T("upshifts"), say.T("they need gear (or rear wheel speed and ratios) and engine speed"), say.T("log engine speed and gear"))
		return
	}
	for i := 1; i < w.n; i++ {
		a, b := s.Gear[i-1], s.Gear[i]
		if a == 0 || b == 0 || b <= a || w.speed[i] < 5 {
			continue
		}
		lo, hi := max(0, i-w.samples(0.3)), min(w.n-1, i+w.samples(0.4))
		sh := &Shift{FromGear: int(a), ToGear: int(b), Needed: w.needed(i, int(b)), Surplus: math.NaN(), Push: math.NaN(), PushAccel: math.NaN()}
		e := Episode{Kind: Upshift, Start: w.time(max(0, i-w.samples(0.03))), End: w.time(min(w.n-1, i+w.samples(0.03))), Gear: int(b), Shift: sh, Inferred: w.gearFromRatio}
		// The gap: acceleration below half of what it was before.
		var before float64
		n := 0
		for j := max(0, i-w.samples(0.5)); j < max(0, i-w.samples(0.2)); j++ {
			before += w.accel[j]
			n++
		}
		if n > 0 {
			before /= float64(n)
		}
		first, last := -1, -1
		for j := lo; j <= hi; j++ {
			if w.accel[j] < 0.5*before {
				if first < 0 {
					first = j
				}
				last = j
			}
		}
		if before > 1 && first >= 0 && w.front != nil {
			sh.Gap = float64(last-first+1) * w.dt
			e.Start, e.End = w.time(first), w.time(last)
		}
		if s.Cut != nil && w.r.Signals.CutSource != "signature" {
			c := 0
			for j := lo; j <= hi; j++ {
				if s.Cut[j] > 0.5 {
					c++
				}
			}
			sh.CutLength = float64(c) * w.dt
		}
		for j := i; j <= min(w.n-1, i+w.samples(0.25)); j++ {
			sh.Peak = math.Max(sh.Peak, s.RPM[j])
			if j > i+w.samples(0.08) {
				sh.Step = math.Max(sh.Step, s.RPM[j]-w.needed(j, int(b)))
			}
		}
		w.r.Episodes = append(w.r.Episodes, e)
	}
}

// findLimiter makes episodes of the engine held at its limiter.
func (w *work) findLimiter() {
	s := &w.r.Signals
	if s.RPM == nil {
		w.cannot(say.T("limiter"), say.T("no engine speed is logged"), say.T("log engine speed"))
		return
	}
	lim := w.b.Drive.LimiterRPM
	if lim == 0 {
		w.cannot(say.T("limiter"), say.T("the bike file gives no limiter_rpm"), say.T("give drive.limiter_rpm"))
		return
	}
	m := w.mem.mask()
	defer w.mem.put(m)
	for i, v := range s.RPM {
		m[i] = v > lim-8
	}
	join(m, w.samples(0.12))
	drop(m, w.samples(0.05))
	stretches(m, func(a, b int) {
		for _, k := range w.blips { // a blip that touches the limiter is told with the blip
			if a <= k.home+w.samples(0.15) && b >= k.start {
				return
			}
		}
		w.r.Episodes = append(w.r.Episodes, Episode{Kind: Limiter, Start: w.time(a), End: w.time(b),
			Marked: w.marked(span(Episode{Start: w.time(a), End: w.time(b)}), "rpm")})
	})
}
