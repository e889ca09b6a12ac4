package demo

import "math"

// run rides all laps and writes a truth row at every second step.
func (s *sim) run() {
	w := newWorld(s)
	s.w = w
	s.began, s.ended = map[int]float64{}, map[int]float64{}
	s.tr.reserve(int(1.12*float64(len(s.laps))*w.g.clock[w.g.n]/rowTime) + 20000)
	var st state
	clock := 0.0
	base := 0.0 // unwrapped place of the lap's gate
	for k, p := range s.laps {
		if p.kind != OutLap {
			continue
		}
		if k > 0 {
			st = s.rest(st, 150, base)
			clock = st.t
		}
		st = w.start(k, clock)
		if st.v < 1 {
			s.tr.OutingStarts = append(s.tr.OutingStarts, clock)
		}
		lap := k
		s.began[k] = st.t
		for n := 0; !st.done || n%perRow != 0; n++ {
			if n%perRow == 0 {
				s.row(&st, base)
				if was := len(s.tr.Cut) - 2; st.cut > 0.02 && s.tr.Cut[max(was, 0)] <= 0.02 {
					s.marks = append(s.marks, st)
				}
			}
			before := st.phase
			w.advance(&st)
			s.watch(&st, before)
			if st.lap != lap {
				lap = st.lap
				base += s.c.Length
			}
		}
		s.ended[st.lap] = st.t
		if !s.o.NoInLap || k < s.lastOut() {
			st = s.rest(st, 4, base)
		}
		clock = st.t
		base += s.c.Length
	}
}

// watch notes shifts as they begin and end.
func (s *sim) watch(st *state, before int) {
	b := s.b
	switch {
	case before == engaged && st.phase == shiftingDown:
		s.shift = Episode{Kind: "blip", Start: st.t, FromGear: st.gear, ToGear: st.toGear, Lean: st.lean, Speed: st.v}
	case before == engaged && st.phase == shiftingUp:
		s.shift = Episode{Kind: "upshift", Start: st.t, FromGear: st.gear, ToGear: st.toGear, Lean: st.lean, Speed: st.v}
	case before != engaged && st.phase == engaged:
		e := &s.shift
		e.End = st.t
		if e.Kind == "blip" {
			e.RPMNeeded = st.v / b.Rear.Rolling(st.lean) * b.ratio(st.gear) / radPerRPM
			e.RPMPeak = st.we / radPerRPM
			e.Surplus = e.RPMPeak - e.RPMNeeded
			e.Limiter = e.RPMPeak > 0.995*b.LimiterRPM
			e.Over = e.Surplus > 550
			s.pushing = true
		}
		s.tr.Episodes = append(s.tr.Episodes, *e)
	case s.pushing:
		if e := &s.tr.Episodes[len(s.tr.Episodes)-1]; !st.locked && st.wheelT > 0 && st.phase == engaged {
			e.PushS = st.t - e.End
		} else {
			s.pushing = false
		}
	}
}

func (s *sim) lastOut() int {
	last := 0
	for k, p := range s.laps {
		if p.kind == OutLap {
			last = k
		}
	}
	return last
}

// rest stands still for some seconds with the engine idling.
func (s *sim) rest(st state, seconds, base float64) state {
	still := state{t: st.t, lap: st.lap, s: st.s, wf: 0, we: 130, clutch: 1, nf: st.nf, nr: st.nr, fork: st.fork, shock: st.shock, lockT: -1}
	still.at.lap, still.at.s = st.lap, st.s
	for range int(seconds / rowTime) {
		s.row(&still, base)
		still.t = tick(still.t + rowTime)
	}
	return still
}

func newWorld(s *sim) *world {
	w := &world{o: s.o, c: s.c, b: s.b, e: s.e, g: s.g, plans: s.laps}
	for k := range 26 {
		name := string(rune('A' + k))
		sh, ok := s.b.Sheets[name]
		if !ok {
			sh = s.b.Sheets["A"]
		}
		w.slots = append(w.slots, newControls(sh))
	}
	r := newSource(s.o.Seed, 5)
	w.noise = make([]float64, 4096)
	for i := range w.noise {
		w.noise[i] = r.normal()
	}
	if v := s.o.Nasty.Wind; v != 0 {
		w.gust = make([]float64, 601)
		x := 0.0
		for i := range w.gust {
			x = 0.92*x + 0.39*r.normal()
			w.gust[i] = v * (1 + 0.35*x)
		}
	}
	return w
}

// start sets bike and rider where lap k begins.
func (w *world) start(k int, clock float64) state {
	p := w.plans[k]
	st := state{t: clock, lap: k, s: p.from, lockT: -1, locked: true, gear: 1, since: 2, rest: 1, home: 1, we: 130}
	if p.from > boxOut+1 { // rolling
		st.v, _ = w.ahead(k, p.from)
		st.v *= 0.9
		st.wr = st.v / w.b.Rear.Radius
		for st.gear < 6 && st.wr*w.b.ratio(st.gear)/radPerRPM > 10500 {
			st.gear++
		}
		st.we = st.wr * w.b.ratio(st.gear)
	} else {
		st.gear, st.clutch = 0, 1
	}
	st.wf = st.v / w.b.Front.Radius
	st.nf, st.nr = w.b.Loads(0)
	st.fork, st.shock = 0.03, 0.015
	st.at.lap, st.at.s, st.at.v = st.lap, st.s, st.v
	return st
}

