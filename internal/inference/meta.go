package inference

import (
	"fmt"
	"math"
)

// Combined is the outcome of a random-effects combination.
type Combined struct {
	Estimate
	Tau                  float64 // standard deviation of the true effect between studies
	Q, QP                float64 // Cochran's Q and its p value, len-1 degrees of freedom
	I2                   float64 // share of Q beyond chance, 0 to 1
	PredictLo, PredictHi float64 // interval for the true effect of a next study; NaN below 3 studies
}

// RandomEffects combines effects with their standard errors. The variance
// between studies is DerSimonian and Laird's (Controlled Clinical Trials 7,
// 1986); the interval is Hartung and Knapp's t on len-1 degrees of freedom
// (Statistics in Medicine 20, 2001), never narrower than the plain weighted
// interval with the same t, as few studies can agree by chance. df holds the
// degrees of freedom of each standard error (nil, 0 or +Inf: taken as known);
// a standard error from df laps is first widened by its t against the normal,
// so that a small meeting does not weigh more than it should.
func RandomEffects(value, se, df []float64, level float64) Combined {
	if len(value) != len(se) || df != nil && len(df) != len(se) {
		panic("inference: RandomEffects needs slices of one length")
	}
	nan := math.NaN()
	c := Combined{Estimate: Estimate{Value: nan, Lo: nan, Hi: nan, SE: nan, Level: level, N: len(value)},
		Tau: nan, Q: nan, QP: nan, I2: nan, PredictLo: nan, PredictHi: nan}
	k := len(value)
	if k == 0 {
		c.Warnings = []string{"nothing to combine"}
		return c
	}
	v := make([]float64, k)
	for i := range v {
		if !(se[i] > 0) {
			c.Warnings = []string{fmt.Sprintf("effect %d has no standard error", i+1)}
			return c
		}
		v[i] = se[i] * se[i]
		if df != nil && df[i] > 0 && !math.IsInf(df[i], 1) {
			r := TQuantile(0.975, df[i]) / NormalQuantile(0.975)
			if k > 1 {
				v[i] *= r * r
			}
		}
	}
	if k == 1 {
		d := math.Inf(1)
		if df != nil && df[0] > 0 {
			d = df[0]
		}
		c.Estimate = FromT(value[0], se[0], d, level, 1)
		c.Warnings = append(c.Warnings, "one meeting: nothing is known of how meetings differ")
		return c
	}
	sw, sw2, swx := 0.0, 0.0, 0.0
	for i := range v {
		w := 1 / v[i]
		sw += w
		sw2 += w * w
		swx += w * value[i]
	}
	fixed := swx / sw
	q := 0.0
	for i := range v {
		q += (value[i] - fixed) * (value[i] - fixed) / v[i]
	}
	d := float64(k - 1)
	tau2 := math.Max(0, (q-d)/(sw-sw2/sw))
	c.Q, c.Tau = q, math.Sqrt(tau2)
	c.QP = ChiSquareSurvival(q, d)
	if q > 0 {
		c.I2 = math.Max(0, (q-d)/q)
	} else {
		c.I2 = 0
	}
	sw, swx = 0, 0
	for i := range v {
		w := 1 / (v[i] + tau2)
		sw += w
		swx += w * value[i]
	}
	mu := swx / sw
	hk := 0.0
	for i := range v {
		hk += (value[i] - mu) * (value[i] - mu) / (v[i] + tau2)
	}
	s := math.Sqrt(math.Max(1, hk/d) / sw)
	c.Estimate = FromT(mu, s, d, level, k)
	if k == 2 {
		c.Warnings = append(c.Warnings, "two meetings only: at least 3 are needed for a useful interval")
	} else {
		h := TQuantile((1+level)/2, d-1) * math.Sqrt(tau2+s*s)
		c.PredictLo, c.PredictHi = mu-h, mu+h
	}
	return c
}
