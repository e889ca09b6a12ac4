package circuit

import (
	"math"

	"cornerwright/internal/recording"
	"cornerwright/internal/signal"
)

const gravity = 9.80665

// odometer is believed ground speed on the even grid and its integral.
type odometer struct {
	t0, dt             float64
	v, o               []float64 // m/s, m
	raw                []float64 // logged wheel speed on the grid, nil without wheel speed
	accel              []float64 // m/s2 of raw, over 70 ms
	bad                []bool    // wheel speed not believed
	spans              []recording.Span
	put                []putBack // what disbelieving the wheel changed, span by span
	wheel              bool
	timed              bool    // without a wheel: the delay was found against the yaw rate
	latency, latencySE float64 // s, of the positions
	speedLag           float64 // s by which GPS speed is older than the position beside it
	scale, scaleSE     float64
	crown              float64
	leanLag            float64   // s by which the wheel's lean trails the path's
	load               float64   // 1/(m/s2), share of speed that the front wheel turns slower as the load leaves it
	growth             float64   // 1/(m/s)2, the same for speed
	gpsSD              float64   // m/s, robust scatter of GPS speed about the wheel
	shrink, shrinkRate []float64 // of calibrate, kept for the memory
	source             string
	info               mat5    // what GPS speed says of the delay's unknowns, see driveDelay
	fitted             bool    // info is there
	yaw, yawSE         float64 // s: delay by the yaw rate, beside a wheel; SE 0 for none
}

// putBack is by how much a way (m) about sample at was off by the wheel.
type putBack struct {
	at  int
	way float64
}

func (d *odometer) end() float64 { return d.t0 + d.dt*float64(len(d.v)-1) }

// at gives odometer distance and speed at recording time t.
func (d *odometer) at(t float64) (o, v float64) {
	u := (t - d.t0) / d.dt
	n := len(d.v)
	if u <= 0 {
		return d.o[0] + u*d.dt*d.v[0], d.v[0]
	}
	i := int(u)
	if i >= n-1 {
		return d.o[n-1] + (u-float64(n-1))*d.dt*d.v[n-1], d.v[n-1]
	}
	f := u - float64(i)
	v = d.v[i] + f*(d.v[i+1]-d.v[i])
	// The integral of a linear speed is a parabola between grid points.
	return d.o[i] + f*d.dt*(d.v[i]+0.5*f*(d.v[i+1]-d.v[i])), v
}

// newOdometer lays the grid and takes the wheel speed onto it.
func newOdometer(rec *recording.Recording, f *fixes) *odometer {
	span := rec.Span()
	rate := 10.0
	for _, c := range rec.Channels {
		if r := c.Rate(); r > rate && c.Known {
			rate = r
		}
	}
	rate = math.Min(math.Round(rate), 100)
	d := &odometer{t0: span.From, dt: 1 / rate}
	n := int(math.Floor((span.To-span.From)*rate+1e-6)) + 1
	d.v = make([]float64, n)
	if c := rec.Channel(recording.FrontSpeed); c != nil && c.Rate() > 4 {
		t, v := alive(c)
		if c.Rate() >= 40 { // a pulse missed is no slowness of the bike
			v, _ = signal.Despike(t, v, 1)
		}
		d.raw = signal.Resample(t, v, d.t0, d.dt, n)
		d.wheel = signal.Quantile(sample(d.raw, 20000), 0.9) > 5
	}
	if d.wheel {
		d.accel = slope(d.raw, d.dt, 0.07)
		d.coarseLatency(f)
		if l, se, ok := yawDelay(rec, f); ok {
			d.yaw, d.yawSE = l, se
		}
	} else if l, se, ok := yawDelay(rec, f); ok {
		d.latency, d.latencySE, d.timed = l, se, true
	}
	d.scale = 1
	return d
}

// alive are the samples of a wheel speed outside the stretches at which its sensor
// stood still.
func alive(c *recording.Channel) (t, v []float64) {
	var dead []recording.Span
	for _, m := range c.Marks { // in order of their beginning
		if m.Kind == recording.Stuck {
			dead = append(dead, m.Span)
		}
	}
	if len(dead) == 0 {
		return c.Time, c.Value
	}
	t, v = make([]float64, 0, len(c.Time)), make([]float64, 0, len(c.Time))
	for i, at := range c.Time {
		for len(dead) > 0 && at > dead[0].To {
			dead = dead[1:]
		}
		if len(dead) > 0 && dead[0].Contains(at) {
			continue
		}
		t, v = append(t, at), append(v, c.Value[i])
	}
	if len(t) < len(c.Time)/2 {
		return c.Time, c.Value // a wheel that mostly stands is judged as a whole
	}
	return t, v
}

// slope is the mean derivative over a window of about w seconds.
func slope(x []float64, dt, w float64) []float64 {
	out := make([]float64, len(x))
	slopeInto(out, x, dt, w)
	return out
}

