package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"sort"
	"strings"
	"time"

	"cornerwright/internal/book"
	"cornerwright/internal/contract"
	"cornerwright/internal/intake"
	"cornerwright/internal/recording"
	"cornerwright/internal/say"
)

func addCommands() []*command {
	return []*command{
		{name: "add", args: "FILE...", short: "put recordings into the book and analyse them",
			long: "Files and folders may be named. The original is kept even where it cannot be used; the same content twice is recognised. " +
				"The circuit is recognised by place, or learnt from the first run there.",
			example: "cornerwright add run1.csv --bike \"Heron 998\" --tyre \"rear set 1, new\" --book season",
			setup: func(a *app, f *flag.FlagSet) func(context.Context, []string) error {
				var q book.AddRequest
				f.StringVar(&q.Bike, "bike", "", "`NAME` of the bike; may be left out where the book holds one")
				f.StringVar(&q.Circuit, "circuit", "", "`NAME` of the circuit; otherwise recognised or learnt")
				mapFile := f.String("map", "", "column map `FILE.toml`; otherwise columns are recognised")
				database := f.String("database", "", "signal database `FILE.dbc` of a bus log; both are kept together")
				f.StringVar(&q.Slot, "slot", "", "`LETTER` of the bar switch, where no channel says it")
				f.IntVar(&q.Step, "step", 0, "`NUMBER` of the step under trial; otherwise the one that is loaded")
				f.StringVar(&q.Tyre, "tyre", "", "`TEXT` about the tyres")
				f.StringVar(&q.Weather, "weather", "", "`TEXT` about the weather")
				f.StringVar(&q.Note, "note", "", "`TEXT` to keep with the run")
				f.StringVar(&q.Day, "day", "", "`DATE` like 2026-05-14, where the file does not say")
				return func(ctx context.Context, args []string) error {
					if len(args) == 0 {
						return usage("no file is named", "cornerwright add FILE...")
					}
					if *mapFile != "" {
						data, err := readSmall(*mapFile)
						if err != nil {
							return err
						}
						q.Map, q.MapName = data, *mapFile
					}
					return a.add(ctx, args, *database, q)
				}
			}},
		{name: "check", args: "FILE", short: "say whether a recording can be trusted; nothing is stored", noBook: true,
			long:    "Exit code 1 where the file cannot be used.",
			example: "cornerwright check run1.csv",
			setup: func(a *app, f *flag.FlagSet) func(context.Context, []string) error {
				mapFile := f.String("map", "", "column map `FILE.toml`")
				mapTo := f.String("write-map", "", "write the column map it went by to `FILE.toml`, to be edited and given back")
				database := f.String("database", "", "signal database `FILE.dbc` of a bus log")
				return func(ctx context.Context, args []string) error {
					path, err := one(args, "file")
					if err != nil {
						return err
					}
					var m []byte
					if *mapFile != "" {
						if m, err = readSmall(*mapFile); err != nil {
							return err
						}
					}
					file := path
					if *database != "" {
						packed, done, err := bound(path, *database)
						if err != nil {
							return err
						}
						defer done()
						file = packed
					}
					return a.check(path, file, *mapFile, *mapTo, m)
				}
			}},
	}
}

var errIsBook = errors.New("a book")

// files replaces folders by the files in them, by name.
func files(args []string) ([]string, error) {
	var out []string
	for _, p := range args {
		info, err := os.Stat(p)
		if err != nil || !info.IsDir() {
			out = append(out, p) // what is not there is reported when it is read
			continue
		}
		n := len(out)
		err = filepath.WalkDir(p, func(path string, d os.DirEntry, err error) error {
			if err != nil {
				return err
			}
			if strings.HasPrefix(d.Name(), ".") && path != p {
				if d.IsDir() {
					return filepath.SkipDir
				}
				return nil
			}
			if d.IsDir() {
				// A book in the folder holds what was added already; merge takes it in.
				if _, err := os.Stat(filepath.Join(path, "book.db")); err == nil {
					if path == p {
						return errIsBook
					}
					return filepath.SkipDir
				}
			}
			if d.Type().IsRegular() {
				out = append(out, path)
			}
			return nil
		})
		if errors.Is(err, errIsBook) {
			return nil, &book.Error{Kind: book.ErrInvalid, File: p, Text: "this folder is a book, not a folder of recordings", Mend: say.Plain("take its runs in with: cornerwright merge " + p)}
		}
		if err != nil {
			return nil, &book.Error{Kind: book.ErrInvalid, File: p, Text: "the folder cannot be read", Err: err, Mend: "check the stick and the permissions"}
		}
		if len(out) == n {
			return nil, &book.Error{Kind: book.ErrInvalid, File: p, Text: "the folder holds no file", Mend: "name the folder with the recordings"}
		}
		sort.Strings(out[n:])
	}
	return out, nil
}

