package inference

import "math"

// TPower returns the chance that a two-sided t test at alpha with df degrees of
// freedom finds an effect of delta standard errors, in the right direction.
// bothTails adds the (tiny) chance of a finding in the wrong direction.
func TPower(delta, df, alpha float64, bothTails bool) float64 {
	c := TQuantile(1-alpha/2, df)
	p := 1 - NoncentralTCDF(c, df, math.Abs(delta))
	if bothTails {
		p += NoncentralTCDF(-c, df, math.Abs(delta))
	}
	return p
}

// TDetectable returns the effect, in standard errors, that a two-sided t test
// at alpha with df degrees of freedom finds with the given power.
func TDetectable(power, df, alpha float64) float64 {
	if !(df > 0) {
		return math.Inf(1)
	}
	lo, hi := 0.0, 8.0
	for TPower(hi, df, alpha, false) < power && hi < 1e6 {
		hi *= 2
	}
	return bisect(lo, hi, func(d float64) bool { return TPower(d, df, alpha, false) < power })
}

// SDUpper returns the one-sided upper bound, at the given confidence, of a
// standard deviation estimated with df degrees of freedom: what to plan with
// when the scatter is known from a few laps only.
func SDUpper(sd, df, confidence float64) float64 {
	if !(df > 0) {
		return math.Inf(1)
	}
	return sd * math.Sqrt(df/ChiSquareQuantile(1-confidence, df))
}

// bisect returns the point in [lo, hi] where below turns from true to false.
func bisect(lo, hi float64, below func(float64) bool) float64 {
	for range 200 {
		mid := lo + (hi-lo)/2
		if mid == lo || mid == hi {
			break
		}
		if below(mid) {
			lo = mid
		} else {
			hi = mid
		}
	}
	return lo + (hi-lo)/2
}
