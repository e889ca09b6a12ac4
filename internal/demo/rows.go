package demo

import "math"

// row writes one truth row from the present state. turn is the index of the
// turn whose window holds the bike, or lapEnd at rest.
func (s *sim) row(p *lapPlan, turn int, kappa, grade, bank float64) {
	st, b, tr := &s.st, s.b, s.tr
	u := math.Mod(st.s, s.c.Length) / s.g.step
	off, slide := 0.0, 0.0
	if turn != lapEnd {
		off, slide = lookup(p.offset, u), lookup(p.slide, u)
	} else {
		off = s.g.pitSide
	}
	i := min(max(int(u), 0), s.g.n-1)
	f := u - float64(i)
	x := s.g.x[i] + f*(s.g.x[i+1]-s.g.x[i])
	y := s.g.y[i] + f*(s.g.y[i+1]-s.g.y[i])
	th := s.g.theta[i] + f*(s.g.theta[i+1]-s.g.theta[i])
	sin, cos := math.Sincos(th)
	tr.Time = append(tr.Time, st.t)
	tr.S = append(tr.S, st.s)
	tr.Offset = append(tr.Offset, off)
	// Right of a heading that is counter-clockwise from east.
	tr.X = append(tr.X, x+off*sin)
	tr.Y = append(tr.Y, y-off*cos)
	tr.Heading = append(tr.Heading, th-math.Atan(slide))
	tr.Speed = append(tr.Speed, st.v)
	tr.Curvature = append(tr.Curvature, kappa)
	tr.Lean = append(tr.Lean, st.lean)
	tr.RollRate = append(tr.RollRate, st.roll)
	tr.Accel = append(tr.Accel, st.accel)
	tr.RearSlip = append(tr.RearSlip, st.slip)
	load := b.Mass*gravity*(1-b.CentreToRear/b.Wheelbase) + b.Mass*st.accel*b.CentreHeight/b.Wheelbase
	load = math.Max(0, math.Min(load, b.Mass*gravity))
	rear := b.Rear
	front := b.Front
	n := s.o.Nasty
	grow := func(t Tyre, weight float64) float64 {
		r := t.Rolling(st.lean)
		r *= 1 + n.TyreGrowth*sq(st.v/80) - n.LoadRadius*(weight-1300)/1000
		return r
	}
	rr := grow(rear, load)
	fo := st.frontOmega * front.Rolling(st.lean) / grow(front, b.Mass*gravity-load)
	ro := st.v * (1 + st.slip) / rr
	tr.RearOmega = append(tr.RearOmega, ro)
	tr.FrontOmega = append(tr.FrontOmega, fo)
	free := st.v / front.Rolling(st.lean)
	fs := 0.0
	if free > 1 {
		fs = st.frontOmega/free - 1
	}
	tr.FrontSlip = append(tr.FrontSlip, fs)
	tr.RPM = append(tr.RPM, st.rpm)
	tr.Gear = append(tr.Gear, st.gear)
	tr.Clutch = append(tr.Clutch, st.clutch)
	tr.Grip = append(tr.Grip, st.grip)
	tr.Plate = append(tr.Plate, st.plate)
	tr.Cut = append(tr.Cut, st.cut)
	tgt := 1.0
	if p != nil {
		sh := b.Sheets[string(rune('A'+p.slot))]
		if sh == nil {
			sh = b.Sheets["A"]
		}
		tgt = target(sh, st.lean, st.v)
	}
	tr.SlipTarget = append(tr.SlipTarget, tgt)
	tr.FrontBrake = append(tr.FrontBrake, st.front)
	tr.RearBrake = append(tr.RearBrake, st.rear)
	tr.Airborne = append(tr.Airborne, st.airborne)
	force := 0.0
	crank := 0.0
	if st.gear > 0 && st.clutch < 0.5 {
		crank = s.e.torque(st.rpm, s.plateFor(st.grip)) * (1 - st.cut)
		force = crank * b.ratio(st.gear) * b.Efficiency / rear.Rolling(st.lean)
	}
	tr.DriveForce = append(tr.DriveForce, force)
	tr.WheelTorque = append(tr.WheelTorque, force*rear.Rolling(st.lean))
	tr.CrankTorque = append(tr.CrankTorque, crank)
	tr.FrontLoad = append(tr.FrontLoad, b.Mass*gravity-load)
	tr.RearLoad = append(tr.RearLoad, load)
	// Springs: a share of the load over the rate, from full extension.
	lf, lr := b.Mass*gravity-load, load
	if st.airborne {
		lf = 0
	}
	squeeze := 1 / math.Max(0.35, math.Cos(st.lean))
	fork := math.Max(0, math.Min(0.125, (lf*squeeze-650)/b.ForkRate+0.022*boolf(lf > 100)))
	shock := math.Max(0, math.Min(0.065, (lr*squeeze-300)/b.ShockRate*1.7))
	if turn != lapEnd {
		t := &p.turns[turn]
		if t.hop > 0 && st.mode == braking && st.t-st.brakeAt > 0.25 && st.t-st.brakeAt < 0.25+t.hopFor {
			shock = math.Max(0, shock+t.hop*math.Sin(2*math.Pi*11.5*st.t))
		}
	}
	tr.Fork = append(tr.Fork, fork)
	tr.Shock = append(tr.Shock, shock)
}

