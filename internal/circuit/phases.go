package circuit

import (
	"fmt"
	"math"

	"cornerwright/internal/say"
	"cornerwright/internal/signal"
)

// Definitions of the instants. Persistence keeps a spike from being an event.
const (
	brakeOnFloor  = 0.5e5 // Pa
	brakeOnShare  = 0.03  // of the run's 99th percentile
	brakeOnHold   = 0.08  // s
	brakeOffLevel = 0.3e5 // Pa
	brakeOffHold  = 0.10  // s
	coastBrake    = -3.0  // m/s2: without a pressure channel, braking is harder than this
	gripOpen      = 0.03  // above closed
	gripHold      = 0.20  // s
	gripFull      = 0.95  // of the run's 99.5th percentile
	fullHold      = 0.20  // s
	turnInRate    = 15 * math.Pi / 180
	reopen        = 0.05
)

// Passes finds the instants and places of every lap through every turn.
// Signals lie on the grid of p.Time; nil ones degrade what rests on them, and
// Pass.Why says so.
func Passes(c *Circuit, p *Position, laps []Lap, sig Signals) []Pass {
	k := newCutter(c, p, sig)
	var out []Pass
	length := c.Line.Length
	for _, lap := range laps {
		sa, sb := p.S[p.Index(lap.Start)], p.S[p.Index(lap.End)]
		base := math.Floor(0.5*(sa+sb)/length) * length
		for _, t := range c.Turns {
			from := base + t.From
			to := base + t.To
			if to <= from {
				to += length
			}
			if t.Apex < t.From { // the window runs over the gate: the apex names the lap
				from -= length
				to -= length
			}
			a, b := p.CrossAt(from), p.CrossAt(to)
			apex := p.CrossAt(base + t.Apex)
			if math.IsNaN(apex) || apex < lap.Start-1 || apex > lap.End+1 {
				continue
			}
			out = append(out, k.pass(lap, t, from, to, a, b))
		}
	}
	return out
}

// cutter holds what all passes share.
type cutter struct {
	c            *Circuit
	p            *Position
	sig          Signals
	dt           float64
	brakeOn      float64
	brakeZero    float64
	closed, full float64
	roll         []float64
	lean         []float64
	speed        []float64
	why          say.Text
}

func newCutter(c *Circuit, p *Position, sig Signals) *cutter {
	k := &cutter{c: c, p: p, sig: sig, dt: p.Time[1] - p.Time[0], speed: p.Speed}
	rate := 1 / k.dt
	k.lean = sig.Lean
	if k.lean == nil {
		k.lean = make([]float64, len(p.Time))
		for i := range k.lean {
			k.lean[i] = tyreLean(math.Atan(sq(p.Speed[i]) * p.Kappa[i] / gravity))
		}
		k.why = say.T("lean from the path")
	}
	k.roll = signal.Derivative(signal.LowPass(k.lean, 4, rate), k.dt)
	if sig.Brake != nil {
		top := signal.Quantile(sample(sig.Brake, 20000), 0.99)
		k.brakeZero = math.Max(0, math.Min(signal.Quantile(sample(sig.Brake, 20000), 0.1), 0.02*top))
		k.brakeOn = k.brakeZero + math.Max(brakeOnFloor, brakeOnShare*(top-k.brakeZero))
	} else {
		k.add(say.T("no brake pressure: braking from deceleration"))
	}
	if sig.Accel == nil {
		k.sig.Accel = signal.Derivative(signal.LowPass(p.Speed, 4, rate), k.dt)
	}
	if sig.Grip != nil {
		g := sample(sig.Grip, 20000)
		k.closed = signal.Quantile(g, 0.02)
		k.full = k.closed + gripFull*(signal.Quantile(g, 0.995)-k.closed)
	} else {
		k.add(say.T("no throttle grip: pick-up from acceleration, full throttle not known"))
	}
	return k
}

func (k *cutter) add(s say.Text) {
	if k.why != "" {
		k.why += "; "
	}
	k.why += s
}

// sample thins a long series for a quantile.
func sample(x []float64, n int) []float64 {
	if len(x) <= n {
		return x
	}
	step := len(x)/n + 1
	out := make([]float64, 0, n)
	for i := 0; i < len(x); i += step {
		out = append(out, x[i])
	}
	return out
}

// first finds the first index in [a, b) from which cond holds for hold seconds.
func (k *cutter) first(a, b int, hold float64, cond func(i int) bool) int {
	need := int(math.Round(hold / k.dt))
	run := 0
	for i := a; i < b; i++ {
		if !cond(i) {
			run = 0
			continue
		}
		run++
		if run > need {
			return i - run + 1
		}
	}
	return -1
}

// cross puts the instant at which x passes level between samples i-1 and i.
func (k *cutter) cross(x []float64, i int, level float64) float64 {
	t := k.p.Time[i]
	if i == 0 || x[i] == x[i-1] {
		return t
	}
	w := (level - x[i-1]) / (x[i] - x[i-1])
	if w < 0 || w > 1 {
		return t
	}
	return t - k.dt*(1-w)
}

