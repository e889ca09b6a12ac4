package ride

import (
	"testing"

	"cornerwright/internal/demo"
)

func TestDbgBrake(t *testing.T) {
	s := analysed(t, demo.DefaultOptions(0, 101))
	tr := &s.run.Truth
	t.Log(s.ride.Tyres.Notes, s.ride.Position.Latency, s.ride.dbg)
	var e, n, fs [16]float64
	for i, x := range s.ride.Position.Time {
		k, ok := s.at(x)
		if !ok || !s.onLaps(x) {
			continue
		}
		b := int(tr.FrontBrake[k] / 1e5)
		if b > 15 || tr.FrontBrake[k] < 3e4 {
			continue
		}
		e[b] += s.ride.Speed()[i]/tr.Speed[k] - 1
		fs[b] += tr.FrontSlip[k]
		n[b]++
	}
	for b := range e {
		t.Logf("%2d bar n %.0f speed error %+.3f %% front slip %.3f %%", b, n[b], 100*e[b]/n[b], 100*fs[b]/n[b])
	}
}
