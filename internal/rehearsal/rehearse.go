package rehearsal

import (
	"math"
	"sort"

	"cornerwright/internal/bike"
	"cornerwright/internal/circuit"
	"cornerwright/internal/inference"
	"cornerwright/internal/ride"
	"cornerwright/internal/say"
	"cornerwright/internal/setting"
)

// Defaults of the rehearsal, shown with its results.
const (
	cutFloor  = 0.03 // share of torque below which a cut is not counted
	gravity   = 9.80665
	defaultMu = 1.2 // dry racing tyre, the low side (common practice)
	// Drive stiffness of a rear tyre: drive force over load for each unit of
	// slip, in its rising part. 12 to 25 covers race tyres (from memory).
	stiffLow, stiffHigh = 12.0, 25.0
)

// Cautions stand on screen and paper wherever a step is decided that touches
// traction, engine braking, wheel lift or brakes.
var Cautions = []string{
	"Closed circuit only, with the rider's consent.",
	"One step at a time, warm tyres, build up over laps.",
	"The reference slot stays unchanged and within the rider's reach.",
	"Loaded only by those licensed and equipped for it, within the manufacturer's limits.",
	"Circuit rules and local law come first.",
}

// Rehearse lays a step on the laps just ridden. Every range assumes the
// recorded line and throttle hand; what they cannot carry is in Withheld.
func Rehearse(r *ride.Ride, b *bike.Bike, step setting.Step, sheet setting.Sheet) Rehearsal {
	out := Rehearsal{Step: step, Footprint: FootprintOf(r, b, step, sheet), Cautions: Cautions}
	out.Laps = out.Footprint.Laps
	if out.Footprint.Cannot != "" {
		out.withhold(say.T("rehearsal"), out.Footprint.Cannot, say.T("record the channels it needs, or ride a timed lap"))
		return out
	}
	s := b.Setting(step.Setting)
	j := job{r: r, b: b, s: s, step: step, sheet: sheet, out: &out, stretches: Stretches(r)}
	j.collect()
	switch s.ActsOn() {
	case "slip-target":
		j.slip()
	case "engine-brake":
		j.engineBrake()
	case "blip":
		j.blip()
	case "wheelie-limit":
		j.bound("air_time", "s", func(p *ride.Pass) float64 { return p.AirTime }, say.T("a wheel-lift limit is not followed by a tyre or an engine alone: how far the front comes up is the rider's too"))
	case "torque-limit", "throttle-map":
		j.bound("exit_time", "s", func(p *ride.Pass) float64 { return p.ExitTime }, say.T("how much of the torque the tyre would have carried is not known"))
	default:
		out.withhold(say.T("effect of {id}", s.ID), say.T("the tool has no model of what it acts on ({s})", s.ActsOn()), say.T("judge it by the run; the footprint shows where it acts"))
	}
	out.withhold(say.T("lap time"), say.T("the rider answers a changed bike with another line and another hand"), say.T("ride it and compare"))
	if out.Footprint.Wobble.Large {
		out.withhold(say.T("share of the turn aimed at"), out.Footprint.Wobble.Text, say.T("check lean zero and wheel circumference"))
	}
	sort.SliceStable(out.Changes, func(i, k int) bool {
		a, c := out.Changes[i].Turn == step.Primary.Turn, out.Changes[k].Turn == step.Primary.Turn
		return a && !c
	})
	return out
}

func (h *Rehearsal) withhold(what, why, mend say.Text) {
	h.Withheld = append(h.Withheld, ride.Cannot{What: what, Why: why, Mend: mend})
}

// job is one rehearsal under way.
type job struct {
	r         *ride.Ride
	b         *bike.Bike
	s         *setting.Setting
	step      setting.Step
	sheet     setting.Sheet
	out       *Rehearsal
	stretches []Stretch
	passes    map[int][]*ride.Pass // by turn: timed, whole
	turns     []int                // those the footprint names, most used first
}

