package ride

import "math"

// cost estimates what each cut cost in seconds. The force that was taken,
// F c/(1-c) with F the force delivered, makes the bike slower by dv at the end
// of the cut; from there the loss shrinks until the next brake point, where the
// rider brakes to the same place: T = dv/a (1 - ve/vf), with ve the speed where
// the cut ends, vf the top speed before the next brakes and a the mean
// acceleration between. It is an upper estimate where the tyre could not have
// carried the torque: the interval runs from half of it to 1.3 times.
func (w *work) cost() {
	s := &w.r.Signals
	if s.Force == nil || s.Cut == nil {
		return
	}
	brake := brakeStarts(w.braking)
	for k := range w.r.Episodes {
		e := &w.r.Episodes[k]
		if e.Kind != Cut {
			continue
		}
		a, b := w.index(e.Start), w.index(e.End)
		var lost float64
		for i := a; i < b; i++ {
			c := math.Min(0.9, s.Cut[i])
			if f := s.Force[i]; f > 0 {
				m := w.b.Mass.Total
				if s.Gear != nil {
					m += w.b.RotatingMass(int(s.Gear[i]))
				}
				lost += f * c / (1 - c) / m * w.dt
			}
		}
		e.DeltaV = lost
		end := w.n - 1
		for _, j := range brake {
			if j > b {
				end = j
				break
			}
		}
		// Top speed before the brakes.
		top := b
		for i := b; i <= end; i++ {
			if w.speed[i] > w.speed[top] {
				top = i
			}
		}
		vf, ve := w.speed[top], w.speed[b]
		if top == b || end == w.n-1 || vf-ve < 1 {
			e.Cost = Interval{Why: "the brakes follow at once: no stretch to carry the loss along"}
			if end == w.n-1 {
				e.Cost.Why = "the recording ends before the next brakes"
			}
			continue
		}
		mean := (vf - ve) / (float64(top-b) * w.dt)
		t := lost / mean * (1 - ve/vf)
		e.Cost = Interval{Value: t, Lo: 0.5 * t, Hi: 1.3*t + 0.002, N: 1, OK: true}
	}
}

// brakeStarts lists the samples at which the brakes come on.
func brakeStarts(m []bool) []int {
	var out []int
	stretches(m, func(a, b int) { out = append(out, a) })
	return out
}
