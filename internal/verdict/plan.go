package verdict

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"sort"
	"strings"

	"cornerwright/internal/inference"
	"cornerwright/internal/say"
)

// planConfidence is the one-sided confidence of the scatter that plans and
// prices are made with: 80 %.
const planConfidence = 0.80

// Wish is what a plan is asked for.
type Wish struct {
	Turn    int
	Measure string
	Unit    string
	Effect  float64 // size that must be seen, > 0, in Unit
	Power   float64 // share of tries in which it is seen; 0 for 0.8
	// The rider's own scatter of this measure at this turn: laps of one setting
	// (History, several runs welcome), or a value with its degrees of freedom
	// (LapSDDF 0: known).
	History []Lap
	LapSD   float64
	LapSDDF float64
	// SlowShare is the share of laps that traffic and mistakes spoil; negative
	// takes it from History.
	SlowShare float64

	Reference, Trial string
	Block            int     // laps between switches of a pair order: 1 gives A B B A, 2 gives A A B B, 3 ...; 0 chooses
	Settle           int     // laps set aside after each switch
	LapTime          float64 // s; 0 unknown
	Minutes          float64 // track time at hand; 0 not limited
	MaxLaps          int     // timed laps that one run can hold (tyre, fuel); 0 for 24
	WarmLaps         int     // laps ridden before the first that counts, out lap included; 0 for 2
	NilCheck         bool    // reference against reference under two names
}

// CardLine is one lap of the printed order.
type CardLine struct {
	Run    int    `json:"run"` // 1, 2, ...
	Lap    int    `json:"lap"` // within the run, out lap is 1
	Slot   string `json:"slot"`
	Press  bool   `json:"press"`  // switch on the named straight before this lap
	Counts bool   `json:"counts"` // false for warm-up, in and settling laps
	Kind   string `json:"kind"`   // "out", "warm", "timed", "settling", "in"
}

// Option is one row of what the plan could be.
type Option struct {
	Order           string  `json:"order"`
	LapsEach        int     `json:"laps_each"` // kept laps a side
	Laps            int     `json:"laps"`      // ridden, with out, warm-up and in laps
	Minutes         float64 `json:"minutes,omitempty"`
	SmallestVisible float64 `json:"-"` // at the wished power
	Fits            bool    `json:"fits"`
}

// Plan is how many laps, in which slot and order, show the effect.
type Plan struct {
	Wish          Wish
	LapSD         float64 // estimated scatter of a lap
	LapSDDF       float64 // +Inf when known
	PlanSD        float64 // scatter planned with: upper 80 % bound of LapSD
	SlowShare     float64
	Enough        bool     // the order below reaches the wished power within the laps and minutes at hand
	Order         []string // slots of the counted and settling laps, one string per run: "ABBAABBA"
	LapsEach      int      // kept laps a side
	Laps          int      // ridden in all
	Minutes       float64  // 0 when the lap time is not known
	Factor        float64  // sd of the effect in lap sd, from this order with drift in the model
	SettleCost    float64  // width of this order against the same laps without settling laps; 1 = none
	Power         float64  // simulated with the method of the verdict, at PlanSD
	Visible       float64  // effect this order shows at the wished power
	VisibleInTime float64  // effect that the minutes and laps at hand can show; +Inf when none
	Options       []Option // from 4 laps each upward
	Card          []CardLine
	Lines         []say.Text // the card and its terms as text, ready to print
	Warnings      []say.Text
}