func (j *job) collect() {
	j.passes = map[int][]*ride.Pass{}
	for i := range j.r.Passes {
		p := &j.r.Passes[i]
		if p.Timed && p.Whole {
			j.passes[p.Turn] = append(j.passes[p.Turn], p)
		}
	}
	for _, u := range j.out.Footprint.Turns {
		if u.Turn != 0 && u.Share >= 0.01 {
			j.turns = append(j.turns, u.Turn)
		}
	}
}

// mass of bike and rider with the wheels' and engine's spin, kg.
func (j *job) mass() float64 {
	m := j.b.Mass.Total
	if m == 0 {
		m = 270
	}
	return m + 25 // wheels about 11, engine in the middle gears about 14 (physics: inertia over radius squared)
}

// mean95 returns mean and 95 % interval of the mean over laps, unknown values
// left out.
func mean95(x []float64) (mean, lo, hi float64, n int) {
	y := known(x)
	n = len(y)
	if n == 0 {
		return math.NaN(), math.NaN(), math.NaN(), 0
	}
	mean = inference.Mean(y)
	if n == 1 {
		return mean, math.Inf(-1), math.Inf(1), 1
	}
	h := inference.TQuantile(0.975, float64(n-1)) * inference.SD(y) / math.Sqrt(float64(n))
	return mean, mean - h, mean + h, n
}

func known(x []float64) []float64 {
	y := make([]float64, 0, len(x))
	for _, v := range x {
		if !math.IsNaN(v) && !math.IsInf(v, 0) {
			y = append(y, v)
		}
	}
	return y
}

// values collects one measure over the timed passes of a turn.
func (j *job) values(turn int, f func(*ride.Pass) float64) []float64 {
	var x []float64
	for _, p := range j.passes[turn] {
		x = append(x, f(p))
	}
	return x
}

// add appends a change; d, dLo, dHi are the change of the mean by the step
// alone. The range is widened by what as many laps again would scatter by.
func (j *job) add(turn int, phase circuit.Phase, measure, unit string, before []float64, d, dLo, dHi float64, floor bool, basis say.Text) {
	mean, lo, hi, n := mean95(before)
	if n < 2 {
		return
	}
	// The mean of as many laps again scatters as this one does: their difference
	// by the square root of two more.
	half := math.Sqrt2 * (hi - lo) / 2
	c := Change{Turn: turn, Phase: phase, Measure: measure, Unit: unit, Before: mean, BeforeLo: lo, BeforeHi: hi, N: n, Basis: basis,
		After: mean + d, AfterLo: mean + dLo - half, AfterHi: mean + dHi + half}
	c.After = math.Min(math.Max(c.After, c.AfterLo), c.AfterHi)
	if floor { // a length of time or a share is not negative
		c.After, c.AfterLo, c.BeforeLo = math.Max(0, c.After), math.Max(0, c.AfterLo), math.Max(0, c.BeforeLo)
	}
	j.out.Changes = append(j.out.Changes, c)
}

// bound gives only the direction of a change, with the value before.
func (j *job) bound(measure, unit string, f func(*ride.Pass) float64, why say.Text) {
	for _, turn := range j.turns {
		mean, lo, hi, n := mean95(j.values(turn, f))
		if n < 2 {
			continue
		}
		c := Change{Turn: turn, Measure: measure, Unit: unit, Before: mean, BeforeLo: lo, BeforeHi: hi, N: n, SignOnly: true,
			After: mean, AfterLo: mean, AfterHi: mean, Basis: say.T("direction only: {why}", why)}
		up := j.s.LoosensAny(j.step.Cells) == (measure == "air_time")
		if up {
			c.AfterHi = math.Inf(1)
		} else {
			c.AfterLo = 0
		}
		j.out.Changes = append(j.out.Changes, c)
	}
	j.out.withhold(say.T("size of the effect"), why, say.T("only the direction is shown"))
}
