package main

import (
	"context"
	"flag"
	"fmt"
	"math"
	"os"

	"cornerwright/internal/bike"
	"cornerwright/internal/book"
	"cornerwright/internal/say"
)

func bookCommands() []*command {
	return []*command{
		{name: "new", args: "DIR", short: "make an empty book", noBook: true, noJSON: true,
			long:    "A book is a folder with everything: book.db, the original recordings and the column files.",
			example: "cornerwright new season",
			setup: func(a *app, f *flag.FlagSet) func(context.Context, []string) error {
				return func(ctx context.Context, args []string) error {
					dir, err := one(args, "folder")
					if err != nil {
						return err
					}
					b, err := book.Create(dir)
					if err != nil {
						return err
					}
					a.opened(b)
					a.say("%s", b.Dir())
					a.talk("an empty book; next: cornerwright bike FILE.toml --book %s", dir)
					return nil
				}
			}},
		{name: "bike", args: "[FILE.toml]", short: "add or replace a bike, or list the bikes",
			long:    "The file is checked; errors come with line and column. A changed file makes a new version: runs keep the one they were added with. Without a file the bikes of the book are listed.",
			example: "cornerwright bike heron.toml --book season",
			setup: func(a *app, f *flag.FlagSet) func(context.Context, []string) error {
				return func(ctx context.Context, args []string) error {
					if len(args) == 0 {
						return a.listBikes()
					}
					path, err := one(args, "bike file")
					if err != nil {
						return err
					}
					data, err := readSmall(path)
					if err != nil {
						return err
					}
					b, err := a.theBook()
					if err != nil {
						return err
					}
					r, err := b.AddBike(path, data)
					if err != nil {
						return err
					}
					if a.json {
						return a.answer(bikeAnswer(r))
					}
					a.say("%s: version %d, sheet %d, %d settings, reference slot %s, trial slot %s", r.Name, r.Version, r.Sheet, len(r.Bike.Settings), r.Bike.Slots.Reference, r.Bike.Slots.Trial)
					for _, x := range []struct {
						name string
						t    bike.Tyre
					}{{"front", r.Bike.Front}, {"rear", r.Bike.Rear}} {
						// Real tyres differ by centimetres from their marking, a slip of the pen by more.
						if m := bike.MarkedCircumference(x.t.Marking); m > 0 && math.Abs(x.t.Circumference/m-1) > 0.08 {
							a.talk("note: the %s tyre's circumference is %.3f m; %s stands for about %.2f m", x.name, x.t.Circumference, x.t.Marking, m)
						}
					}
					return nil
				}
			}},
		{name: "circuit", args: "[FILE.toml | NEW-NAME]", short: "add, edit or rename a circuit by hand, or list the circuits",
			long:    "A circuit is learnt from its first run. A file corrects what was learnt: gate, names and numbers of turns. With --show NAME the circuit is written as such a file. With --rename NAME it gets the name that follows, with all its runs.",
			example: "cornerwright circuit --show \"Circuit 1\" --book season",
			setup: func(a *app, f *flag.FlagSet) func(context.Context, []string) error {
				show := f.String("show", "", "write the circuit `NAME` as a file to edit")
				rename := f.String("rename", "", "give the circuit `NAME` another name")
				return func(ctx context.Context, args []string) error {
					if *rename != "" && *show != "" {
						return usage("--show and --rename do not go together", "give one of them")
					}
					if *rename != "" {
						to, err := one(args, "new name")
						if err != nil {
							return err
						}
						b, err := a.theBook()
						if err != nil {
							return err
						}
						r, err := b.RenameCircuit(*rename, to)
						if err != nil {
							return err
						}
						return a.tellCircuit(r)
					}
					if *show != "" {
						if err := none(args); err != nil {
							return err
						}
						b, err := a.toRead()
						if err != nil {
							return err
						}
						c, err := b.Circuit(*show)
						if err != nil {
							return err
						}
						_, err = a.stdout.Write(c.TOML())
						return err
					}
					if len(args) == 0 {
						return a.listCircuits()
					}
					path, err := one(args, "circuit file")
					if err != nil {
						return err
					}
					data, err := readSmall(path)
					if err != nil {
						return err
					}
					b, err := a.theBook()
					if err != nil {
						return err
					}
					r, err := b.AddCircuit(path, data)
					if err != nil {
						return err
					}
					return a.tellCircuit(r)
				}
			}},
	}
}

