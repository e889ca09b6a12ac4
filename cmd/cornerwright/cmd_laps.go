package main

import (
	"context"
	"flag"
	"fmt"
	"strings"

	"cornerwright/internal/book"
	"cornerwright/internal/contract"
)

func lapsCommand() *command {
	return &command{name: "laps", args: "RUN", short: "list the laps of a run",
		long: "+/- is half a 95 % interval of the lap time, from the position estimate; marks say what speaks against a lap. " +
			"Below stands the best lap that the run's own laps could be joined to, where they passed the same place at nearly the same speed. Marked laps are not in it.",
		example: "cornerwright laps last --between 4,7 --book season",
		setup: func(a *app, f *flag.FlagSet) func(context.Context, []string) error {
			between := f.String("between", "", "how the second of two `LAPS` differs from the first, turn by turn, as 4,7")
			return a.onRun(func(ctx context.Context, b *book.Book, r book.Run) error {
				var two [2]int
				if *between != "" {
					if _, err := fmt.Sscanf(*between, "%d,%d", &two[0], &two[1]); err != nil || *between != fmt.Sprintf("%d,%d", two[0], two[1]) {
						return usage(fmt.Sprintf("--between %q is not two laps", *between), "write two laps, as --between 4,7")
					}
				}
				return showLaps(ctx, a, b, r, two)
			})
		}}
}

// showLaps lists the laps and the best realistic one; two names laps to be
// compared, zeros none.
func showLaps(ctx context.Context, a *app, b *book.Book, r book.Run, two [2]int) error {
	laps, err := b.Laps(ctx, r.Number)
	if err != nil {
		return err
	}
	c, err := b.Circuit(r.Circuit)
	if err != nil {
		return err
	}
	marks, err := b.LapMarks(r.Number)
	if err != nil {
		return err
	}
	x, err := b.Ride(ctx, r.Number)
	if err != nil {
		return err
	}
	answer := contract.NewLaps(r, c, laps, marks)
	answer.Best = contract.NewBestLap(x, marks)
	if two[0] != 0 {
		answer.Between = contract.NewBetween(x, two[0], two[1])
		if len(answer.Between.Turns) == 0 {
			return usage(fmt.Sprintf("laps %d and %d of run %d share no turn that both rode whole", two[0], two[1], r.Number), fmt.Sprintf("name two of: cornerwright laps %d", r.Number))
		}
	}
	if a.json {
		return a.answer(answer)
	}
	a.say("run %d, %s, %s", r.Number, r.Circuit, r.Bike)
	a.lapTable(answer)
	a.sayBest(answer.Best)
	a.sayBetween(answer.Between)
	return nil
}

func (a *app) lapTable(l contract.Laps) {
	rows := [][]string{{"lap", "kind", "time", "+/- [s]", "slot", "start [s]", "marks"}}
	for _, x := range l.Laps {
		t, se := "-", "-"
		if x.TimeS != nil {
			t = lapTime(*x.TimeS)
		}
		if x.TimeSES != nil {
			se = dec(1.96**x.TimeSES, 3)
		}
		start := "-"
		if x.StartS != nil {
			start = clock(*x.StartS)
		}
		rows = append(rows, []string{fmt.Sprint(x.Lap), x.Kind, t, se, x.Slot, start, strings.Join(x.Marks, "; ")})
	}
	a.table(rows)
}

func (a *app) sayBest(b *contract.BestLap) {
	if b == nil {
		return
	}
	var parts []string
	gain := 0.0
	for _, s := range b.Sections {
		gain += s.GainS
		var where string
		switch {
		case s.FromTurn == 0:
			where = fmt.Sprintf("%.0f to %.0f m", s.FromM, s.ToM)
		case s.FromTurn == s.ToTurn:
			where = fmt.Sprintf("turn %d", s.FromTurn)
		default:
			where = fmt.Sprintf("turns %d to %d", s.FromTurn, s.ToTurn)
		}
		parts = append(parts, fmt.Sprintf("%s lap %d", where, s.Lap))
	}
	if gain < 0.0005 {
		a.say("best realistic lap %s: the best whole one", lapTime(b.TimeS))
		return
	}
	se := ""
	if half := b.Half(); half != nil {
		se = " +/- " + dec(*half, 3) + " s"
	}
	a.say("%s", wrap(fmt.Sprintf("best realistic lap %s%s, %s s under the best whole one, if every turn went as it did once: %s", lapTime(b.TimeS), se, dec(gain, 3), strings.Join(parts, ", ")), 96, ""))
}

// half is half of the 95 % interval of a standard error in s, a dash where it is not
// known.
func half(se *float64) string {
	if se == nil {
		return "-"
	}
	return dec(1.96**se, 3)
}

func (a *app) sayBetween(b *contract.Between) {
	if b == nil {
		return
	}
	a.say("lap %d less lap %d:", b.LapB, b.LapA)
	rows := [][]string{{"turn", fmt.Sprintf("lap %d [s]", b.LapA), fmt.Sprintf("lap %d [s]", b.LapB), "difference [s]", "+/- [s]", "so far [s]", "+/- [s]"}}
	for _, t := range b.Turns {
		apart := "-"
		if t.SoFarS != nil {
			apart = signed(*t.SoFarS, 3)
		}
		rows = append(rows, []string{fmt.Sprint(t.Turn), dec(t.A, 3), dec(t.B, 3), signed(t.DifferenceS, 3), half(t.SES), apart, half(t.SoFarSES)})
	}
	a.table(rows)
}
