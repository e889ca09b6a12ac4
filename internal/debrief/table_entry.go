package debrief

import (
	"math"

	"cornerwright/internal/circuit"
	"cornerwright/internal/ride"
	"cornerwright/internal/say"
)

var entryRows = []row{
	{id: "over-blip", says: []Complaint{"pushes-on"}, phases: goingIn, needs: []need{needRPM, needGear},
		test: func(l *look, p *ride.Pass) sight {
			x, s := l.surplus(p, 1)
			switch {
			case math.IsNaN(x):
				return unknown
			case isOver(x, s):
				return seen
			case isUnder(x, s):
				return opposite
			}
			return nothing
		},
		measures: surplusMeasures,
		yes: func(l *look, t tally) say.Text {
			worst := l.m("", "", "", func(p *ride.Pass) float64 {
				_, s := l.surplus(p, 1)
				if s == nil {
					return math.NaN()
				}
				return s.Surplus
			})
			return say.T("Into {turn} a downshift comes in with the engine {worst} 1/min too fast on {laps} laps; the rear pushes until it has slowed.", l.name(), num(worst.Value, 0), t.laps())
		},
		no: say.T("The downshifts into it are matched."), mind: say.T("Engine speed at the very instant of clutch home on a lap that felt good."),
		propose: func(l *look) []Proposal {
			g := l.blipGear()
			return append(l.list("blip", g, -1, say.T("the blip into that gear lifts the engine beyond what it needs"), say.T("a downshift without a push"), say.T("drag and hop after the downshift"), "entry"),
				coach(say.T("shorter, smaller blip by hand if the rider blips"), say.T("too large a blip pushes")))
		}, unasked: 0.6, cost: func(l *look) float64 { return 0.03 }, show: showEpisode(ride.Blip, nil), weight: 1.2},
	{id: "weak-engine-brake", says: []Complaint{"wants-engine-braking", "pushes-on"}, phases: closedPhases, needs: []need{needGrip, needGear},
		test: weakGear, measures: dragMeasures,
		yes: func(l *look, t tally) say.Text {
			g := l.mainGear()
			x, measured, _ := l.against(g)
			if !measured {
				return say.T("{turn} is entered in gear {g} on {laps} laps, and on the sheet that gear has {n} % of the other gears' level; its drag could not be measured on this run.", l.capital(), g, t.laps(), num(100*x, 0))
			}
			return say.T("{turn} is entered in gear {g} on {laps} laps, and in that gear the engine drags only {n} % of what the other gears' drag would give.", l.capital(), g, t.laps(), num(100*x, 0))
		},
		no: say.T("The engine drags there as in the other gears."), mind: say.T("A coast in that gear and in the next on the same straight."),
		propose: func(l *look) []Proposal {
			return l.list("engine-brake", l.mainGear(), +1, say.T("that gear drags less than the others"), say.T("more deceleration with a closed throttle in that gear"), say.T("rear slip and hop going in, every other turn entered in that gear"), "entry")
		}, unasked: 0.6, cost: func(l *look) float64 { return 0.04 }},
	{id: "late-release", says: []Complaint{"coasts"}, phases: closedPhases, needs: []need{needBrake},
		test: func(l *look, p *ride.Pass) sight {
			return known(p.CoastTime, p.CoastTime > math.Max(0.6, 1.6*l.usualCoast()))
		},
		measures: func(l *look) []Measure {
			return list(l.m("coast_time", say.T("between brakes off and throttle on"), "s", func(p *ride.Pass) float64 { return p.CoastTime }))
		},
		yes: func(l *look, t tally) say.Text {
			return say.T("Into {turn} neither brake nor throttle is used for {coasttime} s on {laps} laps.", l.name(), num(l.average(func(p *ride.Pass) float64 { return p.CoastTime }), 2), t.laps())
		},
		no: say.T("No long coast shows there."), mind: say.T("Brake pressure at the very end of the release."),
		propose: func(l *look) []Proposal {
			return []Proposal{coach(say.T("carry a little brake to the slowest place"), say.T("the bike rolls free there")), changeNothing(say.T("engine braking is not what is missing"))}
		}, weight: 0.5, unasked: 0.7, cost: func(l *look) float64 {
			return math.Max(0, 0.1*(l.average(func(p *ride.Pass) float64 { return p.CoastTime })-l.usualCoast()))
		}, show: func(l *look, p *ride.Pass) (float64, float64) { return p.BrakeOff, p.Pickup }},
	{id: "strong-engine-brake", says: []Complaint{"too-much-engine-braking", "rear-locks", "hops"}, phases: closedPhases, needs: []need{needSlip, needGear},
		test: func(l *look, p *ride.Pass) sight {
			x := l.dragSlip(p)
			return known(x, x < -0.06)
		},
		measures: dragMeasures,
		yes: func(l *look, t tally) say.Text {
			return say.T("Into {turn} the rear wheel turns up to {dragslip} % too slowly on {laps} laps: the engine drags more than the load on it bears.", l.name(), num(-100*l.average(l.dragSlip), 1), t.laps())
		},
		no: say.T("The rear wheel turns with the road going in."), mind: say.T("The rear brake: pressure there at the same moment."),
		propose: func(l *look) []Proposal {
			return l.list("engine-brake", l.mainGear(), -1, say.T("the rear carries less than the engine drags"), say.T("a rear that rolls"), say.T("pushing on entry"), "entry")
		}, safety: true, unasked: 0.5, cost: func(l *look) float64 { return 0.03 }, show: func(l *look, p *ride.Pass) (float64, float64) { return p.Brake, p.Mid }},
	{id: "under-blip", says: []Complaint{"rear-locks", "hops", "too-much-engine-braking"}, phases: goingIn, needs: []need{needRPM, needGear},
		test: func(l *look, p *ride.Pass) sight {
			x, s := l.surplus(p, -1)
			switch {
			case math.IsNaN(x):
				return unknown
			case isUnder(x, s):
				return seen
			}
			return nothing
		},
		measures: surplusMeasures,
		yes: func(l *look, t tally) say.Text {
			return say.T("Into {turn} a downshift comes in with the engine too slow on {laps} laps; the rear wheel drags it up.", l.name(), t.laps())
		},
		no: say.T("No downshift comes in short of engine speed."), mind: say.T("Engine speed at clutch home on a lap without the drag."),
		propose: func(l *look) []Proposal {
			return l.list("blip", l.shortGear(), +1, say.T("the blip into that gear lifts the engine too little"), say.T("a downshift without a drag"), say.T("a push after the downshift"), "entry")
		}, unasked: 0.6, cost: func(l *look) float64 { return 0.03 }, show: showEpisode(ride.Blip, nil)},
	{id: "rear-hop", says: []Complaint{"hops", "brake-instability", "chatters"}, phases: goingIn, safety: true,
		needs: []need{{say.T("no rear travel fast enough to see a hop (wheel speed alone mistakes bumps and downshifts for it)"), func(r *ride.Ride) bool { return r.Signals.Shock != nil && !withheld(r, "hop", "") }, say.T("record rear travel at 100 Hz or more")}},
		test:  func(l *look, p *ride.Pass) sight { return when(len(l.has(ride.Hop, l.key(p), nil)) > 0) },
		measures: func(l *look) []Measure {
			return list(l.m("hop_time", say.T("time of hopping"), "s", func(p *ride.Pass) float64 { return l.episodeSum(ride.Hop, p, nil, length) }),
				l.m("entry_slip", say.T("least rear slip going in"), "pct", func(p *ride.Pass) float64 { return 100 * p.EntrySlip }))
		},
		yes: func(l *look, t tally) say.Text {
			return say.T("Into {turn} the rear wheel hops on {laps} laps, {length} s a lap.", l.name(), t.laps(), num(l.average(func(p *ride.Pass) float64 { return l.episodeSum(ride.Hop, p, nil, length) }), 2))
		},
		no: say.T("No hop shows there."), mind: say.T("A frequency that follows the wheel: then it is a wheel out of balance."),
		propose: func(l *look) []Proposal {
			var out []Proposal
			if x := l.shortGear(); x > 0 {
				out = l.list("blip", x, +1, say.T("the downshift drags the rear wheel into the hop"), say.T("a downshift without a drag"), say.T("a push after the downshift"), "entry")
			}
			out = append(out, l.list("engine-brake", l.hopGear(), -1, say.T("less engine drag takes the rear wheel out of its hop"), say.T("a rear that stays on the road"), say.T("pushing on entry"), "entry")...)
			return append(out, coach(say.T("one downshift later"), say.T("downshifts on an unloaded rear start the hop")))
		}, unasked: 0.3, cost: func(l *look) float64 { return 0.05 }, show: showEpisode(ride.Hop, nil), weight: 1.2},
	{id: "rear-lift", says: []Complaint{"rear-lifts", "brake-instability"}, phases: brakePhase, safety: true,
		needs: []need{{say.T("no way to see the rear leave the ground"), func(r *ride.Ride) bool { return !withheld(r, "rear lift", "rear-lift") }, say.T("record pitch rate and both wheel speeds")}},
		test:  func(l *look, p *ride.Pass) sight { return when(len(l.has(ride.RearLift, l.key(p), nil)) > 0) },
		measures: func(l *look) []Measure {
			return list(l.m("lift_time", say.T("rear wheel in the air"), "s", func(p *ride.Pass) float64 { return l.episodeSum(ride.RearLift, p, nil, length) }),
				l.m("decel_peak", say.T("greatest deceleration"), "mps2", func(p *ride.Pass) float64 { return p.PeakDecel }))
		},
		yes: func(l *look, t tally) say.Text {
			return say.T("On the brakes for {turn} the rear wheel leaves the ground on {laps} laps.", l.name(), t.laps())
		},
		no: say.T("The rear wheel stays down on the brakes."), mind: say.T("Rear travel at full extension at the same moment."),
		propose: func(l *look) []Proposal {
			return append([]Proposal{coach(say.T("build the pressure over a third of a second"), say.T("the rear lifts where the lever is pulled at once"))}, l.scalar("rear-lift", +1, say.T("the aid lets the rear come up"), say.T("a rear that stays down"), say.T("braking distance"))...)
		}, unasked: 0.3, cost: func(l *look) float64 { return 0.03 }, show: showEpisode(ride.RearLift, nil)},
	{id: "front-near-lock", says: []Complaint{"front-lock"}, phases: goingIn, safety: true, needs: []need{needFront},
		test: func(l *look, p *ride.Pass) sight { return when(l.frontLock(p) > 0) },
		measures: func(l *look) []Measure {
			return list(l.m("lock_time", say.T("front wheel far too slow"), "s", l.frontLock), l.m("decel_peak", say.T("greatest deceleration"), "mps2", func(p *ride.Pass) float64 { return p.PeakDecel }))
		},
		yes: func(l *look, t tally) say.Text {
			return say.T("Going into {turn} the front wheel nearly locks on {laps} laps.", l.name(), t.laps())
		},
		no: say.T("The front wheel turns with the road."), mind: say.T("A GPS speed good to 0.1 m/s at the same moment."),
		propose: func(l *look) []Proposal {
			return []Proposal{coach(say.T("release as the bike leans"), say.T("pressure stays on while the lean grows")), inspect(say.T("front tyre temperature and pressure"), say.T("a cold front locks first"))}
		}, unasked: 0.25, cost: func(l *look) float64 { return 0.02 }, show: showEpisode(ride.Lock, nil)},
	{id: "brakes-fade", says: []Complaint{"brakes-weak"}, phases: brakePhase, needs: []need{needBrake},
		test: func(l *look, p *ride.Pass) sight {
			first, this := l.brakeGain()
			x, ok := this[p.Lap]
			if !ok || math.IsNaN(first) {
				return unknown
			}
			return when(x < 0.9*first)
		},
		measures: func(l *look) []Measure {
			_, this := l.brakeGain()
			return list(l.m("brake_gain", say.T("deceleration for each bar"), "mps2", func(p *ride.Pass) float64 {
				if x, ok := this[p.Lap]; ok {
					return x
				}
				return math.NaN()
			}))
		},
		yes: func(l *look, t tally) say.Text {
			return say.T("On the brakes for {turn} the same pressure slows a tenth less than on the first laps, on {laps} laps.", l.name(), t.laps())
		},
		no: say.T("Pressure and deceleration belong together as on the first laps."), mind: say.T("Disc temperature."),
		propose: func(l *look) []Proposal {
			return []Proposal{inspect(say.T("fluid, pads, discs and their temperature"), say.T("no setting mends a fading brake"))}
		}, safety: true},
	{id: "fork-bottoms", says: []Complaint{"dives", "brake-instability"}, phases: goingIn, needs: []need{needFork},
		test: func(l *look, p *ride.Pass) sight {
			top := l.forkEnd()
			return known(p.ForkMax, p.ForkMax > top-0.003 && top > 0.09)
		},
		measures: func(l *look) []Measure {
			return list(l.m("fork_max", say.T("greatest fork travel"), "mm", func(p *ride.Pass) float64 { return 1000 * p.ForkMax }))
		},
		yes: func(l *look, t tally) say.Text {
			return say.T("On the brakes for {turn} the fork comes within 3 mm of the most it does anywhere on {laps} laps.", l.name(), t.laps())
		},
		no: say.T("The fork has travel left there."), mind: say.T("The mechanical end of the fork, measured."),
		propose: func(l *look) []Proposal {
			return []Proposal{inspect(say.T("fork: two clicks more compression, or half a turn of preload"), say.T("suspension is a change for a run of its own"))}
		}, weight: 0.8},
	{id: "unstable-brakes", says: []Complaint{"brake-instability"}, phases: brakePhase, needs: []need{needLean},
		test: func(l *look, p *ride.Pass) sight {
			x := l.rocking(p)
			return known(x, x > 3)
		},
		measures: func(l *look) []Measure {
			return list(l.m("rocking", say.T("lean to and fro on the brakes"), "deg", l.rocking), l.m("entry_slip", say.T("least rear slip going in"), "pct", func(p *ride.Pass) float64 { return 100 * p.EntrySlip }))
		},
		yes: func(l *look, t tally) say.Text {
			return say.T("On the brakes for {turn} the bike rocks by {rocking} deg on {laps} laps.", l.name(), num(l.average(l.rocking), 1), t.laps())
		},
		no: say.T("The bike is calm on the brakes as far as lean shows it."), mind: say.T("A steer sensor or a yaw gyro."),
		propose: func(l *look) []Proposal {
			return append([]Proposal{coach(say.T("shift down later, once the first bite is over"), say.T("early downshifts unsettle an unloaded rear"))}, l.list("engine-brake", l.mainGear(), -1, say.T("less drag on an unloaded rear"), say.T("a calmer rear"), say.T("pushing on entry"), "entry")...)
		}},
	{id: "slow-turn-in", says: []Complaint{"slow-turn-in"}, phases: []circuit.Phase{circuit.PhaseEntry}, needs: []need{needLean},
		test: func(l *look, p *ride.Pass) sight {
			mine, others := l.rollRate(p), l.usualRoll()
			if math.IsNaN(others) {
				return unknown
			}
			return known(mine, mine < 0.6*others)
		},
		measures: func(l *look) []Measure {
			return list(l.m("roll_rate", say.T("greatest rate of leaning in"), "degps", l.rollRate))
		},
		yes: func(l *look, t tally) say.Text {
			return say.T("Into {turn} the bike leans in at {rollrate} deg/s on {laps} laps, against {usualroll} deg/s in the other turns.", l.name(), num(l.average(l.rollRate), 0), t.laps(), num(l.usualRoll(), 0))
		},
		no: say.T("It leans in there as quickly as elsewhere."), mind: say.T("A turn that simply needs no quick lean."),
		propose: func(l *look) []Proposal {
			return []Proposal{inspect(say.T("front tyre pressure; then a millimetre more rear ride height"), say.T("geometry is a change for a run of its own"))}
		}},
	{id: "front-washes", says: []Complaint{"front-washes"}, phases: leanedPhases,
		needs: []need{{say.T("nothing that shows a sliding front (no steer angle, no side slip)"), func(*ride.Ride) bool { return false }, say.T("fit a steer sensor, or ask where on the tyre it slides")}},
		test:  func(*look, *ride.Pass) sight { return unknown }, no: say.T("Nothing can be said."), mind: say.T("A steer sensor."),
		propose: func(l *look) []Proposal {
			return []Proposal{inspect(say.T("front tyre pressure and temperature"), say.T("the front is looked at before anything is changed")), changeNothing(say.T("a sliding front is no matter for electronics"))}
		}},
	{id: "chatter-mid", says: []Complaint{"chatters"}, phases: leanedPhases,
		needs: []need{{say.T("no signal fast enough to see chatter"), func(r *ride.Ride) bool { return r.Signals.Shock != nil && !withheld(r, "chatter", "hop") }, say.T("record travel at 200 Hz")}},
		test:  func(l *look, p *ride.Pass) sight { return when(l.shaking(p) > 0.2) },
		measures: func(l *look) []Measure {
			return list(l.m("shake_time", say.T("time of shaking while leaned over"), "s", l.shaking))
		},
		yes: func(l *look, t tally) say.Text {
			return say.T("In {turn} the rear shakes at more than three times the usual of this run while leaned over, on {laps} laps.", l.name(), t.laps())
		},
		no: say.T("No more shaking there than elsewhere."), mind: say.T("A frequency that follows the wheel: then it is balance, not chatter."),
		propose: func(l *look) []Proposal {
			return []Proposal{inspect(say.T("tyre pressure and wheel balance; then two clicks of rebound"), say.T("chatter starts at the tyre"))}
		}},
	{id: "tyre-drops", says: []Complaint{"tyre-drops"}, needs: []need{needSlip},
		test: func(l *look, p *ride.Pass) sight {
			trend, se, n := l.slipTrend()
			if n < 5 {
				return unknown
			}
			return when(trend > 0.003 && trend > 3*se)
		},
		measures: func(l *look) []Measure {
			return list(l.m("slip_peak", say.T("greatest slip"), "pct", func(p *ride.Pass) float64 { return 100 * l.d(p).slipPeak }))
		},
		yes: func(l *look, t tally) say.Text {
			x, _, n := l.slipTrend()
			return say.T("Out of {turn} the rear slips {n} % more with every lap, over {n2} laps.", l.name(), num(100*x, 2), n)
		},
		no: say.T("Slip does not grow over the run."), mind: say.T("A second run on the same tyre."),
		propose: func(l *look) []Proposal {
			return []Proposal{inspect(say.T("tyre pressure and wear"), say.T("the tyre changes, not the settings")), changeNothing(say.T("ride the reference on the next tyre first"))}
		}, weight: 0.5},
	{id: "pit-speed", says: []Complaint{"pit-too-fast"},
		needs: []need{{say.T("no pit lane in this recording, or no limit known"), func(r *ride.Ride) bool { return !withheld(r, "pit", "") }, say.T("give the pit lane's limit")}},
		test: func(l *look, p *ride.Pass) sight {
			for _, e := range l.r.Episodes {
				if e.Kind == ride.PitSpeed {
					return seen
				}
			}
			return nothing
		},
		yes: func(l *look, t tally) say.Text { return say.T("In the pit lane the bike was faster than its limit.") },
		no:  say.T("The limit was held in the pit lane."), mind: say.T("GPS speed against wheel speed in the lane."),
		propose: func(l *look) []Proposal {
			return append(l.scalar("pit-limiter", -1, say.T("the limit is not held"), say.T("a lane speed below the limit"), say.T("nothing")), inspect(say.T("wheel circumference"), say.T("a wrong circumference moves the limiter")))
		}},
}
