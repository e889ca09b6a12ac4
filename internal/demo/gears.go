package demo

import "math"

const radPerRPM = math.Pi / 30

// gears shifts: up at the rider's shift point with a short cut, down on the
// brakes with clutch and blip.
func (w *world) gears(st *state, p *lapPlan, tp *turnPlan, ctl *controls, rr float64) {
	b := w.b
	switch st.phase {
	case shiftingUp:
		st.phaseT += dt
		if st.gear != st.toGear && st.phaseT > 0.55*st.phaseFor {
			st.gear = st.toGear
			st.locked, st.capUp, st.home, st.tail = false, true, 0, 0
		}
		if st.phaseT >= st.phaseFor {
			st.phase = engaged
			st.shiftCut = false
			st.rest = 0
		}
		return
	case shiftingDown:
		st.phaseT += dt
		u := st.phaseT / st.phaseFor
		if u > 0.42 {
			st.gear = st.toGear
		}
		st.we = st.rpmFrom + (st.rpmGoal-st.rpmFrom)*smooth((u-0.08)/0.84)
		st.clutch = math.Min(1, math.Min(st.phaseT, st.phaseFor-st.phaseT)/0.02)
		// The hand turns the grip for the blip; a larger blip by a wider hand.
		open := 0.16 + (st.rpmGoal-st.rpmFrom)*30/math.Pi*4.2e-5
		st.grip = open * math.Sin(math.Pi*math.Min(1, math.Max(0, u/0.95)))
		if u >= 1 {
			st.phase = engaged
			st.clutch = 0
			st.locked, st.capUp, st.home = false, false, 0
			over := math.Max(0, st.we-st.wr*b.ratio(st.gear)) * 30 / math.Pi
			st.tail = 17 * math.Min(1.6, over/1000)
			st.rest = 0
			st.grip = 0
		}
		return
	}
	if st.gear != 1 || st.wr*b.ratio(1) >= 350 {
		st.clutch = 0
	}
	if st.v < 0.3 {
		st.clutch = 1
		st.gear = 0
		if st.grip > 0.02 {
			st.gear = 1
		}
		return
	}
	if st.gear == 0 {
		st.gear = 1
	}
	if st.rest < 0.16 {
		return
	}
	x := int(st.s / w.g.step)
	cruise := p.cruise[min(x, w.g.n)]
	rpm := st.we * 30 / math.Pi
	top := len(b.Gears)
	if tp.topGear > 0 {
		top = tp.topGear
	}
	up := tp.upAt
	if cruise {
		up = 7000
	} else if st.grip < 0.5 {
		up = 12000 // on part throttle there is no call to rev on
	}
	if !st.braking && st.locked && rpm > up && st.gear < top && st.grip > 0.08 && st.rest > 0.3 && (st.room > 2 || cruise || w.wantsHigher(st, p)) {
		st.phase, st.phaseT, st.phaseFor = shiftingUp, 0, 0.055+0.02*tp.shiftTime[st.gear-1]
		st.toGear = st.gear + 1
		st.shiftCut = true
		return
	}
	if st.gear <= 1 || !st.locked || st.rest < 0.30 {
		return
	}
	lower := st.wr * b.ratio(st.gear-1) * 30 / math.Pi
	if cruise {
		if lower < 6200 && st.gear > 2 {
			w.downshift(st, tp, ctl, rr)
		}
		return
	}
	if !st.braking || st.brakeSince < 0.22 || lower > tp.shiftAt {
		return
	}
	// Down as far as the slowest place calls for.
	slowest, _ := w.ahead(st.lap, st.goal)
	most := 8700.0
	if st.gear == 2 { // first is for the slowest places only
		most = 6700
	}
	if slowest/0.285*b.ratio(st.gear-1)*30/math.Pi > most {
		return
	}
	w.downshift(st, tp, ctl, rr)
}

// wantsHigher tells whether the next slow place will be taken in a higher gear,
// so that shifting up just before the brakes makes sense.
func (w *world) wantsHigher(st *state, p *lapPlan) bool {
	if st.apex >= len(p.apexes) {
		return true
	}
	v, _ := w.ahead(st.lap, p.apexes[st.apex].at)
	return v/0.285*w.b.ratio(st.gear)/radPerRPM > 9500
}

func (w *world) downshift(st *state, tp *turnPlan, ctl *controls, rr float64) {
	b := w.b
	to := st.gear - 1
	st.phase, st.phaseT = shiftingDown, 0
	st.phaseFor = 0.125 + 0.025*tp.shiftTime[to-1]
	st.toGear = to
	st.rpmFrom = st.we
	now := st.v / rr * b.ratio(st.gear)
	need := (st.v - 0.5*st.phaseFor*math.Max(0, -st.a)) / rr * b.ratio(to)
	goal := now + (need-now)*ctl.blip[to-1] + tp.surplus[to-1]*radPerRPM
	limit := b.LimiterRPM * radPerRPM
	if goal > limit {
		goal = limit + 1.5*math.Sin(float64(st.step))
	}
	st.rpmGoal = math.Max(goal, 0.97*st.we)
}
