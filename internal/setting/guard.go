package setting

import (
	"math"

	"cornerwright/internal/say"
)

// Names of the guards, as they are overruled by.
const (
	GuardRange       = "range"
	GuardLargestStep = "largest-step"
	GuardOneSetting  = "one-setting"
	GuardReference   = "reference-slot"
	GuardDayDrift    = "day-drift"
	GuardSmooth      = "smooth"
	GuardMonotone    = "monotone-lean"
	GuardRearLoad    = "rear-load"
	GuardHighside    = "near-highside"
	GuardSurface     = "surface"
	GuardTyre        = "warm-tyre"
	GuardWeather     = "weather-noted"
	GuardRadii       = "tyre-radii"
	GuardUnvisited   = "unvisited"
	GuardSamePlace   = "same-place"
	GuardUnverified  = "unverified"
)

// risk tells, by what a setting acts on, which direction of change gives margin
// away: +1 where more is looser, -1 where less is looser. Settings that are not
// here are neither.
var risk = map[string]float64{
	"slip-target":     +1, // more rear slip before torque is cut
	"wheelie-limit":   +1, // more wheel lift before torque is cut
	"torque-limit":    +1, // more torque let through
	"throttle-map":    +1, // more plate for the same hand
	"engine-brake":    +1, // more drag for a rear wheel that carries little
	"slip-control":    -1, // less control
	"wheelie-control": -1,
	"brake-slip":      -1, // less front wheel control on the brakes
	"rear-lift":       -1,
	"launch-torque":   +1,
}

// synonyms are other names under which crews declare the same thing.
var synonyms = map[string]string{
	"wheel-lift": "wheelie-limit", "wheelie": "wheelie-limit", "front-lift": "wheelie-limit",
	"slip": "slip-target", "rear-slip": "slip-target", "traction": "slip-target",
	"engine-braking": "engine-brake", "engine-drag": "engine-brake",
	"downshift-blip": "blip", "auto-blip": "blip",
	"torque": "torque-limit", "torque-cap": "torque-limit", "torque-by-gear": "torque-limit",
	"throttle": "throttle-map", "rear-lift-limit": "rear-lift", "pit-limit": "pit-limiter", "pit-speed": "pit-limiter",
	"shift-cut": "upshift-cut", "quickshift-cut": "upshift-cut",
}

// ActsOn is what the setting acts on, in one word of a small vocabulary
// (slip-target, engine-brake, blip, wheelie-limit, torque-limit, throttle-map,
// ...): its Acts, or its ID, with other spellings of the trade brought together.
func (s *Setting) ActsOn() string {
	word := s.Acts
	if word == "" {
		word = s.ID
	}
	if to, ok := synonyms[word]; ok {
		return to
	}
	return word
}

// Loosens tells whether a change of a value by delta gives margin away.
func (s *Setting) Loosens(delta float64) bool { return risk[s.ActsOn()]*delta > 0 }

// LoosensAny tells whether the step gives margin away in any cell.
func (s *Setting) LoosensAny(cells []Cell) bool {
	for _, c := range cells {
		if s.Loosens(c.New - c.Old) {
			return true
		}
	}
	return false
}

func pass(guard string, reason say.Text) GuardResult {
	return GuardResult{Guard: guard, Pass: true, Reason: reason}
}

func trip(guard string, mend, reason say.Text) GuardResult {
	return GuardResult{Guard: guard, Reason: reason, Mend: mend}
}

// CheckRange trips where a new value leaves the declared range.
func CheckRange(s *Setting, step Step) GuardResult {
	if !s.hasRange() {
		return pass(GuardRange, say.T("{setting} declares no range", s.ID))
	}
	for _, c := range step.Cells {
		if !(c.New >= s.Range[0] && c.New <= s.Range[1]) {
			return trip(GuardRange, say.T("stay within {range}..{range2} {unit}", Number(s.Range[0]), Number(s.Range[1]), s.Unit), say.T("{at} would be {new} {unit}, outside the range the bike file gives", at(s, c), Number(c.New), s.Unit))
		}
	}
	return pass(GuardRange, say.T("all new values lie in {range}..{range2} {unit}", Number(s.Range[0]), Number(s.Range[1]), s.Unit))
}

