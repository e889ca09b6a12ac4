package web

import (
	"context"
	"fmt"
	"math"
	"net/http"
	"net/url"
	"sort"
	"strconv"
	"strings"

	"html/template"

	"cornerwright/internal/book"
	"cornerwright/internal/circuit"
	"cornerwright/internal/contract"
	"cornerwright/internal/debrief"
	"cornerwright/internal/draw"
	"cornerwright/internal/paper"
	"cornerwright/internal/recording"
	"cornerwright/internal/ride"
	"cornerwright/internal/say"
)

var helpers = template.FuncMap{
	"join":   func(s []string) string { return strings.Join(s, "; ") },
	"where":  paper.Where,
	"path":   url.PathEscape,
	"add":    func(a, b int) int { return a + b },
	"inc":    func(i int) int { return i + 1 },
	"group":  groupOf,
	"list":   func(s ...string) []string { return s },
	"dict":   dict,
	"firsts": func(m []debrief.Measure, n int) []debrief.Measure { return m[:min(n, len(m))] },
	"rests":  func(m []debrief.Measure, n int) []debrief.Measure { return m[min(n, len(m)):] },
	// part hands a finding to its template together with its page.
	"part": func(p page, f findingRow, run int) map[string]any { return map[string]any{"P": p, "F": f, "Run": run} },
	// moving hands a step's buttons to their template.
	"moving": func(p page, id int, state string, next []move, who, reason string) map[string]any {
		return map[string]any{"Token": p.Token, "ID": id, "State": state, "Next": next, "Who": who, "Reason": reason}
	},
}

// dict pairs names with values for a template.
func dict(kv ...any) map[string]any {
	m := map[string]any{}
	for i := 0; i+1 < len(kv); i += 2 {
		m[fmt.Sprint(kv[i])] = kv[i+1]
	}
	return m
}

type findingRow struct {
	debrief.Finding
	Where   say.Text
	Remark  *book.Remark
	Picture template.HTML // the laps through its turn; "" where it has none
	First   bool          // to be taken first
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
	Best         *contract.BestLap
	Map, Chart   template.HTML
	Turns        []turnRow
	Said, Unsaid []findingRow
	Notes        []say.Text
	Next         string // id of the finding to take first
	Why          say.Text
	NextWhere    say.Text
	Cannot       []ride.Cannot
	Problems     []recording.Problem
	Vocabulary   []debrief.Complaint
	Phases       []circuit.Phase
	Groups       []wordGroup
	Key          string // of the next remark: sent twice, it is kept once
	// What was typed and could not be taken.
	Typed     map[string]string
	Trouble   say.Text
	Ask       []debrief.Question
	Struck    []book.Remark
	Open      []book.Remark // said, and not answered by a finding of their own
	Cautions  []say.Text
	Multiples template.HTML
	Spread    template.HTML
	Slots     []slotSpread
	Worries   int // problems that are more than a note
}

// wordGroup is one heading of the vocabulary with its complaints.
type wordGroup struct {
	Name  string
	Words []debrief.Word
}

// wordGroups are the complaints that can be chosen, by what they are about.
func wordGroups() []wordGroup {
	var out []wordGroup
	for _, c := range debrief.Vocabulary() {
		w := debrief.Lookup(c)
		if w == nil {
			continue
		}
		i := 0
		for i < len(out) && out[i].Name != w.Group {
			i++
		}
		if i == len(out) {
			out = append(out, wordGroup{Name: w.Group})
		}
		out[i].Words = append(out[i].Words, *w)
	}
	return out
}

// groupOf is the group of a complaint, "" if it is not known.
func groupOf(c debrief.Complaint) string {
	if w := debrief.Lookup(c); w != nil {
		return w.Group
	}
	return ""
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
	return page{Title: say.T("Run {1} · {2}", x.Number, x.Circuit), Name: "run", Body: d}, nil
}