// MakePlan plans from the rider's own scatter. It errs when the wish cannot be
// planned for, and says what is missing.
func MakePlan(w Wish) (Plan, error) {
	if !(w.Effect > 0) || math.IsInf(w.Effect, 0) {
		return Plan{}, fmt.Errorf("plan: the effect to be shown must be above 0 %s, got %v; give the smallest change worth having, such as 0.08 s", w.Unit, w.Effect)
	}
	if w.Power == 0 {
		w.Power = 0.8
	}
	if !(w.Power >= 0.5 && w.Power <= 0.99) {
		return Plan{}, fmt.Errorf("plan: power %v is outside 0.5 to 0.99; 0.8 is usual", w.Power)
	}
	if w.Reference == "" {
		w.Reference = "A"
	}
	if w.Trial == "" {
		w.Trial = "B"
	}
	if w.Reference == w.Trial {
		return Plan{}, fmt.Errorf("plan: reference and trial are both %q; for reference against reference give the same settings two names", w.Trial)
	}
	if w.MaxLaps == 0 {
		w.MaxLaps = 24
	}
	if w.WarmLaps == 0 {
		w.WarmLaps = 2
	}
	if w.Block == 0 {
		w.Block = 1
		if w.Settle > 0 {
			w.Block = 2 + w.Settle
		}
	}
	if w.Settle >= w.Block && w.Settle > 0 {
		return Plan{}, fmt.Errorf("plan: %s to settle after each switch leave nothing of blocks of %d", count(w.Settle, "lap"), w.Block)
	}
	p := Plan{Wish: w, LapSD: w.LapSD, LapSDDF: w.LapSDDF, SlowShare: math.Max(0, w.SlowShare)}
	if len(w.History) > 0 {
		sd, df, slow, err := Scatter(w.History)
		if err != nil {
			return Plan{}, fmt.Errorf("plan: %w", err)
		}
		p.LapSD, p.LapSDDF = sd, df
		if w.SlowShare < 0 {
			p.SlowShare = slow
		}
	}
	if !(p.LapSD > 0) {
		return Plan{}, fmt.Errorf("plan: the scatter of %s is not known; add a run with at least 5 timed laps in one slot, or state the lap sd", title(w.Turn, w.Measure))
	}
	p.PlanSD = p.LapSD
	if p.LapSDDF > 0 && !math.IsInf(p.LapSDDF, 1) {
		p.PlanSD = inference.SDUpper(p.LapSD, p.LapSDDF, planConfidence)
	} else {
		p.LapSDDF = math.Inf(1)
	}
	p.choose()
	return p, nil
}

// Scatter is the lap standard deviation of one setting, from laps of one or
// more runs, after a line of drift in every run; with its degrees of freedom
// and the share of laps that the slow-lap rule set aside. Marked laps are left
// out. Laps of different slots are taken as different settings.
func Scatter(history []Lap) (sd, df, slowShare float64, err error) {
	type key struct {
		run  int
		slot string
	}
	groups := map[key]int{}
	var keys []key
	q := Question{}
	var used []Lap
	marked := 0
	for _, p := range q.sorted(history) {
		if math.IsNaN(p.Value) || math.IsInf(p.Value, 0) {
			continue
		}
		if p.Mark != "" {
			marked++
			continue
		}
		k := key{p.Run, p.Slot}
		if _, ok := groups[k]; !ok {
			groups[k] = len(keys)
			keys = append(keys, k)
		}
		used = append(used, p)
	}
	runs := map[int]int{}
	for _, p := range used {
		if _, ok := runs[p.Run]; !ok {
			runs[p.Run] = len(runs)
		}
	}
	n, p := len(used), len(keys)+len(runs)
	if n-p < 3 {
		return 0, 0, 0, fmt.Errorf("%s in %s leave no scatter to plan with: at least %d are needed", count(n, "usable lap"), count(len(runs), "run"), p+3)
	}
	if p > maxCoef {
		return 0, 0, 0, fmt.Errorf("%s in one plan; give the latest 15", count(len(runs), "run"))
	}
	var m rows
	m.reset(n, p)
	lo, hi := map[int]float64{}, map[int]float64{}
	for _, l := range used {
		x := float64(l.Number)
		if _, ok := lo[l.Run]; !ok {
			lo[l.Run], hi[l.Run] = x, x
		}
		lo[l.Run], hi[l.Run] = math.Min(lo[l.Run], x), math.Max(hi[l.Run], x)
	}
	med := make([]float64, n)
	for i, l := range used {
		med[i] = l.Value
	}
	centre := inference.Median(med)
	for i, l := range used {
		row := m.x[i*p : i*p+p]
		clear(row)
		row[groups[key{l.Run, l.Slot}]] = 1
		half := math.Max(1, (hi[l.Run]-lo[l.Run])/2)
		row[len(keys)+runs[l.Run]] = (float64(l.Number) - (lo[l.Run]+hi[l.Run])/2) / half
		m.y[i], m.at[i], m.run[i] = l.Value-centre, float64(l.Number), runs[l.Run]
	}
	// Which way is slow is not known here, so both sides are looked at.
	out, ok := m.setAside(0, measuringFloor(used))
	if !ok {
		return 0, 0, 0, fmt.Errorf("%s do not part drift from scatter: every run needs at least 3 laps in a slot", count(n, "lap"))
	}
	f, ok := m.blended(measuringFloor(used))
	if !ok {
		return 0, 0, 0, fmt.Errorf("%s do not part drift from scatter: every run needs at least 3 laps in a slot", count(n, "lap"))
	}
	return f.sd, f.df, float64(out+marked) / float64(n+marked), nil
}

