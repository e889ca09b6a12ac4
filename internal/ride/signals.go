package ride

import (
	"math"

	"cornerwright/internal/bike"
	"cornerwright/internal/circuit"
	"cornerwright/internal/recording"
	"cornerwright/internal/say"
	"cornerwright/internal/signal"
)

// work is one analysis on its way: the recording laid on the grid of position,
// and what has been found so far.
type work struct {
	rec *recording.Recording
	b   *bike.Bike
	opt Options
	loc *circuit.Located
	pos *circuit.Position
	r   *Ride

	n        int
	t0       float64
	dt, rate float64
	sc       signal.Scratch
	mem      memory
	lines    []torqueLine // memory of the torque fit

	front, rear   []float64 // m/s as logged
	rollRate      []float64
	pitchRate     []float64
	yawRate       []float64
	accelX        []float64
	speed         []float64 // m/s over ground, wheel corrected, bridged
	accel         []float64 // m/s2 of speed, 4 Hz
	roll          []float64 // rad/s of lean, 4 Hz
	ratioScale    float64   // engine over rear wheel as logged, against the file's ratios
	wheelScale    float64   // circumference the rear was logged with over the file's
	rearFound     bool
	rearRadius    float64 // m, upright, identified or from the file
	rearCrown     float64
	frontRadius   float64
	frontCrown    float64
	frontFit      bool
	gearFromRatio bool
	full          float64 // grip as logged, its top
	shifting      []bool  // about a shift: 0.1 s before to 0.3 s after
	braking       []bool
	inAir, locked []bool // as the front wheel shows it
	lap           []int32
	hop           []float64
	lapSlots      map[int]string
	blips         []blipWork
}

// usable lists the marks that make samples unfit to be read as they stand.
var unfit = []recording.MarkKind{recording.Stuck, recording.Spike, recording.OutOfRange, recording.Saturated, recording.Gap, recording.Dropout}

// wild is by how much a sample must leave both neighbours to be no measurement
// (SI), for channels of things that have inertia.
var wild = map[string]float64{
	recording.FrontSpeed: 1, recording.RearSpeed: 1, recording.RPM: 30, recording.Lean: 0.07,
	recording.RollRate: 1, recording.PitchRate: 1, recording.YawRate: 1, recording.Fork: 0.008, recording.Shock: 0.006,
}

// channel lays a channel on the grid, linear between samples and without lone
// wild ones (a pulse missed, a spark too many); nil if absent.
func (w *work) channel(name string) []float64 {
	x, wild := w.lay(name)
	w.tellWild(name, wild)
	return x
}

// lay is channel without a word about the wild samples, of which it gives the
// number.
func (w *work) lay(name string) (x []float64, lone int) {
	c := w.rec.Channel(name)
	if c == nil || len(c.Time) < 2 {
		return nil, 0
	}
	v := c.Value
	if limit := wild[name]; limit > 0 && c.Rate() >= 40 {
		v, lone = signal.Despike(c.Time, v, limit)
	}
	return signal.Resample(c.Time, v, w.t0, w.dt, w.n), lone
}

func (w *work) tellWild(name string, n int) {
	if c := w.rec.Channel(name); c != nil && n > len(c.Value)/100 {
		w.problem(recording.Warning, name, say.T("{name}: {n} of {v} samples stand alone, far off their neighbours, and are not used", name, n, len(c.Value)), say.T("check sensor gap, plug and cable"))
	}
}

// channels is channel for several, laid side by side.
func (w *work) channels(to map[string]*[]float64, names ...string) {
	wild := make([]int, len(names))
	signal.Each(len(names), func(k int) { *to[names[k]], wild[k] = w.lay(names[k]) })
	for k, name := range names {
		w.tellWild(name, wild[k])
	}
}

// fillBad draws a series straight over the stretches that are not to be read.
func fillBad(x []float64, bad []bool) {
	if x == nil || bad == nil {
		return
	}
	stretches(bad, func(a, b int) {
		from, to := a-1, b
		switch {
		case from < 0 && to >= len(x):
			return
		case from < 0:
			from = to
		case to >= len(x):
			to = from
		}
		va, vb := x[from], x[to]
		for i := a; i < b; i++ {
			x[i] = va + (vb-va)*float64(i-a+1)/float64(b-a+1)
		}
	})
}

