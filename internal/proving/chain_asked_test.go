package proving_test

import (
	"math"
	"sort"

	"cornerwright/internal/circuit"
	"cornerwright/internal/debrief"
	"cornerwright/internal/demo"
	"cornerwright/internal/proving"
	"cornerwright/internal/setting"
	"cornerwright/internal/verdict"
)

// debrief makes the true remark on every planted cause that shows, and the same
// remarks and some others where nothing of the kind happened.
func (w *row) debrief(x *chained) {
	shows := func(kind demo.CauseKind, turn int) int {
		switch kind {
		case demo.OverBlip:
			return x.happened(turn, func(e *demo.Episode) bool { return e.Kind == "blip" && (e.Over || e.Surplus > 450) })
		case demo.Hop:
			return x.happened(turn, func(e *demo.Episode) bool { return e.Kind == "hop" })
		case demo.WheelLift:
			return x.happened(turn, func(e *demo.Episode) bool { return e.Kind == "wheelie" })
		}
		return 99
	}
	r := x.rides[0]
	sheet := setting.NewSheet(x.bike.Name, x.bike.First)
	outings := max(1, x.run.Options.Outings)
	ask := func(turn int, m debrief.Remark) (debrief.Stance, bool) {
		ours, ok := x.turn[turn]
		if !ok {
			return "", false
		}
		m.ID, m.Turns, m.Strength = 1, []int{ours}, 2
		return debrief.Debrief(r, x.bike, []debrief.Remark{m}, sheet, "B", debrief.Options{Unasked: -1}).Findings[0].Stance, true
	}
	planted := map[demo.CauseKind]int{}
	for _, c := range x.run.Options.Causes {
		planted[c.Kind] = c.Turn
		if c.Kind == demo.Hop && x.cannot("hop and chatter") {
			if s, _ := ask(c.Turn, said[c.Kind]); s != debrief.CannotTell {
				w.wrongly["told of a hop that is withheld"]++
				w.believed++
			}
			continue
		}
		if shows(c.Kind, c.Turn) < 5*outings {
			continue
		}
		w.causes++
		if s, ok := ask(c.Turn, said[c.Kind]); ok && (s == debrief.Agrees || s == debrief.Partly) {
			w.found++
		} else {
			w.wrongly["not found: "+string(c.Kind)]++
		}
	}
	lie := func(turn int, m debrief.Remark) {
		s, ok := ask(turn, m)
		if !ok {
			return
		}
		w.remarks++
		if s == debrief.Agrees || s == debrief.Partly {
			w.believed++
			w.wrongly["believed: "+string(m.Says)]++
		}
	}
	for _, t := range x.run.Truth.Turns {
		// By kind in a fixed order, so that the count does not depend on a map's.
		for _, kind := range []demo.CauseKind{demo.OverBlip, demo.Hop, demo.WheelLift, demo.LatePickUp} {
			n := shows(kind, t.Number)
			if kind == demo.LatePickUp && planted[kind] != t.Number {
				n = 0
			}
			if n <= 1 {
				lie(t.Number, said[kind])
			}
		}
		// A rider who opens late feels held back too, and is told why.
		if t.Number != planted[demo.LatePickUp] && x.happened(t.Number, func(e *demo.Episode) bool { return e.Kind == "cut" && e.End-e.Start > 0.2 && e.Mean > 0.08 }) <= 1 {
			lie(t.Number, debrief.Remark{Says: "held-back", Phase: circuit.PhasePickup})
		}
		if x.happened(t.Number, func(e *demo.Episode) bool { return e.Kind == "spin" }) <= 1 {
			lie(t.Number, debrief.Remark{Says: "spins", Phase: circuit.PhasePickup})
		}
		if x.happened(t.Number, func(e *demo.Episode) bool { return e.Kind == "lock" }) <= 1 {
			lie(t.Number, debrief.Remark{Says: "front-lock"})
		}
		if x.happened(t.Number, func(e *demo.Episode) bool { return e.Kind == "rear-lift" }) <= 1 {
			lie(t.Number, debrief.Remark{Says: "rear-lifts"})
		}
	}
}

// verdict asks about every turn's segment: the planted effect and the others.
func (w *row) verdict(x *chained) {
	o := &x.run.Options
	var windows []proving.Window
	by := map[int]*verdict.Measure{}
	var order []int
	q := verdict.Question{Reference: "A", Trial: "B"}
	for k, r := range x.rides {
		q.Runs = append(q.Runs, verdict.Run{ID: k + 1, Order: k, Circuit: "one", Bike: x.bike.Name, Day: "one", Tyre: "one", Settings: "same"})
		for _, p := range r.Passes {
			if !p.Timed {
				continue
			}
			m := by[p.Turn]
			if m == nil {
				m = &verdict.Measure{Turn: p.Turn, Name: "segment", Unit: "s", Better: verdict.Lower, Matters: 0.05, Tier: verdict.Outcome}
				by[p.Turn] = m
				order = append(order, p.Turn)
			}
			l := verdict.Lap{Run: k + 1, Number: p.Lap, Slot: p.Slot, Value: p.Segment}
			if p.SegmentSE > 0 {
				l.ValueSE = p.SegmentSE
			}
			if !p.Whole {
				l.Value = math.NaN()
			} else {
				windows = append(windows, proving.Window{Turn: p.Turn, Span: proving.Span{From: p.Start, To: p.End}})
			}
			m.Laps = append(m.Laps, l)
		}
	}
	truth := proving.EffectsIn(x.run, windows)
	sort.Ints(order)
	turn := x.turn[o.Effects[0].Turn]
	w.verdicts++
	if by[turn] == nil {
		w.withheld["turn of the effect not found"]++
		return
	}
	q.Primary = *by[turn]
	for _, n := range order {
		if n != turn {
			q.Watch = append(q.Watch, *by[n])
		}
	}
	v := verdict.Decide(q)
	if v.Refusal != nil || !v.Primary.Known() {
		w.verdicts--
		reason := "no estimate"
		if v.Refusal != nil {
			reason = v.Refusal.Reason.String()
		}
		w.withheld["verdict: "+reason]++
		return
	}
	inside := func(e verdict.Effect) bool { return e.Lo <= truth[e.Turn] && truth[e.Turn] <= e.Hi }
	if inside(v.Primary) {
		w.held++
	}
	if v.Primary.Answer == verdict.Better {
		w.told++
	}
	if v.Primary.Answer == verdict.Worse {
		w.claims++
	}
	for _, e := range v.Watch {
		if !e.Known() {
			continue
		}
		w.others++
		if inside(e) {
			w.othersHeld++
		}
		// The turn after can truly carry some of the gain.
		real := math.Abs(truth[e.Turn]) >= 0.01 && e.Value*truth[e.Turn] > 0
		if (e.Answer == verdict.Better || e.Answer == verdict.Worse) && !real {
			w.claims++
		}
	}
}
