package circuit

import "math"

// The joint smoother: along-track error of the odometer, its scale, the slowly
// varying GPS error in both axes and the rider's offset from the line are one
// state, estimated over the whole run at once. It is the least-squares solution
// of a linear Gaussian state model (Rauch, Tung and Striebel 1965), solved as a
// block-tridiagonal system.
//
// State at each fix: [ds, b, cx, cy, d].
const (
	iDS = iota // m, true S minus nominal S
	iB         // relative error of the odometer's scale
	iCX        // m, slow GPS error east
	iCY        // m, slow GPS error north
	iD         // m, rider right of the line
	nState
)

// noise holds the spectral densities and priors of the model.
type noise struct {
	white     float64 // m per axis
	slow, tau float64 // m, s: Gauss-Markov GPS error
	slowStart float64 // m: its spread before the first fix (wide where an offset is expected)
	walk      float64 // m2/s: odometer
	bad       float64 // m2/s more, where wheel speed was replaced
	blind     float64 // share of speed by which a lap differs from the others where nothing tells it
	drift     float64 // 1/s: of the scale
	scale     float64 // prior spread of the scale
	offset    float64 // m: rider's offset
	forget    float64 // s: time over which it is forgotten
	speed     float64 // m/s: of the GPS speed row, weak because its error is correlated
	start     float64 // m: spread of ds before the first fix
	leap      float64 // m: of a jump of the GPS error
}

// leastReach (m) keeps a bike that stands from forgetting where it stands.
const leastReach = 10.0

// offReach (m) is how far a bike off the circuit, in the pit lane or a run-off, goes
// before it may be anywhere else aside: it does not come back in a rider's own time.
const offReach = 120.0

func defaultNoise() noise {
	return noise{white: 0.6, slow: 1.2, tau: 200, slowStart: 1.5, walk: 0.001, bad: 0.02,
		drift: 1e-8, scale: 0.003, offset: 0.5, forget: 3, speed: 0.5, start: 5, leap: 4, blind: 0.05}
}

type mat5 [nState * nState]float64
type vec5 [nState]float64

// row is one fix as the smoother sees it.
type row struct {
	dt, do, dnom float64 // s, m by odometer, m of nominal S since the fix before
	kappa        float64 // 1/m of the line between the two
	bow, more    float64 // change of the way along by offset (1/m), and m of it beyond that, see lay
	bad          bool    // wheel speed replaced since the fix before
	blind        float64 // s, length of the hole that this step lies in and in which nothing tells the speed
	lift         float64 // m2 more, where nothing shows whether the wheel was in the air, see lifts
	off          bool    // off the circuit here or at the fix before
	jump         bool    // the GPS error jumped since the fix before
	tx, ty       float64 // tangent
	rx, ry       float64 // m, fix minus line point
	w            float64 // weight of the fix, 0 = not used
	v, dv        float64 // m/s: speed, GPS speed minus odometer speed (NaN none)
	cd           float64 // m to the right of the line's direction since the fix before, by GPS heading
	cw           float64 // 1/m2, weight of cd, 0 = none
	gd           float64 // m by GPS speed less what the odometer has, since the fix before
	gw           float64 // 1/m2, weight of gd, 0 = none
}

// strays is the variance (m2) that the odometer gathers on the way to a row.
func (r *row) strays(q *noise) float64 {
	v := q.walk*r.dt + 1e-8 + r.lift
	if r.bad {
		v += q.bad * r.dt
	}
	if r.blind > 0 {
		v += sq(q.blind*r.v) * r.blind / 4 * r.dt
	}
	return v
}

// smoother keeps its work space so that rounds cost no fresh memory.
type smoother struct {
	misfit float64 // -2 log likelihood of the data, but for a constant
	x      []vec5  // solution
	p      []mat5  // marginal covariance
	g      []mat5  // gain: x[i] given x[i+1] moves by g[i] (x[i+1] - E)
	diag   []mat5
	off    []mat5
	factor [][3]float64 // what elimination adds to the misfit of each row
}

// solve fills x, and p and g when cov is asked for.
func (sm *smoother) solve(rows []row, q noise, cov bool) bool {
	if !sm.reduce(rows, q) {
		return false
	}
	sm.back(cov)
	return true
}

