package debrief

import (
	"math"

	"cornerwright/internal/circuit"
	"cornerwright/internal/inference"
	"cornerwright/internal/ride"
	"cornerwright/internal/say"
)

var (
	closedPhases = []circuit.Phase{circuit.PhaseBrake, circuit.PhaseEntry, circuit.PhaseMid}
	brakePhase   = []circuit.Phase{circuit.PhaseBrake}
	leanedPhases = []circuit.Phase{circuit.PhaseEntry, circuit.PhaseMid}
)

func surplusMeasures(l *look) []Measure {
	return list(
		l.m("surplus", say.T("engine speed at clutch home above what the gear needs"), "rpm", func(p *ride.Pass) float64 {
			_, s := l.surplus(p, 1)
			if s == nil {
				return math.NaN()
			}
			return s.Surplus
		}),
		l.m("rpm_needed", say.T("engine speed needed there"), "rpm", func(p *ride.Pass) float64 {
			_, s := l.surplus(p, 1)
			if s == nil {
				return math.NaN()
			}
			return s.Needed
		}),
		l.m("push", say.T("time in which the rear pushed the bike on"), "s", func(p *ride.Pass) float64 { return p.Push }),
		l.m("decel", say.T("deceleration from the brakes to turn-in"), "mps2", func(p *ride.Pass) float64 { return p.MeanDecel }),
	)
}

func dragMeasures(l *look) []Measure {
	out := list(
		l.m("decel", say.T("deceleration with closed throttle off the brakes"), "mps2", func(p *ride.Pass) float64 { return p.CoastDecel }),
		l.m("entry_slip", say.T("least rear slip going in"), "pct", func(p *ride.Pass) float64 { return 100 * p.EntrySlip }),
		l.m("decel_brakes", say.T("deceleration from the brakes to turn-in"), "mps2", func(p *ride.Pass) float64 { return p.MeanDecel }),
	)
	for _, g := range l.r.Engine.Gears {
		if g.Gear == l.mainGear() && g.Force.OK {
			out = append(out, Measure{Name: "engine_drag", Label: say.T("engine drag at the wheel in gear {gear}", g.Gear), Value: g.Force.Value, Lo: g.Force.Lo, Hi: g.Force.Hi, N: max(g.Force.N, 1), Unit: "n"})
			if x, ok := l.gearDrag[g.Gear]; ok {
				out = append(out, Measure{Name: "drag_against_gears", Label: say.T("that drag against the other gears, ratio for ratio"), Value: 100 * x, Lo: 100 * x, Hi: 100 * x, N: max(g.Force.N, 1), Unit: "pct"})
			}
		}
	}
	return out
}

// weakDrag is engine drag under this share of the other gears' (ratio for
// ratio); gears are commonly set within two fifths of one another.
const weakDrag = 0.62

// weakGear tells whether the gear that a pass is entered in drags too little.
func weakGear(l *look, p *ride.Pass) sight {
	g := l.mainGear()
	x, _, ok := l.against(g)
	if g == 0 || !ok {
		return unknown
	}
	l.gear = g
	// The lap must have used it: a closed throttle in that gear for a while.
	n := 0
	l.closed(p, anywhere, func(i int) {
		if int(l.r.Signals.Gear[i]) == g {
			n++
		}
	})
	if float64(n)*l.dt < 0.15 {
		return unknown
	}
	return when(x < weakDrag)
}

// dragSlip is the rear slip that lasts while turning in with a closed throttle:
// the tenth percentile, downshifts and what follows them for 0.4 s left out
// (they are the blip's). NaN with less than 0.2 s of it.
func (l *look) dragSlip(p *ride.Pass) float64 {
	slip := l.r.Signals.RearSlip
	if slip == nil {
		return math.NaN()
	}
	shifts := l.has(ride.Blip, l.key(p), nil)
	var x []float64
	l.closed(p, leanedPhases, func(i int) {
		t := l.r.Position.Time[i]
		for _, e := range shifts {
			if t > e.Start-0.05 && t < e.End+0.4 {
				return
			}
		}
		if v := slip[i]; !math.IsNaN(v) && !(val(l.r.Signals.RearBrake, i) > 1e5) {
			x = append(x, v)
		}
	})
	if float64(len(x))*l.dt < 0.2 {
		return math.NaN()
	}
	return inference.Quantile(x, 0.1)
}

// usualCoast is the median over the other turns of the time between brakes and
// throttle, s; 0 where there is none to compare with.
func (l *look) usualCoast() float64 {
	var x []float64
	for n := range l.passes {
		if n == l.turn {
			continue
		}
		o := look{scene: l.scene, turn: n}
		if m := o.average(func(p *ride.Pass) float64 { return p.CoastTime }); !math.IsNaN(m) {
			x = append(x, m)
		}
	}
	if len(x) == 0 {
		return 0
	}
	return inference.Median(x)
}

// blipGear is the gear whose downshift comes in with the greatest surplus.
func (l *look) blipGear() int { return l.gearOfSurplus(1) }

// shortGear is the gear whose downshift comes in short of engine speed on a
// third of the laps or more, 0 if none does.
func (l *look) shortGear() int {
	n := 0
	for _, p := range l.passesOf() {
		if x, s := l.surplus(p, -1); isUnder(x, s) {
			n++
		}
	}
	if n == 0 || 3*n < len(l.passesOf()) {
		return 0
	}
	return l.gearOfSurplus(-1)
}

