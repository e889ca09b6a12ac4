package verdict

import (
	"math"
	"slices"
)

// The fixed choices of the method. They were set on one family of simulated
// runs and checked on others; docs/method.md says which.
const (
	slowLimit  = 5.0   // robust standard deviations beyond which a slow lap is set aside
	guardRho   = 0.3   // lap-to-lap correlation that every interval is wide enough for
	seMargin   = 1.015 // what the slow-lap rule takes too much from the scatter of clean laps
	huberK     = 1.345 // 95 % efficiency at the normal
	bisquareC  = 4.685 // likewise
	huberSteps = 8
	bisqSteps  = 7
	maxCoef    = 40
)

// rows is a small linear model with room to work in: y = X beta + e, one row
// per lap, rows in order of run and lap. It is reused between fits so that a
// fit allocates nothing.
type rows struct {
	n, p     int
	x        []float64 // n x p, row major
	y        []float64
	at       []float64 // lap number, for distances between laps
	run      []int     // rows of unlike run are independent
	keep     []bool
	contrast [maxCoef]float64 // the effect is contrast . beta

	w, res, tmp []float64
	xw, yw, hat []float64
	kept        []int
	whole       float64   // inflation with every row kept, for wholeRhos; 0 not known yet
	wholeRhos   []float64 // it does not look at y, so simulations ask for it once
	mat         [maxCoef * maxCoef]float64
	rhs, beta   [maxCoef]float64
}

// reset makes room for n rows of p coefficients; all rows are kept.
func (m *rows) reset(n, p int) {
	if p > maxCoef {
		panic("verdict: too many coefficients")
	}
	m.n, m.p = n, p
	m.x = grow(m.x, n*p)
	m.y, m.at = grow(m.y, n), grow(m.at, n)
	m.w, m.res, m.tmp = grow(m.w, n), grow(m.res, n), grow(m.tmp, n)
	m.xw, m.yw, m.hat = grow(m.xw, n*p), grow(m.yw, n), grow(m.hat, n*p)
	if cap(m.run) < n {
		m.run, m.keep, m.kept = make([]int, n), make([]bool, n), make([]int, n)
	}
	m.run, m.keep, m.kept = m.run[:n], m.keep[:n], m.kept[:n]
	for i := range n {
		m.keep[i], m.run[i] = true, 0
	}
	m.contrast, m.whole = [maxCoef]float64{}, 0
}

func grow(s []float64, n int) []float64 {
	if cap(s) < n {
		return make([]float64, n, n+n/2)
	}
	return s[:n]
}

// solve fits by least squares the rows of x and y with weights w (nil for 1),
// leaves beta, and returns contrast' (X'WX)^-1 contrast. ok is false when the
// columns are linearly dependent.
func (m *rows) solve(x, y, w []float64, n int) (v float64, ok bool) {
	p := m.p
	a := m.mat[:p*p]
	for i := range a {
		a[i] = 0
	}
	b := m.rhs[:p]
	for j := range b {
		b[j] = 0
	}
	for i := range n {
		wi := 1.0
		if w != nil {
			if wi = w[i]; wi == 0 {
				continue
			}
		}
		r := x[i*p : i*p+p]
		for j, xj := range r {
			if xj == 0 {
				continue
			}
			t := wi * xj
			b[j] += t * y[i]
			for k := 0; k <= j; k++ {
				a[j*p+k] += t * r[k]
			}
		}
	}
	// Cholesky, lower. Columns are centred and scaled by their makers, so the
	// normal equations lose no digits that laps have.
	for j := range p {
		d := a[j*p+j]
		full := d
		for k := range j {
			d -= a[j*p+k] * a[j*p+k]
		}
		if !(d > 1e-9*full) {
			return math.NaN(), false
		}
		d = math.Sqrt(d)
		a[j*p+j] = d
		for i := j + 1; i < p; i++ {
			s := a[i*p+j]
			for k := range j {
				s -= a[i*p+k] * a[j*p+k]
			}
			a[i*p+j] = s / d
		}
	}
	beta := m.beta[:p]
	for j := range p {
		s := b[j]
		for k := range j {
			s -= a[j*p+k] * beta[k]
		}
		beta[j] = s / a[j*p+j]
	}
	for j := p - 1; j >= 0; j-- {
		s := beta[j]
		for k := j + 1; k < p; k++ {
			s -= a[k*p+j] * beta[k]
		}
		beta[j] = s / a[j*p+j]
	}
	var z [maxCoef]float64
	for j := range p {
		s := m.contrast[j]
		for k := range j {
			s -= a[j*p+k] * z[k]
		}
		z[j] = s / a[j*p+j]
		v += z[j] * z[j]
	}
	return v, true
}

