package verdict

import (
	"math"
	"sort"
	"strconv"
	"strings"

	"cornerwright/internal/inference"
	"cornerwright/internal/say"
)

// minKept is the least number of kept laps a side for better or worse.
const minKept = 4

// Decide answers the question. It never fails: input that cannot carry an
// answer yields a verdict with a Refusal that says what would do.
func Decide(q Question) Verdict {
	v := Verdict{Reference: q.Reference, Trial: q.Trial, NilCheck: q.NilCheck}
	v.Primary = blank(q.Primary)
	v.Conditions = append(v.Conditions, q.Conditions...)
	if r := q.checkInput(); r != nil {
		v.Refusal = r
		return q.finish(v, nil)
	}
	laps := q.sorted(q.Primary.Laps)
	l := q.recognise(laps)
	v.Design = l.design
	if q.Design != Recognise && q.Design != l.design {
		v.Conditions = append(v.Conditions, Condition{"design", say.T("planned as {design}, ridden as {design2}; judged as ridden", say.Key(string(q.Design)), say.Key(string(l.design))), Notes})
	}
	v.Conditions = append(v.Conditions, q.derive(&l, laps)...)
	sortConditions(v.Conditions)

	if len(l.runs) > maxRuns {
		v.Refusal = &Refusal{"input", say.T("{runs} runs in one comparison; at most {most} are fitted together", len(l.runs), maxRuns),
			say.T("compare per meeting and combine the verdicts over the season")}
		return q.finish(v, &l)
	}
	v.Conditions = append(v.Conditions, q.driftConditions(&l)...)
	sortConditions(v.Conditions)
	v.Primary = q.analyse(&l, q.Primary)
	if l.design == SeveralDays {
		q.overDays(&l, q.Primary, &v.Primary)
	}
	v.Declared = q.family(&l, q.Declared)
	v.Watch = q.family(&l, q.Watch)
	v.Refusal = q.refuse(&l, &v)
	if v.Refusal == nil {
		v.decideFamily(v.Declared, false)
		v.decideFamily(v.Watch, true)
	}
	return q.finish(v, &l)
}

// blank is an effect about which nothing is known.
func blank(m Measure) Effect {
	return Effect{Turn: m.Turn, Measure: m.Name, Unit: m.Unit, Better: m.Better, Tier: m.Tier, Matters: m.Matters, Safety: m.Safety,
		Estimate: inference.Estimate{Value: math.NaN(), Lo: math.NaN(), Hi: math.NaN(), SE: math.NaN(), Level: 0.95},
		Lo90:     math.NaN(), Hi90: math.NaN(), P: math.NaN(), PAdj: math.NaN(), LapSD: math.NaN(),
		SmallestVisible: math.Inf(1), Answer: NotEnoughLaps}
}

func (q *Question) family(l *layout, ms []Measure) []Effect {
	var out []Effect
	for _, m := range ms {
		e := q.analyse(l, m)
		if l.design == SeveralDays {
			q.overDays(l, m, &e)
		}
		out = append(out, e)
	}
	return out
}

