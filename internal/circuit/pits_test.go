package circuit_test

import (
	"math"
	"testing"

	"cornerwright/internal/circuit"
	"cornerwright/internal/demo"
	"cornerwright/internal/proving"
)

// Wherever the gate lies about the pit lane (which is entered 190 m before the true
// one, the brakes 30 m earlier), the lap that ends in the pits is not
// a timed one, and neither is the one that begins there.
func TestPitLaneBesideTheGate(t *testing.T) {
	r := run(1, 21, func(o *demo.Options) { o.SlowLaps = 0 })
	rec := proving.Recording(r)
	c := locate(t, r, nil).Circuit
	x, y, _ := r.Circuit.Point(0)
	f := circuit.Frame{Lat: r.Circuit.Latitude * math.Pi / 180, Lon: r.Circuit.Longitude * math.Pi / 180}
	lat, lon := f.LatLon(x, y)
	gx, gy, _ := c.Frame.ENU(lat, lon, 0)
	// The true gate's place on the learnt line.
	at, best := 0.0, math.Inf(1)
	for s := 0.0; s < c.Line.Length; s++ {
		px, py, _, _ := c.Line.At(s)
		if d := math.Hypot(px-gx, py-gy); d < best {
			at, best = s, d
		}
	}
	for _, off := range []float64{-220, -190, -150, -80, 0, 60, 120, 180, 240} {
		g, _, err := c.MoveGate(&circuit.Edits{}, math.Mod(at+off+c.Line.Length, c.Line.Length))
		if err != nil {
			t.Fatal(err)
		}
		l, err := circuit.Locate(rec, g, circuit.Options{})
		if err != nil {
			t.Fatal(err)
		}
		timed := 0
		for _, lap := range l.Laps {
			if lap.Kind == circuit.TimedLap {
				timed++
				// Nobody was held up by as much as the pit lane takes.
				if d := lap.Time() - r.Truth.Laps[1].Time; math.Abs(d) > 2.5 {
					t.Errorf("gate at %+.0f m: a timed lap of %.1f s", off, lap.Time())
				}
			}
		}
		// Where the lane is driven before the gate one lap more or less is whole.
		if timed < 3 || timed > 5 {
			t.Errorf("gate at %+.0f m: %d timed laps", off, timed)
		}
	}
}
