package web

import (
	"context"
	"fmt"
	"html/template"
	"math"
	"net/http"
	"runtime"
	"runtime/debug"
	"strconv"
	"strings"
	"time"

	"cornerwright/internal/book"
	"cornerwright/internal/circuit"
	"cornerwright/internal/draw"
	"cornerwright/internal/paper"
	"cornerwright/internal/say"
)

type seasonPage struct {
	Circuits []book.CircuitRecord
	Bikes    []book.BikeRecord
	Measures []string
	Turns    []circuit.Turn
	Q        book.SeasonQuery
	Points   []book.SeasonPoint
	Unit     string
	Picture  template.HTML
	Meetings []book.Meeting
	Trials   []book.Trial
	Evidence template.HTML
	Record   say.Text // how rehearsals fared against verdicts
	Alarms   int      // comparisons of the reference with itself
	False    int      // of them called better or worse
}

// season asks how a measure at a turn moved over the meetings.
func (s *server) season(r *http.Request) (page, error) {
	v := r.URL.Query()
	d := seasonPage{Measures: book.SeasonMeasures(), Q: book.SeasonQuery{Circuit: v.Get("circuit"), Measure: v.Get("measure"), Bike: v.Get("bike"), Slot: strings.ToUpper(v.Get("slot"))}}
	d.Q.Turn, _ = strconv.Atoi(v.Get("turn"))
	var err error
	if d.Circuits, err = s.book.Circuits(); err != nil {
		return page{}, err
	}
	if d.Bikes, err = s.book.Bikes(); err != nil {
		return page{}, err
	}
	if d.Meetings, err = s.book.Meetings(); err != nil {
		return page{}, err
	}
	if d.Q.Circuit == "" && len(d.Circuits) > 0 {
		d.Q.Circuit = d.Circuits[0].Name
	}
	if d.Q.Measure == "" {
		d.Q.Measure = "segment"
	}
	if d.Q.Turn == 0 {
		d.Q.Turn = 1
	}
	if d.Q.Circuit != "" {
		c, err := s.book.Circuit(d.Q.Circuit)
		if err != nil {
			return page{}, err
		}
		d.Turns = c.Turns
		if d.Points, d.Unit, err = s.book.Season(d.Q); err != nil {
			return page{}, err
		}
		d.Picture = seasonPicture(d.Points, d.Unit, d.Q)
	}
	if d.Trials, err = recall(r.Context(), s, "trials "+d.Q.Bike, func(ctx context.Context) ([]book.Trial, error) {
		return s.book.Trials(ctx, book.TrialQuery{Bike: d.Q.Bike, Unjudged: true})
	}); err != nil {
		return page{}, err
	}
	if es := book.CombineTrials(d.Trials); len(es) > 0 {
		d.Evidence = template.HTML(paper.Evidence(es)) //nolint:gosec // drawn by us, texts escaped there
	}
	d.Record = say.T("{sentence^}.", book.RehearsalRecord{Score: book.RehearsalScore(d.Trials)}.Sentence())
	alarms, err := s.book.FalseAlarms()
	if err != nil {
		return page{}, err
	}
	if alarms.N > 0 {
		d.Alarms, d.False = alarms.N, int(math.Round(alarms.Value*float64(alarms.N)))
	}
	return page{Title: say.T("Season"), Name: "season", Body: d}, nil
}