// finish derives laps, crossings, passes and episodes from the rows.
func (s *sim) finish() {
	tr, c := s.tr, s.c
	tr.Length = c.Length
	tr.Turns = c.Turns
	tr.GPSLatency, tr.GPSOffset = s.o.GPSLatency, s.o.GPSOffset
	tr.LeanOffset, tr.LeanDelay = s.o.LeanOffset, s.o.LeanDelay
	tr.Front = TyreTruth{Circumference: 2 * math.Pi * s.b.Front.Radius, Crown: s.b.Front.Crown, Radius: s.b.Front.Radius,
		Logged: 2 * math.Pi * s.b.Front.Radius * (1 + s.o.FrontError)}
	tr.Rear = TyreTruth{Circumference: 2 * math.Pi * s.b.Rear.Radius, Crown: s.b.Rear.Crown, Radius: s.b.Rear.Radius,
		Logged: 2 * math.Pi * s.b.Rear.Radius * (1 + s.o.CircumferenceError)}
	n := len(tr.Time)
	// Cubic between rows: speed is known at both ends.
	for k := math.Ceil(tr.S[0] / c.Length); k*c.Length <= tr.S[n-1]; k++ {
		if t := tr.CrossAt(k * c.Length); !math.IsNaN(t) {
			tr.Crossings = append(tr.Crossings, t)
		}
	}
	s.cutLaps()
	s.windows()
	tr.Turns = c.Turns
	s.passes()
	s.cuts()
	s.spins()
	s.stretches()
	for i := range tr.Episodes {
		e := &tr.Episodes[i]
		if e.Turn == 0 {
			e.Lap, e.Turn = tr.where(c, e.Start)
		}
	}
	s.pushes()
	s.costs()
}

// CrossAt gives the instant at which unwrapped place s is passed, NaN if it is
// not. Speed at both rows makes the interpolation cubic.
func (tr *Truth) CrossAt(s float64) float64 {
	lo, hi := 0, len(tr.S)-1
	if hi < 1 || s < tr.S[0] || s > tr.S[hi] {
		return math.NaN()
	}
	for hi-lo > 1 {
		m := (lo + hi) / 2
		if tr.S[m] <= s {
			lo = m
		} else {
			hi = m
		}
	}
	ds := tr.S[hi] - tr.S[lo]
	if ds > 30 { // the end of an outing: nobody rode there
		return math.NaN()
	}
	if ds <= 0 {
		return tr.Time[lo]
	}
	return tr.Time[lo] + (tr.Time[hi]-tr.Time[lo])*(s-tr.S[lo])/ds
}

// index of the row at recording time t.
func (tr *Truth) index(t float64) int {
	lo, hi := 0, len(tr.Time)-1
	for hi-lo > 1 {
		m := (lo + hi) / 2
		if tr.Time[m] <= t {
			lo = m
		} else {
			hi = m
		}
	}
	return lo
}

// where gives lap and turn number of an instant.
func (tr *Truth) where(c *Circuit, t float64) (lap, turn int) {
	i := tr.index(t)
	for _, l := range tr.Laps {
		if t >= l.Start && t < l.End {
			lap = l.Number
		}
	}
	return lap, c.TurnAt(tr.S[i])
}

