package demo

// LapKind is the kind of a lap: out, timed, in or broken.
type LapKind string

const (
	OutLap    LapKind = "out"
	TimedLap  LapKind = "timed"
	InLap     LapKind = "in"
	BrokenLap LapKind = "broken"
)

// Lap is one true lap. Number counts from 0 at the out lap. Start and End are
// seconds on the recording's clock.
type Lap struct {
	Number     int
	Kind       LapKind
	Start, End float64
	Time       float64 // End - Start
	Slot       string
	HeldUp     bool // a slower rider in the way
}

// Turn is one true turn of a circuit. Places are metres of s from the gate.
type Turn struct {
	Number    int
	Direction int        // +1 right, -1 left
	Entry     float64    // curvature leaves zero
	Exit      float64    // curvature is back at zero
	Apexes    []float64  // middle of each stretch of greatest curvature
	ApexSpan  [2]float64 // stretch on which curvature is within 1 % of its greatest
	Radius    float64    // m, least
	Angle     float64    // rad, magnitude of the whole change of heading
	Kink      bool       // taken flat or nearly so
	// Segment is where the turn's own stretch begins, 30 m before the usual
	// brake point; it ends where the next turn's begins.
	Segment float64

	arcs    []arc
	lateral float64 // m/s2 that the rider uses here
	bank    float64 // share of the circuit's bank
	window  float64 // where the turn's window begins
}

// arc is a stretch of one radius.
type arc struct{ from, to, radius float64 }

// Pass is one turn on one lap: instants in seconds on the recording's clock,
// NaN where the thing did not happen.
type Pass struct {
	Lap, Turn    int
	BrakeOn      float64 // front pressure rises
	BrakeOff     float64
	TurnIn       float64 // roll rate towards the turn rises through 15 deg/s
	Apex         float64 // least speed
	PickUp       float64 // grip leaves closed for good
	FullThrottle float64
	MinSpeed     float64 // m/s
	MaxLean      float64 // rad, magnitude
	Gear         int     // at the apex
	Slot         string
}

// Episode is a stretch in which something happened. Kind is a word of the
// design: cut, spin, blip, limiter, wheelie, rear-lift, lock, hop, upshift.
type Episode struct {
	Kind       string
	Lap, Turn  int // turn whose window it lies in
	Start, End float64
	Peak, Mean float64 // cut: share of torque; spin, lock: slip; others: 0
	Lean       float64 // rad at the start
	Speed      float64 // m/s at the start
	LeanClass  string  // at-max-lean, picking-up, upright; cut and spin
	Owner      string  // cut: slip or wheel-lift, whichever control took more
	CostS      float64 // cut by the slip control: time lost up to the next turn's segment
	DeltaV     float64 // cut: m/s lost by the end of the cut

	FromGear, ToGear int     // blip, upshift
	RPMNeeded        float64 // blip, at clutch home
	RPMPeak          float64 // blip
	Surplus          float64 // blip: engine speed less needed at clutch home, 1/min
	Limiter          bool    // blip: reached the limiter
	PushS            float64 // blip: time that the engine drives the rear tyre after clutch home
	Over             bool    // blip: planted or by chance far too large
}

// TyreTruth is one tyre as it is.
type TyreTruth struct {
	Circumference float64 // m, upright, unloaded growth aside
	Crown         float64 // m, crown radius
	Radius        float64 // m, upright
	Logged        float64 // m, circumference that the logger used
}

// TrueEffect is what trial less reference does to one turn's segment, in
// seconds, found by riding the same laps with and without (no scatter).
type TrueEffect struct {
	Turn    int
	Seconds float64
}

// Truth is what really happened.
type Truth struct {
	// Samples at 100 Hz on the recording's clock.
	Time        []float64
	S           []float64 // m along the reference line, unwrapped: gate k at k*length
	Offset      []float64 // m, positive right
	X, Y        []float64 // m, east and north of the circuit's origin, tyre contact line
	Speed       []float64 // m/s over ground along the rider's path
	Heading     []float64 // rad, mathematical (counter-clockwise from east), unwrapped
	Curvature   []float64 // 1/m of the rider's path, positive right
	Lean        []float64 // rad to the road, positive right
	RollRate    []float64 // rad/s
	Accel       []float64 // m/s2 along the path
	RearSlip    []float64 // (omega R(lean) - v)/v
	FrontSlip   []float64 // likewise, negative under braking
	RearOmega   []float64 // rad/s
	FrontOmega  []float64 // rad/s
	RPM         []float64 // 1/min
	Gear        []int
	Clutch      []float64 // 0 home, 1 pulled
	Grip        []float64 // 0..1 what the rider asks
	Plate       []float64 // 0..1
	Cut         []float64 // 0..1 share of torque taken by the slip or wheel-lift control
	SlipTarget  []float64 // share
	FrontBrake  []float64 // Pa
	RearBrake   []float64 // Pa
	Airborne    []bool    // front wheel off the ground
	DriveForce  []float64 // N at the rear contact, engine braking negative
	WheelTorque []float64 // N.m at the rear wheel from the engine
	CrankTorque []float64 // N.m
	FrontLoad   []float64 // N
	RearLoad    []float64 // N
	Fork, Shock []float64 // m

	Length    float64   // m of the reference line
	Crossings []float64 // instants at the gate, s
	Laps      []Lap
	Turns     []Turn
	Passes    []Pass
	Episodes  []Episode
	Front     TyreTruth
	Rear      TyreTruth
	Effects   []TrueEffect // per turn, trial slot less reference; empty with one slot

	GPSLatency float64
	GPSOffset  [2]float64
	LeanOffset float64
	LeanDelay  float64

	OutingStarts []float64 // instants at which an outing leaves the pit

	pitch   []float64 // rad/s of wheel lift, nose down positive
	limited []bool    // the limiter takes torque
	lifting []bool    // the wheel-lift control does
}
