package ride

import (
	"testing"

	"cornerwright/internal/bike"
	"cornerwright/internal/circuit"
	"cornerwright/internal/demo"
	"cornerwright/internal/proving"
)

// TestAntennaOfTheBike reads the height of the antenna from the bike file and hands
// it to who locates the run, and to the fit of the front tyre.
func TestAntennaOfTheBike(t *testing.T) {
	o := demo.DefaultOptions(0, 77)
	o.Laps, o.Nasty.AntennaHeight = 3, 0.9
	run := demo.Ride(o)
	b, err := bike.Parse("demo.toml", append(run.Bike.TOML(), "\n[gps]\nantenna_height_m = 0.9\n"...))
	if err != nil {
		t.Fatal(err)
	}
	rec := proving.Recording(run)
	r, err := Analyse(rec, b, nil, Options{})
	if err != nil {
		t.Fatal(err)
	}
	for _, h := range []float64{0.9, 0} {
		l, err := circuit.Locate(rec, nil, circuit.Options{AntennaHeight: h})
		if err != nil {
			t.Fatal(err)
		}
		if same := l.Circuit.Line.Length == r.Circuit.Line.Length; same != (h > 0) {
			t.Errorf("antenna at %g m: line of %.3f m, by the bike file %.3f m", h, l.Circuit.Line.Length, r.Circuit.Line.Length)
		}
	}
	crown, truth := r.Tyres.Front.Crown, run.Truth.Front.Crown
	if !r.Tyres.Front.Identified || crown < truth-0.003 || crown > truth+0.003 {
		t.Errorf("front crown %.4f m, truth %.4f m, identified %v", crown, truth, r.Tyres.Front.Identified)
	}
}
