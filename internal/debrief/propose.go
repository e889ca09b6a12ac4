package debrief

import (
	"math"
	"sort"
	"strings"

	"cornerwright/internal/circuit"
	"cornerwright/internal/rehearsal"
	"cornerwright/internal/ride"
	"cornerwright/internal/say"
	"cornerwright/internal/setting"
)

// Scores put direct and small before indirect and large: a setting that acts at
// the place scores its size in largest steps, a check and an advice stand
// after, or before where the row lists them first.
const (
	scoreSetting   = 0.0
	scoreTechnique = 2.0
	scoreInspect   = 3.0
	scoreNothing   = 4.0
)

func coach(what, why say.Text) Proposal {
	return Proposal{Kind: Technique, Title: what, Why: why, Expect: say.T("less scatter at that turn"), Watch: say.T("the rider's own spread over the laps"), Score: scoreTechnique}
}

func inspect(what, why say.Text) Proposal {
	return Proposal{Kind: Inspect, Title: what, Why: why, Expect: say.T("a cause found or ruled out"), Watch: say.T("the same turn on the next run"), Score: scoreInspect}
}

func changeNothing(why say.Text) Proposal {
	return Proposal{Kind: Nothing, Title: say.T("change nothing"), Why: why, Expect: say.T("the same bike as a reference"), Watch: say.T("whether the remark comes back"), Score: scoreNothing}
}

// list proposes one largest step of a by-gear setting in one gear.
func (l *look) list(on string, gear int, sign float64, why, expect, watch say.Text, primary string) []Proposal {
	s := l.acting(on)
	if s == nil || s.Kind != setting.List || gear == 0 {
		if s != nil && s.Kind == setting.Scalar {
			return l.scalar(on, sign, why, expect, watch)
		}
		return []Proposal{inspect(say.T("the {setting} setting, which the bike file does not declare by gear", strings.ReplaceAll(on, "-", " ")), why)}
	}
	v := l.sheet.Slots[l.slot][s.ID]
	if len(v) == 0 || gear > len(v[0]) {
		return nil
	}
	step := l.sized(s, v, []setting.Cell{{Row: 0, Column: gear - 1}}, sign*s.LargestStep)
	if len(step.Cells) == 0 {
		return []Proposal{changeNothing(say.T("{id} in gear {gear} is at the end of its range", s.ID, gear))}
	}
	step.Primary = setting.Primary{Turn: l.turn, Measure: primary, Expect: "less", Matters: 0.05}
	return []Proposal{l.proposal(s, step, why, expect, watch)}
}

// scalar proposes one largest step of a single value, or of every cell of a
// grid that acts on the same thing.
func (l *look) scalar(on string, sign float64, why, expect, watch say.Text) []Proposal {
	s := l.acting(on)
	if s == nil {
		return nil
	}
	v := l.sheet.Slots[l.slot][s.ID]
	if len(v) == 0 {
		return nil
	}
	var cells []setting.Cell
	switch s.Kind {
	case setting.List:
		if g := l.driveGear(); g > 0 && g <= len(v[0]) {
			cells = []setting.Cell{{Column: g - 1}}
		}
	case setting.Scalar:
		cells = []setting.Cell{{}}
	case setting.Grid:
		cells = l.gridCells(s, func(i int) bool { return val(l.r.Signals.Grip, i) > 0.05 }, driving)
	}
	step := l.sized(s, v, cells, sign*s.LargestStep)
	if len(step.Cells) == 0 {
		return nil
	}
	step.Primary = setting.Primary{Turn: l.turn, Measure: "exit", Expect: "less", Matters: 0.05}
	return []Proposal{l.proposal(s, step, why, expect, watch)}
}

// sized makes the step by d in the given cells, held to the range.
func (l *look) sized(s *setting.Setting, v setting.Values, cells []setting.Cell, d float64) setting.Step {
	step := setting.Step{Bike: l.b.Name, From: l.sheet.Number, Slot: l.slot, Setting: s.ID, State: "proposed"}
	for _, c := range cells {
		if c.Row >= len(v) || c.Column >= len(v[c.Row]) {
			continue
		}
		old := v[c.Row][c.Column]
		n := math.Round((old+d)*1e6) / 1e6
		if s.Range[0] != s.Range[1] {
			n = math.Min(math.Max(n, s.Range[0]), s.Range[1])
			// A value that stands outside its range moves into it only as far as a step goes.
			if math.Abs(n-old) > s.LargestStep*(1+1e-9) {
				continue
			}
		}
		if n == old || (n-old)*d < 0 {
			continue
		}
		step.Cells = append(step.Cells, setting.Cell{Row: c.Row, Column: c.Column, Old: old, New: n})
	}
	return step
}

