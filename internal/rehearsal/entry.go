package rehearsal

import (
	"fmt"
	"math"
	"sort"

	"cornerwright/internal/circuit"
	"cornerwright/internal/inference"
	"cornerwright/internal/ride"
	"cornerwright/internal/say"
)

// engineBrake rehearses another level of engine braking: the drag of the engine
// at the rear wheel in proportion to the level where that is a share of the
// engine's own drag (unit %), as the ride identified it in that gear.
func (j *job) engineBrake() {
	share := map[int]float64{} // gear -> new/old
	for _, c := range j.step.Cells {
		if c.Old > 0 {
			share[c.Column+1] = c.New / c.Old
		}
	}
	if j.s.Unit != "%" {
		j.bound("decel", "mps2", func(p *ride.Pass) float64 { return p.CoastDecel }, say.T("a level without a physical unit says nothing about force until two levels have been ridden"))
		return
	}
	force := map[int]ride.Interval{}
	for _, g := range j.r.Engine.Gears {
		force[g.Gear] = g.Force
	}
	m := j.mass()
	for _, turn := range j.turns {
		var drag, dragLo, dragHi, dwell, all float64
		for _, st := range j.stretches {
			if !st.Timed || st.Turn != turn || st.Phase != circuit.PhaseBrake && st.Phase != circuit.PhaseEntry && st.Phase != circuit.PhaseMid {
				continue
			}
			for i := st.From; i < st.To; i++ {
				if !rules["engine-brake"].on(j.r, i) {
					continue
				}
				all++
				gear := int(j.r.Signals.Gear[i])
				k, ok := share[gear]
				if !ok {
					continue
				}
				dwell++
				f := force[gear]
				if !f.OK {
					// Next to the usual drag of a big engine in that gear (from memory), and as wide as that is vague.
					f = ride.Interval{Value: 450, Lo: 200, Hi: 800}
				}
				drag += f.Value * (k - 1)
				lo, hi := order(f.Lo*(k-1), f.Hi*(k-1))
				dragLo += lo
				dragHi += hi
			}
		}
		if dwell < 5 || all == 0 {
			continue
		}
		d, lo, hi := drag/dwell/m, dragLo/dwell/m, dragHi/dwell/m
		lo, hi = math.Min(0.5*lo, 1.5*lo), math.Max(0.5*hi, 1.5*hi)
		coast := j.values(turn, func(p *ride.Pass) float64 { return p.CoastDecel })
		basis := say.T("engine drag of this ride in proportion to the level; half and one and a half times it")
		for g := range share {
			if f, ok := force[g]; !ok || !f.OK {
				basis = say.T("usual engine drag: gear {g} could not be identified on this ride", g)
			}
		}
		j.entrySlip(turn, d, lo, hi, m)
		k := dwell / all // the part of closed throttle spent in the changed gears
		lo, hi = order(lo*k, hi*k)
		j.add(turn, circuit.PhaseEntry, "decel", "mps2", coast, d*k, math.Min(lo, 0.3*d*k), math.Max(hi, d*k), false, basis)
	}
	j.out.withhold(say.T("brake point"), say.T("whether the rider brakes later or releases earlier is the rider's choice"), say.T("compare entry speed and time after the run"))
}

// entrySlip says how much more the rear wheel will drag: force over load and
// stiffness of the tyre.
func (j *job) entrySlip(turn int, d, lo, hi, m float64) {
	slip := j.values(turn, func(p *ride.Pass) float64 { return 100 * p.EntrySlip })
	load := j.rearLoad(turn)
	if !(load > 100) {
		j.out.withhold(say.T("rear slip on entry"), say.T("the rear wheel of turn {turn} carries next to nothing on the brakes, or it is not known", turn), say.T("give mass, centre of mass and wheelbase in the bike file"))
		return
	}
	toSlip := func(a, stiff float64) float64 { return -100 * a * m / (load * stiff) }
	// The least slip falls where the engine turns fastest and the rear carries
	// least: there the drag is up to twice its mean.
	x := []float64{toSlip(lo, stiffHigh), toSlip(2*lo, stiffLow), toSlip(hi, stiffHigh), toSlip(2*hi, stiffLow)}
	sort.Float64s(x)
	j.add(turn, circuit.PhaseEntry, "rear_slip", "pct", slip, toSlip(d, 0.5*(stiffLow+stiffHigh)), x[0], x[3], false,
		say.T("rear load of {load} N while entering, slip stiffness {stifflow} to {stiffhigh} times load", fmt.Sprintf("%.0f", load), fmt.Sprintf("%.0f", stiffLow), fmt.Sprintf("%.0f", stiffHigh)))
}

