package proving

import (
	"math"
	"testing"

	"cornerwright/internal/demo"
	"cornerwright/internal/recording"
)

// A run handed over is in SI and says what the truth says, within what the
// sensors blur.
func TestRecordingIsSI(t *testing.T) {
	o := demo.DefaultOptions(1, 4)
	o.Laps, o.LeanOffset, o.LeanDelay = 1, 0, 0
	run := demo.Ride(o)
	tr := &run.Truth
	rec := Recording(run)
	check := func(name string, truth []float64, within float64) {
		c := rec.Channel(name)
		if c == nil {
			t.Errorf("no %s", name)
			return
		}
		var d []float64
		for i, v := range c.Value {
			d = append(d, v-truth[i])
		}
		if r := RMS(d); r > within || math.IsNaN(r) {
			t.Errorf("%s differs by %g", name, r)
		}
	}
	rpm := make([]float64, len(tr.RPM))
	front := make([]float64, len(tr.RPM))
	for i := range rpm {
		rpm[i] = tr.RPM[i] * 2 * math.Pi / 60
		front[i] = tr.FrontOmega[i] * tr.Front.Logged / (2 * math.Pi)
	}
	check(recording.RPM, rpm, 1)
	check(recording.FrontSpeed, front, 0.05)
	check(recording.Lean, tr.Lean, 0.01)
	check(recording.Grip, tr.Grip, 0.002)
	check(recording.FrontBrake, tr.FrontBrake, 3000)
	check(recording.RollRate, tr.RollRate, 0.03)
}

func TestMatch(t *testing.T) {
	truth := []Span{{0, 1}, {2, 3}, {5, 6}}
	found := []Span{{0.5, 1.2}, {2.9, 3.5}, {8, 9}}
	hit, extra, pairs := Match(truth, found)
	if hit != 2 || extra != 1 || len(pairs) != 2 || pairs[1] != [2]int{1, 1} {
		t.Errorf("hit %d extra %d pairs %v", hit, extra, pairs)
	}
	if f := F1(hit, len(truth), len(found), extra); math.Abs(f-2.0/3) > 1e-12 {
		t.Errorf("F1 %g", f)
	}
	if F1(0, 0, 0, 0) != 1 || F1(0, 0, 2, 2) != 0 {
		t.Error("F1 of nothing")
	}
}

// Cumulative binomial tables (from memory: 20 trials at 0.95, P(X <= 15) = 0.0026,
// P(X <= 16) = 0.0159).
func TestFewest(t *testing.T) {
	for _, c := range []struct {
		n    int
		p    float64
		want int
	}{{20, 0.95, 16}, {1, 0.95, 0}, {4, 0.95, 2}, {100, 0.5, 38}} {
		if got := Fewest(c.n, c.p, 0.01); got != c.want {
			t.Errorf("%d trials of %g: %d, want %d", c.n, c.p, got, c.want)
		}
	}
}
