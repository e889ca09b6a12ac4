package circuit_test

import (
	"testing"

	"cornerwright/internal/circuit"
	"cornerwright/internal/demo"
	"cornerwright/internal/proving"
)

// Position, laps, turns and matrix of recordings at 100 1/s. cpu-ms/op is what
// one core worked for it, which other work on the machine does not lengthen as it
// does ns/op.
func BenchmarkLocate(b *testing.B) {
	for _, c := range []struct {
		name string
		laps int
	}{{"20min", 10}, {"60min", 35}, {"240min", 146}} {
		o := demo.DefaultOptions(0, 1)
		o.Laps = c.laps
		rec := proving.Recording(demo.Ride(o))
		b.Run(c.name, func(b *testing.B) {
			b.ReportAllocs()
			start := cpu()
			for b.Loop() {
				l, err := circuit.Locate(rec, nil, circuit.Options{})
				if err != nil || l.Circuit == nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64((cpu()-start).Microseconds())/1e3/float64(b.N), "cpu-ms/op")
			b.ReportMetric(rec.Span().To/60, "min")
		})
	}
}
