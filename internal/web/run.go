package web

import (
	"fmt"
	"math"
	"net/http"
	"sort"
	"strconv"
	"strings"

	"html/template"

	"cornerwright/internal/book"
	"cornerwright/internal/circuit"
	"cornerwright/internal/debrief"
	"cornerwright/internal/draw"
	"cornerwright/internal/paper"
	"cornerwright/internal/recording"
	"cornerwright/internal/ride"
)

var helpers = template.FuncMap{
	"lap":    func(s float64) string { return draw.LapTime(s, 3) },
	"num":    func(v float64, d int) string { return draw.Number(v, d) },
	"signed": func(v float64, d int) string { return draw.Signed(v, d) },
	"join":   func(s []string) string { return strings.Join(s, "; ") },
	"where":  paper.Where,
	"answer": func(a any) string { return strings.NewReplacer("-", " ", "_", " ").Replace(fmt.Sprint(a)) },
	"kmh":    func(v float64) string { return draw.Number(v*3.6, 1) },
	"val":    func(v float64, unit string) string { return draw.Number(v, decimals(unit)) },
	"unit":   unitName,
}

// unitName is how the unit of a debrief's measure is printed.
func unitName(u string) string {
	switch u {
	case "pct":
		return "%"
	case "rpm":
		return "1/min"
	case "mps2":
		return "m/s²"
	case "kmh":
		return "km/h"
	case "deg":
		return "°"
	case "hz":
		return "Hz"
	case "n":
		return "N"
	}
	return u
}

// decimals that a debrief's measure deserves in its unit.
func decimals(unit string) int {
	switch unit {
	case "rpm", "n", "":
		return 0
	case "pct", "kmh", "deg", "hz", "mps2":
		return 1
	}
	return 2
}

type dayRow struct {
	book.Run
	Changed string
	Open    int
}

type dayPage struct {
	Rows  []dayRow
	Steps []book.Step
	Bikes []book.BikeRecord
}

func (s *server) day(r *http.Request) (page, error) {
	runs, err := s.book.Runs(book.RunFilter{})
	if err != nil {
		return page{}, err
	}
	bikes, err := s.book.Bikes()
	if err != nil {
		return page{}, err
	}
	var steps []book.Step
	for _, k := range bikes {
		st, err := s.book.Steps(k.Name)
		if err != nil {
			return page{}, err
		}
		steps = append(steps, st...)
	}
	d := dayPage{Steps: steps, Bikes: bikes}
	for i, x := range runs {
		row := dayRow{Run: x}
		var ch []string
		if x.Step > 0 {
			ch = append(ch, fmt.Sprintf("step %d under trial", x.Step))
		}
		if i > 0 {
			p := runs[i-1]
			if x.Tyre != p.Tyre && x.Tyre != "" {
				ch = append(ch, "tyre: "+x.Tyre)
			}
			if x.Weather != p.Weather && x.Weather != "" {
				ch = append(ch, "weather: "+x.Weather)
			}
			if x.Sheet != p.Sheet && x.Sheet > 0 {
				ch = append(ch, fmt.Sprintf("sheet %d", x.Sheet))
			}
		}
		row.Changed = strings.Join(ch, "; ")
		rs, err := s.book.Remarks(x.Number)
		if err != nil {
			return page{}, err
		}
		row.Open = len(rs)
		d.Rows = append(d.Rows, row)
	}
	return page{Title: "The day", Name: "day", Body: d}, nil
}

type findingRow struct {
	debrief.Finding
	Where  string
	Remark *book.Remark
}

type turnRow struct {
	circuit.Turn
	Laps                    int
	Min, Exit, Segment, Cut float64 // medians: km/h, km/h, s, s
}

type runPage struct {
	Run          book.Run
	Laps         []circuit.Lap
	Marks        map[int]string
	Map, Chart   template.HTML
	Turns        []turnRow
	Said, Unsaid []findingRow
	Notes        []string
	Next, Why    string
	Cannot       []ride.Cannot
	Problems     []recording.Problem
	Vocabulary   []debrief.Complaint
	Phases       []circuit.Phase
	// What was typed and could not be taken.
	Typed, Trouble string
	Ask            []debrief.Question
	Cautions       []string
}

func (s *server) runOf(r *http.Request) (book.Run, error) { return s.book.Run(r.PathValue("run")) }

func (s *server) run(r *http.Request) (page, error) {
	x, err := s.runOf(r)
	if err != nil {
		return page{}, err
	}
	d, err := s.runBody(r, x)
	if err != nil {
		return page{}, err
	}
	return page{Title: fmt.Sprintf("Run %d · %s", x.Number, x.Circuit), Name: "run", Body: d}, nil
}

