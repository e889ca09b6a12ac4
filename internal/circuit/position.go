package circuit

import (
	"fmt"
	"math"
	"sort"

	"cornerwright/internal/recording"
	"cornerwright/internal/signal"
)

// position lays the solution on the grid.
func (j *joint) position() *Position {
	d, f, n := j.d, j.f, len(j.d.v)
	p := &Position{
		Time: make([]float64, n), S: j.grid, SSE: make([]float64, n),
		Offset: make([]float64, n), OffsetSE: make([]float64, n),
		Speed: make([]float64, n), SpeedSE: make([]float64, n),
		Heading: make([]float64, n), HeadingSE: make([]float64, n), Kappa: make([]float64, n),
		Latency: d.latency, LatencySE: math.Hypot(d.latencySE, lagDoubt),
		WheelScale: 0, WheelCrown: d.crown, Source: d.source,
	}
	if d.wheel {
		p.WheelScale, p.WheelScaleSE = d.scale, d.scaleSE
	} else if d.timed {
		p.LatencySE = d.latencySE
	} else {
		p.LatencySE = 0.1
	}
	p.Offset2D = j.bias
	p.Offset2DSE = j.offsetLeft()
	m := len(f.t)
	own := j.ownSE()
	signal.Pieces(n, func(from, to int) {
		// k is the first fix after a sample.
		first := d.t0 + float64(from)*d.dt
		k := sort.Search(m, func(k int) bool { return f.t[k]-d.latency > first })
		var se, off, offSE [2]float64
		var b [2]float64
		load := func(side, i int) {
			x, c := &j.sm.x[i], &j.sm.p[i]
			se[side] = own[i]
			off[side] = x[iD]
			offSE[side] = math.Sqrt(c[iD*5+iD])
			b[side] = x[iB]
		}
		load(0, max(k-1, 0))
		load(1, min(k, m-1))
		if k == 0 {
			load(1, 0)
		}
		for i := from; i < to; i++ {
			t := d.t0 + float64(i)*d.dt
			p.Time[i] = t
			moved := false
			for k < m && f.t[k]-d.latency <= t {
				k++
				moved = true
			}
			if moved {
				load(0, k-1)
				load(1, min(k, m-1))
			}
			w := 0.0
			gap := 0.0
			if k > 0 && k < m {
				gap = f.t[k] - f.t[k-1]
				w = (t + d.latency - f.t[k-1]) / gap
			}
			p.SSE[i] = se[0] + w*(se[1]-se[0])
			// Before the first fix and after the last nothing but the odometer tells.
			if blind := math.Max(f.t[0]-d.latency-t, t+d.latency-f.t[m-1]); blind > 0 {
				p.SSE[i] = math.Hypot(p.SSE[i], deadShare*blind*d.v[i])
			}
			if d.wheel || d.timed {
				p.SSE[i] = math.Hypot(p.SSE[i], p.LatencySE*d.v[i])
			}
			p.Offset[i] = off[0] + w*(off[1]-off[0])
			p.OffsetSE[i] = offSE[0] + w*(offSE[1]-offSE[0])
			v := d.v[i]
			p.Speed[i] = v * (1 + b[0] + w*(b[1]-b[0]))
			_, _, h, kap := j.line.At(p.S[i])
			p.Kappa[i] = kap / math.Max(0.5, 1-kap*p.Offset[i])
			p.Heading[i] = h
		}
	})
	signal.Unwrap(p.Heading)
	// The path turns against the line where the offset changes with distance.
	step := int(math.Max(1, 0.1/d.dt))
	signal.Pieces(n-2*step, func(from, to int) {
		for i := from + step; i < to+step; i++ {
			if ds := p.S[i+step] - p.S[i-step]; ds > 1 {
				p.Heading[i] += math.Atan2(p.Offset[i+step]-p.Offset[i-step], ds)
			}
			p.HeadingSE[i] = 0.01
		}
	})
	sv := math.Max(0.02, d.gpsSD/math.Sqrt(10))
	for i := range p.SpeedSE {
		p.SpeedSE[i] = sv
		if d.bad != nil && d.bad[i] {
			p.SpeedSE[i] = math.Max(sv, d.gpsSD)
		}
	}
	return p
}

// deadShare is how much of a way may be missed where there is no fix beyond it.
const deadShare = 0.01

