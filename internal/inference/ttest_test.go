package inference

import (
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
)

// R's sleep data: extra hours of sleep under two drugs.
var sleepA = []float64{0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0, 2}
var sleepB = []float64{1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4}

func TestWelchAndPaired(t *testing.T) {
	// R t.test(sleep); also go-moremath.
	w := Welch(sleepA, sleepB, 0.95)
	near(t, "sleep t", w.T, -1.860813467487, 1e-9)
	near(t, "sleep df", w.DF, 17.776473516178, 1e-9)
	near(t, "sleep p", w.P, 0.079394140187, 1e-9)
	near(t, "sleep lo", w.Lo, -3.365483230712, 1e-9)
	near(t, "sleep hi", w.Hi, 0.205483230712, 1e-9)
	p := Paired(sleepA, sleepB, 0.95)
	near(t, "paired t", p.T, -4.062127683382, 1e-9)
	near(t, "paired df", p.DF, 9, 0)
	near(t, "paired p", p.P, 0.002832890197, 1e-9)

	// A database manual's example; R agrees.
	w = Welch([]float64{20.3, 22.1, 21.9}, []float64{18.9, 20.3, 19}, 0.95)
	near(t, "three t", w.T, 2.798871953221, 1e-9)
	near(t, "three df", w.DF, 3.799904002425, 1e-9)
	near(t, "three p", w.P, 0.051807360349, 1e-9)
	near(t, "three lo", w.Lo, -0.026294346672, 1e-9)
	near(t, "three hi", w.Hi, 4.092961013339, 1e-9)

	w = Welch([]float64{1, 2, 3, 4, 5}, []float64{2, 4, 6, 8, 10}, 0.95) // R
	near(t, "five t", w.T, -1.897366596101, 1e-9)
	near(t, "five df", w.DF, 100.0/17, 1e-9)
	near(t, "five p", w.P, 0.107531194931, 1e-9)
}

// NIST/SEMATECH e-Handbook, mileage of US and Japanese cars (AUTO83B.DAT), from
// the printed means and standard deviations: samples with exactly those moments
// are made here, so the printed rounding (5 decimals) bounds the agreement.
func TestWelchFromHandbook(t *testing.T) {
	make2 := func(n int, mean, sd float64) []float64 {
		// n-1 equal pairs about the mean, scaled to the sd.
		x := make([]float64, n)
		for i := range x {
			x[i] = float64(i) - float64(n-1)/2
		}
		k := sd / SD(x)
		for i := range x {
			x[i] = mean + k*x[i]
		}
		return x
	}
	us, jp := make2(249, 20.14458, 6.41470), make2(79, 30.48101, 6.10771)
	w := Welch(us, jp, 0.95)
	near(t, "Welch t", w.T, -12.946273274932, 1e-6)
	near(t, "Welch df", w.DF, 136.874976672583, 1e-6)
	near(t, "Welch lo", w.Lo, -11.9152480946, 1e-6)
	near(t, "Welch hi", w.Hi, -8.7576205953, 1e-6)
	relative(t, "Welch p", w.P, 1.5709e-25, 1e-3)
	p := Pooled(us, jp, 0.95)
	near(t, "pooled t", p.T, -12.6205912887, 1e-6)
	near(t, "pooled df", p.DF, 326, 0)
	relative(t, "pooled p", p.P, 5.2729e-30, 1e-3)
}

// NIST StRD univariate: NumAcc1 and NumAcc4 as their files state them.
func TestNISTUnivariate(t *testing.T) {
	x := []float64{10000001, 10000003, 10000002}
	relative(t, "NumAcc1 mean", Mean(x), 10000002, 1e-12)
	relative(t, "NumAcc1 sd", SD(x), 1, 1e-12)
	relative(t, "NumAcc1 lag", Lag1(x), -0.5, 1e-12)
	x = []float64{10000000.2}
	for range 500 {
		x = append(x, 10000000.1, 10000000.3)
	}
	relative(t, "NumAcc4 mean", Mean(x), 10000000.2, 1e-12)
	relative(t, "NumAcc4 sd", SD(x), 0.1, 1e-7)
	near(t, "NumAcc4 lag", Lag1(x), -0.999, 1e-7)
}

func TestTOSTAgreesWithInterval(t *testing.T) {
	for _, v := range []float64{-0.3, -0.1, 0, 0.05, 0.2, 0.4} {
		for _, se := range []float64{0.02, 0.1, 0.3} {
			e := TOST(v, se, 9, 0.25, 0.05)
			if e.Within != (e.P < 0.05) {
				t.Errorf("value %v se %v: within %v but p %v", v, se, e.Within, e.P)
			}
		}
	}
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

func TestHuberLocation(t *testing.T) {
	x := []float64{10, 10.1, 9.9, 10.05, 9.95, 10.02, 30}
	h := HuberLocation(x)
	if h.Value > 10.2 || h.Value < 9.9 {
		t.Errorf("Huber location %v follows the outlier", h.Value)
	}
	y := make([]float64, len(x))
	for i := range x {
		y[i] = 3*x[i] - 7
	}
	near(t, "affine", HuberLocation(y).Value, 3*h.Value-7, 1e-12)
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
		relative(t, c.file+" lag", Lag1(x), c.lag, 1e-12)
	}
}

// relative fails unless got is within tol of want, relative to want.
func relative(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if math.IsNaN(got) || math.Abs(got-want) > tol*math.Abs(want) {
		t.Errorf("%s: got %.15g, want %.15g (relative tol %g)", what, got, want, tol)
	}
}
