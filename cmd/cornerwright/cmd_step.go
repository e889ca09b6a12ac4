package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"strconv"
	"strings"

	"cornerwright/internal/book"
	"cornerwright/internal/contract"
	"cornerwright/internal/debrief"
	"cornerwright/internal/setting"
)

// many gathers a flag that may be given several times.
type many []string

func (m *many) String() string     { return strings.Join(*m, "; ") }
func (m *many) Set(s string) error { *m = append(*m, s); return nil }

func stepCommands() []*command {
	move := func(name, to, short string) *command {
		return &command{name: "step " + name, args: "STEP", short: short,
			example: "cornerwright step " + name + " 1 --book season",
			setup: func(a *app, f *flag.FlagSet) func(context.Context, []string) error {
				reason := f.String("reason", "", "`TEXT` that stays in the book")
				runRef := f.String("run", "", "`RUN` that it rests on")
				from := f.String("from", "", "`STATE` that you saw; refused where it has changed since")
				return func(ctx context.Context, args []string) error {
					b, err := a.theBook()
					if err != nil {
						return err
					}
					s, err := stepArg(b, args)
					if err != nil {
						return err
					}
					n := 0
					if *runRef != "" {
						r, err := b.Run(*runRef)
						if err != nil {
							return err
						}
						n = r.Number
					}
					s, err = b.SetStepState(s.ID, *from, to, a.who(), *reason, n)
					if err != nil {
						return err
					}
					if a.json {
						return a.answer(contract.NewStep(s))
					}
					a.say("step %d is %s", s.ID, s.State)
					return nil
				}
			}}
	}
	return []*command{
		{name: "step new", args: "", short: "propose and record one bounded change, with its guards",
			long: "Take a proposal of the debrief with --take, or say the change yourself: --change \"B:slip-target[45..50, 80..110] +1\",\n" +
				"or --setting slip-target --rows 45..50 --columns 80..110 --by +1. One setting at a time, in the trial slot; the reference slot stays.\n" +
				"A guard that stands in the way can be overruled by name only: --overrule \"GUARD=NAME: REASON\". It stays in the book and on the paper.",
			example: "cornerwright step new --run last --take r1 --book season",
			setup:   stepNew},
		{name: "step list", args: "", short: "list the steps",
			example: "cornerwright step list --book season",
			setup: func(a *app, f *flag.FlagSet) func(context.Context, []string) error {
				bikeName := f.String("bike", "", "only steps of the bike `NAME`")
				return func(ctx context.Context, args []string) error {
					if err := none(args); err != nil {
						return err
					}
					b, err := a.toRead()
					if err != nil {
						return err
					}
					if *bikeName != "" {
						k, err := b.Bike(*bikeName)
						if err != nil {
							return err
						}
						*bikeName = k.Name
					}
					all, err := b.Steps(*bikeName)
					if err != nil {
						return err
					}
					if a.json {
						out := []contract.Step{}
						for _, s := range all {
							out = append(out, contract.NewStep(s))
						}
						return a.answer(map[string]any{"steps": out})
					}
					rows := [][]string{{"step", "state", "bike", "sheets", "slot", "setting", "cells", "aim", "reason"}}
					for _, s := range all {
						rows = append(rows, []string{fmt.Sprint(s.ID), s.State, s.Bike, fmt.Sprintf("%d to %d", s.From, s.To), s.Slot, s.Setting, fmt.Sprint(len(s.Cells)), aimWords(s.Primary), s.Reason})
					}
					a.table(rows)
					return nil
				}
			}},
		{name: "step show", args: "STEP", short: "show a step: cells, reason, guards, history",
			example: "cornerwright step show 1 --book season",
			setup: func(a *app, f *flag.FlagSet) func(context.Context, []string) error {
				return func(ctx context.Context, args []string) error {
					b, err := a.toRead()
					if err != nil {
						return err
					}
					s, err := stepArg(b, args)
					if err != nil {
						return err
					}
					if a.json {
						return a.answer(contract.NewStep(s))
					}
					k, err := b.Bike(s.Bike)
					if err != nil {
						return err
					}
					a.sayStep(s, k.Bike.Setting(s.Setting))
					return nil
				}
			}},
		move("load", book.Loaded, "the step is in the bike now; runs added from here on are under its trial"),
		move("keep", book.Kept, "keep the step: its values become the reference"),
		move("revert", book.Reverted, "take the step back"),
		move("repeat", book.Repeated, "ride the step again before judging it"),
		{name: "step overrule", args: "STEP GUARD REASON", short: "put a guard of a recorded step aside by name", noJSON: true,
			example: "cornerwright step overrule 1 weather \"dry line, sun since noon\" --who \"A. Reed\" --book season",
			setup: func(a *app, f *flag.FlagSet) func(context.Context, []string) error {
				who := f.String("who", "", "`NAME` of the person who overrules")
				return func(ctx context.Context, args []string) error {
					if len(args) < 3 {
						return usage("a step, a guard and a reason are needed", "")
					}
					b, err := a.theBook()
					if err != nil {
						return err
					}
					s, err := stepArg(b, args[:1])
					if err != nil {
						return err
					}
					_, err = b.Overrule(s.ID, setting.Overrule{Guard: args[1], Who: *who, Reason: strings.Join(args[2:], " ")})
					return err
				}
			}},
	}
}

