package circuit

import (
	"fmt"
	"math"

	"cornerwright/internal/recording"
	"cornerwright/internal/say"
)

// Options steer Locate. The zero value is the common case.
type Options struct {
	Name string // of a circuit that is learnt
	// Gate, if set, puts the start gate of a learnt circuit at the place of the
	// line nearest to it.
	Gate *GateAt
	// AntennaHeight is the height of the GPS antenna above the road (m); 0 = not
	// known. A leaned bike carries it to the inside by height times sine of lean.
	AntennaHeight float64
	// Edits to gate and turns survive learning anew. Those that no longer fit
	// become problems of the result. Gate, if nil, is theirs.
	Edits *Edits

	noise *noise // takes the place of the default and stays as it is; for comparison in tests
}

// GateAt is a start gate in earth coordinates (rad).
type GateAt struct{ Lat, Lon, Heading float64 }

// Located is one run, located.
type Located struct {
	Circuit  *Circuit // nil where no lap closes
	Position *Position
	Laps     []Lap
	Matrix   *Matrix
	Problems []recording.Problem
	Learnt   bool // the circuit was learnt from this run

	fixT []float64 // recording clock, latency removed
	fixV []float64
	sm   *smoother
}

// ErrNoPosition is returned where a recording has neither position nor lap marker.
var ErrNoPosition = say.Error("no position: the recording has no latitude and longitude with at least eight different fixes")

// Locate finds where the bike was over one run. With known == nil the circuit
// is learnt from the run itself; otherwise the run is laid on the known line.
// Where no lap closes it still returns what can be given, Circuit nil, with a
// problem that says why; an error only where there is no position at all.
func Locate(rec *recording.Recording, known *Circuit, opt Options) (*Located, error) {
	out, err := locate(rec, known, opt, Clock{})
	if err == nil && out.Position.Clock.Gain != 0 {
		// The fixes run on a clock of their own: once more with their stamps put right.
		if out, err = locate(rec, known, opt, out.Position.Clock); err == nil {
			out.tellClock()
		}
	}
	return out, err
}

