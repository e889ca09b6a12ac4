package main

import (
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"cornerwright/internal/book"
	"cornerwright/internal/contract"
	"cornerwright/internal/paper"
	"cornerwright/internal/setting"
)

func answerCommands() []*command {
	return []*command{
		{name: "rehearse", args: "STEP", short: "lay a step on the laps just ridden: where it acts, what it would have changed",
			long:    "The ridden line and the rider's hand are held still; ranges are wide on the side where rider or tyre may answer back.",
			example: "cornerwright rehearse 1 --run last --book season",
			setup: func(a *app, f *flag.FlagSet) func(context.Context, []string) error {
				runRef := f.String("run", "", "`RUN` to rehearse on; otherwise the step's own")
				return func(ctx context.Context, args []string) error {
					b, err := a.toRead()
					if err != nil {
						return err
					}
					s, err := stepArg(b, args)
					if err != nil {
						return err
					}
					run := s.Run
					if *runRef != "" {
						r, err := b.Run(*runRef)
						if err != nil {
							return err
						}
						run = r.Number
					}
					x, err := b.Rehearse(ctx, s.ID, run)
					if err != nil {
						return err
					}
					record, err := b.RehearsalRecord(ctx, s.Setting)
					if err != nil {
						return err
					}
					if a.json {
						return a.answer(struct {
							contract.Rehearsal
							Score contract.Score `json:"score"`
						}{contract.NewRehearsal(s.ID, run, x, s.Guards), contract.NewScore(record.Setting, record.Score)})
					}
					a.sayRehearsal(fmt.Sprintf("step %d on run %d", s.ID, run), x)
					a.say("%s", wrap(record.Sentence().String(), 96, "  "))
					return nil
				}
			}},
		{name: "plan", args: "", short: "how many laps, in which slot order, show an effect of a given size",
			long:    "The rider's own scatter at that turn is taken from the runs named. Sizes carry a unit: 0.08s, 2km/h, 1deg; without one, the measure's own.",
			example: "cornerwright plan --turn 5 --measure exit --effect 0.08s --run last --book season",
			setup: func(a *app, f *flag.FlagSet) func(context.Context, []string) error {
				turn := f.String("turn", "", "`TURN` by number or name; left out: the lap")
				measure := f.String("measure", "segment", "`MEASURE`: segment, exit, cut, ...")
				effect := f.String("effect", "", "`SIZE` that must be seen, with its unit")
				runs := f.String("run", "last", "`RUNS` to take the scatter from, as 1,2")
				var q book.PlanRequest
				f.Float64Var(&q.Minutes, "minutes", 0, "track `MINUTES` at hand")
				f.IntVar(&q.MaxLaps, "laps", 0, "most timed `LAPS` in one run")
				f.IntVar(&q.Settle, "settle", 0, "`LAPS` set aside after each switch")
				f.Float64Var(&q.Power, "power", 0, "`SHARE` of tries in which it is to be seen (0.8)")
				f.BoolVar(&q.NilCheck, "alike", false, "both slots hold the same settings: a check for false alarms")
				return func(ctx context.Context, args []string) error {
					if err := none(args); err != nil {
						return err
					}
					b, err := a.toRead()
					if err != nil {
						return err
					}
					rs, err := runList(b, *runs)
					if err != nil {
						return err
					}
					for _, r := range rs {
						q.Runs = append(q.Runs, r.Number)
					}
					q.Measure = *measure
					unit := "s"
					if q.Measure != "lap" {
						m, err := measureInfo(q.Measure)
						if err != nil {
							return err
						}
						unit = m.Unit
					}
					if *turn != "" {
						c, err := b.Circuit(rs[0].Circuit)
						if err != nil {
							return err
						}
						if q.Turn, err = turnNumber(c, *turn); err != nil {
							return err
						}
					}
					if q.Effect, err = size(*effect, unit); err != nil {
						return err
					}
					p, err := b.Plan(ctx, q)
					if err != nil {
						return err
					}
					if a.json {
						return a.answer(contract.NewPlan(p))
					}
					a.sayPlan(p)
					return nil
				}
			}},
		{name: "verdict", args: "STEP | --runs RUN,RUN", short: "after the next run: better, worse, no difference that matters, or not enough laps",
			long:    "Effects are trial minus reference; a negative time is faster. The answer about the step's own measure comes first; everything else is a watch list, corrected for many looks.",
			example: "cornerwright verdict 1 --book season",
			setup: func(a *app, f *flag.FlagSet) func(context.Context, []string) error {
				runs := f.String("runs", "", "`RUNS` to compare, reference first, as 2,3")
				turn := f.String("turn", "", "`TURN` to judge at; otherwise the step's")
				var q book.VerdictRequest
				f.StringVar(&q.Measure, "measure", "", "`MEASURE` to judge by; otherwise the step's")
				f.Float64Var(&q.Matters, "matters", 0, "smallest `DIFFERENCE` that matters")
				f.BoolVar(&q.Nil, "alike", false, "both sides hold the same settings")
				return func(ctx context.Context, args []string) error {
					b, err := a.toRead()
					if err != nil {
						return err
					}
					if len(args) == 0 && *runs == "" {
						return usage("no step and no runs are named", "cornerwright verdict STEP, or: cornerwright verdict --runs RUN,RUN")
					}
					if len(args) > 0 {
						s, err := stepArg(b, args)
						if err != nil {
							return err
						}
						q.Step = s.ID
					}
					if *runs != "" {
						rs, err := runList(b, *runs)
						if err != nil {
							return err
						}
						for _, r := range rs {
							q.Runs = append(q.Runs, r.Number)
						}
					}
					for i, n := range q.Runs {
						if slices.Contains(q.Runs[:i], n) {
							return usage(fmt.Sprintf("run %d is named twice", n), "name two different runs: --runs 2,3")
						}
					}
					if *turn != "" {
						ref := "last"
						if len(q.Runs) > 0 {
							ref = fmt.Sprint(q.Runs[0])
						}
						r, err := b.Run(ref)
						if err != nil {
							return err
						}
						c, err := b.Circuit(r.Circuit)
						if err != nil {
							return err
						}
						if q.Turn, err = turnNumber(c, *turn); err != nil {
							return err
						}
					}
					v, err := b.Verdict(ctx, q)
					if err != nil {
						return err
					}
					if a.json {
						return a.answerRaw(v)
					}
					a.sayVerdict(v)
					return nil
				}
			}},
		{name: "sheet", args: "STEP", short: "print the change sheet of a step for the technician",
			long:    "The sheet shows old and new values side by side, the guards, the cautions, and a table to type from. It changes nothing on a bike.",
			example: "cornerwright sheet 1 --paper sheet.pdf --book season",
			setup: func(a *app, f *flag.FlagSet) func(context.Context, []string) error {
				to := f.String("paper", "", "write it to `FILE.pdf` or .html")
				sizeName := f.String("size", "A4", "paper `SIZE`, A4 or Letter")
				return func(ctx context.Context, args []string) error {
					b, err := a.toRead()
					if err != nil {
						return err
					}
					s, err := stepArg(b, args)
					if err != nil {
						return err
					}
					sheet, err := paper.OfStep(ctx, b, s, nil)
					if err != nil {
						return err
					}
					if *to != "" {
						sz, err := paper.SizeNamed(*sizeName)
						if err != nil {
							return usage(err.Error(), "--size A4 or --size Letter")
						}
						if err := writePaper(*to, func() ([]byte, error) { return sheet.HTML("") }, func() ([]byte, error) { return sheet.PDF(sz) }); err != nil {
							return err
						}
						a.talk("written: %s", *to)
					}
					if a.json {
						return a.answer(contract.NewStep(s))
					}
					a.sayChangeSheet(sheet)
					return nil
				}
			}},
		historyCommand(),
		{name: "sheet list", args: "", short: "list the sheets: complete sets of values, immutable and numbered",
			example: "cornerwright sheet list --book season",
			setup: func(a *app, f *flag.FlagSet) func(context.Context, []string) error {
				return func(ctx context.Context, args []string) error {
					if err := none(args); err != nil {
						return err
					}
					b, err := a.toRead()
					if err != nil {
						return err
					}
					all, err := b.Sheets("")
					if err != nil {
						return err
					}
					if a.json {
						out := []contract.Sheet{}
						for _, s := range all {
							out = append(out, contract.NewSheet(s))
						}
						return a.answer(map[string]any{"sheets": out})
					}
					rows := [][]string{{"sheet", "bike", "from", "step", "note"}}
					for _, s := range all {
						step, parent := "", ""
						if s.Step > 0 {
							step = fmt.Sprint(s.Step)
						}
						if s.Parent > 0 {
							parent = fmt.Sprint(s.Parent)
						}
						rows = append(rows, []string{fmt.Sprint(s.Number), s.Bike, parent, step, s.Note})
					}
					a.table(rows)
					return nil
				}
			}},
		{name: "sheet show", args: "SHEET [OTHER]", short: "show the values of a sheet, or the cells in which two differ",
			example: "cornerwright sheet show 1 --book season",
			setup: func(a *app, f *flag.FlagSet) func(context.Context, []string) error {
				slot := f.String("slot", "", "only the slot `LETTER`")
				return func(ctx context.Context, args []string) error {
					if len(args) < 1 || len(args) > 2 {
						return usage("one sheet or two are needed", "")
					}
					b, err := a.toRead()
					if err != nil {
						return err
					}
					var ss []book.Sheet
					for _, x := range args {
						n, err := strconv.Atoi(x)
						if err != nil {
							return usage(fmt.Sprintf("%q is not a sheet number", x), "list them: cornerwright sheet list")
						}
						s, err := b.Sheet(n)
						if err != nil {
							return err
						}
						ss = append(ss, s)
					}
					k, err := b.Bike(ss[0].Bike)
					if err != nil {
						return err
					}
					if len(ss) == 2 {
						return a.sayDiff(k, ss[0], ss[1])
					}
					if a.json {
						return a.answer(contract.NewSheet(ss[0]))
					}
					for _, letter := range sortedKeys(ss[0].Slots) {
						if *slot != "" && *slot != letter {
							continue
						}
						a.say("sheet %d, slot %s, checksum %s", ss[0].Number, letter, ss[0].Sheet.Checksum(letter))
						for _, id := range sortedKeys(ss[0].Slots[letter]) {
							if st := k.Bike.Setting(id); st != nil {
								a.say("\n%s [%s]", id, st.Unit)
								a.say("%s", strings.TrimRight(setting.FormatTable(st, ss[0].Slots[letter][id]), "\n"))
							}
						}
						a.say("")
					}
					return nil
				}
			}},
	}
}

