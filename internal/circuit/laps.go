package circuit

import (
	"fmt"
	"math"
	"sort"
	"strings"

	"cornerwright/internal/recording"
	"cornerwright/internal/say"
	"cornerwright/internal/signal"
)

const (
	slowLane  = 20.0 // m/s: below this and far from the line is the pit lane
	offLine   = 8.0  // m
	standing  = 1.5  // m/s
	unseen    = 1.5  // s before the first or after the last fix, where the gate is passed by dead reckoning
	vagueLap  = 0.2  // s of standard error: beyond it a time is no lap time
	rollStart = 15.0 // m/s: data that begin faster than this begin mid-lap
)

// CrossAll gives the instants at which the bike passes place s (m from the
// gate) on any lap, in order.
func (p *Position) CrossAll(c *Circuit, s float64) []float64 {
	l := c.Line.Length
	n := len(p.S)
	if n == 0 {
		return nil
	}
	var out []float64
	k := math.Ceil((p.S[0] - s) / l)
	next := s + k*l
	high := p.S[0]
	for i := 1; i < n; i++ {
		if p.S[i] <= high {
			continue
		}
		for p.S[i] >= next {
			w := (next - p.S[i-1]) / (p.S[i] - p.S[i-1])
			out = append(out, p.Time[i-1]+w*(p.Time[i]-p.Time[i-1]))
			next += l
		}
		high = p.S[i]
	}
	return out
}

// CrossAt gives the instant at which unwrapped place S is first passed; NaN if
// the data do not reach it.
func (p *Position) CrossAt(s float64) float64 {
	n := len(p.S)
	if n == 0 || s < p.S[0] || s > p.S[n-1] {
		return math.NaN()
	}
	i := sort.Search(n, func(i int) bool { return p.S[i] >= s })
	// S may rock back by centimetres at a standstill; the search lands beside it.
	for i > 0 && p.S[i-1] >= s {
		i--
	}
	for i < n && p.S[i] < s {
		i++
	}
	if i == 0 {
		return p.Time[0]
	}
	if i >= n {
		return math.NaN()
	}
	w := (s - p.S[i-1]) / (p.S[i] - p.S[i-1])
	return p.Time[i-1] + w*(p.Time[i]-p.Time[i-1])
}

// Index is the grid index at or before recording time t, within the grid.
func (p *Position) Index(t float64) int {
	n := len(p.Time)
	if n < 2 {
		return 0
	}
	i := int((t - p.Time[0]) / (p.Time[1] - p.Time[0]))
	return min(max(i, 0), n-1)
}

