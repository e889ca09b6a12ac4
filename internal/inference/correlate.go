package inference

import "math"

// RankCorrelation is Spearman's coefficient of two samples of equal length:
// the product-moment correlation of their ranks, ties sharing the mean of
// theirs. NaN for fewer than three pairs or a constant sample.
func RankCorrelation(x, y []float64) float64 {
	if len(x) != len(y) || len(x) < 3 {
		return math.NaN()
	}
	a, b := doubledRanks(x), doubledRanks(y)
	m := float64(len(x) + 1) // mean of the doubled ranks
	var sab, saa, sbb float64
	for i := range a {
		p, q := float64(a[i])-m, float64(b[i])-m
		sab, saa, sbb = sab+p*q, saa+p*p, sbb+q*q
	}
	if saa == 0 || sbb == 0 {
		return math.NaN()
	}
	return sab / math.Sqrt(saa*sbb)
}
