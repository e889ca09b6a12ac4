package circuit

import (
	"math"

	"cornerwright/internal/recording"
	"cornerwright/internal/signal"
)

// fixes are the GPS fixes of a recording in the circuit's plane, one row per
// real fix, still on the recording's clock.
type fixes struct {
	t    []float64
	x, y []float64 // m
	v    []float64 // m/s, NaN where no speed was logged near the fix
	h    []float64 // rad clockwise from north: logged heading, else from movement
	rate float64   // 1/s, median
	// logged tells whether v comes from a speed channel rather than from moves.
	logged bool
	// headed tells the same of h.
	headed bool
	// void marks places in time without a fix, see bridged; nil where none is.
	void []bool
}

// bridged is the fixes with places in time put into every hole: the rider's
// offset from the line and the error of the odometer grow step by step through
// the bends of a hole, and the step from one side to the other would miss them.
// Nothing but time and the speed beside them holds at a void.
func (f *fixes) bridged() *fixes {
	const step, most = 0.4, 120.0 // s
	limit := math.Max(2*step, 2.5/f.rate)
	extra := 0
	for i := 1; i < len(f.t); i++ {
		if dt := f.t[i] - f.t[i-1]; dt > limit && dt < most {
			extra += int(dt/step) - 1
		}
	}
	if extra == 0 {
		return f
	}
	n := len(f.t) + extra
	g := &fixes{rate: f.rate, logged: f.logged, headed: f.headed,
		t: make([]float64, 0, n), x: make([]float64, 0, n), y: make([]float64, 0, n), v: make([]float64, 0, n), h: make([]float64, 0, n), void: make([]bool, 0, n)}
	put := func(t, x, y, v, h float64, void bool) {
		g.t, g.x, g.y, g.v, g.h, g.void = append(g.t, t), append(g.x, x), append(g.y, y), append(g.v, v), append(g.h, h), append(g.void, void)
	}
	for i := range f.t {
		if i > 0 {
			if dt := f.t[i] - f.t[i-1]; dt > limit && dt < most {
				m := int(dt / step)
				for k := 1; k < m; k++ {
					u := float64(k) / float64(m)
					put(f.t[i-1]+u*dt, f.x[i-1]+u*(f.x[i]-f.x[i-1]), f.y[i-1]+u*(f.y[i]-f.y[i-1]), f.v[i-1]+u*(f.v[i]-f.v[i-1]), f.h[i-1], true)
				}
			}
		}
		put(f.t[i], f.x[i], f.y[i], f.v[i], f.h[i], false)
	}
	return g
}

// hole is the length (s) of the hole that the step to row i lies in, 0 for none.
func (f *fixes) hole(i int) float64 {
	if f.void == nil || !f.void[i] && !f.void[i-1] {
		return 0
	}
	a, b := i-1, i
	for a > 0 && f.void[a] {
		a--
	}
	for b < len(f.void)-1 && f.void[b] {
		b++
	}
	return f.t[b] - f.t[a]
}

// extent is the diagonal (m) of the box, east and north, that holds all fixes.
func (f *fixes) extent() float64 {
	x0, x1, y0, y1 := f.x[0], f.x[0], f.y[0], f.y[0]
	for i := range f.x {
		x0, x1 = math.Min(x0, f.x[i]), math.Max(x1, f.x[i])
		y0, y1 = math.Min(y0, f.y[i]), math.Max(y1, f.y[i])
	}
	return math.Hypot(x1-x0, y1-y0)
}

// isVoid tells whether row i is no fix.
func (f *fixes) isVoid(i int) bool { return f.void != nil && f.void[i] }

