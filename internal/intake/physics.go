package intake

import (
	"fmt"
	"math"
	"strings"

	"cornerwright/internal/recording"
	"cornerwright/internal/say"
)

// Limits of the tests for lying units; docs/formats.md states them.
const (
	unitBand     = 0.07 // how far a ratio may be off a unit's and still be that unit's
	circBand     = 0.12 // where a unit is stated, a smaller difference is the circumference's
	wheelBand    = 0.03 // a wheel speed further off than this was logged with a wrong circumference
	minAgreement = 200  // pairs of samples a test needs
	earthRadius  = 6371008.8
)

// physics finds units and signs that cannot be what the file says, by what the
// bike did: speeds against the path, lean against the turn. A correction is
// applied only where it is beyond doubt, and is marked; all else is proposed.
func physics(s *source, rec *recording.Recording) {
	path := pathOf(rec)
	if s.exchanged(rec, path) {
		path = nil // it is another circuit's, and judges nothing
	}
	ref := say.T("the GPS path")
	var truth *recording.Channel
	if path != nil {
		truth = path.speed
		s.judgeSpeed(rec, recording.GPSSpeed, truth, upright(rec, path), 0, ref, true)
		if g := rec.Channel(recording.GPSSpeed); g != nil {
			truth, ref = g, say.T("GPS speed")
		}
	} else if g := rec.Channel(recording.GPSSpeed); g != nil {
		truth, ref = g, say.T("GPS speed")
	}
	if truth != nil {
		up := upright(rec, path)
		lag := s.wheelOffset(rec, truth, up)
		s.judgeSpeed(rec, recording.FrontSpeed, truth, up, lag, ref, false)
		s.judgeSpeed(rec, recording.RearSpeed, truth, up, lag, ref, false)
	}
	if path != nil {
		s.judgeLean(rec, path)
		s.judgeYaw(rec, path)
	}
	if truth != nil {
		s.judgeAccel(rec, truth)
	}
}

// exchanged tells whether latitude and longitude stand in each other's columns:
// the way between fixes then is a meridian's where it should be a parallel's,
// and no speed fits it; exchanged, the speed does. It is told, not put right:
// the file says otherwise in words.
func (s *source) exchanged(rec *recording.Recording, path *track) bool {
	lat, lon := rec.Channel(recording.Latitude), rec.Channel(recording.Longitude)
	speed := rec.Channel(recording.GPSSpeed)
	if speed == nil {
		speed = rec.Channel(recording.FrontSpeed)
	}
	if path == nil || speed == nil {
		return false
	}
	is, _, n := ratio(speed, path.speed, always, 0)
	if n < minAgreement/4 || math.Abs(is-1) < 2*unitBand {
		return false
	}
	flipped := pathOf(&recording.Recording{Channels: []*recording.Channel{
		{Name: recording.Latitude, Time: lon.Time, Value: lon.Value}, {Name: recording.Longitude, Time: lat.Time, Value: lat.Value}}})
	if flipped == nil {
		return false
	}
	would, width, n := ratio(speed, flipped.speed, always, 0)
	if n < minAgreement/4 || math.Abs(would-1) > wheelBand || width > 0.1 {
		return false
	}
	text := say.T("latitude and longitude are exchanged: {name} reads {is} times the way between the fixes, {would} times with the two exchanged", speed.Name, fmt.Sprintf("%.3f", is), fmt.Sprintf("%.3f", would))
	for _, c := range []*recording.Channel{lat, lon} {
		c.Marks = append(c.Marks, recording.Mark{Kind: recording.Suspect, Span: rec.Span(), Text: text})
	}
	mend := say.T("exchange the two in a column map")
	if a, b := s.column(recording.Latitude), s.column(recording.Longitude); a != nil && b != nil {
		mend += say.T(`: from = {header}, channel = "longitude", and from = {header2}, channel = "latitude"`, fmt.Sprintf("%q", a.Header), fmt.Sprintf("%q", b.Header))
	}
	s.problem(recording.Fault, s.headerLine, index(s.column(recording.Latitude)), recording.Latitude, text, mend)
	return true
}

// track is what the positions alone say.
type track struct {
	speed *recording.Channel // m/s, at the middle of fixes
	yaw   *recording.Channel // rad/s, positive to the right
}

