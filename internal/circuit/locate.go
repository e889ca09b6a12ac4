package circuit

import (
	"errors"
	"fmt"
	"math"

	"cornerwright/internal/recording"
	"cornerwright/internal/signal"
)

// Options steer Locate. The zero value is the common case.
type Options struct {
	Name string // of a circuit that is learnt
	// Gate, if set, puts the start gate of a learnt circuit at the place of the
	// line nearest to it.
	Gate *GateAt
	// AntennaHeight is the height of the GPS antenna above the road (m); 0 = not
	// known. A leaned bike carries it to the inside by height times sine of lean.
	AntennaHeight float64
	// Edits to gate and turns survive learning anew. Those that no longer fit
	// become problems of the result. Gate, if nil, is theirs.
	Edits *Edits

	noise *noise // takes the place of the default and stays as it is; for comparison in tests
}

// GateAt is a start gate in earth coordinates (rad).
type GateAt struct{ Lat, Lon, Heading float64 }

// Located is one run, located.
type Located struct {
	Circuit  *Circuit // nil where no lap closes
	Position *Position
	Laps     []Lap
	Matrix   *Matrix
	Problems []recording.Problem
	Learnt   bool // the circuit was learnt from this run

	fixT []float64 // recording clock, latency removed
	fixV []float64
	sm   *smoother
}

// ErrNoPosition is returned where a recording has neither position nor lap marker.
var ErrNoPosition = errors.New("no position: the recording has no latitude and longitude with at least eight fixes")

// Locate finds where the bike was over one run. With known == nil the circuit
// is learnt from the run itself; otherwise the run is laid on the known line.
// Where no lap closes it still returns what can be given, Circuit nil, with a
// problem that says why; an error only where there is no position at all.
func Locate(rec *recording.Recording, known *Circuit, opt Options) (*Located, error) {
	frame := Frame{}
	if known != nil {
		frame = known.Frame
	}
	if opt.Gate == nil {
		opt.Gate = opt.Edits.GateAt()
	}
	f := readFixes(rec, &frame)
	if len(f.t) == 0 {
		return nil, ErrNoPosition
	}
	out := &Located{sm: &smoother{}}
	d := newOdometer(rec, &f)
	d.calibrate(&f, nil)
	var lp loop
	ok := false
	if known != nil {
		x, y, h, _ := known.Line.At(0)
		lp = loop{gate: gateAt{x, y, h}, cross: crossings(&f, d, gateAt{x, y, h}, math.Max(18, known.HalfWidth), 4)}
		lp.consistent()
		lp.length = known.Line.Length
		ok = len(lp.cross) > 0
		if !ok {
			out.problem(recording.Fault, fmt.Sprintf("the run never passes the start gate of %s", known.Name),
				"check that the recording is of this circuit, or let the circuit be learnt")
		}
	} else {
		lp, ok = findLoop(&f, d)
		if !ok {
			out.problem(recording.Fault, "no lap closes: no place is passed twice in the same direction after a lap's distance",
				"record at least one whole lap past the same place, or name a known circuit")
		}
	}
	if !ok {
		out.Position = openPosition(&f, d)
		return out, nil
	}
	j := &joint{f: f.bridged(), fixes: &f, d: d, q: defaultNoise(), sm: out.sm}
	j.antenna = opt.AntennaHeight
	if opt.noise != nil {
		j.q, j.fixed = *opt.noise, true
	}
	lp.bridge(&f, d)
	lp.fill(d)
	j.s = lp.phases(j.f, d, lp.length)
	if known != nil {
		j.line = known.Line
		j.q.slowStart = 4
		j.q.speed = 0.5
		j.locateKnown()
	} else {
		j.learn(&lp)
		shift := chooseGate(rec, j, frame, opt)
		j.line = j.line.rotate(shift)
		for i := range j.s {
			j.s[i] -= shift
		}
		j.finish()
	}
	j.number()
	pos := j.position()
	pos.Bridged = holes(&f, d)
	out.Position = pos
	out.fixT = make([]float64, len(j.f.t))
	for i, t := range j.f.t {
		out.fixT[i] = t - d.latency
	}
	out.fixV = j.vAtFix()
	c := known
	if c == nil {
		out.Learnt = true
		c = &Circuit{Name: opt.Name, Version: 1, Frame: frame, Line: j.line, HalfWidth: 18}
		if c.Name == "" {
			c.Name = "learnt circuit"
		}
	}
	out.Circuit = c
	out.Laps = out.cutLaps(rec, j)
	if known == nil {
		c.Turns = findTurns(c, pos, out.Laps)
		whole := 0
		for _, l := range out.Laps {
			if l.Kind == TimedLap {
				whole++
			}
		}
		c.Notes = append(c.Notes, fmt.Sprintf("learnt from %d timed laps", whole))
		if whole == 1 {
			out.problem(recording.Warning, "the circuit was learnt from one lap only", "ride more laps; the line follows that one lap")
		}
		if opt.Edits != nil {
			e := opt.Edits.clone()
			e.Gate = nil // s counts from it already
			n, errs := c.edited(e)
			*c = *n
			for _, err := range errs {
				out.problem(recording.Warning, "an edit of the circuit no longer fits: "+err.Error(), "look at the turns as they are now and edit anew")
			}
			if g := opt.Edits.Gate; g != nil && g.HalfWidthM > 0 {
				c.HalfWidth = g.HalfWidthM
			}
		}
	}
	if len(d.spans) > 0 {
		pos.Replaced = d.spans
	}
	if !d.wheel && d.timed {
		out.problem(recording.Note, fmt.Sprintf("no front wheel speed: distance comes from GPS speed, and the GPS delay (%.0f ms) from the yaw rate", 1e3*d.latency),
			"log front wheel speed for steadier lap times")
	} else if !d.wheel {
		out.problem(recording.Note, "no front wheel speed: distance comes from GPS speed, and the GPS delay cannot be found",
			"log front wheel speed for steadier lap times and places in step with the other channels")
	}
	out.elsewhere(j)
	out.Matrix = out.matrix(5)
	return out, nil
}