// reduce sets up the normal equations and eliminates forward, which is all that
// the likelihood needs. Each factor's own normaliser counts, so that misfits
// under different noise may be compared.
func (sm *smoother) reduce(rows []row, q noise) bool {
	n := len(rows)
	if cap(sm.x) < n {
		sm.x, sm.p, sm.g = make([]vec5, n), make([]mat5, n), make([]mat5, n)
		sm.diag, sm.off, sm.factor = make([]mat5, n), make([]mat5, n), make([][3]float64, n)
	}
	sm.x, sm.p, sm.g = sm.x[:n], sm.p[:n], sm.g[:n]
	sm.diag, sm.off, sm.factor = sm.diag[:n], sm.off[:n], sm.factor[:n]
	sm.diag[0] = mat5{}
	var fit float64
	// Logarithms are dear: they are taken of products.
	prod, count := 1.0, 0
	ln := func(v float64) {
		prod *= v
		if count++; count == 8 {
			fit += math.Log(prod)
			prod, count = 1, 0
		}
	}
	prior := [nState]float64{sq(q.start), sq(q.scale), sq(q.slowStart), sq(q.slowStart), sq(q.offset)}
	for k, v := range prior {
		sm.diag[0][k*nState+k] += 1 / v
		ln(v)
	}
	// Set up and eliminated in one walk, while a row is in the processor's cache.
	for i := range rows {
		r := &rows[i]
		d := &sm.diag[i]
		b := &sm.x[i]
		sm.off[i], *b = mat5{}, vec5{}
		if i > 0 {
			*d = mat5{}
		}
		if r.w > 0 {
			w := r.w / sq(q.white)
			// x row: [tx 0 1 0 nx], y row: [ty 0 0 1 ny], normal to the right.
			nx, ny := r.ty, -r.tx
			d[iDS*5+iDS] += w
			d[iCX*5+iCX] += w
			d[iCY*5+iCY] += w
			d[iD*5+iD] += w
			d[iCX*5+iDS] += w * r.tx
			d[iCY*5+iDS] += w * r.ty
			d[iD*5+iCX] += w * nx
			d[iD*5+iCY] += w * ny
			b[iDS] += w * (r.tx*r.rx + r.ty*r.ry)
			b[iCX] += w * r.rx
			b[iCY] += w * r.ry
			b[iD] += w * (nx*r.rx + ny*r.ry)
			fit += w * (r.rx*r.rx + r.ry*r.ry)
			ln(1 / (w * w))
		}
		if !math.IsNaN(r.dv) && r.v > 3 {
			w := 1 / sq(q.speed)
			d[iB*5+iB] += w * r.v * r.v
			b[iB] += w * r.v * r.dv
			fit += w * r.dv * r.dv
		}
		if i == 0 {
			continue
		}
		// x[i] = F x[i-1] + u + noise.
		rc := math.Exp(-r.dt / q.tau)
		way := math.Abs(r.do)
		reach := math.Max(leastReach, q.forget*way/r.dt)
		if r.off {
			reach = math.Max(reach, offReach)
		}
		rd := math.Exp(-way / reach)
		qs := r.strays(&q)
		qc := sq(q.slow)*(1-rc*rc) + 1e-9
		if r.jump {
			qc += sq(q.leap)
		}
		iq := [nState]float64{1 / qs, 1 / (q.drift*r.dt + 1e-14), 1 / qc, 1 / qc, 1 / (sq(q.offset)*(1-rd*rd) + 1e-8)}
		u := r.do + r.more - r.dnom
		fit += iq[iDS] * u * u
		ln(1 / (iq[iDS] * iq[iCX]))
		ln(1 / (iq[iCY] * iq[iD]))
		// The way along is longer by what the offset makes of the bend, at the mean of the
		// offsets at either end: ds[i] - ds[i-1] - fb b[i-1] - fd (d[i-1] + d[i]) = u.
		fb, fd := r.do, 0.5*r.do*r.bow
		prev := &sm.diag[i-1]
		pb := &sm.x[i-1]
		e := &sm.off[i] // element (row of x[i], column of x[i-1])
		w := iq[iDS]
		prev[iDS*5+iDS] += w
		prev[iB*5+iDS] += w * fb
		prev[iB*5+iB] += w*fb*fb + iq[iB]
		prev[iD*5+iDS] += w * fd
		prev[iD*5+iB] += w * fd * fb
		prev[iD*5+iD] += w*fd*fd + iq[iD]*rd*rd
		prev[iCX*5+iCX] += iq[iCX] * rc * rc
		prev[iCY*5+iCY] += iq[iCY] * rc * rc
		e[iDS*5+iDS] = -w
		e[iDS*5+iB] = -w * fb
		e[iDS*5+iD] = -w * fd
		e[iD*5+iDS] = w * fd
		e[iD*5+iB] = w * fd * fb
		e[iB*5+iB] = -iq[iB]
		e[iCX*5+iCX] = -iq[iCX] * rc
		e[iCY*5+iCY] = -iq[iCY] * rc
		e[iD*5+iD] = w*fd*fd - iq[iD]*rd
		for k := 0; k < nState; k++ {
			d[k*5+k] += iq[k]
		}
		d[iD*5+iDS] -= w * fd
		d[iD*5+iD] += w * fd * fd
		pb[iDS] -= w * u
		pb[iB] -= w * u * fb
		pb[iD] -= w * u * fd
		b[iDS] += w * u
		b[iD] -= w * u * fd
		if c := r.gw; c > 0 {
			// The way by GPS speed: ds[i] - ds[i-1] - fd (d[i-1] + d[i]) = gd + u.
			g := r.gd + u
			d[iDS*5+iDS] += c
			d[iD*5+iDS] -= c * fd
			d[iD*5+iD] += c * fd * fd
			prev[iDS*5+iDS] += c
			prev[iD*5+iDS] += c * fd
			prev[iD*5+iD] += c * fd * fd
			e[iDS*5+iDS] -= c
			e[iDS*5+iD] -= c * fd
			e[iD*5+iDS] += c * fd
			e[iD*5+iD] += c * fd * fd
			b[iDS] += c * g
			b[iD] -= c * g * fd
			pb[iDS] -= c * g
			pb[iD] -= c * g * fd
			fit += c * g * g
			ln(1 / c)
		}
		if c := r.cw; c > 0 {
			// d[i] - d[i-1] + k (ds[i-1] + ds[i]) = cd: the line's own direction is that of
			// where the bike was, half the turn of the step for either end.
			k := 0.5 * r.do * r.kappa
			d[iD*5+iD] += c
			d[iD*5+iDS] += c * k
			d[iDS*5+iDS] += c * k * k
			prev[iD*5+iD] += c
			prev[iD*5+iDS] -= c * k
			prev[iDS*5+iDS] += c * k * k
			e[iD*5+iD] -= c
			e[iD*5+iDS] += c * k
			e[iDS*5+iD] -= c * k
			e[iDS*5+iDS] += c * k * k
			b[iD] += c * r.cd
			b[iDS] += c * k * r.cd
			pb[iD] -= c * r.cd
			pb[iDS] += c * k * r.cd
			fit += c * r.cd * r.cd
			ln(1 / c)
		}
		if !sm.eliminate(i - 1) {
			return false
		}
	}
	if !sm.eliminate(n - 1) {
		return false
	}
	for i := range sm.factor {
		f := &sm.factor[i]
		fit -= f[0]
		ln(f[1])
		ln(f[2])
	}
	sm.misfit = fit + math.Log(prod)
	return true
}