// cutLaps cuts the run at the gate.
func (l *Located) cutLaps(rec *recording.Recording, j *joint) []Lap {
	p := l.Position
	n := len(p.Time)
	cross := p.CrossAll(l.Circuit, 0)
	marks := markerTimes(rec)
	marked := false
	if len(marks) > 0 && len(cross) > 0 {
		// The marker rules where it agrees with the position.
		for i, t := range cross {
			for _, m := range marks {
				if math.Abs(m-t) < 1.5 {
					cross[i], marked = m, true
				}
			}
		}
	}
	var laps []Lap
	add := func(kind LapKind, a, b float64) {
		laps = append(laps, Lap{Number: len(laps) + 1, Kind: kind, Start: a, End: b, Clock: p.Clock})
	}
	first, last := p.Time[0], p.Time[n-1]
	if len(cross) == 0 {
		add(BrokenLap, first, last)
		return l.describe(rec, laps, j)
	}
	if cross[0]-first > 2 {
		kind := OutLap
		if p.Speed[0] > rollStart {
			kind = BrokenLap
		}
		add(kind, first, cross[0])
	}
	for i := 0; i+1 < len(cross); i++ {
		add(TimedLap, cross[i], cross[i+1])
	}
	if last-cross[len(cross)-1] > 2 {
		kind := InLap
		if p.Speed[n-1] > rollStart {
			kind = BrokenLap
		}
		add(kind, cross[len(cross)-1], last)
	}
	for i := range laps {
		lap := &laps[i]
		if lap.Kind != TimedLap {
			continue
		}
		l.judge(lap, j)
		if lap.Kind == TimedLap {
			if marked {
				dt := p.Time[1] - p.Time[0]
				if c := rec.Channel(recording.LapMarker); c != nil && c.Rate() > 0 {
					dt = 1 / c.Rate()
				}
				lap.TimeSE = dt / math.Sqrt(6) // two ends, each even over one sample
				lap.Marks = append(lap.Marks, say.T("timed by the lap marker"))
			} else {
				lap.TimeSE = math.Hypot(l.spanSE(lap.Start, lap.End), p.Clock.GainSE*(lap.End-lap.Start))
				if lap.TimeSE > vagueLap {
					lap.Kind = BrokenLap
					lap.Marks = append(lap.Marks, say.T("time known to {timese} s only", fmt.Sprintf("%.1f", 2*lap.TimeSE)))
					lap.TimeSE = 0
				}
			}
		}
	}
	l.rolledIn(laps)
	// A lap that begins in the pit lane is an out lap, one that ends there an in lap.
	for i := range laps {
		if laps[i].Kind != BrokenLap || !hasMark(laps[i], "pit") {
			continue
		}
		switch a, b := l.laneNear(laps[i].Start, j), l.laneNear(laps[i].End, j); {
		case a && !b:
			laps[i].Kind = OutLap
		case b && !a:
			laps[i].Kind = InLap
		}
	}
	// The pit lane may lie beside the gate: the moments before it belong to the
	// out lap that follows.
	if len(laps) > 2 && laps[0].Kind == OutLap && laps[1].Kind == OutLap {
		laps[1].Start = laps[0].Start
		laps = laps[1:]
		for i := range laps {
			laps[i].Number = i + 1
		}
	}
	if k := len(laps) - 1; k > 1 && laps[k].Kind == InLap && laps[k-1].Kind == InLap {
		laps[k-1].End = laps[k].End
		laps = laps[:k]
	}
	return l.describe(rec, laps, j)
}

// slowStart is the share of the usual speed at the gate below which a lap did not
// begin or end in full flight.
const slowStart = 0.7

// rolledIn finds first laps that begin out of the pit lane beyond the gate, and
// last ones that end into it before the gate, where the lane lies too near the
// line to tell it by place: the bike passes the gate far slower than on the other
// laps, and no timed lap came before or comes after.
func (l *Located) rolledIn(laps []Lap) {
	p := l.Position
	var v []float64
	for _, lap := range laps {
		if lap.Kind == TimedLap {
			v = append(v, p.Speed[p.Index(lap.Start)])
		}
	}
	if len(v) < 3 {
		return
	}
	usual := signal.Median(v)
	for i := range laps {
		if laps[i].Kind != TimedLap || i > 0 && laps[i-1].Kind == TimedLap {
			continue
		}
		if at := p.Speed[p.Index(laps[i].Start)]; at < slowStart*usual {
			laps[i].Kind, laps[i].TimeSE = OutLap, 0
			laps[i].Marks = append(laps[i].Marks, say.T("began at {at} km/h, the others at {usual}", fmt.Sprintf("%.0f", 3.6*at), fmt.Sprintf("%.0f", 3.6*usual)))
		}
	}
	for i := range laps {
		if laps[i].Kind != TimedLap || i+1 < len(laps) && laps[i+1].Kind == TimedLap {
			continue
		}
		if at := p.Speed[p.Index(laps[i].End)]; at < slowStart*usual {
			laps[i].Kind, laps[i].TimeSE = InLap, 0
			laps[i].Marks = append(laps[i].Marks, say.T("ended at {at} km/h, the others at {usual}", fmt.Sprintf("%.0f", 3.6*at), fmt.Sprintf("%.0f", 3.6*usual)))
		}
	}
}

// laneNear tells whether the bike was slow and far from the line within four
// seconds of t.
func (l *Located) laneNear(t float64, j *joint) bool {
	for i, q := range l.fixT {
		if math.Abs(q-t) < 4 && l.fixV[i] < slowLane && math.Abs(j.aside[i]) > offLine {
			return true
		}
	}
	return false
}

func hasMark(l Lap, word string) bool {
	for _, m := range l.Marks {
		if strings.HasPrefix(m.String(), word) {
			return true
		}
	}
	return false
}

