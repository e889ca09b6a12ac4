package book

import (
	"context"
	"encoding/json"
	"fmt"
	"math"

	"cornerwright/internal/rehearsal"
	"cornerwright/internal/say"
	"cornerwright/internal/setting"
	"cornerwright/internal/verdict"
)

// Rehearsed is one rehearsed change beside its verdict.
type Rehearsed struct {
	Turn          int
	Measure, Unit string
	Lo, Hi        float64 // change, after minus before
	SignOnly      bool
	Effect, SE    float64 // of the verdict; NaN where none was found
}

// rehearsalNames gives the name under which a rehearsal speaks of a measure.
var rehearsalNames = map[string]string{"segment": "segment_time", "cut": "cut_time", "slip": "slip_peak", "coast-decel": "decel", "surplus": "surplus"}

// said is one change that a rehearsal foretold, after minus before.
type said struct {
	Turn     int
	Measure  string
	Lo, Hi   float64
	SignOnly bool
}

// foretold lists what a rehearsal said that can be scored later.
func foretold(x *rehearsal.Rehearsal) []said {
	changes := []said{}
	for _, c := range x.Changes {
		lo, hi := c.AfterLo-c.Before, c.AfterHi-c.Before
		if !math.IsNaN(lo) && !math.IsNaN(hi) && !math.IsInf(lo, 0) && !math.IsInf(hi, 0) {
			changes = append(changes, said{c.Turn, c.Measure, lo, hi, c.SignOnly})
		}
	}
	return changes
}

func foretoldKey(step int) string { return fmt.Sprintf("foretold/%d", step) }

// rehearsed lists what the rehearsal of a step on its own run said about the
// primary and the companions of a verdict. It is what was said when the step was
// made, before anybody rode it; of a step that came from another book, what the
// same rehearsal says now. A step without a run was never rehearsed.
func (b *Book) rehearsed(ctx context.Context, s setting.Step, v *verdict.Verdict) ([]Rehearsed, error) {
	if s.Run == 0 {
		return nil, nil
	}
	var changes []said
	var data string
	err := b.r.QueryRow(`SELECT value FROM book WHERE key = ?`, foretoldKey(s.ID)).Scan(&data)
	switch {
	case err == nil:
		if err := json.Unmarshal([]byte(data), &changes); err != nil {
			return nil, damaged(say.T("the rehearsal of step {id} cannot be read", s.ID), err)
		}
	case !noRows(err):
		return nil, b.ioError(err)
	default:
		x, err := b.Rehearse(ctx, s.ID, 0)
		if err != nil {
			if ctx.Err() != nil {
				return nil, err
			}
			return nil, nil // its run or sheet is gone: nothing was said that could be scored
		}
		changes = foretold(x)
	}
	var out []Rehearsed
	for _, e := range append([]verdict.Effect{v.Primary}, v.Declared...) {
		for _, c := range changes {
			if c.Turn == e.Turn && c.Measure == rehearsalNames[e.Measure] {
				out = append(out, Rehearsed{c.Turn, e.Measure, e.Unit, c.Lo, c.Hi, c.SignOnly, e.Value, e.SE})
				break
			}
		}
	}
	return out, nil
}

// RehearsalScore tells how rehearsals of these trials fared against verdicts,
// to stand beside the next rehearsal. Refused and nil trials do not count.
func RehearsalScore(ts []Trial) verdict.Score {
	var ps []verdict.Prediction
	for _, t := range ts {
		if t.Verdict == nil || t.Verdict.Refusal != nil || t.Verdict.NilCheck {
			continue
		}
		for _, r := range t.Rehearsed {
			if r.SE > 0 && !math.IsNaN(r.Effect) {
				ps = append(ps, verdict.Prediction{Lo: r.Lo, Hi: r.Hi, Effect: r.Effect, SE: r.SE})
			}
		}
	}
	return verdict.ScorePredictions(ps)
}

// RehearsalRecord is how rehearsals fared so far, to be shown beside the next.
type RehearsalRecord struct {
	Setting string // "" where the record is of all settings
	verdict.Score
}

// Sentence is the record in words: "rehearsals of slip-target so far: ...".
func (r RehearsalRecord) Sentence() say.Text {
	if r.Setting == "" {
		return say.T("rehearsals of any setting so far: {score}", r.Text)
	}
	return say.T("rehearsals of {setting} so far: {score}", r.Setting, r.Text)
}

// RehearsalRecord scores the rehearsals of a setting against their verdicts;
// where none of that setting has met one, those of all settings.
func (b *Book) RehearsalRecord(ctx context.Context, settingID string) (RehearsalRecord, error) {
	ts, err := b.Trials(ctx, TrialQuery{})
	if err != nil {
		return RehearsalRecord{}, err
	}
	var own []Trial
	for _, t := range ts {
		if t.Setting == settingID {
			own = append(own, t)
		}
	}
	if s := RehearsalScore(own); s.N > 0 {
		return RehearsalRecord{settingID, s}, nil
	}
	return RehearsalRecord{"", RehearsalScore(ts)}, nil
}
