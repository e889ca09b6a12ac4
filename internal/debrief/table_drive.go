package debrief

import (
	"math"

	"cornerwright/internal/circuit"
	"cornerwright/internal/inference"
	"cornerwright/internal/rehearsal"
	"cornerwright/internal/ride"
	"cornerwright/internal/say"
)

// A cut that a rider feels: a quarter of a second, seven hundredths deep in the
// mean (common practice; what is shorter or shallower passes for the tyre's own
// give).
const (
	feltCut   = 0.25
	feltArea  = 0.025
	feltDepth = 0.07
)

func felt(l *look, p *ride.Pass, class int) sight {
	d := l.d(p)
	if !d.known {
		return unknown
	}
	all := d.class[0] + d.class[1] + d.class[2]
	if d.class[class] >= feltCut*0.6 && all >= feltCut && d.area >= feltArea && d.area >= feltDepth*all {
		// A cut with the wheel spinning beyond what the tyre bears holds nobody back.
		if d.overTime > 0.5*all {
			return opposite
		}
		return seen
	}
	return nothing
}

func cutText(what say.Text) func(*look, tally) say.Text {
	return func(l *look, t tally) say.Text {
		cut := l.average(func(p *ride.Pass) float64 { d := l.d(p); return d.class[0] + d.class[1] + d.class[2] })
		peak := l.average(func(p *ride.Pass) float64 { return 100 * l.d(p).peak })
		slip := l.average(func(p *ride.Pass) float64 { return 100 * l.d(p).slipCut })
		if math.IsNaN(slip) {
			return say.T("Out of {turn} the control takes torque away {where} on {laps} laps: {cut} s a lap, up to {peak} %.", l.name(), what, t.laps(), num(cut, 2), num(peak, 0))
		}
		return say.T("Out of {turn} the control takes torque away {where} on {laps} laps: {cut} s a lap, up to {peak} %, with the rear at {slip} % slip.", l.name(), what, t.laps(), num(cut, 2), num(peak, 0), num(slip, 1))
	}
}

func cutCost(l *look) float64 {
	// Released torque up to the next brake point, half of it usable.
	return 0.5 * l.average(func(p *ride.Pass) float64 {
		c := l.episodeSum(ride.Cut, p, driving, func(e *ride.Episode) float64 {
			if e.Cost.OK {
				return e.Cost.Value
			}
			return 0
		})
		return c
	})
}

func showCut(l *look, p *ride.Pass) (float64, float64) {
	var best *ride.Episode
	for _, e := range l.has(ride.Cut, l.key(p), driving) {
		if best == nil || (e.End-e.Start)*e.Mean > (best.End-best.Start)*best.Mean {
			best = e
		}
	}
	if best == nil {
		return p.Pickup, p.End
	}
	return best.Start, best.End
}

