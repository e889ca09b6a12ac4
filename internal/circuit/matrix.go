package circuit

import (
	"math"
	"slices"
	"sort"
)

// fixNear is the fix nearest to recording time t.
func (l *Located) fixNear(t float64) int {
	i := min(sort.SearchFloat64s(l.fixT, t), len(l.fixT)-1)
	if i > 0 && t-l.fixT[i-1] < l.fixT[i]-t {
		i--
	}
	return i
}

// speedAt is the speed at recording time t, 3 m/s at least: what turns an error of
// place into one of time.
func (l *Located) speedAt(t float64) float64 {
	return math.Max(3, l.Position.Speed[l.Position.Index(t)])
}

// spanSE is the standard error of the time between two passages, with what
// their errors have in common taken off.
func (l *Located) spanSE(t0, t1 float64) float64 {
	if t0 > t1 {
		t0, t1 = t1, t0
	}
	i, k := l.fixNear(t0), l.fixNear(t1)
	v0, v1 := l.speedAt(t0), l.speedAt(t1)
	a, b := l.sm.p[i][0]/(v0*v0), l.sm.p[k][0]/(v1*v1)
	c := l.sm.cross(i, k) / (v0 * v1)
	return math.Sqrt(math.Max(1e-7, a+b-2*c))
}

// matrix gives passing times at every step metres of every whole lap.
func (l *Located) matrix(step float64) *Matrix {
	p, c := l.Position, l.Circuit
	m := &Matrix{Step: step}
	n := int(math.Floor(c.Line.Length / step))
	dt := p.Time[1] - p.Time[0]
	for _, lap := range l.Laps {
		if lap.Kind != TimedLap && lap.Kind != OutLap && lap.Kind != InLap && lap.Kind != BrokenLap {
			continue
		}
		mid := p.S[p.Index(0.5*(lap.Start+lap.End))]
		base := math.Floor(mid/c.Line.Length) * c.Line.Length
		row, se := make([]float64, n+2), make([]float64, n+2)
		i := p.Index(lap.Start)
		for k := range row {
			s := base + math.Min(float64(k)*step, c.Line.Length)
			row[k], se[k] = math.NaN(), math.NaN()
			if s < p.S[0] {
				continue
			}
			for i > 0 && p.S[i] > s {
				i--
			}
			for i+1 < len(p.S) && p.S[i+1] < s {
				i++
			}
			if i+1 >= len(p.S) || p.S[i+1] <= p.S[i] {
				continue
			}
			row[k] = p.Time[i] + dt*(s-p.S[i])/(p.S[i+1]-p.S[i])
			se[k] = p.SSE[i] / math.Max(3, p.Speed[i])
		}
		m.Laps = append(m.Laps, lap.Number)
		m.Time = append(m.Time, row)
		m.SE = append(m.SE, se)
	}
	return m
}

// row finds the matrix row of a lap number, -1 if there is none.
func (m *Matrix) row(lap int) int {
	for i, n := range m.Laps {
		if n == lap {
			return i
		}
	}
	return -1
}

// Delta is how much later lap b passes every place than lap a (s), counted from
// the gate; NaN where either does not cover it.
func (m *Matrix) Delta(a, b int) []float64 {
	i, k := m.row(a), m.row(b)
	if i < 0 || k < 0 {
		return nil
	}
	out := make([]float64, len(m.Time[i]))
	for q := range out {
		out[q] = (m.Time[k][q] - m.Time[k][0]) - (m.Time[i][q] - m.Time[i][0])
	}
	return out
}

// DeltaSE is the standard error (s) of Delta(a, b) at every place, from the position
// estimate, as if gate, place and laps had nothing in common: rather too much. NaN where
// either lap does not cover the place.
func (m *Matrix) DeltaSE(a, b int) []float64 {
	i, k := m.row(a), m.row(b)
	if i < 0 || k < 0 {
		return nil
	}
	out := make([]float64, len(m.SE[i]))
	for q := range out {
		out[q] = math.Hypot(math.Hypot(m.SE[i][0], m.SE[i][q]), math.Hypot(m.SE[k][0], m.SE[k][q]))
	}
	if len(out) > 0 {
		out[0] = 0 // counted from there
	}
	return out
}

