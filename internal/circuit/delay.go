package circuit

import (
	"math"

	"cornerwright/internal/signal"
)

// The delay of the GPS against the wheel. GPS speed follows the wheel's as
// v_gps(t) = k w(t - L), so that the error of a delay shows as the share of the
// wheel's acceleration in what the two differ by. Two things of a tyre look much the
// same: it rolls on less radius the more load it carries, and load leaves the front
// as the bike speeds up; and it grows with speed. Both are unknowns beside the delay
// (v a, and v cubed), held to what a tyre can do.
const (
	delayLean  = 0.2  // rad
	delayDrive = -1.2 // m/s2: a braked wheel slips as hard as it brakes, which looks just like a delay
	delaySpin  = 12.0 // m/s2: faster than a motorcycle, a front wheel that comes down
	delayApart = 0.3  // s on either side within which all of that must hold: path and bike lean one after the other
	delayFixes = 200  // fewer tell nothing

	loadUsual   = 7e-4 // 1/(m/s2), spread of the radius by load: 0.6 % for 1,000 N, 110 N for 1 m/s2
	growthUsual = 1e-6 // 1/(m/s)2, of growth: 0.6 % at 80 m/s
)

// lagDoubt (s) is what not knowing leaves by how much a wheel trails the road: its
// tyre turns it over a relaxation length of a decimetre (from memory), and its speed is
// that of the last interval between two teeth.
const lagDoubt = 0.001

// Unknowns of the delay's fit. Load and growth are in their usual sizes.
const (
	dScale = iota
	dDelay
	dCrown
	dLoad
	dGrowth
)

// steady tells of every sample of the grid whether the bike was upright, off the brakes
// and its front wheel on the road, there and for delayApart before and after.
func (d *odometer) steady(phi []float64) []bool {
	out := make([]bool, len(phi))
	w := int(delayApart / d.dt)
	last := -1 // last sample that was not
	for i := range out {
		if math.Abs(phi[i]) > delayLean || d.accel[i] < delayDrive || d.accel[i] > delaySpin {
			last = i
		}
		if i-last > 2*w {
			out[i-w] = true
		}
	}
	return out
}

// driven is one fix of the fit.
type driven struct {
	t, y, rest float64 // rest NaN: taken out
	x          vec5
}

// driveDelay fits what is left of the delay on upright stretches that do not brake,
// where an error in the lean cannot pass for one. The error of GPS speed is white
// noise and one with a memory (Gauss-Markov), both found from the residuals; the fit
// is the generalised least-squares one, through the Kalman filter of that error.
func (d *odometer) driveDelay(f *fixes, phi []float64, steady []bool, limits []float64) (x, sd vec5, ok bool) {
	rows := make([]driven, 0, len(f.t)/4)
	for i, at := range f.t {
		t := at - d.latency - d.speedLag
		k := int(math.Round((t - d.t0) / d.dt))
		if k < 0 || k >= len(steady) || !steady[k] {
			continue
		}
		v := signal.At(d.raw, d.t0, d.dt, t)
		if v < 12 {
			continue
		}
		a := signal.At(d.accel, d.t0, d.dt, t)
		rows = append(rows, driven{t: at, y: f.v[i],
			x: vec5{v, a, v * (1 - math.Cos(signal.At(phi, d.t0, d.dt, t))), v * a * loadUsual, v * v * v * growthUsual}})
	}
	if len(rows) < delayFixes {
		return x, sd, false
	}
	e := speedError{white: 1}
	for pass := range len(limits) + 1 {
		norm, b, _, _ := e.normal(rows, x)
		if x, sd, ok = solve5(norm, b); !ok {
			return x, sd, false
		}
		for i := range rows {
			r := &rows[i]
			r.rest = r.y
			for k, c := range x {
				r.rest -= c * r.x[k]
			}
		}
		part(rows, limits[min(pass, len(limits)-1)])
		e = errorOf(rows, f.rate)
	}
	norm, b, squares, count := e.normal(rows, x)
	if x, sd, ok = solve5(norm, b); !ok || count < delayFixes {
		return x, sd, false
	}
	wide := math.Max(1, squares/count)
	for k := range norm {
		norm[k] /= wide
	}
	for k := range sd {
		sd[k] *= math.Sqrt(wide)
	}
	d.info = norm
	return x, sd, true
}

