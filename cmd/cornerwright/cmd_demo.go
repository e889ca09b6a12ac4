package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"cornerwright/internal/book"
	"cornerwright/internal/circuit"
	"cornerwright/internal/debrief"
	"cornerwright/internal/demo"
	"cornerwright/internal/paper"
	"cornerwright/internal/setting"
	"cornerwright/internal/verdict"
)

func demoCommands() []*command {
	return []*command{
		{name: "demo", args: "", short: "build the demo book, print its debrief, serve it", noJSON: true,
			long: "An invented day at an invented circuit: recordings are written as text files to a folder and then go the way that every file goes.\n" +
				"--book names a new folder; otherwise a temporary one is made.",
			example: "cornerwright demo --no-serve",
			setup: func(a *app, f *flag.FlagSet) func(context.Context, []string) error {
				noServe := f.Bool("no-serve", false, "stop after printing")
				seed := f.Uint64("seed", 1, "`SEED` of the invented day")
				listen := f.String("listen", "127.0.0.1:0", "`ADDR` to serve at")
				return func(ctx context.Context, args []string) error {
					if err := none(args); err != nil {
						return err
					}
					b, err := a.demoDay(ctx, *seed)
					if err != nil {
						return err
					}
					if *noServe {
						return nil
					}
					return a.serve(ctx, b, serving{listen: *listen})
				}
			}},
	}
}

// demoDay rides the day, writes its recordings and takes them through the book
// as a crew would.
func (a *app) demoDay(ctx context.Context, seed uint64) (*book.Book, error) {
	dir := a.bookDir
	if dir == "" {
		tmp, err := os.MkdirTemp("", "cornerwright-demo-")
		if err != nil {
			return nil, err
		}
		dir = filepath.Join(tmp, "book")
	}
	b, err := book.Create(dir)
	if err != nil {
		return nil, err
	}
	a.opened(b)
	files, err := filepath.Abs(filepath.Clean(dir) + "-recordings")
	if err != nil {
		return nil, err
	}
	if err := os.MkdirAll(files, 0o755); err != nil {
		return nil, err
	}
	a.talk("riding an invented day ...")
	day := demo.Day(seed)
	bikeFile := filepath.Join(files, "bike.toml")
	if err := os.WriteFile(bikeFile, day.Bike, 0o644); err != nil {
		return nil, err
	}
	for i := range day.Runs {
		f, err := os.Create(filepath.Join(files, day.Runs[i].File))
		if err != nil {
			return nil, err
		}
		err = day.Runs[i].WriteText(f)
		if cerr := f.Close(); err == nil {
			err = cerr
		}
		if err != nil {
			return nil, err
		}
	}

	toml, err := os.ReadFile(bikeFile)
	if err != nil {
		return nil, err
	}
	k, err := b.AddBike(bikeFile, toml)
	if err != nil {
		return nil, err
	}
	a.say("%s, a day at %s: everything here is invented", k.Name, day.Circuit)
	for i := range day.Runs {
		if err := a.demoRun(ctx, b, k, day, i, files); err != nil {
			return nil, err
		}
	}
	steps, err := b.Steps("")
	if err != nil {
		return nil, err
	}
	a.say("\nbook: %s", b.Dir())
	a.say("recordings and bike file: %s", files)
	for _, s := range steps {
		sheet, err := paper.OfStep(ctx, b, s, nil)
		if err != nil {
			return nil, err
		}
		path := filepath.Join(files, fmt.Sprintf("change-sheet-%d.html", s.ID))
		if err := writePaper(path, func() ([]byte, error) { return sheet.HTML("") }, nil); err != nil {
			return nil, err
		}
		a.say("change sheet of step %d: %s", s.ID, path)
	}
	return b, nil
}

func (a *app) demoRun(ctx context.Context, b *book.Book, k book.BikeRecord, day *demo.DemoDay, i int, files string) error {
	d := day.Runs[i]
	var step *book.Step
	if d.Step != nil {
		s, err := a.demoStep(ctx, b, k, d)
		if err != nil {
			return err
		}
		step = s
	}
	a.say("\n--- %s: %s", d.File, d.Note)
	res, err := b.Add(ctx, book.AddRequest{Path: filepath.Join(files, d.File), Bike: k.Name, Circuit: firstName(i, day), Note: d.Note, Tyre: d.Tyre,
		Day: time.Date(2026, 5, 14, 0, 0, 0, 0, time.UTC).Format("2006-01-02")})
	if err != nil {
		return err
	}
	for _, p := range res.Problems {
		a.say("  %s: %s", p.Severity, p.Text)
	}
	r := res.Runs[0]
	if err := showLaps(ctx, a, b, r, [2]int{}); err != nil {
		return err
	}
	for _, m := range d.Remarks {
		if _, err := b.AddRemark(debrief.Remark{Run: r.Number, Turns: m.Turns, Phase: circuit.Phase(m.Phase), Says: debrief.Complaint(m.Says), Strength: m.Strength, Words: m.Words, Rider: "demo rider"}, "demo", fmt.Sprintf("demo-%d-%s", i, m.Words)); err != nil {
			return err
		}
	}
	if len(d.Remarks) > 0 {
		out, err := b.Debrief(ctx, r.Number, debrief.Options{})
		if err != nil {
			return err
		}
		rs, err := b.Remarks(r.Number)
		if err != nil {
			return err
		}
		c, err := b.Circuit(r.Circuit)
		if err != nil {
			return err
		}
		a.say("")
		a.sayDebrief(r, c, out, rs)
	}
	if step == nil {
		return nil
	}
	v, err := b.Verdict(ctx, book.VerdictRequest{Step: step.ID})
	if err != nil {
		return err
	}
	a.say("")
	a.sayVerdict(v)
	a.demoTruth(d, v)
	to, reason := book.Reverted, "no effect shown"
	if v.Primary.Answer == verdict.Better {
		to, reason = book.Kept, "better at the turn it was made for"
	}
	s, err := b.SetStepState(step.ID, book.Loaded, to, "demo engineer", reason, r.Number)
	if err != nil {
		return err
	}
	a.say("  step %d is %s: %s", s.ID, s.State, reason)
	return nil
}

