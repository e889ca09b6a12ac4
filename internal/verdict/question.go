package verdict

import "cornerwright/internal/say"

// Direction says which way a measure improves.
type Direction int

const (
	Neutral Direction = 0  // neither way is better; it can only be found unchanged
	Lower   Direction = -1 // smaller is better: times, cut, push
	Higher  Direction = +1 // larger is better: exit speed
)

// Tier parts what the setting does from what it is worth.
type Tier string

const (
	Mechanism Tier = "mechanism" // did the cut, the hesitation, the push change
	Outcome   Tier = "outcome"   // time and speed
)

// Design is the shape of a comparison.
type Design string

const (
	Recognise       Design = ""                   // find it from the slots of the laps
	Interleaved     Design = "interleaved"        // within a run, at least two returns to a slot ridden before
	ThereAndBack    Design = "there-and-back"     // within a run, one return (A-B-A)
	OneSwitch       Design = "one-switch"         // within a run, A then B
	Alternating     Design = "alternating"        // within a run, A and B change on every lap
	RunAgainstRun   Design = "run-against-run"    // one run of one side against one or two of the other, in sequence
	RunThereAndBack Design = "run-there-and-back" // whole runs, A-B-A
	ReplicatedRuns  Design = "replicated-runs"    // whole runs, two or more of each
	SeveralDays     Design = "several-days"       // compared within runs, on three days or more
)

// Lap is one pass of one measure.
type Lap struct {
	Run        int     // matches Run.ID
	Number     int     // lap number within its run; gaps are laps that were not timed
	Slot       string  // logged switch position, "" when unknown
	Value      float64 // in the measure's unit; NaN when the lap has none
	ValueSE    float64 // standard error of Value from the position estimate, 0 when unknown
	Mark       string  // struck by the rider or by a declared rule: "traffic", "mistake", "yellow"; "" keeps the lap
	Covariates map[string]float64
}

// Measure is one number per lap at one turn.
type Measure struct {
	Turn    int    // 0 for the whole lap
	Name    string // "segment", "exit", "entry", "cut", "slip", "push", "brake-point", ...
	Unit    string // unit of Value, Matters and all results: "s", "m", "km/h", "deg", "%", "rpm", "Nm", "m/s2", ...
	Better  Direction
	Matters float64 // smallest effect that matters, > 0; 0 when nobody has said
	Tier    Tier
	Safety  bool // watched for harm with a more sensitive wire (Effect.Caution)
	// CommonSE is the standard deviation of the measuring error that all laps
	// of one run share, for comparisons between runs. More laps do not shrink it.
	CommonSE float64
	// CarriedFrom names the turn whose effect this measure still carries (the
	// exit speed of that turn taken down the straight). Such a measure is shown,
	// and never counted as a second gain. 0 for none.
	CarriedFrom int
	Laps        []Lap
}

// Run states what is known about one outing.
type Run struct {
	ID       int
	Label    string // how people call it; "run ID" when empty
	Order    int    // place in time; runs of equal Order are in order of ID
	Day      string // date or meeting; equal strings are the same day
	Circuit  string
	Bike     string
	Tyre     string // tyre set; "" unknown
	Wet      bool
	Settings string // digest of every setting outside the step, "" unknown
	Bad      string // why the recording must not be trusted, "" when it may
}

// Weight grades what a condition does to an answer.
type Weight string

const (
	Notes     Weight = "notes"     // worth knowing
	Weakens   Weight = "weakens"   // the answer leans on an assumption
	Confounds Weight = "confounds" // no answer: two things changed together
)

// Condition is something that bears on the answer.
type Condition struct {
	Kind   string   `json:"kind"` // "tyre-change", "rain", "other-slot", "another-change", "red-flag", "temperature", "recording", ...
	Text   say.Text `json:"text"`
	Weight Weight   `json:"weight"`
}

// Question is a comparison of a trial with a reference.
type Question struct {
	Primary   Measure   // declared with the step, before the run
	Declared  []Measure // companions declared with the step, tested only behind the primary's level
	Watch     []Measure // everything else that is looked at, corrected for many looks
	Reference string    // slot, or name of the sheet for comparisons between runs
	Trial     string
	Design    Design // Recognise, or told by the plan
	// Settle is the number of laps set aside after each switch, where the
	// change needs laps to come in. It must be declared before the run.
	Settle int
	// Covariates are those of Lap.Covariates to adjust for, most wanted first.
	// The lap number in the run is always in. One is used only if all laps have
	// it, it says something that lap number and slot do not, and laps are left
	// over for it; what is left out is told with the reason.
	Covariates []Covariate
	Runs       []Run
	// BetweenRunSD is the scatter between runs of this rider for the primary, in
	// its unit, with BetweenRunDF degrees of freedom when it was learnt from
	// repeats (LearnRunScatter). 0 means not known: AssumedRunShare of the lap
	// scatter is assumed, and said.
	BetweenRunSD, BetweenRunDF float64
	Conditions                 []Condition
	// NilCheck says that both names hold the same settings: any better or worse
	// is then a false alarm.
	NilCheck bool
}
