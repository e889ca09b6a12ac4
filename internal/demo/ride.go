package demo

import "math"

const (
	step     = 0.005 // s of integration
	perRow   = 2     // steps to a truth row: 100 rows a second
	rowTime  = step * perRow
	barPa    = 1e5
	radDeg   = 180 / math.Pi
	closed   = 0.0
	capDecel = 10.2 // m/s2 the rider never asks more
)

// mode is what the rider is doing with the right hand.
type mode int

const (
	driving mode = iota
	braking
	coasting
)

// rideState is the bike and rider at one instant.
type rideState struct {
	t, s, v        float64
	lean, roll     float64
	slip           float64
	grip, plate    float64
	cut            float64
	front, rear    float64 // Pa
	gear           int
	rpm, surplus   float64
	clutch         float64
	shiftEnd       float64
	shiftFrom      int
	shiftSurplus   float64
	upEnd          float64
	pitch          float64 // rad of wheel lift
	airborne       bool
	frontOmega     float64
	mode           mode
	accel          float64
	openAt         float64 // instant at which the rider opens again
	brakeAt        float64
	nextApex       int
	lockEnd, hopAt float64
	lastDown       float64
	hold           float64 // integral of the speed hold
}

// sim rides a run.
type sim struct {
	o     *Options
	c     *Circuit
	b     *Bike
	g     *grid
	e     *engine
	laps  []*lapPlan
	tr    *Truth
	noise *source
	st    rideState
	// open marks for episodes, filled row by row
	pendDown *Episode
}

// Ride simulates one run. Equal options give equal bytes.
func Ride(o Options) *Run {
	cs := Circuits()
	c := cs[o.Circuit%len(cs)]
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
	s := &sim{o: &o, c: &c, b: &b, g: newGrid(&c), e: newEngine(&o), noise: newSource(o.Seed, 5), tr: &Truth{}}
	plantSheets(&o, &c, &b)
	s.plan()
	s.run()
	s.finish()
	r := &Run{Options: o, Circuit: c, Bike: b, Truth: *s.tr}
	if mixed(o.Slots) && !o.bare {
		r.Truth.Effects = trueEffects(o)
	}
	if !o.bare {
		r.Channels = sense(r, s)
	}
	return r
}

func mixed(slots []string) bool {
	for _, x := range slots {
		if x != slots[0] {
			return true
		}
	}
	return false
}

