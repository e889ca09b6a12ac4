package signal

import (
	"math"
	"math/rand/v2"
	"slices"
	"sort"
	"testing"
)

// R and NumPy: median 98.575, type 7 quartiles 98.4025 and 98.675, MAD 0.15 of
// this series.
func TestRobustSummaries(t *testing.T) {
	y := []float64{98.42, 98.55, 98.61, 98.20, 98.31, 98.35, 98.72, 98.80, 98.93, 98.49, 98.60, 98.66}
	for _, c := range []struct{ got, want float64 }{
		{Median(y), 98.575}, {Quantile(y, 0.25), 98.4025}, {Quantile(y, 0.75), 98.675}, {Spread(y), 0.22239},
	} {
		if math.Abs(c.got-c.want) > 1e-5 {
			t.Errorf("got %.6f, want %.6f", c.got, c.want)
		}
	}
	if y[0] != 98.42 {
		t.Error("the caller's slice was touched")
	}
}

func TestSelectAgainstSort(t *testing.T) {
	state := uint64(3)
	for n := 1; n < 60; n++ {
		x := make([]float64, n)
		for i := range x {
			state = state*6364136223846793005 + 1442695040888963407
			x[i] = float64(state >> 60) // many ties
		}
		s := append([]float64(nil), x...)
		sort.Float64s(s)
		want := s[n/2]
		if n%2 == 0 {
			want = 0.5 * (s[n/2-1] + s[n/2])
		}
		if got := Median(x); got != want {
			t.Fatalf("n %d: %g, want %g", n, got, want)
		}
	}
}

// NIST StRD, Norris: B0 -0.262323073774029, B1 1.00211681802045, residual sd
// 0.884796396144373 (certified).
func TestRobustFitOnNorris(t *testing.T) {
	x := []float64{0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4, 0.6, 775.5, 666.9, 338.0, 447.5, 11.6,
		556.0, 228.1, 995.8, 887.6, 120.2, 0.3, 0.3, 556.8, 339.1, 887.2, 999.0, 779.0, 11.1, 118.3, 229.2, 669.1, 448.9, 0.5}
	y := []float64{0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3, 0.1, 778.1, 668.8, 339.3, 448.9, 10.8,
		557.7, 228.3, 998.0, 888.8, 119.6, 0.3, 0.6, 557.6, 339.3, 888.0, 998.5, 778.9, 10.2, 117.6, 228.9, 668.4, 449.2, 0.2}
	f := RobustFit(len(x), 2, func(k int, d []float64) (float64, bool) {
		d[0], d[1] = 1, x[k]
		return y[k], true
	})
	if !f.OK || math.Abs(f.Coef[0]+0.262323073774029) > 1e-8 || math.Abs(f.Coef[1]-1.00211681802045) > 1e-11 || math.Abs(f.SD-0.884796396144373) > 1e-8 {
		t.Errorf("%+v", f)
	}
	if math.Abs(math.Sqrt(f.Cov[0][0])-0.232818234301152) > 1e-8 {
		t.Errorf("standard error %.12f", math.Sqrt(f.Cov[0][0]))
	}
}

func TestBandedAgainstDense(t *testing.T) {
	const n = 9
	m := NewBanded(n, 2)
	dense := make([][]float64, n)
	for i := range dense {
		dense[i] = make([]float64, n)
		for j := max(0, i-2); j <= min(n-1, i+2); j++ {
			dense[i][j] = 1 / (1 + math.Abs(float64(i-j)))
			if i == j {
				dense[i][j] = 4 + float64(i)
			}
			if j <= i {
				m.Data[i*(m.W+1)+m.W+j-i] = dense[i][j]
			}
		}
	}
	want := make([]float64, n)
	b := make([]float64, n)
	for i := range want {
		want[i] = math.Sin(float64(i))
	}
	for i := range b {
		for j := range want {
			b[i] += dense[i][j] * want[j]
		}
	}
	if !m.Factor() {
		t.Fatal("not positive definite")
	}
	m.Solve(b)
	for i := range want {
		if math.Abs(b[i]-want[i]) > 1e-12 {
			t.Errorf("x[%d] = %.15f, want %.15f", i, b[i], want[i])
		}
	}
	if bad := NewBanded(1, 0); bad.Factor() {
		t.Error("zero is positive definite")
	}
}

// Selection gives what sorting gives, of many equal values and ordered ones too.
func TestNthSelects(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for _, n := range []int{1, 2, 13, 14, 100, 5000} {
		for kind := range 4 {
			v := make([]float64, n)
			for i := range v {
				switch kind {
				case 0:
					v[i] = rng.NormFloat64()
				case 1:
					v[i] = float64(rng.IntN(3))
				case 2:
					v[i] = float64(i)
				case 3:
					v[i] = float64(-i)
				}
			}
			s := slices.Sorted(slices.Values(v))
			for _, k := range []int{0, n / 3, n / 2, n - 1} {
				if got := Nth(slices.Clone(v), k); got != s[k] {
					t.Errorf("n %d, kind %d: place %d is %v, want %v", n, kind, k, got, s[k])
				}
			}
		}
	}
}
