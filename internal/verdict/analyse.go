package verdict

import (
	"math"
	"sort"

	"cornerwright/internal/inference"
	"cornerwright/internal/say"
)

// AssumedRunShare is the between-run standard deviation in units of the lap
// standard deviation that is assumed until the book holds repeats.
const AssumedRunShare = 0.4

// analyse estimates the effect of one measure under the layout. The answer is
// not yet corrected for other looks.
func (q *Question) analyse(l *layout, me Measure) Effect {
	e, s, v, ok := q.look(l, me)
	if !ok {
		return e
	}
	e.settleOn(v, s)
	if len(e.Struck) > 0 {
		e.All = q.withAll(l, me, q.sorted(me.Laps))
	}
	return e
}

// look sets laps aside and estimates; ok is false, with a note in the effect,
// where the laps carry no estimate.
func (q *Question) look(l *layout, me Measure) (e Effect, s spread, v float64, ok bool) {
	e = Effect{Turn: me.Turn, Measure: me.Name, Unit: me.Unit, Better: me.Better, Tier: me.Tier,
		Matters: me.Matters, Safety: me.Safety, CarriedFrom: me.CarriedFrom, Answer: NotEnoughLaps,
		P: math.NaN(), PAdj: math.NaN(), Lo90: math.NaN(), Hi90: math.NaN(), SmallestVisible: math.Inf(1), LapSD: math.NaN()}
	e.Estimate = inference.Estimate{Value: math.NaN(), Lo: math.NaN(), Hi: math.NaN(), SE: math.NaN(), Level: 0.95}

	laps := q.sorted(me.Laps)
	lost := positionLost(laps, me.Matters)
	var clean []Lap
	for _, p := range laps {
		if math.IsNaN(p.Value) || math.IsInf(p.Value, 0) || q.sideOf(p.Slot) == sideNone {
			continue
		}
		if _, in := l.runAt[p.Run]; !in {
			continue
		}
		var reason say.Text
		switch {
		case p.Mark != "":
			reason = say.Key(p.Mark)
		case l.settle[[2]int{p.Run, p.Number}]:
			reason = say.T("settling")
		case lost(p):
			reason = say.T("position lost")
		}
		if reason != "" {
			e.Struck = append(e.Struck, Struck{p.Run, p.Number, p.Slot, p.Value, reason})
			continue
		}
		clean = append(clean, p)
	}
	var m rows
	q.fill(&m, l, clean)
	bad := -float64(me.Better)
	if m.n > 0 {
		m.setAside(bad, measuringFloor(clean))
	}
	kept := clean[:0:0]
	for i, p := range clean {
		if m.keep[i] {
			kept = append(kept, p)
			continue
		}
		e.Struck = append(e.Struck, Struck{p.Run, p.Number, p.Slot, p.Value, say.T("slow lap")})
		if me.Better != Lower || me.Unit != "s" {
			e.Struck[len(e.Struck)-1].Reason = say.T("far off")
		}
		if q.sideOf(p.Slot) == sideRef {
			e.StruckRef++
		} else {
			e.StruckTrial++
		}
	}
	e.count(q, kept)
	e.dots(laps)
	sort.SliceStable(e.Struck, func(i, j int) bool {
		a, b := e.Struck[i], e.Struck[j]
		return l.runAt[a.Run] < l.runAt[b.Run] || a.Run == b.Run && a.Lap < b.Lap
	})
	if e.NRef == 0 || e.NTrial == 0 {
		e.Note = say.T("one side has no laps")
		return e, s, 0, false
	}
	if s, v, ok = q.estimate(&m, l, &e, me, kept); !ok {
		e.Note = say.T("{kept} laps are too few to part the setting from the drift", len(kept))
		return e, s, 0, false
	}
	if span := m.span(); e.LapSD <= coarse*span || span == 0 {
		// Rounding is no scatter.
		s, e.LapSD = spread{df: s.df}, 0
		if math.Abs(v) <= coarse*span || span == 0 {
			v = 0
		}
	}
	return e, s, v, true
}

// coarse is the share of the span of the values below which a scatter is none.
const coarse = 1e-7

// span is the difference between the greatest and the least kept value.
func (m *rows) span() float64 {
	lo, hi := math.Inf(1), math.Inf(-1)
	for i, y := range m.y[:m.n] {
		if m.keep[i] {
			lo, hi = math.Min(lo, y), math.Max(hi, y)
		}
	}
	return hi - lo
}

