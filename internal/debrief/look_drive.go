package debrief

import (
	"math"

	"cornerwright/internal/circuit"
	"cornerwright/internal/inference"
	"cornerwright/internal/rehearsal"
	"cornerwright/internal/ride"
	"cornerwright/internal/say"
)

// A cut that a rider feels: a quarter of a second, seven hundredths deep in the
// mean (common practice; what is shorter or shallower passes for the tyre's own
// give).
const (
	feltCut   = 0.25
	feltArea  = 0.025
	feltDepth = 0.07
)

func felt(l *look, p *ride.Pass, class int) sight {
	d := l.d(p)
	if !d.known {
		return unknown
	}
	all := d.class[0] + d.class[1] + d.class[2]
	if d.class[class] >= feltCut*0.6 && all >= feltCut && d.area >= feltArea && d.area >= feltDepth*all {
		// A cut with the wheel spinning beyond what the tyre bears holds nobody back.
		if d.overTime > 0.5*all {
			return opposite
		}
		return seen
	}
	return nothing
}

func cutText(what say.Text) func(*look, tally) say.Text {
	return func(l *look, t tally) say.Text {
		cut := l.average(func(p *ride.Pass) float64 { d := l.d(p); return d.class[0] + d.class[1] + d.class[2] })
		peak := l.average(func(p *ride.Pass) float64 { return 100 * l.d(p).peak })
		slip := l.average(func(p *ride.Pass) float64 { return 100 * l.d(p).slipCut })
		if math.IsNaN(slip) {
			return say.T("Out of {turn} the control takes torque away {where} on {laps} laps: {cut} s a lap, up to {peak} %.", l.name(), what, t.laps(), num(cut, 2), num(peak, 0))
		}
		return say.T("Out of {turn} the control takes torque away {where} on {laps} laps: {cut} s a lap, up to {peak} %, with the rear at {slip} % slip.", l.name(), what, t.laps(), num(cut, 2), num(peak, 0), num(slip, 1))
	}
}

func cutCost(l *look) float64 {
	// Released torque up to the next brake point, half of it usable.
	return 0.5 * l.average(func(p *ride.Pass) float64 {
		c := l.episodeSum(ride.Cut, p, driving, func(e *ride.Episode) float64 {
			if e.Cost.OK {
				return e.Cost.Value
			}
			return 0
		})
		return c
	})
}

func showCut(l *look, p *ride.Pass) (float64, float64) {
	var best *ride.Episode
	for _, e := range l.has(ride.Cut, l.key(p), driving) {
		if best == nil || (e.End-e.Start)*e.Mean > (best.End-best.Start)*best.Mean {
			best = e
		}
	}
	if best == nil {
		return p.Pickup, p.End
	}
	return best.Start, best.End
}

func limiterProposals(l *look) []Proposal {
	out := []Proposal{coach(say.T("shift up before it"), say.T("the engine stops pulling there"))}
	if l.lastGear() {
		out = []Proposal{inspect(say.T("one tooth less at the rear sprocket (or one more at the front), if no tow did it"), say.T("the last gear ends before the straight does")), changeNothing(say.T("a limiter in a tow is no reason to gear longer"))}
	} else {
		out = append(out, changeNothing(say.T("a gear is left above: gearing is not the cause")))
	}
	return out
}

// lastGear tells whether the limiter is met in the highest gear.
func (l *look) lastGear() bool {
	n, last := 0, 0
	for _, p := range l.passesOf() {
		for _, e := range l.has(ride.Limiter, l.key(p), nil) {
			n++
			if e.Gear == len(l.b.Drive.Gears) {
				last++
			}
		}
	}
	return n > 0 && 2*last > n
}

func (l *look) limiter(p *ride.Pass) float64 {
	return math.Max(l.episodeSum(ride.Limiter, p, nil, length), nanZero(p.LimiterTime))
}

