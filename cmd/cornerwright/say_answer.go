package main

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"

	"cornerwright/internal/paper"
	"cornerwright/internal/rehearsal"
	"cornerwright/internal/setting"
	"cornerwright/internal/unit"
	"cornerwright/internal/verdict"
)

func median(v []float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	s := append([]float64(nil), v...)
	sort.Float64s(s)
	n := len(s)
	if n%2 == 1 {
		return s[n/2]
	}
	return (s[n/2-1] + s[n/2]) / 2
}

func (a *app) sayRehearsal(head string, x *rehearsal.Rehearsal) {
	a.say("rehearsal of %s, %d laps", head, x.Laps)
	f := x.Footprint
	if f.Cannot != "" {
		a.say("%s", wrap("no footprint: "+f.Cannot.String(), 96, "  "))
	} else {
		a.say("  in use %s s a lap; change of the value while in use: mean %s %s, greatest %s %s", dec(f.Dwell, 2), signed(f.Mean, 2), f.Unit, signed(f.Max, 2), f.Unit)
		rows := [][]string{{"  turn", "phase", "in use [s a lap]", "share", "laps"}}
		for i, u := range f.Uses {
			if i == 10 {
				break
			}
			turn := "-"
			if u.Turn > 0 {
				turn = fmt.Sprint(u.Turn)
			}
			rows = append(rows, []string{"  " + turn, string(u.Phase), dec(u.Dwell, 3), dec(u.Share*100, 0) + " %", fmt.Sprint(u.Laps)})
		}
		a.table(rows)
		if len(f.Never) > 0 {
			a.say("  %d of the changed cells were never in use", len(f.Never))
		}
		if f.Wobble.Text != "" {
			a.say("%s", wrap(f.Wobble.Text.String(), 96, "  "))
		}
	}
	if len(x.Changes) > 0 {
		rows := [][]string{{"  turn", "measure", "before", "after", "range", "laps"}}
		for _, c := range x.Changes {
			n := 3
			if c.Unit != "s" {
				n = 1
			}
			after := dec(c.After, n) + " " + unit.Shown(c.Unit)
			if c.SignOnly {
				after = "direction only"
			}
			rows = append(rows, []string{fmt.Sprintf("  %d", c.Turn), strings.ReplaceAll(c.Measure, "_", " "), dec(c.Before, n) + " " + unit.Shown(c.Unit), after, between(c.AfterLo, c.AfterHi, n), fmt.Sprint(c.N)})
		}
		a.table(rows)
	}
	for _, w := range x.Withheld {
		a.say("%s", wrap(("withheld: "+w.What+": "+w.Why).String(), 96, "  "))
	}
	for _, c := range x.Cautions {
		a.say("%s", wrap("caution: "+c, 96, "  "))
	}
}

func (a *app) sayPlan(p *verdict.Plan) {
	for _, l := range p.Lines {
		a.say("%s", l)
	}
	for _, w := range p.Warnings {
		if !slices.Contains(p.Lines, w) {
			a.say("%s", wrap("note: "+w.String(), 96, ""))
		}
	}
}

func (a *app) sayVerdict(v *verdict.Verdict) {
	e := v.Primary
	where := "the lap"
	if e.Turn > 0 {
		where = fmt.Sprintf("turn %d", e.Turn)
	}
	head := "verdict"
	if v.Step != "" {
		head += " on step " + v.Step
	}
	what := []string{e.Measure + " at " + where, v.Trial + " against " + v.Reference}
	if e.Turn == 0 {
		what[0] = e.Measure
	}
	if v.Design != "" {
		what = append(what, string(v.Design))
	}
	a.say("%s: %s (%s)", head, strings.ReplaceAll(string(e.Answer), "-", " "), strings.Join(what, ", "))
	for _, c := range v.Conditions {
		a.say("%s", wrap(fmt.Sprintf("%s: %s", c.Weight, c.Text), 96, "  "))
	}
	if v.Refusal != nil {
		a.say("%s", wrap("refused: "+v.Refusal.Reason.String(), 96, "  "))
		a.say("%s", wrap("what would do: "+v.Refusal.Remedy.String(), 96, "  "))
	}
	a.say("%s", wrap("rider: "+v.Rider.String(), 96, "  "))
	a.say("%s", wrap("engineer: "+v.Engineer.String(), 96, "  "))
	rows := [][]string{{"  turn", "measure", "effect", "95 % interval", "laps", "p", "answer"}}
	add := func(e verdict.Effect, p float64) {
		n := e.Digits()
		turn := "-"
		if e.Turn > 0 {
			turn = fmt.Sprint(e.Turn)
		}
		rows = append(rows, []string{"  " + turn, e.Measure, signed(e.Value, n) + " " + e.Unit, signed(e.Lo, n) + " to " + signed(e.Hi, n), fmt.Sprintf("%d + %d", e.NRef, e.NTrial), probability(p), string(e.Answer)})
	}
	if e.Known() {
		add(e, e.P)
	}
	for _, d := range v.Declared {
		if d.Known() {
			add(d, d.PAdj)
		}
	}
	if len(rows) > 1 {
		a.table(rows)
	}
	for _, s := range e.Struck {
		a.say("  struck: run %d lap %d, %s %s: %s", s.Run, s.Lap, dec(s.Value, 3), e.Unit, s.Reason)
	}
	var notable []verdict.Effect
	quiet := 0
	for _, w := range v.Watch {
		if w.Answer == verdict.Better || w.Answer == verdict.Worse || w.Caution {
			notable = append(notable, w)
		} else {
			quiet++
		}
	}
	if len(notable) > 0 {
		a.say("  watch list, corrected for many looks:")
		rows = rows[:1]
		for _, w := range notable {
			add(w, w.PAdj)
		}
		a.table(rows)
	}
	if quiet > 0 {
		a.say("  watch list: %d other measures show nothing to claim", quiet)
	}
	if e.SmallestVisible > 0 && !math.IsInf(e.SmallestVisible, 0) {
		a.say("  these laps show an effect of %s %s in four of five tries", dec(e.SmallestVisible, e.Digits()), e.Unit)
	}
}

// planSize is the size of effect that a change sheet plans for: what matters,
// but not less than a good amateur's laps can show in one run (0.08 s).
func planSize(p setting.Primary) float64 {
	m, err := measureInfo(p.Measure)
	switch {
	case err == nil && m.Unit != "s" && p.Matters > 0:
		return p.Matters
	case err == nil && m.Unit != "s":
		return m.Matters
	}
	return max(p.Matters, 0.08)
}

func (a *app) sayChangeSheet(c *paper.ChangeSheet) {
	a.say("%s", c.Title)
	for _, f := range c.Facts {
		a.say("  %s: %s", f.Name, f.Value)
	}
	a.say("%s", wrap("reason: "+c.Reason, 96, "  "))
	for _, x := range c.Changed {
		a.say("  %s", x)
	}
	a.say("  values to type, slot %s:", c.Slot)
	for _, l := range strings.Split(strings.TrimRight(c.Table, "\n"), "\n") {
		a.say("    %s", l)
	}
	a.say("  checksums: reference %s (stays), trial %s -> %s", c.ReferenceSum, c.TrialSumOld, c.TrialSumNew)
	for _, u := range c.Use {
		a.say("  in use: %s", u)
	}
	for _, x := range c.Cautions {
		a.say("%s", wrap("caution: "+x, 96, "  "))
	}
}