// orderFor writes the slots of a plan with k laps a side (ridden, settling laps
// included), split over runs; each run is an order of its own that starts with
// the reference.
func (w *Wish) orderFor(k int) []string {
	total := 2 * k
	runs := (total + w.MaxLaps - 1) / w.MaxLaps
	var out []string
	left := total
	for r := range runs {
		n := left / (runs - r)
		if w.Block > 1 {
			n -= n % (2 * w.Block)
		} else {
			n -= n % 2
		}
		if r == runs-1 {
			n = left
		}
		left -= n
		var b strings.Builder
		for i := range n {
			trial := false
			if w.Block == 1 {
				trial = i%4 == 1 || i%4 == 2
			} else {
				trial = i/w.Block%2 == 1
			}
			b.WriteByte("AB"[b2i(trial)])
		}
		out = append(out, b.String())
	}
	return out
}

func b2i(b bool) int {
	if b {
		return 1
	}
	return 0
}

// lay builds the question and the rows of an order, with the laps to settle
// taken out; y is zero.
func (w *Wish) lay(order []string) (q Question, l layout, m *rows, kept [2]int) {
	q = Question{Reference: "A", Trial: "B", Settle: w.Settle}
	var laps []Lap
	for r, s := range order {
		for i, c := range s {
			laps = append(laps, Lap{Run: r + 1, Number: w.WarmLaps + 1 + i, Slot: string(c)})
		}
	}
	l = q.recognise(laps)
	m = &rows{}
	used, _ := m.build(&q, &l, laps)
	for _, p := range used {
		kept[q.sideOf(p.Slot)]++
	}
	return q, l, m, kept
}

// thresholds rides the order tries times without an effect and returns, sorted,
// the least effect in lap sd that each try would have found. The method is
// equivariant: an effect is a multiple of a column of the model, so it moves
// the estimate by itself and leaves residuals, laps set aside and standard error
// as they are. One set of rides therefore serves every size of effect. The draws
// are seeded from the order alone. A try that cannot be fitted is +Inf.
func (m *rows) thresholds(guards []float64, slowShare float64, tries int) []float64 {
	r := rand.New(rand.NewPCG(uint64(m.n), uint64(m.p)))
	out := make([]float64, tries)
	for k := range out {
		for i := range m.n {
			y := r.NormFloat64()
			if slow := r.Float64(); slow < slowShare {
				y += 3 + 7*slow/slowShare
			}
			m.y[i] = y
		}
		out[k] = math.Inf(1)
		if f, _, ok := m.method(1, 0, guards); ok {
			out[k] = tq(0.975, f.df)*f.se - f.value
		}
	}
	slices.Sort(out)
	return out
}

// powerAt is the share of thresholds that an effect of delta lap sd passes.
func powerAt(thresholds []float64, delta float64) float64 {
	return float64(sort.Search(len(thresholds), func(i int) bool { return thresholds[i] > delta })) / float64(len(thresholds))
}

// visibleAt is the least effect, in lap sd, that is found with the power.
func visibleAt(thresholds []float64, power float64) float64 {
	k := int(math.Ceil(power * float64(len(thresholds))))
	return math.Max(0, thresholds[max(0, min(k, len(thresholds))-1)])
}

// factor is the standard deviation of the effect in lap sd, by plain least
// squares on this order with its drift.
func (m *rows) factor() (float64, bool) {
	for i := range m.n {
		m.keep[i] = true
	}
	clear(m.y[:m.n])
	v, ok := m.solve(m.x, m.y, nil, m.n)
	return math.Sqrt(v), ok
}

const planTries = 4000

