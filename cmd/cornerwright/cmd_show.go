package main

import (
	"context"
	"flag"
	"fmt"
	"math"
	"strings"

	"cornerwright/internal/book"
	"cornerwright/internal/circuit"
	"cornerwright/internal/contract"
	"cornerwright/internal/ride"
	"cornerwright/internal/say"
)

// showRun makes a command that shows one thing of one run.
func showRun(name, short, long string, show func(ctx context.Context, a *app, b *book.Book, r book.Run) error) *command {
	return &command{name: name, args: "RUN", short: short, long: long, example: fmt.Sprintf("cornerwright %s last --book season", name),
		setup: func(a *app, f *flag.FlagSet) func(context.Context, []string) error {
			return a.onRun(func(ctx context.Context, b *book.Book, r book.Run) error { return show(ctx, a, b, r) })
		}}
}

func showCommands() []*command {
	return []*command{
		{name: "runs", args: "[WORDS]", short: "list the runs, or search them",
			long:    "Words are looked for in names, notes, tyres, weather, circuits and remarks.",
			example: "cornerwright runs --circuit Saltmere --book season",
			setup: func(a *app, f *flag.FlagSet) func(context.Context, []string) error {
				var q book.RunFilter
				f.StringVar(&q.Bike, "bike", "", "only runs of the bike `NAME`")
				f.StringVar(&q.Circuit, "circuit", "", "only runs at the circuit `NAME`")
				f.StringVar(&q.Meeting, "meeting", "", "only runs of the meeting `ID`")
				f.BoolVar(&q.Struck, "struck", false, "struck runs too")
				return func(ctx context.Context, args []string) error {
					q.Words = strings.Join(args, " ")
					b, err := a.toRead()
					if err != nil {
						return err
					}
					if q.Bike != "" {
						r, err := b.Bike(q.Bike)
						if err != nil {
							return err
						}
						q.Bike = r.Name
					}
					if q.Circuit != "" {
						c, err := b.Circuit(q.Circuit)
						if err != nil {
							return err
						}
						q.Circuit = c.Name
					}
					rs, err := b.Runs(q)
					if err != nil {
						return err
					}
					if a.json {
						return a.answer(contract.NewRuns(rs))
					}
					rows := [][]string{{"run", "id", "meeting", "bike", "laps", "best", "sheet", "step", "tyre", "file"}}
					for _, r := range rs {
						step := ""
						if r.Step > 0 {
							step = fmt.Sprint(r.Step)
						}
						rows = append(rows, []string{fmt.Sprint(r.Number), r.ID[:8], r.Meeting, r.Bike, fmt.Sprint(r.Laps), lapTime(r.Best), fmt.Sprint(r.Sheet), step, r.Tyre, r.Name})
					}
					a.table(rows)
					switch {
					case len(rs) > 0:
					case q.Words != "" || q.Bike != "" || q.Circuit != "" || q.Meeting != "":
						a.talk("no run fits; all of them: cornerwright runs")
					default:
						a.talk("the book holds no run; add one: cornerwright add FILE")
					}
					return nil
				}
			}},
		lapsCommand(),
		showRun("turns", "list the turns of the circuit, and the passes of a run", "Places are metres from the gate along the reference line.", showTurns),
		showRun("episodes", "list what happened in a run: cuts, spins, blips, limiter, ...", "Lean is positive to the right. An inferred episode is one that no channel states.", showEpisodes),
		showRun("channels", "list the channels of a run's recording", "", func(ctx context.Context, a *app, b *book.Book, r book.Run) error {
			rec, err := b.Recording(ctx, r.Number)
			if err != nil {
				return err
			}
			if a.json {
				return a.answer(contract.NewChannels(r, rec))
			}
			a.channelTable(rec)
			return nil
		}),
		showRun("tyres", "identify circumference and crown radius of both tyres from a run", "What the run cannot support is withheld with the reason.", showTyres),
		torqueCommand(),
	}
}

func showTurns(ctx context.Context, a *app, b *book.Book, r book.Run) error {
	passes, err := b.Passes(ctx, r.Number)
	if err != nil {
		return err
	}
	c, err := b.Circuit(r.Circuit)
	if err != nil {
		return err
	}
	if a.json {
		return a.answer(contract.NewTurns(r, c, passes))
	}
	a.say("%s, %.0f m; run %d: median of its timed laps", c.Name, c.Line.Length, r.Number)
	rows := [][]string{{"turn", "direction", "entry [m]", "apex [m]", "exit [m]", "radius [m]", "laps", "brake [m]", "least [km/h]", "lean [deg]", "pick-up [m]", "segment [s]"}}
	for _, t := range c.Turns {
		var ps []*ride.Pass
		for i := range passes {
			if passes[i].Turn == t.Number && passes[i].Timed && passes[i].Whole {
				ps = append(ps, &passes[i])
			}
		}
		med := func(f func(*ride.Pass) float64) float64 { return medianOf(ps, f) }
		rows = append(rows, []string{t.Label(), string(t.Direction), dec(t.Entry, 0), dec(t.Apex, 0), dec(t.Exit, 0), dec(t.MinRadius, 0), fmt.Sprint(len(ps)),
			dec(med(func(p *ride.Pass) float64 { return p.BrakeM }), 0), dec(med(func(p *ride.Pass) float64 { return p.MinSpeed * 3.6 }), 1),
			dec(med(func(p *ride.Pass) float64 { return p.MaxLean * deg }), 1), dec(med(func(p *ride.Pass) float64 { return p.PickupM }), 0),
			dec(med(func(p *ride.Pass) float64 { return p.Segment }), 3)})
	}
	a.table(rows)
	return nil
}