// effect returns contrast . beta of the last solve.
func (m *rows) effect() float64 {
	s := 0.0
	for j := range m.p {
		s += m.contrast[j] * m.beta[j]
	}
	return s
}

// residuals of the last solve for all rows, kept or not.
func (m *rows) residuals() {
	for i := range m.n {
		s := m.y[i]
		for j, xj := range m.x[i*m.p : i*m.p+m.p] {
			s -= xj * m.beta[j]
		}
		m.res[i] = s
	}
}

// robustScale is median |residual| / 0.6745 with the small-sample factor
// sqrt(n/(n-p)), which makes up for the residuals that the fit has pressed to
// zero.
func (m *rows) robustScale() float64 {
	for i, r := range m.res[:m.n] {
		m.tmp[i] = math.Abs(r)
	}
	t := m.tmp[:m.n]
	sortSmall(t)
	med := t[m.n/2]
	if m.n%2 == 0 {
		med = (t[m.n/2-1] + t[m.n/2]) / 2
	}
	return med / 0.6744897501960817 * math.Sqrt(float64(m.n)/float64(m.n-m.p))
}

// sortSmall sorts in place; insertion is quickest at the lengths laps have.
func sortSmall(t []float64) {
	if len(t) > 48 {
		slices.Sort(t)
		return
	}
	for i := 1; i < len(t); i++ {
		v := t[i]
		j := i - 1
		for j >= 0 && t[j] > v {
			t[j+1] = t[j]
			j--
		}
		t[j+1] = v
	}
}

// robust fits the model with the effect in it, so that a slow setting is not
// taken for slow laps, and returns the robust scale of the residuals, which it
// leaves in m.res. A scale of 0 means that at least half of the laps lie
// exactly on the fit.
func (m *rows) robust() (scale float64, ok bool) {
	if m.n <= m.p {
		return math.NaN(), false
	}
	if _, ok = m.solve(m.x, m.y, nil, m.n); !ok {
		return math.NaN(), false
	}
	m.residuals()
	scale = m.robustScale()
	for step := range huberSteps + bisqSteps {
		if !(scale > 0) {
			return scale, true
		}
		for i, r := range m.res[:m.n] {
			u := math.Abs(r) / scale
			if step < huberSteps {
				m.w[i] = 1
				if u > huberK {
					m.w[i] = huberK / u
				}
			} else {
				m.w[i] = 0
				if u < bisquareC {
					t := u / bisquareC
					t = 1 - t*t
					m.w[i] = t * t
				}
			}
		}
		if _, ok := m.solve(m.x, m.y, m.w, m.n); !ok {
			// The weights have emptied one side; the last good residuals stand.
			return scale, true
		}
		m.residuals()
		scale = m.robustScale()
	}
	return scale, true
}

// setAside clears keep for laps worse than slowLimit robust standard
// deviations, worst first, at most a quarter of all laps. bad is +1 where large
// values are bad laps, -1 where small ones are, 0 for both. It returns how many
// were set aside; the robust residuals stay in m.res.
func (m *rows) setAside(bad float64) (out int, scale float64, ok bool) {
	scale, ok = m.robust()
	if !ok || !(scale > 0) {
		return 0, scale, ok
	}
	for out < m.n/4 {
		worst, at := slowLimit*scale, -1
		for i, r := range m.res[:m.n] {
			u := r * bad
			if bad == 0 {
				u = math.Abs(r)
			}
			if m.keep[i] && u > worst {
				worst, at = u, i
			}
		}
		if at < 0 {
			break
		}
		m.keep[at] = false
		out++
	}
	return out, scale, ok
}

