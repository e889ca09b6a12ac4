package rehearsal

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"cornerwright/internal/circuit"
	"cornerwright/internal/inference"
	"cornerwright/internal/ride"
	"cornerwright/internal/say"
	"cornerwright/internal/setting"
)

func ok(guard string, reason say.Text) setting.GuardResult {
	return setting.GuardResult{Guard: guard, Pass: true, Reason: reason}
}

func no(guard string, mend, reason say.Text) setting.GuardResult {
	return setting.GuardResult{Guard: guard, Reason: reason, Mend: mend}
}

// guarded is a step with everything its guards look at.
type guarded struct {
	GuardContext
	s         *setting.Setting
	before    setting.Values
	loosens   bool
	footprint Footprint
}

// checks is every guard in the order in which they are shown.
var checks = []func(*guarded) setting.GuardResult{
	func(g *guarded) setting.GuardResult {
		return setting.CheckReference(g.Bike.Slots.Reference, g.Step)
	},
	func(g *guarded) setting.GuardResult { return setting.CheckRange(g.s, g.Step) },
	func(g *guarded) setting.GuardResult { return setting.CheckLargestStep(g.s, g.Step) },
	(*guarded).oneSetting,
	(*guarded).unverified,
	func(g *guarded) setting.GuardResult {
		first := g.Sheet
		if g.Reference != nil {
			first = *g.Reference
		}
		return setting.CheckDayDrift(g.s, first, g.Step)
	},
	func(g *guarded) setting.GuardResult { return setting.CheckSmooth(g.s, g.before, g.Step) },
	func(g *guarded) setting.GuardResult { return setting.CheckMonotone(g.s, g.before, g.Step) },
	(*guarded).rearLoad,
	(*guarded).highside,
	(*guarded).surface,
	(*guarded).tyre,
	(*guarded).weather,
	(*guarded).radii,
	(*guarded).unvisited,
	(*guarded).samePlace,
}

func guardResults(ctx GuardContext) []setting.GuardResult {
	s := ctx.Bike.Setting(ctx.Step.Setting)
	if s == nil {
		g := no("setting", say.T("name a setting of the bike file"), say.T("the bike has no setting {setting}", strconv.Quote(ctx.Step.Setting)))
		g.Hard = true
		return []setting.GuardResult{g}
	}
	if _, err := setting.Apply(ctx.Sheet, ctx.Step); err != nil {
		g := no("sheet", say.T("make the step anew from the present sheet"), say.T("{err}", err))
		g.Hard = true
		return []setting.GuardResult{g}
	}
	g := &guarded{GuardContext: ctx, s: s, before: ctx.Sheet.Values(ctx.Step.Slot, ctx.Step.Setting), loosens: s.LoosensAny(ctx.Step.Cells)}
	switch {
	case ctx.Footprint != nil:
		g.footprint = *ctx.Footprint
	case ctx.Ride != nil:
		g.footprint = FootprintOf(ctx.Ride, ctx.Bike, ctx.Step, ctx.Sheet)
	default:
		g.footprint.Cannot = say.T("there is no ride to lay the step on")
	}
	out := make([]setting.GuardResult, 0, len(checks))
	for _, check := range checks {
		out = append(out, check(g))
	}
	return out
}

// open tells whether an earlier step still waits for its answer.
func (e Earlier) open() bool {
	return !e.Verified && e.Step.State != "reverted" && e.Step.State != "kept"
}

func (g *guarded) oneSetting() setting.GuardResult {
	for _, e := range g.Earlier {
		if e.open() && e.Step.Setting != g.Step.Setting {
			return no(setting.GuardOneSetting, say.T("give step {step} its verdict, or revert it, before opening another", e.Step.ID), say.T("step {step} on {setting} is still open: two changes at once cannot be told apart", e.Step.ID, e.Step.Setting))
		}
	}
	return ok(setting.GuardOneSetting, say.T("it is the only setting that changes"))
}

