package intake

import (
	"math"
	"slices"
	"sort"

	"cornerwright/internal/recording"
	"cornerwright/internal/say"
	"cornerwright/internal/unit"
)

// stuck marks a channel that stands still while the bike moves. Channels that
// rest by nature (brakes, cut, clutch, states, temperatures) are judged at
// values other than rest only.
func stuck(s *source, rec *recording.Recording, c *recording.Channel, d recording.Describe, moving []recording.Span) {
	if d.Slow || len(moving) == 0 {
		return
	}
	restful := false
	limit := stuckSeconds
	switch d.Name {
	case recording.FrontBrake, recording.RearBrake, recording.Cut, recording.Clutch, recording.Grip, recording.Throttle, recording.Lambda:
		restful = true
		limit = 20
	case recording.Altitude, recording.Steer:
		limit = 30
	}
	// Due north, longitude stands: position is stuck where both of its halves are.
	var other *recording.Channel
	switch d.Name {
	case recording.Latitude:
		other = rec.Channel(recording.Longitude)
	case recording.Longitude:
		other = rec.Channel(recording.Latitude)
	}
	lo, hi := 0.0, 0.0
	if restful {
		lo, hi = quantile(c.Value, 0.02), quantile(c.Value, 0.98)
	}
	if restless[d.Name] {
		limit = math.Max(stuckLeast, math.Min(limit, stuckTimes*usualStand(c, moving)))
	}
	n, total := 0, 0.0
	start := 0
	for i := 1; i <= len(c.Value); i++ {
		if i < len(c.Value) && c.Value[i] == c.Value[start] {
			continue
		}
		from, to := c.Time[start], c.Time[i-1]
		v := c.Value[start]
		start = i
		if to-from < limit || restful && (v <= lo || v >= hi) {
			continue
		}
		m := overlap(moving, recording.Span{From: from, To: to})
		if m < limit || changes(other, from, to) {
			continue
		}
		if n++; n <= maxMarks {
			c.Marks = append(c.Marks, recording.Mark{Kind: recording.Stuck, Span: recording.Span{From: from, To: to}, Text: say.T("stands at {v} for {to} s while the bike moves", unit.Show(v, d.Display, d.Display.Auto()), num(to-from))})
		}
		total += m
	}
	if n > 0 {
		s.problem(recording.Warning, 0, 0, c.Name, say.T("{name} does not change for {total} s while the bike moves ({n} {n|stretch|stretches})", c.Name, num(total), n), say.T("check sensor and plug; the stretches are marked"))
	}
}

// idle marks a channel that a ridden bike cannot leave alone and that reads one
// value from end to end: a lever or a gear that nobody ever moved is a sensor
// that is not there.
func idle(s *source, rec *recording.Recording, c *recording.Channel, d recording.Describe, moving []recording.Span) {
	switch d.Name {
	case recording.Grip, recording.Throttle, recording.FrontBrake, recording.Gear:
	default:
		return
	}
	if len(c.Value) == 0 {
		return
	}
	for _, v := range c.Value {
		if v != c.Value[0] {
			return
		}
	}
	span := recording.Span{From: c.Time[0], To: c.Time[len(c.Time)-1]}
	m := overlap(moving, span)
	if m < idleSeconds {
		return
	}
	v := unit.Show(c.Value[0], d.Display, d.Display.Auto())
	c.Marks = append(c.Marks, recording.Mark{Kind: recording.Stuck, Span: span, Text: say.T("reads {value} from end to end", v)})
	s.problem(recording.Warning, 0, 0, c.Name, say.T("{name} reads {v} from end to end, though the bike moves for {m} s", c.Name, v, num(m)), say.T(`check sensor and plug, or leave the column out with channel = "ignore"`))
}

// restless channels are never still for long on a bike that rides: how long one
// may stand is learnt from how long it usually does.
var restless = map[string]bool{recording.FrontSpeed: true, recording.RearSpeed: true, recording.Lean: true,
	recording.RollRate: true, recording.PitchRate: true, recording.YawRate: true}

