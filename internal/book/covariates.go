package book

import (
	"context"
	"fmt"
	"math"
	"regexp"
	"sort"
	"strconv"
	"strings"

	"cornerwright/internal/intake"
	"cornerwright/internal/recording"
	"cornerwright/internal/verdict"
)

// covariates are what can move a lap besides lap number and slot, most wanted
// first, with the least difference between laps that is worth adjusting for
// (common practice). Each is taken from a channel of the recording, tyre age from
// what the book knows of the set, and a temperature from the words about the
// weather where no channel has one.
var covariates = []verdict.Covariate{
	{Name: "tyre-laps", Words: "laps on the tyre", Least: 3},
	{Name: "fuel", Words: "fuel", Unit: "l", Least: 1},
	{Name: "fuel-mass", Words: "fuel", Unit: "kg", Least: 0.7},
	{Name: "fuel-level", Words: "fuel", Unit: "%", Least: 5},
	{Name: "track-temperature", Words: "track temperature", Unit: "°C", Least: 1.5},
	{Name: "air-temperature", Words: "air temperature", Unit: "°C", Least: 1.5},
	{Name: toldTemperature, Words: "temperature told", Unit: "°C", Least: 3},
}

const toldTemperature = "temperature-told"

// Words that name such a channel in the columns of a file, in the languages that
// columns are recognised in.
var (
	fuelWords  = regexp.MustCompile(`fuel|kraftstoff|tank|benzin|sprit|carburant|essence|carburante|combustible|gasolina|brandstof`)
	fuelNot    = regexp.MustCompile(`press|druck|temp|flow|rate|trim|corr|map|pump|inj|cut|time|duty|angle`)
	trackWords = regexp.MustCompile(`track|asphalt|tarmac|road|strecke|fahrbahn|piste|pista|asfalto|suolo|baan|surface`)
	trackNot   = regexp.MustCompile(`tyre|tire|reifen|pneu|gomma|neumatico|brake|disc`)
)

// covariateOf tells which covariate a channel holds, "" for none, and the factor
// and offset from SI to its unit.
func covariateOf(c *recording.Channel) (name string, factor, offset float64) {
	from := strings.ToLower(c.From)
	fuel := !c.Known && fuelWords.MatchString(from) && !fuelNot.MatchString(from)
	switch {
	case c.Name == recording.AirTemp:
		return "air-temperature", 1, -273.15
	case c.Known:
	case c.Unit == "K" && trackWords.MatchString(from) && !trackNot.MatchString(from):
		return "track-temperature", 1, -273.15
	case fuel && c.Unit == "m3":
		return "fuel", 1000, 0
	case fuel && c.Unit == "kg":
		return "fuel-mass", 1, 0
	case fuel && c.SourceUnit == "%":
		return "fuel-level", 100, 0
	}
	return "", 0, 0
}

// byLap are covariates by lap number.
type byLap map[int]map[string]float64

func (m byLap) set(lap int, name string, v float64) {
	if m[lap] == nil {
		m[lap] = map[string]float64{}
	}
	m[lap][name] = v
}

// channelMeans are the means over each lap of the channels that hold covariates.
// A lap in which such a channel is marked has none. They are read once a run.
func (b *Book) channelMeans(ctx context.Context, v *verdictRun) (byLap, error) {
	type key struct{ run, line int }
	k := key{v.run.Number, v.run.Line}
	if m, ok := b.means.Load(k); ok {
		return m.(byLap), nil
	}
	rec, err := b.readColumnsIf(v.run, func(c *recording.Channel) bool { n, _, _ := covariateOf(c); return n != "" })
	if err != nil {
		// The column file cannot serve: from the original.
		if rec, err = b.Recording(ctx, v.run.Number); err != nil {
			return nil, err
		}
	}
	out := byLap{}
	for i := range rec.Channels {
		c := rec.Channels[i]
		name, factor, offset := covariateOf(c)
		if name == "" {
			continue
		}
		for _, l := range v.laps {
			if _, twice := out[l.Number][name]; twice || c.Marked(recording.Span{From: l.Start, To: l.End}) {
				continue
			}
			lo, hi := sort.SearchFloat64s(c.Time, l.Start), sort.SearchFloat64s(c.Time, l.End)
			if hi-lo < 2 {
				continue
			}
			sum := 0.0
			for _, x := range c.Value[lo:hi] {
				sum += x
			}
			out.set(l.Number, name, factor*sum/float64(hi-lo)+offset)
		}
	}
	b.means.Store(k, out)
	return out, nil
}

func (b *Book) readColumnsIf(r Run, want func(*recording.Channel) bool) (*recording.Recording, error) {
	path := b.columnPath(r.Meeting, r.Bike, r.ID)
	f, err := b.fs.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	at, size, err := b.readerAt(f, path)
	if err != nil {
		return nil, err
	}
	rec, err := intake.ReadColumnsIf(r.Name, at, size, want)
	if err == nil && rec.Hash != r.Original {
		err = fmt.Errorf("it is of another original")
	}
	return rec, err
}

// drift fills in what is known of every lap besides lap number and slot.
func (b *Book) drift(ctx context.Context, vs []verdictRun) error {
	told := true // a temperature is told of every run
	measured := false
	for i := range vs {
		v := &vs[i]
		means, err := b.channelMeans(ctx, v)
		if err != nil {
			return err
		}
		age, known, err := b.tyreAge(ctx, v.run)
		if err != nil {
			return err
		}
		told = told && !math.IsNaN(temperature(v.run.Weather))
		v.drift = byLap{}
		for _, l := range v.laps {
			for name, x := range means[l.Number] {
				v.drift.set(l.Number, name, x)
				measured = measured || strings.HasSuffix(name, "-temperature")
			}
			if known {
				v.drift.set(l.Number, "tyre-laps", float64(age+l.Number))
			}
		}
	}
	if told && !measured {
		for i := range vs {
			for _, l := range vs[i].laps {
				vs[i].drift.set(l.Number, toldTemperature, temperature(vs[i].run.Weather))
			}
		}
	}
	return nil
}

var lapsWord = regexp.MustCompile(`(\d+)\s*(?:laps?|runden|tours|giri|vueltas)\b`)
var newWord = regexp.MustCompile(`\b(?:new|neu|neuf|nuovo|nuova|nuevo)\b`)

// tyreAge is the number of laps that a run's tyre set had when the run began: as
// told ("rear set 2, 10 laps", "new"), or counted from the meeting's earlier runs
// on the same set, back to one of which it is told.
func (b *Book) tyreAge(ctx context.Context, r Run) (laps int, known bool, err error) {
	if laps, known = toldAge(r.Tyre); known || tyreSet(r.Tyre) == "" {
		return laps, known, nil
	}
	runs, err := b.Runs(RunFilter{Meeting: r.Meeting, Bike: r.Bike})
	if err != nil {
		return 0, false, err
	}
	since := 0
	for i := len(runs) - 1; i >= 0; i-- {
		e := runs[i]
		if e.Number >= r.Number || tyreSet(e.Tyre) != tyreSet(r.Tyre) {
			continue
		}
		ls, err := b.Laps(ctx, e.Number)
		if err != nil {
			return 0, false, err
		}
		since += len(ls)
		if age, ok := toldAge(e.Tyre); ok {
			return age + since, true, nil
		}
	}
	return 0, false, nil
}

func toldAge(words string) (laps int, ok bool) {
	words = strings.ToLower(words)
	if m := lapsWord.FindStringSubmatch(words); m != nil {
		n, err := strconv.Atoi(m[1])
		return n, err == nil && n < 1000
	}
	return 0, newWord.MatchString(words)
}
