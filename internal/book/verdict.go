package book

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"sort"
	"strings"

	"cornerwright/internal/circuit"
	"cornerwright/internal/ride"
	"cornerwright/internal/say"
	"cornerwright/internal/setting"
	"cornerwright/internal/verdict"
)

// verdictRun is one run as a verdict sees it.
type verdictRun struct {
	run    Run
	passes []ride.Pass
	laps   []circuit.Lap
	marks  map[int]string
	drift  byLap
	as     string // name of the side for comparisons of whole runs; "" by slot
}

// slot names the side a lap is on.
func (r *verdictRun) slot(logged string) string {
	switch {
	case r.as != "":
		return r.as
	case logged != "":
		return logged
	}
	return r.run.Slot
}

func (b *Book) verdictRun(ctx context.Context, run Run) (verdictRun, error) {
	s, err := b.Summary(ctx, run.Number)
	if err != nil {
		return verdictRun{}, err
	}
	marks, err := b.LapMarks(run.Number)
	return verdictRun{run: run, passes: s.Passes, laps: s.Laps, marks: marks}, err
}

// VerdictRequest asks for an answer: about a step, or between two runs.
type VerdictRequest struct {
	Step    int   // the step; its runs are those it was ridden in
	Runs    []int // instead, or to narrow the step's runs: reference first
	Turn    int   // primary turn, 0 takes the step's
	Measure string
	Matters float64 // 0 takes the step's, then the measure's default
	Nil     bool    // both sides are known to hold the same settings
}

// Verdict answers whether the trial is better than the reference. What cannot
// carry an answer yields a verdict with a refusal that says what would do; an
// error means that the question itself was wrong.
func (b *Book) Verdict(ctx context.Context, q VerdictRequest) (*verdict.Verdict, error) {
	var step *Step
	var runs []Run
	if q.Step > 0 {
		s, err := b.Step(q.Step)
		if err != nil {
			return nil, err
		}
		step = &s
	}
	switch {
	case len(q.Runs) > 0:
		for _, n := range q.Runs {
			r, err := b.Run(fmt.Sprint(n))
			if err != nil {
				return nil, err
			}
			runs = append(runs, r)
		}
	case step != nil:
		all, err := b.Runs(RunFilter{Bike: step.Bike})
		if err != nil {
			return nil, err
		}
		for _, r := range all {
			if r.Step == step.ID {
				runs = append(runs, r)
			}
		}
		if len(runs) == 0 {
			return nil, invalid(say.T("step {id} has not been ridden yet", step.ID), say.T("load it (cornerwright step load {id}) before the next run is added, or name runs: --runs RUN,RUN", step.ID))
		}
	default:
		return nil, invalid(say.T("no step and no runs are named"), say.T("cornerwright verdict STEP, or: cornerwright verdict --runs RUN,RUN"))
	}
	first := runs[0]
	for _, r := range runs[1:] {
		if r.Circuit != first.Circuit {
			return nil, invalid(say.T("run {number} was ridden at {circuit}, run {number2} at {circuit2}", first.Number, first.Circuit, r.Number, r.Circuit), say.T("compare runs of one circuit"))
		}
		if r.Bike != first.Bike {
			return nil, invalid(say.T("run {number} was ridden on {bike}, run {number2} on {bike2}", first.Number, first.Bike, r.Number, r.Bike), say.T("compare runs of one bike"))
		}
	}
	k, err := b.bikeAt(first.Bike, first.BikeFile)
	if err != nil {
		return nil, err
	}
	c, err := b.Circuit(first.Circuit)
	if err != nil {
		return nil, err
	}
	var vs []verdictRun
	for _, r := range runs {
		v, err := b.verdictRun(ctx, r)
		if err != nil {
			return nil, err
		}
		vs = append(vs, v)
	}
	vq := verdict.Question{Reference: k.Slots.Reference, Trial: k.Slots.Trial, NilCheck: q.Nil}
	if step != nil {
		vq.Trial = step.Slot
	}
	b.sides(&vq, vs, step == nil)
	if step != nil && !anySlot(vs, vq.Reference) {
		// The trial filled whole runs: the day's runs before it are the reference.
		before, err := b.referenceRuns(ctx, runs, step)
		if err != nil {
			return nil, err
		}
		vs = append(before, vs...)
		sort.SliceStable(vs, func(i, j int) bool { return vs[i].run.Number < vs[j].run.Number })
	}

	if err := b.drift(ctx, vs); err != nil {
		return nil, err
	}
	aim := setting.Primary{Turn: q.Turn, Measure: q.Measure, Matters: q.Matters}
	acts := ""
	if step != nil {
		if aim.Turn == 0 {
			aim.Turn = step.Primary.Turn
		}
		if aim.Measure == "" {
			aim.Measure = step.Primary.Measure
			if aim.Matters == 0 {
				aim.Matters = step.Primary.Matters
			}
		}
		if s := k.Setting(step.Setting); s != nil {
			acts = s.ActsOn()
		}
	}
	if aim.Measure == "" {
		aim.Measure = "segment"
	}
	m, err := measureByName(aim.Measure)
	if err != nil {
		return nil, err
	}
	if aim.Matters <= 0 {
		aim.Matters = m.matters
	}
	if aim.Turn != 0 && turnOf(c, aim.Turn) == nil {
		return nil, invalid(say.T("{name} has no turn {turn}", c.Name, aim.Turn), say.T("see them: cornerwright turns last"))
	}
	if aim.Turn == 0 {
		vq.Primary = lapMeasure(vs)
		if q.Measure != "" && q.Measure != "segment" {
			return nil, invalid(say.T("the measure needs a turn"), say.T("name one: --turn N"))
		}
		if q.Matters > 0 {
			vq.Primary.Matters = q.Matters
		}
	} else {
		vq.Primary = verdictMeasure(m, aim.Turn, vs)
		vq.Primary.Matters = aim.Matters
	}
	for _, name := range companions(acts) {
		if cm, err := measureByName(name); err == nil && name != aim.Measure && aim.Turn != 0 {
			vq.Declared = append(vq.Declared, verdictMeasure(cm, aim.Turn, vs))
		}
	}
	for _, t := range c.Turns {
		for _, w := range measures {
			watched := w.name == "segment" || w.safety
			if t.Number == aim.Turn && (w.name == "exit-speed" || w.name == "entry" || w.name == "exit") {
				watched = true
			}
			// No step says what was meant to change: what a setting does to the torque
			// is looked at where the laps are judged.
			if step == nil && t.Number == aim.Turn && (w.name == "cut" || w.name == "push") {
				watched = true
			}
			if !watched || t.Number == aim.Turn && (w.name == aim.Measure || declared(vq.Declared, w.name)) {
				continue
			}
			wm := verdictMeasure(w, t.Number, vs)
			if w.name == "segment" && aim.Turn != 0 && t.Number == aim.Turn%len(c.Turns)+1 {
				wm.CarriedFrom = aim.Turn // speed gained is time gained on the straight as well: counted once
			}
			if hasValues(wm) {
				vq.Watch = append(vq.Watch, wm)
			}
		}
	}
	// Repeats in the book tell how far runs differ; until then it is assumed.
	if sd, df, ok, err := b.RunScatter(first.Bike, first.Circuit, aim.Turn, aim.Measure); err != nil {
		return nil, err
	} else if ok {
		vq.BetweenRunSD, vq.BetweenRunDF = sd, df
	}
	vq.Runs, vq.Conditions = b.runsForVerdict(vs)
	vq.Covariates = covariates
	out := verdict.Decide(vq)
	if step != nil {
		out.Step = fmt.Sprint(step.ID)
	}
	if b.readOnly {
		return &out, nil
	}
	return &out, b.keepVerdict(q.Step, runs, &out)
}

