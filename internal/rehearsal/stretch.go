package rehearsal

import (
	"math"
	"sort"

	"cornerwright/internal/circuit"
	"cornerwright/internal/ride"
)

// Stretch is one phase of one turn on one lap, as a half-open range of samples
// of the ride's grid.
type Stretch struct {
	Lap, Turn int
	Phase     circuit.Phase
	From, To  int // samples From..To-1
	Timed     bool
	Slot      string
	Pass      int // index into Ride.Passes
}

// Stretches cuts the passes of a ride into phases. A missing instant joins its
// phase to the one before. What lies in a turn's window before its brakes
// belongs to the drive out of the turn before. Passes that the recording does
// not cover whole are left out.
func Stretches(r *ride.Ride) []Stretch {
	if r == nil || r.Position == nil || len(r.Position.Time) < 2 {
		return nil
	}
	previous := previousTurn(r)
	out := make([]Stretch, 0, 6*len(r.Passes))
	for k := range r.Passes {
		p := &r.Passes[k]
		if !p.Whole {
			continue
		}
		at := p.Start
		phase := circuit.PhaseDrive
		turn := previous[p.Turn]
		cut := func(until float64, next circuit.Phase) {
			if math.IsNaN(until) {
				return
			}
			until = math.Min(math.Max(until, at), p.End)
			if i, j := Sample(r, at), Sample(r, until); j > i {
				out = append(out, Stretch{p.Lap, turn, phase, i, j, p.Timed, p.Slot, k})
			}
			at, phase, turn = until, next, p.Turn
		}
		cut(p.Brake, circuit.PhaseBrake)
		cut(p.TurnIn, circuit.PhaseEntry)
		cut(p.Mid, circuit.PhaseMid)
		cut(p.Pickup, circuit.PhasePickup)
		cut(p.DriveOn, circuit.PhaseDrive)
		cut(p.End, circuit.PhaseDrive)
	}
	return out
}

// previousTurn gives for each turn number the one ridden before it.
func previousTurn(r *ride.Ride) map[int]int {
	m := map[int]int{}
	if r.Circuit == nil {
		return m
	}
	t := r.Circuit.Turns
	for i := range t {
		m[t[i].Number] = t[(i+len(t)-1)%len(t)].Number
	}
	return m
}

// Sample returns the index of the first sample of the ride's grid at or after
// the instant (s, recording clock), within 0..len.
func Sample(r *ride.Ride, t float64) int {
	x := r.Position.Time
	n := len(x)
	if n < 2 {
		return 0
	}
	// The grid is even: a guess and a step or two find the place.
	step := (x[n-1] - x[0]) / float64(n-1)
	i := int(math.Ceil((t-x[0])/step - 1e-6))
	if i <= 0 {
		return 0
	}
	if i >= n {
		return n
	}
	if math.Abs(x[i]-t) > 2*step {
		return sort.SearchFloat64s(x, t) // not so even after all
	}
	return i
}

// tick is the time step of the ride's grid in s.
func tick(r *ride.Ride) float64 {
	x := r.Position.Time
	return (x[len(x)-1] - x[0]) / float64(len(x)-1)
}

// at returns x[i], NaN where the signal is not there.
func at(x []float64, i int) float64 {
	if i < 0 || i >= len(x) {
		return math.NaN()
	}
	return x[i]
}

func isTrue(x []bool, i int) bool { return i >= 0 && i < len(x) && x[i] }