// draft is an order that a plan could take.
type draft struct {
	order      []string
	l          layout
	m          *rows
	option     Option
	approx     float64   // visible effect in lap sd by the t test, without slow laps
	thresholds []float64 // once ridden
}

// ride simulates the draft, once.
func (d *draft) ride(p *Plan) []float64 {
	if d.thresholds == nil {
		d.thresholds = d.m.thresholds(d.l.guards(), p.SlowShare, planTries)
		d.option.SmallestVisible = visibleAt(d.thresholds, p.Wish.Power) * p.PlanSD
	}
	return d.thresholds
}

// drafts lists the orders from the fewest laps upward.
func (p *Plan) drafts() (ds []*draft) {
	w := &p.Wish
	step := 1
	if w.Block > 1 {
		step = 2 * w.Block // a whole there and back
	}
	for k := max(minKept, 2*w.Block); k <= maxPrice; k += step {
		order := w.orderFor(k)
		_, l, m, kept := w.lay(order)
		n := min(kept[0], kept[1])
		if n < minKept || l.design != Interleaved {
			continue
		}
		f, ok := m.factor()
		if !ok {
			continue
		}
		df := float64(m.n - m.p)
		t := detectable80(df)
		if w.Power != 0.8 {
			t = inference.TDetectable(w.Power, df, 0.05)
		}
		laps, minutes := w.ridden(order)
		fits := w.Minutes == 0 || minutes == 0 || minutes <= w.Minutes
		d := &draft{order: order, l: l, m: m, approx: planMargin * t * f}
		d.option = Option{Order: strings.Join(order, " "), LapsEach: n, Laps: laps, Minutes: minutes, Fits: fits, SmallestVisible: d.approx * p.PlanSD}
		ds = append(ds, d)
	}
	return ds
}

// enough returns the index of the first draft that shows the effect, by riding
// few of them: the visible effect falls with the laps, so the least number is
// closed in from both sides. It returns len(ds) when none does.
func (p *Plan) enough(ds []*draft) int {
	target := p.Wish.Effect / p.PlanSD
	shows := func(i int) bool { return powerAt(ds[i].ride(p), target) >= p.Wish.Power }
	// Slow laps cost more than the t test knows of.
	guess := sort.Search(len(ds), func(i int) bool { return ds[i].approx*(1+2*p.SlowShare) <= target })
	lo, hi := -1, len(ds) // the answer lies in (lo, hi]
	for width, at := 1, min(guess, len(ds)-1); lo+1 < hi; {
		at = max(lo+1, min(at, hi-1))
		if shows(at) {
			hi, at = at, at-width
		} else {
			lo, at = at, at+width
		}
		if lo >= 0 && hi < len(ds) {
			at = (lo + hi) / 2
		}
		width *= 2
	}
	return hi
}

// choose finds the fewest laps that show the effect, prices the steps on the
// way, and writes the card.
func (p *Plan) choose() {
	w := &p.Wish
	target := w.Effect / p.PlanSD
	p.VisibleInTime = math.Inf(1)
	ds := p.drafts()
	need := p.enough(ds)
	best := -1
	for i, d := range ds {
		if i > need {
			break
		}
		if d.option.Fits || best < 0 {
			best = i
		}
	}
	if need < len(ds) {
		p.Enough = ds[need].option.Fits
	}
	chosen := ds[best]
	chosen.ride(p)
	if chosen.option.Fits {
		p.VisibleInTime = chosen.option.SmallestVisible
	}
	// Orders that were not ridden are scaled from the one that was: the t test
	// does not know of slow laps.
	scale := 1.0
	if v := chosen.option.SmallestVisible; !math.IsInf(v, 0) {
		scale = v / (chosen.approx * p.PlanSD)
	}
	for i, d := range ds {
		if d.thresholds == nil {
			d.option.SmallestVisible *= scale
		}
		if i <= need && (i < 12 || i == need || i == best) {
			p.Options = append(p.Options, d.option)
		}
	}
	p.Visible = chosen.option.SmallestVisible
	p.Order, p.LapsEach = chosen.order, chosen.option.LapsEach
	p.Laps, p.Minutes = w.ridden(p.Order)
	p.Factor, _ = chosen.m.factor()
	p.Power = powerAt(chosen.thresholds, target)
	p.SettleCost = 1
	if w.Settle > 0 {
		free := *w
		free.Settle = 0
		_, _, fm, _ := free.lay(p.Order)
		if f, ok := fm.factor(); ok {
			p.SettleCost = p.Factor / f
		}
	}
	p.write()
}