// windows moves each turn's window to 30 m before its usual brake point, now
// that it is known where the rider really brakes.
func (s *sim) windows() {
	tr, c := s.tr, s.c
	n := len(c.Turns)
	at := make([][]float64, n)
	for i := 1; i < len(tr.Time); i++ {
		if tr.FrontBrake[i] > 0.5e5 && tr.FrontBrake[i-1] <= 0.5e5 {
			place := math.Mod(tr.S[i], c.Length)
			for k := 0; k < n; k++ {
				if ahead := c.wrap(c.Turns[k].Apexes[0] - place); ahead < c.wrap(c.Turns[(k+1)%n].Apexes[0]-place) && ahead <= c.wrap(c.Turns[(k+n-1)%n].Apexes[0]-place) {
					at[k] = append(at[k], ahead)
				}
			}
		}
	}
	for k := range c.Turns {
		t, prev := &c.Turns[k], &c.Turns[(k+n-1)%n]
		back := c.wrap(t.Apexes[0]-t.Entry) + 30
		if len(at[k]) > 2 {
			far := append([]float64(nil), at[k]...)
			for i := range far { // insertion sort: a handful of laps
				for j := i; j > 0 && far[j] < far[j-1]; j-- {
					far[j], far[j-1] = far[j-1], far[j]
				}
			}
			back = math.Max(back, far[len(far)*9/10]+30)
		}
		room := c.wrap(t.Apexes[0]-prev.Exit) - 5
		if k == 0 {
			room = math.Min(room, t.Apexes[0])
		}
		t.window = math.Max(0, t.Apexes[0]-math.Max(0, math.Min(back, room)))
		t.Segment = t.window
	}
}

func (s *sim) cutLaps() {
	tr := s.tr
	first := 0.0
	n := len(tr.Time)
	edges := append([]float64{first}, tr.Crossings...)
	for k := 0; k < len(edges); k++ {
		a := edges[k]
		b := tr.Time[n-1]
		if k+1 < len(edges) {
			b = edges[k+1]
		}
		if b-a < 1 {
			continue
		}
		l := Lap{Number: len(tr.Laps), Kind: TimedLap, Start: a, End: b, Time: b - a}
		mid := tr.S[tr.index((a+b)/2)]
		j := int(math.Floor(mid / s.c.Length))
		switch {
		case k == 0 && s.o.NoOutLap:
			l.Kind = BrokenLap
		case k == 0:
			l.Kind = OutLap
		case k == len(edges)-1 && s.o.NoInLap:
			l.Kind = BrokenLap
		case k == len(edges)-1:
			l.Kind = InLap
		}
		if j >= 0 && j < len(s.laps) {
			l.Slot = string(rune('A' + s.laps[j].slot))
			l.HeldUp = s.laps[j].held
		}
		still := 0.0
		for i := tr.index(a); i < tr.index(b); i++ {
			if tr.Speed[i] < 1 {
				still += rowTime
			}
		}
		if still > 20 && l.Kind == TimedLap {
			l.Kind = BrokenLap
		}
		tr.Laps = append(tr.Laps, l)
	}
}

// passes reads the instants of each turn from what the rider really did.
func (s *sim) passes() {
	tr, c := s.tr, s.c
	nan := math.NaN()
	for _, l := range tr.Laps {
		if l.Kind != TimedLap {
			continue
		}
		base := math.Floor(tr.S[tr.index((l.Start+l.End)/2)]/c.Length) * c.Length
		for ti := range c.Turns {
			t := &c.Turns[ti]
			from := base + t.window
			to := base + c.Length
			if ti+1 < len(c.Turns) {
				to = base + c.Turns[ti+1].window
			}
			ta, tb := tr.CrossAt(from), tr.CrossAt(to)
			if math.IsNaN(ta) || math.IsNaN(tb) {
				continue
			}
			a, b := tr.index(ta), tr.index(tb)
			p := Pass{Lap: l.Number, Turn: t.Number, BrakeOn: nan, BrakeOff: nan, TurnIn: nan, Apex: nan, PickUp: nan, FullThrottle: nan, Slot: l.Slot, MinSpeed: math.Inf(1)}
			ea, eb := tr.index(tr.CrossAt(base+t.Entry)), tr.index(tr.CrossAt(base+t.Exit))
			low := ea
			for i := ea; i <= eb; i++ {
				if tr.Speed[i] < tr.Speed[low] {
					low = i
				}
				if x := tr.Lean[i] * float64(t.Direction); x > p.MaxLean {
					p.MaxLean = x
				}
			}
			p.Apex, p.MinSpeed, p.Gear = tr.Time[low], tr.Speed[low], tr.Gear[low]
			for i := a + 1; i <= low; i++ {
				if tr.FrontBrake[i] > 0.5e5 && tr.FrontBrake[i-1] <= 0.5e5 && math.IsNaN(p.BrakeOn) {
					w := (0.5e5 - tr.FrontBrake[i-1]) / (tr.FrontBrake[i] - tr.FrontBrake[i-1])
					p.BrakeOn = tr.Time[i-1] + w*rowTime
				}
			}
			closed := -1
			for i := a; i <= eb; i++ {
				if tr.Grip[i] <= 0.001 {
					closed = i
				}
				if closed >= 0 && tr.Grip[i] > 0.03 && (i <= a || tr.Grip[i-1] <= 0.03) {
					p.PickUp = tr.Time[i] - rowTime*(tr.Grip[i]-0.03)/math.Max(1e-9, tr.Grip[i]-tr.Grip[i-1])
				}
			}
			if closed < 0 {
				p.PickUp = nan
			}
			start := low
			if !math.IsNaN(p.PickUp) {
				start = tr.index(p.PickUp)
			}
			for i := start; i < b; i++ {
				if tr.Grip[i] >= 0.95 && tr.Grip[min(i+20, b)] >= 0.95 {
					p.FullThrottle = tr.Time[i]
					break
				}
			}
			tr.Passes = append(tr.Passes, p)
		}
	}
}

