package ride

import (
	"math"
	"testing"

	"cornerwright/internal/demo"
)

func TestDbgBlip(t *testing.T) {
	o := demo.DefaultOptions(0, 101)
	o.Causes = []demo.Cause{{Kind: demo.OverBlip, Turn: 1, Size: 900}, {Kind: demo.OverBlip, Turn: 4, Size: 1800}}
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

func TestDbgRear(t *testing.T) {
	for c := 0; c < 2; c++ {
		s := analysed(t, demo.DefaultOptions(c, 101))
		t.Logf("rear %+v notes %v", s.ride.Tyres.Rear, s.ride.Tyres.Notes)
		d, l := s.slipError()
		t.Logf("slip %.3f leaned %.3f", d, l)
		tr := &s.run.Truth
		var sumv, sumn [8]float64
		for i := range s.ride.Position.Time {
			k, ok := s.at(s.ride.Position.Time[i])
			if !ok || !s.onLaps(s.ride.Position.Time[i]) || tr.FrontBrake[k] > 1e4 || s.ride.Signals.Airborne[i] {
				continue
			}
			b := int(tr.Accel[k]/1.5) + 1
			if b < 0 || b > 7 {
				continue
			}
			sumv[b] += s.ride.Speed()[i]/tr.Speed[k] - 1
			sumn[b]++
		}
		for b := range sumv {
			t.Logf("a %.1f speed error %.3f %%  n %.0f", (float64(b)-0.5)*1.5, 100*sumv[b]/sumn[b], sumn[b])
		}
	}
}