// steps lays a channel that steps on the grid; nil if absent.
func (w *work) steps(name string) []float64 {
	c := w.rec.Channel(name)
	if c == nil || len(c.Time) < 2 {
		return nil
	}
	return signal.Hold(c.Time, c.Value, w.t0, w.dt, w.n)
}

// bad marks the grid where a channel is not to be read: health marks and holes
// between its samples. nil where there is nothing of the kind.
func (w *work) bad(name string) []bool {
	c := w.rec.Channel(name)
	if c == nil {
		return nil
	}
	var out []bool
	set := func(s recording.Span) {
		if out == nil {
			out = make([]bool, w.n)
		}
		a, b := w.index(s.From), w.index(s.To)
		for i := a; i <= b; i++ {
			out[i] = true
		}
	}
	for _, m := range c.Marks {
		for _, k := range unfit {
			if m.Kind == k {
				set(m.Span)
			}
		}
	}
	hole := 0.25
	if r := c.Rate(); r > 0 {
		hole = math.Max(hole, 4/r)
	}
	for i := 1; i < len(c.Time); i++ {
		if c.Time[i]-c.Time[i-1] > hole {
			set(recording.Span{From: c.Time[i-1], To: c.Time[i]})
		}
	}
	return out
}

// index is the grid sample nearest to t, held at the ends.
func (w *work) index(t float64) int {
	i := int(math.Round((t - w.t0) / w.dt))
	return max(0, min(w.n-1, i))
}

// slope writes the derivative of x below cut (1/s) to dst, which is not x.
func (w *work) slope(dst, x []float64, cut float64) {
	tmp := w.mem.take()
	signal.LowPassInto(tmp, x, cut, w.rate, &w.sc)
	signal.DerivativeInto(dst, tmp, w.dt)
	w.mem.back(tmp)
}

// slopes is slope for two series at one cut.
func (w *work) slopes(dst, x, dst2, x2 []float64, cut float64) {
	a, b := w.mem.take(), w.mem.take()
	signal.LowPassTwo(signal.Series{Dst: a, X: x, Cut: cut}, signal.Series{Dst: b, X: x2, Cut: cut}, w.rate, &w.sc)
	signal.DerivativeInto(dst, a, w.dt)
	signal.DerivativeInto(dst2, b, w.dt)
	w.mem.back(a, b)
}

func (w *work) time(i int) float64 { return w.t0 + float64(i)*w.dt }

// samples is a duration in samples, at least one.
func (w *work) samples(s float64) int { return max(1, int(math.Round(s/w.dt))) }

func (w *work) cannot(what, why, mend say.Text) {
	for _, c := range w.r.Cannot {
		if c.What == what {
			return
		}
	}
	w.r.Cannot = append(w.r.Cannot, Cannot{what, why, mend})
}

func (w *work) problem(sev recording.Severity, channel string, text, mend say.Text) {
	w.r.Problems = append(w.r.Problems, recording.Problem{Severity: sev, Channel: channel, Text: text, Mend: mend})
}

// marked tells in words which health marks of the named channels touch a span.
func (w *work) marked(s recording.Span, names ...string) say.Text {
	var text say.Text
	for _, n := range names {
		c := w.rec.Channel(n)
		if c == nil {
			continue
		}
		for _, m := range c.Marks {
			if m.To < s.From || m.From > s.To {
				continue
			}
			if text != "" {
				text += "; "
			}
			text += say.T("{channel}: {mark}", n, say.Key(string(m.Kind)))
			break
		}
	}
	for _, m := range w.rec.Clock {
		if m.To >= s.From && m.From <= s.To {
			if text != "" {
				text += "; "
			}
			text += say.T("clock: {mark}", say.Key(string(m.Kind)))
		}
	}
	return text
}

// turns brings the speed of a wheel whose turns are logged to the circumference
// of the bike file.
func (w *work) turns(v []float64, name string, circumference float64) {
	c := w.rec.Channel(name)
	if c == nil || !c.CountsTurns() || circumference == 0 {
		return
	}
	k := circumference / recording.Turn(name)
	for i := range v {
		v[i] *= k
	}
}

