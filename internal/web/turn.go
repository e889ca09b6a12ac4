package web

import (
	"fmt"
	"html/template"
	"math"
	"net/http"
	"slices"
	"sort"
	"strconv"

	"cornerwright/internal/book"
	"cornerwright/internal/circuit"
	"cornerwright/internal/draw"
	"cornerwright/internal/ride"
	"cornerwright/internal/say"
	"cornerwright/internal/unit"
)

type turnPage struct {
	Run      book.Run
	Turn     circuit.Turn
	Prev     int
	Next     int
	Strip    template.HTML
	Shown    []say.Text
	Passes   []ride.Pass
	Episodes []ride.Episode
	Line     template.HTML // on the road
	Happened []happening
	Best     map[int]bool   // laps that are the quickest here of their slot
	Struck   map[int]string // laps with the word they were struck by
	Said     []book.Remark  // about this turn
	Others   []book.Run     // at the same circuit
	With     int            // of them, the one whose laps stand beside; 0 for none
}

// happening sums one kind of episode up over the laps.
type happening struct {
	Kind     ride.Kind
	Laps, Of int // timed laps with it, and all
	Count    int
	Phases   say.Text
	Length   float64 // s, median
	Inferred bool
}

// happenings sums the episodes of the timed laps up, most frequent first.
func happenings(es []ride.Episode, ps []ride.Pass) []happening {
	timed := map[int]bool{}
	for _, p := range ps {
		timed[p.Lap] = true
	}
	by := map[ride.Kind]*happening{}
	laps, phases, lengths := map[ride.Kind]map[int]bool{}, map[ride.Kind]map[circuit.Phase]int{}, map[ride.Kind][]float64{}
	for _, e := range es {
		if !timed[e.Lap] {
			continue
		}
		if by[e.Kind] == nil {
			by[e.Kind], laps[e.Kind], phases[e.Kind] = &happening{Kind: e.Kind, Of: len(timed)}, map[int]bool{}, map[circuit.Phase]int{}
		}
		h := by[e.Kind]
		h.Count++
		h.Inferred = h.Inferred || e.Inferred
		laps[e.Kind][e.Lap] = true
		phases[e.Kind][e.Phase]++
		lengths[e.Kind] = append(lengths[e.Kind], e.End-e.Start)
	}
	var out []happening
	for k, h := range by {
		h.Laps, h.Length = len(laps[k]), median(lengths[k])
		var names []say.Text
		for _, ph := range circuit.Phases {
			if n := phases[k][ph]; n > 0 {
				names = append(names, say.Key(phaseName(ph)))
			}
		}
		h.Phases = say.Join(names, ", ")
		out = append(out, *h)
	}
	sort.Slice(out, func(i, j int) bool {
		a, b := out[i], out[j]
		if a.Laps != b.Laps {
			return a.Laps > b.Laps
		}
		return a.Kind < b.Kind
	})
	return out
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
		return page{}, &book.Error{Kind: book.ErrNotFound, Text: say.T("{x} is no turn number", fmt.Sprintf("%q", r.PathValue("turn"))), Mend: say.T("choose a turn on the map")}
	}
	c, err := s.book.Circuit(x.Circuit)
	if err != nil {
		return page{}, err
	}
	t := c.Turn(n)
	if t == nil {
		return page{}, &book.Error{Kind: book.ErrNotFound, Text: say.T("{name} has no turn {n}", c.Name, n), Mend: say.T("its turns are 1 to {turns}", len(c.Turns))}
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
	d.Happened = happenings(d.Episodes, d.Passes)
	if d.Struck, err = s.book.LapMarks(x.Number); err != nil {
		return page{}, err
	}
	d.Best = map[int]bool{}
	quickest := map[string]ride.Pass{}
	for _, p := range d.Passes {
		if b, ok := quickest[p.Slot]; d.Struck[p.Lap] == "" && p.Whole && !math.IsNaN(p.Segment) && (!ok || p.Segment < b.Segment) {
			quickest[p.Slot] = p
		}
	}
	for _, p := range quickest {
		d.Best[p.Lap] = true
	}
	rs, err := s.book.Remarks(x.Number)
	if err != nil {
		return page{}, err
	}
	for _, m := range rs {
		if slices.Contains(m.Turns, n) && !m.Struck && m.Words != "" {
			d.Said = append(d.Said, m)
		}
	}
	runs, err := s.book.Runs(book.RunFilter{Circuit: x.Circuit})
	if err != nil {
		return page{}, err
	}
	with, _ := strconv.Atoi(r.URL.Query().Get("with"))
	for _, o := range runs {
		if o.Number != x.Number {
			d.Others = append(d.Others, o)
			if o.Number == with {
				d.With = with
			}
		}
	}
	d.Strip, d.Shown = strip(v, c, d.Passes, k.Bike.Slots.Trial, youOf(r))
	d.Line = roadLine(v, c, *t, d.Passes, k.Bike.Slots.Trial)
	return page{Title: say.T("Turn {1} · run {2}", t.Label(), x.Number), Name: "turn", Body: d, Script: "traces.js"}, nil
}

