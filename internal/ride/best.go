package ride

import "cornerwright/internal/circuit"

// BestLap is the best realistic lap of the run (circuit.Located.BestLap) without the
// laps that people marked as spoilt; stretches of one lap that follow each other are
// one section. ok is false with fewer than two laps to take from.
func (r *Ride) BestLap(spoilt map[int]string) (best circuit.Best, ok bool) {
	if r.Circuit == nil || r.Matrix == nil || r.Position == nil {
		return best, false
	}
	l := circuit.Located{Circuit: r.Circuit, Position: r.Position, Matrix: r.Matrix}
	for _, x := range r.Laps {
		if spoilt[x.Number] == "" {
			l.Laps = append(l.Laps, x)
		}
	}
	best, ok = l.BestLap()
	var joined []circuit.BestSection
	for _, s := range best.Sections {
		if n := len(joined); n > 0 && joined[n-1].Lap == s.Lap {
			joined[n-1].To, joined[n-1].Time, joined[n-1].Gain = s.To, joined[n-1].Time+s.Time, joined[n-1].Gain+s.Gain
			continue
		}
		joined = append(joined, s)
	}
	best.Sections = joined
	return best, ok
}
