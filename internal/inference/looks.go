package inference

import (
	"math"
	"sort"
)

// Many looks: adjusted p values, in the order of the input. An adjusted p at or
// below alpha is a rejection at alpha. NaN stays NaN and counts as no look.

// Holm returns step-down adjusted p values: the chance of any false alarm in
// the family stays at alpha under every dependence. Source: Holm,
// Scandinavian Journal of Statistics 6 (1979).
func Holm(p []float64) []float64 {
	out, idx := ordered(p)
	m, high := len(idx), 0.0
	for k, i := range idx {
		high = math.Max(high, math.Min(1, float64(m-k)*p[i]))
		out[i] = high
	}
	return out
}

// BenjaminiHochberg returns adjusted p values that hold the share of false
// discoveries. Source: Benjamini and Hochberg, Journal of the Royal
// Statistical Society B 57 (1995).
func BenjaminiHochberg(p []float64) []float64 {
	out, idx := ordered(p)
	m, low := len(idx), 1.0
	for k := m - 1; k >= 0; k-- {
		low = math.Min(low, float64(m)/float64(k+1)*p[idx[k]])
		out[idx[k]] = low
	}
	return out
}

// ordered returns a result slice full of NaN, and the indices of the valid p in
// ascending order (ties keep their input order).
func ordered(p []float64) (out []float64, idx []int) {
	out = make([]float64, len(p))
	for i, v := range p {
		out[i] = math.NaN()
		if !math.IsNaN(v) {
			idx = append(idx, i)
		}
	}
	sort.SliceStable(idx, func(a, b int) bool { return p[idx[a]] < p[idx[b]] })
	return out, idx
}
