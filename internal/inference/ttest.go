package inference

import "math"

// Test is the outcome of a comparison of means: the difference with its
// interval, the statistic and its two-sided p value.
type Test struct {
	Estimate
	T float64
	P float64
}

func tTest(diff, se, df, level float64, n int) Test {
	r := Test{Estimate: FromT(diff, se, df, level, n), T: diff / se, P: math.NaN()}
	if df > 0 {
		r.P = TTwoSided(r.T, df)
	}
	return r
}

// Welch compares the means of two independent samples, mean(a) - mean(b),
// without the assumption of equal scatter. Each side needs two values. Source:
// Welch, Biometrika 34 (1947).
func Welch(a, b []float64, level float64) Test {
	na, nb := float64(len(a)), float64(len(b))
	va, vb := Variance(a)/na, Variance(b)/nb
	df := (va + vb) * (va + vb) / (va*va/(na-1) + vb*vb/(nb-1))
	return tTest(Mean(a)-Mean(b), math.Sqrt(va+vb), df, level, len(a)+len(b))
}

// Pooled compares the means of two independent samples of equal scatter,
// mean(a) - mean(b).
func Pooled(a, b []float64, level float64) Test {
	na, nb := float64(len(a)), float64(len(b))
	df := na + nb - 2
	v := ((na-1)*Variance(a) + (nb-1)*Variance(b)) / df
	return tTest(Mean(a)-Mean(b), math.Sqrt(v*(1/na+1/nb)), df, level, len(a)+len(b))
}

// Paired compares a with b pair by pair, mean(a - b). It panics when the
// lengths differ.
func Paired(a, b []float64, level float64) Test {
	if len(a) != len(b) {
		panic("inference: Paired needs pairs")
	}
	d := make([]float64, len(a))
	for i := range a {
		d[i] = a[i] - b[i]
	}
	n := float64(len(d))
	return tTest(Mean(d), SD(d)/math.Sqrt(n), n-1, level, len(d))
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
		panic("inference: TOST needs a margin above 0")
	}
	p := math.Max(TCDF((value-margin)/se, df), TCDF(-(value+margin)/se, df))
	h := TQuantile(1-alpha, df) * se
	return Equivalence{P: p, Lo: value - h, Hi: value + h, Within: value-h > -margin && value+h < margin}
}

// Wilson returns the share k/n with its score interval, which stays honest near
// 0 and 1. Source: Wilson, Journal of the American Statistical Association 22
// (1927).
func Wilson(k, n int, level float64) Estimate {
	e := Estimate{Value: math.NaN(), Lo: 0, Hi: 1, Level: level, N: n, SE: math.NaN(), DF: math.Inf(1)}
	if n <= 0 {
		e.Warnings = []string{"nothing counted yet"}
		return e
	}
	p, m := float64(k)/float64(n), float64(n)
	z := NormalQuantile((1 + level) / 2)
	c := (p + z*z/(2*m)) / (1 + z*z/m)
	h := z / (1 + z*z/m) * math.Sqrt(p*(1-p)/m+z*z/(4*m*m))
	e.Value, e.SE = p, math.Sqrt(p*(1-p)/m)
	e.Lo, e.Hi = math.Max(0, c-h), math.Min(1, c+h)
	if k == 0 {
		e.Lo = 0
	}
	if k == n {
		e.Hi = 1
	}
	return e
}
