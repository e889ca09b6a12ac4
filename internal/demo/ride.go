package demo

import "math"

const (
	step    = 0.005 // s of integration
	perRow  = 2     // steps to a truth row: 100 rows a second
	rowTime = step * perRow
	barPa   = 1e5
	radDeg  = 180 / math.Pi
)

// sim rides a run.
type sim struct {
	o       *Options
	c       *Circuit
	b       *Bike
	g       *grid
	e       *engine
	laps    []*lapPlan
	tr      *Truth
	w       *world
	habit   habit
	marks   []state // where a cut begins, to ride on from there without it
	shift   Episode // going on
	pushing bool
	// When each outing's first lap began and its last ended, by lap.
	began, ended map[int]float64
}

// Ride simulates one run. Equal options give equal bytes.
func Ride(o Options) *Run {
	cs := Circuits()
	return ride(o, cs[o.Circuit%len(cs)])
}

func ride(o Options, c Circuit) *Run {
	if len(o.Effects) > 0 && o.push == nil {
		o.push = calibrate(o, c)
	}
	s := simulate(o, c, usual()[o.Circuit%len(usual())])
	r := &Run{Options: o, Circuit: *s.c, Bike: *s.b, Truth: *s.tr}
	if o.bare {
		return r
	}
	if mixed(o.Slots) {
		r.Truth.Effects = trueEffects(o, c)
	}
	r.Channels = sense(r, s)
	return r
}

func simulate(o Options, c Circuit, h habit) *sim {
	b := Heron()
	if o.RateHz == 0 {
		o.RateHz = 100
	}
	sheets := map[string]Sheet{}
	for k, v := range b.Sheets {
		sheets[k] = v.Clone()
	}
	for k, v := range o.Sheets {
		sheets[k] = v.Clone()
	}
	b.Sheets = sheets
	n := o.Nasty
	if n.CrownNonCircular != 0 {
		b.Front.Crown2, b.Rear.Crown2 = n.CrownNonCircular*0.6, n.CrownNonCircular
	}
	c.tilt(n.Grade, n.Bank, newSource(o.Seed, 90))
	s := &sim{habit: h, o: &o, c: &c, b: &b, g: newGrid(&c), e: newEngine(&o), tr: &Truth{}}
	plantSheets(&o, &c, &b)
	s.plan()
	s.run()
	s.finish()
	return s
}

func mixed(slots []string) bool {
	for _, x := range slots {
		if x != slots[0] {
			return true
		}
	}
	return false
}

// calibrate finds the extra drive force in N that makes each of the Effects as
// large as asked, from riding one flying lap with and without it.
func calibrate(o Options, c Circuit) []float64 {
	const trial = 60.0
	still := o
	still.bare, still.Effects, still.Slots = true, nil, nil
	still.RiderSigma, still.LineSigma, still.Drift, still.SlowLaps = 0, 0, 0, 0
	still.Laps, still.Outings, still.NoOutLap, still.NoInLap = 1, 1, false, false
	still.Nasty.Traffic = false
	base := ride(still, c)
	out := make([]float64, len(o.Effects))
	for i, e := range o.Effects {
		q := still
		q.Effects = []Effect{{"A", e.Turn, 0}}
		q.push = []float64{trial}
		t := ride(q, c).Truth
		a, b := base.Truth.Segment(1, e.Turn)
		a2, b2 := t.Segment(1, e.Turn)
		if gain := (b2 - a2) - (b - a); gain < -1e-4 {
			out[i] = trial * e.Seconds / gain
		}
	}
	return out
}

// trueEffects rides the very same laps twice, all in the reference slot and all
// in the trial slot, and takes the mean difference of each turn's segment.
func trueEffects(o Options, c Circuit) []TrueEffect {
	o.bare = true
	n := len(c.Turns)
	var seg [2][]float64
	count := 0
	var runs [2]*Truth
	for k, slot := range []string{"A", "B"} {
		q := o
		q.Slots = []string{slot}
		runs[k] = &ride(q, c).Truth
		seg[k] = make([]float64, n)
	}
	for i, l := range runs[0].Laps {
		if l.Kind != TimedLap || i+1 >= len(runs[0].Laps) || l.HeldUp {
			continue
		}
		count++
		for k := range seg {
			for j := range c.Turns {
				a, b := runs[k].Segment(i, j+1)
				seg[k][j] += b - a
			}
		}
	}
	var out []TrueEffect
	for j := range seg[0] {
		out = append(out, TrueEffect{j + 1, (seg[1][j] - seg[0][j]) / float64(max(count, 1))})
	}
	return out
}