var driveRows = []row{
	{id: "control-full-lean", says: []Complaint{"held-back", "late-drive", "lazy"}, phases: comingUp, lean: "full", needs: []need{needCut},
		test: func(l *look, p *ride.Pass) sight { return felt(l, p, 0) }, measures: func(l *look) []Measure { return l.cutMeasures(0) },
		yes: cutText(say.T("at full lean")), no: say.T("The control hardly acts there at full lean."),
		mind: say.T("A lap without the control at the same lean, or slip above target during the cut."), propose: raiseTarget("full"), cost: cutCost, show: showCut, unasked: 0},
	{id: "control-picking-up", says: []Complaint{"held-back", "late-drive", "lazy"}, phases: comingUp, lean: "picking-up", needs: []need{needCut},
		test: func(l *look, p *ride.Pass) sight { return felt(l, p, 1) }, measures: func(l *look) []Measure { return l.cutMeasures(1) },
		yes: cutText(say.T("while the bike is picked up")), no: say.T("The control hardly acts there while the bike is picked up."),
		mind: say.T("A lap on which the same opening was not cut, at the same lean."), propose: raiseTarget("picking-up"), cost: cutCost, show: showCut},
	{id: "control-upright", says: []Complaint{"held-back", "lazy"}, phases: comingUp, lean: "upright", needs: []need{needCut},
		test: func(l *look, p *ride.Pass) sight { return felt(l, p, 2) }, measures: func(l *look) []Measure { return l.cutMeasures(2) },
		yes: cutText(say.T("upright")), no: say.T("The control hardly acts there upright."),
		mind: say.T("A lap on which the front was in the air meanwhile: then the lift control is the owner."), propose: raiseTarget("upright"), cost: cutCost, show: showCut},
	{id: "lift-control", says: []Complaint{"lift-held", "held-back", "late-drive"}, phases: driving, needs: []need{needCut, needAir},
		test: func(l *look, p *ride.Pass) sight { return when(l.d(p).time[liftOwner] >= 0.15) },
		measures: func(l *look) []Measure {
			return list(l.m("lift_cut_time", say.T("time cut with the front in the air"), "s", func(p *ride.Pass) float64 { return l.d(p).time[liftOwner] }),
				l.m("air_time", say.T("front wheel in the air"), "s", func(p *ride.Pass) float64 { return l.d(p).airborne }))
		},
		yes: func(l *look, t tally) say.Text {
			return say.T("Out of {turn} torque is cut with the front wheel in the air on {laps} laps, {liftowner} s a lap: it is the wheel-lift control, not the slip control.", l.name(), t.laps(), num(l.average(func(p *ride.Pass) float64 { return l.d(p).time[liftOwner] }), 2))
		},
		no: say.T("Nothing is cut there with the front in the air."), mind: say.T("A cut with the front on the ground throughout."),
		propose: func(l *look) []Proposal {
			return append(l.scalar("wheelie-limit", +1, say.T("the lift control ends the drive before the front is high"), say.T("longer drive with the front low"), say.T("time in the air and the touch-down")), changeNothing(say.T("a front that comes up less is quicker than one that is let up: try a later opening first")))
		}, weight: 1.1},
	{id: "torque-cap", says: []Complaint{"lazy", "held-back"}, phases: driving, needs: []need{needCut, needSlip},
		test: func(l *look, p *ride.Pass) sight { return when(l.d(p).time[capOwner] >= 0.4) },
		measures: func(l *look) []Measure {
			return list(l.m("cap_time", say.T("time of torque limited far below the slip target"), "s", func(p *ride.Pass) float64 { return l.d(p).time[capOwner] }))
		},
		yes: func(l *look, t tally) say.Text {
			return say.T("Out of {turn} torque is limited on {laps} laps with the rear far below its slip target, {capowner} s a lap: a flat limit, not the slip control.", l.name(), t.laps(), num(l.average(func(p *ride.Pass) float64 { return l.d(p).time[capOwner] }), 2))
		},
		no: say.T("No flat limit of torque shows there."), mind: say.T("The limit moving with slip instead of engine speed."),
		propose: func(l *look) []Proposal {
			return l.list("torque-limit", l.driveGear(), +1, say.T("torque is limited in that gear while the tyre would bear more"), say.T("more drive in that gear"), say.T("slip and front lift in that gear"), "exit")
		}, weight: 0.8},
	{id: "rear-spins", says: []Complaint{"spins"}, phases: comingUp, needs: []need{needSlip, needLean}, safety: true,
		test: func(l *look, p *ride.Pass) sight {
			d := l.d(p)
			return when(d.overTime >= 0.08 && math.Abs(d.overLean) > 25*degree)
		},
		measures: spinMeasures, yes: spinText(say.T("leaned over")), no: say.T("The rear stays within what the tyre bears."),
		mind: say.T("Tyre radii identified anew: a wrong circumference looks like slip."), propose: lowerTarget, unasked: 0.5,
		cost: func(l *look) float64 { return 0.05 }, show: showSpin},
	{id: "rear-spins-upright", says: []Complaint{"spins"}, phases: driving, needs: []need{needSlip},
		test: func(l *look, p *ride.Pass) sight {
			d := l.d(p)
			return when(d.overTime >= 0.10 && math.Abs(d.overLean) <= 25*degree)
		},
		measures: spinMeasures, yes: spinText(say.T("upright")), no: say.T("The rear stays within what the tyre bears upright."),
		mind: say.T("Tyre radii identified anew: a wrong circumference looks like slip."), propose: lowerTarget, show: showSpin},
	{id: "wheel-lift", says: []Complaint{"wheelies"}, phases: driving, needs: []need{needAir},
		test: func(l *look, p *ride.Pass) sight { return when(l.air(p) >= 0.3) },
		measures: func(l *look) []Measure {
			return list(l.m("air_time", say.T("front wheel in the air"), "s", l.air),
				l.m("exit_speed", say.T("speed at the exit"), "kmh", func(p *ride.Pass) float64 { return 3.6 * p.ExitSpeed }))
		},
		yes: func(l *look, t tally) say.Text {
			return say.T("Out of {turn} the front wheel leaves the ground on {laps} laps, {air} s a lap.", l.name(), t.laps(), num(l.average(l.air), 2))
		},
		no: say.T("The front wheel stays down there."), mind: say.T("A crest in the road there: then the place lifts it, not the drive."),
		propose: func(l *look) []Proposal {
			return append(l.scalar("wheelie-limit", -1, say.T("the front comes up and drive is given away holding it"), say.T("less time in the air"), say.T("drive lost to earlier cuts")), coach(say.T("open in two strokes, body forward"), say.T("the front lifts with the opening")))
		}, unasked: 0.6, cost: func(l *look) float64 { return 0.1 * l.average(l.air) },
		show: showEpisode(ride.Wheelie, driving)},
	{id: "surging", says: []Complaint{"surges"}, phases: driving, needs: []need{needCut},
		test: func(l *look, p *ride.Pass) sight { return when(l.d(p).surge >= 5 && l.d(p).peak > 0.1) },
		measures: func(l *look) []Measure {
			return list(l.m("swings", say.T("swings of the cut"), "", func(p *ride.Pass) float64 { return float64(l.d(p).surge) }),
				l.m("cut_peak", say.T("deepest cut"), "pct", func(p *ride.Pass) float64 { return 100 * l.d(p).peak }))
		},
		yes: func(l *look, t tally) say.Text {
			return say.T("Out of {turn} the cut goes to and fro {surge} times a lap on {laps} laps.", l.name(), num(l.average(func(p *ride.Pass) float64 { return float64(l.d(p).surge) }), 0), t.laps())
		},
		no: say.T("The cut, where there is one, comes once and goes once."), mind: say.T("A swing that follows the turning of a wheel: then it is the signal, not the drive."),
		propose: func(l *look) []Proposal {
			return append(l.scalar("control-gain", -1, say.T("the control swings around its target"), say.T("a steadier drive"), say.T("greatest slip")), inspect(say.T("the rear wheel-speed sensor and its ring, chain slack"), say.T("a rough signal makes a rough control")))
		}, show: showCut},
	{id: "hesitation", says: []Complaint{"late-drive"}, phases: driving, needs: []need{needGrip, needThrottle},
		test: func(l *look, p *ride.Pass) sight {
			x := l.plateDelay(p)
			return known(x, x > 0.18)
		},
		measures: func(l *look) []Measure {
			return list(l.m("throttle_delay", say.T("plate behind the hand at the first opening"), "s", l.plateDelay))
		},
		yes: func(l *look, t tally) say.Text {
			return say.T("Out of {turn} the plate follows the hand {platedelay} s late on {laps} laps, with nothing cutting.", l.name(), num(l.average(l.plateDelay), 2), t.laps())
		},
		no: say.T("The plate follows the hand at once."), mind: say.T("A cut at the same moment: then the control is the cause."),
		propose: func(l *look) []Proposal {
			return append(l.scalar("throttle-map", +1, say.T("the first touch asks for little plate"), say.T("drive at the first touch"), say.T("how rough the first touch is")), inspect(say.T("throttle adaptation and battery voltage"), say.T("a plate that is slow everywhere is no setting")))
		}},
	{id: "late-pick-up", says: []Complaint{"late-pick-up", "lazy", "held-back"}, phases: comingUp, needs: []need{needGrip},
		test: func(l *look, p *ride.Pass) sight {
			x := l.late(p)
			return known(x, x > 0.4 || l.stoodUp(p) > 9.5)
		},
		measures: func(l *look) []Measure {
			return list(l.m("wait", say.T("middle of the bend to throttle"), "s", l.late), l.m("stood_up", say.T("lean lost before the throttle"), "deg", l.stoodUp), l.m("pickup_place", say.T("place of the pick-up"), "m", func(p *ride.Pass) float64 { return p.PickupM }),
				l.m("reopenings", say.T("closed again after opening"), "", func(p *ride.Pass) float64 { return float64(p.Reopenings) }))
		},
		yes: func(l *look, t tally) say.Text {
			return say.T("In {turn} the throttle is opened {late} s after the middle of the bend on {laps} laps, with nothing holding the bike back.", l.name(), num(l.average(l.late), 2), t.laps())
		},
		no: say.T("The throttle is opened about the middle of the bend, where the bike is slowest."), mind: say.T("A slide or a cut at the pick-up: then the rider waits for a reason."),
		propose: func(l *look) []Proposal {
			return []Proposal{coach(say.T("open earlier and softer, one turn at a time"), say.T("the bike rolls at its slowest without drive")), changeNothing(say.T("no setting opens a throttle"))}
		}, weight: 0.6, unasked: 0.6, cost: func(l *look) float64 { return math.Max(0, 0.3*(l.average(l.late)-0.15)) },
		show: func(l *look, p *ride.Pass) (float64, float64) { return p.Apex, p.Pickup }},
	{id: "closes-again", says: []Complaint{"late-pick-up"}, phases: comingUp, needs: []need{needGrip},
		test: func(l *look, p *ride.Pass) sight { return when(p.Reopenings >= 2) },
		measures: func(l *look) []Measure {
			return list(l.m("reopenings", say.T("closed again after opening"), "", func(p *ride.Pass) float64 { return float64(p.Reopenings) }))
		},
		yes: func(l *look, t tally) say.Text {
			return say.T("Out of {turn} the throttle is closed again and reopened at least twice on {laps} laps.", l.name(), t.laps())
		},
		no: say.T("One opening carries."), mind: say.T("A cut or slide at the same moment."),
		propose: func(l *look) []Proposal {
			return []Proposal{coach(say.T("wait a moment, then open once"), say.T("opening early and closing again costs more than it brings"))}
		}, unasked: 0.6, cost: func(l *look) float64 { return 0.08 }},
	{id: "snatch", says: []Complaint{"snatchy-throttle"}, phases: []circuit.Phase{circuit.PhaseMid, circuit.PhasePickup}, needs: []need{needGrip},
		test: func(l *look, p *ride.Pass) sight {
			x := l.jerk(p)
			return known(x, x > 25)
		},
		measures: func(l *look) []Measure { return list(l.m("jerk", say.T("jerk at the first touch"), "mps3", l.jerk)) },
		yes: func(l *look, t tally) say.Text {
			return say.T("In {turn} the first touch of throttle jerks by {jerk} m/s3 on {laps} laps.", l.name(), num(l.average(l.jerk), 0), t.laps())
		},
		no: say.T("The first touch is soft."), mind: say.T("A rider's hand that opens faster there than elsewhere."),
		propose: func(l *look) []Proposal {
			return append(l.scalar("throttle-map", -1, say.T("the first touch gives much at once"), say.T("a softer first touch"), say.T("how long it takes to full drive")), inspect(say.T("chain slack and play in the throttle"), say.T("play is felt as a snatch")))
		}},
	{id: "straight-drag", says: []Complaint{"lazy"}, phases: onDrive, needs: []need{needGrip, needGear},
		test: func(l *look, p *ride.Pass) sight {
			x := l.pull(p)
			return known(x, x < -0.28)
		},
		measures: func(l *look) []Measure {
			return list(l.m("pull", say.T("pull against the other straights at the same speed and gear"), "mps2", l.pull))
		},
		yes: func(l *look, t tally) say.Text {
			return say.T("On the straight after {turn} the bike gains {pull} m/s2 less than on the other straights at the same speed and gear, on {laps} laps, with nothing cut.", l.name(), num(-l.average(l.pull), 2), t.laps())
		},
		no: say.T("It pulls there as on the other straights."), mind: say.T("A slope or a head wind there: ride it the other way round in thought, and look at the wind."),
		propose: func(l *look) []Proposal {
			return []Proposal{inspect(say.T("brakes that rub, wheel bearings, chain; then wind and slope"), say.T("something drags on that straight, no setting does"))}
		}, unasked: 0.7, cost: func(l *look) float64 { return -0.3 * l.average(l.pull) }, weight: 1.6},
	{id: "gear-too-long", says: []Complaint{"gear-too-long", "lazy"}, phases: driving, needs: []need{needRPM},
		test: func(l *look, p *ride.Pass) sight {
			x := l.pickupRPM(p)
			limit := l.b.Drive.LimiterRPM
			if limit == 0 {
				return unknown
			}
			if p.MinGear == 1 {
				return nothing // there is no gear below
			}
			return known(x, x < 0.37*limit)
		},
		measures: func(l *look) []Measure {
			return list(l.m("pickup_rpm", say.T("engine speed at the pick-up"), "rpm", l.pickupRPM))
		},
		yes: func(l *look, t tally) say.Text {
			return say.T("Out of {turn} the engine turns {pickuprpm} 1/min at the pick-up on {laps} laps, low in its range.", l.name(), num(l.average(l.pickupRPM), 0), t.laps())
		},
		no: say.T("The engine is well in its range at the pick-up."), mind: say.T("A lower gear ridden there."),
		propose: func(l *look) []Proposal {
			return []Proposal{coach(say.T("try the gear below for one run"), say.T("a gear costs nothing to try")), inspect(say.T("one tooth more at the rear sprocket, if several turns ask for it"), say.T("gearing moves every turn"))}
		}, weight: 0.5},
	{id: "limiter", says: []Complaint{"limiter-early"}, phases: onDrive, needs: []need{needRPM},
		test: func(l *look, p *ride.Pass) sight { return when(l.limiter(p) >= 0.2) },
		measures: func(l *look) []Measure {
			return list(l.m("limiter_time", say.T("time on the limiter"), "s", l.limiter))
		},
		yes: func(l *look, t tally) say.Text {
			return say.T("On the straight after {turn} the engine is on its limiter on {laps} laps, {limiter} s a lap.", l.name(), t.laps(), num(l.average(l.limiter), 2))
		},
		no: say.T("The engine does not reach its limiter there."), mind: say.T("A tow: then another lap does not show it."),
		propose: limiterProposals, unasked: 0.6, cost: func(l *look) float64 { return 0.25 * l.average(l.limiter) },
		show: showEpisode(ride.Limiter, nil)},
	{id: "limiter-before-brakes", says: []Complaint{"limiter-early"}, phases: goingIn, needs: []need{needRPM},
		test: func(l *look, p *ride.Pass) sight { return when(l.limiterBefore(p) >= 0.2) },
		measures: func(l *look) []Measure {
			return list(l.m("limiter_time", say.T("time on the limiter before the brakes"), "s", l.limiterBefore))
		},
		yes: func(l *look, t tally) say.Text {
			return say.T("Before {turn} the engine is on its limiter on {laps} laps, {limiterbefore} s a lap.", l.name(), t.laps(), num(l.average(l.limiterBefore), 2))
		},
		no: say.T("The engine does not reach its limiter before the brakes."), mind: say.T("A tow: then another lap does not show it."),
		propose: limiterProposals},
	{id: "head-shake", says: []Complaint{"head-shake"}, phases: driving, safety: true,
		needs: []need{{say.T("no steer angle or yaw rate"), func(r *ride.Ride) bool { return !withheld(r, "wobble", "head shake") }, say.T("fit a steer sensor or a yaw gyro")}},
		test:  func(l *look, p *ride.Pass) sight { return when(len(l.has(ride.Wobble, l.key(p), nil)) > 0) },
		measures: func(l *look) []Measure {
			return list(l.m("shake_time", say.T("time of shaking"), "s", func(p *ride.Pass) float64 { return l.episodeSum(ride.Wobble, p, nil, length) }))
		},
		yes: func(l *look, t tally) say.Text {
			return say.T("The bars shake out of {turn} on {laps} laps.", l.name(), t.laps())
		},
		no: say.T("No shaking of the bars is recorded."), mind: say.T("A kerb or a bump at the place."),
		propose: func(l *look) []Proposal {
			return append([]Proposal{inspect(say.T("steering head bearings, front tyre, damper; then one click more damper"), say.T("a shaking front is looked at before anything is changed"))}, l.scalar("wheelie-limit", -1, say.T("the front comes down into the shake"), say.T("a front that carries load"), say.T("drive lost"))...)
		}, unasked: 0.2, show: showEpisode(ride.Wobble, nil)},
	{id: "weave", says: []Complaint{"weave"}, phases: onDrive, safety: true,
		needs: []need{{say.T("no yaw rate"), func(r *ride.Ride) bool { return !withheld(r, "weave", "") }, say.T("record gyros")}},
		test:  func(l *look, p *ride.Pass) sight { return when(len(l.has(ride.Weave, l.key(p), nil)) > 0) },
		measures: func(l *look) []Measure {
			return list(l.m("weave_time", say.T("time of weaving"), "s", func(p *ride.Pass) float64 { return l.episodeSum(ride.Weave, p, nil, length) }))
		},
		yes: func(l *look, t tally) say.Text {
			return say.T("The bike weaves on the straight after {turn} on {laps} laps.", l.name(), t.laps())
		},
		no: say.T("No weave is recorded there."), mind: say.T("Wind, or a rider pulling at the bars."),
		propose: func(l *look) []Proposal {
			return []Proposal{inspect(say.T("rear tyre wear and pressure, wheel and swing-arm bearings, load on the tail"), say.T("no electronics cure a weave"))}
		}, unasked: 0.2, show: showEpisode(ride.Weave, nil)},
	{id: "runs-wide", says: []Complaint{"runs-wide"}, phases: comingUp, needs: []need{needPlace},
		test: func(l *look, p *ride.Pass) sight {
			x, lim := l.wide(p)
			return known(x, x > lim)
		},
		measures: func(l *look) []Measure {
			return list(l.m("wide", say.T("outside of the rider's own median line at the exit"), "m", func(p *ride.Pass) float64 { x, _ := l.wide(p); return x }))
		},
		yes: func(l *look, t tally) say.Text {
			return say.T("Out of {turn} the line scatters to the outside by more than a metre and a half on {laps} laps.", l.name(), t.laps())
		},
		no: say.T("The line repeats itself there; GPS cannot show whether all laps are wide."), mind: say.T("A place across the track good to half a metre."),
		propose: func(l *look) []Proposal {
			return []Proposal{coach(say.T("a later apex for one run"), say.T("the line is settled before the throttle")), inspect(say.T("rear travel on the drive: squat sends the front wide"), say.T("suspension is a change for a run of its own"))}
		}, weight: 0.9},
	{id: "rear-pumps", says: []Complaint{"pumps"}, phases: driving, needs: []need{needShock},
		test: func(l *look, p *ride.Pass) sight {
			x := l.pumping(p)
			return known(x, x > 0.004)
		},
		measures: func(l *look) []Measure {
			return list(l.m("pumping", say.T("rear travel to and fro on the drive"), "mm", func(p *ride.Pass) float64 { return 1000 * l.pumping(p) }))
		},
		yes: func(l *look, t tally) say.Text {
			return say.T("Out of {turn} the rear travel goes to and fro by {pumping} mm on {laps} laps.", l.name(), num(1000*l.average(l.pumping), 1), t.laps())
		},
		no: say.T("The rear settles there."), mind: say.T("A cut in the same rhythm: then the control is the cause."),
		propose: func(l *look) []Proposal {
			return []Proposal{inspect(say.T("rear rebound, one click more, if the control is quiet there"), say.T("suspension is a change for a run of its own"))}
		}},
	{id: "harsh-upshift", says: []Complaint{"harsh-shift"}, phases: driving, needs: []need{needGear},
		test: func(l *look, p *ride.Pass) sight {
			return when(l.shiftGap(p) > math.Max(0.25, 1.5*l.usualGap()))
		},
		measures: func(l *look) []Measure {
			return list(l.m("shift_gap", say.T("longest time without drive in a shift up"), "s", l.shiftGap))
		},
		yes: func(l *look, t tally) say.Text {
			return say.T("After {turn} a shift up leaves {shiftgap} s without drive on {laps} laps.", l.name(), num(l.average(l.shiftGap), 2), t.laps())
		},
		no: say.T("The shifts up are short there."), mind: say.T("Acceleration at 100 Hz across the shift."),
		propose: func(l *look) []Proposal {
			return append(l.scalar("upshift-cut", -1, say.T("the engine is cut longer than the gear needs"), say.T("a shorter gap"), say.T("gears that do not go in")), inspect(say.T("shift lever, rod and sensor"), say.T("a slow lever lengthens every shift")))
		}},
	{id: "missed-upshift", says: []Complaint{"missed-shift"}, needs: []need{needGear},
		test: func(l *look, p *ride.Pass) sight {
			return when(l.missedGap(p) > 0.3)
		},
		measures: func(l *look) []Measure {
			return list(l.m("shift_gap", say.T("longest time without drive in a shift up"), "s", l.shiftGap))
		},
		yes: func(l *look, t tally) say.Text {
			return say.T("At {turn} a gear is not in after 0.3 s on {laps} laps.", l.name(), t.laps())
		},
		no: say.T("Every gear went in within 0.3 s."), mind: say.T("Engine speed against wheel speed across the shift."),
		propose: func(l *look) []Proposal {
			return append([]Proposal{inspect(say.T("shift lever, rod and sensor"), say.T("a gear that stays out is dangerous"))}, l.scalar("upshift-cut", +1, say.T("the cut ends before the gear is in"), say.T("gears that go in"), say.T("drive lost"))...)
		}, safety: true, unasked: 0.3},
}