// rearLoad is the load left on the rear wheel in the entry phase of a turn at
// the three-quarter point of deceleration, N; NaN where not known.
func (j *job) rearLoad(turn int) float64 {
	decel := entryDecel(j.r, j.stretches, turn, nil)
	if len(decel) == 0 {
		return math.NaN()
	}
	return RearLoad(j.b.Mass.Total, j.b.Mass.CentreHeight, j.b.Mass.Wheelbase, j.b.Mass.CentreToRear, inference.Quantile(decel, 0.75))
}

// RearLoad is the load on the rear wheel at deceleration a (m/s2, positive), N:
// m (g (1 - c/p) - a h/p) with c the distance of the centre of mass ahead of
// the rear contact and p the wheelbase. Where the bike file gives no figure a
// usual one stands in: 270 kg, 0.62 m, 1.42 m, half and half.
func RearLoad(mass, height, wheelbase, toRear, a float64) float64 {
	if mass == 0 {
		mass = 270
	}
	if height == 0 {
		height = 0.62
	}
	if wheelbase == 0 {
		wheelbase = 1.42
	}
	if toRear == 0 {
		toRear = wheelbase / 2
	}
	return mass * (gravity*(1-toRear/wheelbase) - a*height/wheelbase)
}

// entryDecel lists deceleration (m/s2, positive) of the closed-throttle samples
// of entry and mid phase of a turn, in the given gears (nil: all).
func entryDecel(r *ride.Ride, stretches []Stretch, turn int, gears map[int]bool) []float64 {
	var x []float64
	for _, st := range stretches {
		if !st.Timed || st.Turn != turn || st.Phase != circuit.PhaseEntry && st.Phase != circuit.PhaseMid {
			continue
		}
		for i := st.From; i < st.To; i++ {
			if !(at(r.Signals.Grip, i) < 0.02) {
				continue
			}
			if gears != nil && (i >= len(r.Signals.Gear) || !gears[int(r.Signals.Gear[i])]) {
				continue
			}
			if a := at(r.Signals.Accel, i); !math.IsNaN(a) {
				x = append(x, -a)
			}
		}
	}
	return x
}

// blip rehearses another size of blip: the engine rises less or more above what
// it turned before, in proportion.
func (j *job) blip() {
	share := map[int]float64{}
	for _, c := range j.step.Cells {
		if c.Old > 0 {
			share[c.Column+1] = c.New / c.Old
		}
	}
	timed := map[int]bool{}
	for _, l := range j.r.Laps {
		timed[l.Number] = l.Kind == circuit.TimedLap
	}
	type sum struct{ surplus, shift []float64 }
	byTurn := map[int]*sum{}
	for _, e := range j.r.Episodes {
		if e.Kind != ride.Blip || e.Shift == nil || !timed[e.Lap] || math.IsNaN(e.Shift.Surplus) {
			continue
		}
		k, ok := share[e.Shift.ToGear]
		from, to := j.b.Drive.Total(e.Shift.FromGear), j.b.Drive.Total(e.Shift.ToGear)
		if !ok || from == 0 || to == 0 || !(e.Shift.Needed > 0) {
			continue
		}
		t := byTurn[e.Turn]
		if t == nil {
			t = &sum{}
			byTurn[e.Turn] = t
		}
		t.surplus = append(t.surplus, e.Shift.Surplus)
		// What the blip lifted the engine by: from the speed in the old gear.
		t.shift = append(t.shift, (k-1)*(e.Shift.Needed+e.Shift.Surplus-e.Shift.Needed*from/to))
	}
	turns := make([]int, 0, len(byTurn))
	for t := range byTurn {
		turns = append(turns, t)
	}
	sort.Ints(turns)
	for _, turn := range turns {
		t := byTurn[turn]
		d := inference.Mean(t.shift)
		lo, hi := order(0.4*d, 1.6*d)
		j.add(turn, circuit.PhaseBrake, "surplus", "rpm", t.surplus, d, lo, hi, false, say.T("the rise of the engine in proportion to the blip; the rider's own hand is in it too"))
	}
	if len(turns) == 0 {
		j.out.withhold(say.T("surplus"), say.T("no downshift into that gear was seen on a timed lap"), say.T("ride it first"))
	}
}
