package inference

import (
	"math"
	"sort"
)

// RankCorrelation is Spearman's coefficient of two samples of equal length:
// the product-moment correlation of their ranks, ties sharing the mean of
// theirs. NaN for fewer than three pairs or a constant sample.
func RankCorrelation(x, y []float64) float64 {
	if len(x) != len(y) || len(x) < 3 {
		return math.NaN()
	}
	a, b := DoubledRanks(x), DoubledRanks(y)
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

// DoubledRanks returns twice the rank of every value, mid-ranks for ties, so
// that they stay whole.
func DoubledRanks(x []float64) []int {
	idx := make([]int, len(x))
	for i := range idx {
		idx[i] = i
	}
	sort.Slice(idx, func(a, b int) bool { return x[idx[a]] < x[idx[b]] })
	r := make([]int, len(x))
	for i := 0; i < len(idx); {
		j := i
		for j+1 < len(idx) && x[idx[j+1]] == x[idx[i]] {
			j++
		}
		for k := i; k <= j; k++ {
			r[idx[k]] = i + j + 2
		}
		i = j + 1
	}
	return r
}
