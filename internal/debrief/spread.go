package debrief

import (
	"math"
	"sort"

	"cornerwright/internal/inference"
	"cornerwright/internal/ride"
	"cornerwright/internal/say"
)

// Bounds of the finding 'uneven' (common practice): a turn whose time scatters
// twice as much as the rider's usual turn, by at least 0.06 s, on six laps or
// more. Below six laps a spread is hardly known itself: its 95 % interval at
// five laps reaches from 0.6 to 2.9 times the estimate (chi-square).
const (
	unevenTimes = 2.0
	unevenLeast = 0.06 // s
	unevenLaps  = 6
)

// habit is what a rider does at a turn that can go with its time.
type habit struct {
	name, unit string
	label      say.Text
	scale      float64
	alike      say.Text // what to ride alike
	of         func(*ride.Pass) float64
}

var habits = []habit{
	{"brake_point", "m", say.T("place of the brakes"), 1, say.T("brake at one mark"), func(p *ride.Pass) float64 { return p.BrakeM }},
	{"entry_speed", "km/h", say.T("speed at turn-in"), 3.6, say.T("turn in at one speed"), func(p *ride.Pass) float64 { return p.EntrySpeed }},
	{"min_speed", "km/h", say.T("least speed"), 3.6, say.T("carry one speed through the middle"), func(p *ride.Pass) float64 { return p.MinSpeed }},
	{"coast_time", "s", say.T("rolling time between brakes and throttle"), 1, say.T("keep the roll between brakes and throttle alike"), func(p *ride.Pass) float64 { return p.CoastTime }},
	{"pickup", "m", say.T("place of the pick-up"), 1, say.T("open at one mark"), func(p *ride.Pass) float64 { return p.PickupM }},
	{"pickup_to_full", "s", say.T("time from pick-up to full throttle"), 1, say.T("open at one pace"), func(p *ride.Pass) float64 { return p.PickupToFull }},
}

// beyondChance tells whether the greatest of len(habits) rank correlations over n laps
// is more than chance gives: Bonferroni at 5 %, by Student's t (Zar, Biostatistical
// Analysis, section 19.9, from memory).
func beyondChance(r float64, n int) bool {
	t := math.Abs(r) * math.Sqrt(float64(n-2)/math.Max(1e-9, 1-r*r))
	return t > inference.TQuantile(1-0.05/float64(2*len(habits)), float64(n-2))
}

// robustSpread is the standard deviation of the bulk: the median distance from
// the median over 0.6745, so that one lap in traffic makes no spread; or the
// plain standard deviation where that is less, since few laps can make the
// median distance large by chance.
func robustSpread(x []float64) float64 {
	return math.Min(inference.MADScale*inference.MAD(x), inference.SD(x))
}

// uneven tells of the turn where the rider's own laps differ most from each
// other, and which habit goes with it: there a lap time is won by riding alike,
// not by a setting.
func (s *scene) uneven() []Finding {
	type place struct {
		turn   int
		time   []float64
		passes []*ride.Pass
		spread float64
	}
	var all []place
	for _, t := range s.turns() {
		p := place{turn: t}
		for _, q := range s.passes[t] {
			if !math.IsNaN(q.Segment) && q.Segment > 0 {
				p.time, p.passes = append(p.time, q.Segment), append(p.passes, q)
			}
		}
		if len(p.time) < unevenLaps {
			continue
		}
		p.spread = robustSpread(p.time)
		all = append(all, p)
	}
	if len(all) < 3 {
		return nil
	}
	spreads := make([]float64, len(all))
	for i, p := range all {
		spreads[i] = p.spread
	}
	usual := inference.Median(spreads)
	sort.SliceStable(all, func(i, j int) bool { return all[i].spread > all[j].spread })
	w := all[0]
	if w.spread < unevenLeast || w.spread < unevenTimes*usual {
		return nil
	}
	l := &look{scene: s, turn: w.turn}
	best, how := 0.0, -1
	for i, h := range habits {
		var x, y []float64
		for k, p := range w.passes {
			if v := h.of(p); !math.IsNaN(v) && !math.IsInf(v, 0) {
				x, y = append(x, v), append(y, w.time[k])
			}
		}
		if len(x) < unevenLaps {
			continue
		}
		if r := inference.RankCorrelation(x, y); math.Abs(r) > math.Abs(best) {
			best, how = r, i
		}
	}
	n := len(w.time)
	f := Finding{Turn: w.turn, Cause: "uneven", Seen: n, Of: n, Laps: say.T("{n} of {n2}", n, n),
		Text: say.T("In {turn} the laps differ by {spread} s (one standard deviation), in the usual turn by {usual} s.", l.name(), num(w.spread, 2), num(usual, 2)),
		Measures: list(l.m("segment", say.T("time of the turn"), "s", func(p *ride.Pass) float64 { return p.Segment }),
			Measure{Name: "segment_spread", Label: say.T("scatter of that time"), Unit: "s", Value: w.spread, Lo: w.spread * math.Sqrt(float64(n-1)/inference.ChiSquareQuantile(0.975, float64(n-1))), Hi: w.spread * math.Sqrt(float64(n-1)/inference.ChiSquareQuantile(0.025, float64(n-1))), N: n}),
		Change: say.T("Laps ridden alike at that turn, or traffic that explains the slow ones.")}
	// Half of the laps lose the middle of a normal scatter against the median of
	// the quicker half: 0.67 standard deviations.
	f.Cost = 0.6745 * w.spread
	what := say.T("ride it alike, one lap like the other, before any setting is judged here")
	if how >= 0 && beyondChance(best, n) {
		h := habits[how]
		f.Text += say.T(" What goes with it is the {label} (rank correlation {best}).", h.label, num(best, 2))
		f.Measures = append(f.Measures, list(l.m(h.name, h.label, h.unit, func(p *ride.Pass) float64 { return h.scale * h.of(p) }))...)
		what = say.T("{what}; nothing else", h.alike)
	}
	order := make([]int, n)
	for i := range order {
		order[i] = i
	}
	sort.Slice(order, func(i, j int) bool { return w.time[order[i]] < w.time[order[j]] })
	for _, x := range []struct {
		i   int
		say say.Text
	}{{order[0], say.T("the quickest of them")}, {order[n-1], say.T("the slowest of them")}} {
		p := w.passes[x.i]
		f.Evidence = append(f.Evidence, Instant{p.Lap, w.turn, p.Start, p.End, x.say})
	}
	f.Proposals = []Proposal{coach(what, say.T("the rider's own spread tells more here than any setting")), changeNothing(say.T("a setting cannot be judged where the laps differ this much"))}
	return []Finding{f}
}
