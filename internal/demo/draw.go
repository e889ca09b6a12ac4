package demo

import "math"

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
				t.lift, t.liftFor = 0.35, 0.32
			}
			p.turns = append(p.turns, t)
		}
		if o.Nasty.Traffic && p.held {
			p.aside = math.Copysign(slow.between(1.5, 2.5), slow.uniform()-0.5)
			for i, t := range c.Turns {
				if at := t.Apexes[0]; at > p.heldA && at < p.heldB+100 {
					p.turns[i].late += slow.between(0.06, 0.14)
				}
			}
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
			case RearLift:
				t.lift, t.liftFor = 0.35, cause.size(0.6)
			case FrontLock:
				t.lock, t.lockFor = 0.35, cause.size(0.18)
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