func stepArg(b *book.Book, args []string) (book.Step, error) {
	s, err := one(args, "step")
	if err != nil {
		return book.Step{}, err
	}
	n, err := strconv.Atoi(s)
	if err != nil {
		return book.Step{}, usage(fmt.Sprintf("%q is not a step number", s), "list them: cornerwright step list")
	}
	return b.Step(n)
}

func aimWords(p setting.Primary) string {
	if p.Measure == "" {
		return "-"
	}
	if p.Turn == 0 {
		return p.Measure + " of the lap"
	}
	return fmt.Sprintf("%s at turn %d", p.Measure, p.Turn)
}

func stepNew(a *app, f *flag.FlagSet) func(context.Context, []string) error {
	runRef := f.String("run", "", "`RUN` it is derived from")
	take := f.String("take", "", "take the first proposal of the finding `ID` of that run's debrief; r1.2 takes its second")
	change := f.String("change", "", "the `CHANGE` in one line")
	bikeName := f.String("bike", "", "`NAME` of the bike, where no run says it")
	settingID := f.String("setting", "", "`ID` of the setting")
	slot := f.String("slot", "", "`LETTER` of the slot; otherwise the trial slot")
	rows := f.String("rows", "", "`BAND` of rows of a grid, as 45..50")
	columns := f.String("columns", "", "`BAND` of columns of a grid")
	gears := f.String("gears", "", "`GEARS` of a list, as 2,3 or 2..4")
	by := f.String("by", "", "`AMOUNT` to add, in the setting's unit")
	reason := f.String("reason", "", "why, in `WORDS`; printed on the sheet")
	remark := f.Int("remark", 0, "`NUMBER` of the remark it answers")
	turn := f.Int("turn", 0, "turn `NUMBER` where it is judged")
	measure := f.String("measure", "", "`MEASURE` it is judged by: segment, exit, cut, ...")
	expect := f.String("expect", "", "`less|more`: the direction hoped for")
	matters := f.Float64("matters", 0, "smallest `DIFFERENCE` that matters, in the measure's unit")
	author := f.String("author", "", "`NAME` of the engineer")
	surface := f.String("surface", "", "`dry|wet`")
	tyre := f.String("tyre", "", "`warm|cold|worn|changed`")
	air := f.String("air", "", "weather in `WORDS`")
	why := f.String("why", "", "`REASON` for a step on top of one without a verdict")
	dry := f.Bool("dry-run", false, "show step and guards, record nothing")
	var overrules many
	f.Var(&overrules, "overrule", "`\"GUARD=NAME: REASON\"`; may be given several times")
	return func(ctx context.Context, args []string) error {
		if err := none(args); err != nil {
			return err
		}
		b, err := a.theBook()
		if err != nil {
			return err
		}
		var s setting.Step
		n := 0
		if *runRef != "" {
			r, err := b.Run(*runRef)
			if err != nil {
				return err
			}
			n, *bikeName = r.Number, r.Bike
		}
		switch {
		case *take != "":
			if n == 0 {
				return usage("--take needs the run of the debrief", "add --run RUN")
			}
			if s, err = takeProposal(ctx, b, n, *take, *author); err != nil {
				return err
			}
		default:
			if s, err = sayChange(b, *bikeName, *change, *settingID, *slot, *rows, *columns, *gears, *by); err != nil {
				return err
			}
		}
		s.Run = n
		if *reason != "" {
			s.Reason = *reason
		}
		if *remark != 0 {
			s.Remark = *remark
		}
		if *turn != 0 {
			s.Primary.Turn = *turn
		}
		if *measure != "" {
			if _, err := measureInfo(*measure); err != nil {
				return err
			}
			if s.Primary.Measure != *measure {
				s.Primary.Matters = 0
			}
			s.Primary.Measure = *measure
		}
		if *expect != "" {
			if *expect != "less" && *expect != "more" {
				return usage(fmt.Sprintf("--expect %s is not a direction", *expect), "use less or more")
			}
			s.Primary.Expect = *expect
		}
		if *matters > 0 {
			s.Primary.Matters = *matters
		}
		for _, o := range overrules {
			x, err := parseOverrule(o)
			if err != nil {
				return err
			}
			s.Overrules = append(s.Overrules, x)
		}
		opt := book.StepOptions{Author: *author, Why: *why, Conditions: book.Conditions{Surface: *surface, Tyre: *tyre, Air: *air}}
		if *dry {
			gs, err := b.Guards(ctx, s, opt)
			if err != nil {
				return err
			}
			return a.showStep(b, book.Step{Step: s, Author: *author, Guards: gs})
		}
		got, err := b.NewStep(ctx, s, opt)
		if err != nil {
			if errors.Is(err, book.ErrConflict) && len(got.Guards) > 0 && !a.json {
				a.showStep(b, got)
			}
			return err
		}
		return a.showStep(b, got)
	}
}

