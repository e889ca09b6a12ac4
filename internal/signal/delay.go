package signal

import "math"

// CrossCorrelation returns sum x[i] y[i+lag] for every lag from lo to hi.
// Nothing is subtracted: removing the means first biases the peak of short
// records.
func CrossCorrelation(x, y []float64, lo, hi int) []float64 {
	out := make([]float64, hi-lo+1)
	for k := range out {
		lag := lo + k
		var s float64
		for i := max(0, -lag); i < len(x) && i+lag < len(y); i++ {
			s += x[i] * y[i+lag]
		}
		out[k] = s
	}
	return out
}

// Delay tells by how many samples y comes later than x: the peak of their
// cross-correlation between the lags lo and hi, refined by the parabola through
// the peak and its neighbours. The second value is the normalised correlation
// there, -1..1; the largest magnitude wins, so a turned sign shows as a
// negative correlation. Zero for records without variation.
func Delay(x, y []float64, lo, hi int) (lag, corr float64) {
	c := CrossCorrelation(x, y, lo, hi)
	var xx, yy float64
	for _, v := range x {
		xx += v * v
	}
	for _, v := range y {
		yy += v * v
	}
	if xx == 0 || yy == 0 {
		return 0, 0
	}
	best := 0
	for k := range c {
		if math.Abs(c[k]) > math.Abs(c[best]) {
			best = k
		}
	}
	lag = float64(lo + best)
	if best > 0 && best < len(c)-1 {
		a, b, d := c[best-1], c[best], c[best+1]
		if den := a - 2*b + d; den != 0 {
			lag += 0.5 * (a - d) / den
		}
	}
	return lag, c[best] / math.Sqrt(xx*yy)
}