// runsOf gives the stretches on which cond holds, joined over gaps up to join
// seconds and kept from least seconds on.
func (tr *Truth) runsOf(join, least float64, cond func(i int) bool) [][2]int {
	var out [][2]int
	open := -1
	last := -1
	n := len(tr.Time)
	flush := func() {
		if open >= 0 && float64(last-open+1)*rowTime >= least {
			out = append(out, [2]int{open, last})
		}
		open = -1
	}
	for i := 0; i < n; i++ {
		if !cond(i) {
			if open >= 0 && float64(i-last)*rowTime > join {
				flush()
			}
			continue
		}
		if open < 0 {
			open = i
		}
		last = i
	}
	flush()
	return out
}

func (s *sim) leanClass(i int) string {
	tr := s.tr
	lean := math.Abs(tr.Lean[i])
	// The greatest lean of this same-sign stretch.
	peak := lean
	sign := tr.Lean[i] >= 0
	for j := i; j > 0 && j > i-600 && (tr.Lean[j] >= 0) == sign; j-- {
		peak = math.Max(peak, math.Abs(tr.Lean[j]))
	}
	for j := i; j < len(tr.Lean) && j < i+600 && (tr.Lean[j] >= 0) == sign; j++ {
		peak = math.Max(peak, math.Abs(tr.Lean[j]))
	}
	switch {
	case lean < 25/radDeg:
		return "upright"
	case lean > peak-3/radDeg && lean > 40/radDeg:
		return "at-max-lean"
	}
	return "picking-up"
}

func (s *sim) cuts() {
	tr := s.tr
	for _, r := range tr.runsOf(0.15, 0.08, func(i int) bool { return tr.Cut[i] > 0.05 }) {
		e := Episode{Kind: "cut", Start: tr.Time[r[0]], End: tr.Time[r[1]] + rowTime, Lean: tr.Lean[r[0]], Speed: tr.Speed[r[0]], LeanClass: s.leanClass(r[0])}
		sum := 0.0
		for i := r[0]; i <= r[1]; i++ {
			e.Peak = math.Max(e.Peak, tr.Cut[i])
			sum += tr.Cut[i]
		}
		e.Mean = sum / float64(r[1]-r[0]+1)
		tr.Episodes = append(tr.Episodes, e)
	}
}

func (s *sim) spins() {
	tr := s.tr
	for _, r := range tr.runsOf(0.1, 0.08, func(i int) bool {
		return tr.RearSlip[i] > tr.SlipTarget[i]+0.02 && tr.Grip[i] > 0.05 && !tr.Airborne[i]
	}) {
		e := Episode{Kind: "spin", Start: tr.Time[r[0]], End: tr.Time[r[1]] + rowTime, Lean: tr.Lean[r[0]], Speed: tr.Speed[r[0]], LeanClass: s.leanClass(r[0])}
		sum := 0.0
		for i := r[0]; i <= r[1]; i++ {
			e.Peak = math.Max(e.Peak, tr.RearSlip[i])
			sum += tr.RearSlip[i]
		}
		e.Mean = sum / float64(r[1]-r[0]+1)
		tr.Episodes = append(tr.Episodes, e)
	}
}