// checkInput refuses what cannot be compared at all.
func (q *Question) checkInput() *Refusal {
	if q.Reference == "" || q.Trial == "" || q.Reference == q.Trial {
		return &Refusal{"input", say.T("reference {reference} and trial {trial} are not two different names", strconv.Quote(q.Reference), strconv.Quote(q.Trial)),
			say.T("name the reference slot and the trial slot; for reference against reference give the same settings two names")}
	}
	var circuits, bikes []string
	for _, r := range q.Runs {
		circuits, bikes = addName(circuits, r.Circuit), addName(bikes, r.Bike)
		if r.Bad != "" {
			return &Refusal{"recording", say.T("{name} cannot be trusted: {bad}", r.name(), r.Bad),
				say.T("leave this run out, or repeat it with the sensor put right")}
		}
	}
	if len(circuits) > 1 {
		return &Refusal{"input", say.T("the runs are from different circuits: {circuits}", strings.Join(circuits, ", ")),
			say.T("compare runs of one circuit; over several circuits the season picture combines verdicts")}
	}
	if len(bikes) > 1 {
		return &Refusal{"input", say.T("the runs are from different bikes: {bikes}", strings.Join(bikes, ", ")), say.T("compare runs of one bike")}
	}
	seen := map[[2]int]bool{}
	for _, p := range q.Primary.Laps {
		k := [2]int{p.Run, p.Number}
		if seen[k] {
			return &Refusal{"input", say.T("lap {lap} of {run} stands twice", p.Number, q.runName(p.Run)), say.T("give every lap of a run once, under its own number")}
		}
		seen[k] = true
	}
	var n [2]int
	slots, unknown, total := []string{}, 0, 0
	for _, p := range q.Primary.Laps {
		if math.IsNaN(p.Value) || math.IsInf(p.Value, 0) {
			continue
		}
		total++
		if p.Slot == "" {
			unknown++
		} else {
			slots = addName(slots, p.Slot)
		}
		if s := q.sideOf(p.Slot); s != sideNone && p.Mark == "" {
			n[s]++
		}
	}
	sort.Strings(slots)
	rode := say.T("no slot is known")
	if len(slots) > 0 {
		rode = say.T("slots ridden: {slots}", strings.Join(slots, ", "))
	}
	switch {
	case total == 0:
		return &Refusal{"input", say.T("no lap has a value of {title}", q.Primary.title()), say.T("add a run with timed laps at this turn, or choose another measure")}
	case unknown == total:
		return &Refusal{"input", say.T("the slot is missing on every lap"), say.T("log the switch position, or state the slot of each lap or run when adding it")}
	case n[sideTrial] == 0:
		return &Refusal{"input", say.T("no lap in trial slot {trial} ({rode})", q.Trial, rode), say.T("ride at least {least} laps in slot {trial}, interleaved with the reference", minKept, q.Trial)}
	case n[sideRef] == 0:
		return &Refusal{"input", say.T("no lap in reference slot {reference} ({rode})", q.Reference, rode), say.T("ride at least {least} laps in slot {reference}, interleaved with the trial", minKept, q.Reference)}
	case n[0] == 1 || n[1] == 1:
		return &Refusal{"too-few-laps", say.T("{n} reference and {n2} trial laps: one lap has no scatter to judge by", n[0], n[1]),
			say.T("ride at least {least} laps a side, in the order A B B A A B B A", minKept)}
	}
	return nil
}

func addName(list []string, s string) []string {
	if s == "" {
		return list
	}
	for _, x := range list {
		if x == s {
			return list
		}
	}
	return append(list, s)
}

func (r Run) name() say.Text {
	if r.Label != "" {
		return say.Plain(r.Label)
	}
	return say.T("run {id}", r.ID)
}

// title names a measure for people.
func (m Measure) title() say.Text { return title(m.Turn, m.Name) }

func title(turn int, name string) say.Text {
	if turn == 0 {
		return say.T("lap time")
	}
	return say.T("{measure} at turn {turn}", say.Key(name), turn)
}

