package proving_test

import (
	"bytes"
	"fmt"
	"math"
	"sort"

	"cornerwright/internal/bike"
	"cornerwright/internal/circuit"
	"cornerwright/internal/debrief"
	"cornerwright/internal/demo"
	"cornerwright/internal/intake"
	"cornerwright/internal/proving"
	"cornerwright/internal/recording"
	"cornerwright/internal/ride"
	"cornerwright/internal/signal"
)

// chained is one simulated run beside what the whole way from the bytes of its
// file made of it: one ride for each outing.
type chained struct {
	run      *demo.Run
	bike     *bike.Bike
	rides    []*ride.Ride
	problems []recording.Problem
	turn     map[int]int // truth turn -> turn of the analysis
	refused  string      // why nothing was made of it
}

// chain writes the run as text and takes it the way a book takes a file.
func chain(o demo.Options, d demo.Dialect) (*chained, error) {
	run := demo.Ride(o)
	x := &chained{run: run, turn: map[int]int{}}
	b, err := bike.Parse("demo.toml", run.Bike.TOML())
	if err != nil {
		return nil, err
	}
	x.bike = b
	var file bytes.Buffer
	if err := run.WriteText(&file, d); err != nil {
		return nil, err
	}
	res, err := intake.Read("run.csv", file.Bytes(), intake.Options{})
	if err != nil {
		x.refused = err.Error()
		return x, nil
	}
	x.problems = res.Problems
	var on *circuit.Circuit
	for _, rec := range res.Recordings {
		for _, part := range circuit.SplitRuns(rec) {
			if on == nil {
				l, err := circuit.Locate(part, nil, circuit.Options{})
				if err != nil {
					return nil, err
				}
				if l.Circuit == nil {
					x.refused = fmt.Sprint(l.Problems)
					continue
				}
				c := *l.Circuit
				on = &c
			}
			r, err := ride.Analyse(part, b, on, ride.Options{})
			if err != nil {
				return nil, err
			}
			if r.Circuit == nil {
				x.refused = fmt.Sprint(r.Problems)
				continue
			}
			x.rides = append(x.rides, r)
		}
	}
	x.number()
	return x, nil
}

// number finds which turn of the analysis each true turn is: the one whose passes
// hold its apex.
func (x *chained) number() {
	votes := map[[2]int]int{}
	tr := &x.run.Truth
	for k, t := range tr.Turns {
		for lap := range tr.Laps {
			at := tr.CrossAt(float64(lap)*tr.Length + t.Apexes[0])
			for _, r := range x.rides {
				for i := range r.Passes {
					if p := &r.Passes[i]; p.Start <= at && at < p.End {
						votes[[2]int{k + 1, p.Turn}]++
					}
				}
			}
		}
	}
	for k, n := range votes {
		best, ok := x.turn[k[0]]
		if m := votes[[2]int{k[0], best}]; !ok || n > m || n == m && k[1] < best {
			x.turn[k[0]] = k[1]
		}
	}
}

// timed tells whether an instant lies in a true timed lap.
func (x *chained) timed(t float64) bool {
	for _, l := range x.run.Truth.Laps {
		if l.Kind == demo.TimedLap && t >= l.Start && t <= l.End {
			return true
		}
	}
	return false
}

// crossings are the true instants at which the tyres pass the plane of the gate.
func crossings(run *demo.Run, c *circuit.Circuit) []float64 {
	x0, y0, h, _ := c.Line.At(0)
	f := circuit.Frame{Lat: run.Circuit.Latitude * math.Pi / 180, Lon: run.Circuit.Longitude * math.Pi / 180}
	lat, lon := c.Frame.LatLon(x0, y0)
	gx, gy, _ := f.ENU(lat, lon, c.Frame.Height)
	return proving.Passages(&run.Truth, gx, gy, h)
}

// whole counts the laps from one of the instants to the next that stayed out of the
// pit lane and neither began nor ended at less than 0.7 of the usual speed there, as
// docs/method.md has it: with the gate on another straight than the simulator's own
// the out lap passes it at speed and begins one lap more.
func whole(tr *demo.Truth, at []float64) int {
	const lane = 8 // m off the line: beyond any line that is ridden
	row := make([]int, len(at))
	speed := make([]float64, len(at))
	for i, t := range at {
		row[i] = min(sort.SearchFloat64s(tr.Time, t), len(tr.Time)-1)
		speed[i] = tr.Speed[row[i]]
	}
	usual := signal.Median(speed)
	n := 0
	for i := 1; i < len(at); i++ {
		in := speed[i-1] >= 0.7*usual && speed[i] >= 0.7*usual
		for k := row[i-1]; k < row[i]; k++ {
			in = in && math.Abs(tr.Offset[k]) <= lane
		}
		if in {
			n++
		}
	}
	return n
}

// tally counts episodes of one kind.
type tally struct{ truth, found, hit, extra int }

func (a tally) f1() float64 { return proving.F1(a.hit, a.truth, a.found, a.extra) }

