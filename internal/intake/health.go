package intake

import (
	"math"
	"sort"
	"sync"
	"sync/atomic"

	"cornerwright/internal/recording"
	"cornerwright/internal/say"
	"cornerwright/internal/signal"
	"cornerwright/internal/unit"
)

// Limits of the health marks; docs/formats.md states them. Common practice.
const (
	gapSteps     = 3.0  // a gap is longer than this many usual intervals ...
	gapSeconds   = 0.3  // ... and than this
	stuckSeconds = 5.0  // no change for so long while the bike moves
	stuckLeast   = 0.3  // s, for channels that are never still, and ...
	stuckTimes   = 5.0  // ... so many times their usual stand
	spikeSigma   = 8.0  // how far a single sample leaves its neighbours, in their spread
	idleSeconds  = 60.0 // no bike is ridden so long without gear, grip and front brake
	flatSamples  = 20   // samples in a row at an extreme value: saturated
	maxMarks     = 200  // marks of one kind kept per channel
	movingSpeed  = 5.0  // m/s
	rangeSpare   = 1e-9 // relative, at the ends of a range
)

// health marks what is wrong in each channel. Channels are looked at side by
// side; what is said of them stands in their order.
func health(s *source, rec *recording.Recording, workers int) {
	moving := movingSpans(rec)
	seen := make([]looked, len(rec.Channels))
	var next atomic.Int64
	var wait sync.WaitGroup
	for range max(1, min(workers, len(seen))) {
		wait.Go(func() {
			for i := int(next.Add(1)) - 1; i < len(seen); i = int(next.Add(1)) - 1 {
				seen[i].look(s.finalClock, rec, rec.Channels[i], moving)
			}
		})
	}
	wait.Wait()
	type clock struct {
		n           int
		first, last float64
	}
	gapDone := map[clock]bool{}
	for i, c := range rec.Channels {
		if n := len(seen[i].gaps); n > 0 && len(c.Time) > 0 {
			// Channels on one clock share its gaps: say it once.
			key := clock{len(c.Time), c.Time[0], c.Time[len(c.Time)-1]}
			if !gapDone[key] {
				gapDone[key] = true
				long, out := 0.0, 0
				for _, m := range seen[i].gaps {
					long = math.Max(long, m.To-m.From)
					if m.Kind == recording.Dropout {
						out++
					}
				}
				var what []say.Text
				if n > out {
					what = append(what, say.T("{n} {n|gap|gaps}", n-out))
				}
				if out > 0 {
					what = append(what, say.T("{n} {n|dropout|dropouts}", out))
				}
				s.problem(recording.Warning, 0, 0, c.Name, say.T("{what} in {name}, the longest {long} s", say.Join(what, say.T(" and ")), c.Name, num(long)), say.T("laps that span one are marked; nothing is interpolated over it"))
			}
		}
		s.problems = append(s.problems, seen[i].said.problems...)
	}
	for _, m := range rec.Clock {
		for _, c := range rec.Channels {
			if m.Kind != recording.Gap || !coverGap(c, m) {
				c.Marks = append(c.Marks, m)
			}
		}
	}
	for _, c := range rec.Channels {
		sort.SliceStable(c.Marks, func(i, j int) bool { return c.Marks[i].From < c.Marks[j].From })
	}
}

// looked is what was found in one channel: its gaps, and what is said of the rest.
type looked struct {
	gaps []recording.Mark
	said source
}

func (l *looked) look(clock []float64, rec *recording.Recording, c *recording.Channel, moving []recording.Span) {
	before := len(c.Marks)
	gaps(c, clock)
	l.gaps = c.Marks[before:len(c.Marks):len(c.Marks)]
	d, known := recording.Of(c.Name)
	if known {
		outOfRange(&l.said, c, d)
	}
	if known {
		idle(&l.said, rec, c, d, moving)
	}
	if known && !d.State {
		spikes(&l.said, c, d)
		stuck(&l.said, rec, c, d, moving)
		saturated(&l.said, c, d)
	}
}

func outOfRange(s *source, c *recording.Channel, d recording.Describe) {
	u := d.Display
	spare := rangeSpare * math.Max(math.Abs(d.Lo), math.Abs(d.Hi))
	n, spans := 0, 0
	from, to, worst := nan, nan, 0.0
	flush := func() {
		if from == from {
			if spans++; spans <= maxMarks {
				c.Marks = append(c.Marks, recording.Mark{Kind: recording.OutOfRange, Span: recording.Span{From: from, To: to}, Text: say.T("{worst} is outside {lo}", unit.Show(worst, u, u.Auto()), unit.ShowInterval(d.Lo, d.Hi, u))})
			}
			from = nan
		}
	}
	lo, hi := d.Lo-spare, d.Hi+spare
	for i, v := range c.Value {
		if v < lo || v > hi {
			n++
			if from != from {
				from, worst = c.Time[i], v
			}
			to = c.Time[i]
			if math.Abs(v) > math.Abs(worst) {
				worst = v
			}
			continue
		}
		if from == from {
			flush()
		}
	}
	flush()
	if n > 0 {
		s.problem(recording.Warning, 0, 0, c.Name, say.T("{name}: {n} {n|sample|samples} of {value} outside {lo}", c.Name, n, len(c.Value), unit.ShowInterval(d.Lo, d.Hi, u)), say.T("check sensor, plug and unit; the stretches are marked"))
	}
}

