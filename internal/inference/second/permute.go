// Package second gives second opinions for tests: tests of means, ranks and
// permutations that assume other things than the methods of verdict, each checked
// against published values.
package second

import (
	"math"
	"math/rand/v2"

	"cornerwright/internal/inference"
)

// Permutation is the outcome of a permutation test on a difference.
type Permutation struct {
	Value        float64 // the difference as observed
	Extreme      int     // arrangements at least as extreme, two-sided, the observed one included
	ExtremeUpper int     // arrangements with a difference at least as large
	Total        int     // arrangements looked at
	P, PUpper    float64
	Smallest     float64 // the smallest two-sided p this list can give
	Complete     bool    // every arrangement was looked at
}

// tie is the relative slack within which two statistics are the same: sums in
// another order differ in their last digits, and that must not change a count.
const tie = 1e-12

// permuteLimit is the number of arrangements up to which the list is complete.
const permuteLimit = 200000

// PermuteTwoSample shuffles the labels of two independent samples, statistic
// mean(a) - mean(b): all arrangements up to 200,000, else 49,999 draws seeded
// from the data, with the observed one counted in.
func PermuteTwoSample(a, b []float64) Permutation {
	all := append(append([]float64(nil), a...), b...)
	na, n := len(a), len(all)
	sum := 0.0
	for _, v := range all {
		sum += v
	}
	stat := func(sa float64) float64 { return sa/float64(na) - (sum-sa)/float64(n-na) }
	obs := 0.0
	for _, v := range a {
		obs += v
	}
	p := newCount(stat(obs), spanOf(all))
	if binomial(n, na) <= permuteLimit {
		p.Complete = true
		idx := make([]int, na)
		for i := range idx {
			idx[i] = i
		}
		for {
			s := 0.0
			for _, i := range idx {
				s += all[i]
			}
			p.add(stat(s))
			i := na - 1
			for i >= 0 && idx[i] == n-na+i {
				i--
			}
			if i < 0 {
				break
			}
			idx[i]++
			for j := i + 1; j < na; j++ {
				idx[j] = idx[j-1] + 1
			}
		}
		return p.done()
	}
	r := Seed(all)
	p.add(p.Value)
	for range 49999 {
		for i := range na { // partial shuffle
			j := i + r.IntN(n-i)
			all[i], all[j] = all[j], all[i]
		}
		s := 0.0
		for _, v := range all[:na] {
			s += v
		}
		p.add(stat(s))
	}
	return p.done()
}

// PermuteSigns flips the signs of paired differences, statistic their mean: all
// 2^n up to 17 differences, else 49,999 draws seeded from the data.
func PermuteSigns(d []float64) Permutation {
	n := len(d)
	p := newCount(inference.Mean(d), spanOf(append(d[:n:n], 0)))
	flip := func(bits uint64) float64 {
		s := 0.0
		for i, v := range d {
			if bits>>i&1 == 1 {
				s -= v
			} else {
				s += v
			}
		}
		return s / float64(n)
	}
	if n <= 17 {
		p.Complete = true
		for bits := range uint64(1) << n {
			p.add(flip(bits))
		}
		return p.done()
	}
	if n > 63 {
		panic("second: PermuteSigns takes at most 63 differences")
	}
	r := Seed(d)
	p.add(p.Value)
	for range 49999 {
		p.add(flip(r.Uint64()))
	}
	return p.done()
}

// PermuteOrders is the test restricted to the orders that a plan could have
// drawn: every order gives for each value whether it was trial. The statistic
// is mean(trial) - mean(reference). It is exact only if the order ridden, which
// must be among them, was drawn with equal chance.
func PermuteOrders(values []float64, ridden []bool, orders [][]bool) Permutation {
	stat := func(o []bool) float64 {
		if len(o) != len(values) {
			panic("second: PermuteOrders needs orders as long as the values")
		}
		var s [2]float64
		var n [2]float64
		for i, t := range o {
			k := 0
			if t {
				k = 1
			}
			s[k] += values[i]
			n[k]++
		}
		return s[1]/n[1] - s[0]/n[0]
	}
	p := newCount(stat(ridden), spanOf(values))
	p.Complete = true
	for _, o := range orders {
		p.add(stat(o))
	}
	return p.done()
}

// BlockOrders lists every order in which each block of laps holds its own
// number of trial laps: the arrangements of a draw within blocks.
func BlockOrders(blocks []int, trials []int) [][]bool {
	orders := [][]bool{{}}
	for b, n := range blocks {
		var next [][]bool
		for bits := range 1 << n {
			o := make([]bool, n)
			c := 0
			for i := range o {
				if bits>>i&1 == 1 {
					o[i] = true
					c++
				}
			}
			if c != trials[b] {
				continue
			}
			for _, head := range orders {
				next = append(next, append(head[:len(head):len(head)], o...))
			}
		}
		orders = next
	}
	return orders
}

func newCount(value, span float64) *permCount {
	return &permCount{Permutation: Permutation{Value: value}, slack: tie * math.Max(span, math.Abs(value))}
}

type permCount struct {
	Permutation
	slack    float64
	max      float64
	maxCount int
}

func (p *permCount) add(s float64) {
	p.Total++
	a := math.Abs(s)
	if a >= math.Abs(p.Value)-p.slack {
		p.Extreme++
	}
	if s >= p.Value-p.slack {
		p.ExtremeUpper++
	}
	switch {
	case a > p.max+p.slack:
		p.max, p.maxCount = a, 1
	case a >= p.max-p.slack:
		p.maxCount++
	}
}

func (p *permCount) done() Permutation {
	n := float64(p.Total)
	p.P, p.PUpper = float64(p.Extreme)/n, float64(p.ExtremeUpper)/n
	p.Smallest = float64(p.maxCount) / n
	return p.Permutation
}

func spanOf(x []float64) float64 {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, v := range x {
		lo, hi = math.Min(lo, v), math.Max(hi, v)
	}
	return math.Max(hi-lo, math.Max(math.Abs(lo), math.Abs(hi)))
}

func binomial(n, k int) float64 {
	c := 1.0
	for i := range k {
		c = c * float64(n-i) / float64(i+1)
	}
	return math.Round(c)
}

// Seed makes a random source from the data alone (FNV-1a over their bits), so
// that the same data always draw the same numbers.
func Seed(x ...[]float64) *rand.Rand {
	h := uint64(14695981039346656037)
	for _, s := range x {
		for _, v := range s {
			b := math.Float64bits(v)
			for range 8 {
				h = (h ^ b&0xff) * 1099511628211
				b >>= 8
			}
		}
		h = (h ^ 0xff) * 1099511628211
	}
	return rand.New(rand.NewPCG(h, 0x9e3779b97f4a7c15))
}