// speedError is the error of GPS speed: white noise and one with a memory (s), both as
// variances.
type speedError struct{ white, slow, memory float64 }

// normal are the normal equations of the fit through the Kalman filter of the slow
// error, and the sum of squares that x leaves, each over its variance.
func (e *speedError) normal(rows []driven, x vec5) (norm mat5, b vec5, squares, count float64) {
	// The crown is a tenth of the radius to a third; where nothing leans it is not told.
	norm[dCrown*5+dCrown], norm[dLoad*5+dLoad], norm[dGrowth*5+dGrowth] = 1, 1, 1
	var held vec5 // the slow error as filtered, of every column
	var heldY float64
	p, last, gap, keep := e.slow, math.Inf(-1), -1.0, 0.0
	for i := range rows {
		row := &rows[i]
		if row.rest != row.rest {
			continue
		}
		r, y, w := row.x, row.y, 1/e.white
		if e.slow > 0 {
			if g := row.t - last; math.Abs(g-gap) > 1e-4 {
				gap, keep = g, math.Exp(-g/e.memory)
			}
			p = e.slow + keep*keep*(p-e.slow)
			for k := range r {
				held[k] *= keep
				r[k] -= held[k]
			}
			heldY *= keep
			y -= heldY
			w = 1 / (p + e.white)
			for k := range r {
				held[k] += p * w * r[k]
			}
			heldY += p * w * y
			p *= 1 - p*w
			last = row.t
		}
		m := y
		for k := range r {
			for q := 0; q <= k; q++ {
				norm[k*5+q] += w * r[k] * r[q]
			}
			b[k] += w * r[k] * y
			m -= x[k] * r[k]
		}
		squares, count = squares+w*m*m, count+1
	}
	return norm, b, squares, count
}

// part takes out (NaN) where wheel and GPS speed part by more than limit (m/s) or 3.5
// robust standard deviations, and what lies within half a second of it: a front wheel
// in the air slows down little by little.
func part(rows []driven, limit float64) {
	rest := make([]float64, len(rows))
	for i := range rows {
		rest[i] = rows[i].rest
	}
	limit = math.Min(limit, 3.5*signal.Spread(sample(rest, 3000)))
	first, until := 0, math.Inf(-1)
	for i, r := range rest {
		t := rows[i].t
		if math.Abs(r) > limit {
			until = t + 0.5
			for first < i && rows[first].t < t-0.5 {
				first++
			}
			for ; first < i; first++ {
				rows[first].rest = math.NaN()
			}
		}
		if t <= until {
			rows[i].rest = math.NaN()
		}
	}
}

// errorOf parts residuals into white noise and an error with a memory, from the
// covariances of neighbours and of fixes one second apart.
func errorOf(rows []driven, rate float64) speedError {
	step := 1 / rate
	lag := func(k int) (c, n float64) {
		for i := k; i < len(rows); i++ {
			if p := rows[i].rest * rows[i-k].rest; p == p && rows[i].t-rows[i-k].t < (float64(k)+0.5)*step {
				c, n = c+p, n+1
			}
		}
		return c / math.Max(1, n), n
	}
	all, n := lag(0)
	second := max(2, int(math.Round(rate)))
	near, _ := lag(1)
	far, _ := lag(second)
	if near < 2*all/math.Sqrt(n) {
		return speedError{white: all}
	}
	memory := 6.0 // s, the most that a second tells
	if far < near {
		memory = math.Min(memory, float64(second-1)*step/math.Log(near/math.Max(far, 1e-3*near)))
	}
	memory = math.Max(0.3, memory)
	slow := math.Min(0.95*all, near*math.Exp(step/memory))
	return speedError{all - slow, slow, memory}
}
