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
}

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