// reserve makes room for rows, so that they are not copied as they grow.
func (tr *Truth) reserve(n int) {
	for _, c := range []*[]float64{&tr.Time, &tr.S, &tr.Offset, &tr.X, &tr.Y, &tr.Speed, &tr.Heading, &tr.Curvature, &tr.Lean,
		&tr.RollRate, &tr.Accel, &tr.RearSlip, &tr.FrontSlip, &tr.RearOmega, &tr.FrontOmega, &tr.RPM, &tr.Clutch, &tr.Grip,
		&tr.Plate, &tr.Cut, &tr.SlipTarget, &tr.FrontBrake, &tr.RearBrake, &tr.DriveForce, &tr.WheelTorque, &tr.CrankTorque,
		&tr.FrontLoad, &tr.RearLoad, &tr.Fork, &tr.Shock, &tr.pitch} {
		*c = make([]float64, 0, n)
	}
	tr.Gear = make([]int, 0, n)
	for _, c := range []*[]bool{&tr.Airborne, &tr.limited, &tr.lifting} {
		*c = make([]bool, 0, n)
	}
}

// row writes one truth row.
func (s *sim) row(st *state, base float64) {
	tr, p := s.tr, s.laps[st.at.lap]
	if st.at.lap != st.lap {
		base -= s.c.Length
	}
	u := math.Mod(st.at.s, s.c.Length) / s.g.step
	i := min(max(int(u), 0), s.g.n-1)
	f := u - float64(i)
	off, slide := lookup(p.offset, u), lookup(p.slide, u)
	// Within a metre the line is an arc to well under a millimetre.
	along := f * s.g.step
	th := s.g.theta[i] - along*(s.g.kappa[i]+f*(s.g.kappa[i+1]-s.g.kappa[i])/2)
	mid := (s.g.theta[i] + th) / 2
	x, y := s.g.x[i]+along*math.Cos(mid), s.g.y[i]+along*math.Sin(mid)
	sin, cos := math.Sincos(th)
	tr.Time = append(tr.Time, st.t)
	tr.S = append(tr.S, base+st.at.s)
	tr.Offset = append(tr.Offset, off)
	// Right of a heading that is counter-clockwise from east.
	tr.X = append(tr.X, x+off*sin)
	tr.Y = append(tr.Y, y-off*cos)
	tr.Heading = append(tr.Heading, th-math.Atan(slide))
	tr.Speed = append(tr.Speed, st.at.v)
	tr.Curvature = append(tr.Curvature, lookup(p.kappa, u))
	bank := s.g.bank[i]
	tr.Lean = append(tr.Lean, st.lean-bank)
	tr.RollRate = append(tr.RollRate, st.leanRate)
	tr.Accel = append(tr.Accel, st.a)
	tr.RearSlip = append(tr.RearSlip, st.rearSlip)
	tr.FrontSlip = append(tr.FrontSlip, st.frontSlip)
	tr.RearOmega = append(tr.RearOmega, st.wr)
	tr.FrontOmega = append(tr.FrontOmega, st.wf)
	tr.RPM = append(tr.RPM, math.Max(1050, math.Min(st.we/radPerRPM, s.b.LimiterRPM+40)))
	tr.Gear = append(tr.Gear, st.gear)
	tr.Clutch = append(tr.Clutch, st.clutch)
	tr.Grip = append(tr.Grip, st.grip)
	tr.Plate = append(tr.Plate, st.plate)
	tr.Cut = append(tr.Cut, st.cut)
	tr.SlipTarget = append(tr.SlipTarget, st.target)
	tr.FrontBrake = append(tr.FrontBrake, st.pf)
	tr.RearBrake = append(tr.RearBrake, st.pr)
	tr.Airborne = append(tr.Airborne, st.nose > 0.003)
	tr.DriveForce = append(tr.DriveForce, st.drive)
	tr.WheelTorque = append(tr.WheelTorque, st.wheelT)
	tr.CrankTorque = append(tr.CrankTorque, st.crankT)
	tr.FrontLoad = append(tr.FrontLoad, math.Max(0, st.nf))
	tr.RearLoad = append(tr.RearLoad, math.Max(0, st.nr))
	fork, shock := st.fork, st.shock
	t := &p.turns[s.g.turn[i]]
	if t.hop > 0 && st.braking && st.brakeSince > 0.25 && st.brakeSince < 0.25+t.hopFor {
		shock = math.Max(0, shock+t.hop*math.Sin(2*math.Pi*11.5*st.t))
	}
	tr.Fork = append(tr.Fork, math.Max(0, math.Min(0.13, fork)))
	tr.Shock = append(tr.Shock, math.Max(0, math.Min(0.07, shock)))
	tr.pitch = append(tr.pitch, st.noseRate*boolf(st.nose > 0)*-1+st.tailRate*boolf(st.tailUp > 0))
	tr.limited = append(tr.limited, st.limiterHit)
	tr.lifting = append(tr.lifting, st.lifting)
}