func (s *server) runBody(r *http.Request, x book.Run) (*runPage, error) {
	ctx := r.Context()
	sum, err := s.book.Summary(ctx, x.Number)
	if err != nil {
		return nil, err
	}
	d := &runPage{Run: x, Laps: sum.Laps, Cannot: sum.Cannot, Problems: x.Problems, Vocabulary: debrief.Vocabulary(), Phases: circuit.Phases, Groups: wordGroups(), Key: newKey(), Typed: map[string]string{}}
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
	dots := paper.LapDots(sum.Laps, k.Bike.Slots.Trial)
	for i := range dots {
		if w := d.Marks[dots[i].Number]; w != "" {
			dots[i].Look, dots[i].Title = draw.Struck, string(say.T("{lap}, struck: {word}", say.Text(dots[i].Title), say.Key(w)))
		}
	}
	chart := draw.NewSVG(150, 40)
	h := draw.Laps(chart, dots, 150)
	chart.Resize(150, h)
	d.Spread, d.Slots = spread(sum.Laps, d.Marks, k.Bike.Slots.Trial)
	for _, q := range x.Problems {
		if q.Severity != recording.Note {
			d.Worries++
		}
	}
	d.Chart = chart.HTML("laps", say.T("Lap times in riding order"), say.T("the same times stand in the table"))
	for _, m := range rs {
		if m.Struck {
			d.Struck = append(d.Struck, m)
		}
	}
	if x.Circuit == "" {
		return d, nil
	}
	c, err := s.book.Circuit(x.Circuit)
	if err != nil {
		return nil, err
	}
	d.Turns = turnRows(c, sum.Passes)
	res, err := s.debriefOf(ctx, x.Number, debrief.Options{Run: x.Number})
	if err != nil {
		return nil, err
	}
	v, err := s.book.Ride(ctx, x.Number)
	if err != nil {
		return nil, err
	}
	d.Best = contract.NewBestLap(v, d.Marks)
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
		q := findingRow{Finding: f, Where: w, Remark: byID[f.Remark], First: f.ID == res.Next}
		if t := c.Turn(f.Turn); t != nil {
			y := youOf(r)
			q.Picture, err = recall(ctx, s, fmt.Sprintf("evidence %d %d %s %s", x.Number, t.Number, f.Phase, y.Speed), func(context.Context) (template.HTML, error) {
				return evidence(v, *t, f.Phase, k.Bike.Slots.Trial, d.Marks, y), nil
			})
			if err != nil {
				q.Picture = "" // the request was given up
			}
		}
		return q
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
	for _, q := range append(append([]findingRow{}, d.Said...), d.Unsaid...) {
		if q.ID == d.Next {
			d.NextWhere = q.Where
			if q.Says != "" {
				d.NextWhere += ", " + say.Key(spaced(q.Says))
			}
		}
	}
	d.Multiples = multiples(c, sum.Passes, d.Marks, k.Bike.Slots.Trial, x.Number)
	if len(opt.Flags) > maxFlags {
		opt.Flags = fewFlags(opt.Flags)
	}
	m := draw.NewSVG(120, 84)
	draw.Map(m, c, opt)
	d.Map = m.HTML("map", say.T("Map of {name}", c.Name), say.T("{turns} turns, {length} m", len(c.Turns), draw.Number(c.Line.Length, 0)))
	return d, nil
}

// maxFlags stand on a map with the rider's words; more would hide the circuit.
const maxFlags = 8

// fewFlags leaves one flag at a place, without words: the number of the first
// remark there, with a plus where there are others.
func fewFlags(all []draw.Flag) []draw.Flag {
	var out []draw.Flag
next:
	for _, f := range all {
		for i := range out {
			if math.Abs(out[i].S-f.S) < 60 { // m: the phases of a turn are one place
				out[i].Number = strings.TrimSuffix(out[i].Number, "+") + "+"
				continue next
			}
		}
		f.Words = ""
		out = append(out, f)
	}
	return out
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

// multiples draws every turn's time lap by lap, on one scale of differences.
func multiples(c *circuit.Circuit, ps []ride.Pass, marks map[int]string, trial string, run int) template.HTML {
	var ds []draw.Dots
	for _, t := range c.Turns {
		d := draw.Dots{Name: string(say.T("turn {label}", t.Label())), Href: fmt.Sprintf("/run/%d/turn/%d", run, t.Number)}
		for _, p := range ps {
			if p.Turn != t.Number || !p.Timed {
				continue
			}
			look := draw.Reference
			switch {
			case marks[p.Lap] != "":
				look = draw.Struck
			case trial != "" && p.Slot == trial:
				look = draw.Trial
			}
			d.Values, d.Looks = append(d.Values, p.Segment), append(d.Looks, look)
			d.Titles = append(d.Titles, string(say.T("lap {lap}, slot {slot}: {time} s", p.Lap, p.Slot, draw.Number(p.Segment, 3))))
		}
		ds = append(ds, d)
	}
	svg := draw.NewSVG(300, 60)
	h := draw.Multiples(svg, ds, draw.MultiplesOptions{Width: 300, Unit: "s", Decimals: 2, About: true})
	svg.Resize(300, h)
	return svg.HTML("multiples", say.T("Time through each turn, lap by lap"), say.T("each panel is centred on the turn's median and all have one scale; every lap stands in the turn's own table"))
}
