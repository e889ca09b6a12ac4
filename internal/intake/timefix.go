package intake

import (
	"fmt"
	"math"
	"slices"
	"sort"

	"cornerwright/internal/intake/table"
	"cornerwright/internal/recording"
	"cornerwright/internal/say"
	"cornerwright/internal/signal"
	"cornerwright/internal/unit"
)

var nan = math.NaN()

// fixClock makes the recording's clock from the time column: strictly
// increasing seconds, one for each row that stays. Rows without a time, late
// rows and repeats are dropped; a step back is a jump of the clock and is closed
// by one row's interval; stamps coarser than the rows are spread.
func (s *source) fixClock() (clock []float64, marks []recording.Mark, err *Error) {
	c := s.clock
	if c == nil {
		clock = make([]float64, s.rows)
		for i := range clock {
			clock[i] = float64(i) / s.rate
		}
		return clock, nil, nil
	}
	t := make([]float64, s.rows)
	for i := range t {
		t[i] = nan
	}
	s.rebase(c)
	for i, v := range c.values {
		t[c.row(i)] = c.spec.si(v)
	}
	dt := medianStep(t)
	if s.rows == 1 {
		return nil, nil, &Error{File: s.name, Line: s.line(0), Text: say.T("a single row of data: no recording"), Mend: say.T("take the file from the logger again"), Source: s.headerText}
	}
	if dt <= 0 { // newest row first?
		back := append([]float64(nil), t...)
		slices.Reverse(back)
		if d := medianStep(back); d > 0 && shuffled(t, d) > 0 {
			dt = d
		}
	}
	if dt <= 0 {
		return nil, nil, &Error{File: s.name, Line: s.headerLine, Column: c.Index, Text: say.T("time column {header} does not advance", fmt.Sprintf("%q", c.Header)), Mend: say.T("name the right time column in a column map, or give rate_hz"), Source: s.headerText}
	}
	dup := 0
	for i := 1; i < len(t); i++ {
		if t[i] == t[i-1] {
			dup++
		}
	}
	if 4*dup > len(t) {
		n := s.spread(t)
		s.problem(recording.Note, s.line(0), c.Index, timeChannel, say.T("time stamps are coarser than the rows ({n} {n|row|rows} share a stamp): rows are spread evenly between stamps", n), say.T("log time with more digits"))
		dt = medianStep(t)
	}
	if n := shuffled(t, dt); n > 0 {
		s.problem(recording.Warning, s.line(0), c.Index, timeChannel, say.T("rows are not in the order of their time ({n} {n|step|steps} back), yet every instant is there once: put in order", n), say.T("nothing to do"))
		t = s.order(t)
	}
	restart := map[int]bool{}
	for _, r := range s.restarts {
		restart[r] = true
	}
	begin := map[int]bool{}
	for _, r := range s.segments {
		begin[r] = true
	}
	hole := map[int]bool{}
	for _, r := range s.lostAt {
		hole[r] = true
	}
	var belongs []placed
	to := make([]int32, s.rows)
	var lost, late, same, repeated, steps int
	segment := 0 // index in kept at which the clock's present run begins
	lateLine, sameLine, repLine, lostLine, stepLine := 0, 0, 0, 0, 0
	off, last := 0.0, math.Inf(-1)
	kept := make([]int, 0, s.rows) // source rows kept
	drop := func(i int) { to[i] = -1 }
	day := c.Kind == table.Clock
	for i := 0; i < len(t); i++ {
		if t[i] != t[i] {
			if lost++; lost == 1 {
				lostLine = s.line(i)
			}
			drop(i)
			continue
		}
		v := t[i] + off
		if day && v < last-43200 {
			off += 86400
			v += 86400
			s.problem(recording.Note, s.line(i), c.Index, timeChannel, say.T("time of day passes midnight: a day is added"), say.T("nothing to do"))
		}
		switch {
		case v > last:
			if jump := v - last; jump > 5 && jump > 20*dt && !math.IsInf(last, -1) && !restart[i] && !begin[i] {
				if why := s.forwardJump(c, t, kept[len(kept)-1], i, dt); why != "" {
					off -= jump - dt
					v = last + dt
					text := say.T("clock steps forward by {jump} s", num(jump-dt))
					s.problem(recording.Warning, s.line(i), c.Index, timeChannel, say.T("{text} at {last} s, {why}: the step is taken out", text, num(last), why), say.T("do not compare times across this place; laps that span it are marked"))
					marks = append(marks, recording.Mark{Kind: recording.ClockJump, Span: recording.Span{From: last, To: v}, Text: text})
					segment = len(kept)
					break
				}
			}
			// One stamp far ahead with the next back in line is a bad stamp.
			if i+1 < len(t) && !math.IsInf(last, -1) && v-last > 20*dt && t[i+1]+off > last && t[i+1] < t[i] {
				v = last + (t[i+1]+off-last)/2
				s.problem(recording.Warning, s.line(i), c.Index, timeChannel, say.T("time stamp {t} is out of line with its neighbours: put between them", num(t[i])), say.T("nothing to do"))
			}
		case v == last:
			if same++; same == 1 {
				sameLine = s.line(i)
			}
			drop(i)
			continue
		default:
			if !restart[i] && len(kept) > segment && v > clock[segment] && belated(t[i:], off, last, dt, clock[segment:]) {
				if late++; late == 1 {
					lateLine = s.line(i)
				}
				belongs = append(belongs, placed{i, v})
				drop(i)
				continue
			}
			if n := s.repeats(t, off, i, kept, clock, last); n > 0 {
				if repeated == 0 {
					repLine = s.line(i)
				}
				for range n {
					drop(i)
					repeated++
					i++
				}
				i--
				continue
			}
			back := last - v
			off += last + dt - v
			v = last + dt
			what := say.T("clock steps back")
			if restart[i] {
				what = say.T("the logger started anew (header again), its clock goes back")
			}
			if steps++; steps <= mostSteps {
				s.problem(recording.Warning, s.line(i), c.Index, timeChannel, say.T("{what} by {back} s at {last} s: joined with one row's interval, how long it really took is unknown", what, num(back), num(last)), say.T("do not compare times across this place; laps that span it are marked"))
			} else if steps == mostSteps+1 {
				stepLine = s.line(i)
			}
			marks = append(marks, recording.Mark{Kind: recording.ClockJump, Span: recording.Span{From: last, To: v}, Text: say.T("{what} by {back} s", what, num(back))})
			segment = len(kept)
		}
		if begin[i] && !math.IsInf(last, -1) {
			marks = append(marks, recording.Mark{Kind: recording.Gap, Span: recording.Span{From: last, To: v}, Text: say.T("a new segment begins")})
		} else if hole[i] && !math.IsInf(last, -1) {
			marks = append(marks, recording.Mark{Kind: recording.Gap, Span: recording.Span{From: last, To: v}, Text: say.T("rows here could not be read")})
		}
		to[i] = int32(len(kept))
		kept = append(kept, i)
		clock = append(clock, v)
		last = v
	}
	if lost > 0 {
		s.problem(recording.Warning, lostLine, c.Index, timeChannel, say.T("{lost} {lost|row|rows} without a time left out, the first here", lost), say.T("nothing to do: what the rows hold cannot be placed"))
		s.lostRows += lost
	}
	if late > 0 {
		s.problem(recording.Warning, lateLine, c.Index, timeChannel, say.T("{late} {late|row|rows} late, behind others of a later time, the first here: put where they belong", late), say.T("nothing to do"))
		kept, clock = merge(kept, clock, belongs)
		for i := range to {
			to[i] = -1
		}
		for n, i := range kept {
			to[i] = int32(n)
		}
	}
	if more := steps - mostSteps; more > 0 {
		s.problem(recording.Warning, stepLine, c.Index, timeChannel, say.T("clock steps back {more} {more|time|times} more, the first of them here: joined likewise", more), say.T("do not compare times across these places; see that the logger keeps its clock"))
	}
	if same > 0 {
		s.problem(recording.Note, sameLine, c.Index, timeChannel, say.T("{same} {same|row|rows} with the time of the row before left out, the first here", same), say.T("nothing to do"))
	}
	if repeated > 0 {
		s.problem(recording.Warning, repLine, c.Index, timeChannel, say.T("{repeated} {repeated|row|rows} written twice left out, the first here", repeated), say.T("nothing to do"))
	}
	if len(kept) < s.rows || late > 0 {
		for _, col := range s.cols {
			col.renumber(to, late > 0)
		}
		old := s.line
		s.line = func(r int) int {
			if r < len(kept) {
				return old(kept[r])
			}
			return 0
		}
		s.rows = len(kept)
	}
	return clock, marks, nil
}

