package second

import (
	"testing"

	"cornerwright/internal/inference"
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
		k := sd / inference.SD(x)
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