func showEpisodes(ctx context.Context, a *app, b *book.Book, r book.Run) error {
	es, err := b.Episodes(ctx, r.Number)
	if err != nil {
		return err
	}
	if a.json {
		return a.answer(contract.NewEpisodes(r, es))
	}
	rows := [][]string{{"kind", "lap", "turn", "phase", "start [s]", "length [s]", "peak", "lean [deg]", "speed [km/h]", "class", "more"}}
	for i := range es {
		e := &es[i]
		turn := ""
		if e.Turn > 0 {
			turn = fmt.Sprint(e.Turn)
		}
		peak, more := "", ""
		switch e.Kind {
		case ride.Cut, ride.Spin, ride.Lock:
			peak = dec(e.Peak*100, 0) + " %"
		}
		if s := e.Shift; s != nil {
			more = fmt.Sprintf("%d to %d", s.FromGear, s.ToGear)
			if e.Kind == ride.Blip {
				more += fmt.Sprintf(", surplus %s 1/min, push %s s", signed(s.Surplus, 0), dec(s.Push, 2))
				if s.Limiter {
					more += ", limiter"
				}
			}
		}
		if e.Cost.OK {
			more = strings.TrimPrefix(more+fmt.Sprintf(", costs %s s (%s to %s)", dec(e.Cost.Value, 3), dec(e.Cost.Lo, 3), dec(e.Cost.Hi, 3)), ", ")
		}
		if e.Inferred {
			more = strings.TrimPrefix(more+", inferred", ", ")
		}
		rows = append(rows, []string{string(e.Kind), fmt.Sprint(e.Lap), turn, string(e.Phase), clock(e.Start), dec(e.End-e.Start, 2), peak, signed(e.Lean*deg, 0), dec(e.Speed*3.6, 0), string(e.LeanClass), more})
	}
	a.table(rows)
	return nil
}

func showTyres(ctx context.Context, a *app, b *book.Book, r book.Run) error {
	t, err := b.Tyres(ctx, r.Number)
	if err != nil {
		return err
	}
	answer := contract.NewTyres(r, t)
	if a.json {
		return a.answer(answer)
	}
	rows := [][]string{{"tyre", "circumference [m]", "+/-", "crown radius [mm]", "+/-", ""}}
	for _, x := range []struct {
		name string
		t    contract.Tyre
	}{{"front", answer.Front}, {"rear", answer.Rear}} {
		if !x.t.Identified {
			rows = append(rows, []string{x.name, "withheld", "", "withheld", "", x.t.Why})
			continue
		}
		rows = append(rows, []string{x.name, val(x.t.CircumferenceM, 1, 4), val(x.t.SEM, 1.96, 4), val(x.t.CrownRadiusM, 1000, 1), val(x.t.CrownSEM, 1960, 1), ""})
	}
	a.table(rows)
	a.say("from %d samples; +/- is half a 95 %% interval", t.Samples)
	for _, n := range t.Notes {
		a.say("%s", n)
	}
	return nil
}

// val prints an optional value times a factor.
func val(x *float64, factor float64, decimals int) string {
	if x == nil {
		return "-"
	}
	return dec(*x*factor, decimals)
}

func medianOf(ps []*ride.Pass, f func(*ride.Pass) float64) float64 {
	var v []float64
	for _, p := range ps {
		if x := f(p); !math.IsNaN(x) {
			v = append(v, x)
		}
	}
	return median(v)
}

// turnNumber finds a turn by number or name.
func turnNumber(c *circuit.Circuit, s string) (int, error) {
	var all []string
	for _, t := range c.Turns {
		if s == fmt.Sprint(t.Number) || t.Name != "" && strings.EqualFold(t.Name, s) {
			return t.Number, nil
		}
		all = append(all, t.Label())
	}
	return 0, &book.Error{Kind: book.ErrInvalid, Text: say.Plain(fmt.Sprintf("%s has no turn %q", c.Name, s)), Mend: say.Plain("its turns are: " + strings.Join(all, ", "))}
}