func (a *app) sayDiff(k book.BikeRecord, x, y book.Sheet) error {
	ds := setting.Diff(x.Sheet, y.Sheet)
	if a.json {
		type row struct {
			Slot    string   `json:"slot"`
			Setting string   `json:"setting"`
			Row     int      `json:"row"`
			Column  int      `json:"column"`
			Old     *float64 `json:"old,omitempty"`
			New     *float64 `json:"new,omitempty"`
		}
		known := func(v float64) *float64 {
			if math.IsNaN(v) {
				return nil
			}
			return &v
		}
		out := []row{}
		for _, d := range ds {
			out = append(out, row{d.Slot, d.Setting, d.Row, d.Column, known(d.Old), known(d.New)})
		}
		return a.answer(map[string]any{"from": x.Number, "to": y.Number, "differences": out})
	}
	if len(ds) == 0 {
		a.say("sheets %d and %d hold the same values", x.Number, y.Number)
		return nil
	}
	rows := [][]string{{"slot", "setting", "cell", "sheet " + fmt.Sprint(x.Number), "sheet " + fmt.Sprint(y.Number)}}
	for _, d := range ds {
		cell := fmt.Sprintf("row %d, column %d", d.Row+1, d.Column+1)
		if st := k.Bike.Setting(d.Setting); st != nil {
			cell = st.CellName(d.Row, d.Column)
		}
		rows = append(rows, []string{d.Slot, d.Setting, cell, dec(d.Old, 3), dec(d.New, 3)})
	}
	a.table(rows)
	return nil
}

