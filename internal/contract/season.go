package contract

import (
	"math"

	"cornerwright/internal/book"
	"cornerwright/internal/inference"
	"cornerwright/internal/verdict"
)

// Trial is a step with its circumstances, what was rehearsed and what came of
// it. Sizes are in unit; effects are trial minus reference.
type Trial struct {
	Step      int         `json:"step,omitempty"`
	Runs      []int       `json:"runs"`
	Day       string      `json:"day,omitempty"`
	Circuit   string      `json:"circuit,omitempty"`
	Turn      int         `json:"turn,omitempty"`
	Shape     string      `json:"shape,omitempty"`
	Bike      string      `json:"bike,omitempty"`
	Tyre      string      `json:"tyre,omitempty"`
	TempC     *float64    `json:"temperature_c,omitempty"`
	Setting   string      `json:"setting,omitempty"`
	Slot      string      `json:"slot,omitempty"`
	Direction string      `json:"direction,omitempty"` // up, down
	Reason    string      `json:"reason,omitempty"`
	State     string      `json:"state,omitempty"`
	Measure   string      `json:"measure,omitempty"`
	Unit      string      `json:"unit,omitempty"`
	Effect    *float64    `json:"effect,omitempty"`
	Lo        *float64    `json:"lo,omitempty"`
	Hi        *float64    `json:"hi,omitempty"`
	NRef      int         `json:"n_ref,omitempty"`
	NTrial    int         `json:"n_trial,omitempty"`
	Answer    string      `json:"answer,omitempty"`
	NilCheck  bool        `json:"nil_check,omitempty"`
	Refused   string      `json:"refused,omitempty"`
	Rehearsed []Rehearsed `json:"rehearsed"`
}

// Rehearsed is a rehearsed change of a measure beside what the verdict found.
type Rehearsed struct {
	Turn     int      `json:"turn"`
	Measure  string   `json:"measure"`
	Unit     string   `json:"unit,omitempty"`
	Lo       *float64 `json:"lo,omitempty"`
	Hi       *float64 `json:"hi,omitempty"`
	SignOnly bool     `json:"sign_only,omitempty"`
	Effect   *float64 `json:"effect,omitempty"`
}

// Evidence is what several meetings say together.
type Evidence struct {
	Setting     string    `json:"setting"`
	Direction   string    `json:"direction,omitempty"`
	Measure     string    `json:"measure"`
	Unit        string    `json:"unit,omitempty"`
	Meetings    []Meeting `json:"meetings"`
	Effect      *float64  `json:"effect,omitempty"`
	Lo          *float64  `json:"lo,omitempty"`
	Hi          *float64  `json:"hi,omitempty"`
	BetweenSD   *float64  `json:"between_sd,omitempty"`
	NextLo      *float64  `json:"next_lo,omitempty"` // where the next meeting's true effect is expected
	NextHi      *float64  `json:"next_hi,omitempty"`
	Disagreeing bool      `json:"disagreeing,omitempty"`
	Warnings    []string  `json:"warnings"`
}

// Meeting is one meeting's part in the evidence.
type Meeting struct {
	Name   string   `json:"name"`
	Effect *float64 `json:"effect,omitempty"`
	Lo     *float64 `json:"lo,omitempty"`
	Hi     *float64 `json:"hi,omitempty"`
	NRef   int      `json:"n_ref"`
	NTrial int      `json:"n_trial"`
}

// Score is how rehearsals fared against verdicts.
type Score struct {
	Setting      string   `json:"setting,omitempty"` // absent: all settings
	N            int      `json:"n"`
	HeldPct      *float64 `json:"held_pct,omitempty"`
	HeldLoPct    *float64 `json:"held_lo_pct,omitempty"`
	HeldHiPct    *float64 `json:"held_hi_pct,omitempty"`
	DirectionPct *float64 `json:"direction_pct,omitempty"`
	DirectionN   int      `json:"direction_n"`
	Text         string   `json:"text"`
}

