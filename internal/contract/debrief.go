package contract

import (
	"time"

	"cornerwright/internal/book"
	"cornerwright/internal/debrief"
	"cornerwright/internal/recording"
	"cornerwright/internal/rehearsal"
	"cornerwright/internal/say"
	"cornerwright/internal/setting"
	"cornerwright/internal/verdict"
)

// Remark is what the rider said.
type Remark struct {
	Remark   int    `json:"remark"`
	Run      int    `json:"run"`
	Turns    []int  `json:"turns"` // empty: the whole lap
	Phase    string `json:"phase,omitempty"`
	Lean     string `json:"lean,omitempty"`
	Says     string `json:"says,omitempty"`
	Strength int    `json:"strength"`
	Words    string `json:"words,omitempty"`
	Rider    string `json:"rider,omitempty"`
	Said     string `json:"said,omitempty"` // RFC 3339
	Struck   bool   `json:"struck,omitempty"`
}

// NewRemark builds one.
func NewRemark(r book.Remark) Remark {
	return Remark{Remark: r.ID, Run: r.Run, Turns: list(r.Turns), Phase: string(r.Phase), Lean: r.Lean, Says: string(r.Says), Strength: r.Strength,
		Words: r.Words, Rider: r.Rider, Said: stamp(r.At), Struck: r.Struck}
}

func stamp(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.UTC().Format(time.RFC3339)
}

// Measure is one number of a finding in its own unit.
type Measure struct {
	Name  string   `json:"name"`
	Label string   `json:"label,omitempty"`
	Value *float64 `json:"value,omitempty"`
	Lo    *float64 `json:"lo,omitempty"`
	Hi    *float64 `json:"hi,omitempty"`
	N     int      `json:"n"`
	Unit  string   `json:"unit"`
}

// Cell is one changed cell, counted from 0.
type Cell struct {
	Row    int     `json:"row"`
	Column int     `json:"column"`
	Old    float64 `json:"old"`
	New    float64 `json:"new"`
}

func cells(cs []setting.Cell) []Cell {
	out := []Cell{}
	for _, c := range cs {
		out = append(out, Cell{c.Row, c.Column, c.Old, c.New})
	}
	return out
}

// Proposal is one thing that could be done about a finding.
type Proposal struct {
	Kind     string   `json:"kind"` // setting, technique, inspect, nothing
	Title    string   `json:"title"`
	Setting  string   `json:"setting,omitempty"`
	Slot     string   `json:"slot,omitempty"`
	Cells    []Cell   `json:"cells,omitempty"`
	Why      string   `json:"why,omitempty"`
	Expect   string   `json:"expect,omitempty"`
	Watch    string   `json:"watch,omitempty"`
	Cautions []string `json:"cautions,omitempty"`
	NeedsSay bool     `json:"needs_say,omitempty"`
}

// Instant is a moment that shows a finding best.
type Instant struct {
	Lap    int      `json:"lap"`
	Turn   int      `json:"turn,omitempty"`
	StartS *float64 `json:"start_s,omitempty"`
	EndS   *float64 `json:"end_s,omitempty"`
	Text   string   `json:"text,omitempty"`
}

// Finding is what the data say about one remark, or a thing nobody mentioned:
// then remark and stance are absent.
type Finding struct {
	ID        string     `json:"id"`
	Remark    int        `json:"remark,omitempty"`
	Turn      int        `json:"turn,omitempty"` // absent: the whole lap
	Phase     string     `json:"phase,omitempty"`
	Says      string     `json:"says,omitempty"`
	Cause     string     `json:"cause,omitempty"`
	Stance    string     `json:"stance,omitempty"`
	Text      string     `json:"text"`
	Laps      string     `json:"laps,omitempty"` // "7 of 9"
	Seen      int        `json:"seen"`
	Of        int        `json:"of"`
	Measures  []Measure  `json:"measures"`
	Evidence  []Instant  `json:"evidence,omitempty"`
	Change    string     `json:"change,omitempty"` // what would change the mind
	CostS     *float64   `json:"cost_s,omitempty"`
	Safety    bool       `json:"safety,omitempty"`
	Proposals []Proposal `json:"proposals"`
}

// Debrief is the answer of `debrief RUN --json`. Findings about remarks come
// first, then what nobody mentioned.
type Debrief struct {
	Run      int                 `json:"run"`
	Laps     int                 `json:"laps"`
	Health   []recording.Problem `json:"health"`
	Remarks  []Remark            `json:"remarks"`
	Findings []Finding           `json:"findings"`
	Next     string              `json:"next,omitempty"` // id of the finding to take first
	Why      string              `json:"why,omitempty"`
	Notes    []string            `json:"notes"`
}

// NewDebrief builds the answer.
func NewDebrief(run book.Run, remarks []book.Remark, r *debrief.Result) Debrief {
	out := Debrief{Run: run.Number, Laps: r.Laps, Health: list(run.Problems), Remarks: []Remark{}, Findings: []Finding{}, Next: r.Next, Why: r.Why.String(), Notes: list(say.Strings(r.Notes))}
	for _, m := range remarks {
		if !m.Struck {
			out.Remarks = append(out.Remarks, NewRemark(m))
		}
	}
	for _, f := range append(append([]debrief.Finding{}, r.Findings...), r.Unasked...) {
		out.Findings = append(out.Findings, newFinding(f))
	}
	return out
}

