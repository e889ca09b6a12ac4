package ride

import (
	"fmt"
	"math"

	"cornerwright/internal/say"
	"cornerwright/internal/signal"
)

// Bands of what shakes a motorcycle, in 1/s (common practice; weave and wobble
// as in the literature on single-track stability).
var (
	hopBand     = [2]float64{8, 14}
	chatterBand = [2]float64{15, 25}
	weaveBand   = [2]float64{1.5, 4.5}
	wobbleBand  = [2]float64{5, 11}
)

// findHop looks for hop (8 to 14 1/s) and chatter (15 to 25 1/s) of the rear: the
// running root mean square of shock velocity, or else of rear wheel
// acceleration, beyond three times what this run usually shows and for at least
// leastHalfWaves.
func (w *work) findHop() {
	s := &w.r.Signals
	x := w.mem.take()
	defer w.mem.back(x)
	name, floor := "shock", 0.08 // m/s
	switch {
	case s.Shock != nil:
		signal.DerivativeInto(x, s.Shock, w.dt)
	case w.rear != nil:
		signal.DerivativeInto(x, w.rear, w.dt)
		name, floor = "rear_speed", 4.0 // m/s2
		w.cannot(say.T("light hop and chatter"), say.T("no shock travel is logged: the rear wheel's own speed shows only what is beyond 4 m/s2"), say.T("log shock travel at 100 samples a second or more"))
	default:
		w.cannot(say.T("hop and chatter"), say.T("neither shock travel nor rear wheel speed is logged"), say.T("log shock travel at 100 samples a second or more"))
		return
	}
	if c := w.rec.Channel(name); c.Rate() < 2.2*hopBand[1] {
		w.cannot(say.T("hop and chatter"), say.T("{name} is logged at {c} samples a second; {hopband} are needed", name, fmt.Sprintf("%.0f", c.Rate()), fmt.Sprintf("%.0f", 2.2*hopBand[1])), say.T("log it faster"))
		return
	}
	w.hop = make([]float64, w.n)
	bands := [][2]float64{hopBand}
	if w.rec.Channel(name).Rate() >= 2.2*chatterBand[1] {
		bands = append(bands, [2]float64{chatterBand[0], math.Min(chatterBand[1], 0.44*w.rate)})
	}
	square := w.mem.take() // of what the band lets through
	defer w.mem.back(square)
	for k, band := range bands {
		b := w.hop
		if k > 0 {
			b = w.mem.take()
			defer w.mem.back(b)
		}
		signal.BandRMSInto(b, square, x, band[0], band[1], 0.3, w.rate, &w.sc)
		var usual []float64
		for i := 0; i < w.n; i += 7 {
			if w.speed[i] > 10 {
				usual = append(usual, b[i])
			}
		}
		limit := math.Max(floor, 3*quick(usual, 0.5))
		m := w.mem.mask()
		defer w.mem.put(m)
		for i := range m {
			m[i] = b[i] > limit && w.speed[i] > 8
		}
		join(m, w.samples(0.15))
		drop(m, w.samples(0.25))
		kind := []string{"hop", "chatter"}[k]
		stretches(m, func(a, z int) {
			e := Episode{Kind: Hop, Start: w.time(a), End: w.time(z), Inferred: true, Band: kind}
			for i := a; i < z; i++ {
				e.Peak = math.Max(e.Peak, b[i])
				e.Mean += b[i] / float64(z-a)
			}
			if halfWaves(square[a:z]) < leastHalfWaves[k] || k == 1 && w.covered(Hop, e) {
				return
			}
			e.Marked = w.marked(span(e), name)
			w.r.Episodes = append(w.r.Episodes, e)
		})
	}
}

// leastHalfWaves is how often something must swing to count as hop, or as chatter:
// about a quarter of a second. One kick (a gearshift, a kerb, a clutch let go) rings
// through the band for three half waves of half its size or more, two kicks half a
// period apart for four, five in the wider band of chatter.
var leastHalfWaves = [2]int{5, 8}

// halfWaves counts the greatest values of a squared oscillation that reach a
// quarter of the greatest of all: its half waves of at least half the amplitude.
func halfWaves(square []float64) int {
	var top float64
	for _, q := range square {
		top = math.Max(top, q)
	}
	n := 0
	for i := 1; i+1 < len(square); i++ {
		if square[i] >= top/4 && square[i] > square[i-1] && square[i] >= square[i+1] {
			n++
		}
	}
	return n
}

// covered tells whether an episode of the kind overlaps e already.
func (w *work) covered(k Kind, e Episode) bool {
	for _, o := range w.r.Episodes {
		if o.Kind == k && o.Start < e.End && e.Start < o.End {
			return true
		}
	}
	return false
}

// findShakes looks for weave and wobble in the yaw rate.
func (w *work) findShakes() {
	if w.yawRate == nil {
		w.cannot(say.T("weave and wobble"), say.T("no yaw rate is logged"), say.T("log yaw rate at 50 samples a second or more"))
		return
	}
	c := w.rec.Channel("yaw_rate")
	b, tmp := w.mem.take(), w.mem.take()
	defer w.mem.back(b, tmp)
	const deg = math.Pi / 180
	look := func(kind Kind, band [2]float64, level float64, ok func(i int) bool) {
		if c.Rate() < 2.5*band[1] {
			return
		}
		signal.BandRMSInto(b, tmp, w.yawRate, band[0], band[1], 0.5, w.rate, &w.sc)
		m := w.mem.mask()
		defer w.mem.put(m)
		for i := range m {
			m[i] = b[i] > level && ok(i)
		}
		join(m, w.samples(0.2))
		drop(m, w.samples(0.4))
		stretches(m, func(a, z int) {
			e := Episode{Kind: kind, Start: w.time(a), End: w.time(z), Inferred: true}
			for i := a; i < z; i++ {
				e.Peak = math.Max(e.Peak, b[i])
			}
			w.r.Episodes = append(w.r.Episodes, e)
		})
	}
	lean := w.r.Signals.Lean
	look(Wobble, wobbleBand, 8*deg, func(i int) bool { return w.speed[i] > 8 })
	look(Weave, weaveBand, 5*deg, func(i int) bool { return w.speed[i] > 40 && math.Abs(lean[i]) < 20*deg })
}
