package verdict

import (
	"math"
	"testing"
)

// The estimate within runs against R's lm on made-up laps, change and tyre age:
// y ~ change + age, R 4.2.2 (statsmodels gives the same digits).
func TestRowsAgainstR(t *testing.T) {
	y := []float64{98.42, 98.55, 98.61, 98.20, 98.31, 98.35, 98.72, 98.80, 98.93, 98.49, 98.60, 98.66}
	age := []float64{1, 2, 3, 1, 2, 3, 4, 5, 6, 4, 5, 6}
	var m rows
	m.reset(12, 3)
	m.contrast[1] = 1
	for i := range y {
		trial := float64(i / 3 % 2)
		copy(m.x[3*i:], []float64{1, trial - 0.5, (age[i] - 3.5) / 2.5})
		m.y[i], m.at[i] = y[i]-98.5, float64(i+1)
	}
	f, ok := m.guarded(0)
	if !ok {
		t.Fatal("no fit")
	}
	if math.Abs(f.value+0.236666666667) > 1e-11 || f.df != 9 || math.Abs(f.sd-0.020745369854) > 1e-11 {
		t.Errorf("change %.12f, df %v, s %.12f; R: -0.236666666667, 9, 0.020745369854", f.value, f.df, f.sd)
	}
	v, _ := m.solve(m.x, m.y, nil, 12)
	if se := f.sd * math.Sqrt(v); math.Abs(se-0.011977344870) > 1e-11 {
		t.Errorf("standard error %.12f; R: 0.011977344870", se)
	}
}

// What correlation does to an order, against the long way over the matrices:
// the true variance of the least squares effect over the one that least squares
// expects.
func TestInflationAgainstMatrices(t *testing.T) {
	for _, order := range []string{"ABBAABBA", "AABBAABBAABB", "AAABBBBBBAAA"} {
		q := Question{Reference: "A", Trial: "B"}
		var laps []Lap
		for i, s := range order {
			laps = append(laps, Lap{Run: 1, Number: i + 2, Slot: string(s)})
		}
		l := q.recognise(laps)
		var m rows
		m.build(&q, &l, laps)
		k := m.compact()
		if _, ok := m.solve(m.xw, m.yw, nil, k); !ok {
			t.Fatal("no fit")
		}
		g := m.lagsOf(k)
		// The effect is linear in y: its weights are the effects of unit laps,
		// and the residual maker's entries the residuals of unit laps.
		n := m.n
		weight := make([]float64, n)
		residual := make([][]float64, n)
		for j := range n {
			clear(m.y[:n])
			m.y[j] = 1
			m.solve(m.x, m.y, nil, n)
			weight[j] = m.effect()
			m.residuals()
			residual[j] = append([]float64(nil), m.res[:n]...)
		}
		for _, rho := range []float64{0, 0.3, 0.5} {
			num, den, tr := 0.0, 0.0, 0.0
			for i := range n {
				den += weight[i] * weight[i]
				for j := range n {
					r := math.Pow(rho, math.Abs(float64(i-j)))
					if i == j {
						r = 1
					}
					num += weight[i] * r * weight[j]
					tr += residual[i][j] * r
				}
			}
			want := num / den * float64(n-m.p) / tr
			if got := g.inflation(rho); math.Abs(got-want) > 0.005*want {
				t.Errorf("%s rho %.1f: %.4f, want %.4f", order, rho, got, want)
			}
		}
	}
}

// The p value of an effect between runs is the level at which its interval
// touches zero.
func TestPTouchesZero(t *testing.T) {
	for _, s := range []spread{{se: 0.1, df: 9, seRun: 0.05, dfRun: math.Inf(1)}, {se: 0.02, df: 3, seRun: 0.2, dfRun: 4}, {se: 1, df: 30, seRun: 0.001, dfRun: math.Inf(1), seCommon: 0.4}} {
		for _, v := range []float64{1e-6, 0.01, 0.1, 0.3, -0.3, 1, 3} {
			p := s.p(v)
			if p < 2e-15 {
				if s.half(2e-15) > math.Abs(v) {
					t.Errorf("%+v %v: p %g", s, v, p)
				}
				continue
			}
			if h := s.half(p); math.Abs(h-math.Abs(v)) > 1e-6*math.Abs(v) && p > 1e-10 {
				t.Errorf("%+v %v: p %g has half width %v", s, v, p, h)
			}
		}
		if p := s.p(0); p != 1 {
			t.Errorf("p of nothing is %v", p)
		}
	}
}
