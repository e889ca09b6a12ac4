package debrief

import (
	"math"
	"sort"

	"cornerwright/internal/bike"
	"cornerwright/internal/circuit"
	"cornerwright/internal/inference"
	"cornerwright/internal/rehearsal"
	"cornerwright/internal/ride"
	"cornerwright/internal/setting"
)

// scene is one run laid out so that rows of the table can ask about one turn on
// one lap without searching.
type scene struct {
	r          *ride.Ride
	b          *bike.Bike
	sheet      setting.Sheet
	slot       string // slot that proposals are written for
	dt         float64
	passes     map[int][]*ride.Pass // by turn: timed and whole, by lap
	stretches  map[key][]rehearsal.Stretch
	episodes   map[key][]*ride.Episode
	turnOf     map[int]*circuit.Turn
	drives     map[key]*drive
	gearDrag   map[int]float64 // engine drag over overall ratio against the other gears, 1 = like them
	pulls      map[key]float64 // how much a turn's straight pulls less than the others, m/s2
	laps       int
	mainGears  map[int]int // by turn, see look.mainGear
	shiftUsual *float64
}

type key struct{ lap, turn int }

func newScene(r *ride.Ride, b *bike.Bike, sheet setting.Sheet, slot string) *scene {
	s := &scene{r: r, b: b, sheet: sheet, slot: slot, mainGears: map[int]int{},
		passes: map[int][]*ride.Pass{}, stretches: map[key][]rehearsal.Stretch{}, episodes: map[key][]*ride.Episode{},
		turnOf: map[int]*circuit.Turn{}, drives: map[key]*drive{}}
	if b.Slots.Trial != "" && (slot == "" || slot == b.Slots.Reference) {
		s.slot = b.Slots.Trial
	}
	if r.Circuit != nil {
		for i := range r.Circuit.Turns {
			s.turnOf[r.Circuit.Turns[i].Number] = &r.Circuit.Turns[i]
		}
	}
	laps := map[int]bool{}
	for i := range r.Passes {
		p := &r.Passes[i]
		if p.Timed && p.Whole {
			s.passes[p.Turn] = append(s.passes[p.Turn], p)
			laps[p.Lap] = true
		}
	}
	s.laps = len(laps)
	for _, x := range s.passes {
		sort.Slice(x, func(i, j int) bool { return x[i].Lap < x[j].Lap })
	}
	for i := range r.Episodes {
		e := &r.Episodes[i]
		k := key{e.Lap, e.Turn}
		s.episodes[k] = append(s.episodes[k], e)
	}
	if r.Position != nil && len(r.Position.Time) > 1 {
		x := r.Position.Time
		s.dt = (x[len(x)-1] - x[0]) / float64(len(x)-1)
		for _, st := range rehearsal.Stretches(r) {
			k := key{st.Lap, st.Turn}
			s.stretches[k] = append(s.stretches[k], st)
		}
	}
	s.compareGears()
	return s
}

// turns lists the turn numbers of the circuit in riding order.
func (s *scene) turns() []int {
	var out []int
	if s.r.Circuit != nil {
		for _, t := range s.r.Circuit.Turns {
			out = append(out, t.Number)
		}
	}
	return out
}

// samples calls f for every sample of the phases of one pass.
func (s *scene) samples(k key, phases []circuit.Phase, f func(i int, phase circuit.Phase)) {
	for _, st := range s.stretches[k] {
		if !holds(phases, st.Phase) {
			continue
		}
		for i := st.From; i < st.To; i++ {
			f(i, st.Phase)
		}
	}
}

func holds(phases []circuit.Phase, p circuit.Phase) bool {
	if len(phases) == 0 {
		return true
	}
	for _, x := range phases {
		if x == p {
			return true
		}
	}
	return false
}

// has returns the episodes of a kind on one pass, of the phases (nil: all).
func (s *scene) has(kind ride.Kind, k key, phases []circuit.Phase) []*ride.Episode {
	var out []*ride.Episode
	for _, e := range s.episodes[k] {
		if e.Kind == kind && (e.Phase == "" || holds(phases, e.Phase)) {
			out = append(out, e)
		}
	}
	return out
}

func val(x []float64, i int) float64 {
	if i < 0 || i >= len(x) {
		return math.NaN()
	}
	return x[i]
}

// owner of a cut: what took the torque away.
type owner int

const (
	slipOwner owner = iota
	liftOwner
	capOwner // a flat limit of torque, far below the slip target
	owners
)

// drive is what happened between the pick-up and the end of one pass.
type drive struct {
	time      [owners]float64 // s of cut by owner
	class     [3]float64      // s of cut of the slip control: at full lean, picking up, upright
	area      float64         // s times share, slip control
	peak      float64         // share
	slipPeak  float64         // 1, kept for 0.05 s
	slipCut   float64         // mean slip while cut by the slip control
	overTime  float64         // s of slip above what race tyres bear at that lean
	overLean  float64         // rad, at the greatest excess
	over      float64         // greatest excess, 1
	airborne  float64         // s
	surge     int             // swings of the cut, there and back
	first     int             // first sample of the worst cut
	known     bool
	slipKnown bool
}

