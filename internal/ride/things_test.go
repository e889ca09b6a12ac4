package ride

import (
	"math"
	"slices"
	"testing"

	"cornerwright/internal/bike"
	"cornerwright/internal/circuit"
	"cornerwright/internal/demo"
	"cornerwright/internal/proving"
	"cornerwright/internal/recording"
)

// altered analyses a simulated run after a change to its recording.
func altered(t *testing.T, o demo.Options, opt Options, change func(rec *recording.Recording, run *demo.Run)) scored {
	t.Helper()
	run := demo.Ride(o)
	b, err := bike.Parse("demo.toml", run.Bike.TOML())
	if err != nil {
		t.Fatal(err)
	}
	rec := proving.Recording(run)
	if change != nil {
		change(rec, run)
	}
	r, err := Analyse(rec, b, nil, opt)
	if err != nil {
		t.Fatal(err)
	}
	return scored{run, r, b}
}

func kindCount(r *Ride, k Kind) (n int) {
	for _, e := range r.Episodes {
		n += b2i(e.Kind == k)
	}
	return n
}

// What nobody rode into the demo: a shake put on the yaw rate, a hot engine, a
// tyre that shrinks over the run, and a pit limit that is and is not kept.
func TestPlantedInTheRecording(t *testing.T) {
	o := demo.DefaultOptions(0, 4242)
	o.Laps = 4
	quiet := altered(t, o, Options{PitSpeed: 40}, nil)
	if n := kindCount(quiet.ride, Weave) + kindCount(quiet.ride, Wobble) + kindCount(quiet.ride, PitSpeed); n > 0 {
		t.Errorf("%d shakes or pit speeds on a run without", n)
	}
	var at [2]float64
	loud := altered(t, o, Options{PitSpeed: 8}, func(rec *recording.Recording, run *demo.Run) {
		// A clone of each channel that is changed: the run's slices are shared.
		change := func(name string, f func(t, v float64) float64) {
			c := rec.Channel(name)
			c.Value = slices.Clone(c.Value)
			for i := range c.Value {
				c.Value[i] = f(c.Time[i], c.Value[i])
			}
		}
		tr := &run.Truth
		// A second and a half of 2.5/s upright at speed, one of 8/s on another lap.
		for i := range tr.Time {
			upright := func(from, to int) bool {
				for j := from; j < to; j++ {
					if j >= len(tr.Time) || tr.Speed[j] < 45 || math.Abs(tr.Lean[j]) > 0.15 {
						return false
					}
				}
				return true
			}
			if at[0] == 0 && tr.Time[i] > 150 && upright(i, i+250) {
				at[0] = tr.Time[i]
			}
			if at[1] == 0 && at[0] > 0 && tr.Time[i] > at[0]+60 && upright(i, i+150) {
				at[1] = tr.Time[i]
			}
		}
		change("yaw_rate", func(x, v float64) float64 {
			if x >= at[0] && x < at[0]+2.5 {
				v += 0.25 * math.Sin(2*math.Pi*2.5*x)
			}
			if x >= at[1] && x < at[1]+1.5 {
				v += 0.4 * math.Sin(2*math.Pi*8*x)
			}
			return v
		})
		change("coolant", func(_, v float64) float64 { return v + 18 })
		last := tr.Time[len(tr.Time)-1]
		change("rear_speed", func(x, v float64) float64 { return v * (1 + 0.006*x/last) })
	})
	for k, kind := range []Kind{Weave, Wobble} {
		found := false
		for _, e := range loud.ride.Episodes {
			found = found || e.Kind == kind && e.Start < at[k]+1.5 && e.End > at[k]
		}
		if !found {
			t.Errorf("%s put at %.1f s was not found", kind, at[k])
		}
	}
	if kindCount(loud.ride, PitSpeed) == 0 {
		t.Error("a pit limit of 8 m/s was broken and not found")
	}
	hot := false
	for _, p := range loud.ride.Problems {
		hot = hot || p.Channel == recording.Coolant
	}
	if !hot {
		t.Error("a coolant of 111 degC was not told")
	}
	// The wheel turns 0.4 % more a metre from the first third to the last: the tyre
	// looks that much smaller.
	d0, d1, se := quiet.ride.Tyres.Drift, loud.ride.Tyres.Drift, loud.ride.Tyres.DriftSE
	t.Logf("drift %.4f %% without, %.4f +- %.4f %% with", 100*d0, 100*d1, 100*se)
	if math.Abs(d0) > 0.0015 || math.Abs(d1-d0+0.004) > 0.0012 {
		t.Errorf("drift of the circumference %.4f %% without and %.4f %% with 0.4 %% put in", 100*d0, 100*d1)
	}
}