// slopeInto is slope into dst.
func slopeInto(dst, x []float64, dt, w float64) {
	k := int(math.Max(1, math.Round(w/dt/2)))
	for i := range x {
		a, b := max(0, i-k), min(len(x)-1, i+k)
		dst[i] = 0
		if b > a {
			dst[i] = (x[b] - x[a]) / (float64(b-a) * dt)
		}
	}
}

// coarseLatency scans delays for the smallest robust scatter of GPS speed
// against wheel speed, scale free.
func (d *odometer) coarseLatency(f *fixes) {
	stride := 1 + len(f.t)/700
	var ratio, rest []float64
	best := math.Inf(1)
	for l := -0.3; l <= 1.5001; l += 0.04 {
		ratio, rest = ratio[:0], rest[:0]
		for i := 0; i < len(f.t); i += stride {
			v := signal.At(d.raw, d.t0, d.dt, f.t[i]-l)
			if v > 12 && f.v[i] > 8 {
				ratio = append(ratio, f.v[i]/v)
				rest = append(rest, v)
			}
		}
		if len(ratio) < 30 {
			return
		}
		m := signal.Median(ratio)
		for k := range rest {
			rest[k] *= math.Abs(ratio[k] - m)
		}
		if s := signal.Median(rest); s < best {
			best, d.latency = s, l
		}
	}
}

// calibrate fits scale, shrink with lean and latency to GPS speed, replaces
// stretches where the wheel is not to be believed (front in the air, locked),
// and integrates. phi is lean on the grid for the rolling radius, nil before
// anything is known of it.
func (d *odometer) calibrate(f *fixes, phi []float64) {
	n := len(d.v)
	if !d.wheel {
		d.gpsOnly(f)
		d.integrate()
		return
	}
	p := 2
	var shrink, rate []float64 // 1 - cos lean, and its rate
	if phi != nil {
		p = 4
		if d.shrink == nil {
			d.shrink, d.shrinkRate = make([]float64, n), make([]float64, n)
		}
		shrink, rate = d.shrink, d.shrinkRate
		signal.Pieces(n, func(from, to int) {
			for i := from; i < to; i++ {
				shrink[i] = 1 - math.Cos(phi[i])
			}
		})
		slopeInto(rate, shrink, d.dt, 0.07)
	}
	limits := []float64{1.5, 0.6, 0.3}
	if d.gpsSD > 0.1 {
		for i := range limits {
			limits[i] *= d.gpsSD / 0.1
		}
	}
	if !f.logged {
		limits = []float64{6, 3, 2}
	}
	thin := 1 + len(f.t)/calibrateFixes
	var steady []bool
	for range 5 {
		l := d.latency + d.speedLag
		fit := signal.RobustFit(len(f.t)/thin, p, func(k int, x []float64) (float64, bool) {
			k *= thin
			t := f.t[k] - l
			v := signal.At(d.raw, d.t0, d.dt, t)
			a := signal.At(d.accel, d.t0, d.dt, t)
			// A braked wheel slips as hard as it brakes: that looks just like a delay,
			// so only the drive may speak of the delay.
			if v < 12 || t < d.t0 || t > d.end() || a < -1.2 {
				return 0, false
			}
			x[0] = v
			x[1] = a
			if p == 4 {
				x[2] = v * signal.At(shrink, d.t0, d.dt, t)
				x[3] = v * signal.At(rate, d.t0, d.dt, t)
			}
			return f.v[k] - v*(d.load*a+d.growth*v*v), true
		}, limits...)
		if !fit.OK || fit.N < 40 {
			break
		}
		k := fit.Coef[0]
		d.scale, d.scaleSE = k, math.Sqrt(fit.Cov[0][0])
		// v_gps(t) = k v(t-L0) = k v(t-L) + k a (L-L0).
		move := fit.Coef[1] / k
		d.latencySE = math.Sqrt(fit.Cov[1][1]) / k
		if p == 4 {
			d.crown = -fit.Coef[2] / k
			d.leanLag = 0
			if d.crown > 0.02 {
				// The bike leans later than its path asks: the rate of the shrink takes that up.
				d.leanLag = math.Max(-0.3, math.Min(0.3, fit.Coef[3]/k/d.crown))
			}
			if steady == nil {
				steady = d.steady(phi)
			}
			if x, sd, ok := d.driveDelay(f, phi, steady, limits); ok {
				move, d.latencySE = x[dDelay]/x[dScale], sd[dDelay]/x[dScale]
				d.load, d.growth, d.fitted = x[dLoad]*loadUsual, x[dGrowth]*growthUsual, true
			}
		}
		d.latency -= math.Max(-0.2, math.Min(0.2, move))
		if math.Abs(move) < 2e-4 {
			break
		}
	}
	d.latency = math.Max(-0.5, math.Min(2, d.latency))
	for i := range d.v {
		v := d.raw[i] * d.scale
		if p == 4 {
			v *= 1 - d.crown*(shrink[i]-d.leanLag*rate[i])
		}
		d.v[i] = math.Max(0, v+d.raw[i]*(d.load*d.accel[i]+d.growth*d.raw[i]*d.raw[i]))
	}
	d.slipUnderBrakes(f)
	d.bad = make([]bool, n)
	d.spans, d.put = nil, nil
	d.disbelieve(f)
	d.source = "gps and front wheel"
	d.integrate()
}

