package ride

import (
	"math"

	"cornerwright/internal/recording"
	"cornerwright/internal/say"
)

// What makes a stretch of torque reduction an episode. Shares of torque; times
// in seconds (common practice, see docs/method.md).
const (
	cutOn    = 0.05 // counts above
	cutHold  = 0.06 // for at least so long in all
	cutOff   = 0.02 // over below, where it stays so for
	cutOver  = 0.10
	cutMerge = 0.15 // shorter gaps are closed
	cutLeast = 0.08 // shorter episodes are dropped
)

// gate holds the thresholds that turn a series into stretches.
type gate struct{ on, hold, off, over, merge, least float64 }

var cutGate = gate{cutOn, cutHold, cutOff, cutOver, cutMerge, cutLeast}

// cut gives the stretches [a, b) of x above on. Neighbours are joined where the
// gap is shorter than merge or x does not stay below off for over within it (a
// controller that lets go for a moment is one intervention); what is shorter
// than least, or above on for less than hold in all, is dropped. The end is the
// last sample above on: the tail of a controller's release is not cut.
func (g gate) cut(x []float64, dt float64) [][2]int {
	n := len(x)
	var out [][2]int
	var above []int
	for i := 0; i < n; i++ {
		if !(x[i] > g.on) {
			continue
		}
		j := i
		for j < n && x[j] > g.on {
			j++
		}
		if k := len(out) - 1; k >= 0 && (float64(i-out[k][1])*dt <= g.merge+1e-9 || !stays(x[out[k][1]:i], g.off, int(math.Round(g.over/dt)))) {
			out[k][1] = j
			above[k] += j - i
		} else {
			out = append(out, [2]int{i, j})
			above = append(above, j-i)
		}
		i = j
	}
	kept := out[:0]
	for k, s := range out {
		if float64(s[1]-s[0])*dt >= g.least-1e-9 && float64(above[k])*dt >= g.hold-1e-9 {
			kept = append(kept, s)
		}
	}
	return kept
}

// stays tells whether x is below off for k samples on end.
func stays(x []float64, off float64, k int) bool {
	run := 0
	for _, v := range x {
		if v < off {
			if run++; run >= k {
				return true
			}
		} else {
			run = 0
		}
	}
	return false
}

// findCuts finds torque reductions that are neither the gearshift's nor the
// limiter's: from the channel where there is one; else from what the rider
// demands against what the plate delivers; else from the bike's acceleration
// against what its engine gives at that grip and speed.
func (w *work) findCuts() {
	s := &w.r.Signals
	switch {
	case s.Cut != nil && quantile(sorted(s.Cut), 1) > 0.02:
		s.CutSource = "cut channel"
		bad := w.bad(recording.Cut)
		w.addCuts(s.Cut, cutGate, bad, nil, nil, recording.Cut)
	case s.Throttle != nil && s.Grip != nil:
		s.CutSource = "demand against plate"
		s.Cut = w.plateCut()
		bad := or(w.bad(recording.Throttle), w.bad(recording.Grip))
		w.addCuts(s.Cut, cutGate, bad, nil, nil, recording.Throttle, recording.Grip)
	case s.Grip != nil && s.RPM != nil && s.Gear != nil:
		s.CutSource = "signature"
		cut, accept, edges := w.signatureCut()
		s.Cut = cut
		if cut == nil {
			s.CutSource = ""
			return
		}
		w.addCuts(cut, gate{0.06, 0.06, 0.03, 0.06, 0.15, 0.12}, nil, accept, edges, recording.Grip, recording.RPM)
		w.cannot(say.T("small cuts"), say.T("neither a cut channel nor the throttle plate is logged: cuts under about 6 % or 0.15 s are not seen, and what is seen is suspected only"), say.T("log the cut or the throttle plate"))
	default:
		w.cannot(say.T("cuts"), say.T("they need a cut channel, or grip with throttle, or grip with engine speed and gear"), say.T("log throttle beside grip"))
	}
}

func or(a, b []bool) []bool {
	switch {
	case a == nil:
		return b
	case b == nil:
		return a
	}
	out := make([]bool, len(a))
	for i := range a {
		out[i] = a[i] || b[i]
	}
	return out
}

// addCuts makes episodes of a cut series.
func (w *work) addCuts(c []float64, g gate, bad []bool, accept func(a, b int) bool, edges func(found [][2]int) [][2]float64, names ...string) {
	s := &w.r.Signals
	owner := w.otherOwners()
	lim := w.b.Drive.LimiterRPM
	x := w.mem.zeros()
	for i := range x {
		if bad != nil && bad[i] || owner[i] {
			continue
		}
		x[i] = c[i]
	}
	defer w.mem.back(x)
	w.mem.put(owner)
	first := len(w.r.Episodes)
	var kept [][2]int
	for _, st := range g.cut(x, w.dt) {
		a, b := st[0], min(st[1], w.n-1)
		if accept != nil && !accept(a, b) {
			continue
		}
		e := Episode{Kind: Cut, Start: w.time(a), End: w.time(b), Inferred: s.CutSource != "cut channel"}
		var sum float64
		limited := 0
		for i := a; i < b; i++ {
			e.Peak = math.Max(e.Peak, x[i])
			sum += x[i]
			if lim > 0 && s.RPM != nil && s.RPM[i] > lim-150 {
				limited++
			}
		}
		if limited*2 > b-a {
			continue // the limiter's
		}
		e.Mean = sum / float64(max(1, b-a))
		e.Marked = w.marked(span(e), names...)
		w.r.Episodes = append(w.r.Episodes, e)
		kept = append(kept, [2]int{a, b})
	}
	if edges == nil {
		return
	}
	for k, x := range edges(kept) {
		e := &w.r.Episodes[first+k]
		e.Start, e.End = w.t0+x[0]*w.dt, w.t0+x[1]*w.dt
	}
}

func span(e Episode) recording.Span { return recording.Span{From: e.Start, To: e.End} }

// otherOwners marks where a cut belongs to the gearshift: from just before an
// upshift to just after, and while the clutch is pulled.
func (w *work) otherOwners() []bool {
	s := &w.r.Signals
	m := w.mem.mask()
	if s.Gear != nil {
		for i := 1; i < w.n; i++ {
			if s.Gear[i] > s.Gear[i-1] && s.Gear[i-1] != 0 {
				for j := max(0, i-w.samples(0.09)); j < min(w.n, i+w.samples(0.09)); j++ {
					m[j] = true
				}
			}
		}
	}
	if s.Clutch != nil {
		for i, c := range s.Clutch {
			if c > 0.5 {
				m[i] = true
			}
		}
	}
	return m
}
