package demo

import "math"

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
		lift := 0.0
		for i := r[0]; i <= r[1]; i++ {
			e.Peak = math.Max(e.Peak, tr.Cut[i])
			sum += tr.Cut[i]
			lift += tr.Cut[i] * boolf(tr.lifting[i])
		}
		e.Mean = sum / float64(r[1]-r[0]+1)
		e.Owner = "slip"
		if lift > sum/2 {
			e.Owner = "wheel-lift"
		}
		tr.Episodes = append(tr.Episodes, e)
	}
}

// spins are stretches beyond the slip at which the tyre gives most.
func (s *sim) spins() {
	tr := s.tr
	for _, r := range tr.runsOf(0.1, 0.08, func(i int) bool {
		return tr.RearSlip[i] > 1.2*peakSlip(tr.Lean[i]) && tr.Grip[i] > 0.05 && !tr.Airborne[i]
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
	add("limiter", 0.1, 0.05, func(i int) bool { return tr.limited[i] })
	add("wheelie", 0.15, 0.1, func(i int) bool { return tr.Airborne[i] })
	add("rear-lift", 0.1, 0.08, func(i int) bool { return tr.RearLoad[i] <= 40 && tr.FrontBrake[i] > 3e5 })
	add("lock", 0.05, 0.05, func(i int) bool { return tr.FrontSlip[i] < -0.10 && tr.FrontBrake[i] > 2e5 })
	hop := make([]bool, len(tr.Time))
	for i := 2; i < len(tr.Time)-2; i++ {
		// A planted hop shakes the shock far faster than load changes do.
		d := tr.Shock[i+2] - 2*tr.Shock[i] + tr.Shock[i-2]
		hop[i] = math.Abs(d) > 0.0016 && tr.FrontBrake[i] > 0.5e5
	}
	add("hop", 0.1, 0.25, func(i int) bool { return hop[i] })
}

// costs rides on from the start of each cut without it, the rider's plan
// unchanged, and compares the instants at the next turn's window.
func (s *sim) costs() {
	tr := s.tr
	j := 0
	for k := range tr.Episodes {
		e := &tr.Episodes[k]
		if e.Kind != "cut" || e.Owner != "slip" {
			continue
		}
		for j+1 < len(s.marks) && s.marks[j+1].t <= e.Start+1e-9 {
			j++
		}
		if j >= len(s.marks) || math.Abs(s.marks[j].t-e.Start) > 0.5 {
			continue
		}
		e.CostS, e.DeltaV = s.without(s.marks[j], e.End)
	}
}

// without rides on from a state with the slip control silent until a time, and
// returns the time lost by the cut up to the next turn's window and the speed
// lost when it ended.
func (s *sim) without(st state, until float64) (cost, dv float64) {
	tr, c, w := s.tr, s.c, s.w
	at := tr.S[tr.index(st.t+rowTime/2)]
	here := math.Floor(at/c.Length) * c.Length
	turn := c.TurnAt(at) // numbers run from 1, so this is also the next turn's index
	goal := here + c.Length + c.Turns[0].window
	if turn < len(c.Turns) {
		goal = here + c.Turns[turn].window
	}
	if goal <= at {
		goal += c.Length
	}
	real := tr.CrossAt(goal)
	if math.IsNaN(real) || real-st.t > 40 {
		return 0, 0
	}
	st.mute, st.muteUntil = true, until
	lap, base := st.lap, at-st.s
	for range int(40 / dt) {
		place, t, v := base+st.s, st.t, st.v
		w.advance(&st)
		if st.lap != lap {
			lap = st.lap
			base += c.Length
		}
		if t < until && st.t >= until {
			dv = v - tr.Speed[min(tr.index(until), len(tr.Speed)-1)]
		}
		if now := base + st.s; now >= goal {
			return real - (t + dt*(goal-place)/(now-place)), dv
		}
		if st.done {
			break
		}
	}
	return 0, dv
}
