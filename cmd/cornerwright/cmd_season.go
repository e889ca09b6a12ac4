package main

import (
	"context"
	"flag"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"cornerwright/internal/book"
	"cornerwright/internal/contract"
	"cornerwright/internal/paper"
)

// trialsCommand finds the steps of a season with their verdicts, and combines
// what several meetings say.
func trialsCommand() *command {
	return &command{name: "season trials", args: "", short: "find steps with rehearsal and verdict; what several meetings say together",
		long: "Every filter matches a part of what stands in the book. Shapes are words like hairpin, slow, medium, fast, kink, left, right, double apex; the temperature is read from the words told about the weather.\n" +
			"Verdicts of one setting moved one way are combined over meetings by random effects; --picture FILE.svg draws them.",
		example: "cornerwright season trials --setting slip-target --shape \"slow left\" --book season",
		setup: func(a *app, f *flag.FlagSet) func(context.Context, []string) error {
			var q book.TrialQuery
			f.StringVar(&q.Bike, "bike", "", "only the bike `NAME`")
			f.StringVar(&q.Circuit, "circuit", "", "only the circuit `NAME`")
			f.StringVar(&q.Setting, "setting", "", "only the setting `ID`")
			f.StringVar(&q.Tyre, "tyre", "", "only tyres with these `WORDS`")
			f.StringVar(&q.Shape, "shape", "", "only turns of this `SHAPE`")
			f.StringVar(&q.Measure, "measure", "", "only verdicts about this `MEASURE`")
			f.StringVar(&q.Answer, "answer", "", "only this `ANSWER`: better, worse, no-difference, not-enough-laps")
			f.IntVar(&q.Turn, "turn", 0, "only the turn of this `NUMBER`")
			f.BoolVar(&q.Unjudged, "unjudged", false, "steps without a verdict, too")
			temp := f.String("temp", "", "only at temperatures `FROM-TO` in °C, as 15-25")
			picture := f.String("picture", "", "draw the combined evidence into `FILE.svg`")
			return func(ctx context.Context, args []string) error {
				if err := none(args); err != nil {
					return err
				}
				var err error
				if *temp != "" {
					if q.TempLo, q.TempHi, err = degreesRange(*temp); err != nil {
						return err
					}
				}
				b, err := a.toRead()
				if err != nil {
					return err
				}
				ts, err := b.Trials(ctx, q)
				if err != nil {
					return err
				}
				alarms, err := b.FalseAlarms()
				if err != nil {
					return err
				}
				if *picture != "" {
					es := book.CombineTrials(ts)
					if len(es) == 0 {
						return &book.Error{Kind: book.ErrInvalid, Text: "no trial of this query can be drawn", Mend: "widen the query; a verdict needs an interval and must not be refused"}
					}
					svg := paper.Evidence(es)
					if err := writeNew(*picture, func(w io.Writer) error { _, err := io.WriteString(w, svg); return err }); err != nil {
						return err
					}
					a.talk("written: %s", *picture)
				}
				if a.json {
					return a.answer(contract.NewTrials(ts, alarms))
				}
				a.sayTrials(ts)
				if alarms.N > 0 {
					a.say("\nreference against reference: %.0f of %d called better or worse, %s %% (95 %% %s to %s)", alarms.Value*float64(alarms.N), alarms.N,
						dec(100*alarms.Value, 0), dec(100*alarms.Lo, 0), dec(100*alarms.Hi, 0))
				} else {
					a.say("\nreference against reference: not ridden yet (plan it with --alike, judge it with --alike)")
				}
				return nil
			}
		}}
}

// degreesRange reads "15-25".
func degreesRange(s string) (lo, hi float64, err error) {
	t := strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(s), "C"))
	from, to, ok := strings.Cut(t, "-")
	if strings.HasPrefix(t, "-") { // below zero
		from, to, ok = strings.Cut(t[1:], "-")
		from = "-" + from
	}
	lo, e1 := strconv.ParseFloat(strings.TrimSpace(from), 64)
	hi, e2 := strconv.ParseFloat(strings.TrimSpace(to), 64)
	if !ok || e1 != nil || e2 != nil || lo > hi {
		return 0, 0, usage(fmt.Sprintf("%q is not a range of temperatures", s), "write it like 15-25")
	}
	return lo, hi, nil
}

func (a *app) sayTrials(ts []book.Trial) {
	if len(ts) == 0 {
		a.say("no trial answers this query")
		return
	}
	rows := [][]string{{"step", "day", "circuit", "turn", "shape", "setting", "tyre", "°C", "measure", "effect", "95 % interval", "laps", "answer"}}
	for _, t := range ts {
		row := []string{"-", t.Day, t.Circuit, "lap", t.Shape, t.Setting + map[int]string{1: " up", -1: " down"}[t.More], t.Tyre, "", "", "", "", "", t.State}
		if t.Step > 0 {
			row[0] = fmt.Sprint(t.Step)
		}
		if t.Turn > 0 {
			row[3] = fmt.Sprint(t.Turn)
		}
		if !math.IsNaN(t.TempC) {
			row[7] = dec(t.TempC, 0)
		}
		if v := t.Verdict; v != nil {
			e := v.Primary
			n := 3
			if e.Unit != "s" {
				n = 1
			}
			row[8], row[11], row[12] = e.Measure, fmt.Sprintf("%d + %d", e.NRef, e.NTrial), string(e.Answer)
			if !math.IsNaN(e.Value) {
				row[9], row[10] = signed(e.Value, n)+" "+e.Unit, signed(e.Lo, n)+" to "+signed(e.Hi, n)
			}
			if v.NilCheck {
				row[12] += " (nil check)"
			}
			if v.Refusal != nil {
				row[12] = "refused"
			}
		}
		rows = append(rows, row)
	}
	a.table(rows)
	for _, e := range book.CombineTrials(ts) {
		n := 3
		if e.Unit != "s" {
			n = 1
		}
		s := e.Season
		a.say("\n%s, %d %s: %s %s (95 %% %s to %s)", e.Title(), len(s.Meetings), map[bool]string{true: "trial", false: "trials"}[len(s.Meetings) == 1],
			signed(s.Effect.Value, n), e.Unit, signed(s.Effect.Lo, n), signed(s.Effect.Hi, n))
		if len(s.Meetings) >= 3 {
			a.say("  between trials %s %s; the next one's true effect is expected between %s and %s", dec(s.BetweenSD, n), e.Unit, signed(s.PredictLo, n), signed(s.PredictHi, n))
		}
		if s.Disagreeing {
			a.say("  the trials differ by more than chance: look for what else differed")
		}
		for _, w := range s.Effect.Warnings {
			a.say("  note: %s", w)
		}
	}
	a.say("\n%s", book.RehearsalRecord{Score: book.RehearsalScore(ts)}.Sentence())
}
