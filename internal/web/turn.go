package web

import (
	"fmt"
	"html/template"
	"math"
	"net/http"
	"sort"
	"strconv"

	"cornerwright/internal/book"
	"cornerwright/internal/circuit"
	"cornerwright/internal/draw"
	"cornerwright/internal/ride"
)

type turnPage struct {
	Run      book.Run
	Turn     circuit.Turn
	Prev     int
	Next     int
	Strip    template.HTML
	Shown    []string
	Passes   []ride.Pass
	Episodes []ride.Episode
}

// turn shows every lap through one turn: the quickest and the median lap of
// each slot as a strip, all passes as a table, and the episodes.
func (s *server) turn(r *http.Request) (page, error) {
	x, err := s.runOf(r)
	if err != nil {
		return page{}, err
	}
	n, err := strconv.Atoi(r.PathValue("turn"))
	if err != nil {
		return page{}, &book.Error{Kind: book.ErrNotFound, Text: fmt.Sprintf("%q is no turn number", r.PathValue("turn")), Mend: "choose a turn on the map"}
	}
	c, err := s.book.Circuit(x.Circuit)
	if err != nil {
		return page{}, err
	}
	t := c.Turn(n)
	if t == nil {
		return page{}, &book.Error{Kind: book.ErrNotFound, Text: fmt.Sprintf("%s has no turn %d", c.Name, n), Mend: fmt.Sprintf("its turns are 1 to %d", len(c.Turns))}
	}
	k, err := s.book.Bike(x.Bike)
	if err != nil {
		return page{}, err
	}
	v, err := s.book.Ride(r.Context(), x.Number)
	if err != nil {
		return page{}, err
	}
	d := turnPage{Run: x, Turn: *t, Prev: (n+len(c.Turns)-2)%len(c.Turns) + 1, Next: n%len(c.Turns) + 1}
	for _, p := range v.Passes {
		if p.Turn == n && p.Timed {
			d.Passes = append(d.Passes, p)
		}
	}
	for _, e := range v.Episodes {
		if e.Turn == n {
			d.Episodes = append(d.Episodes, e)
		}
	}
	d.Strip, d.Shown = strip(v, c, d.Passes, k.Bike.Slots.Trial)
	return page{Title: fmt.Sprintf("Turn %s · run %d", t.Label(), x.Number), Name: "turn", Body: d}, nil
}

// strip draws the laps that matter: per slot the median lap thick and the
// quickest one thin.
func strip(v *ride.Ride, c *circuit.Circuit, ps []ride.Pass, trial string) (template.HTML, []string) {
	bySlot := map[string][]ride.Pass{}
	for _, p := range ps {
		if p.Whole && !math.IsNaN(p.Segment) {
			bySlot[p.Slot] = append(bySlot[p.Slot], p)
		}
	}
	slots := make([]string, 0, len(bySlot))
	for q := range bySlot {
		slots = append(slots, q)
	}
	sort.Strings(slots)
	type shown struct {
		p    ride.Pass
		look draw.Look
		name string
	}
	var laps []shown
	for _, q := range slots {
		l := bySlot[q]
		sort.Slice(l, func(i, j int) bool { return l[i].Segment < l[j].Segment })
		look := draw.Reference
		if q == trial && len(slots) > 1 {
			look = draw.Trial
		}
		label := ""
		if q != "" {
			label = "slot " + q + ", "
		}
		mid := l[len(l)/2]
		if len(slots) == 1 {
			look = draw.Median
		}
		laps = append(laps, shown{mid, look, fmt.Sprintf("%smedian lap %d, %.3f s", label, mid.Lap, mid.Segment)})
		if len(l) > 1 && len(slots) == 1 {
			laps = append(laps, shown{l[0], draw.Reference, fmt.Sprintf("%squickest lap %d, %.3f s", label, l[0].Lap, l[0].Segment)})
		}
	}
	if len(laps) == 0 || v.Position == nil {
		return "", nil
	}
	pos := v.Position
	series := func(y []float64, scale float64) []draw.Series {
		if y == nil {
			return nil
		}
		var out []draw.Series
		for _, q := range laps {
			a, b := pos.Index(q.p.Start), pos.Index(q.p.End)
			stride := 1 + (b-a)/400
			se := draw.Series{Look: q.look, Title: q.name}
			for i := a; i <= b && i < len(y); i += stride {
				se.X = append(se.X, pos.Time[i]-q.p.Start)
				se.Y = append(se.Y, y[i]*scale)
			}
			out = append(out, se)
		}
		return out
	}
	sg := &v.Signals
	var panels []draw.Panel
	add := func(name, unit string, y []float64, scale float64, from, to float64, zero bool) {
		if se := series(y, scale); se != nil {
			panels = append(panels, draw.Panel{Name: name, Unit: unit, Series: se, From: from, To: to, Zero: zero})
		}
	}
	add("speed", "km/h", pos.Speed, 3.6, 0, 0, false)
	add("lean", "°", sg.Lean, 180/math.Pi, -65, 65, true)
	add("grip", "%", sg.Grip, 100, 0, 100, false)
	add("throttle", "%", sg.Throttle, 100, 0, 100, false)
	add("rear slip", "%", sg.RearSlip, 100, -10, 15, true)
	add("cut", "%", sg.Cut, 100, 0, 60, false)
	add("front brake", "bar", sg.FrontBrake, 1e-5, 0, 0, false)
	m := laps[0].p
	var bands []draw.Band
	edge := []float64{m.Brake, m.TurnIn, m.Mid, m.Pickup, m.DriveOn, m.End}
	for i, ph := range circuit.Phases {
		if from, to := edge[i], edge[i+1]; !math.IsNaN(from) && !math.IsNaN(to) && to > from {
			bands = append(bands, draw.Band{Phase: ph, From: from - m.Start, To: to - m.Start})
		}
	}
	svg := draw.NewSVG(180, 150)
	h := draw.Strip(svg, bands, panels, draw.StripOptions{Width: 180, XName: "s after the window opens"})
	svg.Resize(180, h)
	var names []string
	for _, q := range laps {
		names = append(names, q.name)
	}
	return svg.HTML("strip", "Turn strip", "speed, lean, grip, throttle, slip, cut and brake through the five phases"), names
}
