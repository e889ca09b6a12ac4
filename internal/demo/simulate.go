package demo

import "math"

const dt = 0.005 // s, step inside

// world is everything that does not change while a run is ridden.
type world struct {
	o     *Options
	c     *Circuit
	b     *Bike
	e     *engine
	g     *grid
	slots []controls
	plans []*lapPlan
	noise []float64 // of the controller's slip, reused in turn
	gust  []float64 // m/s, by time, 1 Hz
}

// gearbox phases.
const (
	engaged = iota
	shiftingUp
	shiftingDown
)

// state is all that moves; it is copied to ride a stretch again.
type state struct {
	step       int
	t          float64
	lap        int
	s          float64 // within the lap
	v          float64
	a          float64
	lean       float64 // to gravity
	leanRate   float64
	grip       float64
	plate      float64
	pf, pr     float64
	braking    bool
	apex       int // next apex place
	goal       float64
	room       float64 // m/s2 that the speed not to be exceeded leaves
	pickUntil  float64 // clock at which the pick-up delay ends, 0 none
	since      float64 // since the throttle was opened
	brakeSince float64

	gear          int
	phase         int
	phaseT        float64
	phaseFor      float64
	toGear        int
	rpmFrom       float64 // rad/s
	rpmGoal       float64
	rest          float64 // since the last shift
	we            float64 // rad/s engine
	wr            float64 // rad/s rear wheel
	wf            float64
	locked        bool
	home          float64 // since the clutch came home
	capUp         bool
	tail          float64 // N.m of throttle left over from a blip
	clutch        float64
	shiftCut      bool
	tc            traction
	cut           float64
	nose          float64 // rad, front off the ground
	noseRate      float64
	tailUp        float64 // rad, rear off the ground
	tailRate      float64
	lockT         float64 // running time of a front lock, <0 none
	limiting      bool
	fork, forkV   float64
	shock, shockV float64
	lifting       bool // the wheel-lift control takes more than the slip control
	done          bool
	mute          bool // slip control put out of action, for costs
	muteUntil     float64

	// Where the last step began. What a step computes belongs to its beginning, so the
	// record tells place and speed of that instant beside it.
	at struct {
		lap  int
		s, v float64
	}

	// Computed by the last step, for the record.
	kappa, drive, wheelT, crankT, nf, nr float64
	target, frontSlip, rearSlip, share   float64
	limiterHit                           bool
}

// tick keeps the clock on whole steps, however many are added up.
func tick(t float64) float64 { return math.Round(t*1e4) / 1e4 }