func (k *cutter) pass(lap Lap, t Turn, from, to, start, end float64) Pass {
	nan := math.NaN()
	ps := Pass{Lap: lap.Number, Turn: t.Number, Start: start, End: end, Brake: nan, BrakeOff: nan, TurnIn: nan, Mid: nan, Apex: nan,
		MaxLeanAt: nan, Pickup: nan, DriveOn: nan, FullThrottle: nan, BrakeM: nan, TurnInM: nan, ApexM: nan, PickupM: nan, FullM: nan,
		StartSE: nan, EndSE: nan, Why: k.why}
	p := k.p
	ps.Whole = lap.Kind == TimedLap && !math.IsNaN(start) && !math.IsNaN(end)
	a, b := 0, len(p.Time)-1
	if !math.IsNaN(start) {
		a = p.Index(start)
		ps.StartSE = p.SSE[a] / math.Max(3, p.Speed[a])
	}
	if !math.IsNaN(end) {
		b = p.Index(end)
		ps.EndSE = p.SSE[b] / math.Max(3, p.Speed[b])
	}
	if math.IsNaN(start) || math.IsNaN(end) {
		ps.note(say.T("the recording does not cover the whole turn"))
	}
	for _, g := range p.Bridged {
		if g.From < p.Time[b] && g.To > p.Time[a] && g.To-g.From > 2 {
			ps.note(say.T("gps bridged {to} s", fmt.Sprintf("%.1f", g.To-g.From)))
		}
	}
	if b-a < 5 {
		ps.Whole = false
		return ps
	}
	// The lean that matters is that of this turn's own direction.
	sign := 1.0
	if t.Direction == Left {
		sign = -1
	}
	entry, exit := k.grid(from, t.From, t.Entry, a, b), k.grid(from, t.From, t.Exit, a, b)
	peak, at := 0.0, (entry+exit)/2
	for i := entry; i <= exit; i++ {
		if l := k.lean[i] * sign; l > peak {
			peak, at = l, i
		}
	}
	ps.MaxLeanAt = p.Time[at]
	// Slowest instant: the middle of the flat bottom of speed in the bend.
	lo := entry
	for i := entry; i <= exit; i++ {
		if k.speed[i] < k.speed[lo] {
			lo = i
		}
	}
	l, r := lo, lo
	for l > entry && k.speed[l-1] < k.speed[lo]+0.3 {
		l--
	}
	for r < exit && k.speed[r+1] < k.speed[lo]+0.3 {
		r++
	}
	ps.Apex = 0.5 * (p.Time[l] + p.Time[r])
	if lo == entry || lo == exit { // no minimum inside: the place of most lean stands for it
		ps.Apex = p.Time[lo]
	}
	k.braking(&ps, a, lo, at)
	k.turnIn(&ps, a, at, peak, sign)
	k.opening(&ps, a, at, lo, exit, b, peak, sign)
	k.places(&ps)
	return ps
}

func (ps *Pass) note(s say.Text) {
	ps.Whole = false
	if ps.Why != "" {
		ps.Why += "; "
	}
	ps.Why += s
}

// grid is the index at which place s of the turn (m, modulo lap) is passed.
func (k *cutter) grid(from, zero, s float64, a, b int) int {
	want := from + k.c.Wrap(s-zero)
	i, j := a, b
	for i < j {
		m := (i + j) / 2
		if k.p.S[m] < want {
			i = m + 1
		} else {
			j = m
		}
	}
	return i
}

// braking finds brakes on and off. Braking starts no later than the slowest
// instant and is the last application that belongs to this turn's deceleration.
func (k *cutter) braking(ps *Pass, a, lo, at int) {
	top := max(lo, at)
	if k.sig.Brake == nil {
		cond := func(i int) bool {
			return k.sig.Accel[i] < coastBrake && (k.sig.Grip == nil || k.sig.Grip[i] < k.closed+gripOpen)
		}
		if i := k.first(a, top, 0.1, cond); i >= 0 {
			ps.Brake = k.p.Time[i]
			off := i
			for off < top && k.sig.Accel[off] < -1.5 {
				off++
			}
			ps.BrakeOff = k.p.Time[off]
		}
		return
	}
	x := k.sig.Brake
	i := k.first(a, top, brakeOnHold, func(i int) bool { return x[i] > k.brakeOn })
	if i < 0 {
		return
	}
	ps.Brake = k.cross(x, i, k.brakeOn)
	off := k.brakeZero + brakeOffLevel
	// The last release before the slowest instant or, for trail braking past it, after.
	j := i
	for {
		e := k.first(j, min(len(x), top+int(2/k.dt)), brakeOffHold, func(i int) bool { return x[i] < off })
		if e < 0 {
			e = top
		}
		ps.BrakeOff = k.cross(x, e, off)
		again := -1
		if e < lo {
			again = k.first(e, lo, brakeOnHold, func(i int) bool { return x[i] > k.brakeOn })
		}
		if again < 0 {
			return
		}
		j = again
	}
}

