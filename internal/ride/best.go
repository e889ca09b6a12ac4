package ride

import "cornerwright/internal/circuit"

// BestLap is the best realistic lap of the run (circuit.Located.BestLap) without the
// laps that people marked as spoilt. ok is false with fewer than two laps to take from.
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
	return l.BestLap()
}