// lapName tells a lap of the strip, by its slot where it has one.
func lapName(quickest bool, slot string, p ride.Pass) say.Text {
	s := draw.Number(p.Segment, 3)
	switch {
	case quickest && slot != "":
		return say.T("slot {slot}, quickest lap {lap}, {segment} s", slot, p.Lap, s)
	case quickest:
		return say.T("quickest lap {lap}, {segment} s", p.Lap, s)
	case slot != "":
		return say.T("slot {slot}, median lap {lap}, {segment} s", slot, p.Lap, s)
	}
	return say.T("median lap {lap}, {segment} s", p.Lap, s)
}

// strip draws the laps that matter: per slot the median lap thick and the
// quickest one thin.
func strip(v *ride.Ride, c *circuit.Circuit, ps []ride.Pass, trial string, y You) (template.HTML, []say.Text) {
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
		name say.Text
	}
	var laps []shown
	for _, q := range slots {
		l := bySlot[q]
		sort.Slice(l, func(i, j int) bool { return l[i].Segment < l[j].Segment })
		look := draw.Reference
		if q == trial && len(slots) > 1 {
			look = draw.Trial
		}
		mid := l[len(l)/2]
		if len(slots) == 1 {
			look = draw.Median
		}
		laps = append(laps, shown{mid, look, lapName(false, q, mid)})
		if len(l) > 1 && len(slots) == 1 {
			laps = append(laps, shown{l[0], draw.Reference, lapName(true, q, l[0])})
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
			se := draw.Series{Look: q.look, Title: string(q.name)}
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
			panels = append(panels, draw.Panel{Name: string(say.Key(name)), Unit: unit, Series: se, From: from, To: to, Zero: zero})
		}
	}
	kmh, speedUnit := y.Convert(3.6, "km/h")
	bar, barUnit := y.Convert(1e-5, "bar")
	add("speed", unit.Shown(speedUnit), pos.Speed, kmh, 0, 0, false)
	add("lean", "°", sg.Lean, 180/math.Pi, -65, 65, true)
	add("grip", "%", sg.Grip, 100, 0, 100, false)
	add("throttle", "%", sg.Throttle, 100, 0, 100, false)
	add("rear slip", "%", sg.RearSlip, 100, -10, 15, true)
	add("cut", "%", sg.Cut, 100, 0, 60, false)
	add("front brake", barUnit, sg.FrontBrake, bar, 0, 0, false)
	m := laps[0].p
	var bands []draw.Band
	edge := []float64{m.Brake, m.TurnIn, m.Mid, m.Pickup, m.DriveOn, m.End}
	for i, ph := range circuit.Phases {
		if from, to := edge[i], edge[i+1]; !math.IsNaN(from) && !math.IsNaN(to) && to > from {
			bands = append(bands, draw.Band{Phase: ph, From: from - m.Start, To: to - m.Start})
		}
	}
	svg := draw.NewSVG(240, 150)
	h := draw.Strip(svg, bands, panels, draw.StripOptions{Width: 240, XName: string(say.T("s after the window opens"))})
	svg.Resize(240, h)
	var names []say.Text
	for _, q := range laps {
		names = append(names, q.name)
	}
	return svg.HTML("strip", say.T("Turn strip"), say.T("speed, lean, grip, throttle, slip, cut and brake through the five phases")), names
}