// Segment returns the instants at which a turn's own stretch begins and ends
// on a lap, NaN where the run does not hold them.
func (tr *Truth) Segment(lap, turn int) (from, to float64) {
	base := float64(lap) * tr.Length
	from = tr.CrossAt(base + tr.Turns[turn-1].Segment)
	if turn < len(tr.Turns) {
		return from, tr.CrossAt(base + tr.Turns[turn].Segment)
	}
	return from, tr.CrossAt(base + tr.Length + tr.Turns[0].Segment)
}

// plantSheets puts the causes that live in the settings into the reference
// sheet: that is where a step must find and mend them.
func plantSheets(o *Options, c *Circuit, b *Bike) {
	for _, cause := range o.Causes {
		a, ok := b.Sheets["A"]
		if !ok {
			continue
		}
		for slot, sh := range b.Sheets {
			if _, given := o.Sheets[slot]; given && slot != "A" {
				continue // a sheet that was handed in is ridden as it is
			}
			_ = a
			switch cause.Kind {
			case StrongControl, LooseControl:
				d := cause.size(6)
				if cause.Kind == StrongControl {
					d = -cause.size(2.2)
				}
				shiftCells(sh, c, cause.Turn, d)
			case WeakEngineBrake:
				if l, ok := sh["engine-brake"].([]float64); ok && cause.Gear >= 1 && cause.Gear <= len(l) {
					l[cause.Gear-1] = math.Max(5, l[cause.Gear-1]-cause.size(35))
				}
			}
		}
	}
}

func (c Cause) size(usual float64) float64 {
	if c.Size != 0 {
		return c.Size
	}
	return usual
}

// shiftCells moves the slip-target cells that a turn's drive uses.
func shiftCells(sh Sheet, c *Circuit, turn int, d float64) {
	g, ok := sh["slip-target"].([][]float64)
	if !ok || turn < 1 || turn > len(c.Turns) {
		return
	}
	t := c.Turns[turn-1]
	v := 3.6 * math.Sqrt(t.lateral*t.Radius)
	for i, lean := range slipLeans {
		for j, speed := range slipSpeeds {
			if lean >= 30 && speed > v-35 && speed < v+60 {
				g[i][j] = math.Max(1, g[i][j]+d)
			}
		}
	}
}

