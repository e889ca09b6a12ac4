package verdict

import (
	"math"

	"cornerwright/internal/inference"
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
