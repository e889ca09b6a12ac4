package rehearsal

import (
	"math"

	"cornerwright/internal/circuit"
	"cornerwright/internal/inference"
	"cornerwright/internal/ride"
	"cornerwright/internal/say"
	"cornerwright/internal/setting"
)

// slip rehearses a change of slip targets.
//
// Closed loop: while the controller cuts, it holds the tyre near its target.
// A target higher by d lets the tyre carry C d more drive force, C being the
// local slope of force over slip, so the cut shrinks from c to c - C d / F with
// F the force the rider asked for: F = delivered / (1 - c). Nothing more than
// what was asked for can be released. C lies between nothing (tyre at its peak)
// and the secant force / slip (tyre in its first rise); the ride's own slope
// stands between them where it can be identified.
func (j *job) slip() {
	g := &j.r.Signals
	if g.Cut == nil {
		j.out.withhold(say.T("cut time"), say.T("the recording shows no cut: neither a cut channel nor grip and throttle"), say.T("record the cut channel, or grip and throttle plate"))
	}
	if g.RearSlip == nil {
		j.out.withhold(say.T("slip"), say.T("rear slip cannot be given"), say.T("record both wheel speeds"))
	}
	j.respond()
	w := weigher{j.r, j.s}
	delta := map[[2]int]float64{}
	for _, c := range j.step.Cells {
		delta[[2]int{c.Row, c.Column}] = c.New - c.Old
	}
	dt := tick(j.r)
	sums := map[[2]int]*lapSum{} // lap, turn
	var buf [4]setting.Weight
	for _, st := range j.stretches {
		if !st.Timed {
			continue
		}
		k := [2]int{st.Lap, st.Turn}
		t := sums[k]
		if t == nil {
			t = &lapSum{}
			sums[k] = t
		}
		drive := st.Phase == circuit.PhasePickup || st.Phase == circuit.PhaseDrive
		for i := st.From; i < st.To; i++ {
			slip, cut := at(g.RearSlip, i), at(g.Cut, i)
			if drive && slip > t.slipPeak {
				t.slipPeak = slip
			}
			d := 0.0
			for _, c := range w.cells(buf[:0], i, 0, 0) {
				d += c.W * delta[[2]int{c.Row, c.Column}]
			}
			if d == 0 {
				if cut > cutFloor {
					t.cutBefore += dt
					for k := range t.cut {
						t.cut[k] += dt
					}
				}
				continue
			}
			if cut > cutFloor/2 {
				t.touch(d, slip, cut, at(g.Force, i), dt, j)
				if math.Abs(d) > math.Abs(t.shift) {
					t.shift = d
				}
				if lean := math.Abs(at(g.Lean, i)); lean > t.lean {
					t.lean = lean
				}
			}
		}
	}
	j.slipChanges(sums)
	j.episodes(delta)
}

// lapSum is one turn on one lap. The three entries of an array are the least
// response, the likely one and the greatest.
type lapSum struct {
	cutBefore float64
	cut       [3]float64 // s of cut after
	impulse   [3]float64 // N s released, negative where taken away
	slipPeak  float64
	shift     float64 // % of target
	lean      float64 // rad
}

func (t *lapSum) touch(d, slip, cut, force, dt float64, j *job) {
	if cut > cutFloor {
		t.cutBefore += dt
	}
	c := math.Min(cut, 0.95)
	demand := force / (1 - c)
	if !(demand > 200) { // no force known, or next to none: a usual drive at lean
		demand = 2500
	}
	for k, slope := range j.slopes(slip, force) {
		released := slope * d // N
		after := c - released/demand
		if after > cutFloor {
			t.cut[k] += dt
		}
		t.impulse[k] += (c - math.Max(after, 0)) * demand * dt
	}
}

