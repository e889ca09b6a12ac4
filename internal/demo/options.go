package demo

// Sheet holds settings of one slot by setting id: float64 for a scalar,
// []float64 by gear for a list, [][]float64 (rows lean, columns speed) for a
// grid. Units are those of the bike file (%, km/h, deg).
type Sheet map[string]any

// CauseKind names a thing wrong with bike or rider that can be planted.
type CauseKind string

const (
	// StrongControl: the slip controller cuts too much at the turn, because the
	// slip-target cells used there are too low. Size in % slip taken off.
	StrongControl CauseKind = "strong-control"
	// OverBlip: downshifts before the turn are blipped too far. Size in rpm.
	OverBlip CauseKind = "over-blip"
	// WeakEngineBrake: too little engine braking in a gear. Size in % of level.
	WeakEngineBrake CauseKind = "weak-engine-brake"
	// LimiterBeforeBrake: the engine runs into the limiter before the brake
	// point of the turn. Size in seconds on the limiter.
	LimiterBeforeBrake CauseKind = "limiter-before-brake"
	// WheelLift: the front wheel lifts on the drive out of the turn. Size in
	// seconds in the air.
	WheelLift CauseKind = "wheel-lift"
	// Hop: the rear wheel hops on the brakes into the turn. Size in mm of travel.
	Hop CauseKind = "hop"
	// Dragging: something drags on the straight after the turn. Size in N.
	Dragging CauseKind = "dragging"
	// LooseControl: the rear spins out of the turn, because the slip-target
	// cells used there are too high. Size in % slip put on.
	LooseControl CauseKind = "loose-control"
	// LatePickUp: the rider opens late out of the turn. Size in seconds.
	LatePickUp CauseKind = "late-pick-up"
	// RearLift: too much front brake lifts the rear wheel into the turn. Size in
	// seconds of too much brake, where the turn is braked for hard enough.
	RearLift CauseKind = "rear-lift"
	// FrontLock: the front wheel locks on the brakes into the turn. Size in
	// seconds locked.
	FrontLock CauseKind = "front-lock"
)

// Cause is one planted thing. Zero Size takes a sensible one. Turn counts from
// 1; Gear is used by WeakEngineBrake.
type Cause struct {
	Kind CauseKind
	Turn int
	Gear int
	Size float64
}

// Effect makes one slot quicker or slower out of one turn by about Seconds
// (negative is faster): in the slower slot the control takes torque on the drive
// out of the turn although slip is below its target, until the bike is nearly
// upright.
type Effect struct {
	Slot    string
	Turn    int
	Seconds float64
}

// Nasty switches on what the analysis does not model. Zero is off.
type Nasty struct {
	AntennaHeight    float64 // m above the tyre contact line; 0.9 is usual
	HangOff          float64 // rad of machine lean that the rider's body saves at full lean
	TyreGrowth       float64 // share of radius at 80 m/s; 0.01 is usual
	LoadRadius       float64 // share of radius lost per 1000 N of wheel load; 0.006
	CrownNonCircular float64 // second term of the crown, m of radius at (1-cos)^2 = 1; 0.02
	Bank             float64 // rad of bank at the banked turns; 0.07
	Grade            float64 // peak grade; 0.03
	Wind             float64 // m/s, from a fixed direction, with gusts
	ThrottleMapCurve float64 // 0 straight map; 1 strongly bent
	LeanScale        float64 // error of scale of the lean channel; 0.05
	GPSSpeedLag      float64 // s of the receiver's own speed filter; 0.15
	Dropouts         bool    // every fast channel loses stretches now and then
	Traffic          bool    // one lap in eight held up: slow, off the usual line, late on the brakes
	GPSDrift         float64 // share by which the logger's clock gains on GPS time, which stamps the fixes; 4e-5
	SlowRate         float64 // Hz at which brakes, lean, gyros, accelerometers and travel are logged, 0 RateHz; 10
	WheelPulses      int     // pulses to a turn of both wheels, 0 for a wheel speed without steps; 12
	MissedPulses     float64 // share of the pulses that the sensor misses; 0.001
	ThrottleTop      float64 // share that grip and plate reach wide open in the file, 0 for 1; 0.92
	Ignition         float64 // share of the engine speed samples read wrong by a half or a third; 0.003
	Faults           bool    // sensors stick, read nought, spike or say NaN, a second or a few at a time
}

// Options describe one run. Start from DefaultOptions.
type Options struct {
	Circuit int // index into Circuits()
	Seed    uint64
	Laps    int      // timed laps
	Slots   []string // slot of each lap from the out lap on; nil is all "A"
	Sheets  map[string]Sheet

	RateHz       float64 // fast channels, at most 100
	GPSRate      float64 // Hz
	GPSWhite     float64 // m, per axis
	GPSSlow      float64 // m, per axis, sd of the slowly varying error
	GPSTau       float64 // s, its correlation time
	GPSLatency   float64 // s, position and speed
	GPSOffset    [2]float64
	GPSSpeedSD   float64 // m/s, white
	GPSSpeedSlow float64 // m/s, sd of a correlated error of 2 s
	GPSOutages   int     // outages of about 8 s
	GPSJumps     int     // jumps of about 4 m for 5 s
	GPSSpikes    int     // single wild fixes

	Drop  []string // canonical channels left out of the file
	Dirty bool     // outages, jumps, spikes, a stuck sensor, a clock jump, a cut-off last line

	CircumferenceError float64 // rear, share: 0.025 is logged 2.5 % too large
	FrontError         float64 // front, likewise
	LeanOffset         float64 // rad
	LeanDelay          float64 // s
	LeanScale          float64 // 1 is right
	LeanNoise          float64 // rad

	Causes  []Cause
	Effects []Effect

	RiderSigma float64 // scatter of the rider; 1 is a good amateur
	LineSigma  float64 // m, sd of the offset from the reference line
	LineLength float64 // m, its correlation length
	Drift      float64 // share of grip gained in warm-up and lost to wear; 1 is usual
	SlowLaps   float64 // probability of a lap held up by traffic

	NoOutLap    bool       // starts mid-lap on the circuit instead of at the pit exit
	NoInLap     bool       // ends mid-lap instead of at the pit entry
	Outings     int        // outings in one file, 1 or 2
	LapMarker   bool       // adds the lap_marker channel
	TorqueExtra float64    // N.m added at the crank
	TorqueBand  [2]float64 // rpm range in which it is added
	AirTemp     float64    // deg C

	Nasty Nasty

	bare bool      // truth alone, no channels
	push []float64 // N, the force of each of Effects
}

// DefaultOptions returns the usual run: good GPS at 10 Hz, every channel, an
// honest amateur.
func DefaultOptions(circuit int, seed uint64) Options {
	return Options{
		Circuit: circuit, Seed: seed, Laps: 8,
		RateHz: 100, GPSRate: 10, GPSWhite: 0.5, GPSSlow: 1, GPSTau: 200,
		GPSLatency: 0.12, GPSSpeedSD: 0.06,
		LeanOffset: 0.026, LeanDelay: 0.04, LeanScale: 1, LeanNoise: 0.005,
		RiderSigma: 1, LineSigma: 0.4, LineLength: 100, Drift: 1, SlowLaps: 0.04,
		Outings: 1, AirTemp: 22,
	}
}
