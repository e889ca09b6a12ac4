package verdict

import (
	"math"
	"slices"
)

// The fixed choices of the method. They were set on one family of simulated
// runs and checked on others; docs/method.md says which.
const (
	guardRho   = 0.3   // lap-to-lap correlation that every interval is wide enough for
	topRho     = 0.5   // most correlation that laps are believed to have
	rhoBelow   = 0.5   // standard errors below and, for one there-and-back, above the
	rhoAbove   = 0.7   // correlation of the laps themselves that bound what is guarded against
	huberK     = 1.345 // 95 % efficiency at the normal
	bisquareC  = 4.685 // likewise
	huberSteps = 8
	bisqSteps  = 7
	maxCoef    = 40
	maxRuns    = 24 // fitted together: with lines and covariates they stay below maxCoef
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
	bend     bool             // the drift has a bend, as for one there-and-back
	contrast [maxCoef]float64 // the effect is contrast . beta

	w, res, tmp []float64
	xw, yw, hat []float64
	kept        []int
	whole       lags // with every row kept: it does not look at y, so that
	hasWhole    bool // simulations ask for it once
	mat         [maxCoef * maxCoef]float64
	rhs, beta   [maxCoef]float64
	parts       []part // what the slow laps could be, once setAside has looked
	suspects    []int
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
	m.contrast, m.hasWhole, m.parts = [maxCoef]float64{}, false, m.parts[:0]
}

// clone is the same model with room of its own.
func (m *rows) clone() *rows {
	c := &rows{}
	c.reset(m.n, m.p)
	copy(c.x, m.x)
	copy(c.y, m.y)
	copy(c.at, m.at)
	copy(c.run, m.run)
	copy(c.keep, m.keep)
	c.bend, c.contrast = m.bend, m.contrast
	return c
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
	return middle(m.tmp[:m.n]) / 0.6744897501960817 * math.Sqrt(float64(m.n)/float64(m.n-m.p))
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

// start returns the values with those that are absurd brought in, as no number of
// steps finds back from a fit through them; m.yw holds them where there are any.
func (m *rows) start() []float64 {
	med := middle(append(m.tmp[:0], m.y[:m.n]...))
	for i, y := range m.y[:m.n] {
		m.tmp[i] = math.Abs(y - med)
	}
	reach := absurd * middle(m.tmp[:m.n])
	if !(reach > 0) {
		return m.y
	}
	for i, y := range m.y[:m.n] {
		m.yw[i] = math.Max(med-reach, math.Min(med+reach, y))
	}
	return m.yw
}

// absurd is the distance from the median, in median distances, that no lap and no
// drift makes.
const absurd = 30

// middle is the median; it sorts t.
func middle(t []float64) float64 {
	sortSmall(t)
	n := len(t)
	if n%2 == 0 {
		return (t[n/2-1] + t[n/2]) / 2
	}
	return t[n/2]
}

// robust fits the model with the effect in it, so that a slow setting is not
// taken for slow laps, and returns the robust scale of the residuals, which it
// leaves in m.res. A scale of 0 means that at least half of the laps lie
// exactly on the fit.
func (m *rows) robust() (scale float64, ok bool) {
	if m.n <= m.p {
		return math.NaN(), false
	}
	if _, ok = m.solve(m.x, m.start(), nil, m.n); !ok {
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

// fitted is the outcome of one fit.
type fitted struct {
	value, se float64
	sd        float64 // residual standard deviation of a lap
	df        float64
	unit      float64 // variance of the effect for a lap sd of 1
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

// guarded fits the kept rows by least squares and widens the standard error by
// what correlation between neighbouring laps would do to it on this very order.
// One run is too short to tell the correlation, so the worst within what is
// credible is taken: from half a standard error below what the laps show (an
// order that correlation makes better is given that much credit and no more) to
// the guard. One there-and-back, which the guard costs most, is let off it where
// the laps speak against it. floor is the smallest residual standard deviation
// that the measuring error allows.
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
		m.tmp[i] = s
		ss += s * s
	}
	f = fitted{value: m.effect(), df: float64(k - p)}
	f.sd = math.Max(floor, math.Sqrt(ss/f.df))
	var g lags
	if k == m.n && m.hasWhole {
		g = m.whole
	} else if g = m.lagsOf(k); k == m.n {
		m.whole, m.hasWhole = g, true
	}
	r := 0.0
	if ss > 0 {
		r = m.lagOne(&g, k, ss)
	}
	step := 1 / math.Sqrt(float64(k))
	low := math.Min(topRho, math.Max(0, r-rhoBelow*step))
	wide := g.inflation(low)
	for _, rho := range rhos {
		if rho > 0 {
			if m.bend {
				rho = math.Min(rho, math.Max(0, r+rhoAbove*m.lagError(k, f.df, ss)))
			}
			rho = math.Max(low, rho)
		}
		wide = math.Max(wide, g.inflation(rho))
	}
	f.unit = v * wide
	f.se = f.sd * math.Sqrt(f.unit)
	return f, true
}