// eliminate is one step of the block Cholesky factorisation, lower triangles: row i,
// to which no other row adds any more; off[i] becomes L[i][i-1].
func (sm *smoother) eliminate(i int) bool {
	d, xb := &sm.diag[i], &sm.x[i]
	if i > 0 {
		l := &sm.diag[i-1]
		e := &sm.off[i]
		// Solve X l' = e row by row.
		for r := 0; r < 5; r++ {
			er := e[r*5 : r*5+5]
			er[0] /= l[0]
			er[1] = (er[1] - er[0]*l[5]) / l[6]
			er[2] = (er[2] - er[0]*l[10] - er[1]*l[11]) / l[12]
			er[3] = (er[3] - er[0]*l[15] - er[1]*l[16] - er[2]*l[17]) / l[18]
			er[4] = (er[4] - er[0]*l[20] - er[1]*l[21] - er[2]*l[22] - er[3]*l[23]) / l[24]
		}
		xp := &sm.x[i-1]
		for r := 0; r < 5; r++ {
			a := e[r*5 : r*5+5]
			for c := 0; c <= r; c++ {
				b := e[c*5 : c*5+5]
				d[r*5+c] -= a[0]*b[0] + a[1]*b[1] + a[2]*b[2] + a[3]*b[3] + a[4]*b[4]
			}
			xb[r] -= a[0]*xp[0] + a[1]*xp[1] + a[2]*xp[2] + a[3]*xp[3] + a[4]*xp[4]
		}
	}
	if !chol5(d) {
		return false
	}
	forward5(d, xb)
	sm.factor[i] = [3]float64{xb[0]*xb[0] + xb[1]*xb[1] + xb[2]*xb[2] + xb[3]*xb[3] + xb[4]*xb[4], sq(d[0] * d[6] * d[12]), sq(d[18] * d[24])}
	return true
}