func (a *app) add(ctx context.Context, args []string, database string, q book.AddRequest) error {
	list, err := files(args)
	if err != nil {
		return err
	}
	beside := ""
	if database == "" && len(list) > 1 {
		if beside, list, err = databaseAmong(list); err != nil {
			return err
		}
	}
	b, err := a.theBook()
	if err != nil {
		return err
	}
	answer := contract.Added{Files: []contract.AddedFile{}}
	failed, undated := 0, 0
	var worst error
	for _, path := range list {
		r := q
		r.Path = path
		done := func() {}
		with := database
		if with == "" && beside != "" && intake.IsBusLog(headOf(path)) {
			with = beside
			a.talk("%s is read with the signal database %s", path, beside)
		}
		if with != "" {
			if r.Path, done, err = bound(path, with); err != nil {
				return err
			}
		}
		bar := newBar(a.stderr, filepath.Base(path))
		r.Watch = bar.watch
		res, err := b.Add(ctx, r)
		bar.done()
		done()
		f := contract.AddedFile{File: path, Original: res.Original, Duplicate: res.Duplicate, Learnt: res.Learnt, Runs: []contract.Run{}, Problems: res.Problems}
		if f.Problems == nil {
			f.Problems = []recording.Problem{}
		}
		for _, x := range res.Runs {
			if !res.Duplicate && strings.HasPrefix(x.Meeting, "undated") {
				undated++
			}
			f.Runs = append(f.Runs, contract.NewRun(x))
		}
		if err != nil {
			a.log.Error("add", "file", path, "original", res.Original, "err", err.Error())
			if !errors.Is(err, book.ErrInvalid) && !errors.Is(err, book.ErrNotFound) && !errors.Is(err, book.ErrConflict) {
				return err
			}
			failed++
			f.Error = problemOf(err)
			if len(list) == 1 && !a.json {
				if res.Original != "" {
					a.talk("the original is kept in the book (%s)", res.Original[:12])
				}
				return err
			}
			if !a.json {
				a.talk("cornerwright: %v", err)
			}
			worst = err
		} else {
			a.log.Info("add", "file", path, "original", res.Original, "runs", len(res.Runs), "duplicate", res.Duplicate)
		}
		answer.Files = append(answer.Files, f)
		if !a.json && err == nil {
			a.sayAdded(path, res)
		}
	}
	if a.json {
		if err := a.answer(answer); err != nil {
			return err
		}
	} else if undated > 0 {
		a.talk("%s without a day: no file states it; --day DATE tells it when a file is added", count(undated, "run"))
	}
	if failed > 0 {
		if len(list) > 1 {
			a.talk("cornerwright: %d of %d files could not be used", failed, len(list))
		} else {
			a.talk("cornerwright: %v", worst)
		}
		return errSaid
	}
	return nil
}

func (a *app) sayAdded(path string, res book.AddResult) {
	for _, r := range res.Runs {
		switch {
		case res.Duplicate:
			a.say("%s: the same content is in the book already, as run %d (%s)", path, r.Number, r.Name)
		default:
			best := ""
			if r.Best > 0 {
				best = ", best " + lapTime(r.Best)
			}
			a.say("run %d: %s, %s, %s, %s%s", r.Number, path, r.Circuit, r.Bike, count(r.Laps, "timed lap"), best)
			if r.Laps == 0 {
				a.talk("no lap is timed from gate to gate; how each ended: cornerwright laps %d", r.Number)
			}
			if r.Step > 0 {
				a.talk("step %d is under trial in this run", r.Step)
			}
		}
	}
	if !res.Duplicate {
		a.sayProblems(path, res.Problems)
	}
}

func (a *app) sayProblems(path string, ps []recording.Problem) {
	for _, p := range ps {
		where := path
		if p.Line > 0 {
			where += fmt.Sprintf(":%d", p.Line)
			if p.Column > 0 {
				where += fmt.Sprintf(":%d", p.Column)
			}
		}
		a.talk("%s: %s: %s", where, p.Severity, p.Text)
		if p.Mend != "" {
			a.talk("  mend: %s", p.Mend)
		}
	}
}

