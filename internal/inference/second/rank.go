package second

import (
	"math"
	"slices"

	"cornerwright/internal/inference"
)

// RankTest is the outcome of a rank test: the statistic, one-sided p values for
// it being as small or as large, and the two-sided p.
type RankTest struct {
	Statistic      float64
	PLow, PHigh, P float64
	Exact          bool // false where ties forced the exact permutation of mid-ranks to be replaced by the normal
}

// MannWhitney compares two independent samples. The statistic is U, the number
// of pairs in which a exceeds b (ties count a half). p values are exact, by
// counting all ways to share the ranks (mid-ranks for ties), up to 40 values
// in all; beyond, by the normal with continuity correction. Source: Mann and
// Whitney, Annals of Mathematical Statistics 18 (1947).
func MannWhitney(a, b []float64) RankTest {
	all := append(slices.Clone(a), b...)
	r2 := inference.DoubledRanks(all)
	sum := 0
	for i := range a {
		sum += r2[i]
	}
	na, nb := len(a), len(b)
	u := float64(sum)/2 - float64(na*(na+1))/2
	t := RankTest{Statistic: u}
	if na == 0 || nb == 0 {
		t.PLow, t.PHigh, t.P = math.NaN(), math.NaN(), math.NaN()
		return t
	}
	if na+nb > 40 {
		mu := float64(na*nb) / 2
		n := float64(na + nb)
		ties := tieSum(all)
		sd := math.Sqrt(float64(na*nb) / 12 * (n + 1 - ties/(n*(n-1))))
		t.PLow = inference.NormalCDF((u - mu + 0.5) / sd)
		t.PHigh = inference.NormalCDF(-(u - mu - 0.5) / sd)
	} else {
		// ways[k][s]: choices of k values with doubled rank sum s.
		total := 0
		for _, r := range r2 {
			total += r
		}
		ways := make([][]float64, na+1)
		for k := range ways {
			ways[k] = make([]float64, total+1)
		}
		ways[0][0] = 1
		for _, r := range r2 {
			for k := na; k >= 1; k-- {
				for s := total; s >= r; s-- {
					ways[k][s] += ways[k-1][s-r]
				}
			}
		}
		count, low, high := 0.0, 0.0, 0.0
		for s, w := range ways[na] {
			count += w
			if s <= sum {
				low += w
			}
			if s >= sum {
				high += w
			}
		}
		t.PLow, t.PHigh, t.Exact = low/count, high/count, true
	}
	t.P = math.Min(1, 2*math.Min(t.PLow, t.PHigh))
	return t
}

// SignedRank tests whether differences centre on zero. The statistic is V, the
// rank sum of the positive differences; zeros are left out. p values are exact
// up to 50 differences. Source: Wilcoxon, Biometrics Bulletin 1 (1945).
func SignedRank(d []float64) RankTest {
	var x, abs []float64
	for _, v := range d {
		if v != 0 {
			x, abs = append(x, v), append(abs, math.Abs(v))
		}
	}
	n := len(x)
	if n == 0 {
		return RankTest{P: 1, PLow: 1, PHigh: 1, Exact: true}
	}
	r2 := inference.DoubledRanks(abs)
	v, total := 0, 0
	for i, r := range r2 {
		total += r
		if x[i] > 0 {
			v += r
		}
	}
	t := RankTest{Statistic: float64(v) / 2}
	if n > 50 {
		mu := float64(n*(n+1)) / 4
		s2 := 0.0
		for _, r := range r2 {
			s2 += float64(r*r) / 16
		}
		sd := math.Sqrt(s2)
		t.PLow = inference.NormalCDF((t.Statistic - mu + 0.5) / sd)
		t.PHigh = inference.NormalCDF(-(t.Statistic - mu - 0.5) / sd)
	} else {
		ways := make([]float64, total+1)
		ways[0] = 1
		for _, r := range r2 {
			for s := total; s >= r; s-- {
				ways[s] += ways[s-r]
			}
		}
		low, high, all := 0.0, 0.0, math.Exp2(float64(n))
		for s, w := range ways {
			if s <= v {
				low += w
			}
			if s >= v {
				high += w
			}
		}
		t.PLow, t.PHigh, t.Exact = low/all, high/all, true
	}
	t.P = math.Min(1, 2*math.Min(t.PLow, t.PHigh))
	return t
}

func tieSum(x []float64) float64 {
	s := slices.Clone(x)
	slices.Sort(s)
	sum := 0.0
	for i := 0; i < len(s); {
		j := i
		for j < len(s) && s[j] == s[i] {
			j++
		}
		c := float64(j - i)
		sum += c*c*c - c
		i = j
	}
	return sum
}

// HodgesLehmann returns the median of all pairwise differences a - b, with the
// exact interval from the Mann-Whitney distribution: the confidence reached,
// not the one asked for. With too few values for the level the interval is
// infinite. Source: Hodges and Lehmann, Annals of Mathematical Statistics 34
// (1963).
func HodgesLehmann(a, b []float64, level float64) inference.Estimate {
	d := make([]float64, 0, len(a)*len(b))
	for _, x := range a {
		for _, y := range b {
			d = append(d, x-y)
		}
	}
	e := inference.Estimate{Value: inference.Median(d), Lo: math.Inf(-1), Hi: math.Inf(1), N: len(a) + len(b), SE: math.NaN(), DF: math.NaN()}
	slices.Sort(d)
	// The distribution of U without ties, by counting.
	na, nb := len(a), len(b)
	if na == 0 || nb == 0 {
		e.Lo, e.Hi = math.NaN(), math.NaN()
		return e
	}
	ways := make([][]float64, na+1)
	for k := range ways {
		ways[k] = make([]float64, na*nb+1)
	}
	// Choosing value j (0-based from the bottom of all) as the k-th of a adds
	// j-(k-1) values of b below it.
	ways[0][0] = 1
	for j := range na + nb {
		for k := min(na, j+1); k >= 1; k-- {
			if below := j - (k - 1); below <= nb {
				for s := na * nb; s >= below; s-- {
					ways[k][s] += ways[k-1][s-below]
				}
			}
		}
	}
	total := 0.0
	for _, w := range ways[na] {
		total += w
	}
	tail, c := 0.0, -1
	for s, w := range ways[na] {
		if (tail+w)/total > (1-level)/2 {
			break
		}
		tail += w
		c = s
	}
	if c < 0 {
		e.Level = 1
		e.Warnings = append(e.Warnings, "too few values for an interval at this level")
		return e
	}
	e.Lo, e.Hi = d[c+1], d[len(d)-2-c]
	e.Level = 1 - 2*tail/total
	return e
}