// CheckLargestStep trips where a cell moves by more than the declared largest
// step. Without one it does not pass: an unbounded step is no step.
func CheckLargestStep(s *Setting, step Step) GuardResult {
	if s.LargestStep <= 0 {
		return trip(GuardLargestStep, say.T("give largest_step in the bike file"), say.T("{setting} declares no largest step, so no bound can be checked", s.ID))
	}
	worst := 0.0
	for _, c := range step.Cells {
		d := math.Abs(c.New - c.Old)
		worst = math.Max(worst, d)
		if d > s.LargestStep*(1+1e-9) {
			return trip(GuardLargestStep, say.T("change it by at most {largeststep} {unit} at a time", Number(s.LargestStep), s.Unit), say.T("{at} would move by {d} {unit}; the largest step is {largeststep}", at(s, c), Number(d), s.Unit, Number(s.LargestStep)))
		}
	}
	return pass(GuardLargestStep, say.T("the largest move of a cell is {worst} {unit} of {largeststep} allowed", Number(worst), s.Unit, Number(s.LargestStep)))
}

// at names a cell of a setting.
func at(s *Setting, c Cell) say.Text {
	if n := s.CellName(c.Row, c.Column); n != "" {
		return say.T("{setting} at {cell}", s.ID, n)
	}
	return say.Plain(s.ID)
}

// CheckReference trips where the step is for the reference slot. It cannot be
// overruled: a rider must always find the known bike under one position.
func CheckReference(reference string, step Step) GuardResult {
	if reference != "" && step.Slot == reference {
		g := trip(GuardReference, say.T("put the step into the trial slot"), say.T("slot {slot} is the reference and stays as it is", step.Slot))
		g.Hard = true
		return g
	}
	g := pass(GuardReference, say.T("slot {slot} stays untouched", reference))
	g.Hard = true
	return g
}

// CheckSmooth trips where the step makes a grid rougher than it was and rougher
// than a controller should be asked to follow: between neighbouring rows by
// more than 2 largest steps, between neighbouring columns by more than 1.5, and
// for a single cell that stands out of both its neighbours by more than 1.5
// (common practice). A grid that is steep already may stay so; a step may go
// half a largest step beyond its steepest place.
func CheckSmooth(s *Setting, before Values, step Step) GuardResult {
	if s.Kind != Grid || s.LargestStep <= 0 {
		return pass(GuardSmooth, say.T("{setting} is no grid", s.ID))
	}
	after := before.Clone()
	for _, c := range step.Cells {
		if !math.IsNaN(after.at(c.Row, c.Column)) {
			after[c.Row][c.Column] = c.New
		}
	}
	type worst struct{ row, column, bend float64 }
	steepest := func(v Values) (w worst) {
		for i := range v {
			for j := range v[i] {
				w.row = math.Max(w.row, gap(v, i, j, 1, 0))
				w.column = math.Max(w.column, gap(v, i, j, 0, 1))
				w.bend = math.Max(w.bend, math.Max(spike(v, i, j, 1, 0), spike(v, i, j, 0, 1)))
			}
		}
		return w
	}
	old := steepest(before)
	half := 0.5 * s.LargestStep
	limit := worst{math.Max(old.row+half, 2*s.LargestStep), math.Max(old.column+half, 1.5*s.LargestStep), math.Max(old.bend, 1.5*s.LargestStep)}
	const slack = 1e-9
	mend := say.T("widen the block by one cell on each side, or let the neighbours move by half")
	for i := range after {
		for j := range after[i] {
			name := s.CellName(i, j)
			if g := gap(after, i, j, 1, 0); g > limit.row+slack && g > gap(before, i, j, 1, 0)+slack {
				return trip(GuardSmooth, mend, say.T("{setting} would jump by {n} {unit} from {cell} to the next {channel}", s.ID, Number(g), s.Unit, name, s.Rows.Channel))
			}
			if g := gap(after, i, j, 0, 1); g > limit.column+slack && g > gap(before, i, j, 0, 1)+slack {
				return trip(GuardSmooth, mend, say.T("{setting} would jump by {n} {unit} from {cell} to the next {channel}", s.ID, Number(g), s.Unit, name, s.Columns.Channel))
			}
			for _, d := range [2][2]int{{1, 0}, {0, 1}} {
				if g := spike(after, i, j, d[0], d[1]); g > limit.bend+slack && g > spike(before, i, j, d[0], d[1])+slack {
					return trip(GuardSmooth, mend, say.T("{setting} at {cell} would stand out of both its neighbours by {n} {unit}", s.ID, name, Number(g), s.Unit))
				}
			}
		}
	}
	return pass(GuardSmooth, say.T("no jump or spike between neighbouring cells beyond what the table has already or {largeststep} {unit}", Number(1.5*s.LargestStep), s.Unit))
}