func limiterProposals(l *look) []Proposal {
	out := []Proposal{coach(say.T("shift up before it"), say.T("the engine stops pulling there"))}
	if l.lastGear() {
		out = []Proposal{inspect(say.T("one tooth less at the rear sprocket (or one more at the front), if no tow did it"), say.T("the last gear ends before the straight does")), changeNothing(say.T("a limiter in a tow is no reason to gear longer"))}
	} else {
		out = append(out, changeNothing(say.T("a gear is left above: gearing is not the cause")))
	}
	return out
}

// lastGear tells whether the limiter is met in the highest gear.
func (l *look) lastGear() bool {
	n, last := 0, 0
	for _, p := range l.passesOf() {
		for _, e := range l.has(ride.Limiter, l.key(p), nil) {
			n++
			if e.Gear == len(l.b.Drive.Gears) {
				last++
			}
		}
	}
	return n > 0 && 2*last > n
}

func (l *look) limiter(p *ride.Pass) float64 {
	return math.Max(l.episodeSum(ride.Limiter, p, nil, length), nanZero(p.LimiterTime))
}

// limiterBefore is time on the limiter on the way to the turn: in its own
// window before the brakes, or on the drive out of the turn before.
func (l *look) limiterBefore(p *ride.Pass) float64 {
	x := l.episodeSum(ride.Limiter, p, []circuit.Phase{circuit.PhaseBrake}, length)
	t := l.turns()
	for i, n := range t {
		if n != p.Turn {
			continue
		}
		before := t[(i+len(t)-1)%len(t)]
		lap := p.Lap
		if i == 0 {
			lap--
		}
		for _, e := range l.episodes[key{lap, before}] {
			if e.Kind == ride.Limiter {
				x += length(e)
			}
		}
		if i == 0 { // a turn's window may run over the gate: counted with either lap
			for _, e := range l.episodes[key{p.Lap, before}] {
				if e.Kind == ride.Limiter && e.End <= p.Apex+0.5 {
					x += length(e)
				}
			}
		}
	}
	return x
}