func problemOf(err error) *contract.Problem {
	var e *book.Error
	if errors.As(err, &e) {
		text := e.Text
		if text == "" && e.Err != nil {
			text = say.Of(e.Err)
		}
		return &contract.Problem{File: e.File, Line: e.Line, Column: e.Column, Text: text.String(), Mend: e.Mend.String()}
	}
	return &contract.Problem{Text: err.Error()}
}

// check reads file; path is what the person named.
func (a *app) check(path, file, mapName, mapTo string, m []byte) error {
	got, err := book.Check(file, mapName, m)
	rec := got.Recording
	if err != nil && !errors.Is(err, book.ErrInvalid) {
		return err
	}
	if mapTo != "" && got.Result != nil {
		if werr := writeFresh(mapTo, func(w io.Writer) error { _, err := io.WriteString(w, got.Result.Map); return err }); werr != nil {
			return werr
		}
		a.talk("written: %s", mapTo)
	}
	if a.json {
		var fault *contract.Problem
		if err != nil {
			fault = problemOf(err)
		}
		answer := contract.NewCheck(path, rec, fault)
		if got.Result != nil {
			answer.Map = got.Result.Map
		}
		if werr := a.answer(answer); werr != nil {
			return werr
		}
		return err
	}
	if rec != nil {
		a.say("%s: %s, %s, %s", path, rec.Format, count(rec.Rows, "row"), count(len(rec.Channels), "channel"))
		a.channelTable(rec)
		for _, c := range rec.Channels {
			if !c.Known {
				a.say("(name): not recognised, kept under its own name")
				break
			}
		}
		a.sayProblems(path, rec.Problems)
	}
	return err
}

func (a *app) channelTable(rec *recording.Recording) {
	rows := [][]string{{"channel", "column", "unit", "rate [1/s]", "first [s]", "last [s]", "samples", "marks"}}
	for _, c := range rec.Channels {
		first, last := "-", "-"
		if n := len(c.Time); n > 0 {
			first, last = clock(c.Time[0]), clock(c.Time[n-1])
		}
		name := c.Name
		if !c.Known {
			name = "(" + name + ")"
		}
		count := map[string]int{}
		for _, m := range c.Marks {
			count[string(m.Kind)]++
		}
		var marks []string
		for _, k := range sortedKeys(count) {
			marks = append(marks, fmt.Sprintf("%s %d", k, count[k]))
		}
		rows = append(rows, []string{name, c.From, c.SourceUnit, dec(c.Rate(), 1), first, last, fmt.Sprint(len(c.Time)), strings.Join(marks, ", ")})
	}
	a.table(rows)
}

// bar is a progress line on a terminal; it shows itself after half a second.
type bar struct {
	w     io.Writer
	name  string
	start time.Time
	shown bool
}

func newBar(w io.Writer, name string) *bar {
	if f, ok := w.(*os.File); !ok || !terminal(f) {
		w = nil
	}
	return &bar{w: w, name: name, start: time.Now()}
}

func terminal(f *os.File) bool {
	info, err := f.Stat()
	return err == nil && info.Mode()&os.ModeCharDevice != 0
}

func (p *bar) set(stage string, share float64) {
	if p.w == nil || time.Since(p.start) < 500*time.Millisecond {
		return
	}
	const width = 24
	n := int(share*width + 0.5)
	fmt.Fprintf(p.w, "\r\x1b[K%s [%s%s] %3.0f %% %s", p.name, strings.Repeat("=", n), strings.Repeat(" ", width-n), share*100, stage)
	p.shown = true
}

// watch shows how far an import has come: bytes, rows and the time left.
func (p *bar) watch(at book.AddProgress) {
	more := at.Stage
	if at.Rows > 0 {
		more += fmt.Sprintf(", %.1f of %.1f MB, %d rows", float64(min(at.Bytes, at.Size))/1e6, float64(at.Size)/1e6, at.Rows)
	}
	if at.Left >= time.Second {
		more += fmt.Sprintf(", about %.0f s left", at.Left.Seconds())
	}
	p.set(more, at.Share)
}

func (p *bar) done() {
	if p.shown {
		fmt.Fprint(p.w, "\r\x1b[K")
	}
}
