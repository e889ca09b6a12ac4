package verdict

import (
	"math"
	"math/rand/v2"
	"testing"

	"cornerwright/internal/inference/leastsquares"
)

// The solver of the verdict gives the least squares solution and its variance
// factor as a QR fit does, which the reference sets of NIST certify: weighted,
// rows are scaled by the root of their weight; a row of no weight is no row.
func TestSolveAgainstQR(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 4))
	for trial := range 300 {
		p := 2 + rng.IntN(4)
		n := p + 2 + rng.IntN(20)
		var m rows
		m.reset(n, p)
		w := make([]float64, n)
		var x [][]float64
		var y []float64
		for i := range n {
			w[i] = 0.2 + rng.Float64()
			if i > p+2 && rng.IntN(5) == 0 {
				w[i] = 0
			}
			row := make([]float64, p)
			for j := range p {
				row[j] = rng.NormFloat64()
				m.x[i*p+j] = row[j]
			}
			m.y[i] = 98 + rng.NormFloat64()
			if w[i] == 0 {
				continue
			}
			scaled := make([]float64, p)
			for j := range p {
				scaled[j] = math.Sqrt(w[i]) * row[j]
			}
			x, y = append(x, scaled), append(y, math.Sqrt(w[i])*m.y[i])
		}
		at := rng.IntN(p)
		m.contrast[at] = 1
		v, ok := m.solve(m.x, m.y, w, n)
		if len(x) <= p {
			continue
		}
		fit, err := leastsquares.OLS(x, y, false)
		if err != nil || !ok {
			t.Fatalf("trial %d: %v, %v", trial, err, ok)
		}
		if got, want := m.effect(), fit.Coef[at]; math.Abs(got-want) > 1e-8*math.Max(1, math.Abs(want)) {
			t.Errorf("trial %d: effect %.12g, QR gives %.12g", trial, got, want)
		}
		if want := fit.Cov.At(at, at); math.Abs(v-want) > 1e-8*want {
			t.Errorf("trial %d: variance factor %.12g, QR gives %.12g", trial, v, want)
		}
	}
}
