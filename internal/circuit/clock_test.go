package circuit_test

import (
	"math"
	"strings"
	"testing"

	"cornerwright/internal/circuit"
	"cornerwright/internal/demo"
	"cornerwright/internal/proving"
)

// TestTwoClocks rides with fixes stamped by GPS time and the rest by a crystal that
// is off: the gain must be found, told, and taken out of lap times, on a circuit
// that is learnt and on one that is known; with one clock nothing may be told.
func TestTwoClocks(t *testing.T) {
	var z []float64
	for ci, ppm := range map[int]float64{0: 40, 1: -25, 2: 90, 3: 0} {
		r := run(ci, 8501, func(o *demo.Options) { o.Laps, o.Nasty.GPSDrift = 6, ppm*1e-6 })
		learnt := locate(t, r, nil)
		for _, l := range []*circuit.Located{learnt, locate(t, r, learnt.Circuit)} {
			clock := l.Position.Clock
			told := false
			for _, p := range l.Problems {
				told = told || strings.Contains(p.Text.String(), "millionths")
			}
			if told != (ppm != 0) {
				t.Errorf("%s, %+g ppm: told %v: %v", r.Circuit.Name, ppm, told, l.Problems)
			}
			if ppm == 0 {
				if clock != (circuit.Clock{}) {
					t.Errorf("%s: one clock, found %+v", r.Circuit.Name, clock)
				}
				continue
			}
			// A logger that gains on GPS is one on which GPS loses.
			want := 1/(1+ppm*1e-6) - 1
			if e := math.Abs(clock.Gain - want); e > 4*clock.GainSE || clock.GainSE > 3e-6 {
				t.Errorf("%s: gain %.1f, standard error %.1f, of %.1f ppm", r.Circuit.Name, 1e6*clock.Gain, 1e6*clock.GainSE, 1e6*want)
			}
			at := gateCrossings(r, l.Circuit, 0)
			for _, lap := range l.Laps {
				if lap.Kind == circuit.TimedLap {
					truth := (proving.Nearest(at, lap.End) - proving.Nearest(at, lap.Start)) * (1 + want)
					z = append(z, (lap.Time()-truth)/lap.TimeSE)
				}
			}
		}
	}
	if len(z) < 36 || proving.RMS(z) > 1.5 || math.Abs(proving.Mean(z)) > 0.6 {
		t.Errorf("%d laps, in standard errors rms %.2f, mean %+.2f", len(z), proving.RMS(z), proving.Mean(z))
	}
}