// sides decides whether laps are told apart by slot or by run.
func (b *Book) sides(q *verdict.Question, vs []verdictRun, betweenRuns bool) {
	if !betweenRuns || len(vs) < 2 {
		return
	}
	for i := range vs {
		if anySlot(vs[i:i+1], q.Reference) && anySlot(vs[i:i+1], q.Trial) {
			return // a run that holds both sides: by slot
		}
	}
	if !anySlot(vs[:1], q.Trial) && anySlot(vs[1:], q.Trial) && !anySlot(vs[1:], q.Reference) {
		return // the switch position tells the runs apart
	}
	// The first named run is the reference, the others are the trial.
	q.Reference, q.Trial = fmt.Sprintf("run %d", vs[0].run.Number), "run "+numbers(vs[1:])
	for i := range vs {
		vs[i].as = q.Trial
	}
	vs[0].as = q.Reference
}

func numbers(vs []verdictRun) string {
	var s []string
	for _, v := range vs {
		s = append(s, fmt.Sprint(v.run.Number))
	}
	return strings.Join(s, " and ")
}

func anySlot(vs []verdictRun, slot string) bool {
	for i := range vs {
		for j := range vs[i].passes {
			if p := &vs[i].passes[j]; p.Timed && vs[i].slot(p.Slot) == slot {
				return true
			}
		}
	}
	return false
}

// referenceRuns are the runs of the same meeting, bike and circuit before the
// trial, in which no step was on trial.
func (b *Book) referenceRuns(ctx context.Context, runs []Run, step *Step) ([]verdictRun, error) {
	all, err := b.Runs(RunFilter{Meeting: runs[0].Meeting, Bike: step.Bike, Circuit: runs[0].Circuit})
	if err != nil {
		return nil, err
	}
	var out []verdictRun
	for _, r := range all {
		if r.Step == 0 && r.Number < runs[len(runs)-1].Number {
			v, err := b.verdictRun(ctx, r)
			if err != nil {
				return nil, err
			}
			out = append(out, v)
		}
	}
	if len(out) > 2 {
		out = out[len(out)-2:]
	}
	return out, nil
}

func verdictMeasure(m measure, turn int, vs []verdictRun) verdict.Measure {
	return verdict.Measure{Turn: turn, Name: m.name, Unit: m.unit, Better: m.better, Matters: m.matters, Tier: m.tier, Safety: m.safety, CommonSE: commonSE(m, turn, vs), Laps: passLaps(m, turn, vs)}
}

