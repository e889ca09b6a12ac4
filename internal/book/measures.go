package book

import (
	"fmt"
	"math"
	"sort"
	"strings"

	"cornerwright/internal/ride"
	"cornerwright/internal/say"
	"cornerwright/internal/verdict"
)

// measure is one column of the per-pass table as verdicts and plans use it.
type measure struct {
	name    string
	words   string
	unit    string // of value and matters, as shown
	better  verdict.Direction
	tier    verdict.Tier
	matters float64 // default smallest difference that matters; common practice
	safety  bool
	value   func(*ride.Pass) float64
	se      func(*ride.Pass) float64
}

const deg = 180 / math.Pi

// measures are in the order that lists show them. The values of matters are
// common practice for a good amateur; a step's own value stands above them.
var measures = []measure{
	{name: "segment", words: "time through the turn's window", unit: "s", better: verdict.Lower, tier: verdict.Outcome, matters: 0.05,
		value: func(p *ride.Pass) float64 { return p.Segment }, se: func(p *ride.Pass) float64 { return p.SegmentSE }},
	{name: "entry", words: "time from the window's start to the slowest place", unit: "s", better: verdict.Lower, tier: verdict.Outcome, matters: 0.05,
		value: func(p *ride.Pass) float64 { return p.EntryTime }, se: func(p *ride.Pass) float64 { return p.SegmentSE }},
	{name: "exit", words: "time from the slowest place to the window's end", unit: "s", better: verdict.Lower, tier: verdict.Outcome, matters: 0.05,
		value: func(p *ride.Pass) float64 { return p.ExitTime }, se: func(p *ride.Pass) float64 { return p.SegmentSE }},
	{name: "exit-speed", words: "speed carried 100 m past the exit", unit: "km/h", better: verdict.Higher, tier: verdict.Outcome, matters: 1,
		value: func(p *ride.Pass) float64 { return p.CarrySpeed * 3.6 }},
	{name: "min-speed", words: "least speed", unit: "km/h", better: verdict.Higher, tier: verdict.Outcome, matters: 1,
		value: func(p *ride.Pass) float64 { return p.MinSpeed * 3.6 }},
	{name: "entry-speed", words: "speed at turn-in", unit: "km/h", better: verdict.Neutral, tier: verdict.Outcome, matters: 1.5,
		value: func(p *ride.Pass) float64 { return p.EntrySpeed * 3.6 }},
	{name: "decel", words: "mean braking deceleration", unit: "m/s2", better: verdict.Higher, tier: verdict.Mechanism, matters: 0.3,
		value: func(p *ride.Pass) float64 { return p.MeanDecel }},
	{name: "coast-decel", words: "deceleration on a closed throttle", unit: "m/s2", better: verdict.Neutral, tier: verdict.Mechanism, matters: 0.2,
		value: func(p *ride.Pass) float64 { return p.CoastDecel }},
	{name: "cut", words: "time that torque is cut on pick-up and drive", unit: "s", better: verdict.Lower, tier: verdict.Mechanism, matters: 0.05,
		value: func(p *ride.Pass) float64 { return p.CutTime }},
	{name: "slip", words: "greatest rear slip on pick-up and drive", unit: "%", better: verdict.Lower, tier: verdict.Mechanism, matters: 1, safety: true,
		value: func(p *ride.Pass) float64 { return p.PeakSlip * 100 }},
	{name: "entry-slip", words: "greatest rear drag slip on the brakes", unit: "%", better: verdict.Lower, tier: verdict.Mechanism, matters: 1, safety: true,
		value: func(p *ride.Pass) float64 { return -p.EntrySlip * 100 }},
	{name: "push", words: "time the rear wheel pushes on after downshifts", unit: "s", better: verdict.Lower, tier: verdict.Mechanism, matters: 0.03,
		value: func(p *ride.Pass) float64 { return p.Push }},
	{name: "surplus", words: "greatest surplus of engine speed at clutch home", unit: "1/min", better: verdict.Lower, tier: verdict.Mechanism, matters: 200,
		value: func(p *ride.Pass) float64 { return p.Surplus }},
	{name: "lean", words: "greatest lean", unit: "deg", better: verdict.Neutral, tier: verdict.Mechanism, matters: 1,
		value: func(p *ride.Pass) float64 { return p.MaxLean * deg }},
	{name: "air", words: "time with the front wheel in the air", unit: "s", better: verdict.Lower, tier: verdict.Mechanism, matters: 0.1, safety: true,
		value: func(p *ride.Pass) float64 { return p.AirTime }},
	{name: "pickup-to-full", words: "time from pick-up to full throttle", unit: "s", better: verdict.Lower, tier: verdict.Mechanism, matters: 0.05,
		value: func(p *ride.Pass) float64 { return p.PickupToFull }},
	{name: "coast", words: "time between brakes off and pick-up", unit: "s", better: verdict.Lower, tier: verdict.Mechanism, matters: 0.05,
		value: func(p *ride.Pass) float64 { return p.CoastTime }},
}

// MeasureInfo describes a measure that a step, plan or verdict can be about.
type MeasureInfo struct {
	Name, Words, Unit string
	Matters           float64
}

// Measures lists what can be measured, for help and forms.
func Measures() []MeasureInfo {
	var out []MeasureInfo
	for _, m := range measures {
		out = append(out, MeasureInfo{m.name, m.words, m.unit, m.matters})
	}
	return out
}

func measureByName(name string) (measure, error) {
	var names []string
	for _, m := range measures {
		if m.name == name {
			return m, nil
		}
		names = append(names, m.name)
	}
	return measure{}, invalid(say.T("there is no measure {name}", fmt.Sprintf("%q", name)), say.T("use one of: {names}", strings.Join(names, ", ")))
}

// companions are the measures of mechanism that tell whether a setting did what
// it is for, by what it acts on.
func companions(acts string) []string {
	switch {
	case strings.Contains(acts, "slip"), strings.Contains(acts, "torque"):
		return []string{"cut"}
	case strings.Contains(acts, "engine-brake"):
		return []string{"coast-decel"}
	case strings.Contains(acts, "blip"):
		return []string{"surplus", "push"}
	case strings.Contains(acts, "wheelie"):
		return []string{"air"}
	case strings.Contains(acts, "throttle"):
		return []string{"pickup-to-full"}
	}
	return nil
}

// passLaps turns the passes of one turn into laps of a verdict's measure.
// Passes that are not whole have no value; they are shown, not dropped.
func passLaps(m measure, turn int, runs []verdictRun) []verdict.Lap {
	var out []verdict.Lap
	for _, r := range runs {
		for i := range r.passes {
			p := &r.passes[i]
			if p.Turn != turn || !p.Timed {
				continue
			}
			l := verdict.Lap{Run: r.run.Number, Number: p.Lap, Slot: r.slot(p.Slot), Value: m.value(p), Mark: r.marks[p.Lap], Covariates: r.drift[p.Lap]}
			if m.se != nil {
				l.ValueSE = zeroNaN(m.se(p))
			}
			if !p.Whole {
				l.Value = math.NaN()
			}
			out = append(out, l)
		}
	}
	sort.SliceStable(out, func(i, j int) bool {
		if out[i].Run != out[j].Run {
			return out[i].Run < out[j].Run
		}
		return out[i].Number < out[j].Number
	})
	return out
}

func zeroNaN(x float64) float64 {
	if math.IsNaN(x) {
		return 0
	}
	return x
}