// seasonPicture draws a run's median and the spread of its laps.
func seasonPicture(ps []book.SeasonPoint, unit string, q book.SeasonQuery) template.HTML {
	if len(ps) == 0 {
		return ""
	}
	const w, h, left, top = 200.0, 62.0, 17.0, 4.0
	svg := draw.NewSVG(w, h)
	lo, hi := ps[0].Lo, ps[0].Hi
	for _, p := range ps {
		lo, hi = min(lo, p.Lo), max(hi, p.Hi)
	}
	if hi == lo {
		hi = lo + 1
	}
	y := draw.Scale{From: lo, To: hi, Lo: h - 12, Hi: top}
	x := draw.Scale{From: -0.6, To: float64(len(ps)) - 0.4, Lo: left, Hi: w - 2}
	at, dec := draw.Ticks(lo, hi, 5)
	for _, v := range at {
		svg.Path([]draw.Point{{X: left, Y: y.At(v)}, {X: w - 2, Y: y.At(v)}}, false, draw.Pen{Ink: draw.Faint, Width: 0.2}, draw.None)
		svg.Text(draw.Point{X: left - 1.5, Y: y.At(v) + 0.9}, draw.Number(v, dec), draw.Text{Size: 2.8, Ink: draw.Soft, Anchor: draw.End})
	}
	every := 1 + len(ps)/28
	day := ""
	for i, p := range ps {
		px := x.At(float64(i))
		if p.Day != day {
			svg.Path([]draw.Point{{X: px - 1, Y: top}, {X: px - 1, Y: h - 6}}, false, draw.Pen{Ink: draw.Faint, Width: 0.2, Dash: []float64{0.8, 0.8}}, draw.None)
			if i%every == 0 || len(ps) < 28 {
				svg.Text(draw.Point{X: px, Y: h - 2.6}, string(say.Key(p.Day)), draw.Text{Size: 2.6, Ink: draw.Soft})
			}
			day = p.Day
		}
		if i%every == 0 {
			svg.Text(draw.Point{X: px, Y: h - 7}, strconv.Itoa(p.Run), draw.Text{Size: 2.8, Ink: draw.Soft, Anchor: draw.Middle})
		}
		svg.Link(fmt.Sprintf("/run/%d/turn/%d", p.Run, q.Turn), string(say.T("Run {run}, median {value} {unit}", p.Run, draw.Number(p.Median, 3), unit)), func() {
			svg.Path([]draw.Point{{X: px, Y: y.At(p.Lo)}, {X: px, Y: y.At(p.Hi)}}, false, draw.Pen{Ink: draw.Soft, Width: 0.35}, draw.None)
			draw.Mark(svg, draw.Point{X: px, Y: y.At(p.Median)}, 1.3, draw.Chosen)
		})
	}
	return svg.HTML("season", say.T("{measure} at turn {turn} by run, {unit}", say.Key(spaced(q.Measure)), q.Turn, unit), say.T("a dot is the median of a run's timed laps, the line from its least to its greatest lap; the same numbers stand in the table"))
}

type statusPage struct {
	Version         string
	Up              time.Duration
	Runs, Steps     int
	Bikes, Circuits int
	Meetings        []book.Meeting
	Last            int64 // newest event
	Stale           []int // runs whose results wait to be computed anew
	Swept           []string
	OpenSteps       []book.Step
	CircuitList     []book.CircuitRecord
	Sessions        int
	Served          served
	Streams         int64 // pages that listen now
	Uploads         int   // recordings being taken now
	MemoryMB        int64 // taken from the system
	Shared, TLS     bool
}

func (s *server) status(r *http.Request) (page, error) {
	d := statusPage{Sessions: len(s.door.list()), Version: "built from source", Up: time.Since(s.began).Round(time.Second), Swept: s.book.Swept()}
	var mem runtime.MemStats
	runtime.ReadMemStats(&mem)
	d.Served, d.Streams, d.Uploads, d.MemoryMB, d.Shared, d.TLS = s.gauge.now(), s.streams.Load(), len(s.uploads), int64(mem.Sys>>20), s.share, s.tls
	if b, ok := debug.ReadBuildInfo(); ok && b.Main.Version != "" {
		d.Version = b.Main.Version
	}
	runs, err := s.book.Runs(book.RunFilter{})
	if err != nil {
		return page{}, err
	}
	steps, err := s.book.Steps("")
	if err != nil {
		return page{}, err
	}
	bikes, err := s.book.Bikes()
	if err != nil {
		return page{}, err
	}
	if d.CircuitList, err = s.book.Circuits(); err != nil {
		return page{}, err
	}
	if d.Meetings, err = s.book.Meetings(); err != nil {
		return page{}, err
	}
	if d.Last, err = s.book.LastEvent(); err != nil {
		return page{}, err
	}
	if d.Stale, err = s.book.Stale(); err != nil {
		return page{}, err
	}
	d.Runs, d.Steps, d.Bikes, d.Circuits = len(runs), len(steps), len(bikes), len(d.CircuitList)
	for _, st := range steps {
		if st.State == book.Proposed || st.State == book.Loaded || st.State == book.Repeated {
			d.OpenSteps = append(d.OpenSteps, st)
		}
	}
	return page{Title: say.T("Status"), Name: "status", Body: d}, nil
}

// dayPDF is the meeting on paper.
func (s *server) dayPDF(w http.ResponseWriter, r *http.Request) {
	size, err := paperSize(r)
	var data []byte
	if err == nil {
		var d *paper.DayReport
		if d, err = s.report(r); err == nil {
			data, err = d.PDF(size)
		}
	}
	if err != nil {
		s.fail(w, r, err)
		return
	}
	w.Header().Set("Content-Type", "application/pdf")
	w.Header().Set("Content-Disposition", `inline; filename="day.pdf"`)
	w.Write(data) //nolint:errcheck // the reader may have gone
}