// turnIn is the last instant before the peak of lean at which the bike begins
// to lean in with purpose.
func (k *cutter) turnIn(ps *Pass, a, at int, peak, sign float64) {
	for i := at; i > a; i-- {
		if k.roll[i]*sign >= turnInRate && k.roll[i-1]*sign < turnInRate && k.lean[i]*sign < 0.3*peak {
			ps.TurnIn = k.p.Time[i]
			break
		}
	}
	if math.IsNaN(ps.TurnIn) {
		for i := at; i > a; i-- {
			if k.lean[i]*sign < 0.2*peak {
				ps.TurnIn = k.p.Time[i]
				break
			}
		}
	}
	built := at
	for built > a && k.lean[built-1]*sign >= 0.95*peak {
		built--
	}
	ps.Mid = k.p.Time[built]
	if !math.IsNaN(ps.BrakeOff) {
		ps.Mid = math.Max(ps.Mid, ps.BrakeOff)
	}
}

// opening finds pick-up, full throttle and the end of the pickup phase.
func (k *cutter) opening(ps *Pass, a, at, lo, exit, b int, peak, sign float64) {
	p := k.p
	half := at
	for half > a && k.lean[half-1]*sign > 0.5*peak {
		half--
	}
	if g := k.sig.Grip; g != nil {
		level := k.closed + gripOpen
		// Look only after the throttle has been closed in this turn.
		from := -1
		search := half
		if !math.IsNaN(ps.Brake) {
			search = min(half, p.Index(ps.Brake))
		}
		for i := search; i <= max(exit, lo); i++ {
			if g[i] <= level {
				from = i
				break
			}
		}
		if from >= 0 {
			start := max(from, half)
			if !math.IsNaN(ps.Brake) && !math.IsNaN(ps.BrakeOff) {
				// A blip on the brakes is no pick-up.
				start = max(start, p.Index(0.5*(ps.Brake+ps.BrakeOff)))
			}
			for i := start; i < b; {
				e := k.first(i, b, gripHold, func(i int) bool { return g[i] > level })
				if e < 0 {
					break
				}
				// First the throttle must be seen closed: else it never was.
				ps.Pickup = k.cross(g, e, level)
				high := g[e]
				for q := e; q < min(b, max(exit, e)); q++ {
					if g[q] > high {
						high = g[q]
					}
					if g[q] < high-reopen && g[q] <= level+reopen {
						if n := k.first(q, min(b, exit), gripHold, func(i int) bool { return g[i] > level+reopen }); n >= 0 {
							ps.Reopenings++
							q = n
							high = g[n]
							continue
						}
						break
					}
				}
				break
			}
		}
		s := at
		if !math.IsNaN(ps.Pickup) {
			s = p.Index(ps.Pickup)
		} else if from < 0 {
			s = half
		}
		if i := k.first(s, b, fullHold, func(i int) bool { return g[i] >= k.full }); i >= 0 && (i > s || from >= 0) {
			ps.FullThrottle = k.cross(g, i, k.full)
		}
	} else if i := k.first(lo, b, 0.15, func(i int) bool { return k.sig.Accel[i] > 0.5 }); i >= 0 {
		ps.Pickup = p.Time[i]
	}
	// Picked up: lean has come down by 8 deg from its peak, or below 40 deg.
	s := at
	if !math.IsNaN(ps.Pickup) {
		s = max(at, p.Index(ps.Pickup))
	}
	limit := peak - 8*math.Pi/180
	if peak > 48*math.Pi/180 {
		limit = math.Max(limit, 40*math.Pi/180)
	}
	for i := s; i < b; i++ {
		if k.lean[i]*sign < limit {
			ps.DriveOn = p.Time[i]
			break
		}
	}
}

// places turns the instants into metres from the gate.
func (k *cutter) places(ps *Pass) {
	place := func(t float64) float64 {
		if math.IsNaN(t) {
			return t
		}
		return k.c.Wrap(signal.At(k.p.S, k.p.Time[0], k.dt, t))
	}
	ps.BrakeM, ps.TurnInM, ps.ApexM = place(ps.Brake), place(ps.TurnIn), place(ps.Apex)
	ps.PickupM, ps.FullM = place(ps.Pickup), place(ps.FullThrottle)
}

// PhaseAt names the phase of instant t in the pass, in their exclusive order.
func (ps *Pass) PhaseAt(t float64) Phase {
	after := func(x float64) bool { return !math.IsNaN(x) && t >= x }
	switch {
	case after(ps.DriveOn) && (math.IsNaN(ps.Pickup) || after(ps.Pickup)):
		return PhaseDrive
	case after(ps.Pickup):
		return PhasePickup
	case after(ps.Mid):
		return PhaseMid
	case after(ps.TurnIn):
		return PhaseEntry
	}
	return PhaseBrake
}
