package ride

import (
	"math"
	"testing"

	"cornerwright/internal/demo"
)

func TestDbgBlipNG(t *testing.T) {
	o := demo.DefaultOptions(0, 101)
	o.Causes = []demo.Cause{{Kind: demo.OverBlip, Turn: 1, Size: 900}, {Kind: demo.OverBlip, Turn: 4, Size: 1800}}
	o.Drop = []string{"gear"}
	s := analysed(t, o)
	tr := &s.run.Truth
	n := 0
	for i := range s.ride.Episodes {
		e := &s.ride.Episodes[i]
		if e.Kind != Blip || !s.onLaps(e.Start) {
			continue
		}
		for _, u := range tr.Episodes {
			if u.Kind == "blip" && math.Abs(u.End-e.End) < 0.06 && n < 14 {
				n++
				k, _ := s.at(u.End)
				j := int((u.End - s.ride.Position.Time[0]) / 0.01)
				t.Logf("truth %.3f..%.3f need %.0f peak %.0f sur %.0f push %.3f over %v | ours %.3f..%.3f need %.0f peak %.0f sur %.0f push %.3f | v %.2f ours %.2f slip %.3f lean %.2f air %v", u.Start, u.End, u.RPMNeeded, u.RPMPeak, u.Surplus, u.PushS, u.Over, e.Start, e.End, e.Shift.Needed, e.Shift.Peak, e.Shift.Surplus, e.Shift.Push, tr.Speed[k], s.ride.Speed()[j], tr.RearSlip[k], tr.Lean[k], s.ride.Signals.Airborne[j])
				if n < 3 {
					for q := k - 4; q < k+8; q++ {
						t.Logf("   t %.3f rpm %.0f clutch %.2f ours rpm %.0f clutch %.2f gear %d", tr.Time[q], tr.RPM[q], tr.Clutch[q], s.ride.Signals.RPM[j-4+q-k+4], s.ride.Signals.Clutch[j+q-k], tr.Gear[q])
					}
				}
			}
		}
	}
}