// firstName gives the circuit its name with the first run; the others are
// recognised.
func firstName(i int, day *demo.DemoDay) string {
	if i == 0 {
		return day.Circuit
	}
	return ""
}

// demoTruth tells what the invented world really did.
func (a *app) demoTruth(d demo.DayRun, v *verdict.Verdict) {
	for _, t := range d.Run.Truth.Effects {
		if t.Turn == v.Primary.Turn {
			in := "inside"
			if t.Seconds < v.Primary.Lo || t.Seconds > v.Primary.Hi {
				in = "outside"
			}
			a.say("  the invented world's truth at turn %d: %s s, %s the interval", t.Turn, signed(t.Seconds, 3), in)
		}
	}
}

// demoStep makes the step that the day's engineer made, from the run before it,
// shows it with guards, rehearsal and plan, and loads it.
func (a *app) demoStep(ctx context.Context, b *book.Book, k book.BikeRecord, d demo.DayRun) (*book.Step, error) {
	from, err := b.Run("last")
	if err != nil {
		return nil, err
	}
	st := k.Bike.Setting(d.Step.Setting)
	if st == nil {
		return nil, fmt.Errorf("the demo bike has no setting %q", d.Step.Setting)
	}
	sheet, err := b.CurrentSheet(k.Name)
	if err != nil {
		return nil, err
	}
	c := setting.Change{Slot: d.Step.Slot, Setting: d.Step.Setting, By: d.Step.By}
	switch st.Kind {
	case setting.Grid:
		c.Rows, c.Columns = &setting.Band{From: d.Step.Rows[0], To: d.Step.Rows[1]}, &setting.Band{From: d.Step.Columns[0], To: d.Step.Columns[1]}
	case setting.List:
		c.Gears = []int{d.Step.Gear}
	}
	s, err := c.Propose(st, sheet.Sheet)
	if err != nil {
		return nil, err
	}
	s.Run, s.Reason = from.Number, d.Step.Reason
	s.Primary = setting.Primary{Turn: d.Step.Turn, Measure: d.Step.Measure, Expect: "less", Matters: 0.05}
	rs, err := b.Remarks(from.Number)
	if err != nil {
		return nil, err
	}
	for _, m := range rs {
		for _, t := range m.Turns {
			if t == d.Step.Turn {
				s.Remark = m.ID
			}
		}
	}
	opt := book.StepOptions{Author: "demo engineer", Conditions: book.Conditions{Surface: "dry", Tyre: "warm", Air: "22 C, no wind"}, Why: "the step before it is judged"}
	a.say("\n--- step for %s", d.File)
	got, err := b.NewStep(ctx, s, opt)
	if errors.Is(err, book.ErrConflict) && len(got.Guards) > 0 {
		// The demo's engineer answers for what a guard asks; it stays in the book.
		for _, g := range got.Guards {
			if !g.Pass && !g.Hard {
				s.Overrules = append(s.Overrules, setting.Overrule{Guard: g.Guard, Who: "demo engineer", Reason: "invented day: shown so that an overruled guard can be seen"})
			}
		}
		got, err = b.NewStep(ctx, s, opt)
	}
	if err != nil {
		return nil, err
	}
	a.sayStep(got, st)
	x, err := b.Rehearse(ctx, got.ID, from.Number)
	if err != nil {
		return nil, err
	}
	a.sayRehearsal(fmt.Sprintf("step %d on run %d", got.ID, from.Number), x)
	p, err := b.Plan(ctx, book.PlanRequest{Runs: []int{from.Number}, Turn: s.Primary.Turn, Measure: s.Primary.Measure, Effect: planSize(s.Primary)})
	if err != nil {
		return nil, err
	}
	a.say("plan:")
	a.sayPlan(p)
	got, err = b.SetStepState(got.ID, book.Proposed, book.Loaded, "demo technician", "", 0)
	return &got, err
}