func nanZero(x float64) float64 {
	if math.IsNaN(x) {
		return 0
	}
	return x
}

func (l *look) air(p *ride.Pass) float64 {
	return math.Max(nanZero(p.AirTime), math.Max(l.d(p).airborne, l.episodeSum(ride.Wheelie, p, nil, length)))
}

func spinMeasures(l *look) []Measure {
	return list(
		l.m("slip_peak", say.T("greatest slip"), "pct", func(p *ride.Pass) float64 { return 100 * l.d(p).slipPeak }),
		l.m("spin_time", say.T("time of slip above what the tyre bears at that lean"), "s", func(p *ride.Pass) float64 { return l.d(p).overTime }),
		l.m("spin_lean", say.T("lean at the greatest excess"), "deg", func(p *ride.Pass) float64 {
			if l.d(p).over == 0 {
				return math.NaN()
			}
			return math.Abs(l.d(p).overLean) / degree
		}),
		l.m("cut_time", say.T("time in which torque was cut"), "s", func(p *ride.Pass) float64 { return l.d(p).time[slipOwner] }),
	)
}

func spinText(where say.Text) func(*look, tally) say.Text {
	return func(l *look, t tally) say.Text {
		return say.T("Out of {turn} the rear slips up to {slippeak} % {where} on {laps} laps, more than a race tyre bears there.", l.name(), num(l.average(func(p *ride.Pass) float64 { return 100 * l.d(p).slipPeak }), 1), where, t.laps())
	}
}