func (s *server) runBody(r *http.Request, x book.Run) (*runPage, error) {
	ctx := r.Context()
	sum, err := s.book.Summary(ctx, x.Number)
	if err != nil {
		return nil, err
	}
	d := &runPage{Run: x, Laps: sum.Laps, Cannot: sum.Cannot, Problems: x.Problems, Vocabulary: debrief.Vocabulary(), Phases: circuit.Phases}
	if d.Marks, err = s.book.LapMarks(x.Number); err != nil {
		return nil, err
	}
	rs, err := s.book.Remarks(x.Number)
	if err != nil {
		return nil, err
	}
	k, err := s.book.Bike(x.Bike)
	if err != nil {
		return nil, err
	}
	d.Cautions = paper.Cautions(nil, k.Bike.Slots.Reference)
	chart := draw.NewSVG(180, 40)
	h := draw.Laps(chart, paper.LapDots(sum.Laps, k.Bike.Slots.Trial), 180)
	chart.Resize(180, h)
	d.Chart = chart.HTML("laps", "Lap times in riding order", "")
	if x.Circuit == "" {
		return d, nil
	}
	c, err := s.book.Circuit(x.Circuit)
	if err != nil {
		return nil, err
	}
	d.Turns = turnRows(c, sum.Passes)
	res, err := s.book.Debrief(ctx, x.Number, debrief.Options{Run: x.Number})
	if err != nil {
		return nil, err
	}
	byID := map[int]*book.Remark{}
	for i := range rs {
		byID[rs[i].ID] = &rs[i]
	}
	opt := draw.MapOptions{Width: 120, Height: 84, Emphasis: map[int]bool{}, TurnHref: func(t int) string { return fmt.Sprintf("/run/%d/turn/%d", x.Number, t) }}
	row := func(f debrief.Finding) findingRow {
		w := paper.Where(f.Turn, f.Phase)
		if f.Turn > 0 {
			opt.Emphasis[f.Turn] = true
		}
		return findingRow{Finding: f, Where: w, Remark: byID[f.Remark]}
	}
	for _, f := range res.Findings {
		q := row(f)
		d.Said = append(d.Said, q)
		if at, ok := paper.PlaceOf(c, f.Turn, f.Phase); ok && q.Remark != nil {
			opt.Flags = append(opt.Flags, draw.Flag{S: at, Number: strconv.Itoa(f.Remark), Words: q.Remark.Words, Href: "#" + f.ID})
		}
	}
	for _, f := range res.Unasked {
		d.Unsaid = append(d.Unsaid, row(f))
	}
	d.Notes, d.Next, d.Why = res.Notes, res.Next, res.Why
	m := draw.NewSVG(120, 84)
	draw.Map(m, c, opt)
	d.Map = m.HTML("map", "Map of "+c.Name, fmt.Sprintf("%d turns, %.0f m", len(c.Turns), c.Line.Length))
	return d, nil
}

// turnRows are the medians of every turn over the timed laps.
func turnRows(c *circuit.Circuit, ps []ride.Pass) []turnRow {
	var out []turnRow
	for _, t := range c.Turns {
		row := turnRow{Turn: t}
		var lo, ex, seg, cut []float64
		for _, p := range ps {
			if p.Turn != t.Number || !p.Timed {
				continue
			}
			row.Laps++
			lo, ex, seg, cut = append(lo, p.MinSpeed*3.6), append(ex, p.ExitSpeed*3.6), append(seg, p.Segment), append(cut, p.CutTime)
		}
		row.Min, row.Exit, row.Segment, row.Cut = median(lo), median(ex), median(seg), median(cut)
		out = append(out, row)
	}
	return out
}

func median(v []float64) float64 {
	var k []float64
	for _, x := range v {
		if !math.IsNaN(x) {
			k = append(k, x)
		}
	}
	if len(k) == 0 {
		return math.NaN()
	}
	sort.Float64s(k)
	n := len(k)
	return (k[(n-1)/2] + k[n/2]) / 2
}

// remark takes a remark in the rider's own words, or from the lists.
func (s *server) remark(w http.ResponseWriter, r *http.Request) (string, *page, error) {
	r.Body = http.MaxBytesReader(w, r.Body, maxForm)
	if err := r.ParseForm(); err != nil || !s.signed(r.PostForm.Get("token")) {
		return "", nil, errForm
	}
	x, err := s.runOf(r)
	if err != nil {
		return "", nil, err
	}
	c, err := s.book.Circuit(x.Circuit)
	if err != nil {
		return "", nil, err
	}
	words := strings.TrimSpace(r.PostForm.Get("words"))
	again := func(trouble string, ask []debrief.Question) (string, *page, error) {
		d, err := s.runBody(r, x)
		if err != nil {
			return "", nil, err
		}
		d.Typed, d.Trouble, d.Ask = words, trouble, ask
		return "", &page{Title: fmt.Sprintf("Run %d · %s", x.Number, x.Circuit), Name: "run", Body: d}, nil
	}
	var list []debrief.Remark
	if says := r.PostForm.Get("says"); says != "" {
		m := debrief.Remark{Says: debrief.Complaint(says), Words: words, Phase: circuit.Phase(r.PostForm.Get("phase")), Strength: 2}
		if n, err := strconv.Atoi(r.PostForm.Get("strength")); err == nil {
			m.Strength = n
		}
		for _, q := range strings.FieldsFunc(r.PostForm.Get("turn"), func(c rune) bool { return c == ',' || c == ' ' }) {
			n, err := strconv.Atoi(q)
			if err != nil {
				return again(fmt.Sprintf("%q is no turn number", q), nil)
			}
			m.Turns = append(m.Turns, n)
		}
		list = []debrief.Remark{m}
	} else {
		if words == "" {
			return again("nothing was said: write the rider's words, or choose from the lists", nil)
		}
		read := debrief.ParseWords(words, c.Turns)
		if len(read.Questions) > 0 || len(read.Remarks) == 0 {
			return again("this can be read in more than one way: choose from the lists", read.Questions)
		}
		list = read.Remarks
	}
	for _, m := range list {
		m.Run, m.Rider = x.Number, strings.TrimSpace(r.PostForm.Get("rider"))
		if err := debrief.CheckTurns(m, c.Turns); err != nil {
			return again(err.Error(), nil)
		}
		if _, err := s.book.AddRemark(m, "page", ""); err != nil {
			return again(err.Error(), nil)
		}
	}
	return fmt.Sprintf("/run/%d#said", x.Number), nil, nil
}