// offsetLeft is what the removal of a run's constant GPS offset leaves, in m per
// axis: the standard error of the mean of the slow GPS error over the run.
func (j *joint) offsetLeft() float64 {
	n := len(j.sm.x)
	v := 0.0
	axes := []int{iCX, iCY}
	var means [2][]vec5
	signal.Each(len(axes), func(k int) {
		a := make([]vec5, n)
		for i := range a {
			a[i][axes[k]] = 1 / float64(n)
		}
		j.sm.respond(a)
		means[k] = a
	})
	for k, axis := range axes {
		for _, a := range means[k] {
			v += a[axis] / float64(n)
		}
	}
	return math.Sqrt(0.5 * v)
}

// ownSE is the standard error of S (m) at the rows but for what a constant offset of
// the run makes of it, which moves every passage of a place alike and has a measure of
// its own. That offset is the (east, north) that fits the errors along the track best,
// metre by metre of the way ridden; what is left of the error of a row is one more sum
// of all rows' errors.
func (j *joint) ownSE() []float64 {
	n := len(j.rows)
	east, north := make([]vec5, n), make([]vec5, n)
	var xx, xy, yy float64
	for i := range j.rows {
		r := &j.rows[i]
		w := math.Abs(r.do)
		xx, xy, yy = xx+w*r.tx*r.tx, xy+w*r.tx*r.ty, yy+w*r.ty*r.ty
		east[i][iDS], north[i][iDS] = w*r.tx, w*r.ty
	}
	out := make([]float64, n)
	for i := range out {
		out[i] = math.Sqrt(j.sm.p[i][iDS*5+iDS])
	}
	det := xx*yy - xy*xy
	if !(det > 1e-3*sq(xx+yy)) {
		return out // a way to and fro along one line: no offset is parted from it
	}
	for i := range east { // rows of the inverse of the normal equations
		a, b := east[i][iDS], north[i][iDS]
		east[i][iDS], north[i][iDS] = (yy*a-xy*b)/det, (xx*b-xy*a)/det
	}
	weight := make([][2]float64, n)
	for i := range weight {
		weight[i] = [2]float64{east[i][iDS], north[i][iDS]}
	}
	both := [2][]vec5{east, north}
	signal.Each(len(both), func(k int) { j.sm.respond(both[k]) })
	var vxx, vxy, vyy float64 // covariance of the offset
	for i, w := range weight {
		vxx += w[0] * east[i][iDS]
		vxy += w[0] * north[i][iDS]
		vyy += w[1] * north[i][iDS]
	}
	for i := range out {
		tx, ty := j.rows[i].tx, j.rows[i].ty
		v := j.sm.p[i][iDS*5+iDS] - 2*(tx*east[i][iDS]+ty*north[i][iDS]) + tx*tx*vxx + 2*tx*ty*vxy + ty*ty*vyy
		out[i] = math.Sqrt(math.Max(1e-8, v))
	}
	return out
}

// Where no line tells, the way is the odometer's: a wheel leaned 45 degrees turns 5 %
// more, and nothing shows how far the bike leaned.
const (
	openStart = 5.0  // m
	openShare = 0.02 // of the way
)

// openPosition gives what a path that never closes allows: distance ridden,
// speed, heading. S is distance from the start, offsets are withheld.
func openPosition(f *fixes, d *odometer) *Position {
	n := len(d.v)
	p := &Position{Time: make([]float64, n), S: append([]float64(nil), d.o...), SSE: make([]float64, n),
		Offset: make([]float64, n), OffsetSE: make([]float64, n), Speed: append([]float64(nil), d.v...),
		SpeedSE: make([]float64, n), Heading: make([]float64, n), HeadingSE: make([]float64, n), Kappa: make([]float64, n),
		Latency: d.latency, LatencySE: d.latencySE, Source: d.source, Lost: true}
	h := append([]float64(nil), f.h...)
	signal.Unwrap(h)
	t := make([]float64, len(f.t))
	for i := range t {
		t[i] = f.t[i] - d.latency
	}
	signal.ResampleInto(p.Heading, t, h, d.t0, d.dt)
	w := int(0.4 / d.dt)
	for i := range p.Time {
		p.Time[i] = d.t0 + float64(i)*d.dt
		p.SSE[i] = math.Hypot(openStart, openShare*math.Abs(d.o[i]-d.o[0]))
		p.OffsetSE[i] = math.Inf(1)
		p.SpeedSE[i] = 0.1
		a, b := max(0, i-w), min(n-1, i+w)
		if ds := d.o[b] - d.o[a]; ds > 2 {
			p.Kappa[i] = (p.Heading[b] - p.Heading[a]) / ds
		}
	}
	p.Bridged = holes(f, d)
	return p
}

