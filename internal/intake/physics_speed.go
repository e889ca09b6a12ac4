package intake

import (
	"fmt"
	"math"

	"cornerwright/internal/recording"
	"cornerwright/internal/say"
	"cornerwright/internal/signal"
	"cornerwright/internal/unit"
)

// upright tells when the bike stands nearly upright, by the lean channel (whatever
// its unit: up to three tenths of its 98th percentile), without one by the path (up
// to 2 m/s2 sideways), without either always. A leant tyre rolls on a smaller
// radius: 12 % at 50 degrees.
func upright(rec *recording.Recording, path *track) uprightness {
	if lean := rec.Channel(recording.Lean); lean != nil {
		limit := 0.3 * quantile(absOf(lean.Value), 0.98)
		return func() func(t float64) bool {
			w := newWalker(lean)
			return func(t float64) bool { return math.Abs(w.at(t)) <= limit }
		}
	}
	if path != nil && len(path.yaw.Value) > 0 {
		return func() func(t float64) bool {
			y, v := newWalker(path.yaw), newWalker(path.speed)
			return func(t float64) bool { return math.Abs(y.at(t)*v.at(t)) <= 2 }
		}
	}
	return always
}

// uprightness gives a test for the upright bike, a new one for each walk over the
// recording.
type uprightness func() func(t float64) bool

func always() func(t float64) bool { return func(float64) bool { return true } }

// ratio returns the median of c over truth where truth is fast and the bike
// upright, the half width of the ratio's middle 80 %, and the pairs used. truth
// runs lag seconds behind c.
func ratio(c, truth *recording.Channel, upright uprightness, lag float64) (med, width float64, n int) {
	up := upright()
	var r []float64
	top := quantile(truth.Value, 0.99)
	for i, v := range truth.Value {
		if v < 0.3*top || v < 0.5 {
			continue
		}
		t := truth.Time[i] - lag
		if t < c.Time[0] || t > c.Time[len(c.Time)-1] || !up(t) {
			continue
		}
		if x := c.At(t); x > 0 {
			r = append(r, x/v)
		}
	}
	if len(r) < minAgreement/4 {
		return nan, nan, len(r)
	}
	return signal.Nth(r, len(r)/2), (signal.Nth(r, len(r)*9/10) - signal.Nth(r, len(r)/10)) / 2, len(r)
}

// judgeSpeed tests a speed channel's unit against a speed known better.
// truth runs lag seconds behind it.
func (s *source) judgeSpeed(rec *recording.Recording, name string, truth *recording.Channel, up uprightness, lag float64, ref say.Text, own bool) {
	c := rec.Channel(name)
	if c == nil {
		return
	}
	med, width, n := ratio(c, truth, up, lag)
	if n < minAgreement/4 || med != med {
		return
	}
	col := s.column(name)
	var now unit.Unit
	if col != nil {
		now, _ = unit.Parse(col.info.Unit)
	}
	stated := col != nil && col.info.Stated
	if math.Abs(med-1) <= unitBand || stated && math.Abs(med-1) < circBand {
		// The rear wheel slips under drive even when upright: only more than that is
		// the circumference.
		band := wheelBand
		if name == recording.RearSpeed {
			band = 0.08
		}
		if off := med - 1; !own && math.Abs(off) > band && width < 0.1 {
			mk := recording.Mark{Kind: recording.Suspect, Span: rec.Span(), Text: say.T("reads {off} % against {ref} over {n} pairs: logged with a wrong circumference?", fmt.Sprintf("%+.1f", 100*off), ref, n)}
			c.Marks = append(c.Marks, mk)
			s.problem(recording.Warning, s.headerLine, index(col), name, say.T("{name} {text}", name, mk.Text), say.T("correct the circumference, or state scale = {med} in a column map; it is not changed", fmt.Sprintf("%.4f", 1/med)))
		}
		s.settleUnit(name)
		return
	}
	if now.Quantity != unit.Speed {
		return
	}
	// What would the numbers be in another unit?
	best, off := unit.Unit{}, math.Inf(1)
	for _, sym := range []string{"km/h", "m/s", "mph", "kn", "ft/s"} {
		u := unit.Must(sym)
		k := (orOne(u.Mul) / orOne(u.Div)) / (orOne(now.Mul) / orOne(now.Div))
		if d := math.Abs(med*k - 1); d < off {
			best, off = u, d
		}
	}
	what := say.T("{name} reads {med} times {ref} over {n} pairs", name, fmt.Sprintf("%.3f", med), ref, n)
	if off > unitBand || best.Symbol == now.Symbol || width > 0.25*med {
		c.Marks = append(c.Marks, recording.Mark{Kind: recording.Suspect, Span: rec.Span(), Text: what})
		s.problem(recording.Warning, s.headerLine, index(col), name, say.T("{what}: no unit explains it", what), say.T("check the circumference or pulses per turn set in the logger; state scale in a column map"))
		return
	}
	k := (orOne(best.Mul) / orOne(best.Div)) / (orOne(now.Mul) / orOne(now.Div))
	s.rescale(rec, c, k, best.Symbol, say.T("{what}: the numbers are {symbol}, not {symbol2}", what, best.Symbol, now.Symbol))
}