func (g *guarded) unverified() setting.GuardResult {
	for _, e := range g.Earlier {
		if e.Verified || e.Step.State == "reverted" {
			continue
		}
		if strings.TrimSpace(g.Why) != "" {
			return ok(setting.GuardUnverified, say.T("step {step} has no verdict yet; reason given: {why}", e.Step.ID, g.Why))
		}
		return no(setting.GuardUnverified, say.T("ride enough laps for a verdict first, or say why the next step cannot wait"), say.T("step {step} on {setting} has no verdict yet", e.Step.ID, e.Step.Setting))
	}
	return ok(setting.GuardUnverified, say.T("no earlier step waits for its verdict"))
}

// rearLoad lets engine braking grow only where the rear wheel still has load
// to carry it while the bike is entering: deceleration at its three-quarter
// point under 6.5 m/s2, rear slip not below -4 %, no hop, downshifts not
// already short of engine speed (physics of load transfer; thresholds common
// practice).
func (g *guarded) rearLoad() setting.GuardResult {
	const name = setting.GuardRearLoad
	if g.s.ActsOn() != "engine-brake" || !g.loosens {
		return ok(name, say.T("no engine braking is added"))
	}
	r := g.Ride
	if r == nil || r.Signals.Grip == nil || r.Signals.Gear == nil || r.Signals.Accel == nil || g.footprint.Cannot != "" {
		return no(name, say.T("ride with grip, gear and wheel speeds recorded first"), say.T("how much load the rear wheel has left cannot be seen"))
	}
	gears := map[int]bool{}
	for _, c := range g.Step.Cells {
		if c.New > c.Old {
			gears[c.Column+1] = true
		}
	}
	stretches := Stretches(r)
	aim := g.Step.Primary.Turn
	for _, u := range g.footprint.Turns {
		if u.Turn != aim && u.Share < 0.1 {
			continue
		}
		decel := entryDecel(r, stretches, u.Turn, gears)
		if len(decel) >= 10 && (u.Turn == aim || aim == 0) {
			if p := inference.Quantile(decel, 0.75); p >= 6.5 {
				load := RearLoad(g.Bike.Mass.Total, g.Bike.Mass.CentreHeight, g.Bike.Mass.Wheelbase, g.Bike.Mass.CentreToRear, p)
				return no(name, say.T("leave the level; add engine braking only where braking is eased"), say.T("turn {turn} is entered at {decel} m/s2 in that gear (three quarters of the time below it): the rear wheel has about {load} N left, too little for more drag", u.Turn, fmt.Sprintf("%.1f", p), fmt.Sprintf("%.0f", math.Max(load, 0))))
			}
		}
		if slip := entrySlips(r, stretches, u.Turn, gears); len(slip) >= 20 {
			if p := inference.Quantile(slip, 0.05); p < -0.04 {
				return no(name, say.T("leave the level, or take some off"), say.T("the rear wheel already drags at {p} % slip into turn {turn}", fmt.Sprintf("%.1f", 100*p), u.Turn))
			}
		}
		if hops, laps := count(r, ride.Hop, u.Turn); laps > 0 && float64(hops) >= 0.2*float64(laps) {
			return no(name, say.T("cure the hop first"), say.T("the rear hops into turn {turn} on {hops} of {laps} laps", u.Turn, hops, laps))
		}
		if s := surpluses(r, u.Turn, gears); len(s) >= 2 {
			if m := inference.Median(s); m < -400 {
				return no(name, say.T("mend the blip first"), say.T("downshifts into turn {turn} come in {m} rpm short already", u.Turn, fmt.Sprintf("%.0f", -m)))
			}
		}
	}
	return ok(name, say.T("the rear wheel has load to spare where this acts"))
}