// ridden counts the laps and minutes of an order, out, warm-up and in laps
// included.
func (w *Wish) ridden(order []string) (laps int, minutes float64) {
	for _, s := range order {
		laps += len(s) + w.WarmLaps + 1
	}
	return laps, float64(laps) * w.LapTime / 60
}

// write makes the card.
func (p *Plan) write() {
	w := &p.Wish
	name := map[byte]string{'A': w.Reference, 'B': w.Trial}
	for r, s := range p.Order {
		lap := 0
		add := func(slot string, press, counts bool, kind string) {
			lap++
			p.Card = append(p.Card, CardLine{r + 1, lap, slot, press, counts, kind})
		}
		for i := range w.WarmLaps {
			kind := "warm"
			if i == 0 {
				kind = "out"
			}
			add(w.Reference, false, false, kind)
		}
		since := w.Settle
		for i := range len(s) {
			press := i > 0 && s[i] != s[i-1]
			if press {
				since = 0
			}
			kind := "timed"
			if since < w.Settle {
				kind = "settling"
			}
			since++
			add(name[s[i]], press, kind == "timed", kind)
		}
		add(w.Reference, s[len(s)-1] != 'A', false, "in")
	}
	sd := p.PlanSD
	line := func(t say.Text) { p.Lines = append(p.Lines, t) }
	if w.NilCheck {
		line(say.T("Check of the method: {reference} and {trial} hold the same settings; better or worse would be a false alarm.", w.Reference, w.Trial))
	}
	line(say.T("To show {effect} in {measure}: {laps} each in slots {reference} and {trial}.", quantity(w.Effect, w.Effect/5, w.Unit), title(w.Turn, w.Measure), count(p.LapsEach, "clean lap"), w.Reference, w.Trial))
	for r, s := range p.Order {
		var b strings.Builder
		for i := range len(s) {
			if i > 0 {
				if s[i] == s[i-1] {
					b.WriteString(" ")
				} else {
					b.WriteString(" | ")
				}
			}
			b.WriteString(name[s[i]])
		}
		order := say.T("{laps} to warm up in {reference}, then {order}, then in. A bar is a press of the switch, always on the same straight.", count(w.WarmLaps, "lap"), w.Reference, b.String())
		if len(p.Order) > 1 {
			order = say.T("Run {run}: {order}", r+1, order)
		}
		line(order)
	}
	if p.Minutes > 0 {
		line(say.T("{laps} ridden, about {minutes} min.", count(p.Laps, "lap"), fmt.Sprintf("%.0f", math.Ceil(p.Minutes))))
	} else {
		line(say.T("{laps} ridden.", count(p.Laps, "lap")))
	}
	from := say.T("known")
	if !math.IsInf(p.LapSDDF, 1) {
		from = say.T("upper 80 % bound of {sd} from {df} df", quantity(p.LapSD, p.LapSD, w.Unit), fmt.Sprintf("%.0f", p.LapSDDF))
	}
	line(say.T("Scatter of a lap planned with: {sd} ({from}). Chance to see the effect: {power} %.", quantity(sd, sd, w.Unit), from, fmt.Sprintf("%.0f", 100*p.Power)))
	if p.SettleCost > 1.005 {
		line(say.T("Laps to settle cost {share} % of width.", fmt.Sprintf("%.0f", 100*(p.SettleCost-1))))
	}
	if !p.Enough {
		text := say.T("The effect is out of reach at this scatter with laps alone: choose a measure closer to the change.")
		if !math.IsInf(p.VisibleInTime, 1) {
			text = say.T("Not enough: the laps and minutes at hand show {effect} at best.", quantity(p.VisibleInTime, p.VisibleInTime/5, w.Unit))
		}
		p.Warnings = append(p.Warnings, text)
		line(text)
	}
	if p.SlowShare > 0 {
		line(say.T("Allows for {share} % of laps spoilt by traffic or mistakes.", fmt.Sprintf("%.0f", 100*p.SlowShare)))
	}
	line(say.T("Do not stop early because it looks good: looking after every block doubles the false alarms."))
}
