package web

import (
	"fmt"
	"math"
	"net/http"
	"sort"
	"strconv"
	"strings"

	"cornerwright/internal/book"
	"cornerwright/internal/circuit"
	"cornerwright/internal/ride"
	"cornerwright/internal/say"
)

// Bounds of one answer: laps along the whole lap, laps through one turn, points.
const (
	maxTraceLaps   = 12
	maxTurnLaps    = 48
	maxTracePoints = 10000
	roadStretch    = 5  // distances beside the line are drawn so many times as large
	roadBefore     = 60 // m of road shown before a bend and after it
)

// traceChannel is one quantity along the lap.
type traceChannel struct {
	Name   string  `json:"name"`
	Unit   string  `json:"unit"`
	From   float64 `json:"from,omitempty"` // fixed scale where From < To
	To     float64 `json:"to,omitempty"`
	Digits int     `json:"digits"`
	Hidden bool    `json:"hidden,omitempty"` // has no panel
	get    func(v *ride.Ride) []float64
	mul    float64
}

// traceChannels in the order of the panels. Time along the lap has none: the
// difference between laps comes of it; the offset is drawn on the map.
var traceChannels = []traceChannel{
	{Name: "time", Unit: "s", Digits: 3, mul: 1},
	{Name: "speed", Unit: "km/h", Digits: 1, get: func(v *ride.Ride) []float64 { return v.Position.Speed }, mul: 3.6},
	{Name: "lean", Unit: "°", From: -65, To: 65, Digits: 1, get: func(v *ride.Ride) []float64 { return v.Signals.Lean }, mul: 180 / math.Pi},
	{Name: "grip", Unit: "%", From: -3, To: 104, get: func(v *ride.Ride) []float64 { return v.Signals.Grip }, mul: 100},
	{Name: "throttle", Unit: "%", From: -3, To: 104, get: func(v *ride.Ride) []float64 { return v.Signals.Throttle }, mul: 100},
	{Name: "rear slip", Unit: "%", From: -10, To: 15, Digits: 1, get: func(v *ride.Ride) []float64 { return v.Signals.RearSlip }, mul: 100},
	{Name: "cut", Unit: "%", From: -2, To: 60, get: func(v *ride.Ride) []float64 { return v.Signals.Cut }, mul: 100},
	{Name: "front brake", Unit: "bar", Digits: 1, get: func(v *ride.Ride) []float64 { return v.Signals.FrontBrake }, mul: 1e-5},
	{Name: "engine", Unit: "1/min", get: func(v *ride.Ride) []float64 { return v.Signals.RPM }, mul: 1},
	{Name: "offset", Unit: "m", Digits: 2, Hidden: true, get: func(v *ride.Ride) []float64 { return v.Position.Offset }, mul: 1},
}

type lapChoice struct {
	circuit.Lap
	Key    string // "4" of this run, "3.4" of another
	Mark   string
	Chosen bool
}

// lapGroup is a run with its timed laps.
type lapGroup struct {
	Run  book.Run
	Own  bool
	Laps []lapChoice
}

type tracePage struct {
	Run     book.Run
	Groups  []lapGroup
	Others  []book.Run // at the same circuit, whose laps can be put beside
	Query   string
	Circuit string
	Max     int
}

// traces is the page of laps against laps along the circuit.
func (s *server) traces(r *http.Request) (page, error) {
	x, err := s.runOf(r)
	if err != nil {
		return page{}, err
	}
	d := tracePage{Run: x, Circuit: x.Circuit, Max: maxTraceLaps}
	if x.Circuit == "" {
		return page{}, &book.Error{Kind: book.ErrInvalid, Text: say.T("this run has no place along a lap"), Mend: say.T("see the run's page for what its recording lacks")}
	}
	runs, err := s.book.Runs(book.RunFilter{Circuit: x.Circuit})
	if err != nil {
		return page{}, err
	}
	with := map[int]bool{x.Number: true}
	for _, v := range r.URL.Query()["with"] {
		if n, err := strconv.Atoi(v); err == nil {
			with[n] = true
		}
	}
	asked := askedLaps(r, x.Number)
	for k := range asked {
		with[k.run] = true
	}
	for _, o := range runs {
		if !with[o.Number] {
			d.Others = append(d.Others, o)
			continue
		}
		laps, err := s.book.Laps(r.Context(), o.Number)
		if err != nil {
			return page{}, err
		}
		marks, err := s.book.LapMarks(o.Number)
		if err != nil {
			return page{}, err
		}
		if len(asked) == 0 && o.Number == x.Number {
			k, err := s.book.Bike(x.Bike)
			if err != nil {
				return page{}, err
			}
			asked = usualLaps(x.Number, laps, marks, k.Bike.Slots.Trial)
		}
		g := lapGroup{Run: o, Own: o.Number == x.Number}
		for _, l := range laps {
			if l.Kind == circuit.TimedLap {
				g.Laps = append(g.Laps, lapChoice{l, lapKey{o.Number, l.Number}.text(x.Number), marks[l.Number], asked[lapKey{o.Number, l.Number}]})
			}
		}
		if g.Own {
			d.Groups = append([]lapGroup{g}, d.Groups...)
		} else {
			d.Groups = append(d.Groups, g)
		}
	}
	var q []string
	for k := range asked {
		q = append(q, "lap="+k.text(x.Number))
	}
	sort.Strings(q)
	d.Query = strings.Join(q, "&")
	return page{Title: say.T("Laps laid over each other · run {1}", x.Number), Name: "traces", Body: d, Script: "traces.js"}, nil
}

// lapKey names a lap of the book.
type lapKey struct{ run, lap int }

// text is how a lap is written in an address of a run's page.
func (k lapKey) text(own int) string {
	if k.run == own {
		return strconv.Itoa(k.lap)
	}
	return fmt.Sprintf("%d.%d", k.run, k.lap)
}

// askedLaps are the laps of the query: "4" is of this run, "3.4" lap 4 of run 3.
func askedLaps(r *http.Request, own int) map[lapKey]bool {
	out := map[lapKey]bool{}
	for _, v := range r.URL.Query()["lap"] {
		k := lapKey{run: own}
		run, lap, other := strings.Cut(v, ".")
		if !other {
			run, lap = strconv.Itoa(own), v
		}
		var err1, err2 error
		k.run, err1 = strconv.Atoi(run)
		k.lap, err2 = strconv.Atoi(lap)
		if err1 == nil && err2 == nil && len(out) < maxTraceLaps {
			out[k] = true
		}
	}
	return out
}

// usualLaps are the quickest lap of each slot that was not struck; with one slot
// the quickest and the middle one.
func usualLaps(run int, laps []circuit.Lap, marks map[int]string, trial string) map[lapKey]bool {
	best := map[string]circuit.Lap{}
	var all []circuit.Lap
	for _, l := range laps {
		if l.Kind != circuit.TimedLap || marks[l.Number] != "" {
			continue
		}
		all = append(all, l)
		if b, ok := best[l.Slot]; !ok || l.Time() < b.Time() {
			best[l.Slot] = l
		}
	}
	out := map[lapKey]bool{}
	for _, l := range best {
		out[lapKey{run, l.Number}] = true
	}
	if len(best) == 1 && len(all) > 1 {
		sort.Slice(all, func(i, j int) bool { return all[i].Time() < all[j].Time() })
		out[lapKey{run, all[len(all)/2].Number}] = true
	}
	return out
}
