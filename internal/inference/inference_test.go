package inference

import (
	"math"
	"testing"
)

// near fails unless got is within tol of want, absolutely for |want| < 1 and
// relatively above.
func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if math.IsNaN(got) || math.Abs(got-want) > tol*math.Max(1, math.Abs(want)) {
		t.Errorf("%s: got %.15g, want %.15g (tol %g)", what, got, want, tol)
	}
}

// Quantiles as R 4.2.2 and gonum print them (qt, qnorm, qchisq, qf).
func TestQuantiles(t *testing.T) {
	for _, c := range []struct{ df, want float64 }{
		{1, 12.706205}, {2, 4.302653}, {3, 3.182446}, {4, 2.776445}, {5, 2.570582}, {6, 2.446912}, {8, 2.306004},
		{10, 2.228139}, {15, 2.131450}, {20, 2.085963}, {30, 2.042272}, {60, 2.000298}, {120, 1.979930}, {326, 1.967268},
	} {
		near(t, "t(0.975)", TQuantile(0.975, c.df), c.want, 1e-6)
		near(t, "t round trip", TCDF(TQuantile(0.975, c.df), c.df), 0.975, 1e-12)
		near(t, "t symmetry", TQuantile(0.025, c.df), -TQuantile(0.975, c.df), 1e-12)
	}
	near(t, "t(0.95) 5", TQuantile(0.95, 5), 2.015048, 1e-6)
	near(t, "t(0.95) 10", TQuantile(0.95, 10), 1.812461, 1e-6)
	for p, want := range map[float64]float64{0.9: 1.281552, 0.95: 1.644854, 0.975: 1.959964, 0.995: 2.575829} {
		near(t, "normal", NormalQuantile(p), want, 1e-6)
		near(t, "t with infinite df", TQuantile(p, math.Inf(1)), want, 1e-6)
	}
	near(t, "chi2 4", ChiSquareQuantile(0.95, 4), 9.487729, 1e-6)
	near(t, "chi2 10", ChiSquareQuantile(0.95, 10), 18.307038, 1e-6)
	near(t, "chi2 survival", ChiSquareSurvival(18.307038, 10), 0.05, 1e-6)
}

// Benjamini and Hochberg 1995, the fifteen p values of their worked example;
// adjusted values as R's p.adjust gives them.
func TestManyLooks(t *testing.T) {
	p := []float64{.0001, .0004, .0019, .0095, .0201, .0278, .0298, .0344, .0459, .3240, .4262, .5719, .6528, .7590, 1}
	wantBH := []float64{0.0015, 0.003, 0.0095, 0.035625, 0.0603, 0.063857143, 0.063857143, 0.0645, 0.0765, 0.486, 0.581181818, 0.714875, 0.753230769, 0.813214286, 1}
	wantHolm := []float64{0.0015, 0.0056, 0.0247, 0.114, 0.2211, 0.278, 0.278, 0.278, 0.3213, 1, 1, 1, 1, 1, 1}
	bh, holm := BenjaminiHochberg(p), Holm(p)
	for i := range p {
		near(t, "BH", bh[i], wantBH[i], 1e-9)
		near(t, "Holm", holm[i], wantHolm[i], 1e-9)
	}
	for _, c := range []struct {
		name string
		adj  []float64
		want int
	}{{"BH", bh, 4}, {"Holm", holm, 3}, {"none", p, 9}} {
		n := 0
		for _, v := range c.adj {
			if v <= 0.05 {
				n++
			}
		}
		if n != c.want {
			t.Errorf("%s rejects %d, want %d", c.name, n, c.want)
		}
	}
	// Order and gaps: a shuffled list gives the shuffled answer, NaN is no look.
	q := []float64{.0344, math.NaN(), .0001, .4262}
	if a := Holm(q); !math.IsNaN(a[1]) || math.Abs(a[2]-.0003) > 1e-15 || math.Abs(a[0]-.0688) > 1e-15 {
		t.Errorf("Holm with a gap: %v", a)
	}
}

// Power of the two-sample and paired t test as R's power.t.test gives it.
func TestPower(t *testing.T) {
	deltas := []float64{0.5, 0.8, 1.0, 1.2, 1.5, 2.0}
	n80 := []float64{63.7658, 25.5246, 16.7148, 11.9423, 8.0603, 5.0900}
	n90 := []float64{85.0313, 33.8256, 22.0211, 15.6197, 10.4015, 6.3868}
	for i, d := range deltas {
		if n := twoSampleN(d, 1, 0.8, 0.05); math.Abs(n-n80[i]) > 1e-3 {
			t.Errorf("n for %v at 80 %%: %v, want %v", d, n, n80[i])
		}
		if n := twoSampleN(d, 1, 0.9, 0.05); math.Abs(n-n90[i]) > 1e-3 {
			t.Errorf("n for %v at 90 %%: %v, want %v", d, n, n90[i])
		}
	}
	near(t, "n 20", twoSamplePower(20, 1, 1, 0.05, false), 0.8689528017, 1e-6)
	near(t, "n 20 both tails", twoSamplePower(20, 1, 1, 0.05, true), 0.8689530277, 1e-8)
	near(t, "n 5", twoSamplePower(5, 0.3, 0.2, 0.05, false), 0.5493641757, 1e-6)
	// R's root finder stops at 1.2e-4; its printed delta is good to 1e-5.
	near(t, "delta n 6", twoSampleDetectable(6, 0.25, 0.8, 0.05), 0.448887, 1e-5)
	if n := pairedN(0.2, 0.25, 0.8, 0.05); math.Abs(n-14.302803) > 1e-3 {
		t.Errorf("paired n %v, want 14.302803", n)
	}
}

// twoSamplePower returns the power of the pooled two-sample t test with n per
// group for a difference of delta and a standard deviation of sd.
func twoSamplePower(n, delta, sd, alpha float64, bothTails bool) float64 {
	return TPower(delta/(sd*math.Sqrt(2/n)), 2*n-2, alpha, bothTails)
}

// twoSampleN returns n per group, not rounded, for the given power.
func twoSampleN(delta, sd, power, alpha float64) float64 {
	return bisect(1.0001, 1e7, func(n float64) bool { return twoSamplePower(n, delta, sd, alpha, false) < power })
}

// twoSampleDetectable returns the difference found with the given power by n
// per group.
func twoSampleDetectable(n, sd, power, alpha float64) float64 {
	return TDetectable(power, 2*n-2, alpha) * sd * math.Sqrt(2/n)
}

// pairedN returns the number of pairs, not rounded, for the given power; sd is
// that of the differences.
func pairedN(delta, sd, power, alpha float64) float64 {
	return bisect(1.0001, 1e7, func(n float64) bool {
		return TPower(delta/(sd/math.Sqrt(n)), n-1, alpha, false) < power
	})
}
