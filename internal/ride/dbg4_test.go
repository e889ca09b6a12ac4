package ride

import (
	"testing"

	"cornerwright/internal/demo"
)

func TestDbgSig(t *testing.T) {
	o := demo.DefaultOptions(0, 101)
	o.Causes = []demo.Cause{{Kind: demo.StrongControl, Turn: 5}}
	o.Drop = []string{"cut", "throttle"}
	s := analysed(t, o)
	tr := &s.run.Truth
	t.Logf("model %v", s.ride.dbg)
	for _, u := range tr.Episodes {
		if u.Kind != "cut" || !s.onLaps(u.Start) || u.Start > 190 {
			continue
		}
		p := s.ride.Position
		a := int((u.Start-p.Time[0])/0.01) - 10
		t.Logf("truth %.2f..%.2f peak %.2f", u.Start, u.End, u.Peak)
		for q := a; q < a+int((u.End-u.Start)/0.01)+20; q += 10 {
			k, _ := s.at(p.Time[q])
			t.Logf("   %.2f grip %.3f plate %.3f cut true %.3f ours %.3f rpm %.0f torque %.1f gear %d slip %.3f target %.3f", p.Time[q], tr.Grip[k], tr.Plate[k], tr.Cut[k], s.ride.Signals.Cut[q], tr.RPM[k], tr.CrankTorque[k], tr.Gear[k], s.ride.Signals.RearSlip[q], tr.SlipTarget[k])
		}
	}
	n := 0
	for i := range s.ride.Episodes {
		e := &s.ride.Episodes[i]
		if e.Kind != Cut || !s.onLaps(e.Start) {
			continue
		}
		hit := false
		var us demo.Episode
		for _, u := range tr.Episodes {
			if u.Kind == "cut" && u.Start < e.End && u.End > e.Start {
				hit = true
				us = u
			}
		}
		if n > 22 {
			break
		}
		n++
		t.Logf("hit %v ours %.2f..%.2f peak %.2f mean %.2f gear %d turn %d %s lean %.2f | truth %.2f..%.2f peak %.2f", hit, e.Start, e.End, e.Peak, e.Mean, e.Gear, e.Turn, e.Phase, e.Lean, us.Start, us.End, us.Peak)
		if n%4 == 1 {
			p := s.ride.Position
			a := int((e.Start-p.Time[0])/0.01) - 10
			for q := a; q < a+int((e.End-e.Start)/0.01)+20; q += 5 {
				k, _ := s.at(p.Time[q])
				t.Logf("   %.2f grip %.3f plate %.3f cut true %.3f ours %.3f rpm %.0f torque %.1f gear %d", p.Time[q], tr.Grip[k], tr.Plate[k], tr.Cut[k], s.ride.Signals.Cut[q], tr.RPM[k], tr.CrankTorque[k], tr.Gear[k])
			}
		}
	}
}

func init() { _ = 1 }