func newFinding(f debrief.Finding) Finding {
	x := Finding{ID: f.ID, Remark: f.Remark, Turn: f.Turn, Phase: string(f.Phase), Says: string(f.Says), Cause: f.Cause, Stance: string(f.Stance), Text: f.Text.String(),
		Laps: f.Laps.String(), Seen: f.Seen, Of: f.Of, Measures: []Measure{}, Change: f.Change.String(), CostS: positive(f.Cost, 4), Safety: f.Safety, Proposals: []Proposal{}}
	for _, m := range f.Measures {
		x.Measures = append(x.Measures, Measure{Name: m.Name, Label: m.Label.String(), Value: opt(m.Value, 4), Lo: opt(m.Lo, 4), Hi: opt(m.Hi, 4), N: m.N, Unit: m.Unit})
	}
	for _, e := range f.Evidence {
		x.Evidence = append(x.Evidence, Instant{Lap: e.Lap, Turn: e.Turn, StartS: opt(e.Start, 3), EndS: opt(e.End, 3), Text: e.Words.String()})
	}
	for _, p := range f.Proposals {
		y := Proposal{Kind: string(p.Kind), Title: p.Title.String(), Why: p.Why.String(), Expect: p.Expect.String(), Watch: p.Watch.String(), Cautions: say.Strings(p.Cautions), NeedsSay: p.NeedsSay}
		if p.Kind == debrief.ChangeSetting {
			y.Setting, y.Slot, y.Cells = p.Step.Setting, p.Step.Slot, cells(p.Step.Cells)
		}
		x.Proposals = append(x.Proposals, y)
	}
	return x
}

// Guard is one guard's answer to a step.
type Guard struct {
	Guard  string `json:"guard"`
	Pass   bool   `json:"pass"`
	Hard   bool   `json:"hard,omitempty"` // cannot be overruled
	Reason string `json:"reason,omitempty"`
	Mend   string `json:"mend,omitempty"`
}

func guards(gs []setting.GuardResult) []Guard {
	out := []Guard{}
	for _, g := range gs {
		out = append(out, Guard{g.Guard, g.Pass, g.Hard, g.Reason.String(), g.Mend.String()})
	}
	return out
}

// Aim is what a step is judged by.
type Aim struct {
	Turn    int      `json:"turn,omitempty"`
	Measure string   `json:"measure,omitempty"`
	Expect  string   `json:"expect,omitempty"`
	Matters *float64 `json:"matters,omitempty"` // in the measure's unit
}

// Overrule is a guard put aside by name.
type Overrule struct {
	Guard  string `json:"guard"`
	Who    string `json:"who"`
	Reason string `json:"reason"`
}

// StateChange is one entry of a step's history.
type StateChange struct {
	From   string `json:"from"`
	To     string `json:"to"`
	Who    string `json:"who,omitempty"`
	Reason string `json:"reason,omitempty"`
	Run    int    `json:"run,omitempty"`
	At     string `json:"at"`
}

// Step is one bounded change.
type Step struct {
	Step      int           `json:"step"`
	Bike      string        `json:"bike"`
	State     string        `json:"state"` // proposed, loaded, kept, reverted, repeated
	FromSheet int           `json:"from_sheet"`
	ToSheet   int           `json:"to_sheet,omitempty"`
	Slot      string        `json:"slot"`
	Setting   string        `json:"setting"`
	Cells     []Cell        `json:"cells"`
	Reason    string        `json:"reason"`
	Remark    int           `json:"remark,omitempty"`
	Finding   string        `json:"finding,omitempty"`
	Run       int           `json:"run,omitempty"`
	Aim       Aim           `json:"aim"`
	Author    string        `json:"author,omitempty"`
	Guards    []Guard       `json:"guards"`
	Overrules []Overrule    `json:"overrules"`
	History   []StateChange `json:"history"`
}

// NewStep builds one; a step that a guard has refused has no number.
func NewStep(s book.Step) Step {
	out := Step{Step: s.ID, Bike: s.Bike, State: s.State, FromSheet: s.From, ToSheet: s.To, Slot: s.Slot, Setting: s.Setting, Cells: cells(s.Cells), Reason: s.Reason,
		Remark: s.Remark, Finding: s.Finding, Run: s.Run, Aim: Aim{s.Primary.Turn, s.Primary.Measure, s.Primary.Expect, positive(s.Primary.Matters, 4)},
		Author: s.Author, Guards: guards(s.Guards), Overrules: []Overrule{}, History: []StateChange{}}
	for _, o := range s.Overrules {
		out.Overrules = append(out.Overrules, Overrule{o.Guard, o.Who, o.Reason})
	}
	for _, h := range s.History {
		out.History = append(out.History, StateChange{h.From, h.To, h.Who, h.Reason, h.Run, stamp(h.At)})
	}
	return out
}