// row is one line of the table: what was measured over all its runs.
type row struct {
	runs, refused      int
	lapsTrue, lapsOurs int
	lap                []float64 // s
	lapZ               []float64
	lean, leanZ        []float64 // deg, and in standard errors; one in 30 samples
	slip               []float64 // percentage points
	kinds              map[ride.Kind]*tally
	causes, found      int
	remarks, believed  int // false ones
	wrongly            map[string]int
	verdicts, held     int
	told               int // planted effect called better
	claims             int // turns without an effect called better or worse
	others, othersHeld int
	withheld           map[string]int
}

func (w *row) add(x *chained) {
	w.runs++
	if w.kinds == nil {
		w.kinds, w.wrongly, w.withheld = map[ride.Kind]*tally{}, map[string]int{}, map[string]int{}
		for _, k := range kinds {
			w.kinds[k] = &tally{}
		}
	}
	if len(x.rides) == 0 {
		w.refused++
		return
	}
	w.laps(x)
	w.signals(x)
	w.episodes(x)
	w.debrief(x)
	w.verdict(x)
}

func (w *row) laps(x *chained) {
	at := crossings(x.run, x.rides[0].Circuit)
	w.lapsTrue += whole(&x.run.Truth, at)
	for _, r := range x.rides {
		for _, l := range r.Laps {
			if l.Kind != circuit.TimedLap {
				continue
			}
			w.lapsOurs++
			a, b := proving.Nearest(at, l.Start), proving.Nearest(at, l.End)
			if math.Abs(a-l.Start) > 3 || math.Abs(b-l.End) > 3 || a == b {
				w.lap, w.lapZ = append(w.lap, 9.999), append(w.lapZ, 99)
				continue
			}
			// The simulator's clock is the logger's; GPS time is time.
			d := l.Time() - (b-a)/(1+x.run.Options.Nasty.GPSDrift)
			w.lap, w.lapZ = append(w.lap, d), append(w.lapZ, d/l.TimeSE)
		}
		for _, c := range r.Cannot {
			w.withheld[c.What.String()]++
		}
	}
}

func (w *row) signals(x *chained) {
	tr := &x.run.Truth
	const deg = 180 / math.Pi
	for _, r := range x.rides {
		p, s := r.Position, &r.Signals
		for i := 0; i < len(p.Time); i += 3 {
			k := sort.SearchFloat64s(tr.Time, p.Time[i]-0.005)
			if k >= len(tr.Time) || tr.Speed[k] < 10 || !x.timed(p.Time[i]) {
				continue
			}
			if s.Lean != nil && !math.IsNaN(s.Lean[i]) {
				d := s.Lean[i] - tr.Lean[k]
				w.lean = append(w.lean, d*deg)
				if i%30 == 0 && s.LeanSE != nil {
					w.leanZ = append(w.leanZ, d/s.LeanSE[i])
				}
			}
			if s.RearSlip != nil && tr.Grip[k] > 0.03 && tr.Clutch[k] < 0.5 && !math.IsNaN(s.RearSlip[i]) {
				w.slip = append(w.slip, 100*(s.RearSlip[i]-tr.RearSlip[k]))
			}
		}
	}
}

var kinds = []ride.Kind{ride.Cut, ride.Blip, ride.Limiter, ride.Wheelie, ride.Hop}

func (w *row) episodes(x *chained) {
	for _, kind := range kinds {
		if kind == ride.Hop && x.cannot("hop and chatter") {
			continue
		}
		var truth, found []proving.Span
		for _, e := range x.run.Truth.Episodes {
			if e.Kind == string(kind) && x.timed(e.Start) {
				truth = append(truth, proving.Span{From: e.Start - 0.02, To: e.End + 0.02})
			}
		}
		for _, r := range x.rides {
			for _, e := range r.Episodes {
				if e.Kind == kind && x.timed(e.Start) {
					found = append(found, proving.Span{From: e.Start - 0.02, To: e.End + 0.02})
				}
			}
		}
		hit, extra, _ := proving.Match(truth, found)
		a := w.kinds[kind]
		a.truth, a.found, a.hit, a.extra = a.truth+len(truth), a.found+len(found), a.hit+hit, a.extra+extra
	}
}

// cannot tells whether a ride withholds something.
func (x *chained) cannot(what string) bool {
	for _, c := range x.rides[0].Cannot {
		if c.What.String() == what {
			return true
		}
	}
	return false
}

// said is what a rider says of a planted cause.
var said = map[demo.CauseKind]debrief.Remark{
	demo.OverBlip:   {Says: "pushes-on", Phase: circuit.PhaseEntry},
	demo.Hop:        {Says: "hops", Phase: circuit.PhaseBrake},
	demo.WheelLift:  {Says: "wheelies", Phase: circuit.PhaseDrive},
	demo.LatePickUp: {Says: "late-pick-up", Phase: circuit.PhasePickup},
}

// happened counts the timed laps on which the truth has an episode at a turn.
func (x *chained) happened(turn int, ok func(e *demo.Episode) bool) int {
	laps := map[int]bool{}
	for i := range x.run.Truth.Episodes {
		if e := &x.run.Truth.Episodes[i]; e.Turn == turn && x.timed(e.Start) && ok(e) {
			laps[e.Lap] = true
		}
	}
	return len(laps)
}
