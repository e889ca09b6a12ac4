package rehearsal

import (
	"fmt"
	"math"
	"sort"

	"cornerwright/internal/bike"
	"cornerwright/internal/circuit"
	"cornerwright/internal/ride"
	"cornerwright/internal/say"
	"cornerwright/internal/setting"
)

// rule says at which samples a setting is at work, by what it acts on. The
// thresholds are common practice.
type rule struct {
	words say.Text
	needs say.Text // the signal without which nothing can be said
	on    func(r *ride.Ride, i int) bool
	have  func(r *ride.Ride) bool
}

func haveGrip(r *ride.Ride) bool { return r.Signals.Grip != nil }
func haveGear(r *ride.Ride) bool { return r.Signals.Grip != nil && r.Signals.Gear != nil }

// onBrakes is more than half a bar at the front (common practice).
func onBrakes(r *ride.Ride, i int) bool { return at(r.Signals.FrontBrake, i) > 0.5e5 }

var rules = map[string]rule{
	"slip-target": {say.T("throttle open, off the brakes, front wheel on the ground"), say.T("grip"),
		func(r *ride.Ride, i int) bool {
			return r.Signals.Grip[i] > 0.05 && !onBrakes(r, i) && !isTrue(r.Signals.Airborne, i)
		}, haveGrip},
	"engine-brake": {say.T("throttle closed, in gear"), say.T("grip and gear"),
		func(r *ride.Ride, i int) bool {
			return r.Signals.Grip[i] < 0.02 && !(at(r.Signals.Clutch, i) > 0.5)
		}, haveGear},
	"wheelie-limit": {say.T("hard drive: more than 4 m/s2, or the front in the air"), say.T("grip"),
		func(r *ride.Ride, i int) bool {
			return r.Signals.Grip[i] > 0.05 && (at(r.Signals.Accel, i) > 4 || isTrue(r.Signals.Airborne, i))
		}, haveGrip},
	"torque-limit": {say.T("throttle more than half open, in gear"), say.T("grip and gear"),
		func(r *ride.Ride, i int) bool { return r.Signals.Grip[i] > 0.5 }, haveGear},
	"throttle-map": {say.T("throttle open"), say.T("grip"),
		func(r *ride.Ride, i int) bool { return r.Signals.Grip[i] > 0.03 }, haveGrip},
	"rear-lift": {say.T("on the front brake, upright"), say.T("front brake pressure"),
		func(r *ride.Ride, i int) bool { return at(r.Signals.FrontBrake, i) > 5e5 },
		func(r *ride.Ride) bool { return r.Signals.FrontBrake != nil }},
	"brake-slip": {say.T("on the front brake"), say.T("front brake pressure"), onBrakes,
		func(r *ride.Ride) bool { return r.Signals.FrontBrake != nil }},
}

var everywhere = rule{say.T("always"), "", func(*ride.Ride, int) bool { return true }, func(*ride.Ride) bool { return true }}

func ruleOf(s *setting.Setting) rule {
	if u, ok := rules[s.ActsOn()]; ok {
		return u
	}
	return everywhere
}

// AxisValue returns what an axis reads at sample i, in the axis's own unit; NaN
// where the channel is not there. Lean is read by magnitude unless the axis has
// points below zero. dLean (rad) and kSpeed (share) shift what is read.
func AxisValue(r *ride.Ride, a setting.Axis, i int, dLean, kSpeed float64) float64 {
	g := &r.Signals
	switch a.Channel {
	case "lean":
		x := at(g.Lean, i)
		if !a.Signed() {
			x = math.Abs(x)
		}
		return a.FromSI(math.Copysign(math.Max(0, math.Abs(x)+dLean), x))
	case "speed":
		return a.FromSI(at(r.Position.Speed, i) * (1 + kSpeed))
	case "rpm":
		return a.FromSI(at(g.RPM, i))
	case "grip":
		return a.FromSI(at(g.Grip, i))
	case "throttle":
		return a.FromSI(at(g.Throttle, i))
	case "slip":
		return a.FromSI(at(g.RearSlip, i))
	case "front_brake":
		return a.FromSI(at(g.FrontBrake, i))
	case "accel":
		return a.FromSI(at(g.Accel, i))
	case "gear":
		if i < len(g.Gear) && g.Gear[i] > 0 {
			return float64(g.Gear[i])
		}
	}
	return math.NaN()
}