// mostSteps is how many steps back of a clock are told one by one: a logger that starts
// its clock anew on every lap has fewer, and nobody reads more.
const mostSteps = 50

// rebase takes whole seconds off a clock of Unix time before it is rounded in
// seconds: 1772964000.1 has a float64 only to within 0.12 microseconds, its
// tenth alone has one to the last bit.
func (s *source) rebase(c *column) {
	if c.Kind != table.Number || len(c.values) == 0 || s.epochUnix == s.epochUnix || c.spec.Shift != 0 || c.spec.Scale != 1 {
		return
	}
	sec := math.Floor(c.spec.si(c.values[0]))
	raw := sec * c.spec.Div / c.spec.Mul
	if !(sec > 1e9 && sec < 4e9) || raw != math.Trunc(raw) || raw > 1<<53 {
		return
	}
	for i := range c.values {
		c.values[i] -= raw
	}
	roundTo(c.values, c.decimals)
	s.epochUnix = sec
}

// roundTo gives values that have so many decimals their nearest float64 again,
// after a whole number was taken off; -1 leaves them.
func roundTo(v []float64, decimals int) {
	if decimals < 0 || decimals > 15 {
		return
	}
	p := pow10(decimals)
	for i, x := range v {
		if y := math.Round(x * p); math.Abs(y) < 1<<53 {
			v[i] = y / p
		}
	}
}