func showSpin(l *look, p *ride.Pass) (float64, float64) {
	best, at := 0.0, math.NaN()
	l.samples(l.key(p), driving, func(i int, _ circuit.Phase) {
		if x := val(l.r.Signals.RearSlip, i) - spinAbove(val(l.r.Signals.Lean, i)); x > best {
			best, at = x, l.r.Position.Time[i]
		}
	})
	return at - 0.5, at + 0.5
}

func showEpisode(kind ride.Kind, phases []circuit.Phase) func(*look, *ride.Pass) (float64, float64) {
	return func(l *look, p *ride.Pass) (float64, float64) {
		var best *ride.Episode
		for _, e := range l.has(kind, l.key(p), phases) {
			if best == nil || length(e) > length(best) {
				best = e
			}
		}
		if best == nil {
			return p.Start, p.End
		}
		return best.Start, best.End
	}
}

// late is how late the pick-up is, s: after the middle of the bend, or after the
// slowest place if that is later still.
func (l *look) late(p *ride.Pass) float64 {
	x, y := l.lateness(p), p.Pickup-p.Apex
	if math.IsNaN(x) || y > x {
		return y
	}
	return x
}

// stoodUp is how far the bike has come up from its greatest lean by the pick-up,
// deg: a bike that is picked up without drive was waiting for nothing.
func (l *look) stoodUp(p *ride.Pass) float64 {
	if math.IsNaN(p.Pickup) {
		return math.NaN()
	}
	return (p.MaxLean - math.Abs(val(l.r.Signals.Lean, rehearsal.Sample(l.r, p.Pickup)))) / degree
}