// calibrateFixes is as many fixes as scale, shrink and delay need: with more, what
// the model leaves out rules, not noise.
const calibrateFixes = 10000

// slipUnderBrakes fits what the front wheel loses under braking, as a parabola
// in the deceleration that the brakes make (a tyre grows stiffer with the load
// that braking puts on it), and gives it back.
func (d *odometer) slipUnderBrakes(f *fixes) {
	if !f.logged {
		return
	}
	fit := signal.RobustFit(len(f.t), 2, func(k int, x []float64) (float64, bool) {
		t := f.t[k] - d.latency - d.speedLag
		a := signal.At(d.accel, d.t0, d.dt, t)
		v := signal.At(d.v, d.t0, d.dt, t)
		if a > -3 || v < 12 || t < d.t0 || t > d.end() {
			return 0, false
		}
		b := braked(a, v)
		x[0], x[1] = b*v, b*b*v
		return f.v[k] - v, true
	}, 2.5, 1.2, 0.8)
	if !fit.OK || fit.N < 60 {
		return
	}
	for i, a := range d.accel {
		if a < 0 {
			b := braked(a, d.v[i])
			d.v[i] *= 1 + math.Max(0, math.Min(0.06, fit.Coef[0]*b+fit.Coef[1]*b*b))
		}
	}
}

// braked is the deceleration (m/s2) that the brakes make at acceleration a and
// speed v: what the air does goes past the tyre. drag is for a usual machine
// (0.32 m2, 265 kg).
func braked(a, v float64) float64 { return math.Max(0, -a-7.3e-4*v*v) }

// disbelieve replaces wheel speed by GPS speed where the two part for longer
// than noise explains, unless it is the GPS that jumps.
func (d *odometer) disbelieve(f *fixes) {
	m := len(f.t)
	lag := d.latency + d.speedLag
	r := make([]float64, m)
	keep := make([]float64, 0, m)
	for k := range f.t {
		r[k] = f.v[k] - signal.At(d.v, d.t0, d.dt, f.t[k]-lag)
		if f.v[k] > 8 {
			keep = append(keep, r[k])
		}
	}
	d.gpsSD = math.Max(0.03, signal.Spread(keep))
	if !f.logged {
		return // differenced positions cannot judge a wheel
	}
	limit := math.Max(0.3, 4.5*d.gpsSD)
	for a := 0; a < m; a++ {
		if math.Abs(r[a]) <= limit {
			continue
		}
		b := a
		for b+1 < m && math.Abs(r[b+1]) > 0.6*limit && f.t[b+1]-f.t[b] < 1 {
			b++
		}
		lo, hi := max(0, a-1), min(m-1, b+1)
		steady := true
		for k := lo; k < hi; k++ {
			if dt := f.t[k+1] - f.t[k]; dt > 1 || math.Abs(f.v[k+1]-f.v[k]) > 16*dt+3*d.gpsSD {
				steady = false // that is no motorcycle: the GPS speed itself jumps
			}
		}
		if steady && f.v[a] > 3 {
			t1, t2 := f.t[lo]-lag, f.t[hi]-lag
			k, way, last := lo, 0.0, 0
			for i := max(0, int(math.Ceil((t1-d.t0)/d.dt))); i < len(d.v) && d.t0+float64(i)*d.dt <= t2; i++ {
				t := d.t0 + float64(i)*d.dt + lag
				for k < hi-1 && f.t[k+1] < t {
					k++
				}
				g := (t - f.t[k]) / (f.t[k+1] - f.t[k])
				v := f.v[k] + g*(f.v[k+1]-f.v[k])
				way += (v - d.v[i]) * d.dt
				d.v[i], d.bad[i], last = v, true, i
			}
			d.put = append(d.put, putBack{last, way})
			d.spans = append(d.spans, recording.Span{From: t1, To: t2})
		}
		a = b
	}
}

// gpsOnly takes GPS speed as the odometer.
func (d *odometer) gpsOnly(f *fixes) {
	t := make([]float64, len(f.t))
	for i := range t {
		t[i] = f.t[i] - d.latency - d.speedLag
	}
	signal.ResampleInto(d.v, t, f.v, d.t0, d.dt)
	d.source = "gps alone"
	d.gpsSD = 0.1
	if !f.logged {
		d.source = "gps positions alone, no speed channel"
		d.gpsSD = 0.6
	}
}

func (d *odometer) integrate() {
	if d.o == nil {
		d.o = make([]float64, len(d.v))
	}
	for i := 1; i < len(d.v); i++ {
		d.o[i] = d.o[i-1] + 0.5*d.dt*(d.v[i]+d.v[i-1])
	}
}
