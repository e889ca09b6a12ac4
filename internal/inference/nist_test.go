package inference

import (
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
)

// NIST StRD univariate: NumAcc1 and NumAcc4 as their files state them.
func TestNISTUnivariate(t *testing.T) {
	x := []float64{10000001, 10000003, 10000002}
	relative(t, "NumAcc1 mean", Mean(x), 10000002, 1e-12)
	relative(t, "NumAcc1 sd", SD(x), 1, 1e-12)
	relative(t, "NumAcc1 lag", lag1(x), -0.5, 1e-12)
	x = []float64{10000000.2}
	for range 500 {
		x = append(x, 10000000.1, 10000000.3)
	}
	relative(t, "NumAcc4 mean", Mean(x), 10000000.2, 1e-12)
	relative(t, "NumAcc4 sd", SD(x), 0.1, 1e-7)
	near(t, "NumAcc4 lag", lag1(x), -0.999, 1e-7)
}

// Wilson's interval of 81 in 263 and of 0 in 20: Newcombe, Statistics in
// Medicine 17 (1998), table I (from memory): 0.2553 to 0.3662, 0 to 0.1611.
func TestWilson(t *testing.T) {
	e := Wilson(81, 263, 0.95)
	near(t, "lo", e.Lo, 0.2553, 1e-4)
	near(t, "hi", e.Hi, 0.3662, 1e-4)
	e = Wilson(0, 20, 0.95)
	near(t, "lo", e.Lo, 0, 0)
	near(t, "hi", e.Hi, 0.1611, 1e-4)
	if e := Wilson(0, 0, 0.95); e.Known() && !math.IsNaN(e.Value) || len(e.Warnings) == 0 {
		t.Error("nothing counted should have no value and a warning")
	}
}

// NIST StRD univariate: Lew (200 values) and Mavro (50 values), certified.
func TestNISTLewMavro(t *testing.T) {
	for _, c := range []struct {
		file          string
		n             int
		mean, sd, lag float64
	}{
		{"testdata/lew.txt", 200, -177.435, 277.332168044316, -0.307304800605679},
		{"testdata/mavro.txt", 50, 2.001856, 0.000429123454003053, 0.937989183438248},
	} {
		raw, err := os.ReadFile(c.file)
		if err != nil {
			t.Fatal(err)
		}
		_, body, _ := strings.Cut(string(raw), "\n")
		var x []float64
		for _, f := range strings.Fields(body) {
			v, err := strconv.ParseFloat(f, 64)
			if err != nil {
				t.Fatal(err)
			}
			x = append(x, v)
		}
		if len(x) != c.n {
			t.Fatalf("%s: %d values, want %d", c.file, len(x), c.n)
		}
		relative(t, c.file+" mean", Mean(x), c.mean, 1e-12)
		relative(t, c.file+" sd", SD(x), c.sd, 1e-12)
		relative(t, c.file+" lag", lag1(x), c.lag, 1e-12)
	}
}

// relative fails unless got is within tol of want, relative to want.
func relative(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if math.IsNaN(got) || math.Abs(got-want) > tol*math.Abs(want) {
		t.Errorf("%s: got %.15g, want %.15g (relative tol %g)", what, got, want, tol)
	}
}

// lag1 returns the lag-1 autocorrelation coefficient about the mean.
func lag1(x []float64) float64 {
	m := Mean(x)
	num, den := 0.0, 0.0
	for i, v := range x {
		den += (v - m) * (v - m)
		if i > 0 {
			num += (v - m) * (x[i-1] - m)
		}
	}
	return num / den
}
