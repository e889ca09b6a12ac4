package web

import (
	"encoding/binary"
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"strconv"

	"cornerwright/internal/book"
	"cornerwright/internal/circuit"
	"cornerwright/internal/ride"
	"cornerwright/internal/say"
	"cornerwright/internal/unit"
)

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

var errNoPlace = &book.Error{Kind: book.ErrInvalid, Text: say.T("this run has no place along the lap"), Mend: say.T("see the run's page for what its recording lacks")}

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
			return nil, &book.Error{Kind: book.ErrNotFound, Text: say.T("{name} has no turn {q}", c.Name, fmt.Sprintf("%q", q)), Mend: say.T("choose a turn on the map")}
		}
		head.Turn, head.Start = turn.Label(), turn.From
		to = turn.From + c.Wrap(turn.To-turn.From)
	}
	spans, err := s.spans(r, x, v, turn)
	if err != nil {
		return nil, err
	}
	if len(spans) == 0 {
		return nil, &book.Error{Kind: book.ErrNotFound, Text: say.T("none of these laps is a timed lap of the run"), Mend: say.T("choose laps from the list")}
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
			ch.mul, ch.Unit = ch.mul*m, unit.Shown(u)
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