// pathOf derives speed and turn rate from positions, over about two seconds, so
// that a metre of GPS noise is small against the way; nil with too few fixes.
func pathOf(rec *recording.Recording) *track {
	lat, lon := rec.Channel(recording.Latitude), rec.Channel(recording.Longitude)
	if lat == nil || lon == nil || len(lat.Value) != len(lon.Value) || len(lat.Value) < minAgreement {
		return nil
	}
	n := len(lat.Time)
	rate := lat.Rate()
	k := max(1, int(math.Round(rate)))
	sp := &recording.Channel{Name: "path speed"}
	yw := &recording.Channel{Name: "path yaw rate"}
	cos := math.Cos(quantile(lat.Value, 0.5))
	stride := max(1, k/4)
	for i := k; i < n-k; i += stride {
		dt := lat.Time[i+k] - lat.Time[i-k]
		if dt <= 0 || dt > 1.5*float64(2*k)/math.Max(rate, 1e-9) {
			continue
		}
		x1, y1 := (lon.Value[i]-lon.Value[i-k])*cos*earthRadius, (lat.Value[i]-lat.Value[i-k])*earthRadius
		x2, y2 := (lon.Value[i+k]-lon.Value[i])*cos*earthRadius, (lat.Value[i+k]-lat.Value[i])*earthRadius
		d1, d2 := math.Hypot(x1, y1), math.Hypot(x2, y2)
		v := (d1 + d2) / dt
		sp.Time, sp.Value = append(sp.Time, lat.Time[i]), append(sp.Value, v)
		if d1 > 8*dt/2 && d2 > 8*dt/2 {
			turn := math.Atan2(x2*y1-y2*x1, x1*x2+y1*y2) // clockwise, to the right, is positive
			yw.Time, yw.Value = append(yw.Time, lat.Time[i]), append(yw.Value, turn/(dt/2))
		}
	}
	if len(sp.Value) < minAgreement/4 {
		return nil
	}
	return &track{sp, yw}
}

func index(c *column) int {
	if c == nil {
		return 0
	}
	return c.Index
}

func (s *source) column(ch string) *column {
	for _, c := range s.cols {
		if c.info.Channel == ch {
			return c
		}
	}
	return nil
}

// rescale applies a correction that is beyond doubt, and marks it.
func (s *source) rescale(rec *recording.Recording, c *recording.Channel, k float64, sym string, text say.Text) {
	if col := s.column(c.Name); col != nil && col.told {
		s.against(rec, c, col, text)
		return
	}
	for i := range c.Value {
		c.Value[i] *= k
	}
	c.Step *= math.Abs(k)
	if col := s.column(c.Name); col != nil {
		if col.info.Stated {
			c.Marks = append(c.Marks, recording.Mark{Kind: recording.Rescaled, Span: rec.Span(), Text: text})
			s.problem(recording.Warning, s.headerLine, col.Index, c.Name, say.T("{text}: put right", text), say.T("state it in a column map to be sure: from = {header}, unit = {sym}", fmt.Sprintf("%q", col.Header), fmt.Sprintf("%q", sym)))
		} else {
			s.dropDoubt(c.Name)
			s.problem(recording.Note, s.headerLine, col.Index, c.Name, say.T("{text}, which the file does not state", text), say.T("if that is wrong, state the unit in a column map"))
		}
		col.info.Why += "; " + text
		if sym != "" {
			col.info.Unit = sym
			c.SourceUnit = sym
		}
		if k < 0 {
			col.info.Invert = !col.info.Invert
		}
		if col.rescaled == 0 {
			col.rescaled = 1
		}
		col.rescaled *= k
	}
}

// against says what speaks against a column map, which is obeyed all the same.
func (s *source) against(rec *recording.Recording, c *recording.Channel, col *column, text say.Text) {
	c.Marks = append(c.Marks, recording.Mark{Kind: recording.Suspect, Span: rec.Span(), Text: say.T("{text}, says the ride; the column map is obeyed", text)})
	s.problem(recording.Warning, s.headerLine, col.Index, c.Name, say.T("{text}, says the ride; the column map states otherwise and is obeyed", text), say.T("correct unit, scale or invert for {header} in the column map", fmt.Sprintf("%q", col.Header)))
}

// settleUnit takes back a doubt about an unstated unit that physics settled.
func (s *source) settleUnit(ch string) {
	for i := range s.problems {
		p := &s.problems[i]
		if p.Channel == ch && p.Severity == recording.Warning && isDoubt(p.Text) {
			p.Severity = recording.Note
			p.Text += say.T(" (the path agrees)")
			p.Mend = say.T("nothing to do")
		}
	}
}

func (s *source) dropDoubt(ch string) {
	kept := s.problems[:0]
	for _, p := range s.problems {
		if !(p.Channel == ch && isDoubt(p.Text)) {
			kept = append(kept, p)
		}
	}
	s.problems = kept
}

// turn reverses a sign. A sign is a convention, not a lie: it is a note.
func (s *source) turn(rec *recording.Recording, c *recording.Channel, text say.Text) {
	if col := s.column(c.Name); col != nil && col.told {
		s.against(rec, c, col, text)
		return
	}
	for i := range c.Value {
		c.Value[i] = -c.Value[i] + 0
	}
	c.Marks = append(c.Marks, recording.Mark{Kind: recording.Rescaled, Span: rec.Span(), Text: text})
	if col := s.column(c.Name); col != nil {
		col.info.Why += "; " + text
		col.info.Invert = !col.info.Invert
		if col.rescaled == 0 {
			col.rescaled = 1
		}
		col.rescaled = -col.rescaled
		s.problem(recording.Note, s.headerLine, col.Index, c.Name, say.T("{text}: turned round", text), say.T("state invert = true in a column map for {header} to be sure", fmt.Sprintf("%q", col.Header)))
	}
}

// isDoubt tells a problem about an unstated unit.
func isDoubt(text say.Text) bool { return strings.Contains(string(text), "states no unit") }

func absOf(v []float64) []float64 {
	out := make([]float64, 0, 20000)
	for i := 0; i < len(v); i += 1 + len(v)/20000 {
		out = append(out, math.Abs(v[i]))
	}
	return out
}