// locate is Locate with the fixes' clock known.
func locate(rec *recording.Recording, known *Circuit, opt Options, clock Clock) (*Located, error) {
	frame := Frame{}
	if known != nil {
		frame = known.Frame
	}
	if opt.Gate == nil {
		opt.Gate = opt.Edits.GateAt()
	}
	f := readFixes(rec, &frame)
	if len(f.t) == 0 {
		return nil, ErrNoPosition
	}
	f.putOn(clock)
	out := &Located{sm: &smoother{}}
	d := newOdometer(rec, &f)
	d.calibrate(&f, nil)
	var lp loop
	if known != nil {
		x, y, h, _ := known.Line.At(0)
		lp = loop{gate: gateAt{x, y, h}, cross: crossings(&f, d, gateAt{x, y, h}, math.Max(18, known.HalfWidth), 4)}
		lp.consistent()
		lp.length = known.Line.Length
		if len(lp.cross) == 0 {
			out.problem(recording.Fault, say.T("the run never passes the start gate of {name}", known.Name),
				say.T("check that the recording is of this circuit, or let the circuit be learnt"))
			out.Position = openPosition(&f, d)
			return out, nil
		}
	} else {
		var ok bool
		if lp, ok = findLoop(&f, d); !ok {
			return out.open(&f, d), nil
		}
	}
	j := &joint{f: f.bridged(), fixes: &f, d: d, q: defaultNoise(), sm: out.sm}
	j.antenna = opt.AntennaHeight
	if !d.wheel {
		j.q.walk = 0.012
		if !f.logged {
			j.q.walk = 0.4
		}
	}
	if opt.noise != nil {
		j.q, j.fixed = *opt.noise, true
	}
	lp.bridge(&f, d)
	lp.fill(d)
	j.s = lp.phases(j.f, d, lp.length)
	if known != nil {
		j.line = known.Line
		j.q.slowStart = 4
		j.q.speed = 0.5
		j.locateKnown()
	} else {
		length := lp.length
		j.learn(&lp)
		if !j.holds(length) {
			return out.open(&f, d), nil
		}
		shift := chooseGate(rec, j, frame, opt)
		j.line = j.line.rotate(shift)
		for i := range j.s {
			j.s[i] -= shift
		}
		j.finish()
	}
	j.number()
	pos := j.position()
	if left := j.clockDrift(); clock.Gain != 0 || left.surely() {
		if clock.Gain == 0 {
			clock.Middle = left.Middle
		}
		pos.Clock = Clock{clock.Gain + left.Gain, left.GainSE, clock.Middle}
	}
	pos.Bridged = holes(&f, d)
	out.Position = pos
	out.fixT = make([]float64, len(j.f.t))
	for i, t := range j.f.t {
		out.fixT[i] = t - d.latency
	}
	out.fixV = j.vAtFix()
	c := known
	if c == nil {
		out.Learnt = true
		c = &Circuit{Name: opt.Name, Version: 1, Frame: frame, Line: j.line, HalfWidth: 18}
		if c.Name == "" {
			c.Name = "learnt circuit"
		}
	}
	out.Circuit = c
	out.Laps = out.cutLaps(rec, j)
	if known == nil {
		c.Turns = findTurns(c, pos, out.Laps)
		whole := 0
		for _, l := range out.Laps {
			if l.Kind == TimedLap {
				whole++
			}
		}
		c.Notes = append(c.Notes, say.T("learnt from {whole} timed laps", whole))
		if whole == 1 {
			out.problem(recording.Warning, say.T("the circuit was learnt from one lap only"), say.T("ride more laps; the line follows that one lap"))
		}
		if opt.Edits != nil {
			e := opt.Edits.clone()
			e.Gate = nil // s counts from it already
			n, errs := c.edited(e)
			*c = *n
			for _, err := range errs {
				out.problem(recording.Warning, say.T("an edit of the circuit no longer fits: {why}", err), say.T("look at the turns as they are now and edit anew"))
			}
			if g := opt.Edits.Gate; g != nil && g.HalfWidthM > 0 {
				c.HalfWidth = g.HalfWidthM
			}
		}
	}
	if len(d.spans) > 0 {
		pos.Replaced = d.spans
	}
	if !d.wheel && d.timed {
		out.problem(recording.Note, say.T("no front wheel speed: distance comes from GPS speed, and the GPS delay ({latency} ms) from the yaw rate", fmt.Sprintf("%.0f", 1e3*d.latency)),
			say.T("log front wheel speed for steadier lap times"))
	} else if !d.wheel {
		out.problem(recording.Note, say.T("no front wheel speed: distance comes from GPS speed, and the GPS delay cannot be found"),
			say.T("log front wheel speed for steadier lap times and places in step with the other channels"))
	}
	out.elsewhere(j)
	out.Matrix = out.matrix(5)
	return out, nil
}

// open says that no lap closes, and gives what there is instead.
func (l *Located) open(f *fixes, d *odometer) *Located {
	l.problem(recording.Fault, say.T("no lap closes: in {seconds} s and {metres} m, {wide} m from end to end at most, no place is passed twice in the same direction after a lap's distance",
		fmt.Sprintf("%.0f", f.t[len(f.t)-1]-f.t[0]), fmt.Sprintf("%.0f", d.o[len(d.o)-1]), fmt.Sprintf("%.0f", f.extent())),
		say.T("record at least one whole lap past the same place, or name a known circuit"))
	l.Position = openPosition(f, d)
	return l
}

// holds tells whether the line learnt is the way of a lap, which is length (m) by
// odometer. Loops ridden about a place, each another way, make a line that is shorter.
func (j *joint) holds(length float64) bool {
	return math.Abs(j.line.Length/length-1) < 0.15
}

// elsewhere tells of long stretches ridden far from the line: a second circuit in
// the file, or the road to it.
func (l *Located) elsewhere(j *joint) {
	var long, from float64
	for i := 1; i < len(j.aside); i++ {
		if far := math.Hypot(j.rows[i].rx, j.rows[i].ry) > 150; far && j.fixes != nil && j.f.v[i] > 8 && !j.f.isVoid(i) {
			if long == 0 {
				from = j.f.t[i]
			}
			long += math.Min(1, j.f.t[i]-j.f.t[i-1])
		}
	}
	if long > 60 {
		l.problem(recording.Warning, say.T("for {long} s, first at {from} s, the bike was ridden more than 150 m from the circuit", fmt.Sprintf("%.0f", long), fmt.Sprintf("%.0f", from)),
			say.T("if the file holds a second circuit, cut it in two and add each part"))
	}
}

func (l *Located) problem(sev recording.Severity, text, mend say.Text) {
	l.Problems = append(l.Problems, recording.Problem{Severity: sev, Text: text, Mend: mend})
}
