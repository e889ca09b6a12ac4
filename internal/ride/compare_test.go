package ride

import (
	"math"
	"math/rand/v2"
	"testing"

	"cornerwright/internal/demo"
	"cornerwright/internal/proving"
)

// Two runs, the second with 8 N.m more (or nothing) between 6,000 and 12,000/min,
// compared over 8,000 to 11,500/min, where both ride every lap; in still air and
// with a wind that changes between the runs. The pairs serve for nothing else.
func TestTorqueOfTwoRuns(t *testing.T) {
	pairs, base := 4, uint64(500)
	if proving.Full() {
		pairs, base = 60, 910001 // nothing was built on these
	}
	all, held := 0, 0
	chance := rand.New(rand.NewPCG(base, 8))
	for _, c := range []struct {
		extra float64
		windy bool
	}{{8, false}, {0, false}, {8, true}, {0, true}} {
		cover, claimed, n := 0, 0, 0
		var err, half []float64
		for k := range pairs {
			o := demo.DefaultOptions(k%4, base+uint64(2*k))
			o.Laps = 6
			o.TorqueBand = [2]float64{6000, 12000}
			if c.windy {
				if !proving.Full() && k%2 == 1 {
					continue
				}
				o.Nasty.Wind = 0.5 + 2*math.Mod(float64(k)*0.618, 1)
			}
			a := analysed(t, o)
			o.Seed++
			o.TorqueExtra = c.extra
			if c.windy {
				o.Nasty.Wind = 0.5 + 2*math.Mod(float64(k)*0.414, 1)
			}
			b := analysed(t, o)
			// What no run tells of itself is drawn as the interval allows for it: the
			// losses that the bike file leaves open, in both runs, and speed scale and
			// radius of the second.
			share := 1 + torqueShare*chance.NormFloat64()
			scaled(a.ride.Pulls, share)
			scaled(b.ride.Pulls, share*(1+scaleShare*chance.NormFloat64()))
			d := CompareTorque(a.ride.Pulls, b.ride.Pulls, 8000, 11500, a.bike.Drive.RearSprocket)
			if !d.Crank.OK {
				t.Errorf("pair %d: %s", k, d.Crank.Why)
				continue
			}
			n++
			err, half = append(err, d.Crank.Value-c.extra), append(half, (d.Crank.Hi-d.Crank.Lo)/2)
			cover += b2i(d.Crank.Lo <= c.extra && c.extra <= d.Crank.Hi)
			claimed += b2i(d.Crank.Lo > 0 || d.Crank.Hi < 0)
			if k < 4 {
				t.Logf("pair %d: %.2f [%.2f, %.2f] N.m, %d and %d laps, %.1f teeth; wind %+.1f %+.1f m/s", k, d.Crank.Value, d.Crank.Lo, d.Crank.Hi, d.LapsA, d.LapsB, d.RearTeeth, d.Wind[0].Value, d.Wind[1].Value)
			}
		}
		t.Logf("%g N.m, wind %v: covered %d of %d, claimed %d, error rms %.2f mean %.2f, half width %.2f", c.extra, c.windy, cover, n, claimed, proving.RMS(err), proving.Mean(err), proving.RMS(half))
		if c.extra > 0 && claimed < n {
			t.Errorf("a difference of %g N.m was found in %d of %d pairs", c.extra, claimed, n)
		}
		all, held = all+n, held+cover
	}
	// 93 to 97 % is the promise. The few pairs of the default run fail it only
	// where chance would give so few in less than one of a hundred at 95 %.
	low := float64(proving.Fewest(all, 0.95, 0.01)) / float64(all)
	if proving.Full() { // and one standard error of so many pairs above
		low = 0.93
		atMost(t, "covered", float64(held)/float64(all), 0.97+math.Sqrt(0.05*0.95/float64(all)))
	}
	atLeast(t, "covered", float64(held)/float64(all), low)
}

func scaled(p []Pull, share float64) {
	for i := range p {
		p[i].Torque *= share
	}
}

// Wind that differs between two runs falls out where straights lead both ways,
// and widens the interval where they lead one way only.
func TestTorqueAgainstWind(t *testing.T) {
	run := func(turns int, extra, wind float64) []Pull {
		var out []Pull
		for lap := 1; lap <= 6; lap++ {
			for turn := 1; turn <= turns; turn++ {
				heading := math.Pi * float64(turn-1) * 0.9
				for bin := 0; bin < 6; bin++ {
					sin, cos := math.Sincos(heading)
					p := Pull{Lap: lap, Turn: turn, Gear: 3, RPM: 8000 + 500*float64(bin), Seconds: 0.4, Wind: [2]float64{1.6 * sin, 1.6 * cos}, PerKilogram: 0.3}
					noise := 0.2 * math.Sin(float64(lap*7+turn*13+bin*29)+100*extra+wind)
					p.Torque = 100 + extra + noise + wind*p.Wind[1]
					out = append(out, p)
				}
			}
		}
		return out
	}
	two := CompareTorque(run(4, 0, 0), run(4, 8, 1.5), 8000, 11500, 43)
	if two.Crank.Lo > 8 || two.Crank.Hi < 8 || two.Crank.Hi-two.Crank.Lo > 1 || !two.Wind[1].OK || math.Abs(two.Wind[1].Value-1.5) > 0.3 {
		t.Errorf("straights both ways: %+v, wind %+v", two.Crank, two.Wind[1])
	}
	one := CompareTorque(run(1, 0, 0), run(1, 8, 1.5), 8000, 11500, 43)
	if one.Crank.Lo > 8 || one.Crank.Hi < 8 || one.Crank.Hi-one.Crank.Lo < 4 || one.Wind[1].OK || one.Wind[1].Why == "" {
		t.Errorf("one straight: %+v, wind %+v", one.Crank, one.Wind[1])
	}
	// Swapped, the answer changes its sign.
	back := CompareTorque(run(4, 8, 1.5), run(4, 0, 0), 8000, 11500, 43)
	if math.Abs(back.Crank.Value+two.Crank.Value) > 0.02 {
		t.Errorf("swapped %.3f against %.3f", back.Crank.Value, two.Crank.Value)
	}
	if d := CompareTorque(run(4, 0, 0)[:10], run(4, 8, 0), 8000, 11500, 43); d.Crank.OK || d.Crank.Why == "" {
		t.Error("one lap was compared")
	}
}