// weigher gives the cells in use at a sample.
type weigher struct {
	r *ride.Ride
	s *setting.Setting
}

// cells appends the cells in use at sample i; none where a coordinate is
// unknown.
func (w weigher) cells(dst []setting.Weight, i int, dLean, kSpeed float64) []setting.Weight {
	switch w.s.Kind {
	case setting.Scalar:
		return append(dst, setting.Weight{W: 1})
	case setting.List:
		if i < len(w.r.Signals.Gear) && w.r.Signals.Gear[i] > 0 {
			return append(dst, setting.Weight{Column: int(w.r.Signals.Gear[i]) - 1, W: 1})
		}
		return dst
	}
	row := AxisValue(w.r, w.s.Rows, i, dLean, kSpeed)
	column := AxisValue(w.r, w.s.Columns, i, dLean, kSpeed)
	if math.IsNaN(row) || math.IsNaN(column) {
		return dst
	}
	for _, c := range w.s.Weights(row, column) {
		if c.W > 0 {
			dst = append(dst, c)
		}
	}
	return dst
}

type place struct {
	turn  int
	phase circuit.Phase
}

type tally struct {
	dwell, time, change, max float64
	laps                     map[int]bool
}

func (t *tally) add(lap int, dt, w, d float64) {
	t.dwell += w * dt
	t.time += dt
	t.change += d * dt
	if math.Abs(d) > math.Abs(t.max) {
		t.max = d
	}
	if t.laps == nil {
		t.laps = map[int]bool{}
	}
	t.laps[lap] = true
}

func (t *tally) use(p place, laps, total float64) Use {
	u := Use{Turn: p.turn, Phase: p.phase, Dwell: t.dwell / laps, Max: t.max, Laps: len(t.laps)}
	if total > 0 {
		u.Share = t.dwell / total
	}
	if t.time > 0 {
		u.Mean = t.change / t.time
	}
	return u
}

// FootprintOf finds where on the timed laps, and for how long, the step's cells
// are in use. Samples count where the setting is at work (Footprint.Rule); each
// counts with the bilinear weight of the changed cells. For blips the samples
// are those of the downshifts into the gear. The turn aimed at is the step's
// primary turn, or the one with the most of it.
func FootprintOf(r *ride.Ride, b *bike.Bike, step setting.Step, sheet setting.Sheet) Footprint {
	return footprint(r, b, step, true)
}

// UseOf is FootprintOf for a setting of which no cell is to be changed: how long
// each of its cells is in use (Footprint.Cells), and nothing that rests on a
// change.
func UseOf(r *ride.Ride, b *bike.Bike, id string) Footprint {
	return footprint(r, b, setting.Step{Setting: id}, false)
}

func footprint(r *ride.Ride, b *bike.Bike, step setting.Step, wobble bool) Footprint {
	f := Footprint{Setting: step.Setting}
	s := b.Setting(step.Setting)
	if s == nil {
		f.Cannot = say.T("the bike has no setting {setting}", fmt.Sprintf("%q", step.Setting))
		return f
	}
	f.Unit = s.Unit
	if r == nil || r.Position == nil || len(r.Position.Time) < 2 {
		f.Cannot = say.T("there is no ride to lay the step on")
		return f
	}
	u := ruleOf(s)
	f.Rule = u.words
	if s.ActsOn() == "blip" {
		f.Rule = say.T("during downshifts into the gear")
	}
	if !u.have(r) {
		f.Cannot = say.T("the recording has no {needs}, so the use of {id} cannot be seen", u.needs, s.ID)
		return f
	}
	if s.Kind == setting.Grid {
		for _, a := range []setting.Axis{s.Rows, s.Columns} {
			if a.Channel == "lean" && r.Signals.Lean == nil || a.Channel == "rpm" && r.Signals.RPM == nil {
				f.Cannot = say.T("the recording gives no {channel}, so the cells of {id} in use are unknown", a.Channel, s.ID)
				return f
			}
		}
	}
	f.compute(r, s, step, u, wobble)
	return f
}