// commonSE is the root mean square over the runs of what the position estimate makes
// all of a run's times at a turn err by; 0 for a measure that is no time between places.
func commonSE(m measure, turn int, vs []verdictRun) float64 {
	if m.se == nil {
		return 0
	}
	sum := 0.0
	for _, r := range vs {
		for i := range r.passes {
			if p := &r.passes[i]; p.Turn == turn && p.Timed {
				sum += p.SegmentSharedSE * p.SegmentSharedSE // the same on every lap
				break
			}
		}
	}
	return math.Sqrt(sum / math.Max(1, float64(len(vs))))
}

func lapMeasure(vs []verdictRun) verdict.Measure {
	m := verdict.Measure{Name: "lap", Unit: "s", Better: verdict.Lower, Matters: 0.15, Tier: verdict.Outcome}
	for i := range vs {
		for _, l := range vs[i].laps {
			if l.Kind == circuit.TimedLap {
				m.Laps = append(m.Laps, verdict.Lap{Run: vs[i].run.Number, Number: l.Number, Slot: vs[i].slot(l.Slot), Value: l.Time(), ValueSE: zeroNaN(l.TimeSE), Mark: vs[i].marks[l.Number],
					Covariates: vs[i].drift[l.Number]})
			}
		}
	}
	return m
}

func declared(ms []verdict.Measure, name string) bool {
	for _, m := range ms {
		if m.Name == name {
			return true
		}
	}
	return false
}

// hasValues tells whether a measure says anything: values that are there, and
// not all the same.
func hasValues(m verdict.Measure) bool {
	n, first, vary := 0, math.NaN(), false
	for _, l := range m.Laps {
		if !math.IsNaN(l.Value) {
			if n > 0 && l.Value != first {
				vary = true
			}
			first = l.Value
			n++
		}
	}
	return n >= 3 && vary
}

func turnOf(c *circuit.Circuit, n int) *circuit.Turn {
	for i := range c.Turns {
		if c.Turns[i].Number == n {
			return &c.Turns[i]
		}
	}
	return nil
}

// runsForVerdict states what is known about the runs, and what bears on the
// answer.
func (b *Book) runsForVerdict(vs []verdictRun) ([]verdict.Run, []verdict.Condition) {
	var out []verdict.Run
	var conditions []verdict.Condition
	for i := range vs {
		r := vs[i].run
		day := r.Meeting
		if len(day) > 10 && day[4] == '-' {
			day = day[:10]
		}
		v := verdict.Run{ID: r.Number, Label: fmt.Sprintf("run %d", r.Number), Order: i + 1, Day: day, Circuit: r.Circuit, Bike: r.Bike, Tyre: tyreSet(r.Tyre),
			Wet: strings.Contains(strings.ToLower(r.Weather), "wet") || strings.Contains(strings.ToLower(r.Weather), "rain")}
		out = append(out, v)
		for _, p := range r.Problems {
			if p.Severity == "fault" {
				conditions = append(conditions, verdict.Condition{Kind: "recording", Text: say.T("run {run}: {problem}", r.Number, p.Text), Weight: verdict.Notes})
			}
		}
	}
	return out, conditions
}

// tyreSet is what of the words about tyres names the set: "rear set 2, 10 laps"
// and "rear set 2, new" are one set.
func tyreSet(words string) string {
	set, _, _ := strings.Cut(words, ",")
	set, _, _ = strings.Cut(set, ";")
	return strings.ToLower(strings.TrimSpace(set))
}

// keepVerdict stores the newest answer about a step and its runs.
func (b *Book) keepVerdict(step int, runs []Run, v *verdict.Verdict) error {
	data, err := json.Marshal(v)
	if err != nil {
		return err
	}
	var ns []int
	for _, r := range runs {
		ns = append(ns, r.Number)
	}
	key, _ := json.Marshal(ns)
	e := v.Primary
	return b.tx(func(t *tx) error {
		var old string
		err := t.QueryRow(`SELECT data FROM verdict WHERE step = ? AND runs = ?`, step, string(key)).Scan(&old)
		if err != nil && !noRows(err) {
			return err
		}
		if old == string(data) {
			return nil
		}
		if err := t.exec(`INSERT INTO verdict (step, runs, method, turn, measure, unit, effect, lo, hi, answer, data, at) VALUES (?,?,?,?,?,?,?,?,?,?,?,?)
			ON CONFLICT (step, runs) DO UPDATE SET method = excluded.method, turn = excluded.turn, measure = excluded.measure, unit = excluded.unit,
			effect = excluded.effect, lo = excluded.lo, hi = excluded.hi, answer = excluded.answer, data = excluded.data, at = excluded.at`,
			step, string(key), method, e.Turn, e.Measure, e.Unit, number(e.Value), number(e.Lo), number(e.Hi), string(e.Answer), string(data), t.at); err != nil {
			return err
		}
		return t.event(Event{Kind: "verdict", Step: step, Run: ns[len(ns)-1], Ref: string(e.Answer)})
	})
}
