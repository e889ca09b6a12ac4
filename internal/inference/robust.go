package inference

import (
	"math"
	"slices"
)

// MADScale makes the median absolute deviation consistent for the standard
// deviation of normal data: 1/Phi^-1(3/4).
const MADScale = 1.4826022185056018

// Mean returns the arithmetic mean, corrected by a second pass; NaN if empty.
func Mean(x []float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	n := float64(len(x))
	s := 0.0
	for _, v := range x {
		s += v
	}
	m, c := s/n, 0.0
	for _, v := range x {
		c += v - m
	}
	return m + c/n
}

// SD returns the standard deviation with divisor n-1 by the corrected two-pass
// formula; NaN for fewer than two values.
func SD(x []float64) float64 { return math.Sqrt(Variance(x)) }

// Variance returns the variance with divisor n-1.
func Variance(x []float64) float64 {
	if len(x) < 2 {
		return math.NaN()
	}
	m := Mean(x)
	s, c := 0.0, 0.0
	for _, v := range x {
		d := v - m
		s += d * d
		c += d
	}
	n := float64(len(x))
	return math.Max(0, (s-c*c/n)/(n-1))
}

// Median returns the middle of x (mean of the middle two for even counts).
func Median(x []float64) float64 { return Quantile(x, 0.5) }

// MAD returns the raw median absolute deviation from the median; times MADScale
// it estimates the standard deviation of normal data.
func MAD(x []float64) float64 {
	m := Median(x)
	d := make([]float64, len(x))
	for i, v := range x {
		d[i] = math.Abs(v - m)
	}
	return Median(d)
}

// Quantile returns the p quantile, 0 <= p <= 1, by linear interpolation of the
// order statistics at 1 + (n-1)p ("type 7" of Hyndman and Fan, The American
// Statistician 50, 1996).
func Quantile(x []float64, p float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	s := slices.Clone(x)
	slices.Sort(s)
	return quantileSorted(s, p)
}

func quantileSorted(s []float64, p float64) float64 {
	h := p * float64(len(s)-1)
	i := int(math.Floor(h))
	if i >= len(s)-1 {
		return s[len(s)-1]
	}
	if i < 0 {
		return s[0]
	}
	return s[i] + (h-float64(i))*(s[i+1]-s[i])
}
