package bike

import (
	"math"
	"math/rand/v2"
)

// normal are the normal equations of a weighted least-squares fit, kept by
// block so that a bootstrap over laps costs sums of small matrices only.
type normal struct {
	p      int
	blocks map[int32]*sums
	order  []int32
	last   *sums // of lastID: samples of a block come one after the other
	lastID int32
}

type sums struct {
	a [36]float64 // x x'
	b [6]float64  // x y
	y float64
	n float64
}

func newNormal(p int) *normal { return &normal{p: p, blocks: map[int32]*sums{}} }

func (m *normal) block(id int32) *sums {
	if m.last != nil && m.lastID == id {
		return m.last
	}
	s := m.blocks[id]
	if s == nil {
		s = &sums{}
		m.blocks[id] = s
		m.order = append(m.order, id)
	}
	m.last, m.lastID = s, id
	return s
}

func (s *sums) add(x []float64, y, w float64) {
	p := len(x)
	for i := range p {
		wx := w * x[i]
		for j := 0; j <= i; j++ {
			s.a[i*6+j] += wx * x[j]
		}
		s.b[i] += wx * y
	}
	s.y += w * y * y
	s.n++
}

func (s *sums) plus(o *sums) {
	for i := range s.a {
		s.a[i] += o.a[i]
	}
	for i := range s.b {
		s.b[i] += o.b[i]
	}
	s.y += o.y
	s.n += o.n
}

// solve returns the coefficients for the whole, prior (diagonal weights and
// means) added. ok is false where the equations do not hold the unknowns apart.
func (m *normal) solve(prior, mean []float64) ([]float64, bool) {
	var t sums
	for _, id := range m.order {
		t.plus(m.blocks[id])
	}
	return t.solve(m.p, prior, mean)
}

func (t *sums) solve(p int, prior, mean []float64) ([]float64, bool) {
	var a [6][7]float64
	var d [6]float64
	for i := range p {
		for j := 0; j <= i; j++ {
			a[i][j], a[j][i] = t.a[i*6+j], t.a[i*6+j]
		}
		a[i][p] = t.b[i]
		if prior != nil {
			a[i][i] += prior[i]
			a[i][p] += prior[i] * mean[i]
		}
		if !(a[i][i] > 0) {
			return nil, false
		}
		d[i] = 1 / math.Sqrt(a[i][i])
	}
	for i := range p {
		for j := range p {
			a[i][j] *= d[i] * d[j]
		}
		a[i][p] *= d[i]
	}
	for c := range p {
		best := c
		for r := c + 1; r < p; r++ {
			if math.Abs(a[r][c]) > math.Abs(a[best][c]) {
				best = r
			}
		}
		if math.Abs(a[best][c]) < 1e-7 {
			return nil, false
		}
		a[c], a[best] = a[best], a[c]
		for r := range p {
			if r == c {
				continue
			}
			f := a[r][c] / a[c][c]
			for k := c; k <= p; k++ {
				a[r][k] -= f * a[c][k]
			}
		}
	}
	x := make([]float64, p)
	for i := range p {
		x[i] = a[i][p] / a[i][i] * d[i]
	}
	return x, true
}

// bootstrap returns the standard deviation of f over draws of whole blocks. The
// draws come from a fixed source: the same recording gives the same answer.
func (m *normal) bootstrap(draws int, prior, mean []float64, f func(x []float64) []float64) []float64 {
	k := len(m.order)
	if k < 3 {
		return nil
	}
	rnd := rand.New(rand.NewPCG(1, 2))
	var sum, sum2 []float64
	var n float64
	for range draws {
		var t sums
		for range k {
			t.plus(m.blocks[m.order[rnd.IntN(k)]])
		}
		x, ok := t.solve(m.p, prior, mean)
		if !ok {
			continue
		}
		v := f(x)
		if sum == nil {
			sum, sum2 = make([]float64, len(v)), make([]float64, len(v))
		}
		for i := range v {
			sum[i] += v[i]
			sum2[i] += v[i] * v[i]
		}
		n++
	}
	if n < 10 {
		return nil
	}
	for i := range sum {
		mean := sum[i] / n
		// Few blocks draw too little spread: k/(k-1) of the variance is missing.
		sum[i] = math.Sqrt(math.Max(0, sum2[i]/n-mean*mean) * float64(k) / float64(k-1))
	}
	return sum
}