func measureInfo(name string) (book.MeasureInfo, error) {
	var names []string
	for _, m := range book.Measures() {
		if m.Name == name {
			return m, nil
		}
		names = append(names, m.Name)
	}
	return book.MeasureInfo{}, usage(fmt.Sprintf("there is no measure %q", name), "use one of: "+strings.Join(names, ", "))
}

func parseOverrule(s string) (setting.Overrule, error) {
	guard, rest, ok1 := strings.Cut(s, "=")
	who, reason, ok2 := strings.Cut(rest, ":")
	o := setting.Overrule{Guard: strings.TrimSpace(guard), Who: strings.TrimSpace(who), Reason: strings.TrimSpace(reason)}
	if !ok1 || !ok2 || o.Guard == "" || o.Who == "" || o.Reason == "" {
		return o, usage(fmt.Sprintf("--overrule %q does not name guard, person and reason", s), `write it like --overrule "weather=A. Reed: dry since noon"`)
	}
	return o, nil
}

// takeProposal finds a proposal of a debrief by "r1", "r1.2" or "u3".
func takeProposal(ctx context.Context, b *book.Book, run int, ref, author string) (setting.Step, error) {
	id, nth, has := strings.Cut(ref, ".")
	k := 1
	if has {
		var err error
		if k, err = strconv.Atoi(nth); err != nil || k < 1 {
			return setting.Step{}, usage(fmt.Sprintf("--take %s does not name a proposal", ref), "write it like r1 or r1.2")
		}
	}
	res, err := b.Debrief(ctx, run, debrief.Options{Overrule: author})
	if err != nil {
		return setting.Step{}, err
	}
	var ids []string
	for _, f := range append(append([]debrief.Finding{}, res.Findings...), res.Unasked...) {
		ids = append(ids, f.ID)
		if f.ID != id {
			continue
		}
		i := 0
		for _, p := range f.Proposals {
			if p.Kind != debrief.ChangeSetting {
				continue
			}
			if i++; i < k {
				continue
			}
			s := p.Step
			s.Finding, s.Remark = f.ID, f.Remark
			if s.Reason == "" {
				s.Reason = p.Why.String()
			}
			if s.Primary.Turn == 0 {
				s.Primary.Turn = f.Turn
			}
			return s, nil
		}
		return setting.Step{}, &book.Error{Kind: book.ErrInvalid, Text: fmt.Sprintf("finding %s has %d proposals that change a setting, not %d", id, i, k), Mend: "say the change yourself: --change"}
	}
	return setting.Step{}, &book.Error{Kind: book.ErrNotFound, Text: fmt.Sprintf("the debrief of run %d has no finding %q", run, id), Mend: "it has: " + strings.Join(ids, ", ")}
}

