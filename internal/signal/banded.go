package signal

import "math"

// Banded is a symmetric positive definite matrix of order N with half
// bandwidth W (W off-diagonals), lower band stored by rows: element (i, j) with
// i-W <= j <= i stands at Data[i*(W+1)+W+j-i].
type Banded struct {
	N, W int
	Data []float64
}

// NewBanded returns a zero matrix.
func NewBanded(n, w int) *Banded {
	return &Banded{N: n, W: w, Data: make([]float64, n*(w+1))}
}

// Factor replaces the matrix by its Cholesky factor; false if it is not
// positive definite.
func (m *Banded) Factor() bool {
	w := m.W
	for i := 0; i < m.N; i++ {
		ri := m.Data[i*(w+1) : (i+1)*(w+1)]
		for j := max(0, i-w); j <= i; j++ {
			rj := m.Data[j*(w+1) : (j+1)*(w+1)]
			s := ri[w+j-i]
			for k := max(0, i-w, j-w); k < j; k++ {
				s -= ri[w+k-i] * rj[w+k-j]
			}
			if j < i {
				ri[w+j-i] = s / rj[w]
				continue
			}
			if !(s > 0) {
				return false
			}
			ri[w] = math.Sqrt(s)
		}
	}
	return true
}

// Solve solves in place after Factor.
func (m *Banded) Solve(b []float64) {
	w := m.W
	for i := 0; i < m.N; i++ {
		r := m.Data[i*(w+1) : (i+1)*(w+1)]
		s := b[i]
		for k := max(0, i-w); k < i; k++ {
			s -= r[w+k-i] * b[k]
		}
		b[i] = s / r[w]
	}
	for i := m.N - 1; i >= 0; i-- {
		r := m.Data[i*(w+1) : (i+1)*(w+1)]
		b[i] /= r[w]
		for k := max(0, i-w); k < i; k++ {
			b[k] -= r[w+k-i] * b[i]
		}
	}
}
