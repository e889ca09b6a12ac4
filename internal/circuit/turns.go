package circuit

import (
	"math"

	"cornerwright/internal/signal"
)

// Thresholds of turn detection, all on the lean that the median lap would need:
// atan(v^2 kappa / g).
const (
	turnLean    = 18 * math.Pi / 180 // a turn reaches this
	turnEdge    = 8 * math.Pi / 180  // and ends here
	kinkLean    = 10 * math.Pi / 180
	turnLength  = 25.0 // m
	mergeLength = 15.0 // m between two stretches of one sign
	windowLead  = 30.0 // m before the earliest brake point
)

// speedByPlace is the median speed of the timed laps at every sample of the
// line (of all laps, where none is timed).
func speedByPlace(c *Circuit, p *Position, laps []Lap) []float64 {
	n := len(c.Line.X)
	var rows [][]float64
	for pass := 0; pass < 2 && len(rows) == 0; pass++ {
		for _, lap := range laps {
			if pass == 0 && lap.Kind != TimedLap {
				continue
			}
			row := make([]float64, n)
			for i := range row {
				row[i] = math.NaN()
			}
			a, b := p.Index(lap.Start), p.Index(lap.End)
			for i := a; i <= b; i++ {
				k, _, _ := c.Line.cell(p.S[i])
				row[k] = p.Speed[i]
			}
			last := math.NaN()
			for i := range row { // places between two grid samples
				if math.IsNaN(row[i]) {
					row[i] = last
				} else {
					last = row[i]
				}
			}
			rows = append(rows, row)
		}
	}
	out := make([]float64, n)
	col := make([]float64, 0, len(rows))
	for i := range out {
		col = col[:0]
		for _, r := range rows {
			if !math.IsNaN(r[i]) {
				col = append(col, r[i])
			}
		}
		out[i] = signal.Median(col)
		if math.IsNaN(out[i]) {
			out[i] = 15
			if i > 0 {
				out[i] = out[i-1]
			}
		}
	}
	return smoothRing(out, 3/c.Line.Step)
}

// smoothBySpeed is curvature averaged over what is ridden in about 0.12 s either
// way (a low-pass of about 2 1/s in time), at least 4 m.
func smoothBySpeed(l *Line, v []float64) []float64 {
	n := len(l.Kappa)
	short, long := smoothRing(l.Kappa, 4/l.Step), smoothRing(l.Kappa, 10/l.Step)
	out := make([]float64, n)
	for i := range out {
		w := math.Max(0, math.Min(1, (v[i]*0.13-4)/6))
		out[i] = short[i] + w*(long[i]-short[i])
	}
	return out
}

type stretch struct {
	a, b int // samples, b exclusive, may run past n
	sign float64
}

// findTurns finds the turns of a circuit on the reference line with the speed
// of the median lap. Turns are numbered from the gate.
func findTurns(c *Circuit, p *Position, laps []Lap) []Turn {
	l := &c.Line
	n := len(l.X)
	v := speedByPlace(c, p, laps)
	kappa := smoothBySpeed(l, v)
	lean := make([]float64, n)
	for i := range lean {
		lean[i] = math.Atan(sq(v[i]) * kappa[i] / gravity)
	}
	start := 0
	for i := range lean { // begin where it is straightest near the gate
		if math.Abs(lean[i]) < 3*math.Pi/180 {
			start = i
			break
		}
	}
	at := func(i int) float64 { return lean[((i%n)+n)%n] }
	var runs []stretch
	for i := start; i < start+n; {
		if math.Abs(at(i)) < turnEdge {
			i++
			continue
		}
		s := stretch{a: i, sign: math.Copysign(1, at(i))}
		for i < start+n && at(i)*s.sign >= turnEdge {
			i++
		}
		s.b = i
		runs = append(runs, s)
	}
	// One bend with a short unloading is one bend.
	var merged []stretch
	for _, s := range runs {
		if k := len(merged) - 1; k >= 0 && merged[k].sign == s.sign {
			gap := float64(s.a-merged[k].b) * l.Step
			if gap < math.Max(mergeLength, 0.3*v[s.a%n]) {
				merged[k].b = s.b
				continue
			}
		}
		merged = append(merged, s)
	}
	var turns []Turn
	for _, s := range merged {
		peak := 0.0
		for i := s.a; i < s.b; i++ {
			peak = math.Max(peak, math.Abs(at(i)))
		}
		length := float64(s.b-s.a) * l.Step
		if peak < turnLean || length < turnLength && length < 0.7*v[s.a%n] {
			continue
		}
		turns = append(turns, makeTurn(c, kappa, lean, v, s, peak))
	}
	numberTurns(c, turns, v)
	return turns
}

