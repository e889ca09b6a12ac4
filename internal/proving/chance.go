package proving

import "math"

// Fewest is the least count of successes in n trials that still speaks for a
// chance of p each: fewer would come in less than the share rare of such counts
// (binomial distribution).
func Fewest(n int, p, rare float64) int {
	lg := func(x int) float64 { v, _ := math.Lgamma(float64(x + 1)); return v }
	tail := 0.0
	for k := 0; k <= n; k++ {
		tail += math.Exp(lg(n) - lg(k) - lg(n-k) + float64(k)*math.Log(p) + float64(n-k)*math.Log(1-p))
		if tail >= rare {
			return k
		}
	}
	return n
}