// plateDelay is how long the plate stays behind the hand at the first opening.
func (l *look) plateDelay(p *ride.Pass) float64 {
	g := &l.r.Signals
	if math.IsNaN(p.Pickup) || g.Throttle == nil {
		return math.NaN()
	}
	hand, plate := -1, -1
	l.samples(l.key(p), driving, func(i int, _ circuit.Phase) {
		if hand < 0 && g.Grip[i] > 0.15 {
			hand = i
		}
		if hand >= 0 && plate < 0 && g.Throttle[i] > 0.10 {
			plate = i
		}
	})
	if hand < 0 || plate < 0 {
		return math.NaN()
	}
	// A cut at that moment is the control's doing.
	for i := hand; i < plate; i++ {
		if val(g.Cut, i) > cutFloor {
			return math.NaN()
		}
	}
	return float64(plate-hand) * l.dt
}

// jerk is the greatest rise of acceleration over a tenth of a second in the
// first half second after the pick-up, m/s3.
func (l *look) jerk(p *ride.Pass) float64 {
	a := l.r.Signals.Accel
	if math.IsNaN(p.Pickup) || a == nil || l.dt <= 0 {
		return math.NaN()
	}
	i0 := int((p.Pickup - l.r.Position.Time[0]) / l.dt)
	k := int(0.1/l.dt + 0.5)
	best := math.NaN()
	for i := max(0, i0); i < i0+int(0.5/l.dt) && i+k < len(a); i++ {
		if x := (a[i+k] - a[i]) / 0.1; !(x <= best) {
			best = x
		}
	}
	return best
}