// usualStand is how long a channel stands at one value on a bike that moves: the
// length in s that 999 in 1000 of its stands do not exceed. A coarse channel
// stands long by nature.
func usualStand(c *recording.Channel, moving []recording.Span) float64 {
	// Only the longest are kept: the quantile is among the thousandth at the top.
	keep := len(c.Value)/1000 + 2
	longest := make([]float64, 0, 2*keep)
	n, least := 0, 0.0
	start := 0
	for i := 1; i < len(c.Value); i++ {
		if c.Value[i] == c.Value[start] {
			continue
		}
		from, to := c.Time[start], c.Time[i]
		start = i
		for len(moving) > 0 && moving[0].To < from {
			moving = moving[1:] // behind every stand to come
		}
		if len(moving) == 0 {
			break
		}
		// Nearly all stands lie within one stretch or outside all.
		m := moving[0]
		within := m.From <= from && to <= m.To
		if d := to - from; within || m.From <= to && overlap(moving, recording.Span{From: from, To: to}) > d/2 {
			n++
			if d <= least {
				continue
			}
			if longest = append(longest, d); len(longest) == 2*keep {
				slices.Sort(longest)
				longest = longest[:copy(longest, longest[keep:])]
				least = longest[0]
			}
		}
	}
	if n < 200 {
		return math.Inf(1)
	}
	slices.Sort(longest)
	return longest[len(longest)-(n-n*999/1000)]
}

// changes tells whether a channel takes more than one value between two instants.
func changes(c *recording.Channel, from, to float64) bool {
	if c == nil {
		return false
	}
	i := sort.SearchFloat64s(c.Time, from)
	for j := i; j < len(c.Time) && c.Time[j] <= to; j++ {
		if c.Value[j] != c.Value[i] {
			return true
		}
	}
	return false
}

// saturated marks runs at the channel's own extreme that look cut off: many
// samples exactly at the largest value while neighbours vary.
func saturated(s *source, c *recording.Channel, d recording.Describe) {
	switch d.Quantity {
	case unit.Pressure, unit.AngularRate, unit.Acceleration, unit.Length, unit.Angle:
	default:
		return
	}
	switch d.Name {
	case recording.Latitude, recording.Longitude, recording.GPSHeading, recording.Altitude, recording.RPM:
		return // the limiter holds rpm by nature
	}
	if len(c.Value) < 200 {
		return
	}
	hi, lo := math.Inf(-1), math.Inf(1)
	for _, v := range c.Value { // never NaN
		if v > hi {
			hi = v
		}
		if v < lo {
			lo = v
		}
	}
	med := quantile(c.Value, 0.5)
	for _, end := range []float64{hi, lo} {
		// An end where the channel rests (brake released) is no saturation.
		if math.Abs(end-med) < 0.25*(hi-lo) || hi == lo {
			continue
		}
		n := 0
		run := 0
		for i := 0; i <= len(c.Value); i++ {
			if i < len(c.Value) && c.Value[i] == end {
				run++
				continue
			}
			if run >= flatSamples/2 {
				if n++; n <= maxMarks {
					c.Marks = append(c.Marks, recording.Mark{Kind: recording.Saturated, Span: recording.Span{From: c.Time[i-run], To: c.Time[i-1]}, Text: say.T("{run} samples in a row at {end}, the end of the scale", run, unit.Show(end, d.Display, d.Display.Auto()))})
				}
			}
			run = 0
		}
		if n > 0 {
			s.problem(recording.Warning, 0, 0, c.Name, say.T("{name} runs into the end of its scale at {end}, {n} {n|time|times}", c.Name, unit.Show(end, d.Display, d.Display.Auto()), n), say.T("use a sensor or range that reaches further; peaks there are too small"))
		}
	}
}