// elsewhere tells of long stretches ridden far from the line: a second circuit in
// the file, or the road to it.
func (l *Located) elsewhere(j *joint) {
	var long, from float64
	for i := 1; i < len(j.aside); i++ {
		if far := math.Hypot(j.rows[i].rx, j.rows[i].ry) > 150; far && j.fixes != nil && j.f.v[i] > 8 && !j.f.isVoid(i) {
			if long == 0 {
				from = j.f.t[i]
			}
			long += math.Min(1, j.f.t[i]-j.f.t[i-1])
		}
	}
	if long > 60 {
		l.problem(recording.Warning, fmt.Sprintf("for %.0f s, first at %.0f s, the bike was ridden more than 150 m from the circuit", long, from),
			"if the file holds a second circuit, cut it in two and add each part")
	}
}

func (l *Located) problem(sev recording.Severity, text, mend string) {
	l.Problems = append(l.Problems, recording.Problem{Severity: sev, Text: text, Mend: mend})
}

// joint is the state of the iteration between line and smoother.
type joint struct {
	f     *fixes // with voids in the holes
	fixes *fixes // without
	d     *odometer
	line  Line
	s     []float64 // unwrapped S at the fixes
	q     noise
	fixed bool // q is not estimated
	// antenna is its height (m); lean (rad) at the rows moves it aside.
	antenna  float64
	antennaV []float64 // m/s, speeds as logged
	sm       *smoother
	coarse   smoother // of positionDelay
	rows     []row
	bias     [2]float64 // m, constant GPS offset removed
	phi      []float64  // lean from path on the grid, for the rolling radius
	grid     []float64  // S on the grid
	aside    []float64  // m right of the line, of each raw fix
	jumped   []bool     // fixes between two opposite jumps, once found
	habits   []float64  // relative error of the odometer by place, see habit
}