// chooseGate gives the place on the learnt line for the start gate: the one
// asked for, the one that a lap marker shows, or the middle of the straight on
// which most time at speed is spent.
func chooseGate(rec *recording.Recording, j *joint, frame Frame, opt Options) float64 {
	if opt.Gate != nil {
		x, y := newPlane(frame).at(opt.Gate.Lat, opt.Gate.Lon)
		if s, _, ok := j.line.Project(x, y, opt.Gate.Heading, math.Pi/3); ok {
			return s
		}
	}
	j.carry()
	if s, ok := markerPlace(rec, j); ok {
		return s
	}
	l := &j.line
	n := len(l.X)
	// Mean speed by place.
	v, c := make([]float64, n), make([]float64, n)
	for i, s := range j.grid {
		k, _, _ := l.cell(s)
		v[k] += j.d.v[i]
		c[k]++
	}
	for i := range v {
		if c[i] > 0 {
			v[i] /= c[i]
		}
	}
	smooth := smoothBySpeed(l, v)
	best, at := 0.0, 0
	straight := func(i int) bool {
		k := smooth[i%n]
		return math.Abs(k) < 1.0/400 && math.Abs(math.Atan(sq(v[i%n])*k/gravity)) < 14*math.Pi/180
	}
	start := 0
	for start < n && straight(start) {
		start++
	}
	for i := start; i < start+n; {
		if !straight(i) {
			i++
			continue
		}
		b := i
		score := 0.0
		for b < start+n && straight(b) {
			score += v[b%n] // metres weighted by speed: the main straight is long and fast
			b++
		}
		if score > best {
			best = score
			// Up to braking speed still rises: the middle of the straight is away
			// from both the last turn's exit and the next brake point.
			at = (i + b) / 2
		}
		i = b
	}
	return float64(at%n) * l.Step
}

// markerTimes are the instants at which a lap marker fires: a count that rises
// or a pulse that begins.
func markerTimes(rec *recording.Recording) []float64 {
	c := rec.Channel(recording.LapMarker)
	if c == nil {
		return nil
	}
	var out []float64
	for i := 1; i < len(c.Value); i++ {
		if c.Value[i] > c.Value[i-1]+0.5 && c.Time[i]-c.Time[i-1] < 5 {
			if n := len(out); n == 0 || c.Time[i]-out[n-1] > 15 {
				out = append(out, c.Time[i])
			}
		}
	}
	return out
}

func markerPlace(rec *recording.Recording, j *joint) (float64, bool) {
	times := markerTimes(rec)
	if len(times) < 2 {
		return 0, false
	}
	var sin, cos float64
	place := make([]float64, len(times))
	for i, t := range times {
		place[i] = j.line.wrap(signal.At(j.grid, j.d.t0, j.d.dt, t))
		s, c := math.Sincos(2 * math.Pi * place[i] / j.line.Length)
		sin, cos = sin+s, cos+c
	}
	mean := math.Atan2(sin, cos) / (2 * math.Pi) * j.line.Length
	dev := make([]float64, len(place))
	for i := range place {
		dev[i] = math.Remainder(place[i]-mean, j.line.Length)
	}
	m := signal.Median(dev)
	if signal.Spread(dev) > 15 {
		return 0, false
	}
	return j.line.wrap(mean + m), true
}

// smoothRing is a Gaussian mean over a closed series, sd in samples.
func smoothRing(x []float64, sd float64) []float64 {
	n := len(x)
	if sd < 0.3 {
		return append([]float64(nil), x...)
	}
	w := min(int(3.5*sd)+1, n/2)
	k := make([]float64, w+1)
	sum := 0.0
	for i := range k {
		k[i] = math.Exp(-0.5 * sq(float64(i)/sd))
		sum += 2 * k[i]
	}
	sum -= k[0]
	out := make([]float64, n)
	for i := range out {
		v := k[0] * x[i]
		for q := 1; q <= w; q++ {
			a, b := i-q, i+q
			if a < 0 {
				a += n
			}
			if b >= n {
				b -= n
			}
			v += k[q] * (x[a] + x[b])
		}
		out[i] = v / sum
	}
	return out
}

func metres(v float64) string { return fmt.Sprintf("%.0f m", v) }