// cellTally is the use of one cell. The sums last added to are at hand: samples
// of one lap and turn come one after the other.
type cellTally struct {
	cell          [2]int
	dwell         float64
	byLap, byTurn map[int]*float64
	lap, turn     int
	inLap, inTurn *float64
}

func (t *cellTally) add(lap, turn int, d float64) {
	t.dwell += d
	if t.inLap == nil || t.lap != lap {
		t.lap, t.inLap = lap, sumIn(t.byLap, lap)
	}
	*t.inLap += d
	if t.inTurn == nil || t.turn != turn {
		t.turn, t.inTurn = turn, sumIn(t.byTurn, turn)
	}
	*t.inTurn += d
}

func sumIn(m map[int]*float64, k int) *float64 {
	x := m[k]
	if x == nil {
		x = new(float64)
		m[k] = x
	}
	return x
}

func (f *Footprint) compute(r *ride.Ride, s *setting.Setting, step setting.Step, u rule, wobble bool) {
	delta := map[[2]int]float64{}
	for _, c := range step.Cells {
		delta[[2]int{c.Row, c.Column}] = c.New - c.Old
	}
	laps := map[int]float64{}
	byPlace, byTurn := map[place]*tally{}, map[place]*tally{}
	cells := map[[2]int]*cellTally{}
	var near [4]*cellTally // those last used, one after the other: a sample uses up to four
	next := 0
	var all tally
	w := weigher{r, s}
	dt := tick(r)
	var buf [4]setting.Weight
	visit := func(st Stretch, i int) {
		weight, d := 0.0, 0.0
		for _, c := range w.cells(buf[:0], i, 0, 0) {
			k := [2]int{c.Row, c.Column}
			var t *cellTally
			for _, o := range near {
				if o != nil && o.cell == k {
					t = o
					break
				}
			}
			if t == nil {
				if t = cells[k]; t == nil {
					t = &cellTally{cell: k, byLap: map[int]*float64{}, byTurn: map[int]*float64{}}
					cells[k] = t
				}
				near[next%len(near)] = t
				next++
			}
			t.add(st.Lap, st.Turn, c.W*dt)
			if len(delta) == 0 {
				continue
			}
			if x, ok := delta[k]; ok {
				weight += c.W
				d += c.W * x
			}
		}
		if weight < 1e-3 {
			return
		}
		laps[st.Lap] += weight * dt
		all.add(st.Lap, dt, weight, d)
		for _, m := range []struct {
			m map[place]*tally
			p place
		}{{byPlace, place{st.Turn, st.Phase}}, {byTurn, place{st.Turn, ""}}} {
			t := m.m[m.p]
			if t == nil {
				t = &tally{}
				m.m[m.p] = t
			}
			t.add(st.Lap, dt, weight, d)
		}
	}
	stretches := Stretches(r)
	active := activeSamples(r, s, u)
	for _, st := range stretches {
		if !st.Timed {
			continue
		}
		if _, ok := laps[st.Lap]; !ok {
			laps[st.Lap] = 0
		}
		for i := st.From; i < st.To; i++ {
			if active(i) {
				visit(st, i)
			}
		}
	}
	f.Laps = len(laps)
	if f.Laps == 0 {
		f.Cannot = say.T("no timed lap to lay the step on")
		return
	}
	n := float64(f.Laps)
	f.Dwell = all.dwell / n
	whole := all.use(place{}, n, all.dwell)
	f.Mean, f.Max = whole.Mean, whole.Max
	f.Uses = ranked(byPlace, n, all.dwell)
	f.Turns = ranked(byTurn, n, all.dwell)
	aim := step.Primary.Turn
	if aim == 0 && len(f.Turns) > 0 {
		aim = f.Turns[0].Turn
	}
	for _, t := range f.Turns {
		if t.Turn != aim {
			f.Elsewhere = append(f.Elsewhere, t)
		}
	}
	for lap, d := range laps {
		f.ByLap = append(f.ByLap, LapUse{lap, d})
	}
	sort.Slice(f.ByLap, func(i, j int) bool { return f.ByLap[i].Lap < f.ByLap[j].Lap })
	gears := 0
	for k := range cells {
		gears = max(gears, k[1]+1)
	}
	for k := range delta {
		gears = max(gears, k[1]+1)
	}
	rows, columns := s.Shape(gears)
	for i := range rows {
		for j := range columns {
			c := CellUse{Row: i, Column: j}
			_, c.Changed = delta[[2]int{i, j}]
			if t := cells[[2]int{i, j}]; t != nil {
				c.Dwell = t.dwell / n
				for _, x := range t.byLap {
					if *x >= 0.05 {
						c.Laps++
					}
				}
				best := 0.0
				for turn, x := range t.byTurn {
					if *x > best || *x == best && turn < c.TopTurn {
						best, c.TopTurn = *x, turn
					}
				}
			}
			f.Cells = append(f.Cells, c)
			if c.Changed && !c.Visited() {
				for _, sc := range step.Cells {
					if sc.Row == i && sc.Column == j {
						f.Never = append(f.Never, sc)
					}
				}
			}
		}
	}
	if wobble {
		f.Wobble = sensitivity(r, s, delta, stretches, active, aim)
	}
}