// readSmall reads a settings file; a recording named by mistake is refused by
// its size.
func readSmall(path string) ([]byte, error) {
	bad := func(text string, err error, mend string) ([]byte, error) {
		return nil, &book.Error{Kind: book.ErrInvalid, File: path, Text: say.Plain(text), Err: err, Mend: say.Plain(mend)}
	}
	info, err := os.Stat(path)
	switch {
	case os.IsNotExist(err):
		return bad("there is no such file", nil, "check the name")
	case err != nil:
		return bad("the file cannot be read", err, "check the permissions")
	case info.IsDir():
		return bad("this is a folder", nil, "name the file in it")
	case info.Size() > 1<<20:
		return bad(fmt.Sprintf("the file has %d kB, too much for a file of settings", info.Size()>>10), nil, "is it a recording? use: cornerwright add")
	}
	data, err := os.ReadFile(path)
	if err != nil {
		return bad("the file cannot be read", err, "check the permissions")
	}
	return data, nil
}

type bikeRow struct {
	Bike     string   `json:"bike"`
	Version  int      `json:"version"`
	Sheet    int      `json:"sheet,omitempty"`
	Settings []string `json:"settings"`
}

func bikeAnswer(r book.BikeRecord) bikeRow {
	out := bikeRow{r.Name, r.Version, r.Sheet, []string{}}
	for _, s := range r.Bike.Settings {
		out.Settings = append(out.Settings, s.ID)
	}
	return out
}

func (a *app) listBikes() error {
	b, err := a.toRead()
	if err != nil {
		return err
	}
	all, err := b.Bikes()
	if err != nil {
		return err
	}
	if a.json {
		out := []bikeRow{}
		for _, r := range all {
			out = append(out, bikeAnswer(r))
		}
		return a.answer(map[string]any{"bikes": out})
	}
	rows := [][]string{{"bike", "version", "sheet", "settings"}}
	for _, r := range all {
		rows = append(rows, []string{r.Name, fmt.Sprint(r.Version), fmt.Sprint(r.Sheet), fmt.Sprint(len(r.Bike.Settings))})
	}
	a.table(rows)
	return nil
}

type circuitRow struct {
	Circuit string  `json:"circuit"`
	Version int     `json:"version"`
	Origin  string  `json:"origin"`
	Turns   int     `json:"turns"`
	LengthM float64 `json:"length_m,omitempty"`
}

// tellCircuit says which circuit the book has now.
func (a *app) tellCircuit(r book.CircuitRecord) error {
	if a.json {
		return a.answer(circuitAnswer(r))
	}
	a.say("%s: version %d of its line, %d turns, %.0f m", r.Name, r.Version, r.Turns, r.Length)
	return nil
}

func circuitAnswer(r book.CircuitRecord) circuitRow {
	return circuitRow{r.Name, r.Version, r.Origin.String(), r.Turns, r.Length}
}

func (a *app) listCircuits() error {
	b, err := a.toRead()
	if err != nil {
		return err
	}
	all, err := b.Circuits()
	if err != nil {
		return err
	}
	if a.json {
		out := []circuitRow{}
		for _, r := range all {
			out = append(out, circuitAnswer(r))
		}
		return a.answer(map[string]any{"circuits": out})
	}
	rows := [][]string{{"circuit", "version", "length [m]", "turns", "origin"}}
	for _, r := range all {
		rows = append(rows, []string{r.Name, fmt.Sprint(r.Version), dec(r.Length, 0), fmt.Sprint(r.Turns), r.Origin.String()})
	}
	a.table(rows)
	return nil
}