// answerRaw prints a value that marshals itself.
func (a *app) answerRaw(v any) error {
	raw, err := json.Marshal(v)
	if err != nil {
		return err
	}
	var out any = json.RawMessage(raw)
	return a.answer(out)
}

func runList(b *book.Book, s string) ([]book.Run, error) {
	var out []book.Run
	for _, ref := range strings.Split(s, ",") {
		if ref = strings.TrimSpace(ref); ref == "" {
			continue
		}
		r, err := b.Run(ref)
		if err != nil {
			return nil, err
		}
		out = append(out, r)
	}
	if len(out) == 0 {
		return nil, usage("no run is named", "")
	}
	return out, nil
}

// size reads a number with the unit of a measure behind it, or none.
func size(s, unit string) (float64, error) {
	if s == "" {
		return 0, usage("no size of effect is given", "say which size must be seen: --effect 0.08s")
	}
	t := strings.TrimSpace(s)
	n := strings.LastIndexAny(t, "0123456789.")
	if n < 0 {
		return 0, usage(fmt.Sprintf("%q is not a size", s), "write it like 0.08s")
	}
	v, err := strconv.ParseFloat(strings.TrimSpace(t[:n+1]), 64)
	u := strings.TrimSpace(t[n+1:])
	if unit == "m/s2" && strings.HasSuffix(t, "m/s2") {
		v, err = strconv.ParseFloat(strings.TrimSpace(strings.TrimSuffix(t, "m/s2")), 64)
		u = unit
	}
	if err != nil || !(v > 0) {
		return 0, usage(fmt.Sprintf("%q is not a size above zero", s), "write it like 0.08s")
	}
	switch {
	case u == "" || u == unit:
		return v, nil
	case u == "ms" && unit == "s":
		return v / 1000, nil
	case u == "rpm" && unit == "1/min":
		return v, nil
	}
	return 0, usage(fmt.Sprintf("%q: the measure is in %s, not in %s", s, unit, u), "write the size in "+unit)
}