// Use is one place on the lap at which changed cells are in use.
type Use struct {
	Turn       int      `json:"turn,omitempty"`
	Phase      string   `json:"phase,omitempty"`
	DwellS     *float64 `json:"dwell_s,omitempty"` // per lap, weighted
	SharePct   *float64 `json:"share_pct,omitempty"`
	MeanChange *float64 `json:"mean_change,omitempty"` // in the setting's unit
	Laps       int      `json:"laps"`
}

// Change is one measure before the step and after it, in its unit.
type Change struct {
	Turn     int      `json:"turn,omitempty"`
	Phase    string   `json:"phase,omitempty"`
	Measure  string   `json:"measure"`
	Unit     string   `json:"unit"`
	Before   *float64 `json:"before,omitempty"`
	After    *float64 `json:"after,omitempty"`
	AfterLo  *float64 `json:"after_lo,omitempty"`
	AfterHi  *float64 `json:"after_hi,omitempty"`
	N        int      `json:"n"`
	Basis    string   `json:"basis,omitempty"`
	SignOnly bool     `json:"sign_only,omitempty"`
}

// Withheld is something that is not claimed, with the reason.
type Withheld struct {
	What string `json:"what"`
	Why  string `json:"why"`
	Mend string `json:"mend,omitempty"`
}

// Rehearsal is the answer of `rehearse --json`. Step is absent where the step is
// not recorded.
type Rehearsal struct {
	Step      int        `json:"step,omitempty"`
	Run       int        `json:"run"`
	Laps      int        `json:"laps"`
	Footprint []Use      `json:"footprint"`
	Changes   []Change   `json:"changes"`
	Guards    []Guard    `json:"guards"`
	Withheld  []Withheld `json:"withheld"`
	Cautions  []string   `json:"cautions"`
	Cannot    string     `json:"cannot,omitempty"` // why there is no footprint
}

// NewRehearsal builds the answer.
func NewRehearsal(step, run int, r *rehearsal.Rehearsal, gs []setting.GuardResult) Rehearsal {
	out := Rehearsal{Step: step, Run: run, Laps: r.Laps, Footprint: []Use{}, Changes: []Change{}, Guards: guards(gs), Withheld: []Withheld{}, Cautions: list(r.Cautions), Cannot: r.Footprint.Cannot.String()}
	for _, u := range r.Footprint.Uses {
		out.Footprint = append(out.Footprint, Use{u.Turn, string(u.Phase), opt(u.Dwell, 4), pct(u.Share), opt(u.Mean, 4), u.Laps})
	}
	for _, c := range r.Changes {
		x := Change{Turn: c.Turn, Phase: string(c.Phase), Measure: c.Measure, Unit: c.Unit, Before: opt(c.Before, 4), AfterLo: opt(c.AfterLo, 4), AfterHi: opt(c.AfterHi, 4), N: c.N, Basis: c.Basis.String(), SignOnly: c.SignOnly}
		if !c.SignOnly {
			x.After = opt(c.After, 4)
		}
		out.Changes = append(out.Changes, x)
	}
	for _, w := range r.Withheld {
		out.Withheld = append(out.Withheld, Withheld{w.What.String(), w.Why.String(), w.Mend.String()})
	}
	return out
}

// Plan is the answer of `plan --json`. Sizes are in unit.
type Plan struct {
	Turn          int                `json:"turn,omitempty"`
	Measure       string             `json:"measure"`
	Unit          string             `json:"unit"`
	Effect        *float64           `json:"effect,omitempty"`
	Enough        bool               `json:"enough"`
	Order         []string           `json:"order"` // one string a run: "ABBAABBA"
	LapsEach      int                `json:"laps_each"`
	Laps          int                `json:"laps"` // ridden in all
	Minutes       *float64           `json:"minutes,omitempty"`
	PowerPct      *float64           `json:"power_pct,omitempty"`
	LapSD         *float64           `json:"lap_sd,omitempty"`
	PlanSD        *float64           `json:"plan_sd,omitempty"`
	Visible       *float64           `json:"visible,omitempty"`
	VisibleInTime *float64           `json:"visible_in_time,omitempty"`
	Card          []verdict.CardLine `json:"card"`
	Lines         []string           `json:"lines"`
	Warnings      []string           `json:"warnings"`
}

// NewPlan builds the answer.
func NewPlan(p *verdict.Plan) Plan {
	return Plan{Turn: p.Wish.Turn, Measure: p.Wish.Measure, Unit: p.Wish.Unit, Effect: opt(p.Wish.Effect, 4), Enough: p.Enough, Order: list(p.Order), LapsEach: p.LapsEach,
		Laps: p.Laps, Minutes: positive(p.Minutes, 1), PowerPct: pct(p.Power), LapSD: positive(p.LapSD, 4), PlanSD: positive(p.PlanSD, 4), Visible: positive(p.Visible, 4),
		VisibleInTime: positive(p.VisibleInTime, 4), Card: list(p.Card), Lines: list(say.Strings(p.Lines)), Warnings: list(say.Strings(p.Warnings))}
}