// Best is the best realistic lap: sections of at least the given length taken
// from the laps that rode them fastest. Sections are whole stretches between
// boundaries (places, m), so that joining them is physically possible.
type Best struct {
	Time     float64 // s
	SE       float64 // s, of the position estimate: the joins are counted as if nothing were common
	Sections []BestSection
}

// BestSection is one section of the best realistic lap, ridden on one lap.
type BestSection struct {
	From, To float64 // m
	Lap      int
	Time     float64 // s
	SE       float64 // s
	Gain     float64 // s against the best whole lap
	to       int     // cell of the matrix
}

// BestLap is the best realistic lap: from turn window to turn window, taken from
// the timed laps that together are quickest, where one lap is left for another
// only if both passed the place at nearly the same speed (joinSpeed); a place
// passed faster on one lap than the next section began with cannot be ridden.
// Sections shorter than joinLength are not parted. ok is false with fewer than two
// timed laps.
func (l *Located) BestLap() (Best, bool) {
	m, p := l.Matrix, l.Position
	if m == nil || l.Circuit == nil || len(m.Time) == 0 {
		return Best{}, false
	}
	n := len(m.Time[0]) - 1
	cuts := []int{0}
	for _, t := range l.Circuit.Turns {
		if k := int(math.Round(t.From / m.Step)); float64(k-cuts[len(cuts)-1])*m.Step >= joinLength && float64(n-k)*m.Step >= joinLength {
			cuts = append(cuts, k)
		}
	}
	cuts = append(cuts, n)
	var rows []int
	for _, lap := range l.Laps {
		if i := m.row(lap.Number); lap.Kind == TimedLap && i >= 0 && !hasNaN(m.Time[i]) {
			rows = append(rows, i)
		}
	}
	if len(rows) < 2 {
		return Best{}, false
	}
	speed := func(row, k int) float64 { return p.Speed[p.Index(m.Time[row][k])] }
	part := func(row, q int) float64 { return p.Clock.Seconds(m.Time[row][cuts[q+1]] - m.Time[row][cuts[q]]) }
	sections := len(cuts) - 1
	// cost[q][r]: least time to the end of section q, ridden as lap r rode it.
	cost, from := make([][]float64, sections), make([][]int, sections)
	for q := range cost {
		cost[q], from[q] = make([]float64, len(rows)), make([]int, len(rows))
		for r, row := range rows {
			cost[q][r], from[q][r] = part(row, q), r
			if q == 0 {
				continue
			}
			best := math.Inf(1)
			for o, other := range rows {
				same := o == r || math.Abs(speed(other, cuts[q])-speed(row, cuts[q])) <= joinSpeed
				if same && cost[q-1][o] < best {
					best, from[q][r] = cost[q-1][o], o
				}
			}
			cost[q][r] += best
		}
	}
	at, whole := 0, 0
	for r, row := range rows {
		if cost[sections-1][r] < cost[sections-1][at] {
			at = r
		}
		if m.Time[row][n]-m.Time[row][0] < m.Time[rows[whole]][n]-m.Time[rows[whole]][0] {
			whole = r
		}
	}
	out := Best{Time: cost[sections-1][at]}
	for q := sections - 1; q >= 0; q-- {
		row := rows[at]
		gain := part(rows[whole], q) - part(row, q)
		to := cuts[q+1]
		if n := len(out.Sections); n > 0 && out.Sections[n-1].Lap == m.Laps[row] {
			// Ridden on: one section with the one after it.
			next := &out.Sections[n-1]
			to, gain = next.to, gain+next.Gain
			out.Sections = out.Sections[:n-1]
		}
		out.Sections = append(out.Sections, BestSection{From: float64(cuts[q]) * m.Step, To: math.Min(float64(to)*m.Step, l.Circuit.Line.Length),
			Lap: m.Laps[row], Time: p.Clock.Seconds(m.Time[row][to] - m.Time[row][cuts[q]]), SE: math.Hypot(m.SE[row][cuts[q]], m.SE[row][to]), Gain: gain, to: to})
		at = from[q][at]
	}
	slices.Reverse(out.Sections)
	for _, x := range out.Sections {
		out.SE = math.Hypot(out.SE, x.SE)
	}
	return out, true
}