// readFixes gathers the fixes of a recording. A fix is new when latitude or
// longitude changed: loggers repeat the last fix between two real ones.
func readFixes(rec *recording.Recording, frame *Frame) fixes {
	la, lo := rec.Channel(recording.Latitude), rec.Channel(recording.Longitude)
	if la == nil || lo == nil {
		return fixes{}
	}
	alt := rec.Channel(recording.Altitude)
	if frame.Lat == 0 && frame.Lon == 0 {
		frame.Lat = signal.Median(la.Value)
		frame.Lon = signal.Median(lo.Value)
		if alt != nil {
			frame.Height = signal.Median(alt.Value)
		}
	}
	f := fixes{}
	sv, sh := rec.Channel(recording.GPSSpeed), rec.Channel(recording.GPSHeading)
	f.logged, f.headed = sv != nil, sh != nil
	var j, js, jh int
	lastLat, lastLon := math.NaN(), math.NaN()
	project := newPlane(*frame)
	for i, t := range la.Time {
		for j < len(lo.Time)-1 && lo.Time[j] < t-1e-6 {
			j++
		}
		if math.Abs(lo.Time[j]-t) > 0.02 {
			continue
		}
		lat, lon := la.Value[i], lo.Value[j]
		if lat == 0 && lon == 0 || math.Abs(lat) > math.Pi/2 || (lat == lastLat && lon == lastLon) {
			continue
		}
		lastLat, lastLon = lat, lon
		x, y := project.at(lat, lon)
		if math.Hypot(x, y) > 50e3 {
			continue // no fix of this circuit: a cold start's first guess
		}
		if n := len(f.t); n > 0 && t <= f.t[n-1] {
			continue
		}
		f.t, f.x, f.y = append(f.t, t), append(f.x, x), append(f.y, y)
		f.v = append(f.v, nearest(sv, t, &js))
		f.h = append(f.h, nearest(sh, t, &jh))
	}
	if len(f.t) < 8 {
		return fixes{}
	}
	d := make([]float64, 0, len(f.t))
	for i := 1; i < len(f.t); i++ {
		d = append(d, f.t[i]-f.t[i-1])
	}
	f.rate = 1 / math.Max(signal.Median(d), 1e-3)
	f.fill(sv != nil, sh != nil)
	return f
}

// nearest is the value of the sample closest to t, NaN when that is more than
// 0.6 s away.
func nearest(c *recording.Channel, t float64, j *int) float64 {
	if c == nil {
		return math.NaN()
	}
	for *j < len(c.Time)-1 && math.Abs(c.Time[*j+1]-t) <= math.Abs(c.Time[*j]-t) {
		*j++
	}
	if math.Abs(c.Time[*j]-t) > 0.6 {
		return math.NaN()
	}
	return c.Value[*j]
}

// fill derives speed and heading from movement where they were not logged.
func (f *fixes) fill(haveV, haveH bool) {
	n := len(f.t)
	for i := range f.t {
		a, b := max(0, i-1), min(n-1, i+1)
		dt := f.t[b] - f.t[a]
		dx, dy := f.x[b]-f.x[a], f.y[b]-f.y[a]
		if math.IsNaN(f.v[i]) && dt < 4 {
			f.v[i] = math.Hypot(dx, dy) / dt
		}
		if math.IsNaN(f.h[i]) || !haveH {
			f.h[i] = math.Atan2(dx, dy)
		}
	}
	if !haveV { // differenced positions are noisy: smooth over about 0.6 s
		w := int(math.Max(1, math.Round(0.3*f.rate)))
		v := append([]float64(nil), f.v...)
		for i := range v {
			var s, k float64
			for j := max(0, i-w); j <= min(n-1, i+w); j++ {
				if math.Abs(f.t[j]-f.t[i]) < 1.5 && !math.IsNaN(v[j]) {
					s += v[j]
					k++
				}
			}
			if k > 0 {
				f.v[i] = s / k
			}
		}
	}
	for i := range f.v {
		if math.IsNaN(f.v[i]) {
			f.v[i] = 0
		}
	}
}

// plane is the local east-north plane, linearised about the frame's origin to
// second order: exact to well under a millimetre within 5 km, and cheap.
type plane struct {
	f            Frame
	m, n, sl, cl float64
}

func newPlane(f Frame) plane {
	sl, cl := math.Sincos(f.Lat)
	w := 1 - ecc2*sl*sl
	return plane{f, semiMajor*(1-ecc2)/(w*math.Sqrt(w)) + f.Height, semiMajor/math.Sqrt(w) + f.Height, sl, cl}
}

func (p plane) at(lat, lon float64) (x, y float64) {
	dla, dlo := lat-p.f.Lat, lon-p.f.Lon
	if math.Abs(dla) > 1e-3 || math.Abs(dlo) > 2e-3 {
		x, y, _ = p.f.ENU(lat, lon, p.f.Height)
		return
	}
	x = p.n * p.cl * dlo * (1 - dla*p.sl/p.cl*(p.m/p.n))
	y = p.m*dla + 0.5*p.n*p.sl*p.cl*dlo*dlo + 1.5*p.m*ecc2*p.sl*p.cl*dla*dla/(1-ecc2*p.sl*p.sl)
	return
}
