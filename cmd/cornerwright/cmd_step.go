package main

import (
	"context"
	"flag"
	"fmt"
	"strconv"
	"strings"

	"cornerwright/internal/book"
	"cornerwright/internal/contract"
	"cornerwright/internal/setting"
)

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
		return "lap time"
	}
	return fmt.Sprintf("%s at turn %d", p.Measure, p.Turn)
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
			unit := "s" // of the lap
			if m, err := measureInfo(s.Primary.Measure); err == nil {
				unit = m.Unit
			}
			line += fmt.Sprintf(", less than %s %s does not matter", setting.Number(s.Primary.Matters), unit)
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
			a.say("%s", wrap("mend: "+g.Mend.String(), 90, "      "))
		}
	}
}
