package circuit

import (
	"math"

	"cornerwright/internal/recording"
	"cornerwright/internal/signal"
)

// leastWander (m) is what a rider is taken to wander about his line at least: the
// smoothed offsets show less of it than there is.
const leastWander = 0.3

// Thresholds of a receiver's jump: it changes its mind by metres from one fix
// to the next and, some seconds later, back.
const (
	jumpWindow = 0.7  // s averaged before and after
	jumpStep   = 1.7  // m
	jumpLength = 20.0 // s
	afterHole  = 8.0  // s
	farFix     = 12.0 // m from the line beyond which a fix has no say
)

// jumps gives no weight to the fixes between two opposite steps of the GPS
// error. Reweighting alone does not help: the slow error follows the jump. What
// was found once stays out: a later solution that had the jump in its data has
// followed it and shows less of it.
func (j *joint) jumps() {
	f := j.f
	n := len(f.t)
	k := max(2, int(math.Round(jumpWindow*f.rate)))
	if n < 6*k {
		return
	}
	// GPS error as the present solution has it, the rider's offset taken off.
	ex, ey := make([]float64, n+1), make([]float64, n+1)
	for i := range j.rows {
		r, e := &j.rows[i], &j.sm.x[i]
		x := r.rx - r.tx*e[iDS] - r.ty*e[iD]
		y := r.ry - r.ty*e[iDS] + r.tx*e[iD]
		if f.isVoid(i) || math.Hypot(x, y) > farFix { // as before the hole or the wild fix
			x, y = 0, 0
			if m := min(i, k); m > 0 {
				x, y = (ex[i]-ex[i-m])/float64(m), (ey[i]-ey[i-m])/float64(m)
			}
		}
		ex[i+1], ey[i+1] = ex[i]+x, ey[i]+y
	}
	type step struct {
		i    int
		x, y float64
	}
	var steps []step
	size := func(i int) (x, y float64) {
		m := float64(k)
		return (ex[i+k] - 2*ex[i] + ex[i-k]) / m, (ey[i+k] - 2*ey[i] + ey[i-k]) / m
	}
	limit := math.Max(jumpStep, 4*j.q.white/math.Sqrt(float64(k)))
	for i := k; i+k <= n; i++ {
		x, y := size(i)
		a := math.Hypot(x, y)
		if a < limit || f.v[min(i, n-1)] < 5 {
			continue
		}
		best := i
		for q := i + 1; q < i+k && q+k <= n; q++ {
			if bx, by := size(q); math.Hypot(bx, by) > a {
				best, x, y = q, bx, by
				a = math.Hypot(bx, by)
			}
		}
		steps = append(steps, step{best, x, y})
		i = best + k
	}
	drop := func(a, b int) {
		for i := max(0, a); i <= min(n-1, b); i++ {
			j.jumped[i] = true
			j.rows[i].w = 0
		}
	}
	// A step without its opposite: soon after a hole, the receiver came back wrong and
	// mended itself; soon before one, the other way round. Else the error is another
	// from there on.
	leap := func(i int) {
		for a := i - 1; a > 0 && f.t[i]-f.t[a] < afterHole; a-- {
			if f.isVoid(a) && i-a > k {
				drop(a, i)
				return
			}
		}
		for b := i + 1; b < n && f.t[b]-f.t[i] < afterHole; b++ {
			if f.isVoid(b) && b-i > k {
				drop(i-1, b)
				return
			}
		}
		for k := max(1, i-1); k <= min(n-1, i+1); k++ {
			j.rows[k].jump = true
		}
	}
	q := 0
	for ; q+1 < len(steps); q++ {
		a, b := steps[q], steps[q+1]
		dot := (a.x*b.x + a.y*b.y) / (math.Hypot(a.x, a.y) * math.Hypot(b.x, b.y))
		if dot > -0.6 || f.t[min(b.i, n-1)]-f.t[min(a.i, n-1)] > jumpLength {
			leap(a.i)
			continue
		}
		drop(a.i-1, b.i)
		q++
	}
	if q == len(steps)-1 {
		leap(steps[q].i)
	}
}

// whiteNoise is the spread of the residuals (pairs x, y), widened where
// neighbours agree with each other: a receiver's own filter makes fixes say the
// same thing several times over, and n alike fixes weigh as one.
func whiteNoise(res []float64) float64 {
	sd := signal.Spread(sample(res, 6000))
	sum := 1.0
	var v float64
	for i := range res {
		v += sq(math.Max(-4*sd, math.Min(4*sd, res[i])))
	}
	for lag := 1; lag <= 20; lag++ {
		var c float64
		for i := 2 * lag; i < len(res); i++ {
			a := math.Max(-4*sd, math.Min(4*sd, res[i]))
			b := math.Max(-4*sd, math.Min(4*sd, res[i-2*lag]))
			c += a * b
		}
		r := c / v
		if r < 0.05 {
			break
		}
		sum += 2 * r
	}
	return math.Max(0.1, math.Min(6, 1.03*sd*math.Sqrt(sum)))
}

func (j *joint) badBetween(a, b float64) bool {
	if j.d.bad == nil {
		return false
	}
	i := max(0, int((a-j.d.t0)/j.d.dt))
	e := min(len(j.d.bad)-1, int((b-j.d.t0)/j.d.dt)+1)
	for ; i <= e; i++ {
		if j.d.bad[i] {
			return true
		}
	}
	return false
}

// number puts S = 0 at the first passage of the gate within the data.
func (j *joint) number() {
	j.carry()
	laps := math.Ceil(j.grid[0]/j.line.Length - 1e-9)
	shift := laps * j.line.Length
	if shift == 0 {
		return
	}
	for i := range j.s {
		j.s[i] -= shift
	}
	for i := range j.grid {
		j.grid[i] -= shift
	}
}

func (j *joint) vAtFix() []float64 {
	v := make([]float64, len(j.f.t))
	for i := range v {
		_, v[i] = j.d.at(j.f.t[i] - j.d.latency)
	}
	return v
}

// holes are the stretches without fixes, bridged by distance.
func holes(f *fixes, d *odometer) []recording.Span {
	var out []recording.Span
	limit := math.Max(0.6, 3.5/f.rate)
	for i := 1; i < len(f.t); i++ {
		if f.t[i]-f.t[i-1] > limit {
			out = append(out, recording.Span{From: f.t[i-1] - d.latency, To: f.t[i] - d.latency})
		}
	}
	return out
}