// wheelOffset estimates how far the speed of a wheel leads GPS speed in time,
// by the shift that agrees best; a note, for later stages estimate it anew. A
// braked wheel slips as hard as it brakes, and a leant one that is picked up grows
// as it gains speed, which both look like a delay: only stretches of upright drive
// speak, and each by its ratio to the run's own median. 0 where nothing is found.
func (s *source) wheelOffset(rec *recording.Recording, truth *recording.Channel, up uprightness) float64 {
	w := rec.Channel(recording.FrontSpeed)
	if w == nil {
		w = rec.Channel(recording.RearSpeed)
	}
	if w == nil || len(truth.Value) < minAgreement {
		return 0
	}
	stride := 1 + len(truth.Value)/4000
	cost := func(lag float64) float64 {
		up := up()
		d := make([]float64, 0, len(truth.Value)/stride+1)
		now, before, after := newWalker(w), newWalker(w), newWalker(w)
		for i := 0; i < len(truth.Value); i += stride {
			t := truth.Time[i] - lag
			if truth.Value[i] < movingSpeed || t < w.Time[0]+0.2 || t > w.Time[len(w.Time)-1]-0.2 {
				continue
			}
			if (after.at(t+0.2)-before.at(t-0.2))/0.4 < 1.5 || !up(t) {
				continue
			}
			d = append(d, math.Log(math.Max(0.1, now.at(t))/truth.Value[i]))
		}
		if len(d) < minAgreement/4 {
			return math.Inf(1)
		}
		mid := quantile(d, 0.5)
		for i := range d {
			d[i] = math.Abs(d[i] - mid)
		}
		return quantile(d, 0.5) + quantile(d, 0.8)
	}
	best, at := math.Inf(1), 0.0
	try := func(from, to, step float64) {
		var lags []float64
		for lag := from; lag <= to; lag += step {
			lags = append(lags, lag)
		}
		costs := make([]float64, len(lags))
		signal.Each(len(lags), func(k int) { costs[k] = cost(lags[k]) })
		for k, c := range costs {
			if c < best {
				best, at = c, lags[k]
			}
		}
	}
	try(-2.0, 2.0001, 0.05)
	coarse := at
	try(coarse-0.05, coarse+0.0501, 0.01)
	if math.IsInf(best, 1) || math.Abs(at) < 0.075 || cost(0) < 1.15*best {
		return 0
	}
	sev := recording.Note
	if math.Abs(at) > 0.5 {
		sev = recording.Warning
	}
	s.problem(sev, 0, 0, truth.Name, say.T("GPS runs about {at} s behind the wheels", fmt.Sprintf("%.2f", at)), say.T("nothing to do: it is estimated again, and finer, when laps are timed"))
	return at
}
