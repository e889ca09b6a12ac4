package circuit

import (
	"fmt"
	"math"

	"cornerwright/internal/signal"
)

// OffsetAt is where the laps of one run lay across the road at a place. It may be
// compared with other laps of the same run only: another day's GPS error moves
// all of them.
type OffsetAt struct {
	S      float64 // m from the gate
	Median float64 // m right of the reference line
	Spread float64 // m, robust, lap to lap
	SE     float64 // m, standard error of the median against the run's other laps
	Laps   int
	Why    string // not empty: the GPS does not support it here, and why; show nothing
}

const (
	offsetDoubt = 0.6 // m of standard error of one lap beyond which no offset is shown
	offsetLaps  = 3
)

// MedianOffset is the lateral offset of laps at place s (m).
func (p *Position) MedianOffset(c *Circuit, s float64, laps []Lap) OffsetAt {
	o := OffsetAt{S: c.Wrap(s), Median: math.NaN(), Spread: math.NaN(), SE: math.NaN()}
	if p.Lost {
		o.Why = "no circuit was found to measure from"
		return o
	}
	var v []float64
	var worst, sum float64
	vague := 0
	for _, lap := range laps {
		base := math.Floor(p.S[p.Index(0.5*(lap.Start+lap.End))]/c.Line.Length) * c.Line.Length
		t := p.CrossAt(base + s)
		if math.IsNaN(t) {
			continue
		}
		i := p.Index(t)
		if p.OffsetSE[i] > offsetDoubt {
			vague++
			worst = math.Max(worst, p.OffsetSE[i])
			continue
		}
		v = append(v, p.Offset[i])
		sum += sq(p.OffsetSE[i])
	}
	o.Laps = len(v)
	if o.Laps < offsetLaps {
		o.Why = fmt.Sprintf("%d laps with GPS good enough, %d needed", o.Laps, offsetLaps)
		if vague > 0 {
			o.Why += fmt.Sprintf(" (on %d more the offset is known to %.1f m only)", vague, 2*worst)
		}
		return o
	}
	n := float64(o.Laps)
	o.Median, o.Spread = signal.Median(v), signal.Spread(v)
	// A median of n normal values scatters by sqrt(pi/2) more than their mean.
	o.SE = math.Sqrt(math.Pi / 2 * math.Max(sq(o.Spread), sum/n) / n)
	return o
}