const (
	joinSpeed  = 1.0   // m/s between two laps at a place where one is left for the other
	joinLength = 150.0 // m
)

func hasNaN(x []float64) bool {
	for _, v := range x {
		if math.IsNaN(v) {
			return true
		}
	}
	return false
}

// SegmentSE is the standard error (s) of the time between two instants of the
// run, from the position estimate.
func (l *Located) SegmentSE(t0, t1 float64) float64 { return l.spanSE(t0, t1) }

// MeanSegmentSE is the standard error (s), from the position estimate alone, of the
// mean over the timed laps of the time from place s0 to s1 (m), with all that the laps
// have in common, above all what is left of the GPS offset, which no number of laps
// shrinks: of a sum of along-track errors at the fixes nearest to either end. The
// rider's own scatter comes on top. NaN without a timed lap that covers it.
func (l *Located) MeanSegmentSE(s0, s1 float64) float64 { m, _, _ := l.meanSegment(s0, s1); return m }

// SharedSE is the part (s) of the error of a time from place s0 to s1 (m) that all
// timed laps of the run share: what a mean of n laps errs by beyond the n-th part, in
// squares, of what they err by each on its own. NaN with fewer than two such laps.
func (l *Located) SharedSE(s0, s1 float64) float64 {
	m, each, n := l.meanSegment(s0, s1)
	if n < 2 {
		return math.NaN()
	}
	return math.Sqrt(math.Max(0, (n*m*m-each*each)/(n-1)))
}

// meanSegment is the standard error of the mean time of n timed laps, and the root
// mean square of their own.
func (l *Located) meanSegment(s0, s1 float64) (mean, each, n float64) {
	type term struct {
		i int
		w float64 // s/m
	}
	var sum []term
	l.onTimedLaps(s0, s1, func(t0, t1 float64) {
		sum = append(sum, term{l.fixNear(t0), -1 / l.speedAt(t0)}, term{l.fixNear(t1), 1 / l.speedAt(t1)})
		each += sq(l.spanSE(t0, t1))
		n++
	})
	if n == 0 {
		return math.NaN(), math.NaN(), 0
	}
	a := make([]vec5, len(l.sm.x))
	for _, s := range sum {
		a[s.i][iDS] += s.w / n
	}
	l.sm.respond(a)
	v := 0.0
	for _, s := range sum {
		v += s.w / n * a[s.i][iDS]
	}
	return math.Sqrt(math.Max(1e-7/n, v)), math.Sqrt(each / n), n
}

// onTimedLaps calls f with the instants at which each timed lap passes two places.
func (l *Located) onTimedLaps(s0, s1 float64, f func(t0, t1 float64)) {
	p := l.Position
	length := l.Circuit.Line.Length
	if s1 < s0 {
		s1 += length
	}
	for _, lap := range l.Laps {
		if lap.Kind != TimedLap {
			continue
		}
		base := math.Floor(p.S[p.Index(0.5*(lap.Start+lap.End))]/length) * length
		if t0, t1 := p.CrossAt(base+s0), p.CrossAt(base+s1); !math.IsNaN(t0) && !math.IsNaN(t1) {
			f(t0, t1)
		}
	}
}

// Boundary is the instant at which a phase of a turn begins.
type Boundary struct {
	Phase     Phase
	Time      float64 // s, recording clock
	SinceGate float64 // s since the lap passed the start gate
	SE        float64 // s, of SinceGate: the instant is the channels' own, the gate's is estimated
}

// Boundaries gives a pass's phase boundaries as times of its lap, in the order of
// Phases; a phase that has no instant of its own is left out. Empty where the lap did
// not begin at the gate.
func (l *Located) Boundaries(ps Pass) []Boundary {
	var out []Boundary
	for _, lap := range l.Laps {
		if lap.Number != ps.Lap || lap.Kind != TimedLap {
			continue
		}
		k := l.fixNear(lap.Start)
		se := math.Sqrt(l.sm.p[k][0]) / l.speedAt(lap.Start)
		for i, t := range []float64{ps.Brake, ps.TurnIn, ps.Mid, ps.Pickup, ps.DriveOn} {
			if !math.IsNaN(t) {
				out = append(out, Boundary{Phase: Phases[i], Time: t, SinceGate: t - lap.Start, SE: se})
			}
		}
	}
	return out
}