func (l *look) pickupRPM(p *ride.Pass) float64 {
	if math.IsNaN(p.Pickup) || l.dt <= 0 {
		return math.NaN()
	}
	return val(l.r.Signals.RPM, int((p.Pickup-l.r.Position.Time[0])/l.dt))
}

// wide is how far outside the rider's own median the exit of a pass is, m, and
// the limit: what matters and what GPS can see.
func (l *look) wide(p *ride.Pass) (x, limit float64) {
	t := l.turnOf[l.turn]
	if t == nil {
		return math.NaN(), 0
	}
	out := func(p *ride.Pass) float64 {
		i := int((p.DriveOn - l.r.Position.Time[0]) / l.dt)
		if math.IsNaN(p.DriveOn) || i < 0 || i >= len(l.r.Position.Offset) {
			return math.NaN()
		}
		o := l.r.Position.Offset[i]
		if t.Direction == circuit.Right {
			o = -o
		}
		return o
	}
	var all []float64
	for _, q := range l.passesOf() {
		if v := out(q); !math.IsNaN(v) {
			all = append(all, v)
		}
	}
	if len(all) < 3 {
		return math.NaN(), 0
	}
	return out(p) - inference.Median(all), 1.5
}

// pumping is the standard deviation of rear travel on the drive around its own
// slow course, m.
func (l *look) pumping(p *ride.Pass) float64 {
	x := l.r.Signals.Shock
	k := int(0.25 / math.Max(l.dt, 1e-3))
	n, sum := 0.0, 0.0
	l.samples(l.key(p), driving, func(i int, _ circuit.Phase) {
		if i-k < 0 || i+k >= len(x) {
			return
		}
		d := x[i] - 0.5*(x[i-k]+x[i+k])
		sum += d * d
		n++
	})
	if n < 20 {
		return math.NaN()
	}
	return math.Sqrt(sum / n)
}

