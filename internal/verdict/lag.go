package verdict

import (
	"math"
)

// lags holds what correlation between laps does to an order, by distance in
// laps: the variance of the effect and the expected residual sum of squares are
//
//	c'CX'RXCc = effect[0] + 2 sum effect[d] rho^d,  tr(MR) = df - 2 sum hat[d] rho^d
//
// with C = (X'X)^-1, c the contrast, M = I - XCX'. It does not look at values.
type lags struct {
	effect, hat [maxLag + 1]float64
	df          float64
}

// maxLag is the distance in laps beyond which correlation is forgotten.
const maxLag = 8

// lagsOf needs the factor that solve has left in m.mat for the compacted rows.
func (m *rows) lagsOf(k int) (g lags) {
	p := m.p
	g.df = float64(k - p)
	// Rows of h = X L'^-1, so that h h' is the hat matrix, and the weight of
	// every lap in the effect.
	var z [maxCoef]float64
	for j := range p {
		s := m.contrast[j]
		for c := range j {
			s -= m.mat[j*p+c] * z[c]
		}
		z[j] = s / m.mat[j*p+j]
	}
	for i := range k {
		x, h := m.xw[i*p:i*p+p], m.hat[i*p:i*p+p]
		a := 0.0
		for j := range p {
			s := x[j]
			for c := range j {
				s -= m.mat[j*p+c] * h[c]
			}
			h[j] = s / m.mat[j*p+j]
			a += h[j] * z[j]
		}
		m.w[i] = a
		g.effect[0] += a * a
	}
	for i := range k {
		for j := i - 1; j >= 0; j-- {
			d := m.distance(m.kept[i], m.kept[j])
			if d > maxLag {
				break // rows are in order of run and lap
			}
			hij := 0.0
			for c, hc := range m.hat[i*p : i*p+p] {
				hij += hc * m.hat[j*p+c]
			}
			g.effect[d] += m.w[i] * m.w[j]
			g.hat[d] += hij
		}
	}
	return g
}

// distance in laps between two rows; beyond maxLag for unlike runs.
func (m *rows) distance(i, j int) int {
	if m.run[i] != m.run[j] {
		return maxLag + 1
	}
	return max(1, int(math.Round(math.Abs(m.at[i]-m.at[j]))))
}

// inflation is the ratio of the true variance of the least squares effect to
// the variance that least squares expects itself to have, when laps a distance d
// apart correlate by rho^d.
func (g *lags) inflation(rho float64) float64 {
	num, tr, r := g.effect[0], g.df, 1.0
	for d := 1; d <= maxLag; d++ {
		r *= rho
		num += 2 * r * g.effect[d]
		tr -= 2 * r * g.hat[d]
	}
	if !(tr > 0.05*g.df) {
		tr = 0.05 * g.df
	}
	return num / g.effect[0] * g.df / tr
}

// lagOne is the lag-one correlation of the residuals in m.tmp, less what the
// fit itself puts into it.
func (m *rows) lagOne(g *lags, k int, ss float64) float64 {
	s := 0.0
	for i := 1; i < k; i++ {
		if m.distance(m.kept[i], m.kept[i-1]) == 1 {
			s += m.tmp[i] * m.tmp[i-1]
		}
	}
	return s/ss + g.hat[1]/g.df
}

// lagError is the standard error of lagOne told by the products it is made of:
// 1/sqrt(df) for laps of one scatter, less where a few wild laps make up most of
// the sum of squares (F. X. Diebold, Proceedings of the Business and Economic
// Statistics Section, American Statistical Association, 1986).
func (m *rows) lagError(k int, df, ss float64) float64 {
	s := 0.0
	for i := 1; i < k; i++ {
		if m.distance(m.kept[i], m.kept[i-1]) == 1 {
			e := m.tmp[i] * m.tmp[i-1]
			s += e * e
		}
	}
	return math.Sqrt(s*float64(k+2)/float64(k-1)*float64(k)/df) / ss
}
