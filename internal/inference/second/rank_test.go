package second

import (
	"math"
	"testing"
)

// Two-sided 5 % critical values of the signed rank statistic (exact; University
// of York table): reject if T <= c.
func TestSignedRankTable(t *testing.T) {
	c := map[int]int{6: 0, 7: 2, 8: 3, 9: 5, 10: 8, 11: 10, 12: 13, 13: 17, 14: 21, 15: 25, 16: 29, 17: 34, 18: 40, 19: 46, 20: 52}
	p := func(n, v int) float64 {
		// Differences whose positive ranks sum to v.
		d := make([]float64, n)
		for i := n; i >= 1; i-- {
			d[i-1] = -float64(i)
			if v >= i {
				d[i-1], v = float64(i), v-i
			}
		}
		return SignedRank(d).P
	}
	for n, crit := range c {
		if got := p(n, crit); got > 0.05 {
			t.Errorf("n %d: p(%d) = %v, want at most 0.05", n, crit, got)
		}
		if got := p(n, crit+1); got <= 0.05 {
			t.Errorf("n %d: p(%d) = %v, want above 0.05", n, crit+1, got)
		}
	}
	if got := p(5, 0); got <= 0.05 {
		t.Errorf("n 5 reaches %v: it never can", got)
	}
	// Another table in wide use has one more here: exact p 0.0505 to 0.0547.
	for n, v := range map[int]int{8: 4, 9: 6, 11: 11, 12: 14, 16: 30, 17: 35} {
		if got := p(n, v); got < 0.0505 || got > 0.0548 {
			t.Errorf("n %d: p(%d) = %v, want 0.0505 to 0.0547", n, v, got)
		}
	}
}

// Two-sided 5 % critical values of U (exact).
func TestRankSumTable(t *testing.T) {
	p := func(na, nb, u int) float64 {
		// a sample of na with u pairs above: start at the bottom, move up from the top.
		var a, b []float64
		pos := make([]int, na)
		for i := range pos {
			pos[i] = i
		}
		for i := na - 1; i >= 0 && u > 0; i-- {
			m := min(u, nb)
			pos[i] += m
			u -= m
		}
		in := map[int]bool{}
		for _, x := range pos {
			in[x] = true
		}
		for x := range na + nb {
			if in[x] {
				a = append(a, float64(x))
			} else {
				b = append(b, float64(x))
			}
		}
		return MannWhitney(a, b).P
	}
	for _, c := range [][3]int{{3, 5, 0}, {3, 6, 1}, {3, 7, 1}, {3, 8, 2}, {4, 4, 0}, {4, 5, 1}, {4, 6, 2}, {4, 7, 3}, {4, 8, 4}, {5, 5, 2}, {5, 6, 3}, {5, 7, 5}, {5, 8, 6}, {6, 6, 5}, {6, 7, 6}, {6, 8, 8}, {7, 7, 8}, {7, 8, 10}, {8, 8, 13}, {10, 10, 23}} {
		if got := p(c[0], c[1], c[2]); got > 0.05 {
			t.Errorf("%dv%d: p(%d) = %v, want at most 0.05", c[0], c[1], c[2], got)
		}
		if got := p(c[0], c[1], c[2]+1); got <= 0.05 {
			t.Errorf("%dv%d: p(%d) = %v, want above 0.05", c[0], c[1], c[2]+1, got)
		}
	}
	for _, c := range [][2]int{{3, 3}, {3, 4}} {
		if got := p(c[0], c[1], 0); got <= 0.05 {
			t.Errorf("%dv%d reaches %v: it never can", c[0], c[1], got)
		}
	}
	near(t, "4v4 at rank sum 11", p(4, 4, 1), 0.0571, 1e-4)
	near(t, "5v5 at rank sum 18", p(5, 5, 3), 0.0556, 1e-4)
}

// Hollander and Wolfe's permeability data, as in R's wilcox.test; mean
// difference by go-moremath and exact fractions.
func TestPermeability(t *testing.T) {
	x := []float64{0.80, 0.83, 1.89, 1.04, 1.45, 1.38, 1.91, 1.64, 0.73, 1.46}
	y := []float64{1.15, 0.88, 0.90, 0.74, 1.21}
	m := MannWhitney(x, y)
	near(t, "U", m.Statistic, 35, 0)
	near(t, "one-sided p", m.PHigh, 0.127206127206, 1e-11)
	near(t, "two-sided p", m.P, 0.254412254412, 1e-11)
	h := HodgesLehmann(x, y, 0.95)
	near(t, "Hodges-Lehmann", h.Value, 0.305, 1e-12)
	if h.Level < 0.95 || h.Lo >= h.Value || h.Hi <= h.Value {
		t.Errorf("interval %v to %v at %v", h.Lo, h.Hi, h.Level)
	}
	// The interval and the test agree: 0 lies inside exactly when p > 5 %.
	if h.Lo > 0 || h.Hi < 0 {
		t.Errorf("interval %v to %v leaves out 0 at p %v", h.Lo, h.Hi, m.P)
	}
	p := PermuteTwoSample(x, y)
	near(t, "mean difference", p.Value, 0.337, 1e-12)
	if p.Extreme != 396 || p.Total != 3003 {
		t.Errorf("%d of %d as extreme, want 396 of 3003", p.Extreme, p.Total)
	}
	near(t, "permutation p", p.P, 0.131868131868, 1e-11)
}