func (l *look) proposal(s *setting.Setting, step setting.Step, why, expect, watch say.Text) Proposal {
	step.Reason = why.String()
	size := 0.0
	for _, c := range step.Cells {
		size = math.Max(size, math.Abs(c.New-c.Old)/math.Max(s.LargestStep, 1e-9))
	}
	d := step.Cells[0].New - step.Cells[0].Old
	sign := "+"
	if d < 0 {
		sign = "-"
	}
	title := say.T("{id}, slot {slot}: {sign}{number} {unit}", s.ID, step.Slot, sign, setting.Number(math.Abs(d)), s.Unit)
	if n := s.CellsName(step.Cells); n != "" {
		title = say.T("{change} at {cells}", title, n)
	}
	p := Proposal{Kind: ChangeSetting, Step: step, Title: title, Why: why, Expect: expect, Watch: watch, Score: scoreSetting + size + 0.05*float64(len(step.Cells))}
	for _, c := range rehearsal.Cautions {
		p.Cautions = append(p.Cautions, say.Key(c))
	}
	if s.LoosensAny(step.Cells) {
		p.Cautions = append(p.Cautions, say.T("This gives margin away at that place: the first laps well below the limit."))
	}
	return p
}

// gridCells returns the cells of a grid that carry most of the time in which
// the test holds, at most four, those with at least a fifth of the greatest
// weight; none if it never holds.
func (l *look) gridCells(s *setting.Setting, test func(i int) bool, phases []circuit.Phase) []setting.Cell {
	weight := map[[2]int]float64{}
	for _, p := range l.passesOf() {
		l.samples(l.key(p), phases, func(i int, _ circuit.Phase) {
			if !test(i) {
				return
			}
			row := rehearsal.AxisValue(l.r, s.Rows, i, 0, 0)
			column := rehearsal.AxisValue(l.r, s.Columns, i, 0, 0)
			if math.IsNaN(row) || math.IsNaN(column) {
				return
			}
			for _, w := range s.Weights(row, column) {
				weight[[2]int{w.Row, w.Column}] += w.W
			}
		})
	}
	type cell struct {
		at [2]int
		w  float64
	}
	var all []cell
	most := 0.0
	for at, w := range weight {
		all = append(all, cell{at, w})
		most = math.Max(most, w)
	}
	sort.Slice(all, func(i, j int) bool {
		if all[i].w != all[j].w {
			return all[i].w > all[j].w
		}
		return all[i].at[0] < all[j].at[0] || all[i].at[0] == all[j].at[0] && all[i].at[1] < all[j].at[1]
	})
	var out []setting.Cell
	for _, c := range all {
		if len(out) == 4 || c.w < 0.2*most || c.w == 0 {
			break
		}
		out = append(out, setting.Cell{Row: c.at[0], Column: c.at[1]})
	}
	return ordered(out)
}

func ordered(cells []setting.Cell) []setting.Cell {
	sort.Slice(cells, func(i, j int) bool {
		return cells[i].Row < cells[j].Row || cells[i].Row == cells[j].Row && cells[i].Column < cells[j].Column
	})
	return cells
}