// limiterBefore is time on the limiter on the way to the turn: in its own
// window before the brakes, or on the drive out of the turn before.
func (l *look) limiterBefore(p *ride.Pass) float64 {
	x := l.episodeSum(ride.Limiter, p, []circuit.Phase{circuit.PhaseBrake}, length)
	t := l.turns()
	for i, n := range t {
		if n != p.Turn {
			continue
		}
		before := t[(i+len(t)-1)%len(t)]
		lap := p.Lap
		if i == 0 {
			lap--
		}
		for _, e := range l.episodes[key{lap, before}] {
			if e.Kind == ride.Limiter {
				x += length(e)
			}
		}
		if i == 0 { // a turn's window may run over the gate: counted with either lap
			for _, e := range l.episodes[key{p.Lap, before}] {
				if e.Kind == ride.Limiter && e.End <= p.Apex+0.5 {
					x += length(e)
				}
			}
		}
	}
	return x
}

func nanZero(x float64) float64 {
	if math.IsNaN(x) {
		return 0
	}
	return x
}

func (l *look) air(p *ride.Pass) float64 {
	return math.Max(nanZero(p.AirTime), math.Max(l.d(p).airborne, l.episodeSum(ride.Wheelie, p, nil, length)))
}

func spinMeasures(l *look) []Measure {
	return list(
		l.m("slip_peak", say.T("greatest slip"), "pct", func(p *ride.Pass) float64 { return 100 * l.d(p).slipPeak }),
		l.m("spin_time", say.T("time of slip above what the tyre bears at that lean"), "s", func(p *ride.Pass) float64 { return l.d(p).overTime }),
		l.m("spin_lean", say.T("lean at the greatest excess"), "deg", func(p *ride.Pass) float64 {
			if l.d(p).over == 0 {
				return math.NaN()
			}
			return math.Abs(l.d(p).overLean) / degree
		}),
		l.m("cut_time", say.T("time in which torque was cut"), "s", func(p *ride.Pass) float64 { return l.d(p).time[slipOwner] }),
	)
}

func spinText(where say.Text) func(*look, tally) say.Text {
	return func(l *look, t tally) say.Text {
		return say.T("Out of {turn} the rear slips up to {slippeak} % {where} on {laps} laps, more than a race tyre bears there.", l.name(), num(l.average(func(p *ride.Pass) float64 { return 100 * l.d(p).slipPeak }), 1), where, t.laps())
	}
}

func showSpin(l *look, p *ride.Pass) (float64, float64) {
	best, at := 0.0, math.NaN()
	l.samples(l.key(p), driving, func(i int, _ circuit.Phase) {
		if x := val(l.r.Signals.RearSlip, i) - spinAbove(val(l.r.Signals.Lean, i)); x > best {
			best, at = x, l.r.Position.Time[i]
		}
	})
	return at - 0.5, at + 0.5
}

func showEpisode(kind ride.Kind, phases []circuit.Phase) func(*look, *ride.Pass) (float64, float64) {
	return func(l *look, p *ride.Pass) (float64, float64) {
		var best *ride.Episode
		for _, e := range l.has(kind, l.key(p), phases) {
			if best == nil || length(e) > length(best) {
				best = e
			}
		}
		if best == nil {
			return p.Start, p.End
		}
		return best.Start, best.End
	}
}

// late is how late the pick-up is, s: after the middle of the bend, or after the
// slowest place if that is later still.
func (l *look) late(p *ride.Pass) float64 {
	x, y := l.lateness(p), p.Pickup-p.Apex
	if math.IsNaN(x) || y > x {
		return y
	}
	return x
}

// stoodUp is how far the bike has come up from its greatest lean by the pick-up,
// deg: a bike that is picked up without drive was waiting for nothing.
func (l *look) stoodUp(p *ride.Pass) float64 {
	if math.IsNaN(p.Pickup) {
		return math.NaN()
	}
	return (p.MaxLean - math.Abs(val(l.r.Signals.Lean, rehearsal.Sample(l.r, p.Pickup)))) / degree
}

