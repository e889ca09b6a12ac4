package debrief

import (
	"math"

	"cornerwright/internal/circuit"
	"cornerwright/internal/ride"
	"cornerwright/internal/say"
)

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