// sayChange makes a step of a change in words or in typed flags.
func sayChange(b *book.Book, bikeName, change, id, slot, rows, columns, gears, by string) (setting.Step, error) {
	k, err := b.Bike(bikeName)
	if err != nil {
		return setting.Step{}, err
	}
	if change == "" {
		if id == "" || by == "" {
			return setting.Step{}, usage("no change is given", `take a proposal with --run RUN --take r1, or say it: --change "B:slip-target[45..50, 80..110] +1"`)
		}
		if slot == "" {
			slot = k.Bike.Slots.Trial
		}
		where := ""
		switch {
		case gears != "":
			where = "[" + gears + "]"
		case rows != "" || columns != "":
			s := k.Bike.Setting(id)
			all := func(a setting.Axis) string {
				if len(a.Points) == 0 {
					return ""
				}
				return setting.Number(a.Points[0]) + ".." + setting.Number(a.Points[len(a.Points)-1])
			}
			if s != nil && rows == "" {
				rows = all(s.Rows)
			}
			if s != nil && columns == "" {
				columns = all(s.Columns)
			}
			where = "[" + rows + ", " + columns + "]"
		}
		if !strings.HasPrefix(by, "+") && !strings.HasPrefix(by, "-") {
			by = "+" + by
		}
		change = slot + ":" + id + where + " " + by
	}
	c, err := setting.ParseChange(change, k.Bike.Setting)
	if err != nil {
		return setting.Step{}, &book.Error{Kind: book.ErrInvalid, Err: err, Mend: `write it like "B:slip-target[45..50, 80..110] +1" or "B:engine-brake[2] +10"`}
	}
	sheet, err := b.CurrentSheet(k.Name)
	if err != nil {
		return setting.Step{}, err
	}
	s, err := c.Propose(k.Bike.Setting(c.Setting), sheet.Sheet)
	if err != nil {
		return s, &book.Error{Kind: book.ErrInvalid, Err: err, Mend: "see the values: cornerwright sheet show " + fmt.Sprint(sheet.Number)}
	}
	return s, nil
}

func (a *app) showStep(b *book.Book, s book.Step) error {
	if a.json {
		return a.answer(contract.NewStep(s))
	}
	k, err := b.Bike(s.Bike)
	if err != nil {
		return err
	}
	a.sayStep(s, k.Bike.Setting(s.Setting))
	return nil
}

func (a *app) sayStep(s book.Step, st *setting.Setting) {
	head := "step not recorded"
	if s.ID > 0 {
		head = fmt.Sprintf("step %d, %s", s.ID, s.State)
	}
	a.say("%s: %s, slot %s, sheet %d%s", head, s.Setting, s.Slot, s.From, arrow(s.To))
	if st != nil {
		for _, c := range s.Cells {
			name := st.CellName(c.Row, c.Column)
			if name != "" {
				name += ": "
			}
			a.say("  %s%s -> %s %s", name, setting.Number(c.Old), setting.Number(c.New), st.Unit)
		}
		if st.More != "" {
			a.say("  more is: %s", st.More)
		}
	}
	if s.Reason != "" {
		a.say("%s", wrap("reason: "+s.Reason, 96, "  "))
	}
	if s.Primary.Measure != "" {
		line := "judged by: " + aimWords(s.Primary)
		if s.Primary.Expect != "" {
			line += ", hoped to be " + s.Primary.Expect
		}
		if s.Primary.Matters > 0 {
			line += fmt.Sprintf(", smaller than %s does not matter", setting.Number(s.Primary.Matters))
		}
		a.say("  %s", line)
	}
	a.sayGuards(s.Guards)
	for _, o := range s.Overrules {
		a.say("  overruled: %s by %s: %s", o.Guard, o.Who, o.Reason)
	}
	for _, h := range s.History {
		line := fmt.Sprintf("%s: %s to %s", h.At.Format("2006-01-02 15:04"), h.From, h.To)
		if h.Who != "" {
			line += " by " + h.Who
		}
		if h.Reason != "" {
			line += ": " + h.Reason
		}
		a.say("  %s", line)
	}
}

func arrow(n int) string {
	if n == 0 {
		return ""
	}
	return fmt.Sprintf(" -> %d", n)
}

func (a *app) sayGuards(gs []setting.GuardResult) {
	if len(gs) == 0 {
		return
	}
	passed := 0
	for _, g := range gs {
		if g.Pass {
			passed++
		}
	}
	a.say("  guards: %d of %d pass", passed, len(gs))
	for _, g := range gs {
		mark := "pass"
		if !g.Pass {
			mark = "STOP"
		}
		a.say("%s", strings.TrimRight(wrap(fmt.Sprintf("%s %s: %s", mark, g.Guard, g.Reason), 92, "    "), " "))
		if !g.Pass && g.Mend != "" {
			a.say("%s", wrap("mend: "+g.Mend, 90, "      "))
		}
	}
}