// makeTurn measures one bend.
func makeTurn(c *Circuit, kappa, lean, v []float64, s stretch, peak float64) Turn {
	l := &c.Line
	n := len(l.X)
	t := Turn{Direction: Right}
	if s.sign < 0 {
		t.Direction = Left
	}
	best, at := 0.0, s.a
	slow := math.Inf(1)
	for i := s.a; i < s.b; i++ {
		if k := kappa[i%n] * s.sign; k > best {
			best, at = k, i
		}
		slow = math.Min(slow, v[i%n])
	}
	t.MinRadius = 1 / best
	t.Apex = l.wrap(summit(kappa, at, s, best) * l.Step)
	t.Entry = l.wrap(float64(s.a) * l.Step)
	t.Exit = l.wrap(float64(s.b) * l.Step)
	t.Apexes = apexes(l, kappa, s, best)
	fast := 0.0
	for i := range v {
		fast = math.Max(fast, v[i])
	}
	// Taken almost flat: hardly slower in it than before it, and not leaned far.
	before := v[((s.a-int(40/l.Step))%n+n)%n]
	t.Kink = peak < 30*math.Pi/180 && slow > 0.93*before
	return t
}

// summit is the middle of the rounded top of curvature that holds sample at: on
// a long arc of one radius the greatest sample lies anywhere, its middle does not.
func summit(kappa []float64, at int, s stretch, best float64) float64 {
	const shoulder = 0.85
	n := len(kappa)
	k := func(i int) float64 { return kappa[((i%n)+n)%n]*s.sign - shoulder*best }
	var sum, w float64
	for i := at; i >= s.a && k(i) > 0; i-- {
		sum, w = sum+k(i)*float64(i), w+k(i)
	}
	for i := at + 1; i < s.b && k(i) > 0; i++ {
		sum, w = sum+k(i)*float64(i), w+k(i)
	}
	if w == 0 {
		return float64(at)
	}
	return sum / w
}

// apexes finds the separate peaks of curvature of one bend: two count as two
// where the dip between them is deeper than a quarter of the smaller and they
// lie at least 30 m apart.
func apexes(l *Line, kappa []float64, s stretch, best float64) []float64 {
	n := len(kappa)
	type peak struct {
		i int
		k float64
	}
	var peaks []peak
	at := func(i int) float64 { return kappa[((i%n)+n)%n] * s.sign }
	for i := s.a + 1; i < s.b-1; i++ {
		if at(i) >= at(i-1) && at(i) > at(i+1) && at(i) > 0.4*best {
			peaks = append(peaks, peak{i, at(i)})
		}
	}
	for k := 0; k+1 < len(peaks); {
		a, b := peaks[k], peaks[k+1]
		dip := math.Inf(1)
		for i := a.i; i <= b.i; i++ {
			dip = math.Min(dip, at(i))
		}
		if dip > 0.75*math.Min(a.k, b.k) || float64(b.i-a.i)*l.Step < 30 {
			if b.k > a.k {
				peaks[k] = b
			}
			peaks = append(peaks[:k+1], peaks[k+2:]...)
			k = max(0, k-1)
			continue
		}
		k++
	}
	var out []float64
	for _, p := range peaks {
		out = append(out, l.wrap(summit(kappa, p.i, s, p.k)*l.Step))
	}
	return out
}

// numberTurns orders turns from the gate by apex, numbers them and lays their
// windows: from before the braking to the start of the next window.
func numberTurns(c *Circuit, turns []Turn, v []float64) {
	for i := 1; i < len(turns); i++ {
		for k := i; k > 0 && turns[k].Apex < turns[k-1].Apex; k-- {
			turns[k], turns[k-1] = turns[k-1], turns[k]
		}
	}
	for i := range turns {
		turns[i].Number = i + 1
	}
	layWindows(c, turns, v)
}

// layWindows starts each window windowLead metres before the place where speed
// begins to fall towards the turn, but not before the end of the bend before.
func layWindows(c *Circuit, turns []Turn, v []float64) {
	l := &c.Line
	n := len(l.X)
	m := len(turns)
	for i := range turns {
		t := &turns[i]
		prev := turns[(i+m-1)%m]
		e := int(t.Entry / l.Step)
		// Back from the entry while speed was higher further back.
		room := l.wrap(t.Entry - prev.Apex)
		if m == 1 {
			room = l.Length / 2
		}
		limit := int(math.Max(0, room-5) / l.Step)
		k := 0
		top := v[e%n]
		for q := 1; q <= limit; q++ {
			x := v[((e-q)%n+n)%n]
			if x > top+0.05 {
				top, k = x, q
			} else if x < top-1.5 {
				break
			}
		}
		back := float64(k)*l.Step + windowLead
		if exit := l.wrap(t.Entry - prev.Exit); m > 1 && exit < l.Length/2 && back > exit {
			back = math.Max(exit, float64(k)*l.Step)
		}
		back = math.Min(back, math.Max(0, room-5))
		t.From = l.wrap(t.Entry - back)
	}
	for i := range turns {
		turns[i].To = turns[(i+1)%m].From
	}
}

// In tells whether place s (m) lies in the window of the turn.
func (t Turn) In(s float64) bool {
	if t.From <= t.To {
		return s >= t.From && s < t.To
	}
	return s >= t.From || s < t.To
}

// TurnAt gives the number of the turn whose window holds place s, 0 for none.
func (c *Circuit) TurnAt(s float64) int {
	s = c.Wrap(s)
	for _, t := range c.Turns {
		if t.In(s) {
			return t.Number
		}
	}
	return 0
}

// Turn finds a turn by number, nil if there is none.
func (c *Circuit) Turn(number int) *Turn {
	for i := range c.Turns {
		if c.Turns[i].Number == number {
			return &c.Turns[i]
		}
	}
	return nil
}