// slopes returns least, likely and greatest force per 1 % of slip, N.
func (j *job) slopes(slip, force float64) [3]float64 {
	secant := 400.0
	if slip > 0.015 && force > 300 {
		secant = math.Min(force/(100*slip), 900)
	}
	likely := 0.5 * secant
	if j.out.Response.Identified {
		likely = math.Min(j.out.Response.Slope.Value, secant)
	}
	return [3]float64{0, likely, secant}
}

// respond identifies the local slope of drive force over slip from the cut
// samples: force regressed on slip within each turn and lap, so that neither
// lean nor gear stands between them; the interval comes from leaving out one
// lap at a time.
func (j *job) respond() {
	g := &j.r.Signals
	if g.RearSlip == nil || g.Force == nil || g.Cut == nil {
		j.out.Response.Why = say.T("needs rear slip, wheel force and cut")
		return
	}
	type pair struct{ xx, xy float64 }
	byLap := map[int]pair{}
	samples := 0
	for _, st := range j.stretches {
		if !st.Timed || st.Phase != circuit.PhasePickup && st.Phase != circuit.PhaseDrive {
			continue
		}
		var x, y []float64
		for i := st.From; i < st.To; i++ {
			if at(g.Cut, i) > cutFloor && !isTrue(g.Airborne, i) && at(g.RearSlip, i) > 0 {
				x = append(x, 100*g.RearSlip[i])
				y = append(y, g.Force[i])
			}
		}
		if len(x) < 10 {
			continue
		}
		samples += len(x)
		mx, my := inference.Mean(x), inference.Mean(y)
		p := byLap[st.Lap]
		for k := range x {
			p.xx += (x[k] - mx) * (x[k] - mx)
			p.xy += (x[k] - mx) * (y[k] - my)
		}
		byLap[st.Lap] = p
	}
	if len(byLap) < 3 || samples < 100 {
		j.out.Response.Why = say.T("only {samples} samples of cut on {bylap} laps; 100 on 3 laps are needed", samples, len(byLap))
		return
	}
	var xx, xy float64
	for _, p := range byLap {
		xx += p.xx
		xy += p.xy
	}
	slope := xy / xx
	n := float64(len(byLap))
	ss := 0.0
	for _, p := range byLap {
		if xx-p.xx <= 0 {
			continue
		}
		d := (xy-p.xy)/(xx-p.xx) - slope
		ss += d * d
	}
	half := inference.TQuantile(0.975, n-1) * math.Sqrt((n-1)/n*ss)
	j.out.Response.Slope = ride.Interval{Value: slope, Lo: slope - half, Hi: slope + half, N: len(byLap), OK: true}
	if !(slope > 20) {
		j.out.Response.Why = say.T("force does not rise with slip where the controller cut: the tyre was at its peak, or slip and force are too noisy")
		return
	}
	j.out.Response.Identified = true
}

func (j *job) slipChanges(sums map[[2]int]*lapSum) {
	m := j.mass()
	for _, turn := range j.turns {
		var cut, slip, segment []float64
		var dCut, dTime [3]float64
		var shift, lean float64
		n := 0.0
		for _, p := range j.passes[turn] {
			t := sums[[2]int{p.Lap, turn}]
			if t == nil {
				continue
			}
			n++
			cut = append(cut, t.cutBefore)
			slip = append(slip, 100*t.slipPeak)
			segment = append(segment, p.Segment)
			for k := range dCut {
				dCut[k] += t.cut[k] - t.cutBefore
				dTime[k] += j.timeOf(t.impulse[k]/m, p)
			}
			if math.Abs(t.shift) > math.Abs(shift) {
				shift = t.shift
			}
			lean = math.Max(lean, t.lean)
		}
		if n < 2 {
			continue
		}
		for k := range dCut {
			dCut[k] /= n
			dTime[k] /= n
		}
		if j.r.Signals.Cut != nil {
			lo, hi := order(dCut[0], dCut[2])
			j.add(turn, "", "cut_time", "s", cut, dCut[1], lo, hi, true, say.T("closed loop from no answer of the tyre to its full first rise; recorded line and throttle"))
			lo, hi = order(-0.5*dTime[0], -1.3*dTime[2])
			j.add(turn, "", "segment_time", "s", segment, -dTime[1], lo, hi, false, say.T("released drive up to the next brake point; never a promise of lap time"))
		}
		if j.r.Signals.RearSlip != nil && shift != 0 {
			lo, hi := order(0, 1.3*shift)
			j.add(turn, circuit.PhasePickup, "slip_peak", "pct", slip, 0.7*shift, lo, hi, true, say.T("the greatest slip follows the target, with its overshoot"))
			j.out.Changes = append(j.out.Changes, Change{Turn: turn, Measure: "lean_peak", Unit: "deg", Before: lean * 180 / math.Pi,
				BeforeLo: lean * 180 / math.Pi, BeforeHi: lean * 180 / math.Pi, After: lean * 180 / math.Pi, AfterLo: lean * 180 / math.Pi, AfterHi: lean*180/math.Pi + 1,
				N: int(n), Basis: say.T("greatest lean at which the changed cells were in use during a cut")})
		}
	}
}