// entrySlips lists rear slip (1) of the closed-throttle samples of entry and mid
// phase in the given gears, downshifts and 0.4 s after them left out: those are
// the blip's.
func entrySlips(r *ride.Ride, stretches []Stretch, turn int, gears map[int]bool) []float64 {
	if r.Signals.RearSlip == nil {
		return nil
	}
	var x []float64
	for _, st := range stretches {
		if !st.Timed || st.Turn != turn || st.Phase != circuit.PhaseEntry && st.Phase != circuit.PhaseMid {
			continue
		}
		for i := st.From; i < st.To; i++ {
			if !(at(r.Signals.Grip, i) < 0.02) || i >= len(r.Signals.Gear) || !gears[int(r.Signals.Gear[i])] {
				continue
			}
			if v := r.Signals.RearSlip[i]; !math.IsNaN(v) && !afterBlip(r, st.Lap, r.Position.Time[i]) {
				x = append(x, v)
			}
		}
	}
	return x
}

func afterBlip(r *ride.Ride, lap int, t float64) bool {
	for k := range r.Episodes {
		e := &r.Episodes[k]
		if e.Kind == ride.Blip && e.Lap == lap && t > e.Start-0.05 && t < e.End+0.4 {
			return true
		}
	}
	return false
}

func surpluses(r *ride.Ride, turn int, gears map[int]bool) []float64 {
	var x []float64
	for _, e := range r.Episodes {
		if e.Kind == ride.Blip && e.Turn == turn && e.Shift != nil && gears[e.Shift.ToGear] && !math.IsNaN(e.Shift.Surplus) {
			x = append(x, e.Shift.Surplus)
		}
	}
	return x
}

// count returns on how many timed laps an episode of the kind happened at a
// turn (0: any), and how many timed laps passed there.
func count(r *ride.Ride, kind ride.Kind, turn int) (seen, laps int) {
	had := map[int]bool{}
	for _, e := range r.Episodes {
		if e.Kind == kind && (turn == 0 || e.Turn == turn) {
			had[e.Lap] = true
		}
	}
	done := map[int]bool{}
	for i := range r.Passes {
		p := &r.Passes[i]
		if p.Timed && p.Whole && (turn == 0 || p.Turn == turn) && !done[p.Lap] {
			done[p.Lap] = true
			laps++
			if had[p.Lap] {
				seen++
			}
		}
	}
	return seen, laps
}

func (g *guarded) highside() setting.GuardResult {
	const name = setting.GuardHighside
	if !g.loosens {
		return ok(name, say.T("nothing is loosened"))
	}
	if g.Ride == nil {
		return no(name, say.T("derive the step from a recorded run"), say.T("no run was looked at, so a near-highside cannot be ruled out"))
	}
	for _, e := range g.Ride.Episodes {
		if e.Kind == ride.Highside {
			return no(name, say.T("go back to the reference and find out why first"), say.T("lap {lap}, turn {turn}: the rear slid and caught; nothing is loosened after that", e.Lap, e.Turn))
		}
	}
	if g.Ride.Signals.RearSlip == nil || g.Ride.Signals.Lean == nil {
		return no(name, say.T("record both wheel speeds and lean or gyros"), say.T("without rear slip and lean a near-highside cannot be ruled out"))
	}
	return ok(name, say.T("no near-highside in this run"))
}

func (g *guarded) surface() setting.GuardResult {
	const name = setting.GuardSurface
	switch {
	case !g.loosens:
		return ok(name, say.T("nothing is loosened"))
	case g.Now.Surface == Dry:
		return ok(name, say.T("dry"))
	case g.Now.Surface == "":
		return no(name, say.T("say whether it is dry or wet"), say.T("nothing is loosened on a surface nobody has told about"))
	}
	return no(name, say.T("wait until it is dry"), say.T("the surface is {surface}", g.Now.Surface))
}

func (g *guarded) tyre() setting.GuardResult {
	const name = setting.GuardTyre
	switch {
	case !g.loosens:
		return ok(name, say.T("nothing is loosened"))
	case g.Now.Tyre == Warm:
		return ok(name, say.T("known tyre, warm"))
	case g.Now.Tyre == "":
		return no(name, say.T("say which tyre it is and that it is warm"), say.T("nothing is loosened on a tyre nobody has told about"))
	case g.Now.Tyre == Changed:
		return no(name, say.T("ride the reference on this tyre first"), say.T("another tyre is on than the run was ridden with"))
	}
	return no(name, say.T("warm it, or fit one that is known"), say.T("the tyre is {tyre}", g.Now.Tyre))
}