// tyreLimit is the rear slip that dry race tyres are commonly worked up to, by
// lean: pairs of degrees and per cent (from memory; common practice).
var tyreLimit = setting.Axis{Points: []float64{0, 20, 30, 40, 48, 56}}
var tyreLimitValue = []float64{15, 13, 11, 9, 7.5, 6.5}

// spinAbove returns the slip (1) that counts as spinning at a lean (rad).
func spinAbove(lean float64) float64 {
	i, f := tyreLimit.Locate(math.Abs(lean) * 180 / math.Pi)
	return (tyreLimitValue[i] + f*(tyreLimitValue[i+1]-tyreLimitValue[i])) / 100
}

const degree = math.Pi / 180

// target returns the slip target (1) that the slot of the lap asks for at a
// sample; NaN where the bike declares none.
func (s *scene) target(i int, slot string) float64 {
	g := s.acting("slip-target")
	if g == nil {
		return math.NaN()
	}
	v := s.sheet.Slots[slot][g.ID]
	if v == nil {
		v = s.sheet.Slots[s.b.Slots.Reference][g.ID]
	}
	if v == nil {
		return math.NaN()
	}
	if g.Kind != setting.Grid {
		return v[0][0] / 100
	}
	return g.Value(v, rehearsal.AxisValue(s.r, g.Rows, i, 0, 0), rehearsal.AxisValue(s.r, g.Columns, i, 0, 0)) / 100
}

// acting returns the bike's setting that acts on a thing, nil if it has none.
func (s *scene) acting(on string) *setting.Setting {
	for i := range s.b.Settings {
		if s.b.Settings[i].ActsOn() == on {
			return &s.b.Settings[i]
		}
	}
	return nil
}

// cutFloor is the share of torque below which a cut is not counted.
const cutFloor = 0.03

// drive sums up the drive out of a turn on one lap, once.
func (s *scene) drive(k key) *drive {
	if d, ok := s.drives[k]; ok {
		return d
	}
	d := &drive{first: -1}
	s.drives[k] = d
	g := &s.r.Signals
	d.known = g.Cut != nil
	d.slipKnown = g.RearSlip != nil
	busy := s.shifting(k)
	up := s.lifted(k)
	cutAt := s.cut(k)
	slot := ""
	for _, st := range s.stretches[k] {
		slot = st.Slot
		break
	}
	maxLean := 0.0
	for _, p := range s.passes[k.turn] {
		if p.Lap == k.lap {
			maxLean = p.MaxLean
		}
	}
	slipCut, nCut := 0.0, 0.0
	run, rise, was := 0, 0.0, 0.0
	s.samples(k, driving, func(i int, _ circuit.Phase) {
		slip, cut, lean := val(g.RearSlip, i), cutAt(i), val(g.Lean, i)
		air := up(i)
		if air {
			d.airborne += s.dt
		}
		if !air && slip > 0 {
			run++
			// A peak must last: the smallest of five neighbouring samples.
			if run >= 5 {
				low := slip
				for q := i - 4; q < i; q++ {
					low = math.Min(low, g.RearSlip[q])
				}
				d.slipPeak = math.Max(d.slipPeak, low)
				if x := low - spinAbove(lean); x > 0 {
					d.overTime += s.dt
					if x > d.over {
						d.over, d.overLean = x, lean
					}
				}
			}
		} else {
			run = 0
		}
		if busy(i) || !(cut > cutFloor) {
			was = 0
			return
		}
		switch {
		case air:
			d.time[liftOwner] += s.dt
		case s.isCap(i, slip, lean, slot):
			d.time[capOwner] += s.dt
		default:
			d.time[slipOwner] += s.dt
			d.area += cut * s.dt
			if cut > d.peak {
				d.peak = cut
				d.first = i
			}
			if !math.IsNaN(slip) {
				slipCut += slip
				nCut++
			}
			switch a := math.Abs(lean); {
			case a >= maxLean-7*degree && a > 30*degree:
				d.class[0] += s.dt
			case a >= 25*degree:
				d.class[1] += s.dt
			default:
				d.class[2] += s.dt
			}
			if d1 := cut - was; d1*rise < 0 && math.Abs(d1) > 0.02 {
				d.surge++
			} else if math.Abs(d1) > 0.02 {
				rise = d1
			}
		}
		was = cut
	})
	d.slipCut = math.NaN()
	if nCut > 0 {
		d.slipCut = slipCut / nCut
	}
	return d
}