func gap(v Values, i, j, di, dj int) float64 {
	d := math.Abs(v.at(i+di, j+dj) - v.at(i, j))
	if math.IsNaN(d) {
		return 0
	}
	return d
}

// spike is how far a cell stands out on the same side of both neighbours.
func spike(v Values, i, j, di, dj int) float64 {
	a := v.at(i, j) - v.at(i-di, j-dj)
	b := v.at(i, j) - v.at(i+di, j+dj)
	if math.IsNaN(a) || math.IsNaN(b) || a*b <= 0 {
		return 0
	}
	return math.Min(math.Abs(a), math.Abs(b))
}

// CheckMonotone trips where a step lets the bike slip more at greater lean than
// at smaller lean. It asks this of slip targets and of limits over lean only.
func CheckMonotone(s *Setting, before Values, step Step) GuardResult {
	if s.Kind != Grid || s.Rows.Channel != "lean" || risk[s.ActsOn()] <= 0 {
		return pass(GuardMonotone, say.T("{setting} has no order over lean to keep", s.ID))
	}
	after := before.Clone()
	for _, c := range step.Cells {
		if !math.IsNaN(after.at(c.Row, c.Column)) {
			after[c.Row][c.Column] = c.New
		}
	}
	for i := 1; i < len(after); i++ {
		for j := range after[i] {
			// Towards greater magnitude of lean, on both sides of a signed axis.
			a, b := i-1, i
			if s.Rows.Points[i] <= 0 {
				a, b = i, i-1
			}
			now := after.at(b, j) - after.at(a, j)
			was := before.at(b, j) - before.at(a, j)
			if now > 1e-9 && now > was+1e-9 {
				return trip(GuardMonotone, say.T("move {j} as well, or move this cell less", s.CellName(a, j)), say.T("{setting} would be {j} {unit} at {j2}, more than the {j3} {unit2} at {j4}: looser at greater lean", s.ID, Number(after.at(b, j)), s.Unit, s.CellName(b, j), Number(after.at(a, j)), s.Unit, s.CellName(a, j)))
			}
		}
	}
	return pass(GuardMonotone, say.T("nothing is looser at greater lean than at smaller"))
}

// CheckDayDrift trips where a cell has moved from the day's first sheet by more
// than three largest steps in all (common practice).
func CheckDayDrift(s *Setting, first Sheet, step Step) GuardResult {
	v, ok := first.Slots[step.Slot][step.Setting]
	if !ok || s.LargestStep <= 0 {
		return pass(GuardDayDrift, say.T("the first sheet of the day has no {setting} in slot {slot}", step.Setting, step.Slot))
	}
	worst := 0.0
	for _, c := range step.Cells {
		start := v.at(c.Row, c.Column)
		d := math.Abs(c.New - start)
		// A step back towards the start is never the one to stop.
		if d > 3*s.LargestStep*(1+1e-9) && d > math.Abs(c.Old-start) {
			return trip(GuardDayDrift, say.T("ride the reference again before going further"), say.T("{at} would be {d} {unit} away from where the day began; three steps ({largeststep}) are enough for one day", at(s, c), Number(d), s.Unit, Number(3*s.LargestStep)))
		}
		worst = math.Max(worst, d)
	}
	return pass(GuardDayDrift, say.T("at most {worst} {unit} away from where the day began", Number(worst), s.Unit))
}

// Overruled returns the results with those put aside that the step overrules by
// name. A hard guard stays; so does one whose overrule names no person or gives
// no reason. Open tells how many failures are left.
func Overruled(results []GuardResult, overrules []Overrule) (out []GuardResult, open int) {
	out = append([]GuardResult(nil), results...)
	for i := range out {
		g := &out[i]
		if g.Pass {
			continue
		}
		for _, o := range overrules {
			if o.Guard == g.Guard && !g.Hard && o.Who != "" && o.Reason != "" {
				g.Pass = true
				g.Reason = say.T("put aside by {who} ({why}); it said: {reason}", o.Who, o.Reason, g.Reason)
				break
			}
		}
		if !g.Pass {
			open++
		}
	}
	return out, open
}
