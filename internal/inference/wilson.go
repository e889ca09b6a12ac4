package inference

import "math"

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