func (g *guarded) weather() setting.GuardResult {
	if strings.TrimSpace(g.Now.Air) == "" {
		return no(setting.GuardWeather, say.T("note air, track and wind in a few words"), say.T("the weather is not noted, so the next run cannot be compared with this one"))
	}
	return ok(setting.GuardWeather, say.T("noted: {air}", g.Now.Air))
}

func (g *guarded) radii() setting.GuardResult {
	const name = setting.GuardRadii
	if g.s.ActsOn() != "slip-target" || !g.loosens {
		return ok(name, say.T("no slip target is raised"))
	}
	if g.Ride == nil {
		return no(name, say.T("derive the step from a recorded run"), say.T("no run was looked at, so the tyre radii are not identified"))
	}
	for _, t := range []struct {
		name say.Text
		ok   bool
		why  say.Text
	}{{say.T("front"), g.Ride.Tyres.Front.Identified, g.Ride.Tyres.Front.Why}, {say.T("rear"), g.Ride.Tyres.Rear.Identified, g.Ride.Tyres.Rear.Why}} {
		if !t.ok {
			why := t.why
			if why == "" {
				why = say.T("no reason given")
			}
			return no(name, say.T("ride upright coasting and leaned stretches until both tyres are identified"), say.T("the {tyre} tyre's rolling radius is not identified ({why}): slip may be wrong by more than the step", t.name, why))
		}
	}
	return ok(name, say.T("both tyres' rolling radii are identified"))
}

func (g *guarded) unvisited() setting.GuardResult {
	const name = setting.GuardUnvisited
	if !g.loosens {
		return ok(name, say.T("nothing is loosened"))
	}
	if g.footprint.Cannot != "" {
		return no(name, say.T("ride first, with the channels the setting is looked up by"), say.T("which cells were ridden cannot be seen: {cannot}", g.footprint.Cannot))
	}
	var blind []setting.Cell
	for _, c := range g.footprint.Never {
		if g.s.Loosens(c.New - c.Old) {
			blind = append(blind, c)
		}
	}
	if len(blind) > 0 {
		return no(name, say.T("leave out the cells that were never ridden"), say.T("{blind} was never in use on these laps and cannot be loosened blind", g.s.CellsName(blind)))
	}
	return ok(name, say.T("every cell that is loosened was in use"))
}

// samePlace trips where an earlier step that stands in the same slot loosens
// another setting at the same turn and phase.
func (g *guarded) samePlace() setting.GuardResult {
	const name = setting.GuardSamePlace
	if !g.loosens {
		return ok(name, say.T("nothing is loosened"))
	}
	if g.Ride == nil || g.footprint.Cannot != "" {
		if len(g.Earlier) == 0 {
			return ok(name, say.T("no earlier step stands"))
		}
		return no(name, say.T("derive the step from a recorded run"), say.T("where this and the earlier steps act cannot be compared"))
	}
	here := map[place]bool{}
	for _, u := range g.footprint.Uses {
		if u.Share >= 0.1 {
			here[place{u.Turn, u.Phase}] = true
		}
	}
	for _, e := range g.Earlier {
		o := g.Bike.Setting(e.Step.Setting)
		if o == nil || e.Step.State == "reverted" || e.Step.Slot != g.Step.Slot || e.Step.Setting == g.Step.Setting || !o.LoosensAny(e.Step.Cells) {
			continue
		}
		for _, u := range FootprintOf(g.Ride, g.Bike, e.Step, g.Sheet).Uses {
			if u.Share >= 0.1 && here[place{u.Turn, u.Phase}] {
				return no(name, say.T("revert step {step} first, or change another place", e.Step.ID), say.T("step {step} loosened {setting} at turn {turn}, {phase}, where this step acts too", e.Step.ID, e.Step.Setting, u.Turn, u.Phase))
			}
		}
	}
	return ok(name, say.T("no other loosened setting acts at the same place"))
}