// shaped holds a grid step to the shape guards: where a step of full size makes
// a spike or turns the order over lean round, neighbours towards smaller lean
// move with it, and if that does not do, the step is halved.
func (l *look) shaped(s *setting.Setting, v setting.Values, cells []setting.Cell, d float64) setting.Step {
	try := func(cells []setting.Cell, d float64) (setting.Step, bool) {
		st := l.sized(s, v, cells, d)
		return st, len(st.Cells) > 0 && setting.CheckSmooth(s, v, st).Pass && setting.CheckMonotone(s, v, st).Pass
	}
	step, ok := try(cells, d)
	if ok {
		return step
	}
	wider := append([]setting.Cell(nil), cells...)
	for range len(v) {
		st := l.sized(s, v, wider, d)
		if g := setting.CheckMonotone(s, v, st); g.Pass {
			break
		}
		// Add the cell on the side of smaller lean of every changed cell.
		have := map[[2]int]bool{}
		for _, c := range wider {
			have[[2]int{c.Row, c.Column}] = true
		}
		for _, c := range append([]setting.Cell(nil), wider...) {
			row := c.Row - 1
			if d < 0 {
				row = c.Row + 1
			}
			if row >= 0 && row < len(v) && !have[[2]int{row, c.Column}] {
				have[[2]int{row, c.Column}] = true
				after := v[c.Row][c.Column] + d
				if d > 0 && after > v[row][c.Column] || d < 0 && after < v[row][c.Column] {
					wider = append(wider, setting.Cell{Row: row, Column: c.Column})
				}
			}
		}
	}
	if st, ok := try(ordered(wider), d); ok {
		return st
	}
	if st, ok := try(cells, d/2); ok {
		return st
	}
	return step
}

// raiseTarget proposes more slip in the cells in use while the control cut, of
// a class of lean.
func raiseTarget(class string) func(*look) []Proposal {
	return func(l *look) []Proposal {
		s := l.acting("slip-target")
		if s == nil {
			return []Proposal{inspect(say.T("the slip control's settings, which the bike file does not declare"), say.T("the control takes torque away there"))}
		}
		v := l.sheet.Slots[l.slot][s.ID]
		if v == nil {
			return nil
		}
		cells := []setting.Cell{{}}
		if s.Kind == setting.Grid {
			top := l.average(func(p *ride.Pass) float64 { return p.MaxLean })
			in := func(lean float64) bool {
				switch class {
				case "full":
					return lean >= top-5*degree
				case "picking-up":
					return lean < top-2*degree && lean >= 22*degree
				}
				return lean < 28*degree
			}
			cells = l.gridCells(s, func(i int) bool {
				return val(l.r.Signals.Cut, i) > cutFloor && in(math.Abs(val(l.r.Signals.Lean, i)))
			}, driving)
		}
		step := l.shaped(s, v, cells, s.LargestStep)
		if len(step.Cells) == 0 {
			return []Proposal{changeNothing(say.T("the target is at the end of its range there"))}
		}
		step.Primary = setting.Primary{Turn: l.turn, Measure: "exit", Expect: "less", Matters: 0.05}
		out := []Proposal{l.proposal(s, step, say.T("the control takes torque away in these cells"), say.T("shorter cuts there, a little more drive"), say.T("greatest slip, sudden rolls, and the other turns that use these cells"))}
		if !l.r.Tyres.Rear.Identified {
			out = append(out, inspect(say.T("tyre circumference and crown before the target"), say.T("the radii are not identified: slip itself may be wrong")))
			out[1].Score = 0.5
		}
		return out
	}
}

// lowerTarget proposes less slip in the cells in use while the rear spun.
func lowerTarget(l *look) []Proposal {
	s := l.acting("slip-target")
	if s == nil {
		return []Proposal{coach(say.T("open softer until it is upright"), say.T("the rear spins under the hand"))}
	}
	v := l.sheet.Slots[l.slot][s.ID]
	if v == nil {
		return nil
	}
	cells := []setting.Cell{{}}
	if s.Kind == setting.Grid {
		cells = l.gridCells(s, func(i int) bool {
			return val(l.r.Signals.RearSlip, i) > 0.85*spinAbove(val(l.r.Signals.Lean, i))
		}, driving)
	}
	step := l.shaped(s, v, cells, -s.LargestStep)
	if len(step.Cells) == 0 {
		return []Proposal{coach(say.T("open softer until it is upright"), say.T("the target cannot go lower"))}
	}
	step.Primary = setting.Primary{Turn: l.turn, Measure: "exit", Expect: "less", Matters: 0.05}
	return []Proposal{l.proposal(s, step, say.T("the rear slips more than the tyre bears in these cells"), say.T("less slip there"), say.T("time cut, and whether the rider opens later")),
		inspect(say.T("tyre pressure and temperature"), say.T("a cold or worn tyre spins at any target"))}
}
