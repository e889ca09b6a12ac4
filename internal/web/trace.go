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

// maxTraceLaps and maxTracePoints bound one answer.
const (
	maxTraceLaps   = 12
	maxTracePoints = 10000
)

// traceChannel is one quantity along the lap.
type traceChannel struct {
	Name string  `json:"name"`
	Unit string  `json:"unit"`
	From float64 `json:"from,omitempty"` // fixed scale where From < To
	To   float64 `json:"to,omitempty"`
	get  func(v *ride.Ride) []float64
	mul  float64
}

// traceChannels in the order of the panels; the first three are not drawn as
// panels: time along the lap gives the difference between laps, x and y the map.
var traceChannels = []traceChannel{
	{Name: "time", Unit: "s", mul: 1},
	{Name: "speed", Unit: "km/h", get: func(v *ride.Ride) []float64 { return v.Position.Speed }, mul: 3.6},
	{Name: "lean", Unit: "°", From: -65, To: 65, get: func(v *ride.Ride) []float64 { return v.Signals.Lean }, mul: 180 / math.Pi},
	{Name: "grip", Unit: "%", From: 0, To: 100, get: func(v *ride.Ride) []float64 { return v.Signals.Grip }, mul: 100},
	{Name: "throttle", Unit: "%", From: 0, To: 100, get: func(v *ride.Ride) []float64 { return v.Signals.Throttle }, mul: 100},
	{Name: "rear slip", Unit: "%", From: -10, To: 15, get: func(v *ride.Ride) []float64 { return v.Signals.RearSlip }, mul: 100},
	{Name: "cut", Unit: "%", From: 0, To: 60, get: func(v *ride.Ride) []float64 { return v.Signals.Cut }, mul: 100},
	{Name: "front brake", Unit: "bar", get: func(v *ride.Ride) []float64 { return v.Signals.FrontBrake }, mul: 1e-5},
	{Name: "engine", Unit: "1/min", get: func(v *ride.Ride) []float64 { return v.Signals.RPM }, mul: 1},
}

type lapChoice struct {
	circuit.Lap
	Mark   string
	Chosen bool
}

type tracePage struct {
	Run     book.Run
	Laps    []lapChoice
	Query   string
	Channel []string
	Circuit string
	Rest    []string // channels that this run cannot give
}

// traces is the page of laps against laps along the circuit.
func (s *server) traces(r *http.Request) (page, error) {
	x, err := s.runOf(r)
	if err != nil {
		return page{}, err
	}
	laps, err := s.book.Laps(r.Context(), x.Number)
	if err != nil {
		return page{}, err
	}
	marks, err := s.book.LapMarks(x.Number)
	if err != nil {
		return page{}, err
	}
	k, err := s.book.Bike(x.Bike)
	if err != nil {
		return page{}, err
	}
	d := tracePage{Run: x, Circuit: x.Circuit}
	chosen := chosenLaps(r, laps, k.Bike.Slots.Trial)
	var q []string
	for _, l := range laps {
		if l.Kind != circuit.TimedLap {
			continue
		}
		d.Laps = append(d.Laps, lapChoice{l, marks[l.Number], chosen[l.Number]})
		if chosen[l.Number] {
			q = append(q, "lap="+strconv.Itoa(l.Number))
		}
	}
	d.Query = strings.Join(q, "&")
	for _, c := range traceChannels[1:] {
		d.Channel = append(d.Channel, c.Name)
	}
	return page{Title: fmt.Sprintf("Traces · run %d", x.Number), Name: "traces", Body: d, Script: "traces.js"}, nil
}

// chosenLaps are the laps of the query, or the quickest of each slot.
func chosenLaps(r *http.Request, laps []circuit.Lap, trial string) map[int]bool {
	out := map[int]bool{}
	for _, v := range r.URL.Query()["lap"] {
		if n, err := strconv.Atoi(v); err == nil && len(out) < maxTraceLaps {
			out[n] = true
		}
	}
	if len(out) > 0 {
		return out
	}
	best := map[string]circuit.Lap{}
	var all []circuit.Lap
	for _, l := range laps {
		if l.Kind != circuit.TimedLap {
			continue
		}
		all = append(all, l)
		if b, ok := best[l.Slot]; !ok || l.Time() < b.Time() {
			best[l.Slot] = l
		}
	}
	for _, l := range best {
		out[l.Number] = true
	}
	if len(best) == 1 && len(all) > 1 {
		sort.Slice(all, func(i, j int) bool { return all[i].Time() < all[j].Time() })
		out[all[len(all)/2].Number] = true
	}
	return out
}

type traceHead struct {
	Step     float64        `json:"step_m"`
	Points   int            `json:"points"`
	Length   float64        `json:"length_m"`
	Laps     []traceLap     `json:"laps"`
	Channels []traceChannel `json:"channels"`
	Map      [2][]float32   `json:"map"`
	Turns    []traceTurn    `json:"turns"`
}