// FalseAlarms is the book's score of reference against reference.
type FalseAlarms struct {
	Checks  int      `json:"checks"`
	RatePct *float64 `json:"rate_pct,omitempty"`
	LoPct   *float64 `json:"lo_pct,omitempty"`
	HiPct   *float64 `json:"hi_pct,omitempty"`
}

// Trials is the answer of `season trials --json`.
type Trials struct {
	Trials      []Trial     `json:"trials"`
	Combined    []Evidence  `json:"combined"`
	Score       Score       `json:"score"`
	FalseAlarms FalseAlarms `json:"false_alarms"`
}

func direction(more int) string {
	return map[int]string{1: "up", -1: "down"}[more]
}

// NewScore builds the score as JSON has it.
func NewScore(settingID string, s verdict.Score) Score {
	out := Score{Setting: settingID, N: s.N, DirectionN: s.Direction.N, Text: s.Text.String()}
	if s.N > 0 {
		out.HeldPct, out.HeldLoPct, out.HeldHiPct = pct(s.Held.Value), pct(s.Held.Lo), pct(s.Held.Hi)
	}
	if s.Direction.N > 0 {
		out.DirectionPct = pct(s.Direction.Value)
	}
	return out
}

// NewTrials builds the answer.
func NewTrials(ts []book.Trial, alarms inference.Estimate) Trials {
	out := Trials{Trials: []Trial{}, Combined: []Evidence{}, Score: NewScore("", book.RehearsalScore(ts)), FalseAlarms: FalseAlarms{Checks: alarms.N}}
	if alarms.N > 0 {
		out.FalseAlarms.RatePct, out.FalseAlarms.LoPct, out.FalseAlarms.HiPct = pct(alarms.Value), pct(alarms.Lo), pct(alarms.Hi)
	}
	for _, t := range ts {
		x := Trial{Step: t.Step, Runs: list(t.Runs), Day: t.Day, Circuit: t.Circuit, Turn: t.Turn, Shape: t.Shape, Bike: t.Bike, Tyre: t.Tyre,
			Setting: t.Setting, Slot: t.Slot, Direction: direction(t.More), Reason: t.Reason, State: t.State, Rehearsed: []Rehearsed{}}
		if !math.IsNaN(t.TempC) {
			x.TempC = opt(t.TempC, 1)
		}
		if v := t.Verdict; v != nil {
			e := v.Primary
			x.Measure, x.Unit, x.NRef, x.NTrial, x.Answer, x.NilCheck = e.Measure, e.Unit, e.NRef, e.NTrial, string(e.Answer), v.NilCheck
			x.Effect, x.Lo, x.Hi = opt(e.Value, 4), opt(e.Lo, 4), opt(e.Hi, 4)
			if v.Refusal != nil {
				x.Refused = v.Refusal.Reason.String()
			}
		}
		for _, r := range t.Rehearsed {
			x.Rehearsed = append(x.Rehearsed, Rehearsed{r.Turn, r.Measure, r.Unit, opt(r.Lo, 4), opt(r.Hi, 4), r.SignOnly, opt(r.Effect, 4)})
		}
		out.Trials = append(out.Trials, x)
	}
	for _, e := range book.CombineTrials(ts) {
		x := Evidence{Setting: e.Setting, Direction: direction(e.More), Measure: e.Measure, Unit: e.Unit, Effect: opt(e.Effect.Value, 4), Lo: opt(e.Effect.Lo, 4), Hi: opt(e.Effect.Hi, 4),
			NextLo: opt(e.PredictLo, 4), NextHi: opt(e.PredictHi, 4), Disagreeing: e.Disagreeing, Warnings: list(e.Effect.Warnings)}
		if len(e.Meetings) > 1 {
			x.BetweenSD = opt(e.BetweenSD, 4)
		}
		for _, m := range e.Meetings {
			i := verdict.MeetingInterval(m)
			x.Meetings = append(x.Meetings, Meeting{m.Name, opt(m.Value, 4), opt(i.Lo, 4), opt(i.Hi, 4), m.NRef, m.NTrial})
		}
		out.Combined = append(out.Combined, x)
	}
	return out
}