// fill builds the rows and takes the median from the values, so that a large
// constant costs no digits.
func (q *Question) fill(m *rows, l *layout, laps []Lap) {
	if len(laps) == 0 {
		m.reset(0, 1)
		return
	}
	m.buildFrom(q, l, laps)
	med := inference.Median(m.y[:m.n])
	for i := range m.n {
		m.y[i] -= med
	}
}

// count fills in the kept laps and runs of each side.
func (e *Effect) count(q *Question, kept []Lap) {
	runs := [2]map[int]bool{{}, {}}
	n := [2]int{}
	for _, p := range kept {
		s := q.sideOf(p.Slot)
		n[s]++
		runs[s][p.Run] = true
	}
	e.NRef, e.NTrial, e.N = n[0], n[1], n[0]+n[1]
	e.RunsRef, e.RunsTrial = len(runs[0]), len(runs[1])
}

func (e *Effect) dots(laps []Lap) {
	struck := map[[2]int]bool{}
	for _, s := range e.Struck {
		struck[[2]int{s.Run, s.Lap}] = true
	}
	e.Dots = nil
	for _, p := range laps {
		if !math.IsNaN(p.Value) && !math.IsInf(p.Value, 0) {
			e.Dots = append(e.Dots, Dot{p.Run, p.Number, p.Slot, p.Value, struck[[2]int{p.Run, p.Number}]})
		}
	}
}

// estimate fits the kept rows of m and returns the effect with its spread.
func (q *Question) estimate(m *rows, l *layout, e *Effect, me Measure, kept []Lap) (s spread, value float64, ok bool) {
	floor := measuringFloor(kept)
	if l.within() {
		f, ok := m.blended(floor, l.guards()...)
		if !ok || f.df < 1 {
			return s, 0, false
		}
		e.LapSD = f.sd
		return spread{se: f.se, df: f.df}, f.value, true
	}
	f, ok := m.blended(floor, guardRho)
	if !ok {
		return s, 0, false
	}
	e.LapSD = f.sd
	inverse := 1/float64(e.RunsRef) + 1/float64(e.RunsTrial)
	common := me.CommonSE * math.Sqrt(inverse)
	if l.design == ReplicatedRuns && e.RunsRef >= 2 && e.RunsTrial >= 2 {
		value, se, df, ok := m.runMeans(l)
		if !ok {
			return s, 0, false
		}
		// The shared measuring error is part of the scatter of the run means
		// already; it is only the least that this scatter can honestly be.
		return spread{se: math.Max(se, common), df: df}, value, true
	}
	if e.StruckRef+e.StruckTrial > 0 {
		f.df--
	}
	if f.df < 1 {
		return s, 0, false
	}
	// A share of a lap scatter that is itself estimated is as unsure as that.
	sd, df := AssumedRunShare*f.sd, f.df
	if q.BetweenRunSD > 0 {
		sd, df = q.BetweenRunSD, math.Inf(1)
		if sameUnit := me.Unit == q.Primary.Unit && me.Turn == q.Primary.Turn && me.Name == q.Primary.Name; !sameUnit {
			sd, df = AssumedRunShare*f.sd, f.df // learnt for the primary, not for this measure
		} else if q.BetweenRunDF > 0 {
			df, e.LearntRunSD = q.BetweenRunDF, true
		}
	}
	e.AssumedRunSD = sd
	s = spread{se: f.se, df: f.df, seRun: sd * math.Sqrt(inverse), dfRun: df, seCommon: common}
	e.TippingRunSD = tipping(s, f.value, inverse)
	return s, f.value, true
}

// guards are the correlations the fit within runs is checked against. Where
// nearly every lap is a switch, a rider who presses and relaxes in turn looks
// like a setting, so a negative correlation joins.
func (l *layout) guards() []float64 {
	if l.design == Alternating || l.switches > 0.7 {
		return []float64{guardRho, -guardRho}
	}
	return []float64{guardRho}
}

// runMeans compares the levels of whole runs by a pooled t test on run means:
// the run is the unit, laps only make its mean steadier.
func (m *rows) runMeans(l *layout) (value, se, df float64, ok bool) {
	k := m.compact()
	if _, ok = m.solve(m.xw, m.yw, nil, k); !ok {
		return
	}
	present := make([]bool, len(l.runs))
	for i := range m.n {
		if m.keep[i] {
			present[m.run[i]] = true
		}
	}
	var x [2][]float64
	for r, s := range l.runSide {
		if present[r] {
			x[s] = append(x[s], m.beta[r])
		}
	}
	n0, n1 := float64(len(x[0])), float64(len(x[1]))
	if df = n0 + n1 - 2; len(x[0]) < 2 || len(x[1]) < 2 {
		return 0, 0, 0, false
	}
	v := ((n0-1)*inference.Variance(x[0]) + (n1-1)*inference.Variance(x[1])) / df
	return inference.Mean(x[1]) - inference.Mean(x[0]), math.Sqrt(v * (1/n0 + 1/n1)), df, true
}