// back solves backward from what reduce left.
func (sm *smoother) back(cov bool) {
	n := len(sm.x)
	for i := n - 1; i >= 0; i-- {
		x := &sm.x[i]
		if i+1 < n {
			e, nx := &sm.off[i+1], &sm.x[i+1]
			for c := 0; c < 5; c++ {
				x[c] -= e[c]*nx[0] + e[5+c]*nx[1] + e[10+c]*nx[2] + e[15+c]*nx[3] + e[20+c]*nx[4]
			}
		}
		backward5(&sm.diag[i], x)
		if !cov {
			continue
		}
		// S = (L L')^-1.
		var s mat5
		for k := 0; k < 5; k++ {
			var c vec5
			c[k] = 1
			forward5(&sm.diag[i], &c)
			backward5(&sm.diag[i], &c)
			for r := 0; r < 5; r++ {
				s[r*5+k] = c[r]
			}
		}
		if i+1 == n {
			sm.p[i] = s
			continue
		}
		// G = -L'^-1 off[i+1]'.
		g := &sm.g[i]
		for k := 0; k < 5; k++ {
			var c vec5
			for r := 0; r < 5; r++ {
				c[r] = -sm.off[i+1][k*5+r]
			}
			backward5(&sm.diag[i], &c)
			for r := 0; r < 5; r++ {
				g[r*5+k] = c[r]
			}
		}
		// P = S + G P1 G'.
		p1 := &sm.p[i+1]
		var h mat5
		for r := 0; r < 5; r++ {
			for c := 0; c < 5; c++ {
				var v float64
				for k := 0; k < 5; k++ {
					v += g[r*5+k] * p1[k*5+c]
				}
				h[r*5+c] = v
			}
		}
		for r := 0; r < 5; r++ {
			for c := 0; c < 5; c++ {
				v := s[r*5+c]
				for k := 0; k < 5; k++ {
					v += h[r*5+k] * g[c*5+k]
				}
				sm.p[i][r*5+c] = v
			}
		}
	}
}

func chol5(a *mat5) bool {
	if !(a[0] > 0) {
		return false
	}
	a[0] = math.Sqrt(a[0])
	a[5] /= a[0]
	s := a[6] - a[5]*a[5]
	if !(s > 0) {
		return false
	}
	a[6] = math.Sqrt(s)
	a[10] /= a[0]
	a[11] = (a[11] - a[10]*a[5]) / a[6]
	s = a[12] - a[10]*a[10] - a[11]*a[11]
	if !(s > 0) {
		return false
	}
	a[12] = math.Sqrt(s)
	a[15] /= a[0]
	a[16] = (a[16] - a[15]*a[5]) / a[6]
	a[17] = (a[17] - a[15]*a[10] - a[16]*a[11]) / a[12]
	s = a[18] - a[15]*a[15] - a[16]*a[16] - a[17]*a[17]
	if !(s > 0) {
		return false
	}
	a[18] = math.Sqrt(s)
	a[20] /= a[0]
	a[21] = (a[21] - a[20]*a[5]) / a[6]
	a[22] = (a[22] - a[20]*a[10] - a[21]*a[11]) / a[12]
	a[23] = (a[23] - a[20]*a[15] - a[21]*a[16] - a[22]*a[17]) / a[18]
	s = a[24] - a[20]*a[20] - a[21]*a[21] - a[22]*a[22] - a[23]*a[23]
	if !(s > 0) {
		return false
	}
	a[24] = math.Sqrt(s)
	return true
}

