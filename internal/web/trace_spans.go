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
				return nil, &book.Error{Kind: book.ErrInvalid, Text: say.T("run {n} was ridden on {circuit}, not on {circuit2}", n, o.Circuit, x.Circuit), Mend: say.T("lay laps of one circuit over each other")}
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