// The mice of Efron and Tibshirani.
func TestMice(t *testing.T) {
	p := PermuteTwoSample([]float64{94, 197, 16, 38, 99, 141, 23}, []float64{52, 104, 146, 10, 51, 30, 40, 27, 46})
	near(t, "difference", p.Value, 30.634920635, 1e-9)
	if p.Extreme != 3184 || p.Total != 11440 || p.ExtremeUpper != 1613 {
		t.Errorf("%d (%d upper) of %d, want 3184 (1613) of 11440", p.Extreme, p.ExtremeUpper, p.Total)
	}
	near(t, "p", p.P, 0.278321678, 1e-9)
	near(t, "one-sided", p.PUpper, 0.140996503, 1e-9)
}

// Hollander and Wolfe's depression scores, R's wilcox.test paired.
func TestDepression(t *testing.T) {
	a := []float64{1.83, 0.50, 1.62, 2.48, 1.68, 1.88, 1.55, 3.06, 1.30}
	b := []float64{0.878, 0.647, 0.598, 2.05, 1.06, 1.29, 1.06, 3.14, 1.29}
	d := make([]float64, len(a))
	for i := range a {
		d[i] = a[i] - b[i]
	}
	s := SignedRank(d)
	near(t, "V", s.Statistic, 40, 0)
	near(t, "one-sided p", s.PHigh, 0.01953125, 1e-15)
}

func TestPermutationFloors(t *testing.T) {
	seq := func(from, n int) []float64 {
		x := make([]float64, n)
		for i := range x {
			x[i] = float64(from + i)
		}
		return x
	}
	// Three laps against three can never reach 5 %.
	for _, c := range []struct {
		n    int
		want float64
	}{{3, 0.1}, {4, 2.0 / 70}, {5, 2.0 / 252}} {
		p := PermuteTwoSample(seq(0, c.n), seq(100, c.n))
		near(t, "smallest p", p.P, c.want, 1e-15)
		near(t, "smallest possible", p.Smallest, c.want, 1e-15)
	}
	for _, c := range []struct {
		n    int
		want float64
	}{{5, 0.0625}, {6, 0.03125}, {10, 0.001953125}} {
		near(t, "sign flips", PermuteSigns(seq(1, c.n)).P, c.want, 1e-15)
	}
	// R sleep: 4 of 1024.
	d := make([]float64, 10)
	for i := range d {
		d[i] = sleepB[i] - sleepA[i]
	}
	if p := PermuteSigns(d); p.Extreme != 4 || p.Total != 1024 {
		t.Errorf("sleep: %d of %d, want 4 of 1024", p.Extreme, p.Total)
	}
	// Draws within blocks: two runs of four laps, two trial each, are 36 orders.
	orders := BlockOrders([]int{4, 4}, []int{2, 2})
	if len(orders) != 36 {
		t.Fatalf("%d orders, want 36", len(orders))
	}
	ridden := []bool{false, true, true, false, true, false, false, true}
	v := []float64{1, 5, 5.5, 1.2, 6, 1.1, 0.9, 5.2}
	p := PermuteOrders(v, ridden, orders)
	near(t, "blocks", p.P, 2.0/36, 1e-15)
	// Large samples are drawn, the same way every time.
	big := PermuteTwoSample(seq(0, 15), seq(3, 15))
	if again := PermuteTwoSample(seq(0, 15), seq(3, 15)); big != again || big.Complete {
		t.Errorf("drawn permutation differs between calls: %+v %+v", big, again)
	}
}

func TestRankProperties(t *testing.T) {
	a, b := []float64{1, 2, 2, 3, 5}, []float64{2, 4, 4, 6}
	x, y := MannWhitney(a, b), MannWhitney(b, a)
	near(t, "swap", x.P, y.P, 1e-12)
	near(t, "U + U", x.Statistic+y.Statistic, float64(len(a)*len(b)), 0)
	near(t, "Hodges-Lehmann swap", HodgesLehmann(a, b, 0.9).Value, -HodgesLehmann(b, a, 0.9).Value, 1e-15)
	if e := HodgesLehmann([]float64{1, 2, 3}, []float64{4, 5, 6}, 0.95); !math.IsInf(e.Lo, -1) || len(e.Warnings) == 0 {
		t.Errorf("three against three has no 95 %% interval, got %v to %v", e.Lo, e.Hi)
	}
}