// isCap tells a flat limit of torque from the slip control: slip far below its
// target, or no more than a rolling tyre shows.
func (s *scene) isCap(i int, slip, lean float64, slot string) bool {
	if math.IsNaN(slip) {
		return false
	}
	t := s.target(i, slot)
	if math.IsNaN(t) {
		return slip < 0.01
	}
	return slip < t-0.03 && slip < 0.55*t && val(s.r.Signals.Grip, i) > 0.5
}

// cut returns the share of torque cut at a sample. A channel is taken as it is;
// an inferred cut counts only inside the episodes that the ride stands by.
func (s *scene) cut(k key) func(int) float64 {
	cut := s.r.Signals.Cut
	if s.r.Signals.CutSource == "cut channel" || s.r.Signals.CutSource == "" {
		return func(i int) float64 { return val(cut, i) }
	}
	in := s.inside(ride.Cut, k)
	return func(i int) float64 {
		if !in(i) {
			return 0
		}
		return val(cut, i)
	}
}

// lifted returns the test for the front wheel in the air: inside an episode of
// it. The ride's own mask is wider, to keep doubtful wheel speeds out.
func (s *scene) lifted(k key) func(int) bool { return s.inside(ride.Wheelie, k) }

// inside returns the test for samples inside an episode of a kind on a pass.
func (s *scene) inside(kind ride.Kind, k key) func(int) bool {
	var spans [][2]int
	for _, e := range s.episodes[k] {
		if e.Kind == kind {
			spans = append(spans, [2]int{rehearsal.Sample(s.r, e.Start), rehearsal.Sample(s.r, e.End)})
		}
	}
	return func(i int) bool {
		for _, x := range spans {
			if i >= x[0] && i < x[1] {
				return true
			}
		}
		return false
	}
}

// shifting returns the test for samples in or right after a shift, or on the
// limiter: torque taken away there is nobody's control.
func (s *scene) shifting(k key) func(int) bool {
	type span struct{ from, to int }
	var spans []span
	for _, e := range s.episodes[k] {
		switch e.Kind {
		case ride.Upshift:
			spans = append(spans, span{rehearsal.Sample(s.r, e.Start-0.1), rehearsal.Sample(s.r, e.End+0.25)})
		case ride.Limiter:
			spans = append(spans, span{rehearsal.Sample(s.r, e.Start-0.05), rehearsal.Sample(s.r, e.End+0.1)})
		}
	}
	return func(i int) bool {
		for _, x := range spans {
			if i >= x.from && i < x.to {
				return true
			}
		}
		return false
	}
}

// compareGears sets the engine drag of each gear against the other gears: 1 is
// like them. Drag at the wheel is the crank's drag times the overall ratio, and
// the crank's drag grows with engine speed from a part that does not turn with
// it (about 2000 1/min worth; from memory), so force / (ratio (n + 2000)) should
// be alike.
func (s *scene) compareGears() {
	s.gearDrag = map[int]float64{}
	type gear struct {
		n int
		x float64
	}
	var all []gear
	for _, g := range s.r.Engine.Gears {
		if it := s.b.Drive.Total(g.Gear); it > 0 && g.Force.OK && g.Samples >= 20 && g.RPM > 1000 {
			all = append(all, gear{g.Gear, g.Force.Value / it / (g.RPM + 2000)})
		}
	}
	for _, g := range all {
		var others []float64
		for _, o := range all {
			if o.n != g.n {
				others = append(others, o.x)
			}
		}
		if len(others) >= 1 {
			if m := inference.Median(others); m > 0 {
				s.gearDrag[g.n] = g.x / m
			}
		}
	}
}

// against returns how much a gear's engine drag is of the other gears'. Where
// the ride could not measure it (one gear only, or too few laps) the levels on
// the sheet are all there is, and measured is false.
func (s *scene) against(gear int) (share float64, measured, ok bool) {
	if x, ok := s.gearDrag[gear]; ok {
		return x, true, true
	}
	g := s.acting("engine-brake")
	if g == nil || g.Kind != setting.List {
		return 0, false, false
	}
	v := s.sheet.Slots[s.b.Slots.Reference][g.ID]
	if len(v) == 0 || gear < 1 || gear > len(v[0]) {
		return 0, false, false
	}
	var others []float64
	for k, x := range v[0] {
		if k != gear-1 {
			others = append(others, x)
		}
	}
	if len(others) == 0 {
		return 0, false, false
	}
	m := inference.Median(others)
	return v[0][gear-1] / m, false, m > 0
}

// spread returns the mean of a measure over the laps of a turn, with the tenth
// and ninetieth percentile, unknown values left out.
func spread(x []float64) (mean, lo, hi float64, n int) {
	y := make([]float64, 0, len(x))
	for _, v := range x {
		if !math.IsNaN(v) && !math.IsInf(v, 0) {
			y = append(y, v)
		}
	}
	if len(y) == 0 {
		return math.NaN(), math.NaN(), math.NaN(), 0
	}
	return inference.Mean(y), inference.Quantile(y, 0.1), inference.Quantile(y, 0.9), len(y)
}