// trueEffects rides three laps in either slot without any scatter and compares
// the second of them turn by turn.
func trueEffects(o Options) []TrueEffect {
	o.bare = true
	o.RiderSigma, o.LineSigma, o.Drift, o.SlowLaps = 0, 0, 0, 0
	o.Laps, o.Outings, o.NoOutLap, o.NoInLap = 3, 1, false, false
	o.Nasty.Traffic = false
	var seg [2][]float64
	for k, slot := range []string{"A", "B"} {
		q := o
		q.Slots = []string{slot}
		r := Ride(q)
		tr := &r.Truth
		base := tr.S[tr.index((tr.Laps[2].Start+tr.Laps[2].End)/2)]
		base = math.Floor(base/tr.Length) * tr.Length
		n := len(tr.Turns)
		for i := range tr.Turns {
			a, b := base+tr.Turns[i].Segment, base+tr.Length+tr.Turns[0].Segment
			if i+1 < n {
				b = base + tr.Turns[i+1].Segment
			}
			seg[k] = append(seg[k], tr.CrossAt(b)-tr.CrossAt(a))
		}
	}
	var out []TrueEffect
	for i := range seg[0] {
		out = append(out, TrueEffect{i + 1, seg[1][i] - seg[0][i]})
	}
	return out
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
				d := cause.size(2.2)
				if cause.Kind == StrongControl {
					d = -d
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

// target is the slip target of a sheet, as a share, bilinear and held at the edges.
func target(sh Sheet, lean, v float64) float64 {
	g, ok := sh["slip-target"].([][]float64)
	if !ok {
		return 1
	}
	i, f := cellOf(slipLeans, math.Abs(lean)*radDeg)
	j, u := cellOf(slipSpeeds, v*3.6)
	a := g[i][j]*(1-u) + g[i][j+1]*u
	b := g[i+1][j]*(1-u) + g[i+1][j+1]*u
	return (a*(1-f) + b*f) / 100
}

func cellOf(points []float64, x float64) (int, float64) {
	n := len(points)
	if x <= points[0] {
		return 0, 0
	}
	if x >= points[n-1] {
		return n - 2, 1
	}
	i := 0
	for points[i+1] < x {
		i++
	}
	return i, (x - points[i]) / (points[i+1] - points[i])
}

func byGear(sh Sheet, id string, gear int, usual float64) float64 {
	if l, ok := sh[id].([]float64); ok && gear >= 1 && gear <= len(l) {
		return l[gear-1]
	}
	return usual
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
				pick: math.Max(0, 0.10+0.05*sig*r.near(0, 1)), ask: math.Max(0.8, math.Min(1.0, 0.935+0.03*sig*r.near(0, 1))),
				shiftAt: 9700 + 250*sig*r.near(0, 1), upAt: s.b.ShiftRPM + 80*sig*r.near(0, 1), topGear: 6,
			}
			for g := range t.surplus {
				t.surplus[g] = 60 + 170*r.near(0, 1)
				if r.uniform() < 0.03 {
					t.surplus[g] += r.between(700, 1100)
				}
				t.shiftTime[g] = 0.12 + 0.015*r.near(0, 1)
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
			case WheelLift:
				t.nose = cause.size(4)
			case Hop:
				t.hop, t.hopFor = cause.size(7)/1000, 0.8
			case Dragging:
				t.drag = cause.size(180)
			case LimiterBeforeBrake:
				// The rider holds a gear too low on the straight before this turn.
				prev := &p.turns[(cause.Turn+len(c.Turns)-2)%len(c.Turns)]
				prev.topGear = s.gearToLimit(cause)
			}
		}
	}
	w := newWander(newSource(o.Seed, 2), float64(len(plans)+1)*c.Length/45+60, math.Max(0.6, o.LineLength/60), o.LineSigma)
	elapsed := make([]float64, len(plans))
	for k := 1; k < len(plans); k++ {
		elapsed[k] = elapsed[k-1] + c.Length/45
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

// gearToLimit is the gear whose limiter lies a little under the speed that the
// straight before the turn allows.
func (s *sim) gearToLimit(cause Cause) int {
	n := len(s.c.Turns)
	t, p := s.c.Turns[cause.Turn-1], s.c.Turns[(cause.Turn+n-2)%n]
	run := t.Entry - p.Exit
	if run < 0 {
		run += s.c.Length
	}
	v := math.Min(80, math.Sqrt(sq(math.Sqrt(p.lateral*p.Radius))+2*4.2*math.Max(40, run-120)))
	g := 6
	for g > 2 && s.b.LimiterRPM/60*2*math.Pi/s.b.ratio(g)*s.b.Rear.Radius > v*0.97 {
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

// run rides all laps and writes the truth rows.
func (s *sim) run() {
	st := &s.st
	lapBase := 0.0
	for k, p := range s.laps {
		if p.kind == OutLap {
			// A new outing: from the box, or rolling.
			if k > 0 {
				s.rest(150, lapBase)
			}
			v := 3.0
			if p.from > boxOut+1 {
				v = lookup(p.vb, p.from/s.g.step)
			} else {
				s.tr.OutingStarts = append(s.tr.OutingStarts, st.t)
			}
			*st = rideState{t: st.t, s: lapBase + p.from, v: v, gear: 1, frontOmega: v / s.b.Front.Radius, rpm: 4000}
			for st.gear < 6 && s.wheelRPM(st.gear) > 11000 {
				st.gear++
			}
		}
		s.lap(p, lapBase)
		lapBase += s.c.Length
		if p.kind == InLap {
			lapBase = math.Ceil((st.s+1)/s.c.Length) * s.c.Length
		}
	}
	if !s.o.NoInLap {
		s.rest(3, st.s)
	}
}

// rest stands still for some seconds.
func (s *sim) rest(seconds, _ float64) {
	st := &s.st
	st.v, st.accel, st.front, st.rear, st.grip, st.cut, st.slip = 0, 0, 0, 0, 0, 0, 0
	st.gear, st.clutch, st.rpm, st.lean, st.roll, st.frontOmega = 0, 0, 1500, 0, 0, 0
	for i := 0; i < int(seconds/rowTime); i++ {
		s.row(s.laps[len(s.laps)-1], lapEnd, 0, 0, 0)
		st.t += rowTime
	}
}

const lapEnd = -1

func (s *sim) wheelRPM(gear int) float64 {
	st := &s.st
	if gear < 1 {
		return 1500
	}
	return st.v * (1 + st.slip) / s.b.Rear.Rolling(st.lean) * s.b.ratio(gear) * 60 / (2 * math.Pi)
}

// lap rides one lap's plan.
func (s *sim) lap(p *lapPlan, base float64) {
	st := &s.st
	o, b := s.o, s.b
	sheet := b.Sheets[string(rune('A'+p.slot))]
	if sheet == nil {
		sheet = b.Sheets["A"]
	}
	slotName := string(rune('A' + p.slot))
	end := base + p.to
	st.nextApex = 0
	h := (b.Front.Crown + b.Rear.Crown) / 2
	count := 0
	for st.s < end && count < 400000 {
		if p.kind == InLap && p.to < s.c.Length && st.v < 0.5 && end-st.s < 40 {
			break
		}
		local := st.s - base
		u := local / s.g.step
		i := min(max(int(u), 0), s.g.n)
		turn := int(s.g.turn[i])
		tp := &p.turns[turn]
		k := lookup(p.kappa, u)
		vb := lookup(p.vb, u)
		ahead := u + st.v*(0.09+tp.late*0)/s.g.step
		slope := lookup(p.slope, math.Min(ahead, float64(s.g.n)))
		stretch := lookup(p.stretch, u)
		grade := s.g.grade[i]
		if count%perRow == 0 {
			s.row(p, turn, k, grade, s.g.bank[i])
		}
		count++

		// Lean: the machine follows what the path asks, as fast as it can roll.
		lat := st.v * st.v * k
		want := leanOf(lat, b.CentreHeight, h)
		if o.Nasty.HangOff != 0 {
			want -= math.Copysign(o.Nasty.HangOff*math.Min(1, math.Abs(want)/0.8), want)
		}
		want -= s.g.bank[i]
		acc := 520*(want-st.lean) - 38*st.roll
		st.roll += acc * step
		st.roll = math.Max(-1.9, math.Min(1.9, st.roll))
		st.lean += st.roll * step

		drag := 0.5*1.2*b.DragArea*sq(st.v-s.wind(st)) + b.Rolling*b.Mass*gravity + b.Mass*gravity*grade
		drag += 0.055 * math.Abs(lat) * math.Abs(math.Sin(st.lean)) * b.Mass * 0.25 // cornering drag
		if tp.drag != 0 && math.Abs(k) < 1.0/300 && st.v > 30 {
			drag += tp.drag
		}
		load := b.Mass*gravity*(1-b.CentreToRear/b.Wheelbase) + b.Mass*st.accel*b.CentreHeight/b.Wheelbase
		load = math.Max(50, math.Min(load, b.Mass*gravity))
		cap := capacity(load*math.Max(1, math.Sqrt(1+sq(lat/gravity))*0.92), b.Grip*p.mu, lat)

		s.steer(p, tp, turn, local, vb, slope)
		demand := s.rightHand(p, tp, sheet, vb, slope, cap, drag, lat)
		st.grip = demand
		s.gears(p, tp, sheet, slotName)
		force, wheel := s.drive(p, tp, sheet, slotName, turn, cap, load)
		brake := s.brakes(p, tp, vb, slope, drag, force)
		_ = wheel

		// The engine's inertia rides along while the clutch is home.
		m := b.Mass + b.FrontI/sq(b.Front.Radius) + b.RearI/sq(b.Rear.Radius)
		if st.gear > 0 && st.clutch < 0.5 {
			m += b.EngineI * sq(b.ratio(st.gear)/b.Rear.Radius)
		}
		net := force - brake - drag
		if st.v < 1 && net < 0 {
			net = math.Max(net, -st.v/step*m)
		}
		a := net / m
		// The front lifts where the drive asks more than its load.
		limit := gravity*b.CentreToRear/b.CentreHeight*math.Cos(st.lean) + 0.9
		lift := a - limit + tp.nose*boolf(st.grip > 0.6 && math.Abs(st.lean) < 0.5 && st.mode == driving && st.v < 62)
		if lift > 0 || st.pitch > 0 {
			st.pitch += (0.9*lift - 0.35*boolf(lift <= 0) - 0.5*st.pitch) * step
			if st.pitch < 0 {
				st.pitch = 0
			}
		}
		st.airborne = st.pitch > 0.004
		st.accel += (a - st.accel) * step / 0.02
		st.v = math.Max(0.2, st.v+a*step)
		free := st.v * (1 + 0) / b.Front.Rolling(st.lean)
		switch {
		case st.airborne:
			st.frontOmega -= 2.2 / b.Front.Radius * step // bearings, pads and air slow it
			if st.frontOmega > free {
				st.frontOmega = free
			}
		case st.t < st.lockEnd:
			st.frontOmega += (0.72*free - st.frontOmega) * step / 0.03
		default:
			slipF := -st.front / barPa * 0.0011
			st.frontOmega += (free*(1+slipF) - st.frontOmega) * step / 0.02
		}
		st.s += st.v * step / stretch
		st.t += step
	}
}

func boolf(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

func (s *sim) wind(st *rideState) float64 {
	if s.o.Nasty.Wind == 0 {
		return 0
	}
	// Along the path: a fixed direction with slow gusts.
	i := int(math.Mod(st.s, s.c.Length) / s.g.step)
	i = min(max(i, 0), s.g.n)
	return s.o.Nasty.Wind * math.Cos(s.g.theta[i]-0.8) * (1 + 0.3*math.Sin(st.t/7.3))
}

// steer moves between braking, coasting and driving.
func (s *sim) steer(p *lapPlan, tp *turnPlan, turn int, local, vb, slope float64) {
	st := &s.st
	switch st.mode {
	case driving:
		if st.v >= vb-0.15-st.v*0.006 && slope < -1.3 {
			st.mode, st.brakeAt = braking, st.t
			st.openAt = math.Inf(1)
			if tp.lock > 0 {
				st.lockEnd = st.t + tp.lock + tp.lockFor
			}
		}
	case braking:
		if slope > -0.5 && st.v < vb+0.35 || st.v < vb-1.5 {
			st.mode = coasting
			st.openAt = math.Inf(1)
		}
	}
	for st.nextApex < len(p.apexes) && p.apexes[st.nextApex].at <= local {
		a := p.apexes[st.nextApex]
		st.nextApex++
		if st.mode != driving {
			st.openAt = st.t + a.delay
		}
	}
	if st.mode == coasting && st.v > vb+0.8 && st.v > 8 {
		st.mode = braking // still too fast: a little more brake
	}
	if st.mode == coasting && (st.t >= st.openAt || st.v < vb-2.2) {
		st.mode = driving
		st.hold = 0
	}
}

// rightHand gives the grip that the rider asks, 0..1.
func (s *sim) rightHand(p *lapPlan, tp *turnPlan, sheet Sheet, vb, slope, cap, drag, lat float64) float64 {
	st := &s.st
	b := s.b
	if st.mode != driving {
		return math.Max(0, st.grip-step*9)
	}
	if st.gear < 1 {
		return 0
	}
	ratio := b.ratio(st.gear) * b.Efficiency / b.Rear.Rolling(st.lean)
	// What the rider means to put down: a share of the tyre's capacity.
	want := tp.ask * cap
	// And not to run over the speed that the road allows.
	over := st.v - (vb - 0.25)
	if over > -2.5 && slope > -1.3 {
		st.hold = math.Max(-1, math.Min(1, st.hold-over*step*0.8))
		hold := drag + b.Mass*(slope-1.6*over+st.hold)
		want = math.Min(want, hold)
	}
	if want <= 0 {
		return math.Max(0, st.grip-step*5)
	}
	plate := s.e.plate(math.Max(2000, st.rpm), want/ratio)
	grip := s.gripFor(plate)
	if p.kind == OutLap && math.Mod(st.s, s.c.Length) < pitJoin+30 {
		grip = math.Min(grip, 0.4)
	}
	rate := 1.3
	if math.Abs(st.lean) < 0.75 {
		rate = 2.6
	}
	if math.Abs(st.lean) < 0.35 {
		rate = 4.5
	}
	if grip > 0.93 {
		grip = 1
	}
	return math.Max(st.grip-6*step, math.Min(grip, st.grip+rate*step))
}

// gripFor is the grip that asks for a plate: the throttle map turned round.
func (s *sim) gripFor(plate float64) float64 {
	c := s.o.Nasty.ThrottleMapCurve
	if c == 0 {
		return plate
	}
	return math.Pow(plate, 1/(1+0.8*c))
}

func (s *sim) plateFor(grip float64) float64 {
	c := s.o.Nasty.ThrottleMapCurve
	if c == 0 {
		return grip
	}
	return math.Pow(grip, 1+0.8*c)
}

// gears shifts.
func (s *sim) gears(p *lapPlan, tp *turnPlan, sheet Sheet, slot string) {
	st := &s.st
	if st.gear == 0 {
		st.gear = 1
	}
	now := s.wheelRPM(st.gear)
	switch {
	case st.t < st.shiftEnd: // clutch pulled, blip
		st.clutch = 1
		total := tp.shiftTime[min(st.gear, 6)-1]
		u := 1 - (st.shiftEnd-st.t)/total
		from := s.wheelRPM(st.shiftFrom)
		st.rpm = from + (now+st.shiftSurplus-from)*smooth(math.Min(1, u*1.25))
		st.rpm = math.Min(st.rpm, s.b.LimiterRPM+20)
	case st.clutch > 0 && s.pendDown == nil:
		st.clutch = 0
	case st.clutch > 0: // clutch home this instant
		st.clutch = 0
		st.surplus = math.Min(st.rpm, s.b.LimiterRPM) - now
		st.lastDown = st.t
		if d := s.pendDown; d != nil {
			d.End = st.t
			d.RPMNeeded = now / (1 + st.slip)
			d.RPMPeak = st.rpm
			d.Surplus = st.rpm - d.RPMNeeded
			d.Limiter = st.rpm >= s.b.LimiterRPM-40
			s.tr.Episodes = append(s.tr.Episodes, *d)
			s.pendDown = nil
		}
	default:
		st.surplus *= 1 - step/0.075
		st.rpm = now + st.surplus
		if st.v < 6 {
			st.rpm = math.Max(st.rpm, 3500)
		}
		if st.rpm > s.b.LimiterRPM {
			st.rpm = s.b.LimiterRPM + 15*math.Sin(st.t*90)
		}
		switch {
		case st.mode == driving && st.t > st.upEnd+0.25 && st.gear < tp.topGear && st.gear < len(s.b.Gears) && now > tp.upAt && math.Abs(st.lean) < 0.75:
			from := st.gear
			st.gear++
			st.upEnd = st.t + 0.055
			s.tr.Episodes = append(s.tr.Episodes, Episode{Kind: "upshift", Start: st.t, End: st.upEnd, FromGear: from, ToGear: st.gear, Lean: st.lean, Speed: st.v})
		case st.mode != driving && st.gear > 1 && st.t > st.shiftEnd+0.16 && st.t > st.brakeAt+0.12 && s.wheelRPM(st.gear-1) < tp.shiftAt && st.v > 9:
			st.shiftFrom = st.gear
			st.gear--
			q := tp.shiftTime[min(st.gear, 6)-1]
			st.shiftEnd = st.t + q
			st.shiftSurplus = tp.surplus[min(st.gear, 6)-1]*byGear(sheet, "blip", st.gear, 100)/100 + (byGear(sheet, "blip", st.gear, 100)-100)*4
			s.pendDown = &Episode{Kind: "blip", Start: st.t, FromGear: st.shiftFrom, ToGear: st.gear, Lean: st.lean, Speed: st.v, Over: st.shiftSurplus > 550}
		}
	}
}

// drive gives the force at the rear contact and the torque on the wheel.
func (s *sim) drive(p *lapPlan, tp *turnPlan, sheet Sheet, slot string, turn int, cap, load float64) (force, wheel float64) {
	st := &s.st
	b := s.b
	if st.gear < 1 {
		return 0, 0
	}
	r := b.Rear.Rolling(st.lean)
	ratio := b.ratio(st.gear)
	limit := byGear(sheet, "torque-limit", st.gear, 100) / 100
	plate := s.plateFor(st.grip)
	full := s.e.torque(st.rpm, plate)
	if limit < 1 && plate > 0.3 {
		full = math.Min(full, limit*s.e.torque(st.rpm, 1))
	}
	switch {
	case st.clutch > 0.5 || st.t < st.upEnd:
		full = 0
	case st.grip <= 0.001:
		level := byGear(sheet, "engine-brake", st.gear, 60) / 100
		full = -table(&s.e.drag, st.rpm) * level
		if st.surplus > 60 {
			// The engine runs faster than the wheel: the clutch drags the wheel on.
			full += math.Min(90, 0.075*st.surplus)
		}
	case st.rpm >= b.LimiterRPM-20:
		full = math.Min(full, 12)
	}
	// Slip control: its own slip against the slot's target.
	tgt := target(sheet, st.lean, st.v)
	need := 0.0
	if full > 0 && st.grip > 0.03 && st.v > 10 {
		need = math.Max(0, math.Min(0.85, 14*(st.slip-tgt+0.0015)))
		if st.pitch > 0.004 {
			lim := 4.0
			if v, ok := sheet["wheel-lift"].(float64); ok {
				lim = v
			}
			need = math.Max(need, math.Max(0, math.Min(0.8, (st.pitch*radDeg-lim)*0.22)))
		}
	}
	for _, e := range s.o.Effects {
		// Outside the effect's slot the control holds the bike back here although
		// slip is below target (negative seconds); inside it for positive ones.
		if e.Turn == turn+1 && (e.Slot == slot) == (e.Seconds > 0) && full > 0 && st.grip > 0.1 && st.mode == driving && math.Abs(st.lean) > 0.35 {
			need = math.Max(need, 1.45*math.Abs(e.Seconds))
		}
	}
	tau := 0.022
	if need < st.cut {
		tau = 0.11
	}
	st.cut += (need - st.cut) * step / tau
	if st.cut < 0.004 && need == 0 {
		st.cut = 0
	}
	crank := full
	if full > 0 {
		crank = full * (1 - st.cut)
	}
	st.plate = plate * (1 - st.cut)
	if st.grip <= 0.001 {
		st.plate = 0.015 + 0.05*(1-byGear(sheet, "engine-brake", st.gear, 60)/100)
	}
	if st.clutch > 0.5 {
		st.plate = 0.02 + 0.16*math.Min(2, 0.4+st.shiftSurplus/1500)
	}
	eff := b.Efficiency
	if crank < 0 {
		eff = 1 / b.Efficiency
	}
	wheel = crank * ratio * eff
	force = wheel / r
	x := force / cap
	peak := peakSlip(st.lean)
	eq := 0.0
	switch {
	case x >= 0.97:
		eq = math.Min(0.22, peak*(0.85+2.6*(x-0.97)))
		force = math.Min(force, cap*0.995)
	case x > -0.97:
		eq = peak * slipShare(x)
	default:
		eq = math.Max(-0.2, -peak*(0.85+2.2*(-x-0.97)))
		force = math.Max(force, -cap*0.995)
	}
	st.slip += (eq - st.slip) * step / 0.035
	return force, wheel
}

// brakes gives the braking force of both wheels.
func (s *sim) brakes(p *lapPlan, tp *turnPlan, vb, slope, drag, drive float64) float64 {
	st := &s.st
	b := s.b
	want := 0.0
	if st.mode == braking {
		a := -slope + 4*(st.v-vb)
		if tp.lift > 0 && st.t-st.brakeAt > tp.lift && st.t-st.brakeAt < tp.lift+0.35 {
			a = 10.9
		}
		a = math.Max(0, math.Min(capDecel+boolf(tp.lift > 0)*0.8, a))
		want = math.Max(0, a*b.Mass-drag+math.Min(0, drive))
	}
	front := 0.93 * want / b.FrontPerPa
	rear := math.Min(0.07*want/b.RearPerPa, 4*barPa)
	rate := 55 * barPa * step
	if want == 0 {
		rate = 90 * barPa * step
	}
	st.front = math.Max(st.front-rate*1.4, math.Min(front, st.front+rate))
	st.rear = math.Max(st.rear-rate, math.Min(rear, st.rear+rate))
	if st.front < 0.02*barPa && want == 0 {
		st.front = 0
	}
	if st.rear < 0.02*barPa && want == 0 {
		st.rear = 0
	}
	f := st.front*b.FrontPerPa + st.rear*b.RearPerPa
	if st.t < st.lockEnd && st.t > st.lockEnd-tp.lockFor {
		f *= 0.8
	} else if st.t >= st.lockEnd && st.lockEnd > 0 {
		st.lockEnd = 0
	}
	return f
}
