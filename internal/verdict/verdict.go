// Package verdict answers the question after the next run: is the trial better
// or worse than the reference, is there no difference that matters, or are
// there not enough laps to tell; and before that run it plans how many laps, in
// which order, would tell.
//
// It is pure: laps with slots and values in, a verdict out. Identical input
// gives the identical verdict, whatever the order of the laps in the input.
//
// The method for comparisons within a run is least squares with the lap number
// as drift, slow laps weighed by how likely they are slow, and a standard error
// wide enough for a lap-to-lap correlation of 0.3 on the order ridden. Its
// promise was checked by simulation; see docs/method.md and
// docs/figures-verdict.md. Effects are trial minus reference.
package verdict

import (
	"math"
	"sync"
	"sync/atomic"

	"cornerwright/internal/inference"
	"cornerwright/internal/say"
)

// Answer is the outcome of a comparison.
type Answer string

const (
	Better        Answer = "better"
	Worse         Answer = "worse"
	NoDifference  Answer = "no-difference"   // the 90 % interval lies within what matters
	NotEnoughLaps Answer = "not-enough-laps" // also wherever an answer is refused; Verdict.Refusal says why
)

// Verdict is the answer to a Question. Marshalled to JSON it is the answer of
// `verdict --json`; fields whose name ends in a unit take the unit of their
// measure ("effect_s", "effect_kmh", ...; see unitSuffix).
type Verdict struct {
	Step      string // filled by the caller, as it knows the step
	Design    Design
	Reference string
	Trial     string
	NilCheck  bool
	Primary   Effect
	Declared  []Effect
	Watch     []Effect
	// Conditions stand first wherever the verdict is shown, gravest first.
	Conditions []Condition
	Refusal    *Refusal // nil unless better and worse were refused
	// Mechanism and Outcome sum up the two tiers at the primary's turn; "" where
	// no measure of that tier was given.
	Mechanism, Outcome Answer
	Tiers              say.Text // one sentence on the two tiers together, "" when only one was measured
	Rider, Engineer    say.Text // one sentence for the rider, a few for the engineer
}

// Refusal says why an answer was refused, and what would do.
type Refusal struct {
	Kind   string   `json:"kind"` // "input", "confounded", "design", "too-few-laps", "recording"
	Reason say.Text `json:"reason"`
	Remedy say.Text `json:"remedy"`
}

// Struck is a lap that was left out of an estimate, and why. It is shown struck
// through, never dropped silently.
type Struck struct {
	Run    int      `json:"run"`
	Lap    int      `json:"lap"`
	Slot   string   `json:"slot"`
	Value  float64  `json:"value"`
	Reason say.Text `json:"reason"` // rider's mark, "slow lap", "settling", "position lost"
}

// WithAll is the same estimate with every lap that has a value, struck or not.
type WithAll struct {
	Effect, Lo, Hi float64
	NRef, NTrial   int
	Answer         Answer
}

// Dot is one lap in the picture.
type Dot struct {
	Run    int     `json:"run"`
	Lap    int     `json:"lap"`
	Slot   string  `json:"slot"`
	Value  float64 `json:"value"`
	Struck bool    `json:"struck,omitempty"`
}

// Needed is the price of an answer that the laps could not give.
type Needed struct {
	Laps int      // more kept laps a side in the same order, 0 when laps do not help or none are needed
	Runs int      // more runs a side, for comparisons between runs
	Text say.Text // a whole sentence
}

// Effect is trial minus reference of one measure.
type Effect struct {
	Turn    int
	Measure string
	Unit    string
	Better  Direction
	Tier    Tier
	Matters float64
	Safety  bool

	inference.Estimate         // Value, Lo, Hi (95 %), SE, DF, N kept laps
	Lo90, Hi90         float64 // interval of the equivalence test
	P                  float64 // two-sided, of this measure alone
	PAdj               float64 // corrected for the looks of its family; P for the primary
	NRef, NTrial       int     // kept laps
	RunsRef, RunsTrial int
	Answer             Answer
	Small              bool   // better or worse, and yet within what does not matter
	Moved              string // "up" or "down" for a neutral measure whose interval excludes zero
	Caution            bool   // a safety measure points to harm at the sensitive level (one-sided, Holm 10 %)
	LapSD              float64
	SmallestVisible    float64 // effect that this design finds in 80 of 100 tries at this scatter
	AssumedRunSD       float64 // between-run sd put in, 0 when the design needs none
	LearntRunSD        bool    // AssumedRunSD comes from repeats in the book
	TippingRunSD       float64 // the answer holds unless runs differ by more than this; 0 if not applicable
	CarriedFrom        int
	Struck             []Struck
	StruckRef          int // laps set aside by the slow-lap rule, per side: a trial that causes
	StruckTrial        int // mistakes reads better without them
	All                *WithAll
	Needed             *Needed
	Dots               []Dot
	Note               say.Text
}

