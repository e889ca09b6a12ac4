package verdict

import (
	"math"
	"sort"
	"strings"

	"cornerwright/internal/inference"
)

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
