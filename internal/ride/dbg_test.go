package ride

import (
	"math"
	"testing"

	"cornerwright/internal/demo"
	"cornerwright/internal/proving"
)

const dbgCircuit = 0

func TestDbg(t *testing.T) {
	o := demo.DefaultOptions(dbgCircuit, 101)
	o.CircumferenceError = 0.025
	s := analysed(t, o)
	tr := &s.run.Truth
	r := s.ride
	t.Logf("notes %v rear %+v", r.Tyres.Notes, r.Tyres.Rear)
	n := 0
	for _, e := range r.Episodes {
		if e.Kind == Wheelie && n < 8 {
			n++
			k, _ := s.at(e.Start)
			t.Logf("wheelie %.2f..%.2f lap %d turn %d %s v %.1f grip %.2f gear %d brake %.1f a %.2f air %v onlaps %v fslip %.3f", e.Start, e.End, e.Lap, e.Turn, e.Phase, tr.Speed[k], tr.Grip[k], tr.Gear[k], tr.FrontBrake[k]/1e5, tr.Accel[k], tr.Airborne[k], s.onLaps(e.Start), tr.FrontSlip[k])
		}
	}
	// slip residual by state
	groups := map[string][]float64{}
	p := r.Position
	for i := 0; i < len(p.Time); i += 2 {
		k, ok := s.at(p.Time[i])
		if !ok || !s.onLaps(p.Time[i]) || tr.Grip[k] < 0.03 || tr.Clutch[k] > 0.5 {
			continue
		}
		d := 100 * (r.Signals.RearSlip[i] - tr.RearSlip[k])
		g := "up"
		if math.Abs(tr.Lean[k]) > 0.7 {
			g = "max"
		} else if math.Abs(tr.Lean[k]) > 0.35 {
			g = "mid"
		}
		if r.Signals.Airborne[i] {
			g += "-air"
		}
		near := false
		for j := max(0, k-15); j < min(len(tr.Gear), k+30); j++ {
			if tr.Gear[j] != tr.Gear[k] {
				near = true
			}
		}
		if near {
			g += "-shift"
		}
		groups[g] = append(groups[g], d)
	}
	for g, d := range groups {
		t.Logf("%-14s n %6d mean %.3f rms %.3f worst %.2f", g, len(d), proving.Mean(d), proving.RMS(d), proving.Worst(d))
	}
	n = 0
	for _, e := range r.Episodes {
		if (e.Kind == RearLift || e.Kind == Hop) && n < 20 {
			n++
			k, _ := s.at(e.Start)
			t.Logf("%s %.2f..%.2f lap %d turn %d %s v %.1f brake %.1f a %.2f load %.0f shock %.4f peak %.3f", e.Kind, e.Start, e.End, e.Lap, e.Turn, e.Phase, tr.Speed[k], tr.FrontBrake[k]/1e5, tr.Accel[k], tr.RearLoad[k], tr.Shock[k], e.Peak)
		}
	}
}