// Band returns the interval, the zero line and the band of differences that do
// not matter, all in the unit of the effect, for drawing. lo and hi are NaN
// when there is no interval.
func (e Effect) Band() (lo, value, hi, bandLo, bandHi float64) {
	return e.Lo, e.Value, e.Hi, -e.Matters, e.Matters
}

// Digits is how many decimals the effect and its interval carry.
func (e Effect) Digits() int { return digits(e.SE) }

// harm is the effect turned so that positive is worse; 0 for neutral measures.
func (e Effect) harm() float64 { return -float64(e.Better) * e.Value }

// answerFrom applies the rule of answers to intervals. claim tells whether the
// difference from zero is proven at the level asked for.
func answerFrom(d Direction, value, lo90, hi90, matters float64, claim bool) (a Answer, small bool, way string) {
	within := matters > 0 && lo90 > -matters && hi90 < matters
	if claim && d != Neutral {
		if float64(d)*value > 0 {
			return Better, within, ""
		}
		return Worse, within, ""
	}
	way = ""
	if claim {
		way = moved(value)
	}
	if within {
		return NoDifference, false, way
	}
	return NotEnoughLaps, false, way
}

// moved names the sign of an effect.
func moved(value float64) string {
	if value < 0 {
		return "down"
	}
	return "up"
}

// spread is the uncertainty of an effect as independent parts, each with its
// own degrees of freedom.
type spread struct {
	se, df       float64 // from the laps (or from run means)
	seRun, dfRun float64 // from runs, assumed or learnt; dfRun +Inf when stated as known
	seCommon     float64 // measuring error common to a run
}

// half returns half the width of the interval at confidence 1-alpha.
func (s spread) half(alpha float64) float64 {
	q := 1 - alpha/2
	t := tq(q, s.df) * s.se
	h := t * t
	if s.seRun > 0 {
		t = tq(q, s.dfRun) * s.seRun
		h += t * t
	}
	if s.seCommon > 0 {
		t = inference.NormalQuantile(q) * s.seCommon
		h += t * t
	}
	return math.Sqrt(h)
}

// total is the standard error of all parts together.
func (s spread) total() float64 {
	return math.Sqrt(s.se*s.se + s.seRun*s.seRun + s.seCommon*s.seCommon)
}

// p is the two-sided p value: the alpha at which the interval touches zero.
func (s spread) p(value float64) float64 {
	v := math.Abs(value)
	if s.total() == 0 {
		if v == 0 {
			return 1
		}
		return 0
	}
	if s.seRun == 0 && s.seCommon == 0 {
		return inference.TTwoSided(v/s.se, s.df)
	}
	// In z the half width is nearly a line, so regula falsi (Illinois) is quick.
	alpha := func(z float64) float64 { return 2 * inference.NormalCDF(-z) }
	lo, hi := 0.0, 8.0 // beyond 8, 1 - alpha/2 is 1 in 64 bits
	flo, fhi := -v, s.half(alpha(hi))-v
	if fhi <= 0 {
		return alpha(hi)
	}
	side := 0
	for hi-lo > 1e-12 {
		z := hi - fhi*(hi-lo)/(fhi-flo)
		f := s.half(alpha(z)) - v
		if math.Abs(f) <= 1e-13*v {
			return alpha(z)
		}
		if f > 0 {
			hi, fhi = z, f
			if side > 0 {
				flo /= 2
			}
			side = 1
		} else {
			lo, flo = z, f
			if side < 0 {
				fhi /= 2
			}
			side = -1
		}
		if hi-lo <= 4e-16*hi {
			break
		}
	}
	return alpha((lo + hi) / 2)
}

// tq is the t quantile with the two levels of every verdict kept for whole
// degrees of freedom, as plans and simulations ask for them millions of times.
func tq(q, df float64) float64 {
	if i := int(df); float64(i) == df && i > 0 && i < tTableSize {
		switch q {
		case 0.975:
			return tTables().q975[i]
		case 0.95:
			return tTables().q950[i]
		}
	}
	return inference.TQuantile(q, df)
}

const tTableSize = 129

type tTable struct{ q975, q950 [tTableSize]float64 }

// tTables are made when the first verdict asks, not when the program starts:
// they take some milliseconds, and most commands give no verdict.
var tTables = sync.OnceValue(func() *tTable {
	t := &tTable{}
	t.q975[0], t.q950[0] = math.Inf(1), math.Inf(1)
	for i := 1; i < tTableSize; i++ {
		t.q975[i], t.q950[i] = inference.TQuantile(0.975, float64(i)), inference.TQuantile(0.95, float64(i))
	}
	return t
})

// detectable80 is inference.TDetectable at 80 % power and 5 %, with whole
// degrees of freedom remembered: it is a search, and prices ask for it often.
func detectable80(df float64) float64 {
	i := int(df)
	if float64(i) != df || i <= 0 || i >= len(detected) {
		return inference.TDetectable(0.8, df, 0.05)
	}
	if b := detected[i].Load(); b != 0 {
		return math.Float64frombits(b)
	}
	d := inference.TDetectable(0.8, df, 0.05)
	detected[i].Store(math.Float64bits(d))
	return d
}

var detected [256]atomic.Uint64
