package intake

import (
	"math"
	"sort"

	"cornerwright/internal/recording"
	"cornerwright/internal/say"
)

// coverGap gives a gap of the clock's own its reason where the channel has the
// same gap already.
func coverGap(c *recording.Channel, m recording.Mark) bool {
	for i := range c.Marks {
		if o := &c.Marks[i]; (o.Kind == recording.Gap || o.Kind == recording.Dropout) && o.From <= m.From && o.To >= m.To {
			o.Text += "; " + m.Text
			return true
		}
	}
	return false
}

// gaps marks where samples are missing: a gap where the whole recording pauses,
// a dropout where it goes on (clock has the instants of all rows) without this
// channel.
func gaps(c *recording.Channel, clock []float64) {
	rate := c.Rate()
	if rate == 0 {
		return
	}
	limit := math.Max(gapSteps/rate, gapSeconds) * (1 + 1e-6) // stamps are rounded
	n := 0
	for i := 1; i < len(c.Time); i++ {
		from, to := c.Time[i-1], c.Time[i]
		if d := to - from; d > limit {
			if n++; n > maxMarks {
				continue
			}
			m := recording.Mark{Kind: recording.Gap, Span: recording.Span{From: from, To: to}, Text: say.T("no sample for {d} s (usual interval {rate} s)", num(d), num(1/rate))}
			if goesOn(clock, from, to, limit) {
				m.Kind = recording.Dropout
				m.Text += say.T(" while the recording goes on")
			}
			c.Marks = append(c.Marks, m)
		}
	}
}

// goesOn tells whether a clock has instants all through a stretch, no two of
// them further apart than limit.
func goesOn(clock []float64, from, to, limit float64) bool {
	i := sort.SearchFloat64s(clock, from)
	last := from
	for ; i < len(clock) && clock[i] < to; i++ {
		if clock[i]-last > limit {
			return false
		}
		last = clock[i]
	}
	return to-last <= limit
}
