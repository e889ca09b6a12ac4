package circuit_test

import (
	"math"
	"slices"
	"testing"

	"cornerwright/internal/circuit"
	"cornerwright/internal/demo"
	"cornerwright/internal/proving"
)

func TestBestLap(t *testing.T) {
	r := run(0, 5, func(o *demo.Options) { o.Laps = 6 })
	l := locate(t, r, nil)
	var laps []int
	best := math.Inf(1)
	for _, lap := range l.Laps {
		if lap.Kind == circuit.TimedLap {
			laps = append(laps, lap.Number)
			best = math.Min(best, lap.Time())
		}
	}
	b, ok := l.BestLap()
	// Free of joins: every section from the lap that rode it fastest.
	free := 0.0
	m := l.Matrix
	for _, s := range b.Sections {
		i, k := int(math.Round(s.From/m.Step)), min(int(math.Round(s.To/m.Step)), len(m.Time[0])-1)
		least := math.Inf(1)
		for row, lap := range m.Laps {
			if slices.Contains(laps, lap) {
				least = math.Min(least, m.Time[row][k]-m.Time[row][i])
			}
		}
		free += least
	}
	if !ok || b.Time > best+0.006 || b.Time < free-1e-6 {
		t.Errorf("best realistic %.3f, free of joins %.3f, best whole lap %.3f", b.Time, free, best)
	}
	sum := 0.0
	p := l.Position
	for i, s := range b.Sections {
		sum += s.Time
		if i == 0 || s.Lap == b.Sections[i-1].Lap {
			continue
		}
		at := func(lap int) float64 {
			for _, x := range l.Laps {
				if x.Number == lap {
					base := math.Floor(p.S[p.Index(0.5*(x.Start+x.End))]/l.Circuit.Line.Length) * l.Circuit.Line.Length
					return p.Speed[p.Index(p.CrossAt(base+s.From))]
				}
			}
			return math.NaN()
		}
		if d := math.Abs(at(s.Lap) - at(b.Sections[i-1].Lap)); !(d < 1.2) {
			t.Errorf("laps %d and %d are joined at %.0f m with %.1f m/s between them", b.Sections[i-1].Lap, s.Lap, s.From, d)
		}
	}
	if math.Abs(sum-b.Time) > 1e-9 {
		t.Error("sections do not add up")
	}
	d, se := l.Matrix.Delta(laps[0], laps[1]), l.Matrix.DeltaSE(laps[0], laps[1])
	if math.IsNaN(d[len(d)-1]) || math.Abs(d[len(d)-1]) > 5 || d[0] != 0 {
		t.Errorf("delta ends at %v", d[len(d)-1])
	}
	// The delta against the truth at every place, by its own standard error.
	truth := func(lap int, s float64) float64 {
		for _, x := range l.Laps {
			if x.Number == lap {
				base := math.Floor(p.S[p.Index(0.5*(x.Start+x.End))]/l.Circuit.Line.Length) * l.Circuit.Line.Length
				return proving.Nearest(gateCrossings(r, l.Circuit, s), p.CrossAt(base+s))
			}
		}
		return math.NaN()
	}
	var z []float64
	for k := 10; k < len(d)-1; k += 20 {
		s := float64(k) * l.Matrix.Step
		want := truth(laps[1], s) - truth(laps[1], 0) - (truth(laps[0], s) - truth(laps[0], 0))
		z = append(z, math.Abs(d[k]-want)/se[k])
	}
	if a := within(z, 2.5); a < 0.9 {
		t.Errorf("%.0f %% of %d deltas within 2.5 standard errors", 100*a, len(z))
	}
}