// activeSamples returns the test for 'at work' of a setting.
func activeSamples(r *ride.Ride, s *setting.Setting, u rule) func(i int) bool {
	if s.ActsOn() != "blip" {
		return func(i int) bool { return u.on(r, i) }
	}
	in := make([]bool, len(r.Position.Time))
	for _, e := range r.Episodes {
		if e.Kind == ride.Blip {
			// A quarter of a second on: the clutch comes home and the push follows.
			for i := Sample(r, e.Start); i < Sample(r, e.End+0.25); i++ {
				in[i] = true
			}
		}
	}
	return func(i int) bool { return in[i] }
}

func ranked(m map[place]*tally, laps, total float64) []Use {
	out := make([]Use, 0, len(m))
	for p, t := range m {
		out = append(out, t.use(p, laps, total))
	}
	sort.Slice(out, func(i, j int) bool {
		a, b := out[i], out[j]
		switch {
		case a.Dwell != b.Dwell:
			return a.Dwell > b.Dwell
		case a.Turn != b.Turn:
			return a.Turn < b.Turn
		}
		return a.Phase < b.Phase
	})
	return out
}

// sensitivity repeats the share of the turn aimed at with lean 2 deg and speed
// 1 % off either way: what an uncertain lean or wheel can do to the answer.
func sensitivity(r *ride.Ride, s *setting.Setting, delta map[[2]int]float64, stretches []Stretch, active func(int) bool, aim int) Sensitivity {
	w := weigher{r, s}
	var buf [4]setting.Weight
	const two = 2 * math.Pi / 180
	shift := [5][2]float64{{0, 0}, {-two, 0}, {two, 0}, {0, -0.01}, {0, 0.01}}
	var there, total [5]float64
	for _, st := range stretches {
		if !st.Timed {
			continue
		}
		// Every other sample is enough for a share.
		for i := st.From; i < st.To; i += 2 {
			if !active(i) {
				continue
			}
			for k, d := range shift {
				for _, c := range w.cells(buf[:0], i, d[0], d[1]) {
					if _, ok := delta[[2]int{c.Row, c.Column}]; ok {
						total[k] += c.W
						if st.Turn == aim {
							there[k] += c.W
						}
					}
				}
			}
		}
	}
	var share [5]float64
	for k := range share {
		share[k] = math.NaN()
		if total[k] > 0 {
			share[k] = there[k] / total[k]
		}
	}
	out := Sensitivity{Share: share[0], LeanLess: share[1], LeanMore: share[2], SpeedLess: share[3], SpeedMore: share[4]}
	worst := 0.0
	for _, x := range share[1:] {
		if d := math.Abs(x - share[0]); d > worst {
			worst = d
		}
	}
	if worst > 0.2*share[0] {
		out.Large = true
		out.Text = say.T("if lean is 2 deg or speed 1 % off, turn {aim} has between {x} and {x2} % of it instead of {share} %", aim, fmt.Sprintf("%.0f", 100*minOf(share[1:])), fmt.Sprintf("%.0f", 100*maxOf(share[1:])), fmt.Sprintf("%.0f", 100*share[0]))
	}
	return out
}

func minOf(x []float64) float64 {
	m := math.Inf(1)
	for _, v := range x {
		m = math.Min(m, v)
	}
	return m
}

func maxOf(x []float64) float64 {
	m := math.Inf(-1)
	for _, v := range x {
		m = math.Max(m, v)
	}
	return m
}