// forwardJump tells why a gap of the stamps between rows a and b is a step of
// the clock and no pause: the bike rode on over the place as if one row's
// interval dt had passed, or no logger waits so long. "" if it may be a pause.
func (s *source) forwardJump(clock *column, t []float64, a, b int, dt float64) say.Text {
	jump := t[b] - t[a]
	if jump > 86400 {
		return say.T("more than a day, as where the logger's clock is set by the satellites")
	}
	near := func(ch string) (before, after, at, bt float64, ok bool) {
		c := s.column(ch)
		if c == nil || c == clock || c.Kind == table.Label {
			return
		}
		v, w, i, j := c.beside(a, b)
		if i < 0 || j < 0 || t[a]-t[i] > 5 || t[j]-t[b] > 5 || !(t[i] <= t[a]) || !(t[j] >= t[b]) {
			return
		}
		return c.spec.si(v), c.spec.si(w), t[i], t[j], true
	}
	speed := 0.0
	for _, ch := range []string{recording.GPSSpeed, recording.FrontSpeed, recording.RearSpeed} {
		if v, w, _, _, ok := near(ch); ok {
			speed = math.Min(v, w)
			break
		}
	}
	la, lb, ta, tb, ok1 := near(recording.Latitude)
	oa, ob, _, _, ok2 := near(recording.Longitude)
	if !ok1 || !ok2 || speed < 8 {
		return ""
	}
	d := earthRadius * math.Hypot(lb-la, (ob-oa)*math.Cos(la))
	rode := (t[a] - ta) + dt + (tb - t[b])
	if d < 1.5*speed*rode+10 && d > 0.3*speed*rode-10 && speed*jump > 10*(d+20) {
		return say.T("but the bike, at {speed} km/h, is only {d} m further on", num(math.Round(speed*3.6)), num(math.Round(d)))
	}
	return ""
}