// learn fits line and positions to each other.
func (j *joint) learn(lp *loop) {
	length := lp.length
	use := make([]bool, len(j.s))
	for i, s := range j.s {
		k := int(math.Floor(s / length))
		use[i] = k >= 0 && k < len(lp.whole) && lp.whole[k]
	}
	for round := range 3 {
		if round == 1 {
			clear(j.jumped) // found on a line that was still rough
			for i := range j.rows {
				j.rows[i].jump = false
			}
		}
		pts := make([]point, 0, len(j.s))
		for i := range j.s {
			if !use[i] || j.f.isVoid(i) {
				continue
			}
			x, y, w := j.f.x[i], j.f.y[i], 1.0
			if round > 0 {
				e := &j.sm.x[i]
				a, b := j.antennaAt(i)
				x, y = x-e[iCX]-a, y-e[iCY]-b
				w = j.rows[i].w
			}
			p := math.Mod(j.s[i], length)
			if p < 0 {
				p += length
			}
			q := point{p: p, x: x, y: y, w: w, v: j.f.v[i], heading: j.f.headed && j.f.v[i] > 8}
			if q.heading {
				q.sin, q.cos = math.Sincos(j.f.h[i])
			}
			pts = append(pts, q)
		}
		line, arc := fitLine(pts, length)
		steps := float64(len(arc) - 1)
		for i, s := range j.s {
			k := math.Floor(s / length)
			u := (s - k*length) / length * steps
			a := min(int(u), len(arc)-2)
			j.s[i] = k*line.Length + arc[a] + (u-float64(a))*(arc[a+1]-arc[a])
		}
		j.line = line
		length = line.Length
		j.spread()
		if round < 2 {
			j.contactSpeed()
			j.d.calibrate(j.fixes, j.phi)
			j.applyHabit(j.habits)
			j.bridgeSpeed()
		}
		j.solve(min(1+round, 2), false) // the first line is too rough to judge outliers by
		if round < 2 {
			j.positionDelay()
		}
		j.habit()
	}
}

// locateKnown lays the run on a known line and finds the run's offset.
func (j *joint) locateKnown() {
	for round := range 3 {
		j.spread()
		if round < 2 {
			j.contactSpeed()
			j.d.calibrate(j.fixes, j.phi)
			j.applyHabit(j.habits)
			j.bridgeSpeed()
		}
		j.solve(2, false)
		var mx, my float64
		for i := range j.sm.x {
			mx += j.sm.x[i][iCX]
			my += j.sm.x[i][iCY]
		}
		n := float64(len(j.sm.x))
		j.bias[0] += mx / n
		j.bias[1] += my / n
		if round < 2 {
			j.positionDelay()
		}
		j.habit()
	}
	j.finish()
}

// finish solves once more with covariances.
func (j *joint) finish() {
	j.solve(2, true)
}

// spread carries S from the fixes to the grid and computes lean from the path.
func (j *joint) spread() {
	j.carry()
	for i, v := range j.d.v {
		x := v * v * j.line.kappaAt(j.grid[i]) / gravity
		// tyreLean(atan x), with sin(atan x) by algebra and asin by its series.
		u := 0.08 / 0.52 * x / math.Sqrt(1+x*x)
		j.phi[i] = math.Atan(x) + u + u*u*u/6
	}
}

// carry is spread without the lean.
func (j *joint) carry() {
	d := j.d
	n := len(d.v)
	if j.grid == nil {
		j.grid = make([]float64, n)
		j.phi = make([]float64, n)
	}
	m := len(j.f.t)
	// S - o is smooth between fixes; o carries the detail.
	k := 0
	ofix := make([]float64, m)
	for i := range ofix {
		ofix[i], _ = d.at(j.f.t[i] - d.latency)
	}
	for i := range j.grid {
		t := d.t0 + float64(i)*d.dt + d.latency
		for k < m && j.f.t[k] <= t {
			k++
		}
		var off float64
		switch {
		case k == 0:
			off = j.s[0] - ofix[0]
		case k == m:
			off = j.s[m-1] - ofix[m-1]
		default:
			w := (t - j.f.t[k-1]) / (j.f.t[k] - j.f.t[k-1])
			a, b := j.s[k-1]-ofix[k-1], j.s[k]-ofix[k]
			off = a + w*(b-a)
		}
		j.grid[i] = d.o[i] + off
	}
}

// tyreLean adds the lean that tyre width asks for, for a usual machine (mean
// crown 80 mm, centre of mass 0.6 m): good enough for a rolling radius.
func tyreLean(ideal float64) float64 {
	return ideal + math.Asin(0.08*math.Sin(ideal)/0.52)
}

