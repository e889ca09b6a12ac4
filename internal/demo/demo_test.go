package demo

import (
	"bytes"
	"math"
	"testing"
)

func TestCircuitsClose(t *testing.T) {
	for _, c := range Circuits() {
		x0, y0, h0 := c.pieces[0].at(0)
		l := c.pieces[len(c.pieces)-1]
		x1, y1, h1 := l.at(l.length)
		if math.Hypot(x1-x0, y1-y0) > 1e-6 || math.Abs(math.Remainder(h1-h0, 2*math.Pi)) > 1e-9 {
			t.Errorf("%s does not close: %g %g %g", c.Name, x1-x0, y1-y0, h1-h0)
		}
		if c.Length < 2000 || c.Length > 6000 || len(c.Turns) < 8 {
			t.Errorf("%s: %g m, %d turns", c.Name, c.Length, len(c.Turns))
		}
	}
}

// Fresnel integrals, Abramowitz and Stegun 7.3: a clothoid of 100 m from a
// straight to a radius of 50 m ends at x 90.452423790, y 31.026830172.
func TestClothoid(t *testing.T) {
	x, y, th := along(0, 1.0/50/100, 100)
	if math.Abs(x-90.452423790) > 1e-8 || math.Abs(-y-31.026830172) > 1e-8 || math.Abs(th+1) > 1e-12 {
		t.Errorf("clothoid ends at %.9f %.9f, angle %.9f", x, -y, -th)
	}
}

// Tyre width after Cossalter (from memory): 45 deg ideal, h 0.60, t 0.100 gives
// exactly asin(sqrt(2)/10) more, 53.130102 deg.
func TestLean(t *testing.T) {
	if got := leanOf(gravity, 0.60, 0.100) * radDeg; math.Abs(got-53.130102) > 1e-6 {
		t.Errorf("lean %.6f", got)
	}
}

// Statics: 260 kg, wheelbase 1.40 m, centre 0.62 m high and 0.68 m ahead of the
// rear contact, braked at 8 m/s2: 2159.5827 N front, 390.1463 N rear.
func TestLoads(t *testing.T) {
	b := Bike{Mass: 260, Wheelbase: 1.40, CentreHeight: 0.62, CentreToRear: 0.68}
	f, r := b.Loads(-8)
	if math.Abs(f-2159.5827) > 1e-3 || math.Abs(r-390.1463) > 1e-3 {
		t.Errorf("loads %.4f %.4f", f, r)
	}
}

func TestSameSeedSameBytes(t *testing.T) {
	o := DefaultOptions(1, 7)
	o.Laps = 2
	var a, b bytes.Buffer
	if err := Ride(o).WriteText(&a, Plain); err != nil {
		t.Fatal(err)
	}
	if err := Ride(o).WriteText(&b, Plain); err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(a.Bytes(), b.Bytes()) || a.Len() < 1e6 {
		t.Errorf("the same seed gave other bytes, or hardly any: %d", a.Len())
	}
}

func TestRidesArePlausible(t *testing.T) {
	for ci := range Circuits() {
		for seed := uint64(1); seed <= 3; seed++ {
			r := Ride(DefaultOptions(ci, seed))
			tr := &r.Truth
			top, low, high := 0.0, 0.0, 0.0
			way := 0.0
			for i := range tr.Time {
				top = math.Max(top, tr.Speed[i]*3.6)
				low, high = math.Min(low, tr.Accel[i]), math.Max(high, tr.Accel[i])
				if i > 0 && tr.S[i] > tr.S[i-1] && tr.S[i]-tr.S[i-1] < 5 {
					way += tr.Speed[i] * rowTime
				}
			}
			if top < 220 || top > 300 || low < -12.2 || high > 12 {
				t.Errorf("%s seed %d: %.0f km/h, %.1f to %.1f m/s2", r.Circuit.Name, seed, top, low, high)
			}
			if l := tr.S[len(tr.S)-1] - tr.S[0]; math.Abs(way/l-1) > 0.02 {
				t.Errorf("%s: speed integrates to %.0f m over %.0f m of line", r.Circuit.Name, way, l)
			}
			timed := 0
			for _, l := range tr.Laps {
				if l.Kind == TimedLap {
					timed++
				}
			}
			if timed != 8 {
				t.Errorf("%s seed %d: %d timed laps", r.Circuit.Name, seed, timed)
			}
			kinds := map[string]int{}
			for _, e := range tr.Episodes {
				kinds[e.Kind]++
				if e.End < e.Start || e.Turn < 1 {
					t.Errorf("%s: episode %+v", r.Circuit.Name, e)
				}
			}
			if kinds["blip"] < 40 || kinds["upshift"] < 40 {
				t.Errorf("%s: %v", r.Circuit.Name, kinds)
			}
		}
	}
}

func TestDayHasOneEffect(t *testing.T) {
	d := Day(1)
	for i, r := range d.Runs {
		for _, e := range r.Run.Truth.Effects {
			switch {
			case i == 2 && e.Turn == heldTurn:
				if e.Seconds > -0.05 || e.Seconds < -0.2 {
					t.Errorf("the held turn gains %.3f s", e.Seconds)
				}
			case math.Abs(e.Seconds) > 0.03:
				t.Errorf("run %d turn %d has an effect of %.3f s", i+1, e.Turn, e.Seconds)
			}
		}
	}
}
