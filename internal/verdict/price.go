package verdict

import (
	"math"
	"sort"

	"cornerwright/internal/inference"
	"cornerwright/internal/say"
)

// maxPrice is the number of laps a side beyond which more laps are no answer.
const maxPrice = 60

// price fills in what an answer would cost where the laps did not give one, and
// completes the conditions that the estimate itself brings.
func (q *Question) price(v *Verdict, l *layout) {
	e := &v.Primary
	if e.AssumedRunSD > 0 {
		how := say.T("assumed")
		if e.LearntRunSD {
			how = say.T("learnt from repeats")
		}
		text := say.T("the setting changed between runs only; run-to-run sd {sd} {how}", quantity(e.AssumedRunSD, e.AssumedRunSD, e.Unit), how)
		if e.TippingRunSD > 0 && v.Refusal == nil && (e.Answer == Better || e.Answer == Worse) {
			text = say.T("{text}; the answer holds unless runs differ by more than {sd}", text, quantity(e.TippingRunSD, e.TippingRunSD, e.Unit))
		}
		v.Conditions = append(v.Conditions, Condition{"between-runs", text, Weakens})
	}
	if e.StruckTrial >= e.StruckRef+2 {
		v.Conditions = append(v.Conditions, Condition{"slow-laps", say.T("{laps} of the trial set aside as slow against {reference} of the reference: a setting that causes mistakes looks better than it is", count(e.StruckTrial, "lap"), e.StruckRef), Weakens})
	}
	if q.Settle > 0 {
		v.Conditions = append(v.Conditions, Condition{"settling", say.T("the first {laps} after each switch set aside, as declared", count(q.Settle, "lap")), Notes})
	}
	sortConditions(v.Conditions)
	if l == nil {
		return
	}
	for _, es := range [][]Effect{{v.Primary}, v.Declared, v.Watch} {
		for i := range es {
			if es[i].Answer == NotEnoughLaps {
				es[i].Needed = es[i].needed(l)
			}
		}
	}
	if v.Primary.Answer == NotEnoughLaps {
		v.Primary.Needed = v.Primary.needed(l)
	}
}

// needed prices an answer in laps (or runs) at what matters, from the upper
// bound of the scatter, as the plan does.
func (e *Effect) needed(l *layout) *Needed {
	target := e.Matters
	if !(target > 0) || !(e.LapSD > 0) || e.NRef == 0 || e.NTrial == 0 {
		return nil
	}
	sd := inference.SDUpper(e.LapSD, e.DF, planConfidence)
	if l.within() && l.design != OneSwitch && l.design != Alternating {
		// The inefficiency of the order as ridden, against equal clean halves.
		n := 2 / (1/float64(e.NRef) + 1/float64(e.NTrial))
		factor := math.Max(1, (e.SE/e.LapSD)*(e.SE/e.LapSD)*n/2)
		// More laps always show smaller effects, so the least number is bisected.
		from := int(n) + 1
		k := from + sort.Search(max(0, maxPrice-from+1), func(i int) bool {
			k := from + i
			return planMargin*detectable80(float64(2*k-3))*sd*math.Sqrt(2*factor/float64(k)) <= target
		})
		if k <= maxPrice {
			more := max(k-min(e.NRef, e.NTrial), 1)
			return &Needed{Laps: more, Text: say.T("about {laps} a side, in the same order, would show {effect}", count(more, "more lap"), quantity(target, target/2, e.Unit))}
		}
		return &Needed{Text: say.T("more than {most} laps a side would be needed to show {effect} at this scatter: choose a measure closer to the change", maxPrice, quantity(target, target/2, e.Unit))}
	}
	if l.within() {
		return &Needed{Text: say.T("more laps of this order do not help: interleave the slots, A B B A A B B A")}
	}
	runSD := e.AssumedRunSD
	if runSD == 0 { // run means were compared: their scatter is in the standard error
		runSD = e.SE / math.Sqrt(1/float64(e.RunsRef)+1/float64(e.RunsTrial))
	}
	for k := 2; k <= 12; k++ {
		if detectable80(float64(2*k-2))*runSD*math.Sqrt(2/float64(k)) <= target {
			more := max(k-min(e.RunsRef, e.RunsTrial), 1)
			return &Needed{Runs: more, Text: say.T("about {run} a side would show {effect}; both slots in one run, interleaved, would do it sooner", count(more, "more run"), quantity(target, target/2, e.Unit))}
		}
	}
	return &Needed{Text: say.T("more than 12 runs a side would be needed: put both slots into one run, interleaved")}
}
