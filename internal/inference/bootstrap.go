package inference

import (
	"fmt"
	"math"
	"slices"
)

// Bootstrap is a resampled estimate: the percentile interval beside the
// bias-corrected and accelerated one, which is the Estimate's.
type Bootstrap struct {
	Estimate
	PercentileLo, PercentileHi float64
	Acceleration               float64 // from the jackknife
	Bias                       float64 // z0
}

// BCa resamples the values independently. Fewer than eight values carry no
// bootstrap interval worth having, and a warning says so. Source: Efron,
// Journal of the American Statistical Association 82 (1987).
func BCa(x []float64, statistic func([]float64) float64, level float64, resamples int) Bootstrap {
	return bca(x, 1, statistic, level, resamples)
}

// BlockBCa resamples whole blocks of neighbouring values, which keeps their
// correlation: block is their length.
func BlockBCa(x []float64, block int, statistic func([]float64) float64, level float64, resamples int) Bootstrap {
	return bca(x, block, statistic, level, resamples)
}

func bca(x []float64, block int, statistic func([]float64) float64, level float64, resamples int) Bootstrap {
	if block < 1 {
		panic("inference: blocks need a length of 1 or more")
	}
	nan := math.NaN()
	b := Bootstrap{Estimate: Estimate{Value: statistic(x), Lo: nan, Hi: nan, Level: level, N: len(x), SE: nan, DF: nan},
		PercentileLo: nan, PercentileHi: nan, Acceleration: nan, Bias: nan}
	n := len(x)
	if n < 3 || n < 2*block {
		b.Warnings = append(b.Warnings, fmt.Sprintf("%d values are too few to resample", n))
		return b
	}
	if n/block < 8 {
		b.Warnings = append(b.Warnings, fmt.Sprintf("%d independent pieces only: at least 8 are needed for an interval to trust", n/block))
	}
	r := Seed(x, []float64{float64(block), level, float64(resamples)})
	stats := make([]float64, resamples)
	buf := make([]float64, 0, n+block)
	below := 0.0
	for k := range stats {
		buf = buf[:0]
		for len(buf) < n {
			i := r.IntN(n - block + 1)
			buf = append(buf, x[i:i+block]...)
		}
		stats[k] = statistic(buf[:n])
		switch {
		case stats[k] < b.Value:
			below++
		case stats[k] == b.Value:
			below += 0.5
		}
	}
	slices.Sort(stats)
	b.SE = SD(stats)
	alpha := (1 - level) / 2
	b.PercentileLo, b.PercentileHi = quantileSorted(stats, alpha), quantileSorted(stats, 1-alpha)
	b.Acceleration = Acceleration(x, block, statistic)
	share := math.Min(math.Max(below/float64(resamples), 0.5/float64(resamples)), 1-0.5/float64(resamples))
	b.Bias = NormalQuantile(share)
	at := func(p float64) float64 {
		z := b.Bias + NormalQuantile(p)
		return NormalCDF(b.Bias + z/(1-b.Acceleration*z))
	}
	b.Lo, b.Hi = quantileSorted(stats, at(alpha)), quantileSorted(stats, at(1-alpha))
	return b
}

// Acceleration is the jackknife estimate of the acceleration constant, leaving
// out one block of neighbours at a time.
func Acceleration(x []float64, block int, statistic func([]float64) float64) float64 {
	j := jackknife(x, block, statistic)
	m := Mean(j)
	s2, s3 := 0.0, 0.0
	for _, v := range j {
		d := m - v
		s2 += d * d
		s3 += d * d * d
	}
	if s2 == 0 {
		return 0
	}
	return s3 / (6 * math.Pow(s2, 1.5))
}

// JackknifeSE is the standard error by leaving out one value at a time.
func JackknifeSE(x []float64, statistic func([]float64) float64) float64 {
	return jackknifeSE(jackknife(x, 1, statistic))
}

func jackknifeSE(j []float64) float64 {
	m, s := Mean(j), 0.0
	for _, v := range j {
		s += (v - m) * (v - m)
	}
	n := float64(len(j))
	return math.Sqrt((n - 1) / n * s)
}

func jackknife(x []float64, block int, statistic func([]float64) float64) []float64 {
	var out []float64
	buf := make([]float64, 0, len(x))
	for i := 0; i+block <= len(x); i += block {
		buf = append(append(buf[:0], x[:i]...), x[i+block:]...)
		out = append(out, statistic(buf))
	}
	return out
}