// plan draws everything random of every lap before a metre is ridden.
func (s *sim) plan() {
	o, c := s.o, s.c
	r := newSource(o.Seed, 1)
	sig := o.RiderSigma
	outings := max(1, o.Outings)
	var plans []*lapPlan
	for range outings {
		laps := o.Laps/outings + 2
		if o.Laps%outings != 0 {
			laps++
		}
		for k := range laps {
			p := &lapPlan{kind: TimedLap, mu: 1, pace: 1, from: 0, to: c.Length}
			if k == 0 {
				p.kind, p.pace = OutLap, 0.86
				if !o.NoOutLap {
					p.from = boxOut
				} else {
					p.from = 0.35 * c.Length
					p.pace = 0.97
				}
			}
			if k == laps-1 {
				p.kind, p.pace = InLap, 0.9
				if !o.NoInLap {
					p.to = c.Length - boxIn
				} else {
					p.to = 0.6 * c.Length
					p.pace = 1
				}
			}
			plans = append(plans, p)
		}
	}
	slow := newSource(o.Seed, 3)
	for k, p := range plans {
		// Tyres come in over the first laps and go off slowly.
		warm := 1 - 0.018*o.Drift*math.Exp(-float64(k)/1.4) - 0.0011*o.Drift*float64(k)
		p.mu = warm * (1 + 0.0022*sig*r.near(0, 1))
		p.pace *= 1 + 0.0022*sig*r.near(0, 1)
		name := "A"
		if k < len(o.Slots) {
			name = o.Slots[k]
		} else if len(o.Slots) > 0 {
			name = o.Slots[len(o.Slots)-1]
		}
		p.slot = int(name[0] - 'A')
		chance := o.SlowLaps
		if o.Nasty.Traffic {
			chance = math.Max(chance, 0.125)
		}
		if slow.uniform() < chance && p.kind == TimedLap {
			p.held = true
			p.heldA = slow.between(0.1, 0.6) * c.Length
			p.heldB = p.heldA + slow.between(0.12, 0.3)*c.Length
		}
		for range c.Turns {
			t := turnPlan{
				speed: 1 + 0.010*sig*r.near(0, 1), late: 0.05 * sig * r.near(0, 1), decel: 1 + 0.02*sig*r.near(0, 1),
				pick: math.Max(0, 0.10+0.05*sig*r.near(0, 1)), ask: math.Max(0.8, math.Min(1.01, 0.965+0.025*sig*r.near(0, 1))),
				shiftAt: 12300 + 250*sig*r.near(0, 1), upAt: s.b.ShiftRPM + 80*sig*r.near(0, 1), topGear: 6,
			}
			for g := range t.surplus {
				t.surplus[g] = 60 + 170*r.near(0, 1)
				if r.uniform() < 0.03 {
					t.surplus[g] += r.between(700, 1100)
				}
				t.shiftTime[g] = r.near(0, 1)
			}
			if r.uniform() < 0.01*sig {
				t.lock, t.lockFor = 0.25+0.3*r.uniform(), 0.12+0.12*r.uniform()
			}
			if r.uniform() < 0.012*sig {
				t.lift = 0.35
			}
			p.turns = append(p.turns, t)
		}
		for _, cause := range o.Causes {
			if cause.Turn < 1 || cause.Turn > len(c.Turns) {
				continue
			}
			t := &p.turns[cause.Turn-1]
			switch cause.Kind {
			case OverBlip:
				for g := range t.surplus {
					t.surplus[g] = cause.size(1200) + 120*r.near(0, 1)
				}
			case LatePickUp:
				t.pick += cause.size(0.45)
			case LooseControl:
				// The rider leans on the control and asks more than there is.
				t.ask = 1.22 + 0.03*sig*r.near(0, 1)
			case WheelLift:
				t.nose = cause.size(3.2)
			case Hop:
				t.hop, t.hopFor = cause.size(7)/1000, 0.8
			case Dragging:
				t.drag = cause.size(260)
			case LimiterBeforeBrake:
				// The rider holds a gear too low on the straight before this turn.
				prev := &p.turns[(cause.Turn+len(c.Turns)-2)%len(c.Turns)]
				prev.topGear = s.gearToLimit(cause.Turn)
			}
		}
	}
	w := newWander(newSource(o.Seed, 2), float64(len(plans)+1)*s.g.clock[s.g.n]+60, math.Max(0.6, o.LineLength/60), o.LineSigma)
	elapsed := make([]float64, len(plans))
	for k := 1; k < len(plans); k++ {
		elapsed[k] = elapsed[k-1] + s.g.clock[s.g.n]
	}
	for k := len(plans) - 1; k >= 0; k-- {
		var next *lapPlan
		if k+1 < len(plans) && plans[k].kind != InLap {
			next = plans[k+1]
		}
		plans[k].lay(c, s.g, w, elapsed[k], next)
	}
	s.laps = plans
}

// gearToLimit is the highest gear whose limiter lies under the speed usually
// reached before a turn.
func (s *sim) gearToLimit(turn int) int {
	v := s.habit.reached[turn-1]
	g := len(s.b.Gears)
	for g > 1 && s.b.LimiterRPM*radPerRPM/s.b.ratio(g)*s.b.Rear.Radius/1.05 > v*0.97 {
		g--
	}
	return g
}

func sq(x float64) float64 { return x * x }

func lookup(t []float64, u float64) float64 {
	i := int(u)
	if i >= len(t)-1 {
		return t[len(t)-1]
	}
	if i < 0 {
		return t[0]
	}
	f := u - float64(i)
	return t[i] + f*(t[i+1]-t[i])
}

func boolf(b bool) float64 {
	if b {
		return 1
	}
	return 0
}