func forward5(l *mat5, b *vec5) {
	b[0] /= l[0]
	b[1] = (b[1] - l[5]*b[0]) / l[6]
	b[2] = (b[2] - l[10]*b[0] - l[11]*b[1]) / l[12]
	b[3] = (b[3] - l[15]*b[0] - l[16]*b[1] - l[17]*b[2]) / l[18]
	b[4] = (b[4] - l[20]*b[0] - l[21]*b[1] - l[22]*b[2] - l[23]*b[3]) / l[24]
}

func backward5(l *mat5, b *vec5) {
	b[4] /= l[24]
	b[3] = (b[3] - l[23]*b[4]) / l[18]
	b[2] = (b[2] - l[17]*b[3] - l[22]*b[4]) / l[12]
	b[1] = (b[1] - l[11]*b[2] - l[16]*b[3] - l[21]*b[4]) / l[6]
	b[0] = (b[0] - l[5]*b[1] - l[10]*b[2] - l[15]*b[3] - l[20]*b[4]) / l[0]
}

// respond overwrites a with P a, where P is the covariance of all states of all rows
// and a weighs them: the covariance of every state with the sum that a makes, whose
// variance is a' P a. It asks for a solution with covariances.
func (sm *smoother) respond(a []vec5) {
	n := len(sm.x)
	for i := range a {
		if i > 0 && a[i-1] != (vec5{}) {
			e, p := &sm.off[i], &a[i-1]
			for r := range a[i] {
				b := e[r*5 : r*5+5]
				a[i][r] -= b[0]*p[0] + b[1]*p[1] + b[2]*p[2] + b[3]*p[3] + b[4]*p[4]
			}
		}
		forward5(&sm.diag[i], &a[i])
	}
	for i := n - 1; i >= 0; i-- {
		x := &a[i]
		if i+1 < n {
			e, nx := &sm.off[i+1], &a[i+1]
			for c := range x {
				x[c] -= e[c]*nx[0] + e[5+c]*nx[1] + e[10+c]*nx[2] + e[15+c]*nx[3] + e[20+c]*nx[4]
			}
		}
		backward5(&sm.diag[i], x)
	}
}

// rest is what the solution leaves of a fix, east and north (m).
func (sm *smoother) rest(rows []row, i int) (x, y float64) {
	r, e := &rows[i], &sm.x[i]
	return r.rx - e[iCX] - r.tx*e[iDS] - r.ty*e[iD], r.ry - e[iCY] - r.ty*e[iDS] + r.tx*e[iD]
}

// cross gives Cov(ds[i], ds[j]) for i <= j: the gains carry the state of i to j.
func (sm *smoother) cross(i, j int) float64 {
	w := sm.walkFrom(i)
	return w.to(j)
}

// stroll carries the along-track error of one row on through the gains.
type stroll struct {
	sm *smoother
	at int
	r  vec5
}

func (sm *smoother) walkFrom(i int) stroll { return stroll{sm: sm, at: i, r: vec5{iDS: 1}} }

// to goes on to row j, not before where it is, and gives the covariance of the
// along-track errors of there and the start.
func (w *stroll) to(j int) float64 {
	for ; w.at < j; w.at++ {
		g, r := &w.sm.g[w.at], &w.r
		var o vec5
		for c := 0; c < 5; c++ {
			o[c] = r[0]*g[c] + r[1]*g[5+c] + r[2]*g[10+c] + r[3]*g[15+c] + r[4]*g[20+c]
		}
		w.r = o
	}
	p := &w.sm.p[j]
	var v float64
	for k := 0; k < 5; k++ {
		v += w.r[k] * p[k*5+iDS]
	}
	return v
}
