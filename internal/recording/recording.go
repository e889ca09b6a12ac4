// Package recording holds one recording in memory: channels, each with its own
// clock, gaps and health marks.
//
// Everything inside is SI. Axes and signs of the raw channels follow ISO 8855:
// x forward, y left, z up, so roll_rate is positive towards right lean,
// pitch_rate positive nose down, yaw_rate and steer positive to the LEFT. Lean
// is positive to the right. What is derived from them for people (lean, path
// curvature, lateral offset, turn direction) is positive to the right; package
// bike is the one place that turns yaw rate round. A file with another sign is
// converted once, by its reader or after the sign test against the path.
package recording

import (
	"math"
	"sort"
	"time"

	"cornerwright/internal/say"
)

// Canonical channel names. Unknown columns keep their own name and have
// Channel.Known false.
const (
	Latitude   = "latitude"    // rad
	Longitude  = "longitude"   // rad
	Altitude   = "altitude"    // m
	GPSSpeed   = "gps_speed"   // m/s
	GPSHeading = "gps_heading" // rad, clockwise from north
	FrontSpeed = "front_speed" // m/s, wheel speed times logged circumference
	RearSpeed  = "rear_speed"  // m/s, likewise
	RPM        = "rpm"         // rad/s in memory; shown as 1/min
	Gear       = "gear"        // 1..8, 0 neutral
	Grip       = "grip"        // 0..1, what the rider asks
	Throttle   = "throttle"    // 0..1, what the plate does
	Cut        = "cut"         // 0..1, torque reduction
	FrontBrake = "front_brake" // Pa
	RearBrake  = "rear_brake"  // Pa
	Clutch     = "clutch"      // 0 closed (home) .. 1 pulled
	Lean       = "lean"        // rad, positive right
	RollRate   = "roll_rate"   // rad/s, positive towards right lean, body axis
	PitchRate  = "pitch_rate"  // rad/s, positive nose down, body axis
	YawRate    = "yaw_rate"    // rad/s, positive to the left, body axis
	AccelX     = "accel_x"     // m/s2, forward, body axis
	AccelY     = "accel_y"     // m/s2, left, body axis
	AccelZ     = "accel_z"     // m/s2, up, body axis (reads +g at rest)
	Fork       = "fork"        // m, compression from full extension
	Shock      = "shock"       // m, compression from full extension
	Steer      = "steer"       // rad, positive left
	Coolant    = "coolant"     // K
	AirTemp    = "air_temp"    // K
	Lambda     = "lambda"      // 1
	Slot       = "slot"        // 0 = A, 1 = B, ...
	LapMarker  = "lap_marker"  // a count, or a pulse, at the line
)

// Span is a stretch of the recording's own clock, in seconds, From <= To.
type Span struct{ From, To float64 }

// Contains tells whether t lies in the span, ends included.
func (s Span) Contains(t float64) bool { return t >= s.From && t <= s.To }

// Severity grades a problem.
type Severity string

const (
	Note    Severity = "note"    // worth knowing
	Warning Severity = "warning" // some numbers are weaker for it
	Fault   Severity = "fault"   // something cannot be given
)

// Problem is one thing wrong with a file or channel, with its place and mend.
// Line and Column count from 1; 0 where there is no such place.
type Problem struct {
	Severity Severity `json:"severity"`
	Line     int      `json:"line,omitempty"`
	Column   int      `json:"column,omitempty"`
	Channel  string   `json:"channel,omitempty"`
	Text     say.Text `json:"text"`
	Mend     say.Text `json:"mend"`
}

// Kept is a problem as it is stored: its texts with their values, so that a page
// can say them later in any language. Printed, a Problem is English.
type Kept struct {
	Severity Severity `json:"severity"`
	Line     int      `json:"line,omitempty"`
	Column   int      `json:"column,omitempty"`
	Channel  string   `json:"channel,omitempty"`
	Text     string   `json:"text"`
	Mend     string   `json:"mend"`
}

// Keep makes problems ready to be stored.
func Keep(list []Problem) []Kept {
	if list == nil {
		return nil
	}
	out := make([]Kept, len(list))
	for i, p := range list {
		out[i] = Kept{p.Severity, p.Line, p.Column, p.Channel, string(p.Text), string(p.Mend)}
	}
	return out
}

// Unkeep makes stored problems what they were.
func Unkeep(list []Kept) []Problem {
	if list == nil {
		return nil
	}
	out := make([]Problem, len(list))
	for i, k := range list {
		out[i] = Problem{k.Severity, k.Line, k.Column, k.Channel, say.Text(k.Text), say.Text(k.Mend)}
	}
	return out
}

// MarkKind names a kind of health mark.
type MarkKind string

const (
	Stuck      MarkKind = "stuck"
	Spike      MarkKind = "spike"
	OutOfRange MarkKind = "out-of-range"
	Saturated  MarkKind = "saturated"
	Gap        MarkKind = "gap"
	Dropout    MarkKind = "dropout"
	ClockJump  MarkKind = "clock-jump"
	Rescaled   MarkKind = "rescaled" // a lying unit or sign was put right, beyond doubt
	Suspect    MarkKind = "suspect"  // evidence of a lie, not put right
)

