package web

import (
	"encoding/binary"
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"sort"
	"strconv"
	"strings"

	"cornerwright/internal/book"
	"cornerwright/internal/circuit"
	"cornerwright/internal/ride"
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
		return page{}, &book.Error{Kind: book.ErrInvalid, Text: "this run has no place along a lap", Mend: "see the run's page for what its recording lacks"}
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
	return page{Title: "Laps laid over each other · run {1}", Args: []any{x.Number}, Name: "traces", Body: d, Script: "traces.js"}, nil
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

type traceHead struct {
	Start    float64        `json:"start_m"` // place of the first point
	Step     float64        `json:"step_m"`
	Points   int            `json:"points"`
	Length   float64        `json:"length_m"`
	Turn     string         `json:"turn,omitempty"` // "" along the whole lap
	Stretch  float64        `json:"stretch"`
	Laps     []traceLap     `json:"laps"`
	Channels []traceChannel `json:"channels"`
	Map      [2][]float32   `json:"map"`   // m east, north, evenly over MapM
	MapM     [2]float64     `json:"map_m"` // places from and to which the map shows
	Turns    []traceTurn    `json:"turns"`
	Phases   []tracePhase   `json:"phases"`
	Episodes []traceEpisode `json:"episodes"`
}

type traceLap struct {
	Run   int     `json:"run,omitempty"` // 0: the run of the page
	Lap   int     `json:"lap"`
	Slot  string  `json:"slot"`
	Time  float64 `json:"time_s"`
	Trial bool    `json:"trial"`
	Best  bool    `json:"best"` // of its run and slot among those shown
	Mark  string  `json:"mark,omitempty"`
}

type traceTurn struct {
	Label string  `json:"label"`
	Entry float64 `json:"entry_m"`
	Apex  float64 `json:"apex_m"`
	Exit  float64 `json:"exit_m"`
}

type tracePhase struct {
	Name string  `json:"name"`
	From float64 `json:"from_m"`
	To   float64 `json:"to_m"`
}

type traceEpisode struct {
	Lap  int     `json:"lap"` // index into Laps
	Kind string  `json:"kind"`
	From float64 `json:"from_m"`
	To   float64 `json:"to_m"`
	Text string  `json:"text,omitempty"`
}

// traceSpan is one lap, or one lap's way through a turn, in a run.
type traceSpan struct {
	v    *ride.Ride
	a, b int     // samples
	base float64 // unwrapped place of the answer's s = 0
	lap  traceLap
	pass *ride.Pass
}

// traceData answers the traces as numbers: four bytes "CWT1", the length of the
// head as little-endian uint32, the head as JSON padded with spaces to a whole
// number of four bytes, then for each lap, for each channel, points float32 in
// little-endian order at even places along the line; NaN where there is none.
func (s *server) traceData(w http.ResponseWriter, r *http.Request) {
	data, err := s.traceBytes(r)
	if err != nil {
		s.fail(w, r, err)
		return
	}
	w.Header().Set("Content-Type", "application/octet-stream")
	w.Header().Set("Content-Length", strconv.Itoa(len(data)))
	w.Write(data) //nolint:errcheck // the reader may have gone
}

var errNoPlace = &book.Error{Kind: book.ErrInvalid, Text: "this run has no place along the lap", Mend: "see the run's page for what its recording lacks"}

func (s *server) traceBytes(r *http.Request) ([]byte, error) {
	x, err := s.runOf(r)
	if err != nil {
		return nil, err
	}
	v, err := s.book.Ride(r.Context(), x.Number)
	if err != nil {
		return nil, err
	}
	if v.Position == nil || v.Circuit == nil || len(v.Position.Time) < 2 {
		return nil, errNoPlace
	}
	c := v.Circuit
	head := traceHead{Length: c.Line.Length, Stretch: roadStretch, Phases: []tracePhase{}, Episodes: []traceEpisode{}}
	var turn *circuit.Turn
	to := c.Line.Length
	if q := r.URL.Query().Get("turn"); q != "" {
		n, err := strconv.Atoi(q)
		if err == nil {
			turn = c.Turn(n)
		}
		if turn == nil {
			return nil, &book.Error{Kind: book.ErrNotFound, Text: fmt.Sprintf("%s has no turn %q", c.Name, q), Mend: "choose a turn on the map"}
		}
		head.Turn, head.Start = turn.Label(), turn.From
		to = turn.From + c.Wrap(turn.To-turn.From)
	}
	spans, err := s.spans(r, x, v, turn)
	if err != nil {
		return nil, err
	}
	if len(spans) == 0 {
		return nil, &book.Error{Kind: book.ErrNotFound, Text: "none of these laps is a timed lap of the run", Mend: "choose laps from the list"}
	}
	most := 0
	best := map[[2]string]int{}
	for i, sp := range spans {
		most = max(most, sp.b-sp.a)
		key := [2]string{strconv.Itoa(sp.lap.Run), sp.lap.Slot}
		if k, ok := best[key]; sp.lap.Mark == "" && (!ok || sp.lap.Time < spans[k].lap.Time) {
			best[key] = i
		}
	}
	for _, i := range best {
		spans[i].lap.Best = true
	}
	n := min(maxTracePoints, max(most, 200))
	head.Points, head.Step = n, (to-head.Start)/float64(n-1)
	y := youOf(r)
	for _, ch := range traceChannels {
		if ch.get != nil && ch.get(v) == nil || turn == nil && ch.Hidden {
			continue
		}
		if m, u := y.Convert(1, ch.Unit); u != ch.Unit && ch.Unit != "°" {
			ch.mul, ch.Unit = ch.mul*m, unitName(u)
		}
		head.Channels = append(head.Channels, ch)
	}
	for i, sp := range spans {
		head.Laps = append(head.Laps, sp.lap)
		head.Episodes = append(head.Episodes, sp.episodes(i, head.Start, to)...)
	}
	for _, t := range c.Turns {
		head.Turns = append(head.Turns, traceTurn{t.Label(), t.Entry, t.Apex, t.Exit})
	}
	if turn != nil {
		head.Phases = phasesOf(spans)
	}
	// The map shows the whole lap, closed, or the bend with a way before and after.
	dots, last := min(n, 600), min(n, 600)
	head.MapM = [2]float64{head.Start, to}
	if turn != nil {
		last--
		entry := head.Start + c.Wrap(turn.Entry-head.Start)
		head.MapM = [2]float64{math.Max(head.Start, entry-roadBefore), math.Min(to, entry+c.Wrap(turn.Exit-turn.Entry)+roadBefore)}
	}
	for i := range dots {
		px, py, _, _ := c.Line.At(head.MapM[0] + (head.MapM[1]-head.MapM[0])*float64(i)/float64(last))
		head.Map[0], head.Map[1] = append(head.Map[0], float32(px)), append(head.Map[1], float32(py))
	}
	js, err := json.Marshal(head)
	if err != nil {
		return nil, err
	}
	for len(js)%4 != 0 {
		js = append(js, ' ')
	}
	out := make([]byte, 8+len(js)+4*n*len(spans)*len(head.Channels))
	copy(out, "CWT1")
	binary.LittleEndian.PutUint32(out[4:], uint32(len(js)))
	copy(out[8:], js)
	body := out[8+len(js):]
	at := make([]float64, n) // sample, with fraction, at each place; NaN outside
	for _, sp := range spans {
		places(at, sp.v.Position.S[sp.a:sp.b+1], sp.base+head.Start, head.Step)
		for _, ch := range head.Channels {
			sp.fill(body, at, ch)
			body = body[4*n:]
		}
	}
	return out, nil
}

// fill writes one channel of a lap at the samples given.
func (sp *traceSpan) fill(dst []byte, at []float64, ch traceChannel) {
	var v []float64
	mul, zero := ch.mul, 0.0
	if ch.get != nil {
		v = ch.get(sp.v)
	} else {
		v, zero = sp.v.Position.Time, math.NaN()
		for _, f := range at { // since the first place that was passed
			if !math.IsNaN(f) {
				zero = between(v, sp.a, f)
				break
			}
		}
	}
	for k, f := range at {
		y := math.NaN()
		if !math.IsNaN(f) {
			y = (between(v, sp.a, f) - zero) * mul
		}
		binary.LittleEndian.PutUint32(dst[4*k:], math.Float32bits(float32(y)))
	}
}

// between is the value at sample a+f of v, straight between its neighbours.
func between(v []float64, a int, f float64) float64 {
	i := a + int(f)
	if i >= len(v) {
		return math.NaN()
	}
	y := v[i]
	if fr := f - math.Floor(f); fr > 0 && i+1 < len(v) {
		y += fr * (v[i+1] - y)
	}
	return y
}

// spans are the laps that the request asks for: along the whole lap those of
// the query or the usual ones, through a turn every timed lap that passed it.
func (s *server) spans(r *http.Request, x book.Run, v *ride.Ride, turn *circuit.Turn) ([]traceSpan, error) {
	rides := map[int]*ride.Ride{x.Number: v}
	order := []int{x.Number}
	asked := askedLaps(r, x.Number)
	for k := range asked {
		if rides[k.run] == nil {
			rides[k.run], order = nil, append(order, k.run)
		}
	}
	for _, q := range r.URL.Query()["with"] {
		if n, err := strconv.Atoi(q); err == nil && rides[n] == nil && len(order) < 4 {
			rides[n], order = nil, append(order, n)
		}
	}
	sort.Ints(order[1:])
	var out []traceSpan
	done := map[int]bool{}
	for _, n := range order {
		if done[n] {
			continue
		}
		done[n] = true
		o, w := x, v
		if n != x.Number {
			var err error
			if o, err = s.book.Run(strconv.Itoa(n)); err != nil {
				return nil, err
			}
			if o.Circuit != x.Circuit {
				return nil, &book.Error{Kind: book.ErrInvalid, Text: fmt.Sprintf("run %d was ridden on %s, not on %s", n, o.Circuit, x.Circuit), Mend: "lay laps of one circuit over each other"}
			}
			if w, err = s.book.Ride(r.Context(), n); err != nil {
				return nil, err
			}
			if w.Position == nil || w.Circuit == nil {
				return nil, errNoPlace
			}
		}
		marks, err := s.book.LapMarks(n)
		if err != nil {
			return nil, err
		}
		k, err := s.book.Bike(o.Bike)
		if err != nil {
			return nil, err
		}
		trial := k.Bike.Slots.Trial
		want := asked
		if len(asked) == 0 {
			want = usualLaps(n, w.Laps, marks, trial)
		}
		head := traceLap{}
		if n != x.Number {
			head.Run = n
		}
		if turn == nil {
			out = append(out, lapSpans(w, head, want, n, marks, trial)...)
		} else {
			out = append(out, turnSpans(w, head, asked, n, *turn, marks, trial)...)
		}
	}
	if most := maxTurnLaps; len(out) > most {
		out = out[:most]
	}
	return out, nil
}

func lapSpans(v *ride.Ride, head traceLap, want map[lapKey]bool, run int, marks map[int]string, trial string) []traceSpan {
	var out []traceSpan
	pos := v.Position
	for _, l := range v.Laps {
		if !want[lapKey{run, l.Number}] || l.Kind != circuit.TimedLap {
			continue
		}
		a, b := pos.Index(l.Start), pos.Index(l.End)
		if b-a < 10 {
			continue
		}
		head.Lap, head.Slot, head.Time, head.Trial, head.Mark = l.Number, l.Slot, l.Time(), l.Slot == trial, marks[l.Number]
		out = append(out, traceSpan{v: v, a: a, b: b, base: math.Round(pos.S[a]/v.Circuit.Line.Length) * v.Circuit.Line.Length, lap: head})
	}
	return out
}

func turnSpans(v *ride.Ride, head traceLap, asked map[lapKey]bool, run int, turn circuit.Turn, marks map[int]string, trial string) []traceSpan {
	var out []traceSpan
	pos := v.Position
	for i, p := range v.Passes {
		if p.Turn != turn.Number || !p.Timed || math.IsNaN(p.Segment) || len(asked) > 0 && !asked[lapKey{run, p.Lap}] {
			continue
		}
		a, b := pos.Index(p.Start), pos.Index(p.End)
		if b-a < 10 {
			continue
		}
		L := v.Circuit.Line.Length
		head.Lap, head.Slot, head.Time, head.Trial, head.Mark = p.Lap, p.Slot, p.Segment, p.Slot == trial, marks[p.Lap]
		out = append(out, traceSpan{v: v, a: a, b: b, base: math.Round((pos.S[a]-turn.From)/L) * L, lap: head, pass: &v.Passes[i]})
	}
	return out
}

// episodes of a span, as places between from and to.
func (sp *traceSpan) episodes(lap int, from, to float64) []traceEpisode {
	var out []traceEpisode
	pos := sp.v.Position
	t0, t1 := pos.Time[sp.a], pos.Time[sp.b]
	for _, e := range sp.v.Episodes {
		if e.End < t0 || e.Start > t1 {
			continue
		}
		q := traceEpisode{Lap: lap, Kind: string(e.Kind), From: pos.S[pos.Index(e.Start)] - sp.base, To: pos.S[pos.Index(e.End)] - sp.base}
		if q.To < from || q.From > to {
			continue
		}
		switch e.Kind {
		case ride.Cut:
			q.Text = fmt.Sprintf("%.0f %%", 100*e.Peak)
		case ride.Blip, ride.Upshift:
			if e.Shift != nil {
				q.Text = fmt.Sprintf("%d → %d", e.Shift.FromGear, e.Shift.ToGear)
			}
		case ride.Spin:
			q.Text = fmt.Sprintf("%.1f %%", 100*e.Peak)
		}
		out = append(out, q)
	}
	return out
}

// phasesOf are the phases of the middle lap, as places: the bands behind all.
func phasesOf(spans []traceSpan) []tracePhase {
	var l []traceSpan
	for _, sp := range spans {
		if sp.pass != nil && sp.pass.Whole && sp.lap.Mark == "" {
			l = append(l, sp)
		}
	}
	out := []tracePhase{}
	if len(l) == 0 {
		return out
	}
	sort.SliceStable(l, func(i, j int) bool { return l[i].lap.Time < l[j].lap.Time })
	sp := l[len(l)/2]
	p, pos := sp.pass, sp.v.Position
	edge := []float64{p.Start, p.TurnIn, p.Mid, p.Pickup, p.DriveOn, p.End}
	if !math.IsNaN(p.Brake) {
		edge[0] = p.Brake
	}
	for i, ph := range circuit.Phases {
		a, b := edge[i], edge[i+1]
		if math.IsNaN(a) || math.IsNaN(b) || b <= a {
			continue
		}
		out = append(out, tracePhase{strings.Replace(string(ph), "pickup", "pick-up", 1), pos.S[pos.Index(a)] - sp.base, pos.S[pos.Index(b)] - sp.base})
	}
	return out
}

// places finds for each even place from first on the sample at which it was
// passed, with its fraction. s is unwrapped and grows but for noise.
func places(at, s []float64, first, step float64) {
	i := 0
	for k := range at {
		want := first + float64(k)*step
		for i+1 < len(s) && s[i+1] < want {
			i++
		}
		switch {
		case i+1 >= len(s) || s[i+1] <= s[i]:
			at[k] = math.NaN()
			if i+1 < len(s) && s[i] >= want {
				at[k] = float64(i)
			}
			if i+1 >= len(s) && want-s[i] < 2*step {
				at[k] = float64(i)
			}
		case want < s[i]:
			at[k] = float64(i)
			if s[i]-want > 2*step+1 {
				at[k] = math.NaN()
			}
		default:
			at[k] = float64(i) + (want-s[i])/(s[i+1]-s[i])
		}
	}
}
