package inference

import (
	"math"
	"testing"
)

// The intelligence and television example of the encyclopaedia article on
// Spearman's coefficient: rho = -29/165. From memory.
func TestRankCorrelation(t *testing.T) {
	x := []float64{106, 100, 86, 101, 99, 103, 97, 113, 112, 110}
	y := []float64{7, 27, 2, 50, 28, 29, 20, 12, 6, 17}
	if r := RankCorrelation(x, y); math.Abs(r+29.0/165) > 1e-12 {
		t.Errorf("rank correlation %v, published -29/165", r)
	}
	if r := RankCorrelation([]float64{1, 2, 2, 3}, []float64{1, 2, 2, 9}); math.Abs(r-1) > 1e-12 {
		t.Errorf("ties in the same order: %v, want 1", r)
	}
	for _, c := range [][2][]float64{{{1, 2}, {1, 2}}, {{1, 1, 1}, {1, 2, 3}}, {{1, 2, 3}, {1, 2}}} {
		if r := RankCorrelation(c[0], c[1]); !math.IsNaN(r) {
			t.Errorf("%v: %v, want none", c, r)
		}
	}
}
