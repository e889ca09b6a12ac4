// Package ride is one run analysed: laps, turns and phases, derived signals,
// episodes and the per-pass table that debrief and verdict draw on.
package ride

import (
	"cornerwright/internal/bike"
	"cornerwright/internal/circuit"
	"cornerwright/internal/recording"
	"cornerwright/internal/say"
)

// Method is the version of the analysis. Stored results of another version are
// computed anew.
const Method = 4

// Ride is everything known about one run.
type Ride struct {
	Circuit  *circuit.Circuit
	Position *circuit.Position
	Matrix   *circuit.Matrix
	Laps     []circuit.Lap
	Passes   []Pass
	Episodes []Episode
	Signals  Signals
	Lean     bike.LeanReport
	Tyres    bike.Tyres
	Engine   EngineBrake
	Air      Air
	Pulls    []Pull   // full throttle by lap, turn, gear and engine speed
	Travel   []Travel // suspension by end and phase; empty where no travel is logged
	Cannot   []Cannot // what these channels cannot give, each with its reason
	Problems []recording.Problem

	speed []float64 // m/s over ground on the grid, front wheel corrected
}

// Speed is ground speed (m/s) on the grid of Position.Time, from the front wheel
// with its rolling radius, brake slip and air time taken out; the position's
// own speed where there is no front wheel.
func (r *Ride) Speed() []float64 { return r.speed }

// SetSpeed gives a ride that was read from storage the series that Speed
// returns.
func (r *Ride) SetSpeed(v []float64) { r.speed = v }

// Cannot names one thing that is withheld and why.
type Cannot struct{ What, Why, Mend say.Text }

// Signals are derived channels on the grid of Position.Time; nil where they
// cannot be given. Signs: to the right positive.
type Signals struct {
	Lean       []float64 // rad to the road
	LeanSE     []float64
	Accel      []float64 // m/s2 along the path
	RearSlip   []float64 // 1, drive positive
	FrontSlip  []float64 // 1, lock negative
	Gear       []int8    // 0 unknown or neutral
	RPM        []float64 // 1/min
	Grip       []float64 // 0..1
	Throttle   []float64 // 0..1
	Cut        []float64 // 0..1, channel or estimate (see CutSource)
	CutSource  string    // "cut channel", "demand against plate", "signature", ""
	FrontBrake []float64 // Pa, zero removed
	RearBrake  []float64
	Clutch     []float64 // 0 home .. 1
	Force      []float64 // N at the rear contact, drive positive
	Fork       []float64 // m
	Shock      []float64
	Airborne   []bool // front wheel in the air
	Slot       []int8 // 0 = A, -1 unknown
}

// Kind of an episode.
type Kind string

const (
	Cut      Kind = "cut"
	Spin     Kind = "spin"
	Blip     Kind = "blip"
	Limiter  Kind = "limiter"
	Wheelie  Kind = "wheelie"
	RearLift Kind = "rear-lift"
	Lock     Kind = "lock"
	Hop      Kind = "hop"
	Upshift  Kind = "upshift"
	PitSpeed Kind = "pit-speed"
	// Weave, wobble, hesitation and slides are kinds of their own.
	Weave      Kind = "weave"
	Wobble     Kind = "wobble"
	Hesitation Kind = "hesitation"
	Highside   Kind = "near-highside"
)

// LeanClass of a cut or spin.
type LeanClass string

const (
	AtMaxLean LeanClass = "at-max-lean"
	PickingUp LeanClass = "picking-up"
	Upright   LeanClass = "upright"
)

// Interval is an estimate with its range; N counts laps or samples as told.
type Interval struct {
	Value, Lo, Hi float64
	N             int
	OK            bool // false: withheld, see Why
	Why           string
}

// Episode is a stretch of time in which something happened.
type Episode struct {
	Kind       Kind
	Lap, Turn  int
	Phase      circuit.Phase
	Start, End float64 // s, recording clock
	Place      float64 // m from the gate, at start
	Peak, Mean float64 // share 0..1 for cut; slip for spin and lock; see Unit of kind in docs/method.md
	Lean       float64 // rad, signed, at start
	Speed      float64 // m/s, at start
	Gear       int
	LeanClass  LeanClass
	Inferred   bool     // no channel states it
	Slip       float64  // greatest rear slip during it, 1
	Cost       Interval // s
	DeltaV     float64  // m/s that a cut took by its end
	Band       string   // hop: "hop" or "chatter"
	Marked     say.Text // a health mark it rests on, in words
	Shift      *Shift   // blip and upshift
}

// Shift adds what a downshift or upshift needs. RPM in 1/min.
type Shift struct {
	FromGear, ToGear int
	GripPeak         float64 // 0..1
	Needed           float64
	Peak             float64
	Surplus          float64
	Limiter          bool
	Push             float64 // s the rear wheel drove the bike on
	PushAccel        float64 // m/s2
	Gap              float64 // s without drive
	Step             float64 // 1/min, overshoot
	CutLength        float64 // s
	Class            string  // downshift: "matched", "over", "under"; "" not known
}

// Pass is one row of the per-pass table: one lap through one turn with every
// measure that debrief and verdict draw on. NaN where a value cannot be given.
type Pass struct {
	circuit.Pass
	Run                                int // set by the caller that joins runs
	Slot                               string
	Timed                              bool    // the lap is a timed lap
	Segment                            float64 // s, window time
	SegmentSE                          float64
	SegmentSharedSE                    float64 // s, the part of SegmentSE that all timed laps of the run share; 0 not known
	EntryTime                          float64 // s, window start to slowest instant's place (fixed place over laps)
	ExitTime                           float64 // s, that place to window end
	EntrySpeed                         float64 // m/s at turn-in
	MinSpeed                           float64 // m/s
	ExitSpeed                          float64 // m/s at the turn's fixed exit place
	CarrySpeed                         float64 // m/s, 100 m after it
	MaxLean                            float64 // rad, unsigned
	MeanDecel                          float64 // m/s2, brake on to turn-in, positive
	PeakDecel                          float64
	CoastDecel                         float64 // m/s2 on closed throttle, off the brakes
	BrakeTime                          float64 // s
	CoastTime                          float64 // s between brakes off and pick-up
	PickupToFull                       float64 // s
	CutTime                            float64 // s of cut in pickup and drive
	CutArea                            float64 // s, integral of cut share
	CutMaxLean, CutPicking, CutUpright float64 // s by class
	PeakSlip                           float64 // 1, pickup and drive
	MeanSlip                           float64
	EntrySlip                          float64 // 1, least (most negative) rear slip from brake to mid
	Push                               float64 // s of push after downshifts
	Surplus                            float64 // 1/min, greatest of the downshifts
	MinGear                            int
	ShiftsDown                         int
	AirTime                            float64 // s front wheel in the air
	LimiterTime                        float64 // s
	HopRMS                             float64 // m/s2 or m/s as told in docs/method.md
	ForkMax                            float64 // m
	ShockMin                           float64
	Marks                              []say.Text // health marks and degradations it rests on
}

// EngineBrake is the closed-throttle deceleration by gear: N at the rear wheel.
type EngineBrake struct {
	Gears []GearDrag
	Notes []string
}

// GearDrag is one gear's engine drag.
type GearDrag struct {
	Gear    int
	Level   float64  // value of the engine-brake setting in use, in its unit; 0 if there is none
	RPM     float64  // mean
	Force   Interval // N, positive braking
	Decel   Interval // m/s2
	Samples int
}