// plateDelay is how long the plate stays behind the hand at the first opening.
func (l *look) plateDelay(p *ride.Pass) float64 {
	g := &l.r.Signals
	if math.IsNaN(p.Pickup) || g.Throttle == nil {
		return math.NaN()
	}
	hand, plate := -1, -1
	l.samples(l.key(p), driving, func(i int, _ circuit.Phase) {
		if hand < 0 && g.Grip[i] > 0.15 {
			hand = i
		}
		if hand >= 0 && plate < 0 && g.Throttle[i] > 0.10 {
			plate = i
		}
	})
	if hand < 0 || plate < 0 {
		return math.NaN()
	}
	// A cut at that moment is the control's doing.
	for i := hand; i < plate; i++ {
		if val(g.Cut, i) > cutFloor {
			return math.NaN()
		}
	}
	return float64(plate-hand) * l.dt
}

// jerk is the greatest rise of acceleration over a tenth of a second in the
// first half second after the pick-up, m/s3.
func (l *look) jerk(p *ride.Pass) float64 {
	a := l.r.Signals.Accel
	if math.IsNaN(p.Pickup) || a == nil || l.dt <= 0 {
		return math.NaN()
	}
	i0 := int((p.Pickup - l.r.Position.Time[0]) / l.dt)
	k := int(0.1/l.dt + 0.5)
	best := math.NaN()
	for i := max(0, i0); i < i0+int(0.5/l.dt) && i+k < len(a); i++ {
		if x := (a[i+k] - a[i]) / 0.1; !(x <= best) {
			best = x
		}
	}
	return best
}

func (l *look) pickupRPM(p *ride.Pass) float64 {
	if math.IsNaN(p.Pickup) || l.dt <= 0 {
		return math.NaN()
	}
	return val(l.r.Signals.RPM, int((p.Pickup-l.r.Position.Time[0])/l.dt))
}

// wide is how far outside the rider's own median the exit of a pass is, m, and
// the limit: what matters and what GPS can see.
func (l *look) wide(p *ride.Pass) (x, limit float64) {
	t := l.turnOf[l.turn]
	if t == nil {
		return math.NaN(), 0
	}
	out := func(p *ride.Pass) float64 {
		i := int((p.DriveOn - l.r.Position.Time[0]) / l.dt)
		if math.IsNaN(p.DriveOn) || i < 0 || i >= len(l.r.Position.Offset) {
			return math.NaN()
		}
		o := l.r.Position.Offset[i]
		if t.Direction == circuit.Right {
			o = -o
		}
		return o
	}
	var all []float64
	for _, q := range l.passesOf() {
		if v := out(q); !math.IsNaN(v) {
			all = append(all, v)
		}
	}
	if len(all) < 3 {
		return math.NaN(), 0
	}
	return out(p) - inference.Median(all), 1.5
}

// pumping is the standard deviation of rear travel on the drive around its own
// slow course, m.
func (l *look) pumping(p *ride.Pass) float64 {
	x := l.r.Signals.Shock
	k := int(0.25 / math.Max(l.dt, 1e-3))
	n, sum := 0.0, 0.0
	l.samples(l.key(p), driving, func(i int, _ circuit.Phase) {
		if i-k < 0 || i+k >= len(x) {
			return
		}
		d := x[i] - 0.5*(x[i-k]+x[i+k])
		sum += d * d
		n++
	})
	if n < 20 {
		return math.NaN()
	}
	return math.Sqrt(sum / n)
}

// shiftGap is the longest gap of drive in a shift up with the throttle open
// before and after it; missed asks that the engine also ran away meanwhile.
func (l *look) shiftGap(p *ride.Pass) float64 { return l.gap(p, 0) }

// usualGap is the median gap of all shifts up of the run, s.
func (s *scene) usualGap() float64 {
	if s.shiftUsual == nil {
		var x []float64
		for i := range s.r.Episodes {
			if e := &s.r.Episodes[i]; e.Kind == ride.Upshift && e.Shift != nil && e.Shift.Gap > 0 {
				x = append(x, e.Shift.Gap)
			}
		}
		m := 0.0
		if len(x) > 0 {
			m = inference.Median(x)
		}
		s.shiftUsual = &m
	}
	return *s.shiftUsual
}