type traceLap struct {
	Lap   int     `json:"lap"`
	Slot  string  `json:"slot"`
	Time  float64 `json:"time_s"`
	Trial bool    `json:"trial"`
	Mark  string  `json:"mark,omitempty"`
}

type traceTurn struct {
	Label string  `json:"label"`
	Entry float64 `json:"entry_m"`
	Apex  float64 `json:"apex_m"`
	Exit  float64 `json:"exit_m"`
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
	w.Write(data) //nolint:errcheck // the reader may have gone
}

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
		return nil, &book.Error{Kind: book.ErrInvalid, Text: "this run has no place along the lap", Mend: "see the run's page for what its recording lacks"}
	}
	k, err := s.book.Bike(x.Bike)
	if err != nil {
		return nil, err
	}
	marks, err := s.book.LapMarks(x.Number)
	if err != nil {
		return nil, err
	}
	y := youOf(r)
	length := v.Circuit.Line.Length
	chosen := chosenLaps(r, v.Laps, k.Bike.Slots.Trial)
	head := traceHead{Length: length}
	var spans [][2]int
	most := 0
	pos := v.Position
	for _, l := range v.Laps {
		if !chosen[l.Number] || l.Kind != circuit.TimedLap {
			continue
		}
		a, b := pos.Index(l.Start), pos.Index(l.End)
		if b-a < 10 {
			continue
		}
		most = max(most, b-a)
		spans = append(spans, [2]int{a, b})
		head.Laps = append(head.Laps, traceLap{l.Number, l.Slot, l.Time(), l.Slot == k.Bike.Slots.Trial, marks[l.Number]})
	}
	if len(spans) == 0 {
		return nil, &book.Error{Kind: book.ErrNotFound, Text: "none of these laps is a timed lap of the run", Mend: "choose laps from the list"}
	}
	n := min(maxTracePoints, max(most, 200))
	head.Points, head.Step = n, length/float64(n-1)
	for _, c := range traceChannels {
		if c.get != nil && c.get(v) == nil {
			continue
		}
		q := c
		if m, u := y.Convert(1, c.Unit); u != c.Unit && c.Unit != "°" {
			q.mul, q.Unit = c.mul*m, unitName(u)
		}
		head.Channels = append(head.Channels, q)
	}
	for _, t := range v.Circuit.Turns {
		head.Turns = append(head.Turns, traceTurn{t.Label(), t.Entry, t.Apex, t.Exit})
	}
	line := v.Circuit.Line
	stride := 1 + len(line.X)/600
	for i := 0; i < len(line.X); i += stride {
		head.Map[0] = append(head.Map[0], float32(line.X[i]))
		head.Map[1] = append(head.Map[1], float32(line.Y[i]))
	}
	js, err := json.Marshal(head)
	if err != nil {
		return nil, err
	}
	for len(js)%4 != 0 {
		js = append(js, ' ')
	}
	out := make([]byte, 0, 8+len(js)+4*n*len(spans)*len(head.Channels))
	out = append(out, "CWT1"...)
	out = binary.LittleEndian.AppendUint32(out, uint32(len(js)))
	out = append(out, js...)
	at := make([]float64, n) // sample, with fraction, at each place; NaN outside
	for li, sp := range spans {
		places(at, pos.S[sp[0]:sp[1]+1], length, head.Step)
		for _, c := range head.Channels {
			var ch []float64
			if c.get != nil {
				ch = c.get(v)
			}
			for _, f := range at {
				val := math.NaN()
				if !math.IsNaN(f) {
					i := sp[0] + int(f)
					fr := f - math.Floor(f)
					if ch == nil {
						val = pos.Time[i] - lapStart(v, head.Laps[li].Lap)
						if fr > 0 && i+1 < len(pos.Time) {
							val += fr * (pos.Time[i+1] - pos.Time[i])
						}
					} else if i < len(ch) {
						val = ch[i]
						if fr > 0 && i+1 < len(ch) {
							val += fr * (ch[i+1] - ch[i])
						}
						val *= c.mul
					}
				}
				out = binary.LittleEndian.AppendUint32(out, math.Float32bits(float32(val)))
			}
		}
	}
	return out, nil
}

func lapStart(v *ride.Ride, lap int) float64 {
	for _, l := range v.Laps {
		if l.Number == lap {
			return l.Start
		}
	}
	return math.NaN()
}

// places finds for each even place along the lap the sample at which it was
// passed, with its fraction. s is unwrapped and grows but for noise.
func places(at, s []float64, length, step float64) {
	base := math.Round(s[0]/length) * length
	i := 0
	for k := range at {
		want := base + float64(k)*step
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