// fitted is the outcome of one fit.
type fitted struct {
	value, se float64
	sd        float64 // residual standard deviation of a lap
	df        float64
}

// compact copies the kept rows together and returns how many there are.
func (m *rows) compact() int {
	p, k := m.p, 0
	for i := range m.n {
		if m.keep[i] {
			copy(m.xw[k*p:k*p+p], m.x[i*p:i*p+p])
			m.yw[k] = m.y[i]
			m.kept[k] = i
			k++
		}
	}
	return k
}

// correlation of the errors of rows i and j when neighbouring laps of a run
// correlate by rho: rho^(distance in laps), keeping the sign of a negative rho.
func (m *rows) correlation(i, j int, rho float64) float64 {
	if i == j {
		return 1
	}
	if m.run[i] != m.run[j] {
		return 0
	}
	d := math.Abs(m.at[i] - m.at[j])
	if d == 1 {
		return rho
	}
	return math.Pow(rho, math.Round(d))
}

// guarded fits the kept rows by least squares and widens the standard error by
// what the worst of the guard correlations would do to it on this very order:
// laps of one rider resemble their neighbours by an amount that one run is too
// short to tell. floor is the smallest residual standard deviation that the
// measuring error allows. An order whose estimate correlation makes better, not
// worse, is not narrowed.
func (m *rows) guarded(floor float64, rhos ...float64) (f fitted, ok bool) {
	k, p := m.compact(), m.p
	if k <= p {
		return f, false
	}
	v, ok := m.solve(m.xw, m.yw, nil, k)
	if !ok {
		return f, false
	}
	ss := 0.0
	for i := range k {
		s := m.yw[i]
		for j, xj := range m.xw[i*p : i*p+p] {
			s -= xj * m.beta[j]
		}
		ss += s * s
	}
	f = fitted{value: m.effect(), df: float64(k - p)}
	f.sd = math.Max(floor, math.Sqrt(ss/f.df))
	wide := m.whole
	if k < m.n || wide == 0 || !slices.Equal(rhos, m.wholeRhos) {
		if wide = m.inflation(k, f.df, rhos); k == m.n {
			m.whole, m.wholeRhos = wide, append(m.wholeRhos[:0], rhos...)
		}
	}
	f.se = seMargin * f.sd * math.Sqrt(v*wide)
	return f, true
}

// inflation is the largest ratio, over the guard correlations and 1, of the
// true variance of the least squares effect to the variance that least squares
// expects itself to have:
//
//	(c'C X'RX C c / c'C c) / (tr(MR) / df),  C = (X'X)^-1, M = I - X C X'.
//
// It needs the factor that solve has left in m.mat for the compacted rows.
func (m *rows) inflation(k int, df float64, rhos []float64) float64 {
	p := m.p
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
	den := 0.0
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
		den += a * a
	}
	worst := 1.0
	for _, rho := range rhos {
		num, tr := den, df
		for i := range k {
			for j := range i {
				r := m.correlation(m.kept[i], m.kept[j], rho)
				if math.Abs(r) < 1e-4 {
					continue
				}
				num += 2 * r * m.w[i] * m.w[j]
				hij := 0.0
				for c, hc := range m.hat[i*p : i*p+p] {
					hij += hc * m.hat[j*p+c]
				}
				tr -= 2 * r * hij
			}
		}
		if tr > 0 {
			worst = math.Max(worst, num/den*df/tr)
		}
	}
	return worst
}

// method is the whole estimate within runs on the values in y: set slow laps
// aside, fit, widen for correlation. It is what plans and simulations repeat.
func (m *rows) method(bad, floor float64, rhos []float64) (f fitted, out int, ok bool) {
	for i := range m.n {
		m.keep[i] = true
	}
	if out, _, ok = m.setAside(bad); !ok {
		return f, out, false
	}
	f, ok = m.guarded(floor, rhos...)
	if out > 0 {
		f.df--
	}
	return f, out, ok && f.df >= 1
}
