package demo

import "math"

// The longitudinal force of a tyre is F = N mu sqrt(1 - q^2) f(slip / peak)
// with f(x) = 2x / (1 + x^2): it rises with slope two, is greatest at the peak
// slip and falls beyond it. q is the share of friction that cornering takes.

// peakSlip returns the slip of greatest drive force at a lean.
func peakSlip(lean float64) float64 {
	l := math.Abs(lean)
	return 0.13 - 0.055*math.Min(1, l/0.98)
}

// capacity returns the greatest longitudinal force in N.
func capacity(load, mu, lateral float64) float64 {
	if load <= 0 {
		return 0
	}
	q := math.Abs(lateral) / (gravity * mu)
	if q > 0.97 {
		q = 0.97
	}
	return load * mu * math.Sqrt(1-q*q)
}

// adhesion returns f and its slope by x.
func adhesion(x float64) (f, slope float64) {
	d := 1 + x*x
	return 2 * x / d, 2 * (1 - x*x) / (d * d)
}

// slipShare is the inverse of adhesion on its rising side.
func slipShare(u float64) float64 {
	switch {
	case u > 0.995:
		u = 0.995
	case u < -0.995:
		u = -0.995
	}
	if math.Abs(u) < 1e-6 {
		return u / 2
	}
	return (1 - math.Sqrt(1-u*u)) / u
}