// Mark is a health mark on a stretch of one channel. It goes with the data into
// every later number.
type Mark struct {
	Kind MarkKind
	Span
	Text say.Text // evidence, in words
}

// KeptMark is a mark as it is stored, its text with its values.
type KeptMark struct {
	Kind MarkKind
	Span
	Text string
}

// KeepMarks makes marks ready to be stored.
func KeepMarks(list []Mark) []KeptMark {
	if list == nil {
		return nil
	}
	out := make([]KeptMark, len(list))
	for i, m := range list {
		out[i] = KeptMark{m.Kind, m.Span, string(m.Text)}
	}
	return out
}

// UnkeepMarks makes stored marks what they were.
func UnkeepMarks(list []KeptMark) []Mark {
	if list == nil {
		return nil
	}
	out := make([]Mark, len(list))
	for i, k := range list {
		out[i] = Mark{k.Kind, k.Span, say.Text(k.Text)}
	}
	return out
}

// Channel is one measured quantity on its own clock.
type Channel struct {
	Name       string    // canonical, or the column's own name
	Known      bool      // Name is canonical
	From       string    // the name as the file has it
	Unit       string    // SI symbol of Value
	SourceUnit string    // unit as the file has it
	Time       []float64 // s on the recording's clock, strictly increasing; may be shared between channels: read only
	Value      []float64 // SI; never NaN (a blank is no sample)
	Step       float64   // quantisation step in SI, 0 if unknown
	Marks      []Mark
}

// Rate returns the median sample rate in 1/s, 0 with fewer than two samples.
func (c *Channel) Rate() float64 {
	n := len(c.Time)
	if n < 2 {
		return 0
	}
	// A sample of the intervals is enough and keeps hour-long files cheap.
	stride := 1 + n/4096
	d := make([]float64, 0, n/stride+1)
	for i := 1; i < n; i += stride {
		d = append(d, c.Time[i]-c.Time[i-1])
	}
	sort.Float64s(d)
	m := d[len(d)/2]
	if m <= 0 {
		return 0
	}
	return 1 / m
}

// Jitter is the median deviation of the channel's intervals from the usual one,
// as a share of it, from some four thousand of them; NaN with no rate.
func (c *Channel) Jitter() float64 {
	rate := c.Rate()
	if rate == 0 {
		return math.NaN()
	}
	var d []float64
	for i := 1; i < len(c.Time); i += 1 + len(c.Time)/4096 {
		d = append(d, math.Abs((c.Time[i]-c.Time[i-1])*rate-1))
	}
	sort.Float64s(d)
	return d[len(d)/2]
}

// Marked tells whether any mark of the given kinds (any kind if none is given)
// touches the span.
func (c *Channel) Marked(s Span, kinds ...MarkKind) bool {
	for _, m := range c.Marks {
		if m.To < s.From || m.From > s.To {
			continue
		}
		if len(kinds) == 0 {
			return true
		}
		for _, k := range kinds {
			if m.Kind == k {
				return true
			}
		}
	}
	return false
}

// At returns the value at time t, linear between samples, held at the ends;
// NaN if the channel is empty.
func (c *Channel) At(t float64) float64 {
	n := len(c.Time)
	if n == 0 {
		return math.NaN()
	}
	i := sort.SearchFloat64s(c.Time, t)
	switch {
	case i == 0:
		return c.Value[0]
	case i == n:
		return c.Value[n-1]
	}
	t0, t1 := c.Time[i-1], c.Time[i]
	f := (t - t0) / (t1 - t0)
	return c.Value[i-1] + f*(c.Value[i]-c.Value[i-1])
}

// Recording is everything one file says.
type Recording struct {
	Channels []*Channel
	Format   string    // as the reader names it
	Name     string    // file name, for messages only
	Hash     string    // sha-256 of the original, lower-case hex
	Epoch    time.Time // wall-clock at time 0 of the recording's clock; zero if the file does not say
	Rows     int
	Problems []Problem
	Clock    []Mark // marks on the clock itself: jumps, restarts
}

// Channel returns the channel with a canonical (or own) name, nil if absent or
// empty.
func (r *Recording) Channel(name string) *Channel {
	for _, c := range r.Channels {
		if c.Name == name && len(c.Time) > 0 {
			return c
		}
	}
	return nil
}

// Has tells whether all named channels are present.
func (r *Recording) Has(names ...string) bool {
	for _, n := range names {
		if r.Channel(n) == nil {
			return false
		}
	}
	return true
}

// Span returns the first and last instant of any channel.
func (r *Recording) Span() Span {
	s := Span{math.Inf(1), math.Inf(-1)}
	for _, c := range r.Channels {
		if n := len(c.Time); n > 0 {
			s.From = math.Min(s.From, c.Time[0])
			s.To = math.Max(s.To, c.Time[n-1])
		}
	}
	if s.From > s.To {
		return Span{}
	}
	return s
}