// refuse tells why better and worse cannot be said, worst reason first.
func (q *Question) refuse(l *layout, v *Verdict) *Refusal {
	for _, c := range v.Conditions {
		if c.Weight == Confounds {
			return &Refusal{"confounded", c.Text, say.T("change one thing at a time: repeat with everything but the step as it was, both slots in one run, interleaved")}
		}
	}
	e := &v.Primary
	if e.NRef < minKept || e.NTrial < minKept {
		remedy := say.T("ride on until each side has at least {least} clean laps", minKept)
		if l.within() {
			remedy = say.T("ride on in the order A B B A A B B A until each side has at least {least} clean laps", minKept)
		}
		return &Refusal{"too-few-laps", say.T("{reference} reference and {trial} trial laps are kept; fewer than {least} a side do not carry better or worse", e.NRef, e.NTrial, minKept), remedy}
	}
	switch l.design {
	case OneSwitch:
		return &Refusal{"design", say.T("the slot was switched once only: warm-up, wear and the setting look alike"),
			say.T("go back to the reference at least twice: A B B A A B B A")}
	case Alternating:
		return &Refusal{"design", say.T("the slot changed on every lap: a rider who presses and relaxes in turn looks like a setting"),
			say.T("ride pairs: A B B A A B B A")}
	}
	if !e.Known() && l.bend {
		return &Refusal{"design", say.T("every run goes there and back once: a bend in the drift looks just like the setting"),
			say.T("go back to the reference at least twice in a run, A B B A A B B A, or start every other run in the other slot")}
	}
	if !e.Known() && e.Note == "" {
		return &Refusal{"input", say.T("the values of {measure} are out of all proportion: they cannot be fitted", q.Primary.title()), say.T("check the unit and the channel")}
	}
	if !e.Known() {
		return &Refusal{"too-few-laps", e.Note, say.T("ride more laps in the same order")}
	}
	return nil
}

// tailMargin is by how much simulated nil runs of 6 laps a side pass small
// levels more often than t has it.
const tailMargin = 1.5

// decideFamily corrects a family of measures for many looks and answers.
// Harm goes by Holm, gain by Benjamini-Hochberg (watch) or Holm (declared).
func (v *Verdict) decideFamily(es []Effect, watch bool) {
	p := make([]float64, len(es))
	safety := make([]float64, len(es))
	for i, e := range es {
		p[i], safety[i] = math.NaN(), math.NaN()
		if e.NRef < minKept || e.NTrial < minKept {
			continue
		}
		if p[i] = e.P; watch {
			// The far tails that a long list reads are a little heavier than t,
			// as the slow-lap rule can take an ordinary lap for a slow one.
			p[i] = math.Min(1, tailMargin*e.P)
		}
		if e.Safety && e.Better != Neutral {
			safety[i] = e.P / 2
			if e.harm() < 0 {
				safety[i] = 1 - e.P/2
			}
		}
	}
	caution := inference.Holm(safety)
	harm := inference.Holm(p)
	gain := harm
	if watch {
		gain = inference.BenjaminiHochberg(p)
	}
	for i := range es {
		e := &es[i]
		if math.IsNaN(p[i]) {
			e.Answer, e.PAdj = NotEnoughLaps, math.NaN()
			continue
		}
		e.PAdj = harm[i]
		if e.Better != Neutral && e.harm() < 0 {
			e.PAdj = gain[i]
		}
		e.Answer, e.Small, e.Moved = answerFrom(e.Better, e.Value, e.Lo90, e.Hi90, e.Matters, e.PAdj <= 0.05)
		if watch && e.Small {
			// Proven, and yet within what does not matter: nobody is sent after it.
			e.Answer, e.Small, e.Moved = NoDifference, false, moved(e.Value)
		}
		e.Caution = caution[i] <= 0.10
		if e.CarriedFrom != 0 && e.Answer == Better {
			e.Note = say.T("carried from turn {turn} and counted there", e.CarriedFrom)
		}
	}
}

// finish withholds what was refused and writes the sentences.
func (q *Question) finish(v Verdict, l *layout) Verdict {
	if v.Refusal != nil {
		v.Primary.Answer, v.Primary.Small, v.Primary.Moved = NotEnoughLaps, false, ""
		for _, es := range [][]Effect{v.Declared, v.Watch} {
			for i := range es {
				es[i].Answer, es[i].Small, es[i].Moved, es[i].PAdj = NotEnoughLaps, false, "", math.NaN()
			}
		}
		if v.Primary.All != nil {
			v.Primary.All.Answer = NotEnoughLaps
		}
	}
	q.price(&v, l)
	v.tiers()
	v.words(q)
	return v
}

func sortConditions(c []Condition) {
	rank := map[Weight]int{Confounds: 0, Weakens: 1, Notes: 2}
	sort.SliceStable(c, func(i, j int) bool { return rank[c[i].Weight] < rank[c[j].Weight] })
}
