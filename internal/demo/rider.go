package demo

import "math"

// decide is the rider: when to brake, how hard, when to open and how far.
func (w *world) decide(st *state, p *lapPlan, tp *turnPlan, ctl *controls, i int, f, mu, lean, lat, resist, rr float64) {
	b := w.b
	v := st.v
	look := 0.14
	if !st.braking {
		look = 0.22 - tp.late
	}
	vb, slope := w.ahead(st.lap, st.s+look*v)
	if p.cruise[i] {
		w.cruise(st, p, vb, slope, resist, rr)
		return
	}
	cap := slope + 4*(vb-v)
	st.room = cap
	closedBrake := 0.0 // N of engine braking, about
	if st.gear > 0 {
		closedBrake = ctl.engine[st.gear-1] * table(&w.e.drag, st.we*30/math.Pi) * b.ratio(st.gear) / rr
	}
	if !st.braking {
		if cap < -1.2 && v > 6 {
			st.braking = true
			st.brakeSince = 0
			st.pickUntil = 0
			st.goal = 0
			// The place where the rider means to open again.
			for j := st.apex; j < len(p.apexes); j++ {
				at := p.apexes[j].at
				if at > st.s+2 {
					if x, _ := w.ahead(st.lap, at); x < v-0.3 {
						st.apex, st.goal = j, at
						break
					}
				}
			}
			if st.goal == 0 {
				st.goal = st.s + 1.2*v
				st.apex = len(p.apexes)
			}
		}
	}
	if st.braking {
		st.grip = math.Max(0, st.grip-9*dt)
		need := -(slope+4.5*(vb-v))*b.Mass - resist
		if st.locked {
			need -= 0.8 * closedBrake
		}
		if st.brakeSince < 0.08 {
			need = 0
		}
		if tp.lift > 0 && st.brakeSince > tp.lift && st.brakeSince < tp.lift+tp.liftFor && -slope > 7 {
			need = math.Max(need, 11.4*b.Mass-resist)
		}
		w.squeeze(st, need)
		// Braked far too early, for a place too far ahead: nobody rolls to a stand.
		if v < 0.5*vb && st.s < st.goal {
			st.goal = st.s
		}
		if tp.lock > 0 && st.lockT < 0 && st.brakeSince > tp.lock && st.brakeSince < tp.lock+0.02 && st.pf > 5e5 {
			st.lockT = 0
		}
		if st.lockT >= 0 {
			st.lockT += dt
			if st.lockT > tp.lockFor {
				st.lockT = -1
			}
		}
		if st.s >= st.goal {
			if st.pickUntil == 0 {
				d := 0.0
				if st.apex < len(p.apexes) {
					d = p.apexes[st.apex].delay
				}
				st.pickUntil = st.t + d
			}
			// Nobody opens while the front brake still bites.
			if st.t >= st.pickUntil && st.pf < 0.6e5 && cap > -0.9 {
				st.braking = false
				st.since = 0
				if st.apex < len(p.apexes) {
					st.apex++
				}
				st.lockT = -1
			}
		}
		return
	}
	w.squeeze(st, 0)

	// The drive: what the tyre should bear at this lean, more as it stands up.
	load := b.Mass * (gravity*(1-b.CentreToRear/b.Wheelbase) + math.Max(0, st.a)*b.CentreHeight/b.Wheelbase)
	up := math.Max(0, 1-math.Abs(lean)/0.75)
	ask := capacity(load, mu, lat) * tp.ask * (1 + 1.3*up*up)
	// The hand opens over most of a second.
	ask *= 0.12 + 0.88*smooth(st.since/0.65)
	if st.share > 1.5 { // the rear comes round: the hand gives way
		ask *= math.Max(0.4, 1-0.7*(st.share-1.5))
	}
	force := math.Min(ask, b.Mass*cap+resist)
	rpm := st.we * 30 / math.Pi
	torque := force * rr / (b.ratio(max(st.gear, 1)) * b.Efficiency)
	full := w.e.most(rpm, ctl.torque[max(st.gear, 1)-1])
	want := 1.0
	if torque < 0.97*full || cap < 1.5 {
		want = w.plate2grip(w.e.plate(rpm, torque))
	}
	if st.phase != engaged {
		want = math.Max(st.grip, 0)
		if cap < 0 {
			want = 0
		}
	}
	rate := 1.9
	if want < st.grip {
		rate = 5
	}
	st.grip += math.Max(-rate*dt, math.Min(rate*dt, (want-st.grip)*dt/0.05))
	st.grip = math.Max(0, math.Min(1, st.grip))
}

// squeeze moves the brake pressures towards a braking force.
func (w *world) squeeze(st *state, need float64) {
	b := w.b
	front, rear := 0.0, 0.0
	if need > 60 {
		front = 0.94 * need / b.FrontPerPa
		rear = 0.06 * need / b.RearPerPa
	}
	move := func(now, want float64) float64 {
		d := (want - now) * dt / 0.045
		return math.Max(0, now+math.Max(-55e5*dt, math.Min(75e5*dt, d)))
	}
	st.pf = move(st.pf, front)
	st.pr = move(st.pr, math.Min(rear, 3.2e5))
	if need <= 60 && st.pf < 3e3 {
		st.pf = 0
	}
	if need <= 60 && st.pr < 3e3 {
		st.pr = 0
	}
}

// cruise holds a speed in the pit lane.
func (w *world) cruise(st *state, p *lapPlan, vb, slope, resist, rr float64) {
	b := w.b
	acc := math.Max(-3.5, math.Min(2.2, slope+1.5*(vb-st.v)))
	if st.s >= p.to-0.4 && p.kind == InLap {
		acc = -3
	}
	force := b.Mass*acc + resist
	rpm := math.Max(st.we*30/math.Pi, 2500)
	want := 0.0
	need := 0.0
	if force > 0 {
		want = w.plate2grip(w.e.plate(rpm, force*rr/(b.ratio(max(st.gear, 1))*b.Efficiency)))
		st.braking = false
	} else {
		need = -force - 150
	}
	st.grip += math.Max(-6*dt, math.Min(2*dt, (want-st.grip)*dt/0.05))
	st.grip = math.Max(0, math.Min(0.6, st.grip))
	st.since = 2
	w.squeeze(st, need)
}