// solve linearises about the present S and solves, reweighting outliers.
func (j *joint) solve(rounds int, cov bool) {
	f, d := j.f, j.d
	n := len(f.t)
	if cap(j.rows) < n {
		j.rows = make([]row, n)
	}
	j.rows = j.rows[:n]
	if len(j.aside) != n {
		j.aside, j.jumped = make([]float64, n), make([]bool, n)
	}
	var po, pt float64
	for i := range j.rows {
		t := f.t[i] - d.latency
		o, v := d.at(t)
		x, y, h, _ := j.line.At(j.s[i])
		sin, cos := math.Sincos(h)
		r := &j.rows[i]
		w, jump := r.w, r.jump
		*r = row{tx: sin, ty: cos, rx: f.x[i] - j.bias[0] - x, ry: f.y[i] - j.bias[1] - y, w: 1, v: v, dv: f.v[i] - v}
		if d.speedLag != 0 {
			_, v = d.at(t - d.speedLag)
			r.dv = f.v[i] - v
		}
		if w > 0 && w < 1 {
			r.w = w
		}
		r.jump = jump && i > 0
		if !d.wheel || math.Abs(r.dv) > 2 || f.isVoid(i) {
			r.dv = math.NaN()
		}
		if i > 0 {
			r.dt, r.do, r.dnom = t-pt, o-po, j.s[i]-j.s[i-1]
			r.kappa = j.line.kappaAt(0.5 * (j.s[i] + j.s[i-1]))
			r.bad = j.badBetween(pt, t) || r.dt > 1.5
			if !d.wheel {
				r.blind = f.hole(i)
			}
		}
		if j.antenna != 0 {
			a, b := j.antennaAt(i)
			r.rx, r.ry = r.rx-a, r.ry-b
		}
		j.aside[i] = r.rx*cos - r.ry*sin
		if f.isVoid(i) {
			r.w, j.aside[i] = 0, 0
		} else if j.jumped[i] || math.Hypot(r.rx, r.ry) > 12 { // pit lane, paddock, or a fix that jumped
			r.w = 0
		}
		po, pt = o, t
	}
	q := j.noise()
	res := make([]float64, 0, n)
	for round := 0; round < rounds; round++ {
		last := round == rounds-1
		if !j.sm.solve(j.rows, q, cov && last) {
			return
		}
		if cov && last {
			break
		}
		res = res[:0]
		for i := range j.rows {
			r, e := &j.rows[i], &j.sm.x[i]
			nx, ny := r.ty, -r.tx
			r0 := r.rx - e[iCX] - r.tx*e[iDS] - nx*e[iD]
			r1 := r.ry - e[iCY] - r.ty*e[iDS] - ny*e[iD]
			a := math.Hypot(r0, r1)
			if r.w > 0 {
				res = append(res, r0, r1)
				r.w = 1
				if a > 3*q.white {
					r.w = math.Max(3*q.white/a, 1e-4)
					if a > 8*q.white {
						r.w *= 0.1
					}
				}
			}
		}
		if len(res) > 60 && !j.fixed {
			j.q.white = whiteNoise(res)
			j.q.offset = math.Max(leastWander, 1.25*j.wander())
			q.white, q.offset = j.q.white, j.q.offset
		}
		j.jumps()
	}
	for i := range j.s {
		j.s[i] += j.sm.x[i][iDS]
	}
	if !cov {
		return
	}
}

// antennaAt is how far (m east, north) the antenna is from the tyres at row i.
func (j *joint) antennaAt(i int) (x, y float64) {
	if j.antenna == 0 || len(j.phi) == 0 || len(j.line.X) == 0 {
		return 0, 0
	}
	lean := signal.At(j.phi, j.d.t0, j.d.dt, j.f.t[i]-j.d.latency)
	_, _, h, _ := j.line.At(j.s[i])
	sin, cos := math.Sincos(h)
	a := j.antenna * math.Sin(lean) // to the right of the road for a lean to the right
	return a * cos, -a * sin
}

// contactSpeed gives the speed of the tyres for that of an antenna, which runs on
// the smaller radius: the fixes' speeds are put back and scaled anew.
func (j *joint) contactSpeed() {
	if j.antenna == 0 || !j.fixes.logged {
		return
	}
	f := j.fixes
	if j.antennaV == nil {
		j.antennaV = append([]float64(nil), f.v...)
	}
	at := signal.At
	for k, v := range j.antennaV {
		t := f.t[k] - j.d.latency - j.d.speedLag
		kappa := j.line.kappaAt(at(j.grid, j.d.t0, j.d.dt, t))
		f.v[k] = v * (1 + kappa*j.antenna*math.Sin(at(j.phi, j.d.t0, j.d.dt, t)))
	}
}

