package debrief

import (
	"math"

	"cornerwright/internal/circuit"
	"cornerwright/internal/ride"
	"cornerwright/internal/say"
)

// sight is what one lap shows of a row's evidence.
type sight int

const (
	unknown  sight = iota // this lap cannot show it
	nothing               // it could have shown and did not
	seen                  // it shows
	opposite              // it shows the contrary
)

// look is a row asked about one turn.
type look struct {
	*scene
	turn  int // 0: the whole lap
	phase circuit.Phase
	lean  string
	gear  int // gear that the evidence points at, set by the test of some rows
}

// lapKey is the pass of a lap.
func (l *look) key(p *ride.Pass) key { return key{p.Lap, p.Turn} }

// tally is a row's evidence over the laps of a turn.
type tally struct {
	seen, opposite, of int
	best               []*ride.Pass // laps that show it, strongest first as tested
	missing            say.Text     // why nothing can be seen with these channels
}

func (t tally) share() float64 {
	if t.of == 0 {
		return 0
	}
	return float64(t.seen) / float64(t.of)
}

// Shares of laps that make a stance (common practice): three fifths agree, a
// quarter and at least two laps partly.
const (
	agreeShare  = 0.6
	partlyShare = 0.25
)

func (t tally) stance() Stance {
	switch {
	case t.missing != "" || t.of < 2:
		return CannotTell
	case t.share() >= agreeShare:
		return Agrees
	case t.share() >= partlyShare && t.seen >= 2:
		return Partly
	}
	return Contradicts
}

func (t tally) laps() say.Text { return say.T("{seen} of {of}", t.seen, t.of) }

// need is a channel that a row cannot do without.
type need struct {
	what say.Text
	have func(*ride.Ride) bool
	mend say.Text
}

var (
	needCut      = need{say.T("no torque cut (neither a cut channel nor grip and throttle plate)"), func(r *ride.Ride) bool { return r.Signals.Cut != nil }, say.T("record the cut, or grip and plate")}
	needSlip     = need{say.T("no rear slip"), func(r *ride.Ride) bool { return r.Signals.RearSlip != nil }, say.T("record both wheel speeds")}
	needGrip     = need{say.T("no throttle grip"), func(r *ride.Ride) bool { return r.Signals.Grip != nil }, say.T("record the grip")}
	needThrottle = need{say.T("no throttle plate"), func(r *ride.Ride) bool { return r.Signals.Throttle != nil }, say.T("record the plate")}
	needRPM      = need{say.T("no engine speed"), func(r *ride.Ride) bool { return r.Signals.RPM != nil }, say.T("record engine speed")}
	needGear     = need{say.T("no gear"), func(r *ride.Ride) bool { return r.Signals.Gear != nil }, say.T("record gear or engine speed")}
	needBrake    = need{say.T("no brake pressure"), func(r *ride.Ride) bool { return r.Signals.FrontBrake != nil }, say.T("record front brake pressure")}
	needFront    = need{say.T("no front wheel slip"), func(r *ride.Ride) bool { return r.Signals.FrontSlip != nil }, say.T("record the front wheel and a GPS speed")}
	needFork     = need{say.T("no fork travel"), func(r *ride.Ride) bool { return r.Signals.Fork != nil }, say.T("fit a fork travel sensor")}
	needShock    = need{say.T("no rear travel"), func(r *ride.Ride) bool { return r.Signals.Shock != nil }, say.T("fit a rear travel sensor")}
	needLean     = need{say.T("no lean"), func(r *ride.Ride) bool { return r.Signals.Lean != nil }, say.T("record lean, or gyros and GPS")}
	needAir      = need{say.T("no way to see the front wheel lift"), func(r *ride.Ride) bool { return r.Signals.Airborne != nil }, say.T("record front wheel speed and acceleration")}
	needPlace    = need{say.T("no place across the track"), func(r *ride.Ride) bool { return r.Position != nil && !r.Position.Lost && r.Position.Offset != nil }, say.T("record GPS at 10 Hz or better")}
)

// gather asks a row about every timed lap of the turn.
func (l *look) gather(w *row) tally {
	var t tally
	for _, n := range w.needs {
		if !n.have(l.r) {
			t.missing = say.T("{what} in this recording; {mend}", n.what, n.mend)
			return t
		}
	}
	for _, p := range l.passesOf() {
		switch w.test(l, p) {
		case seen:
			t.seen++
			t.of++
			t.best = append(t.best, p)
		case opposite:
			t.opposite++
			t.of++
		case nothing:
			t.of++
		}
	}
	return t
}

func (l *look) passesOf() []*ride.Pass { return l.passes[l.turn] }

// measure sums a value over the laps of the turn.
func (l *look) measure(name string, label say.Text, unit string, f func(*ride.Pass) float64) (Measure, bool) {
	var x []float64
	for _, p := range l.passesOf() {
		x = append(x, f(p))
	}
	mean, lo, hi, n := spread(x)
	return Measure{Name: name, Label: label, Value: mean, Lo: lo, Hi: hi, N: n, Unit: unit}, n > 0
}

// average is the mean of a value over the laps of the turn, NaN if unknown.
func (l *look) average(f func(*ride.Pass) float64) float64 {
	m, _ := l.measure("", "", "", f)
	return m.Value
}

// episodeSum adds up a value over the episodes of a kind on a pass.
func (l *look) episodeSum(kind ride.Kind, p *ride.Pass, phases []circuit.Phase, f func(*ride.Episode) float64) float64 {
	sum := 0.0
	for _, e := range l.has(kind, l.key(p), phases) {
		sum += f(e)
	}
	return sum
}

func length(e *ride.Episode) float64 { return e.End - e.Start }

// when is seen if the condition holds, else nothing.
func when(ok bool) sight {
	if ok {
		return seen
	}
	return nothing
}

// known is when(ok) unless the value it rests on is not known.
func known(x float64, ok bool) sight {
	if math.IsNaN(x) {
		return unknown
	}
	return when(ok)
}
