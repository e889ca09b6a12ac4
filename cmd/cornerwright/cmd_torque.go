package main

import (
	"context"
	"flag"
	"fmt"
	"math"

	"cornerwright/internal/book"
	"cornerwright/internal/contract"
	"cornerwright/internal/ride"
	"cornerwright/internal/say"
)

func torqueCommand() *command {
	return &command{name: "torque", args: "RUN RUN", short: "what the second run gives over the first at full throttle, by engine speed",
		long: "Torque at the crank from the bike's acceleration, where both runs pulled in the same gear out of the same turn. Without --rpm the range is what both runs rode. " +
			"The interval holds the scatter of laps, a change of wind between the runs and what the bike file leaves open; fuel and slipstream are not in it.",
		example: "cornerwright torque 1 2 --rpm 9000..12000 --book season",
		setup: func(a *app, f *flag.FlagSet) func(context.Context, []string) error {
			rpm := f.String("rpm", "", "`BAND` of engine speed in 1/min, as 9000..12000")
			return func(ctx context.Context, args []string) error {
				if len(args) != 2 {
					return usage(fmt.Sprintf("two runs are needed, %d given", len(args)), "cornerwright torque RUN RUN")
				}
				b, err := a.toRead()
				if err != nil {
					return err
				}
				var runs [2]book.Run
				var rides [2]*ride.Ride
				for i := range runs {
					if runs[i], err = b.Run(args[i]); err != nil {
						return err
					}
					if rides[i], err = b.Ride(ctx, runs[i].Number); err != nil {
						return err
					}
				}
				if runs[0].Number == runs[1].Number {
					return usage(fmt.Sprintf("run %d is named twice", runs[0].Number), "name two different runs: cornerwright torque 2 3")
				}
				if runs[0].Bike != runs[1].Bike || runs[0].Circuit != runs[1].Circuit {
					return &book.Error{Kind: book.ErrInvalid, Text: say.Plain(fmt.Sprintf("run %d is of %s at %s, run %d of %s at %s: grade, drag and gearing would be taken for torque", runs[0].Number, runs[0].Bike, runs[0].Circuit, runs[1].Number, runs[1].Bike, runs[1].Circuit)), Mend: "name two runs of one bike at one circuit"}
				}
				lo, hi := pullRange(rides[0].Pulls, rides[1].Pulls)
				if *rpm != "" {
					if _, err := fmt.Sscanf(*rpm, "%f..%f", &lo, &hi); err != nil || !(hi > lo) {
						return usage(fmt.Sprintf("--rpm %s is no band of engine speed", *rpm), "write it like --rpm 9000..12000")
					}
				}
				if !(hi > lo) {
					return &book.Error{Kind: book.ErrInvalid, Text: say.Plain(fmt.Sprintf("run %d and run %d have no engine speed in common at full throttle", runs[0].Number, runs[1].Number)), Mend: "name runs with engine speed, gear and grip"}
				}
				k, err := b.Bike(runs[1].Bike)
				if err != nil {
					return err
				}
				d := contract.NewTorque(runs[0], runs[1], ride.CompareTorque(rides[0].Pulls, rides[1].Pulls, lo, hi, k.Bike.Drive.RearSprocket))
				if a.json {
					return a.answer(d)
				}
				a.sayTorque(d)
				return nil
			}
		}}
}

// pullRange is the range of engine speed, 1/min, in which both runs pulled.
func pullRange(a, b []ride.Pull) (lo, hi float64) {
	hi = math.Inf(1)
	for _, pulls := range [][]ride.Pull{a, b} {
		l, h := math.Inf(1), 0.0
		for _, p := range pulls {
			l, h = math.Min(l, p.RPM), math.Max(h, p.RPM+ride.PullBin)
		}
		lo, hi = math.Max(lo, l), math.Min(hi, h)
	}
	return lo, hi
}

func (a *app) sayTorque(d contract.Torque) {
	a.say("torque at the crank, run %d less run %d, %.0f to %.0f 1/min at full throttle, %d and %d laps", d.RunB, d.RunA, d.FromRPM, d.ToRPM, d.LapsB, d.LapsA)
	if d.DifferenceNM == nil {
		a.say("withheld: %s", d.WhyNot)
		return
	}
	span := func(v, lo, hi *float64, unit string) string {
		return fmt.Sprintf("%s %s (95 %% %s to %s)", signed(*v, 1), unit, signed(*lo, 1), signed(*hi, 1))
	}
	a.say("  %s, %s", span(d.DifferenceNM, d.LoNM, d.HiNM, "N m"), span(d.DifferencePct, d.LoPct, d.HiPct, "%"))
	if d.RearTeeth != nil {
		a.say("  worth %s teeth of the rear sprocket, within this range only", signed(*d.RearTeeth, 1))
	}
	rows := [][]string{{"  from [1/min]", "difference [N m]", "95 % interval", ""}}
	for _, x := range d.Bins {
		if x.DifferenceNM == nil {
			rows = append(rows, []string{fmt.Sprintf("  %.0f", x.RPM), "withheld", "-", x.WhyNot})
			continue
		}
		rows = append(rows, []string{fmt.Sprintf("  %.0f", x.RPM), signed(*x.DifferenceNM, 1), signed(*x.LoNM, 1) + " to " + signed(*x.HiNM, 1), "-"})
	}
	a.table(rows)
	for _, n := range d.Notes {
		a.say("%s", wrap("note: "+n, 96, "  "))
	}
}
