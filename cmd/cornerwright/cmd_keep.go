package main

import (
	"context"
	"flag"
	"fmt"
	"io"
	"strings"

	"cornerwright/internal/book"
	"cornerwright/internal/say"
)

func keepCommands() []*command {
	return []*command{
		{name: "season", args: "", short: "how a measure at a turn moved over the meetings, or which cells were used",
			long:    "Answers come from the stored pass tables. Measures: " + strings.Join(book.SeasonMeasures(), ", ") + ".\nWith --cells SETTING: which cells of a setting were used, and where.",
			example: "cornerwright season --turn 5 --measure exit --book season",
			setup: func(a *app, f *flag.FlagSet) func(context.Context, []string) error {
				var q book.SeasonQuery
				f.StringVar(&q.Circuit, "circuit", "", "`NAME` of the circuit; may be left out where there is one")
				f.StringVar(&q.Bike, "bike", "", "only the bike `NAME`")
				f.StringVar(&q.Slot, "slot", "", "only laps in the slot `LETTER`")
				f.StringVar(&q.Measure, "measure", "segment", "`MEASURE`")
				turn := f.String("turn", "", "`TURN` by number or name")
				cells := f.String("cells", "", "which cells of the setting `ID` were used")
				return func(ctx context.Context, args []string) error {
					if err := none(args); err != nil {
						return err
					}
					b, err := a.toRead()
					if err != nil {
						return err
					}
					if *cells != "" {
						return a.seasonCells(b, q.Bike, *cells, q.Circuit)
					}
					c, err := b.Circuit(q.Circuit)
					if err != nil {
						return err
					}
					q.Circuit = c.Name
					if q.Bike != "" {
						k, err := b.Bike(q.Bike)
						if err != nil {
							return err
						}
						q.Bike = k.Name
					}
					if *turn == "" {
						return usage("no turn is named", "--turn N")
					}
					if q.Turn, err = turnNumber(c, *turn); err != nil {
						return err
					}
					ps, unit, err := b.Season(q)
					if err != nil {
						return err
					}
					if a.json {
						if ps == nil {
							ps = []book.SeasonPoint{}
						}
						return a.answer(map[string]any{"circuit": q.Circuit, "turn": q.Turn, "measure": q.Measure, "unit": unit, "points": ps})
					}
					a.say("%s at turn %d of %s, timed laps of each run", q.Measure, q.Turn, q.Circuit)
					n := 3
					if unit != "s" {
						n = 1
					}
					rows := [][]string{{"day", "run", "bike", "sheet", "median [" + unit + "]", "least", "greatest", "laps", "tyre"}}
					for _, p := range ps {
						rows = append(rows, []string{p.Day, fmt.Sprint(p.Run), p.Bike, fmt.Sprint(p.Sheet), dec(p.Median, n), dec(p.Lo, n), dec(p.Hi, n), fmt.Sprint(p.Laps), p.Tyre})
					}
					a.table(rows)
					return nil
				}
			}},
		trialsCommand(),
		{name: "export", args: "RUN", short: "write a run's channels to a Parquet or CSV file", noJSON: true,
			example: "cornerwright export last --to run.csv --book season",
			setup: func(a *app, f *flag.FlagSet) func(context.Context, []string) error {
				to := f.String("to", "", "`FILE.parquet` or .csv; \"-\" writes CSV to stdout")
				return a.onRun(func(ctx context.Context, b *book.Book, r book.Run) error {
					if *to == "" {
						return usage("no file is named", "--to FILE.parquet or --to FILE.csv")
					}
					if *to == "-" {
						return b.Export(ctx, r.Number, "csv", a.stdout)
					}
					format := ""
					for _, x := range []string{"parquet", "csv"} {
						if strings.HasSuffix(strings.ToLower(*to), "."+x) {
							format = x
						}
					}
					if format == "" {
						return usage(fmt.Sprintf("%q is no kind of export", *to), "use a name that ends in .parquet or .csv")
					}
					if err := writeFresh(*to, func(w io.Writer) error { return b.Export(ctx, r.Number, format, w) }); err != nil {
						return err
					}
					a.talk("written: %s", *to)
					return nil
				})
			}},
		convertCommand(),
		{name: "recompute", args: "", short: "make every result anew whose method or circuit line has changed", noJSON: true,
			long:    "Uses all cores. It can be stopped at any time and is resumed by calling it again.",
			example: "cornerwright recompute --book season",
			setup: func(a *app, f *flag.FlagSet) func(context.Context, []string) error {
				return func(ctx context.Context, args []string) error {
					if err := none(args); err != nil {
						return err
					}
					b, err := a.theBook()
					if err != nil {
						return err
					}
					bar := newBar(a.stderr, "recompute")
					failed, err := b.Recompute(ctx, func(done, of int) { bar.set(fmt.Sprintf("%d of %d runs", done, of), float64(done)/float64(of)) })
					bar.done()
					if err != nil {
						return err
					}
					for n, e := range failed {
						a.talk("run %d: %v", n, e)
					}
					if len(failed) > 0 {
						return errSaid
					}
					a.say("every result is of this program's method")
					return nil
				}
			}},
		{name: "verify", args: "", short: "read everything back: hashes, keys, column files, a sample of results",
			long:    "Exit code 3 where something is lost or wrong. With --mend missing or damaged column files are made anew from the originals.",
			example: "cornerwright verify --book season",
			setup: func(a *app, f *flag.FlagSet) func(context.Context, []string) error {
				sample := f.Int("sample", 2, "compute the results of the `N` newest runs anew and compare")
				mend := f.Bool("mend", false, "make column files anew")
				return func(ctx context.Context, args []string) error {
					if err := none(args); err != nil {
						return err
					}
					open := a.toRead
					if *mend {
						open = a.theBook
					}
					b, err := open()
					if err != nil {
						return err
					}
					if *mend {
						ns, err := b.MendColumns(ctx)
						if err != nil {
							return err
						}
						for _, n := range ns {
							a.talk("column file of run %d made anew", n)
						}
					}
					bar := newBar(a.stderr, "verify")
					rep, err := b.Verify(ctx, book.VerifyOptions{Recompute: *sample, Progress: bar.set})
					bar.done()
					if err != nil {
						return err
					}
					if a.json {
						if err := a.answer(rep); err != nil {
							return err
						}
					} else {
						again := ""
						if rep.Recomputed > 0 {
							again = fmt.Sprintf(", %s computed anew", count(rep.Recomputed, "result"))
						}
						a.say("as written: %s (%.1f MB), %s; %s%s", count(rep.Originals, "original"), float64(rep.Bytes)/1e6, count(rep.Columns, "column file"), count(rep.Runs, "run"), again)
						for _, n := range rep.Notes {
							a.say("note: %s", n)
						}
					}
					if len(rep.Faults) > 0 {
						return &book.Error{Kind: book.ErrDamaged, File: b.Dir(), Text: say.Plain(fmt.Sprintf("%s found: %s", count(len(rep.Faults), "fault"), strings.Join(rep.Faults, "; "))), Mend: "restore the last backup into a new folder and merge this book into it"}
					}
					return nil
				}
			}},
		{name: "backup", args: "FILE", short: "write the whole book to one file, while it is in use",
			long:    "With --after EARLIER only what that backup lacks is written; restoring needs both. A file that is there is not written over.",
			example: "cornerwright backup season-1.cornerwright --book season",
			setup: func(a *app, f *flag.FlagSet) func(context.Context, []string) error {
				after := f.String("after", "", "build on the backup `EARLIER`")
				return func(ctx context.Context, args []string) error {
					file, err := one(args, "file")
					if err != nil {
						return err
					}
					b, err := a.toRead()
					if err != nil {
						return err
					}
					bar := newBar(a.stderr, "backup")
					rep, err := b.Backup(ctx, file, *after, func(share float64) { bar.set("copying", share) })
					bar.done()
					if err != nil {
						return err
					}
					if a.json {
						return a.answer(rep)
					}
					a.say("%s: %d of %d files, %.1f MB", rep.File, rep.Written, rep.Files, float64(rep.Bytes)/1e6)
					return nil
				}
			}},
		{name: "restore", args: "FILE [EARLIER...]", short: "make a book from a backup in a new folder", noJSON: true,
			long:    "Every file is checked against the backup's list. An existing book is never touched: restore into a new folder, compare, then rename.",
			example: "cornerwright restore season-1.cornerwright --book restored",
			setup: func(a *app, f *flag.FlagSet) func(context.Context, []string) error {
				return func(ctx context.Context, args []string) error {
					if len(args) == 0 {
						return usage("no backup is named", "cornerwright restore FILE --book DIR")
					}
					if a.bookDir == "" {
						return usage("no folder is named to restore into", "--book DIR, a new folder")
					}
					if err := book.Restore(ctx, a.bookDir, args); err != nil {
						return err
					}
					a.say("%s", a.bookDir)
					return nil
				}
			}},
		{name: "merge", args: "DIR", short: "take everything of another book that this one has not",
			long:    "For two laptops at one meeting: merge one into the other, or both ways; nothing is doubled. The other book is only read.",
			example: "cornerwright merge other-laptop --book season",
			setup: func(a *app, f *flag.FlagSet) func(context.Context, []string) error {
				return func(ctx context.Context, args []string) error {
					dir, err := one(args, "book")
					if err != nil {
						return err
					}
					b, err := a.theBook()
					if err != nil {
						return err
					}
					rep, err := b.Merge(ctx, dir)
					if err != nil {
						return err
					}
					if _, err := b.Recompute(ctx, nil); err != nil {
						return err
					}
					if a.json {
						return a.answer(rep)
					}
					a.say("came in: %s, %s, %s, %s, %s; here already: %s", count(rep.Originals, "original"), count(rep.Runs, "run"), count(rep.Remarks, "remark"), count(rep.Steps, "step"), count(rep.Sheets, "sheet"), count(rep.Known, "run"))
					for _, n := range rep.Notes {
						a.say("note: %s", n)
					}
					return nil
				}
			}},
	}
}

func (a *app) seasonCells(b *book.Book, bikeName, id, circuitName string) error {
	k, err := b.Bike(bikeName)
	if err != nil {
		return err
	}
	st := k.Bike.Setting(id)
	if st == nil {
		return &book.Error{Kind: book.ErrNotFound, Text: say.Plain(fmt.Sprintf("%s has no setting %q", k.Name, id)), Mend: "list them: cornerwright bike"}
	}
	if circuitName != "" {
		c, err := b.Circuit(circuitName)
		if err != nil {
			return err
		}
		circuitName = c.Name
	}
	vs, err := b.Visits(k.Name, id, circuitName)
	if err != nil {
		return err
	}
	if a.json {
		if vs == nil {
			vs = []book.CellVisit{}
		}
		return a.answer(map[string]any{"bike": k.Name, "setting": id, "cells": vs})
	}
	rows := [][]string{{"cell", "in use [s a lap]", "runs", "most at"}}
	for _, v := range vs {
		rows = append(rows, []string{st.CellName(v.Row, v.Column), dec(v.DwellS, 2), fmt.Sprint(v.Runs), v.Where})
	}
	a.table(rows)
	return nil
}