func order(a, b float64) (lo, hi float64) { return math.Min(a, b), math.Max(a, b) }

// timeOf turns a gain of speed dv (m/s) out of a turn into seconds up to the
// next brake point: dv / a (1 - v0 / v1), with v0 the speed at the pick-up, v1
// the greatest after it and a the mean acceleration between (losing speed is a
// shift of the whole speed trace along the straight).
func (j *job) timeOf(dv float64, p *ride.Pass) float64 {
	start := p.Pickup
	if math.IsNaN(start) {
		start = p.Apex
	}
	if math.IsNaN(start) {
		return 0
	}
	v := j.r.Position.Speed
	i, end := Sample(j.r, start), Sample(j.r, p.End)
	if i >= end || end > len(v) {
		return 0
	}
	v0, v1, when := v[i], v[i], i
	for k := i; k < end; k++ {
		if v[k] > v1 {
			v1, when = v[k], k
		}
	}
	if v1 < v0+1 {
		return 0
	}
	a := (v1 - v0) / (float64(when-i) * tick(j.r))
	return dv / a * (1 - v0/v1)
}

// episodes counts the recorded cuts that the step touches.
func (j *job) episodes(delta map[[2]int]float64) {
	g := &j.r.Signals
	if g.Cut == nil || g.RearSlip == nil {
		return
	}
	w := weigher{j.r, j.s}
	var buf [4]setting.Weight
	timed := map[int]bool{}
	for _, l := range j.r.Laps {
		timed[l.Number] = l.Kind == circuit.TimedLap
	}
	count := map[int]*EpisodeCount{}
	for _, e := range j.r.Episodes {
		if e.Kind != ride.Cut || !timed[e.Lap] {
			continue
		}
		touched, never, sign := false, true, 0.0
		for i := Sample(j.r, e.Start); i < Sample(j.r, e.End); i++ {
			d := 0.0
			for _, c := range w.cells(buf[:0], i, 0, 0) {
				d += c.W * delta[[2]int{c.Row, c.Column}]
			}
			if d != 0 {
				touched = true
				sign = d
			}
			cut := at(g.Cut, i)
			f := math.Max(at(g.Force, i), 0) / (1 - math.Min(cut, 0.95))
			if f > 200 && cut-j.slopes(at(g.RearSlip, i), at(g.Force, i))[1]*d/f > cutFloor {
				never = false
			}
		}
		c := count[e.Turn]
		if c == nil {
			c = &EpisodeCount{Turn: e.Turn}
			count[e.Turn] = c
		}
		c.Before++
		switch {
		case !touched:
		case sign < 0:
			c.Longer++
		case never:
			c.Never++
		default:
			c.Shorter++
		}
	}
	for _, t := range j.turns {
		if c := count[t]; c != nil {
			j.out.Episodes = append(j.out.Episodes, *c)
		}
	}
}