// roadLine draws the bend from above: the reference line, and where the laps
// that matter ran beside it. Offsets are drawn five times as large, or a line
// half a metre off could not be seen.
func roadLine(v *ride.Ride, c *circuit.Circuit, t circuit.Turn, ps []ride.Pass, trial string) template.HTML {
	pos := v.Position
	if pos == nil || pos.Lost || len(pos.Offset) == 0 || len(c.Line.X) == 0 {
		return ""
	}
	const times, w, h = 5.0, 150.0, 90.0
	from := t.Entry - 60
	d := math.Mod(t.Exit+60-from, c.Line.Length)
	if d < 0 {
		d += c.Line.Length
	}
	n := int(d/2) + 1
	base := make([]draw.Point, n)
	norm := make([]draw.Point, n)
	for i := range base {
		x, y, hd, _ := c.Line.At(from + d*float64(i)/float64(n-1))
		base[i] = draw.Point{X: x, Y: y}
		norm[i] = draw.Point{X: math.Cos(hd), Y: -math.Sin(hd)} // to the right of the heading
	}
	type path struct {
		p    []draw.Point
		look draw.Look
		name string
	}
	var paths []path
	for _, p := range ps {
		if !p.Whole || len(paths) >= 12 {
			continue
		}
		look := draw.Reference
		if p.Slot == trial {
			look = draw.Trial
		}
		a, b := pos.Index(p.Start), pos.Index(p.End)
		q := path{look: look, name: string(say.T("lap {lap}, slot {slot}", p.Lap, p.Slot))}
		i := a
		lap := math.Floor(pos.S[a]/c.Line.Length) * c.Line.Length
		for k := range base {
			s := lap + from + d*float64(k)/float64(n-1)
			if s < pos.S[a]-c.Line.Length/2 {
				s += c.Line.Length
			}
			for i < b && pos.S[i] < s {
				i++
			}
			if i == a || i >= b {
				q.p = append(q.p, draw.Point{X: math.NaN(), Y: math.NaN()})
				continue
			}
			o := times * pos.Offset[i]
			q.p = append(q.p, draw.Point{X: base[k].X + o*norm[k].X, Y: base[k].Y + o*norm[k].Y})
		}
		paths = append(paths, q)
	}
	if len(paths) == 0 {
		return ""
	}
	x0, x1, y0, y1 := math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)
	see := func(p draw.Point) {
		if !math.IsNaN(p.X) {
			x0, x1, y0, y1 = math.Min(x0, p.X), math.Max(x1, p.X), math.Min(y0, p.Y), math.Max(y1, p.Y)
		}
	}
	for _, p := range base {
		see(p)
	}
	for _, q := range paths {
		for _, p := range q.p {
			see(p)
		}
	}
	k := math.Min((w-12)/math.Max(x1-x0, 1), (h-12)/math.Max(y1-y0, 1))
	at := func(p draw.Point) draw.Point {
		return draw.Point{X: 6 + k*(p.X-x0) + (w-12-k*(x1-x0))/2, Y: h - 6 - k*(p.Y-y0) - (h-12-k*(y1-y0))/2}
	}
	all := func(ps []draw.Point) []draw.Point {
		out := make([]draw.Point, len(ps))
		for i := range ps {
			out[i] = at(ps[i])
		}
		return out
	}
	svg := draw.NewSVG(w, h)
	svg.Path(all(base), false, draw.Pen{Ink: draw.Faint, Width: 1.2}, draw.None)
	for _, q := range paths {
		svg.Titled(q.name, func() { svg.Path(all(q.p), false, q.look.Pen(), draw.None) })
	}
	a := at(base[0])
	svg.Text(draw.Point{X: a.X, Y: a.Y - 1.5}, string(say.T("in")), draw.Text{Size: 3, Ink: draw.Soft, Anchor: draw.Middle, Halo: true})
	z := at(base[n-1])
	svg.Text(draw.Point{X: z.X, Y: z.Y - 1.5}, string(say.T("out")), draw.Text{Size: 3, Ink: draw.Soft, Anchor: draw.Middle, Halo: true})
	return svg.HTML("line", say.T("Line on the road"), say.T("distances beside the reference line are drawn five times as large; reference laps thin, trial laps solid"))
}
