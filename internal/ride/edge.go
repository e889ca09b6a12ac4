package ride

import "math"

// A cut found from its signature is found where the shortfall of torque stands
// clear of its scatter: later than it began, earlier than it ended. Its edges
// are looked for from there outwards.
const (
	edgeBack   = 0.40 // s looked back from where it was found
	edgeReach  = 0.30 // s that the edge may lie outside it
	edgeInside = 0.05 // s that it may lie within
	edgeRise   = 0.2  // s of rise taken in
	edgePassed = 0.25 // s that slip passes the target before
	edgeLag    = 0.06 // s from there until the cut counts, as controllers do (from memory),
	edgeLagSD  = 0.03 // its standard deviation,
	edgeBias   = 0.04 // and that of what the run says of it
	edgeHold   = 8    // samples that stand for knowing that nothing is short before
	// After a cut grip is where the run may seldom be without one: the model is
	// good to some per cent there, and nil is taken from the next instants.
	endBack = 0.2
	endHold = 1
)

// passed betters where cuts start (res: start and end of each, in samples). Where
// the bike file has the controller's slip target, a cut begins some time after
// slip passes it: how long, the cuts of the run and what controllers usually take
// say together. The start becomes the mean of what slip and shortfall say.
func (w *work) passed(res [][2]float64) {
	s := &w.r.Signals
	target := w.slipTarget()
	if target == nil || s.RearSlip == nil {
		return
	}
	passes := make([]float64, len(res))
	var late []float64
	for k := range res {
		passes[k] = math.NaN()
		from := int(res[k][0])
		for i := min(w.n-1, from+w.samples(edgeInside)); i > max(0, from-w.samples(edgePassed)); i-- {
			p, q := s.RearSlip[i-1]-target(i-1), s.RearSlip[i]-target(i)
			if p < 0 && q >= 0 {
				passes[k] = float64(i) - q/(q-p)
				late = append(late, res[k][0]-passes[k])
				break
			}
		}
	}
	if len(late) < 8 {
		return
	}
	sortFloats(late)
	if (quantile(late, 0.75)-quantile(late, 0.25))*w.dt > 0.1 {
		return
	}
	lag := quantile(late, 0.5) * w.dt
	lag = (lag/sq(edgeBias) + edgeLag/sq(edgeLagSD)) / (1/sq(edgeBias) + 1/sq(edgeLagSD)) / w.dt
	for k := range res {
		if x := passes[k] + lag; x < res[k][1]-2 { // false for NaN
			res[k][0] += 0.8 * (x - res[k][0])
		}
	}
}

// edge gives the sample, with its fraction, at which a shortfall begins that was
// found at sample a: a level, held near nil, and from some instant on a straight
// rise are laid through short (least squares over every instant in reach), and
// the level of a cut that counts (share of want) is read off the rise. dir is 1
// for a start; -1 runs time backwards, for an end found at a. out marks what
// cannot be read; no further than stop is looked inside. a itself is returned
// where nothing fits.
func (w *work) edge(short, want []float64, out []bool, a, stop, dir int) float64 {
	at := func(k int) int { return a + dir*k }
	in := func(k int) bool { i := at(k); return i >= 0 && i < w.n && !out[i] }
	// The rise ends where the shortfall is greatest.
	top := 1
	for k := 1; k <= w.samples(edgeRise) && in(k) && at(k) != stop; k++ {
		if short[at(k)] > short[at(top)] {
			top = k
		}
	}
	from := 0
	hold, back := float64(edgeHold), edgeBack
	if dir < 0 {
		hold, back = endHold, endBack
	}
	for k := -1; k >= -w.samples(back) && in(k); k-- {
		from = k
	}
	if !in(top) || top-from < 6 {
		return float64(a)
	}
	first, last := max(from+2, -w.samples(edgeReach)), min(top-2, w.samples(edgeInside))
	best, knee, slope := math.Inf(1), 0, 0.0
	for t := first; t <= last; t++ {
		// Normal equations of level and slope; the level is held at nil.
		n, sx, sxx, sy, sxy, syy := hold, 0.0, 0.0, 0.0, 0.0, 0.0
		m := 0.0
		for k := from; k <= top; k++ {
			x, y := math.Max(0, float64(k-t)), short[at(k)]
			m++
			sx += x
			sxx += x * x
			sy += y
			sxy += x * y
			syy += y * y
		}
		det := (n+m)*sxx - sx*sx
		if det <= 0 {
			continue
		}
		s := ((n+m)*sxy - sx*sy) / det
		c := (sy - s*sx) / (n + m)
		if sse := syy - c*sy - s*sxy; s > 0 && sse < best {
			best, knee, slope = sse, t, s
		}
	}
	if slope == 0 {
		return float64(a)
	}
	x := float64(knee) + math.Min(cutOn*want[at(max(knee, from))]/slope, float64(top-knee))
	return float64(a) + float64(dir)*x
}