// spikes marks single samples far off both neighbours, which agree: measured
// against the usual distance of a sample from the mean of its neighbours
// (median absolute deviation), and at least a sensible step of the quantity.
func spikes(s *source, c *recording.Channel, d recording.Describe) {
	v := c.Value
	if len(v) < 50 || d.Slow && len(v) < 200 {
		return
	}
	r := make([]float64, 0, min(len(v), 20001))
	for i := 1; i < len(v)-1; i += 1 + len(v)/20000 {
		r = append(r, math.Abs(v[i]-(v[i-1]+v[i+1])/2))
	}
	scale := math.Max(signal.Nth(r, len(r)/2)*1.4826, signal.Nth(r, len(r)*95/100)/2)
	limit := math.Max(spikeSigma*scale, spikeFloor(d))
	n := 0
	worst := 0.0
	for i := 1; i < len(v)-1; i++ {
		// The rarest first: hardly any step is so large.
		a := v[i] - v[i-1]
		if math.Abs(a) < limit {
			continue
		}
		b := v[i] - v[i+1]
		if a*b <= 0 || math.Abs(b) < limit || math.Abs(v[i+1]-v[i-1]) > limit/2 {
			continue
		}
		if d.Name == recording.GPSHeading && math.Abs(a) > math.Pi {
			continue
		}
		if n++; n <= maxMarks {
			c.Marks = append(c.Marks, recording.Mark{Kind: recording.Spike, Span: recording.Span{From: c.Time[i], To: c.Time[i]}, Text: say.T("one sample at {v} between {v2} and {v3}", unit.Show(v[i], d.Display, d.Display.Auto()), unit.Show(v[i-1], d.Display, d.Display.Auto()), unit.Show(v[i+1], d.Display, d.Display.Auto()))})
		}
		worst = math.Max(worst, math.Abs(a))
	}
	if n > 0 {
		largest := unit.ShowDelta(worst, d.Display, d.Display.Auto())
		if d.Name == recording.Latitude || d.Name == recording.Longitude {
			largest = unit.ShowDelta(worst*earthRadius, unit.Must("m"), 0) // along a meridian; no parallel is longer
		}
		s.problem(recording.Warning, 0, 0, c.Name, say.T("{name}: {n} {n|spike|spikes}, the largest by {worst}", c.Name, n, largest), say.T("check plug and cable; the samples are kept and marked"))
	}
}

// spikeFloor is the least single-sample step that counts as a spike.
func spikeFloor(d recording.Describe) float64 {
	switch d.Name {
	case recording.Latitude, recording.Longitude:
		return 15 / 6371000.0
	}
	switch d.Quantity {
	case unit.Speed:
		return 4
	case unit.Angle:
		return 8 * math.Pi / 180
	case unit.AngularRate:
		if d.Name == recording.RPM {
			return 1500 * 2 * math.Pi / 60
		}
		return 60 * math.Pi / 180
	case unit.Acceleration:
		return 20
	case unit.Pressure:
		return 4e5
	case unit.Temperature:
		return 8
	case unit.Ratio:
		return 0.4
	case unit.Length:
		if d.Name == recording.Altitude {
			return 15
		}
		return 0.025
	}
	return math.Inf(1)
}

// movingSpans are stretches in which the bike moves: any of its speeds says so, for
// the one that stands at nought may be the one that has failed.
func movingSpans(rec *recording.Recording) []recording.Span {
	var all []recording.Span
	for _, n := range []string{recording.GPSSpeed, recording.FrontSpeed, recording.RearSpeed} {
		c := rec.Channel(n)
		if c == nil {
			continue
		}
		on := false
		for i, v := range c.Value {
			if v > movingSpeed {
				if !on {
					all = append(all, recording.Span{From: c.Time[i], To: c.Time[i]})
					on = true
				}
				all[len(all)-1].To = c.Time[i]
			} else {
				on = false
			}
		}
	}
	sort.Slice(all, func(i, j int) bool { return all[i].From < all[j].From })
	var out []recording.Span
	for _, s := range all {
		if n := len(out); n > 0 && s.From <= out[n-1].To {
			out[n-1].To = math.Max(out[n-1].To, s.To)
			continue
		}
		out = append(out, s)
	}
	return out
}

func overlap(spans []recording.Span, s recording.Span) float64 {
	sum := 0.0
	i := sort.Search(len(spans), func(i int) bool { return spans[i].To >= s.From })
	for ; i < len(spans) && spans[i].From <= s.To; i++ {
		sum += math.Max(0, math.Min(spans[i].To, s.To)-math.Max(spans[i].From, s.From))
	}
	return sum
}
