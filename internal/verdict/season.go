package verdict

import (
	"math"
	"sort"

	"cornerwright/internal/inference"
	"cornerwright/internal/say"
)

// MeetingEffect is the effect of one step at one meeting (or day).
type MeetingEffect struct {
	Name         string
	Value, SE    float64 // trial minus reference, in one unit for all meetings
	DF           float64 // of SE; 0 or +Inf when it is taken as known
	NRef, NTrial int
}

// Season is the evidence of several meetings on one picture.
type Season struct {
	Meetings    []MeetingEffect
	Effect      inference.Estimate // the mean over meetings, 95 %
	BetweenSD   float64            // scatter of the true effect between meetings
	I2          float64            // share of the scatter that is not chance, 0 to 1
	PredictLo   float64            // where the next meeting's true effect is expected, 95 %
	PredictHi   float64
	Disagreeing bool // the meetings differ by more than chance at 10 %
}

// Combine joins meetings by random effects. With one meeting it returns that
// meeting's interval; with two the interval is so wide as to be honest, and a
// warning says so.
func Combine(ms []MeetingEffect) Season {
	s := Season{Meetings: ms, PredictLo: math.NaN(), PredictHi: math.NaN()}
	v, se, df := make([]float64, len(ms)), make([]float64, len(ms)), make([]float64, len(ms))
	for i, m := range ms {
		v[i], se[i], df[i] = m.Value, m.SE, m.DF
	}
	r := inference.RandomEffects(v, se, df, 0.95)
	s.Effect, s.BetweenSD, s.I2 = r.Estimate, r.Tau, r.I2
	s.PredictLo, s.PredictHi, s.Disagreeing = r.PredictLo, r.PredictHi, r.QP < 0.10
	return s
}

// MeetingInterval is the 95 % interval of one meeting by itself.
func MeetingInterval(m MeetingEffect) inference.Estimate {
	df := m.DF
	if !(df > 0) {
		df = math.Inf(1)
	}
	return inference.FromT(m.Value, m.SE, df, 0.95, m.NRef+m.NTrial)
}

// RunMean is one run ridden with the same settings as others of its Group.
type RunMean struct {
	Group    string // bike, circuit, sheet and slot, tyre: runs of a group differ by chance alone
	Value    float64
	SE       float64 // of the mean, from its laps; 0 unknown
	Measured int     // kept laps
}

// LearnRunScatter estimates the between-run standard deviation from repeats:
// the pooled variance of run means within groups, less what their own laps
// explain, with its degrees of freedom (runs minus groups) for
// Question.BetweenRunSD and BetweenRunDF. ok is false until two groups' worth of
// repeats (3 degrees of freedom) are there; the assumption stands until then.
// Laps can explain all of the scatter; the result is then the scatter that the
// run means are known to, not zero.
func LearnRunScatter(runs []RunMean) (sd, df float64, ok bool) {
	groups := map[string][]RunMean{}
	for _, r := range runs {
		if !math.IsNaN(r.Value) && !math.IsInf(r.Value, 0) {
			groups[r.Group] = append(groups[r.Group], r)
		}
	}
	names := make([]string, 0, len(groups))
	for g := range groups {
		names = append(names, g)
	}
	sort.Strings(names)
	ss, own, n := 0.0, 0.0, 0.0
	for _, g := range names {
		rs := groups[g]
		if len(rs) < 2 {
			continue
		}
		v := make([]float64, len(rs))
		for i, r := range rs {
			v[i] = r.Value
			own += r.SE * r.SE
			n++
		}
		ss += inference.Variance(v) * float64(len(rs)-1)
		df += float64(len(rs) - 1)
	}
	if df < 3 {
		return 0, df, false
	}
	total, laps := ss/df, own/n
	// Below this the difference of two variances is noise.
	floor := total / (2 * df)
	return math.Sqrt(math.Max(total-laps, floor)), df, true
}

// Prediction is what a rehearsal said beside what the verdict found.
type Prediction struct {
	Lo, Hi float64 // rehearsed change, its stated range
	Effect float64 // of the verdict
	SE     float64
}

// Score tells how far rehearsals can be trusted.
type Score struct {
	N         int
	Held      inference.Estimate // share of verdicts compatible with the rehearsed range
	Direction inference.Estimate // share with the rehearsed direction, where both are clear of zero
	Bias      inference.Estimate // mean of verdict minus middle of the range
	Text      say.Text
}

// ScorePredictions compares rehearsals with verdicts. A verdict is compatible
// when its 95 % interval meets the rehearsed range.
func ScorePredictions(ps []Prediction) Score {
	held, same, both := 0, 0, 0
	var off []float64
	for _, p := range ps {
		lo, hi := math.Min(p.Lo, p.Hi), math.Max(p.Lo, p.Hi)
		h := inference.NormalQuantile(0.975) * p.SE
		if p.Effect+h >= lo && p.Effect-h <= hi {
			held++
		}
		off = append(off, p.Effect-(lo+hi)/2)
		if (lo > 0 || hi < 0) && math.Abs(p.Effect) > h {
			both++
			if (p.Effect > 0) == (lo > 0) {
				same++
			}
		}
	}
	s := Score{N: len(ps), Held: inference.Wilson(held, len(ps), 0.95), Direction: inference.Wilson(same, both, 0.95)}
	s.Bias = inference.FromT(inference.Mean(off), inference.SD(off)/math.Sqrt(float64(len(off))), float64(len(off)-1), 0.95, len(off))
	if len(ps) == 0 {
		s.Text = say.T("no rehearsal has met a verdict yet")
		return s
	}
	s.Text = say.T("{held} of {change} agree with the verdict", held, count(len(ps), "rehearsed change"))
	if both > 0 {
		s.Text = say.T("{score}; direction right in {same} of {both} clear ones", s.Text, same, both)
	}
	return s
}

// FalseAlarms is the score of reference against reference: the share of nil
// checks answered better or worse, which should be 5 % or less.
func FalseAlarms(vs []Verdict) inference.Estimate {
	n, alarms := 0, 0
	for _, v := range vs {
		if !v.NilCheck || v.Refusal != nil {
			continue
		}
		n++
		if v.Primary.Answer == Better || v.Primary.Answer == Worse {
			alarms++
		}
	}
	return inference.Wilson(alarms, n, 0.95)
}