// load lays every channel that is needed on the grid and puts zeros right.
func (w *work) load() {
	s := &w.r.Signals
	w.channels(map[string]*[]float64{recording.FrontSpeed: &w.front, recording.RearSpeed: &w.rear, recording.RollRate: &w.rollRate,
		recording.PitchRate: &w.pitchRate, recording.YawRate: &w.yawRate, recording.AccelX: &w.accelX, recording.RPM: &s.RPM,
		recording.Fork: &s.Fork, recording.Shock: &s.Shock, recording.Grip: &s.Grip, recording.Throttle: &s.Throttle, recording.Cut: &s.Cut,
		recording.FrontBrake: &s.FrontBrake, recording.RearBrake: &s.RearBrake, recording.Clutch: &s.Clutch},
		recording.FrontSpeed, recording.RearSpeed, recording.RollRate, recording.PitchRate, recording.YawRate, recording.AccelX, recording.RPM,
		recording.Fork, recording.Shock, recording.Grip, recording.Throttle, recording.Cut, recording.FrontBrake, recording.RearBrake, recording.Clutch)
	w.turns(w.front, recording.FrontSpeed, w.b.Front.Circumference)
	w.turns(w.rear, recording.RearSpeed, w.b.Rear.Circumference)
	for i := range s.RPM {
		s.RPM[i] *= 30 / math.Pi
	}
	fillBad(w.rear, w.bad(recording.RearSpeed))
	fillBad(s.RPM, w.bad(recording.RPM))
	fillBad(s.Fork, w.bad(recording.Fork))
	fillBad(s.Shock, w.bad(recording.Shock))
	if slot := w.steps(recording.Slot); slot != nil {
		s.Slot = make([]int8, w.n)
		for i, v := range slot {
			s.Slot[i] = int8(math.Round(v))
		}
	}
	// Zeros as a run shows them: the closed grip and brakes at rest.
	// A closed plate is not at zero, and its idle opening is no offset: left alone.
	for _, g := range [][]float64{s.Grip, s.Clutch} {
		if g == nil {
			continue
		}
		q := sorted(g)
		zero := quantile(q, 0.02)
		top := quantile(q, 0.999)
		if zero > 0 && zero < 0.15 && top > zero+0.3 {
			for i := range g {
				g[i] = math.Max(0, g[i]-zero)
			}
		}
	}
	if s.Grip != nil {
		w.full = quantile(sorted(s.Grip), 0.995)
	}
	for _, p := range [][]float64{s.FrontBrake, s.RearBrake} {
		if p == nil {
			continue
		}
		// The rest level is the commonest low value, not the least: noise goes both ways.
		q := sorted(p)
		top := quantile(q, 0.99)
		zero := quantile(q, 0.25)
		if math.Abs(zero) < 0.1*math.Max(top, 1) {
			for i := range p {
				p[i] -= zero
			}
		}
	}
}

// sorted is a sorted thinning of x, enough for quantiles.
func sorted(x []float64) []float64 {
	step := 1 + len(x)/6000
	out := make([]float64, 0, len(x)/step+1)
	for i := 0; i < len(x); i += step {
		if !math.IsNaN(x[i]) {
			out = append(out, x[i])
		}
	}
	sortFloats(out)
	return out
}

// quantile of a sorted series.
func quantile(q []float64, p float64) float64 {
	if len(q) == 0 {
		return math.NaN()
	}
	return q[int(p*float64(len(q)-1)+0.5)]
}

// quick is the quantile of an unsorted series, which it puts into another order.
func quick(x []float64, p float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	return signal.Nth(x, int(p*float64(len(x)-1)+0.5))
}

// widen grows every true stretch by samples before and after it.
func widen(m []bool, before, after int) {
	n := len(m)
	for i := 0; i < n; i++ {
		if !m[i] {
			continue
		}
		for j := max(0, i-before); j < i; j++ {
			m[j] = true
		}
		// The stretch runs on while the next one begins within reach.
		last := i
		for j := i + 1; j < min(n, last+after+1); j++ {
			if m[j] {
				last = j
			}
			m[j] = true
		}
		i = last + after
	}
}

// stretches calls f with every run [a, b) of true samples.
func stretches(m []bool, f func(a, b int)) {
	for i := 0; i < len(m); i++ {
		if !m[i] {
			continue
		}
		j := i
		for j < len(m) && m[j] {
			j++
		}
		f(i, j)
		i = j
	}
}