// advance rides one step.
func (w *world) advance(st *state) {
	p := w.plans[st.lap]
	g, b, c := w.g, w.b, w.c
	st.at.lap, st.at.s, st.at.v = st.lap, st.s, st.v
	st.step++
	st.t = tick(st.t + dt)
	st.rest += dt
	st.since += dt
	st.brakeSince += dt
	st.home += dt

	x := st.s / g.step
	i := int(x)
	if i >= g.n {
		i = g.n - 1
	}
	f := x - float64(i)
	kap := p.kappa[i] + f*(p.kappa[i+1]-p.kappa[i])
	st.kappa = kap
	stretch := p.stretch[i] + f*(p.stretch[i+1]-p.stretch[i])
	ti := g.turn[i]
	tp := &p.turns[ti]
	v := st.v
	ctl := &w.slots[p.slot]

	// Lean follows what the path asks, seen a little ahead.
	lookK := w.look(st.lap, st.s+0.08*v)
	bank := g.bank[i] + f*(g.bank[i+1]-g.bank[i])
	want := b.Lean(v * v * lookK)
	if h := w.o.Nasty.HangOff; h != 0 {
		want -= h * math.Tanh(2*want)
	}
	const om = 25.0
	acc := om*om*(want-st.lean) - 2*om*st.leanRate
	st.leanRate += acc * dt
	st.lean += st.leanRate * dt
	lean := st.lean - bank // to the road

	lat := v * v * kap
	mu := b.Grip * p.mu
	rr := b.Rear.Rolling(lean)
	rf := b.Front.Rolling(lean)
	if n := &w.o.Nasty; n.TyreGrowth != 0 || n.LoadRadius != 0 {
		grow := v / 80 * v / 80 * n.TyreGrowth
		rr *= 1 + grow - n.LoadRadius*(st.nr-1300)/1000
		rf *= 1 + 0.7*grow - n.LoadRadius*(st.nf-1250)/1000
	}

	// Loads from the acceleration just now.
	grade := g.grade[i]
	weight := b.Mass * gravity
	shift := b.Mass * (st.a + gravity*grade) * b.CentreHeight / b.Wheelbase
	side := math.Cos(bank) + math.Abs(lat)*math.Abs(math.Sin(bank))/gravity
	st.nf = weight*side*b.CentreToRear/b.Wheelbase - shift
	st.nr = weight*side - st.nf
	air := w.wind(st, i)
	drag := 0.5 * airDensity * b.DragArea * air * math.Abs(air)
	roll := b.Rolling*weight + 0.028*b.Mass*math.Abs(lat)
	extra := 0.0 // N held against the bike
	for k, e := range w.o.Effects {
		if e.Turn == int(ti)+1 && int(e.Slot[0]-'A') == p.slot && !st.braking && st.since < 3.5 && st.s > c.Turns[ti].Apexes[0] {
			extra -= w.o.push[k]
		}
	}
	if tp.drag != 0 && !st.braking && st.s > c.Turns[ti].Exit+20 {
		extra += tp.drag
	}

	w.decide(st, p, tp, ctl, i, f, mu, lean, lat, drag+roll+extra, rr)
	w.gears(st, p, tp, ctl, rr)

	// Engine torque.
	ratio := b.ratio(max(st.gear, 1))
	rpm := st.we * 30 / math.Pi
	eb := ctl.engine[max(st.gear, 1)-1]
	closed := -eb * table(&w.e.drag, rpm)
	demand := w.grip2plate(st.grip)
	torque := closed
	if demand > 0.002 {
		torque = math.Max(closed, w.e.torque(rpm, demand))
		torque = math.Min(torque, w.e.most(rpm, ctl.torque[max(st.gear, 1)-1]))
	}
	// The limiter holds the engine with a little hysteresis.
	limit := b.LimiterRPM
	if rpm > limit+15 {
		st.limiting = true
	} else if rpm < limit-25 {
		st.limiting = false
	}
	st.limiterHit = st.limiting && st.phase == engaged && demand > 0.3
	if st.limiting {
		torque = math.Min(torque, -0.3*table(&w.e.drag, rpm))
	}

	// What the controller believes, and what it takes.
	st.target = ctl.slipTarget(lean, v)
	st.cut = 0
	if st.phase == engaged && v > 8 {
		seen := st.wr*rr/math.Max(st.wf*rf, 5) - 1 + 0.004*w.noise[st.step&4095]
		cut := st.tc.step(dt, seen, st.target, torque > 5 && !p.cruise[i], st.nose == 0)
		if st.mute && st.t < st.muteUntil {
			cut, st.tc.sum, st.tc.cut = 0, 0, 0
		}
		if st.nose > 0 {
			rise := 7*(st.nose-0.55*ctl.lift) + 1.1*st.noseRate
			cut = math.Max(cut, math.Max(0, math.Min(0.8, rise)))
		}
		st.lifting = st.nose > 0 && cut > st.tc.cut
		if cut > 0 && torque > 0 {
			st.cut = cut
			torque *= 1 - cut
		}
	} else {
		st.tc.sum, st.tc.cut = 0, 0
	}
	switch {
	case st.shiftCut:
		torque = closed
	case st.capUp && !st.locked && st.phase == engaged && torque > 0:
		torque *= smooth(st.home / 0.13) // given back softly after the shift
	}
	plate := w.e.plate(rpm, torque)
	if st.limiting {
		plate = demand
	}
	st.plate += (plate - st.plate) * dt / 0.012

	// Clutch.
	sync := st.wr * ratio
	eff := b.Efficiency
	wheel := 0.0 // torque at the rear wheel
	inertia := b.RearI
	switch {
	case st.phase == shiftingDown:
		wheel = 0
	case st.phase == shiftingUp && st.shiftCut:
		wheel = closed * ratio * 0.6
	case st.gear == 0:
		wheel = 0
		st.we += (115 - st.we) * dt / 0.3
	case st.gear == 1 && sync < 350:
		// Pulling away or rolling to a stop: the clutch slips.
		st.clutch = math.Min(1, math.Max(0.15, 1-sync/350))
		st.we += (math.Max(350, sync) - st.we) * dt / 0.1
		wheel = math.Max(torque, -4) * ratio * eff
		st.locked = false
		st.home = 1
	case !st.locked:
		cap := 8 + 60*st.home
		st.tail *= 1 - dt/0.2
		te := torque + st.tail
		if st.capUp { // the dogs are in: the clutch bears the engine and brings it down
			cap = 55
			if !st.shiftCut {
				cap = math.Max(te, 0) + 26
			}
		}
		gap := st.we - sync
		tcl := math.Copysign(cap, gap)
		st.we += (te - tcl) / b.EngineI * dt
		wheel = tcl * ratio * eff
		if (st.we-sync)*gap <= 0 || math.Abs(gap) < 2 {
			st.locked = true
			st.we = sync
		}
	default:
		inertia += b.EngineI * ratio * ratio
		if torque > 0 {
			wheel = torque * ratio * eff
		} else {
			wheel = torque * ratio
		}
	}
	st.crankT, st.wheelT = torque, wheel

	// Brakes.
	ff := st.pf * b.FrontPerPa
	fcap := capacity(st.nf, mu*1.04, lat)
	if st.lockT >= 0 {
		ff *= 0.72
	}
	if ff > 0.98*fcap {
		ff = 0.98 * fcap
	}
	rearBrake := st.pr * b.RearPerPa * rr
	if st.wr < 3 {
		rearBrake = 0
	}

	// Rear tyre: the wheel's own motion, taken implicitly because the tyre is
	// stiff against it.
	rcap := capacity(st.nr, mu, lat)
	peak := peakSlip(lean)
	ve := math.Max(v, 6)
	xs := (st.wr*rr - v) / ve / peak
	fa, sl := adhesion(xs)
	force := rcap * fa
	df := rcap * sl * rr / ve / peak
	if df < -0.3*inertia/(rr*dt) {
		df = -0.3 * inertia / (rr * dt)
	}
	dw := dt / inertia * (wheel - rearBrake - force*rr) / (1 + dt/inertia*rr*df)
	st.wr += dw
	if st.wr < 0 {
		st.wr = 0
	}
	xs = (st.wr*rr - v) / ve / peak
	fa, _ = adhesion(xs)
	force = rcap * fa
	st.drive = force
	st.share = xs
	st.rearSlip = (st.wr*rr - v) / ve
	if st.locked && st.phase != shiftingDown && st.gear > 0 && !(st.gear == 1 && st.wr*ratio < 350) {
		st.we = st.wr * ratio
	}

	// Front wheel.
	w.front(st, ff, fcap, rf, lean)

	// Pitch: either wheel may leave the ground.
	w.pitch(st, tp, force, ff)

	mass := b.Mass + b.FrontI/(rf*rf)
	a := (force - ff - drag - roll - extra - weight*grade) / mass
	if v < 0.05 && a < 0 {
		a = 0
		st.v = 0
	}
	st.a += (a - st.a) * dt / 0.012
	st.v = math.Max(0, st.v+a*dt)
	w.suspension(st)

	st.s += st.v * dt / stretch
	for st.apex < len(p.apexes) && st.s > p.apexes[st.apex].at && !st.braking {
		st.apex++
	}
	switch {
	case p.kind == InLap:
		st.done = st.s >= p.to || st.v < 0.3 && st.s > p.to-5
	case st.s >= c.Length:
		st.s -= c.Length
		st.lap++
		st.apex = 0
	}
}