// shiftGap is the longest gap of drive in a shift up with the throttle open
// before and after it; missed asks that the engine also ran away meanwhile.
func (l *look) shiftGap(p *ride.Pass) float64 { return l.gap(p, 0) }

// usualGap is the median gap of all shifts up of the run, s.
func (s *scene) usualGap() float64 {
	if s.shiftUsual == nil {
		var x []float64
		for i := range s.r.Episodes {
			if e := &s.r.Episodes[i]; e.Kind == ride.Upshift && e.Shift != nil && e.Shift.Gap > 0 {
				x = append(x, e.Shift.Gap)
			}
		}
		m := 0.0
		if len(x) > 0 {
			m = inference.Median(x)
		}
		s.shiftUsual = &m
	}
	return *s.shiftUsual
}

// runaway is the engine speed beyond the new gear's, 1/min, that only a gear
// that is not in allows.
const runaway = 800

func (l *look) missedGap(p *ride.Pass) float64 { return l.gap(p, runaway) }

func (l *look) gap(p *ride.Pass, step float64) float64 {
	best := 0.0
	g := l.r.Signals.Grip
	for _, e := range l.has(ride.Upshift, l.key(p), nil) {
		i, j := rehearsal.Sample(l.r, e.Start-0.1), rehearsal.Sample(l.r, e.End+0.1)
		if e.Shift == nil || e.Shift.Gap <= best || e.Shift.Step < step || g != nil && !(val(g, i) > 0.5 && val(g, j) > 0.5) {
			continue
		}
		best = e.Shift.Gap
	}
	return best
}

// driveGear is the gear most used with the throttle well open out of the turn.
func (l *look) driveGear() int {
	n := map[int]int{}
	for _, p := range l.passesOf() {
		l.samples(l.key(p), driving, func(i int, _ circuit.Phase) {
			g := l.r.Signals.Gear
			if i < len(g) && g[i] > 0 && val(l.r.Signals.Cut, i) > cutFloor {
				n[int(g[i])]++
			}
		})
	}
	best, most := 0, 0
	for g, k := range n {
		if k > most || k == most && g < best {
			best, most = g, k
		}
	}
	return best
}

// withheld tells whether the ride says it cannot give a thing.
func withheld(r *ride.Ride, a, b string) bool {
	for _, c := range r.Cannot {
		if contains(c.What, a) || b != "" && contains(c.What, b) {
			return true
		}
	}
	return false
}

// lateness is the time from the middle of the bend to the pick-up, s, negative
// before it. Of a bend with several apexes the one next to the pick-up counts.
func (l *look) lateness(p *ride.Pass) float64 {
	t := l.turnOf[l.turn]
	if t == nil || math.IsNaN(p.PickupM) {
		return math.NaN()
	}
	apexes := t.Apexes
	if len(apexes) == 0 {
		apexes = []float64{t.Apex}
	}
	best := math.NaN()
	for _, a := range apexes {
		d := p.PickupM - l.halfWay(a)
		if n := l.r.Circuit.Line.Length; d > n/2 {
			d -= n
		} else if d < -n/2 {
			d += n
		}
		if !(math.Abs(d) >= math.Abs(best)) {
			best = d
		}
	}
	return best / math.Max(p.MinSpeed, 5)
}

// halfWay is the place (m) at which the reference line has done half of the
// change of heading of the tight part around an apex: the stretch on which it
// bends at least a third as much as at most.
func (l *look) halfWay(apex float64) float64 {
	line := &l.r.Circuit.Line
	n := len(line.Kappa)
	if n == 0 || line.Step <= 0 {
		return math.NaN()
	}
	at := func(i int) float64 { return math.Abs(line.Kappa[((i%n)+n)%n]) }
	mid := int(apex / line.Step)
	// The apex place is rough: the tightest within 30 m is meant.
	wide := int(30 / line.Step)
	for i, centre := mid-wide, mid; i <= centre+wide; i++ {
		if at(i) > at(mid) {
			mid = i
		}
	}
	least := at(mid) / 3
	from, to := mid, mid
	for at(from-1) > least && mid-from < n/2 {
		from--
	}
	for at(to+1) > least && to-mid < n/2 {
		to++
	}
	sum := 0.0
	for i := from; i <= to; i++ {
		sum += at(i)
	}
	part := 0.0
	for i := from; i <= to; i++ {
		if part += at(i); part >= 0.5*sum {
			return float64(((i%n)+n)%n) * line.Step
		}
	}
	return math.NaN()
}