// Engine braking by gear and level: two slots with a half and the whole of the
// engine's drag, ridden in turn.
func TestEngineBrakeByLevel(t *testing.T) {
	o := demo.DefaultOptions(0, 4243)
	o.Laps = 8
	o.Slots = []string{"A", "A", "B", "A", "B", "A", "B", "A", "B", "A"}
	a, b := demo.Heron().Sheets["A"].Clone(), demo.Heron().Sheets["A"].Clone()
	a["engine-brake"], b["engine-brake"] = []float64{50, 50, 50, 50, 50, 50}, []float64{100, 100, 100, 100, 100, 100}
	o.Sheets = map[string]demo.Sheet{"A": a, "B": b}
	run := demo.Ride(o)
	bk, err := bike.Parse("demo.toml", run.Bike.TOML(o.Sheets))
	if err != nil {
		t.Fatal(err)
	}
	r, err := Analyse(proving.Recording(run), bk, nil, Options{})
	if err != nil {
		t.Fatal(err)
	}
	byGear := map[int]map[float64]GearDrag{}
	for _, g := range r.Engine.Gears {
		if g.Force.OK {
			if byGear[g.Gear] == nil {
				byGear[g.Gear] = map[float64]GearDrag{}
			}
			byGear[g.Gear][g.Level] = g
		}
	}
	compared := 0
	for gear, levels := range byGear {
		half, all := levels[50], levels[100]
		if half.Samples == 0 || all.Samples == 0 {
			continue
		}
		compared++
		t.Logf("gear %d: %.0f N at 50 %%, %.0f N at 100 %%, %.0f and %.0f 1/min", gear, half.Force.Value, all.Force.Value, half.RPM, all.RPM)
		if ratio := all.Force.Value / half.Force.Value; ratio < 1.4 || ratio > 2.4 {
			t.Errorf("gear %d: the whole drag is %.2f times the half", gear, ratio)
		}
	}
	if compared < 2 {
		t.Errorf("%d gears with both levels", compared)
	}
}

// Suspension: histograms add up to one; braking loads the fork more than drive.
func TestSuspensionByPhase(t *testing.T) {
	o := demo.DefaultOptions(1, 4244)
	o.Laps = 3
	s := altered(t, o, Options{}, nil)
	mean := func(end, phase string) float64 {
		for _, x := range s.ride.Travel {
			if x.End != end || x.Phase != phase {
				continue
			}
			sum, all := 0.0, 0.0
			for k, v := range x.Share {
				all += v
				sum += v * (float64(k) + 0.5) * x.Bin
			}
			if math.Abs(all-1) > 0.01 {
				t.Errorf("%s %s: shares add up to %.3f", end, phase, all)
			}
			if x.HasSpeed {
				if all := x.CompLow + x.CompMid + x.CompHigh + x.RebLow + x.RebMid + x.RebHigh + x.Still; math.Abs(all-1) > 0.01 {
					t.Errorf("%s %s: compression, rebound and still add up to %.3f", end, phase, all)
				}
			}
			return sum
		}
		t.Errorf("no histogram of %s in %s", end, phase)
		return math.NaN()
	}
	brake, drive := mean("fork", string(circuit.PhaseBrake)), mean("fork", string(circuit.PhaseDrive))
	t.Logf("fork %.0f mm braking, %.0f mm driving", 1000*brake, 1000*drive)
	if !(brake > drive+0.01) {
		t.Errorf("fork %.3f m braking, %.3f m driving", brake, drive)
	}
	mean("shock", "all")
}

// What one tooth is worth: arithmetic (43 to 44 teeth on 16 is 2.33 %), and the
// same in the comparison of two runs.
func TestToothWorth(t *testing.T) {
	d := bike.Drive{FrontSprocket: 16, RearSprocket: 43}
	if w := d.ToothWorth(0, 1); math.Abs(w-1.0/43) > 1e-12 {
		t.Errorf("one rear tooth %.5f", w)
	}
	if w := d.ToothWorth(-1, 0); math.Abs(w-1.0/15) > 1e-12 {
		t.Errorf("one front tooth less %.5f", w)
	}
	var a, b []Pull
	for lap := 1; lap <= 5; lap++ {
		for bin := range 4 {
			p := Pull{Lap: lap, Turn: 1 + lap%2, Gear: 3, RPM: 8000 + 500*float64(bin), Seconds: 0.3, Torque: 100}
			a = append(a, p)
			p.Torque *= 1 + 2.0/43
			b = append(b, p)
		}
	}
	if c := CompareTorque(a, b, 8000, 10000, 43); math.Abs(c.RearTeeth-2) > 0.01 {
		t.Errorf("two teeth more read as %.2f", c.RearTeeth)
	}
}