// runaway is the engine speed beyond the new gear's, 1/min, that only a gear
// that is not in allows.
const runaway = 800

func (l *look) missedGap(p *ride.Pass) float64 { return l.gap(p, runaway) }

func (l *look) gap(p *ride.Pass, step float64) float64 {
	best := 0.0
	g := l.r.Signals.Grip
	for _, e := range l.has(ride.Upshift, l.key(p), nil) {
		i, j := rehearsal.Sample(l.r, e.Start-0.1), rehearsal.Sample(l.r, e.End+0.1)
		if e.Shift == nil || e.Shift.Gap <= best || e.Shift.Step < step || g != nil && !(val(g, i) > 0.5 && val(g, j) > 0.5) {
			continue
		}
		best = e.Shift.Gap
	}
	return best
}

// driveGear is the gear most used with the throttle well open out of the turn.
func (l *look) driveGear() int {
	n := map[int]int{}
	for _, p := range l.passesOf() {
		l.samples(l.key(p), driving, func(i int, _ circuit.Phase) {
			g := l.r.Signals.Gear
			if i < len(g) && g[i] > 0 && val(l.r.Signals.Cut, i) > cutFloor {
				n[int(g[i])]++
			}
		})
	}
	best, most := 0, 0
	for g, k := range n {
		if k > most || k == most && g < best {
			best, most = g, k
		}
	}
	return best
}

// withheld tells whether the ride says it cannot give a thing.
func withheld(r *ride.Ride, a, b string) bool {
	for _, c := range r.Cannot {
		if contains(c.What.String(), a) || b != "" && contains(c.What.String(), b) {
			return true
		}
	}
	return false
}

// lateness is the time from the middle of the bend to the pick-up, s, negative
// before it. Of a bend with several apexes the one next to the pick-up counts.
func (l *look) lateness(p *ride.Pass) float64 {
	t := l.turnOf[l.turn]
	if t == nil || math.IsNaN(p.PickupM) {
		return math.NaN()
	}
	apexes := t.Apexes
	if len(apexes) == 0 {
		apexes = []float64{t.Apex}
	}
	best := math.NaN()
	for _, a := range apexes {
		d := p.PickupM - l.halfWay(a)
		if n := l.r.Circuit.Line.Length; d > n/2 {
			d -= n
		} else if d < -n/2 {
			d += n
		}
		if !(math.Abs(d) >= math.Abs(best)) {
			best = d
		}
	}
	return best / math.Max(p.MinSpeed, 5)
}

// halfWay is the place (m) at which the reference line has done half of the
// change of heading of the tight part around an apex: the stretch on which it
// bends at least a third as much as at most.
func (l *look) halfWay(apex float64) float64 {
	line := &l.r.Circuit.Line
	n := len(line.Kappa)
	if n == 0 || line.Step <= 0 {
		return math.NaN()
	}
	at := func(i int) float64 { return math.Abs(line.Kappa[((i%n)+n)%n]) }
	mid := int(apex / line.Step)
	// The apex place is rough: the tightest within 30 m is meant.
	wide := int(30 / line.Step)
	for i, centre := mid-wide, mid; i <= centre+wide; i++ {
		if at(i) > at(mid) {
			mid = i
		}
	}
	least := at(mid) / 3
	from, to := mid, mid
	for at(from-1) > least && mid-from < n/2 {
		from--
	}
	for at(to+1) > least && to-mid < n/2 {
		to++
	}
	sum := 0.0
	for i := from; i <= to; i++ {
		sum += at(i)
	}
	part := 0.0
	for i := from; i <= to; i++ {
		if part += at(i); part >= 0.5*sum {
			return float64(((i%n)+n)%n) * line.Step
		}
	}
	return math.NaN()
}