// stretches finds limiter, wheelie, rear-lift, lock and hop.
func (s *sim) stretches() {
	tr := s.tr
	add := func(kind string, join, least float64, cond func(i int) bool) {
		for _, r := range tr.runsOf(join, least, cond) {
			tr.Episodes = append(tr.Episodes, Episode{Kind: kind, Start: tr.Time[r[0]], End: tr.Time[r[1]] + rowTime, Lean: tr.Lean[r[0]], Speed: tr.Speed[r[0]]})
		}
	}
	lim := s.b.LimiterRPM - 60
	add("limiter", 0.1, 0.05, func(i int) bool { return tr.RPM[i] >= lim && tr.Grip[i] > 0.5 })
	add("wheelie", 0.15, 0.1, func(i int) bool { return tr.Airborne[i] })
	add("rear-lift", 0.1, 0.08, func(i int) bool { return tr.RearLoad[i] <= 40 && tr.FrontBrake[i] > 3e5 })
	add("lock", 0.05, 0.05, func(i int) bool { return tr.FrontSlip[i] < -0.10 && tr.FrontBrake[i] > 2e5 })
	hop := make([]bool, len(tr.Time))
	for _, p := range s.laps {
		_ = p
	}
	for i := 2; i < len(tr.Time)-2; i++ {
		// A planted hop shakes the shock far faster than load changes do.
		d := tr.Shock[i+2] - 2*tr.Shock[i] + tr.Shock[i-2]
		hop[i] = math.Abs(d) > 0.0016 && tr.FrontBrake[i] > 0.5e5
	}
	add("hop", 0.1, 0.25, func(i int) bool { return hop[i] })
}

// pushes measures how long the engine drives the wheel on after a downshift.
func (s *sim) pushes() {
	tr := s.tr
	for k := range tr.Episodes {
		e := &tr.Episodes[k]
		if e.Kind != "blip" || e.Surplus < 60 {
			continue
		}
		i := tr.index(e.End) + 1
		n := 0
		for i+n < len(tr.Time) && n < 60 && tr.RPM[i+n]-e.RPMNeeded*tr.Speed[i+n]/math.Max(1, tr.Speed[i]) > 200 {
			n++
		}
		e.PushS = float64(n) * rowTime
	}
}

// costs integrates each exit again without the cut: force that was taken is
// given back, drag grows with the speed gained, and drive at full throttle
// falls with it, until the next brake point.
func (s *sim) costs() {
	tr, b := s.tr, s.b
	for k := range tr.Episodes {
		e := &tr.Episodes[k]
		if e.Kind != "cut" {
			continue
		}
		i := tr.index(e.Start)
		stop := tr.index(e.End)
		v := tr.Speed[i]
		lost := 0.0
		for j := i; j+1 < len(tr.Time) && j < i+3000; j++ {
			if tr.FrontBrake[j] > 0.5e5 && j > stop || tr.Speed[j] < 5 {
				break
			}
			rec := 0.5 * (tr.Speed[j] + tr.Speed[j+1])
			ds := tr.S[j+1] - tr.S[j]
			if ds <= 0 || ds > 5 {
				break
			}
			a := (tr.Speed[j+1] - tr.Speed[j]) / rowTime
			m := b.Mass
			if tr.Gear[j] > 0 {
				m += b.EngineI*sq(b.ratio(tr.Gear[j])/b.Rear.Radius) + (b.FrontI+b.RearI)/sq(0.31)
			}
			gain := 0.0
			if j <= stop && tr.Cut[j] < 0.98 && tr.DriveForce[j] > 0 {
				gain = tr.DriveForce[j] * tr.Cut[j] / (1 - tr.Cut[j]) / m
				room := (capacity(math.Max(tr.RearLoad[j], 300), b.Grip, sq(tr.Speed[j])*tr.Curvature[j])*0.995 - tr.DriveForce[j]) / m
				gain = math.Max(0, math.Min(gain, room+tr.DriveForce[j]*0.05/m))
			}
			gain -= 0.5 * 1.2 * b.DragArea * (sq(v) - sq(rec)) / m
			if tr.Grip[j] > 0.95 {
				gain += tr.DriveForce[j] / m * (rec/math.Max(v, 5) - 1)
			}
			dt := ds / math.Max(1, v)
			lost += ds/rec - dt
			v += (a + gain) * dt
			if j == stop {
				e.DeltaV = v - tr.Speed[j+1]
			}
		}
		e.CostS = math.Max(0, lost)
	}
}
