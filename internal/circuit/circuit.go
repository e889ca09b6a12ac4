// Package circuit knows where the bike was: geodesy, the reference line, the
// start gate, position along the lap, laps, turns and phases.
//
// Distances are metres along the reference line from the gate (s), lateral
// offset is metres from the line, positive to the right of the riding
// direction; curvature and lean are positive to the right; headings are
// radians clockwise from north.
package circuit

import (
	"cornerwright/internal/recording"
	"cornerwright/internal/say"
)

// Circuit is a learnt or hand-made circuit. It is a plain value that can be
// stored; s of stored results refers to exactly one Version.
type Circuit struct {
	Name      string
	Version   int // of the reference line; results of another version are re-projected
	Frame     Frame
	Line      Line
	HalfWidth float64 // m, of the start gate across the line
	Turns     []Turn
	Found     []Turn     // turns before a person's edits, nil where there were none; Apply begins from them
	Notes     []say.Text // how it was learnt: laps used, lap of the gate, edits applied
}

// Line is the closed reference line, sampled evenly in s; sample i lies at
// s = i*Step and the last sample is one Step before the gate.
type Line struct {
	Step    float64   // m
	Length  float64   // m
	X, Y    []float64 // m east, north in the circuit's Frame
	Heading []float64 // rad clockwise from north, unwrapped
	Kappa   []float64 // 1/m, positive to the right
	Height  []float64 // m, nil if unknown
}

// Direction of a turn.
type Direction string

const (
	Left  Direction = "left"
	Right Direction = "right"
)

// Turn is one numbered corner of the circuit. From..To is its window: from
// before its earliest braking to the start of the next turn's window, so that
// exit speed pays back inside the same turn; Entry..Exit is the bend itself.
// A window or bend may run over the gate; then From > To (take it modulo Length).
type Turn struct {
	Number    int
	Name      string // empty: call it by number
	Direction Direction
	From, To  float64   // m, window
	Entry     float64   // m
	Apex      float64   // m, place of greatest curvature of the line
	Exit      float64   // m
	Apexes    []float64 // m, more than one for a double apex
	// MinRadius is the least radius of the line (m), to 2 % (root mean square) below 200 m
	// with GPS heading and to 5 % without; wider bends read 4 to 9 % too small on average,
	// as the greatest of noisy curvatures. See TestLeastRadius.
	MinRadius float64
	Kink      bool // taken (almost) flat: no brake or pick-up expected
}

// Label is the name if it has one, else the number.
func (t Turn) Label() string {
	if t.Name != "" {
		return t.Name
	}
	return itoa(t.Number)
}

func itoa(n int) string {
	if n < 0 {
		return "-" + itoa(-n)
	}
	if n < 10 {
		return string(rune('0' + n))
	}
	return itoa(n/10) + string(rune('0'+n%10))
}

// LapKind tells what a lap is good for.
type LapKind string

const (
	OutLap    LapKind = "out"
	TimedLap  LapKind = "timed"
	InLap     LapKind = "in"
	BrokenLap LapKind = "broken"
)

// Lap is one lap of a run. Times are on the recording's clock, in seconds.
// For out, in and broken laps Start or End is the end of the data.
type Lap struct {
	Number int // from 1, in riding order
	Kind   LapKind
	Start  float64
	End    float64
	TimeSE float64    // s, standard error of End-Start from the position estimate; 0 unless timed
	Slot   string     // letter of the bar switch; "" unknown; first of several if it changed, see Marks
	Clock  Clock      // how GPS time goes against Start and End, which are the recording's
	Marks  []say.Text // words: "slot changed at 812 m", "gps bridged 4.2 s", ...
}

// Time is the lap time in s, of GPS where the recording's clock was found not to
// keep it.
func (l Lap) Time() float64 { return l.Clock.Seconds(l.End - l.Start) }

// Position says where the bike was at every instant of an even time grid at
// the fastest channel's rate (100 1/s for a 100 1/s recording). All slices have
// the length of Time. S is unwrapped: S = lap*Length + s, zero at the first
// gate crossing (negative before it).
type Position struct {
	Time         []float64        // s, recording clock
	S            []float64        // m, unwrapped
	SSE          []float64        // m, but for the run's constant GPS offset (Offset2DSE); what the GPS delay leaves is in it where that was found
	Offset       []float64        // m, positive right of the line
	OffsetSE     []float64        // m
	Speed        []float64        // m/s over ground at the tyre line
	SpeedSE      []float64        // m/s
	Heading      []float64        // rad clockwise from north, unwrapped
	HeadingSE    []float64        // rad
	Kappa        []float64        // 1/m, curvature of the ridden path, positive right
	Bridged      []recording.Span // GPS outages and jumps that were bridged
	Replaced     []recording.Span // wheel speed not believed (front in the air, lock): GPS or accelerometer instead
	Latency      float64          // s, GPS behind the wheel clock (0.12 = the fix is 120 ms old)
	LatencySE    float64
	Clock        Clock      // of the fixes against the other channels'
	Offset2D     [2]float64 // m east, north: constant GPS offset of this run against the circuit, removed
	Offset2DSE   float64    // m per axis, what it leaves
	WheelScale   float64    // true speed / logged front wheel speed, upright; 0 without wheel speed
	WheelScaleSE float64
	WheelCrown   float64 // relative shrink per (1-cos lean) of the front wheel as fitted
	Source       string  // in words: "gps and front wheel", "gps alone", ...
	Lost         bool    // GPS cannot support lateral offset
}

// Pass is one lap's ride through one turn: its instants (s, recording clock;
// NaN where there is none) and places (m from the gate). Phases run
// brake: Brake..TurnIn, entry: TurnIn..Mid, mid: Mid..Pickup,
// pickup: Pickup..DriveOn, drive: DriveOn..End.
type Pass struct {
	Lap, Turn                              int
	Start, End                             float64 // window times
	Brake                                  float64 // brakes on
	BrakeOff                               float64
	TurnIn                                 float64
	Mid                                    float64 // end of entry: lean built or brakes released, the later
	Apex                                   float64 // slowest instant
	MaxLeanAt                              float64
	Pickup                                 float64 // throttle opened for good
	Reopenings                             int
	DriveOn                                float64 // picked up: end of the pickup phase
	FullThrottle                           float64
	BrakeM, TurnInM, ApexM, PickupM, FullM float64
	StartSE, EndSE                         float64  // s, of the window times, from the position estimate
	Whole                                  bool     // the recording covers the whole window without an untrusted stretch
	Why                                    say.Text // where not Whole or degraded: reason
}

// Phase of a turn.
type Phase string

const (
	PhaseBrake  Phase = "brake"
	PhaseEntry  Phase = "entry"
	PhaseMid    Phase = "mid"
	PhasePickup Phase = "pickup"
	PhaseDrive  Phase = "drive"
)

// Phases lists the phases in order.
var Phases = []Phase{PhaseBrake, PhaseEntry, PhaseMid, PhasePickup, PhaseDrive}

// Signals are what phases are cut from, on the grid of Position.Time; nil where
// the recording has no such channel. Lean in rad, Grip 0..1, Brake in Pa,
// Accel (along the path) in m/s2.
type Signals struct {
	Lean, Grip, Brake, Accel []float64
}

// Matrix holds the instants at which every lap passed even places along the
// line: Time[lap][i] at s = i*Step (NaN where the lap does not cover it), with
// Time[lap][n] the end gate. SE likewise.
type Matrix struct {
	Step float64 // m
	Laps []int   // lap numbers of the rows
	Time [][]float64
	SE   [][]float64
}