// repeats tells how many rows from i on were written before, with the same time
// and the same values.
func (s *source) repeats(t []float64, off float64, i int, kept []int, clock []float64, last float64) int {
	n := 0
	for ; i+n < len(t) && t[i+n]+off <= last; n++ {
		j := sort.SearchFloat64s(clock, t[i+n]+off)
		if j >= len(clock) || clock[j] != t[i+n]+off {
			break
		}
		equal, seen := true, 0
		for _, c := range s.cols {
			if c == s.clock || c.at != nil || len(c.values) != len(t) {
				continue
			}
			a, b := c.values[i+n], c.values[kept[j]]
			if a != b && !(a != a && b != b) {
				equal = false
				break
			}
			seen++
		}
		if !equal || seen == 0 {
			break
		}
	}
	return n
}

// spread parts rows with equal stamps evenly up to the next stamp; it returns
// the rows moved.
func (s *source) spread(t []float64) int {
	moved := 0
	for i := 0; i < len(t); {
		j := i + 1
		for j < len(t) && t[j] == t[i] {
			j++
		}
		step := 0.0
		if j < len(t) && t[j] > t[i] {
			step = (t[j] - t[i]) / float64(j-i)
		} else if i > 0 && j-i > 1 {
			step = t[i] - t[i-1]
		}
		base := t[i]
		for k := i + 1; k < j; k++ {
			t[k] = base + float64(k-i)*step
			moved++
		}
		i = j
	}
	return moved
}

// medianStep is the median of the positive steps.
func medianStep(t []float64) float64 {
	stride := 1 + len(t)/20000
	d := make([]float64, 0, len(t)/stride+1)
	for i := 1; i < len(t); i += stride {
		if x := t[i] - t[i-1]; x > 0 {
			d = append(d, x)
		}
	}
	if len(d) == 0 {
		for i := 1; i < len(t); i++ {
			if x := t[i] - t[i-1]; x > 0 {
				d = append(d, x)
			}
		}
	}
	if len(d) == 0 {
		return 0
	}
	return signal.Nth(d, len(d)/2)
}

// timeUnit finds the unit of a time column that states none: from the step
// between rows. A step of 1 to 1000 whole units is taken for milliseconds, of
// more for microseconds, unless the values fit a day of seconds better.
func timeUnit(c *column) (unit.Unit, say.Text) {
	if c.Kind == table.Clock || c.Kind == table.DateTime {
		return unit.Must("s"), say.T("the cells are a {kind}", say.Key(c.Kind.String()))
	}
	d := medianStep(c.values)
	n := len(c.values)
	span := 0.0
	if n > 1 {
		span = c.values[n-1] - c.values[0]
	}
	whole := true
	for i := 0; i < n; i += 1 + n/500 {
		if c.values[i] != math.Trunc(c.values[i]) {
			whole = false
		}
	}
	switch {
	case d >= 900 && whole && span > 1e6:
		return unit.Must("µs"), say.T("no unit stated; steps of {d} fit microseconds", num(d))
	case d >= 1.5 && (whole || d >= 5):
		return unit.Must("ms"), say.T("no unit stated; steps of {d} fit milliseconds", num(d))
	case d == 1 && whole && n > 5000:
		// A recording of 5000 rows at 1 Hz is over an hour: milliseconds then.
		return unit.Must("ms"), say.T("no unit stated; steps of 1 over many rows fit milliseconds")
	}
	return unit.Must("s"), say.T("no unit stated; steps of {d} fit seconds", num(d))
}

// num prints a number shortly for a message.
func num(x float64) string {
	return fmt.Sprintf("%.6g", x)
}