func (l *look) gearOfSurplus(sign float64) int {
	sum, count := map[int]float64{}, map[int]float64{}
	for _, p := range l.passesOf() {
		for _, e := range l.has(ride.Blip, l.key(p), nil) {
			if s := e.Shift; s != nil && !math.IsNaN(s.Surplus) {
				sum[s.ToGear] += sign * s.Surplus
				count[s.ToGear]++
			}
		}
	}
	best, most := 0, math.Inf(-1)
	for g := 1; g <= 8; g++ {
		if count[g] > 0 && sum[g]/count[g] > most {
			best, most = g, sum[g]/count[g]
		}
	}
	return best
}

// hopGear is the gear most in use while the rear hops.
func (l *look) hopGear() int {
	n := map[int]int{}
	for _, p := range l.passesOf() {
		for _, e := range l.has(ride.Hop, l.key(p), nil) {
			g := e.Gear
			if g == 0 {
				g = l.mainGear()
			}
			n[g]++
		}
	}
	best, most := l.mainGear(), 0
	for g, k := range n {
		if k > most || k == most && g < best {
			best, most = g, k
		}
	}
	return best
}

// frontLock is the time in which the front wheel turns at least 12 % too slowly.
func (l *look) frontLock(p *ride.Pass) float64 {
	x := 0.0
	for _, e := range l.has(ride.Lock, l.key(p), goingIn) {
		x += length(e)
	}
	return x
}

// brakeGain returns, for each lap, deceleration for each bar on the brakes
// (m/s2), and the median of the first two laps.
func (l *look) brakeGain() (first float64, byLap map[int]float64) {
	byLap = map[int]float64{}
	var early []float64
	for _, p := range l.passesOf() {
		var a, b float64
		l.samples(l.key(p), brakePhase, func(i int, _ circuit.Phase) {
			pressure := val(l.r.Signals.FrontBrake, i)
			if pressure > 3e5 && math.Abs(val(l.r.Signals.Lean, i)) < 15*degree {
				a -= l.r.Signals.Accel[i]
				b += pressure / 1e5
			}
		})
		if b > 50 {
			byLap[p.Lap] = a / b
			if len(early) < 2 {
				early = append(early, a/b)
			}
		}
	}
	if len(early) < 2 || len(byLap) < 4 {
		return math.NaN(), byLap
	}
	return inference.Median(early), byLap
}

// forkEnd is the greatest fork travel of the run, m.
func (l *look) forkEnd() float64 {
	best := 0.0
	for _, ps := range l.passes {
		for _, p := range ps {
			if p.ForkMax > best {
				best = p.ForkMax
			}
		}
	}
	return best
}

// rocking is twice the standard deviation of lean around its smooth course on
// the brakes while nearly upright, deg: what is left after a cubic through the
// neighbours 0.15 s and 0.3 s away is taken off.
func (l *look) rocking(p *ride.Pass) float64 {
	lean := l.r.Signals.Lean
	k := int(0.15 / math.Max(l.dt, 1e-3))
	sum, n := 0.0, 0.0
	l.samples(l.key(p), brakePhase, func(i int, _ circuit.Phase) {
		if i < 2*k || i+2*k >= len(lean) || math.Abs(lean[i]) > 20*degree {
			return
		}
		d := (lean[i] - (4*(lean[i-k]+lean[i+k])-lean[i-2*k]-lean[i+2*k])/6) / degree
		if !math.IsNaN(d) {
			sum += d * d
			n++
		}
	})
	if n*l.dt < 0.4 {
		return math.NaN()
	}
	return 2 * math.Sqrt(sum/n)
}

// rollRate is the greatest rate of leaning in, deg/s, over a tenth of a second.
func (l *look) rollRate(p *ride.Pass) float64 {
	lean := l.r.Signals.Lean
	k := int(0.1/math.Max(l.dt, 1e-3) + 0.5)
	best := math.NaN()
	l.samples(l.key(p), []circuit.Phase{circuit.PhaseBrake, circuit.PhaseEntry}, func(i int, _ circuit.Phase) {
		if i+k < len(lean) {
			if x := (math.Abs(lean[i+k]) - math.Abs(lean[i])) / degree / (float64(k) * l.dt); !(x <= best) {
				best = x
			}
		}
	})
	return best
}

// usualRoll is the median rate of leaning in over the other turns.
func (l *look) usualRoll() float64 {
	var x []float64
	for n, ps := range l.passes {
		if n == l.turn || len(ps) == 0 || l.turnOf[n] != nil && l.turnOf[n].Kink {
			continue
		}
		var y []float64
		for _, p := range ps {
			if v := l.rollRate(p); !math.IsNaN(v) {
				y = append(y, v)
			}
		}
		if len(y) > 0 {
			x = append(x, inference.Median(y))
		}
	}
	if len(x) < 3 {
		return math.NaN()
	}
	return inference.Median(x)
}

// shaking is the time of hop or chatter in entry and mid phase, s.
func (l *look) shaking(p *ride.Pass) float64 {
	return l.episodeSum(ride.Hop, p, leanedPhases, length)
}

// slipTrend is the growth of the greatest slip per lap (1), its standard error
// and the laps it rests on.
func (l *look) slipTrend() (slope, se float64, laps int) {
	var x, y []float64
	for _, p := range l.passesOf() {
		if d := l.d(p); d.slipKnown && d.slipPeak > 0 {
			x, y = append(x, float64(p.Lap)), append(y, d.slipPeak)
		}
	}
	n := float64(len(x))
	if n < 3 {
		return 0, math.Inf(1), len(x)
	}
	mx, my := inference.Mean(x), inference.Mean(y)
	var sxx, sxy, rest float64
	for i := range x {
		sxx += (x[i] - mx) * (x[i] - mx)
		sxy += (x[i] - mx) * (y[i] - my)
	}
	slope = sxy / sxx
	for i := range x {
		r := y[i] - my - slope*(x[i]-mx)
		rest += r * r
	}
	return slope, math.Sqrt(rest / (n - 2) / sxx), len(x)
}
