package second

import (
	"math"

	"cornerwright/internal/inference"
)

// Test is the outcome of a comparison of means: the difference with its
// interval, the statistic and its two-sided p value.
type Test struct {
	inference.Estimate
	T float64
	P float64
}

func tTest(diff, se, df, level float64, n int) Test {
	r := Test{Estimate: inference.FromT(diff, se, df, level, n), T: diff / se, P: math.NaN()}
	if df > 0 {
		r.P = inference.TTwoSided(r.T, df)
	}
	return r
}

// Welch compares the means of two independent samples, mean(a) - mean(b),
// without the assumption of equal scatter. Each side needs two values. Source:
// Welch, Biometrika 34 (1947).
func Welch(a, b []float64, level float64) Test {
	na, nb := float64(len(a)), float64(len(b))
	va, vb := inference.Variance(a)/na, inference.Variance(b)/nb
	df := (va + vb) * (va + vb) / (va*va/(na-1) + vb*vb/(nb-1))
	return tTest(inference.Mean(a)-inference.Mean(b), math.Sqrt(va+vb), df, level, len(a)+len(b))
}

// Pooled compares the means of two independent samples of equal scatter,
// mean(a) - mean(b).
func Pooled(a, b []float64, level float64) Test {
	na, nb := float64(len(a)), float64(len(b))
	df := na + nb - 2
	v := ((na-1)*inference.Variance(a) + (nb-1)*inference.Variance(b)) / df
	return tTest(inference.Mean(a)-inference.Mean(b), math.Sqrt(v*(1/na+1/nb)), df, level, len(a)+len(b))
}

// Paired compares a with b pair by pair, mean(a - b). It panics when the
// lengths differ.
func Paired(a, b []float64, level float64) Test {
	if len(a) != len(b) {
		panic("second: Paired needs pairs")
	}
	d := make([]float64, len(a))
	for i := range a {
		d[i] = a[i] - b[i]
	}
	n := float64(len(d))
	return tTest(inference.Mean(d), inference.SD(d)/math.Sqrt(n), n-1, level, len(d))
}

// Equivalence is the outcome of two one-sided tests.
type Equivalence struct {
	P      float64 // the larger of the two one-sided p values
	Lo, Hi float64 // the 1-2 alpha interval
	Within bool    // the interval lies inside the margins: the difference does not matter
}

// TOST tests whether a difference with its standard error lies within +-margin,
// each side at alpha. Source: Schuirmann, Journal of Pharmacokinetics and
// Biopharmaceutics 15 (1987).
func TOST(value, se, df, margin, alpha float64) Equivalence {
	if !(margin > 0) {
		panic("second: TOST needs a margin above 0")
	}
	p := math.Max(inference.TCDF((value-margin)/se, df), inference.TCDF(-(value+margin)/se, df))
	h := inference.TQuantile(1-alpha, df) * se
	return Equivalence{P: p, Lo: value - h, Hi: value + h, Within: value-h > -margin && value+h < margin}
}