// noise is the model's noise for the odometer at hand.
func (j *joint) noise() noise {
	q := j.q
	if !j.d.wheel {
		// GPS speed drifts with a memory of seconds: its integral walks.
		q.walk = 0.012
		if !j.f.logged {
			q.walk = 0.4
		}
		q.drift = 1e-8
	}
	return q
}

// leastWander (m) is what a rider is taken to wander about his line at least: the
// smoothed offsets show less of it than there is.
const leastWander = 0.5

// wander is the spread of the rider about the line as solved.
func (j *joint) wander() float64 {
	var s, n float64
	for i := range j.rows {
		if j.rows[i].w > 0.5 && j.f.v[i] > slowLane {
			s += sq(j.sm.x[i][iD])
			n++
		}
	}
	if n < 50 {
		return 0
	}
	return math.Min(1.2, math.Sqrt(s/n))
}

// Thresholds of a receiver's jump: it changes its mind by metres from one fix
// to the next and, some seconds later, back.
const (
	jumpWindow = 0.7  // s averaged before and after
	jumpStep   = 1.7  // m
	jumpLength = 20.0 // s
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
		switch {
		case f.isVoid(i) && i > 0: // as before the hole
			x, y = ex[i]-ex[i-1], ey[i]-ey[i-1]
		case math.Hypot(x, y) > 30:
			x, y = 0, 0
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
	// A step without its opposite: the error is another from there on.
	leap := func(i int) {
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
		for i := max(0, a.i-1); i <= min(n-1, b.i); i++ {
			j.jumped[i] = true
			j.rows[i].w = 0
		}
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

// delayDoubt is what the front tyre's slip, known in outline only, leaves of the
// delay of positions (s).
const delayDoubt = 0.005

// positionDelay finds how far the positions are older than the speeds told:
// receivers filter the two differently. A fix that is older by l lies v l behind
// the place the odometer has for it; the speed of a lap varies, so the smoother's
// slow states cannot follow that. It is the generalised least-squares estimate
// of one more unknown beside the states: l = a'Wy / a'Wa, with W the weight that
// the smoother leaves to the residuals.
func (j *joint) positionDelay() {
	stride := max(1, int(math.Round(j.f.rate/2.5)))
	rows := make([]row, 0, len(j.rows)/stride+1)
	for i := 0; i < len(j.rows); i += stride {
		r := j.rows[i]
		for k := max(1, i-stride+1); k < i; k++ {
			p := &j.rows[k]
			r.dt, r.do, r.dnom = r.dt+p.dt, r.do+p.do, r.dnom+p.dnom
			r.bad = r.bad || p.bad
		}
		if !j.f.logged {
			r.dv = math.NaN()
		}
		rows = append(rows, r)
	}
	q := j.noise()
	sm := &j.coarse
	if len(rows) < 100 || !sm.solve(rows, q, false) {
		return
	}
	num := 0.0
	for i := range rows {
		x, y := sm.rest(rows, i)
		num -= rows[i].w * rows[i].v * (rows[i].tx*x + rows[i].ty*y)
	}
	// The same with nothing but the delay's own pattern as data.
	for i := range rows {
		r := &rows[i]
		r.rx, r.ry, r.dnom = -r.v*r.tx, -r.v*r.ty, r.do
		if !math.IsNaN(r.dv) {
			r.dv = 0
		}
	}
	if !sm.solve(rows, q, false) {
		return
	}
	den := 0.0
	for i := range rows {
		x, y := sm.rest(rows, i)
		den -= rows[i].w * rows[i].v * (rows[i].tx*x + rows[i].ty*y)
	}
	if !(den > 0) {
		return
	}
	l, se := num/den, q.white/math.Sqrt(den)
	if math.Abs(l) < math.Max(3*se, 2.5*delayDoubt) {
		return // no more than what an odometer that slips under the brakes feigns
	}
	l = math.Max(-0.3, math.Min(0.3, l))
	j.d.latency += l
	j.d.speedLag -= l
}
