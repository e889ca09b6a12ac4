// Package rehearsal applies one step to laps already ridden: where its cells
// are used (the footprint), what would have been different, with its
// uncertainty, and which guards stand in its way.
//
// A rehearsal never promises a lap time. It holds the ridden line, the rider's
// hand and the tyre of the recorded laps still, and asks only what the
// controller would have done. Its ranges are therefore wide on the side where
// rider or tyre may answer back.
package rehearsal

import (
	"cornerwright/internal/circuit"
	"cornerwright/internal/ride"
	"cornerwright/internal/say"
	"cornerwright/internal/setting"
)

// Use is one place on the lap at which the changed cells are in use.
type Use struct {
	Turn  int           // turn number, 0 where no turn's window covers the sample
	Phase circuit.Phase // "" in a sum over the phases of a turn
	Dwell float64       // s per lap: time weighted with the changed cells' bilinear weight
	Share float64       // 0..1 of the whole footprint
	Mean  float64       // mean change of the interpolated value while in use, in the setting's unit, signed
	Max   float64       // the greatest such change, signed
	Laps  int           // laps on which it was used
}

// LapUse is the use of the changed cells on one lap.
type LapUse struct {
	Lap   int
	Dwell float64 // s, weighted
}

// CellUse is how long one cell of the setting was in use.
type CellUse struct {
	Row, Column int
	Dwell       float64 // s per lap, weighted
	Laps        int     // laps on which its weight summed to 0.05 s or more
	Changed     bool    // the step changes it
	TopTurn     int     // turn with the most of it, 0 for none
}

// Visited tells whether the cell has been ridden enough to be judged: 0.02 s a
// lap of weighted time, on at least one lap.
func (c CellUse) Visited() bool { return c.Laps > 0 && c.Dwell >= 0.02 }

// Sensitivity tells how the share of the step's own turns moves when lean and
// speed are a little wrong. Shares are 0..1; NaN where no turn is aimed at.
type Sensitivity struct {
	Share                float64  // as recorded
	LeanLess, LeanMore   float64  // lean 2 deg less and more
	SpeedLess, SpeedMore float64  // speed 1 % less and more
	Large                bool     // any of them moves the share by more than a fifth
	Text                 say.Text // in words, where Large
}

// Footprint is where on the lap, and for how long, a step's cells are used.
type Footprint struct {
	Setting   string
	Unit      string
	Laps      int            // laps it rests on
	Rule      say.Text       // which samples count, in words
	Dwell     float64        // s per lap, all changed cells
	Mean, Max float64        // change of the interpolated value over all use, signed, in Unit
	Uses      []Use          // by turn and phase, most used first
	Turns     []Use          // summed over phases, most used first
	Elsewhere []Use          // Turns other than those the step is aimed at, ranked
	ByLap     []LapUse       // in lap order
	Cells     []CellUse      // every cell of the setting, row by row
	Never     []setting.Cell // changed cells that were never in use
	Wobble    Sensitivity
	Cannot    say.Text // why there is none; empty if there is
}

// Change is one measure at one turn before the step and after it.
type Change struct {
	Turn     int
	Phase    circuit.Phase // "" for the whole turn
	Measure  string        // cut_time, segment_time, slip_peak, slip_mean, lean_peak, decel, rear_slip, surplus, air_time, throttle_delay, ...
	Unit     string        // s, pct, deg, mps2, rpm, m
	Before   float64       // mean over laps
	BeforeLo float64       // 95 % interval of that mean
	BeforeHi float64
	After    float64 // most likely; within AfterLo..AfterHi
	AfterLo  float64
	AfterHi  float64
	N        int      // laps
	Basis    say.Text // in words: what the range rests on
	SignOnly bool     // only the direction is known; After.. then hold the bound, not an estimate
}

// Response is how the slip controller and the tyre of this bike answered on
// the recorded laps.
type Response struct {
	Slope      ride.Interval // N of drive force per 1 % of slip while cutting
	Headroom   ride.Interval // share of demanded force that was cut
	Overshoot  ride.Interval // %: greatest slip above the target in an episode
	Identified bool
	Why        say.Text // where not identified: reason; the range then is the wide default
}

// EpisodeCount counts the recorded episodes that the step touches.
type EpisodeCount struct {
	Turn                           int
	Before, Shorter, Never, Longer int // of Before: start later or end sooner; not start at all; last longer
}

// Rehearsal is the answer.
type Rehearsal struct {
	Step      setting.Step
	Laps      int
	Footprint Footprint
	Changes   []Change       // by turn, the step's own turn first
	Episodes  []EpisodeCount // by turn
	Response  Response
	Withheld  []ride.Cannot // what is not claimed, with the reason
	Cautions  []string      // to stand where the change is decided
}