// tipping returns the between-run sd at which the 95 % interval would just
// touch zero; 0 where it does so already without any.
func tipping(s spread, value, inverse float64) float64 {
	s.seRun = 0
	rest := s.half(0.05)
	if rest >= math.Abs(value) {
		return 0
	}
	return math.Sqrt(value*value-rest*rest) / (inference.NormalQuantile(0.975) * math.Sqrt(inverse))
}

// measuringFloor is the root mean square of the position error of the laps: the
// residual scatter is never taken for less, as luck with few laps can make it.
func measuringFloor(laps []Lap) float64 {
	s := 0.0
	for _, p := range laps {
		if p.ValueSE > 0 {
			s += p.ValueSE * p.ValueSE
		}
	}
	if len(laps) == 0 {
		return 0
	}
	return math.Sqrt(s / float64(len(laps)))
}

// positionLost returns the rule for laps whose own measuring error is far above
// that of the others and too large to be of use.
func positionLost(laps []Lap, matters float64) func(Lap) bool {
	var se []float64
	for _, p := range laps {
		if p.ValueSE > 0 && !math.IsNaN(p.Value) {
			se = append(se, p.ValueSE)
		}
	}
	if len(se) == 0 {
		return func(Lap) bool { return false }
	}
	limit := math.Max(3*inference.Median(se), matters)
	return func(p Lap) bool { return p.ValueSE > limit }
}

// settleOn fills in intervals, p and the uncorrected answer.
func (e *Effect) settleOn(value float64, s spread) {
	e.Value, e.SE, e.DF = value, s.total(), s.df
	h := s.half(0.05)
	e.Lo, e.Hi = value-h, value+h
	h = s.half(0.10)
	e.Lo90, e.Hi90 = value-h, value+h
	e.P = s.p(value)
	e.PAdj = e.P
	e.SmallestVisible = s.visible()
	if s.total() == 0 && value != 0 {
		// Laps without any scatter are a constant or coarse channel, not proof.
		e.Note = say.T("the laps show no scatter at all: the channel is constant or too coarse for a claim")
		e.P, e.PAdj = math.NaN(), math.NaN()
		e.Answer = NotEnoughLaps
		return
	}
	if s.total() == 0 {
		e.Note = say.T("every lap has the same value: the channel is constant, or nothing happened")
	}
	e.Answer, e.Small, e.Moved = answerFrom(e.Better, value, e.Lo90, e.Hi90, e.Matters, e.P <= 0.05)
}

// visible is the effect found in 80 of 100 tries with this spread: the
// noncentral t for the part that laps estimate, widened by what the guard fit
// and the slow-lap rule cost on average.
func (s spread) visible() float64 {
	if s.seRun == 0 && s.seCommon == 0 {
		return planMargin * detectable80(s.df) * s.se
	}
	return planMargin * (s.half(0.05) + inference.NormalQuantile(0.8)*s.total())
}

// planMargin is what method W needs above the plain t test at equal power; see
// docs/figures-verdict.md.
const planMargin = 1.06

// withAll is the estimate from every lap with a value.
func (q *Question) withAll(l *layout, me Measure, laps []Lap) *WithAll {
	free := *l
	free.settle = nil
	var all []Lap
	for _, p := range laps {
		if _, in := l.runAt[p.Run]; in && q.sideOf(p.Slot) != sideNone && !math.IsNaN(p.Value) && !math.IsInf(p.Value, 0) {
			all = append(all, p)
		}
	}
	var m rows
	q.fill(&m, &free, all)
	var e Effect
	e.count(q, all)
	s, v, ok := q.estimate(&m, &free, &e, me, all)
	if !ok {
		return nil
	}
	e.Better, e.Matters = me.Better, me.Matters
	e.settleOn(v, s)
	return &WithAll{Effect: v, Lo: e.Lo, Hi: e.Hi, NRef: e.NRef, NTrial: e.NTrial, Answer: e.Answer}
}