// judge tells whether a lap from gate to gate is a timed one.
func (l *Located) judge(lap *Lap, j *joint) {
	p := l.Position
	a, b := p.Index(lap.Start), p.Index(lap.End)
	dt := p.Time[1] - p.Time[0]
	var still, lane float64
	for i := a; i < b; i++ {
		if p.Speed[i] < standing {
			still += dt
		}
	}
	// Raw fixes tell how far from the line the bike was: the smoother takes a
	// place in the pit lane for a bad fix.
	// Single wild fixes and a receiver that has not settled after an outage do not
	// count: the stretch must last and keep to one side.
	run, side, away := 0.0, 0.0, 0.0
	for i := 1; i < len(l.fixT); i++ {
		t := l.fixT[i]
		if t < lap.Start-0.5 || t > lap.End+0.5 {
			continue
		}
		if math.Hypot(j.rows[i].rx, j.rows[i].ry) > 60 && !j.f.isVoid(i) {
			away += math.Min(1, l.fixT[i]-l.fixT[i-1])
		}
		if l.fixV[i] < slowLane && math.Abs(j.aside[i]) > offLine && j.aside[i]*side >= 0 {
			run += math.Min(1, l.fixT[i]-l.fixT[i-1])
			side = j.aside[i]
			lane = math.Max(lane, run)
		} else {
			run, side = 0, 0
		}
	}
	switch {
	case lane > 2.5:
		lap.Kind = BrokenLap
		lap.Marks = append(lap.Marks, say.T("pit lane or off the circuit for {lane} s", fmt.Sprintf("%.0f", lane)))
	case away > 15:
		lap.Kind = BrokenLap
		lap.Marks = append(lap.Marks, say.T("away from the circuit for {away} s", fmt.Sprintf("%.0f", away)))
	case lap.Start < l.fixT[0]-unseen || lap.End > l.fixT[len(l.fixT)-1]+unseen:
		lap.Kind = BrokenLap
		lap.Marks = append(lap.Marks, say.T("no gps fix at its beginning or end"))
	case still > 2:
		lap.Kind = BrokenLap
		lap.Marks = append(lap.Marks, say.T("stood still for {still} s", fmt.Sprintf("%.0f", still)))
	}
	var hole float64
	for _, g := range p.Bridged {
		if g.To > lap.Start && g.From < lap.End {
			hole += math.Min(g.To, lap.End) - math.Max(g.From, lap.Start)
		}
	}
	if hole > 0 {
		lap.Marks = append(lap.Marks, say.T("gps bridged {hole} s", fmt.Sprintf("%.1f", hole)))
		if hole > 0.4*lap.Time() {
			lap.Kind = BrokenLap
		}
	}
	if p.Source != "gps and front wheel" && hole > 20 {
		lap.Kind = BrokenLap
	}
}

// describe adds slots.
func (l *Located) describe(rec *recording.Recording, laps []Lap, j *joint) []Lap {
	c := rec.Channel(recording.Slot)
	for i := range laps {
		if c == nil {
			continue
		}
		lap := &laps[i]
		k := sort.SearchFloat64s(c.Time, lap.Start)
		if k == len(c.Time) || c.Time[k] > lap.Start && k > 0 {
			k = max(0, k-1)
		}
		// The rider presses the switch near the line: what rules most of the lap names it.
		share := map[int]float64{}
		cur, since := c.Value[k], lap.Start
		var changes []say.Text
		for k++; k < len(c.Time) && c.Time[k] < lap.End; k++ {
			if c.Value[k] != cur {
				share[int(math.Round(cur))] += c.Time[k] - since
				s := l.Circuit.Wrap(l.Position.S[l.Position.Index(c.Time[k])])
				changes = append(changes, say.T("slot changed from {cur} to {value} at {s}", slotName(cur), slotName(c.Value[k]), metres(s)))
				cur, since = c.Value[k], c.Time[k]
			}
		}
		share[int(math.Round(cur))] += lap.End - since
		best, at := -1.0, 0
		for s, v := range share {
			if v > best || v == best && s < at {
				best, at = v, s
			}
		}
		lap.Slot = slotName(float64(at))
		if best < 0.9*lap.Time() {
			lap.Marks = append(lap.Marks, changes...)
		}
	}
	return laps
}

func slotName(v float64) string {
	k := int(math.Round(v))
	if k < 0 || k > 25 {
		return ""
	}
	return string(rune('A' + k))
}
