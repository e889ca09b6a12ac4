package ride

import (
	"math"
	"testing"

	"cornerwright/internal/demo"
	"cornerwright/internal/proving"
)

// Sessions in which nothing takes torque but gearshifts: at most one false alarm
// in ten laps, whatever shows cuts.
func TestFalseAlarms(t *testing.T) {
	for _, c := range []struct {
		name string
		drop []string
	}{
		{"cut channel", nil},
		{"demand against plate", []string{"cut"}},
		{"signature alone", []string{"cut", "throttle"}},
	} {
		laps, alarms, truth := 0, 0, 0
		list := seeds()
		if !proving.Full() {
			list = list[:1]
		}
		for k := range demo.Circuits() {
			for _, seed := range list {
				o := demo.DefaultOptions(k, seed+1000)
				sheet := demo.Heron().Sheets["A"].Clone()
				for _, row := range sheet["slip-target"].([][]float64) {
					for j := range row {
						row[j] = 20
					}
				}
				sheet["wheel-lift"] = 12.0
				o.Sheets = map[string]demo.Sheet{"A": sheet}
				o.Drop = c.drop
				s := analysed(t, o)
				for _, l := range s.run.Truth.Laps {
					laps += b2i(l.Kind == demo.TimedLap)
				}
				for _, e := range s.run.Truth.Episodes {
					truth += b2i(e.Kind == string(Cut) && s.onLaps(e.Start))
				}
				for _, e := range s.ride.Episodes {
					if e.Kind == Cut && s.onLaps(e.Start) {
						alarms++
						t.Logf("%s: circuit %d seed %d turn %d, %.2f to %.2f s, peak %.2f, lean %.0f deg", c.name, k, seed, e.Turn, e.Start, e.End, e.Peak, e.Lean*180/math.Pi)
					}
				}
			}
		}
		t.Logf("%s: %d alarms on %d laps (true cuts %d)", c.name, alarms, laps, truth)
		if alarms > truth {
			atMost(t, c.name+": false alarms a lap", float64(alarms-truth)/float64(laps), 0.1)
		}
	}
}

// A rear lift and a front lock planted where the brakes are hardest.
func TestLiftAndLock(t *testing.T) {
	var lift, lock tally
	list := seeds()
	if !proving.Full() {
		list = list[:1]
	}
	for c := range 3 {
		for _, seed := range list {
			o := demo.DefaultOptions(c, seed)
			o.Laps = 5
			o.Causes = []demo.Cause{{Kind: demo.RearLift, Turn: 1}, {Kind: demo.FrontLock, Turn: 4}}
			s := analysed(t, o)
			lift.add(&s, RearLift, nil)
			lock.add(&s, Lock, nil)
		}
	}
	t.Logf("rear-lift: truth %d found %d extra %d F1 %.3f; lock: truth %d found %d extra %d F1 %.3f",
		lift.truth, lift.found, lift.extra, lift.f1(), lock.truth, lock.found, lock.extra, lock.f1())
	if lift.truth < 10 || lock.truth < 10 {
		t.Errorf("%d rear lifts and %d locks planted: too few to score", lift.truth, lock.truth)
	}
	atLeast(t, "rear-lift F1", lift.f1(), 0.9)
	atLeast(t, "lock F1", lock.f1(), 0.9)
}
