package intake

import (
	"fmt"
	"math"
	"strings"

	"cornerwright/internal/recording"
	"cornerwright/internal/signal"
	"cornerwright/internal/unit"
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
	ref := "the GPS path"
	var truth *recording.Channel
	if path != nil {
		truth = path.speed
		s.judgeSpeed(rec, recording.GPSSpeed, truth, upright(rec, path), 0, ref, true)
		if g := rec.Channel(recording.GPSSpeed); g != nil {
			truth, ref = g, "GPS speed"
		}
	} else if g := rec.Channel(recording.GPSSpeed); g != nil {
		truth, ref = g, "GPS speed"
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
	always := func(float64) bool { return true }
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
	text := fmt.Sprintf("latitude and longitude are exchanged: %s reads %.3f times the way between the fixes, %.3f times with the two exchanged", speed.Name, is, would)
	for _, c := range []*recording.Channel{lat, lon} {
		c.Marks = append(c.Marks, recording.Mark{Kind: recording.Suspect, Span: rec.Span(), Text: text})
	}
	mend := "exchange the two in a column map"
	if a, b := s.column(recording.Latitude), s.column(recording.Longitude); a != nil && b != nil {
		mend += fmt.Sprintf(": from = %q, channel = \"longitude\", and from = %q, channel = \"latitude\"", a.Header, b.Header)
	}
	s.problem(recording.Fault, s.headerLine, index(s.column(recording.Latitude)), recording.Latitude, text, mend)
	return true
}

// judgeAccel tests unit and sign of the longitudinal acceleration against what
// the speed does. Grades, the lean of the sensor and its zero are small beside
// a factor of g.
func (s *source) judgeAccel(rec *recording.Recording, speed *recording.Channel) {
	c, col, u := s.stated(rec, recording.AccelX, unit.Acceleration)
	if c == nil {
		return
	}
	var sx, sy, sxy, sxx, syy, n float64
	for t := math.Max(c.Time[0], speed.Time[0]) + 1; t < math.Min(c.Time[len(c.Time)-1], speed.Time[len(speed.Time)-1])-1; t += 0.5 {
		if speed.At(t) < 8 {
			continue
		}
		x, y := speed.At(t+0.5)-speed.At(t-0.5), around(c, t)
		n, sx, sy, sxy, sxx, syy = n+1, sx+x, sy+y, sxy+x*y, sxx+x*x, syy+y*y
	}
	if n < 60 {
		return
	}
	sxx, syy, sxy = sxx-sx*sx/n, syy-sy*sy/n, sxy-sx*sy/n
	corr := sxy / math.Sqrt(sxx*syy)
	if sxx/n < 0.25 || !(math.Abs(corr) > 0.7) {
		return
	}
	const g = 9.80665
	slope := sxy / sxx
	text := fmt.Sprintf("accel_x moves %.2f m/s2 for each m/s2 by which the speed changes, over %.0f places", slope, n)
	if slope < 0 {
		text += ": forward is negative in the file"
	}
	switch a := math.Abs(slope); {
	case u.Symbol == "g" && a > 0.6*g && a < 1.6*g:
		s.reunit(rec, c, col, unit.Must("m/s2"), text+": the numbers are m/s2, not g")
	case u.Symbol == "m/s2" && a > 0.6/g && a < 1.6/g:
		s.reunit(rec, c, col, unit.Must("g"), text+": the numbers are g, not m/s2")
	}
	if slope < 0 {
		s.turn(rec, c, text)
	}
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

// upright tells when the bike stands nearly upright, by the lean channel (whatever
// its unit: up to three tenths of its 98th percentile), without one by the path (up
// to 2 m/s2 sideways), without either always. A leant tyre rolls on a smaller
// radius: 12 % at 50 degrees.
func upright(rec *recording.Recording, path *track) func(t float64) bool {
	if lean := rec.Channel(recording.Lean); lean != nil {
		limit := 0.3 * quantile(absOf(lean.Value), 0.98)
		w := walker{c: lean}
		return func(t float64) bool { return math.Abs(w.at(t)) <= limit }
	}
	if path != nil && len(path.yaw.Value) > 0 {
		y, v := walker{c: path.yaw}, walker{c: path.speed}
		return func(t float64) bool { return math.Abs(y.at(t)*v.at(t)) <= 2 }
	}
	return func(float64) bool { return true }
}

// ratio returns the median of c over truth where truth is fast and the bike
// upright, the half width of the ratio's middle 80 %, and the pairs used. truth
// runs lag seconds behind c.
func ratio(c, truth *recording.Channel, up func(t float64) bool, lag float64) (med, width float64, n int) {
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
func (s *source) judgeSpeed(rec *recording.Recording, name string, truth *recording.Channel, up func(t float64) bool, lag float64, ref string, own bool) {
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
			mk := recording.Mark{Kind: recording.Suspect, Span: rec.Span(), Text: fmt.Sprintf("reads %+.1f %% against %s over %d pairs: logged with a wrong circumference?", 100*off, ref, n)}
			c.Marks = append(c.Marks, mk)
			s.problem(recording.Warning, s.headerLine, index(col), name, fmt.Sprintf("%s %s", name, mk.Text), fmt.Sprintf("correct the circumference, or state scale = %.4f in a column map; it is not changed", 1/med))
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
	what := fmt.Sprintf("%s reads %.3f times %s over %d pairs", name, med, ref, n)
	if off > unitBand || best.Symbol == now.Symbol || width > 0.25*med {
		c.Marks = append(c.Marks, recording.Mark{Kind: recording.Suspect, Span: rec.Span(), Text: what})
		s.problem(recording.Warning, s.headerLine, index(col), name, what+": no unit explains it", "check the circumference or pulses per turn set in the logger; state scale in a column map")
		return
	}
	k := (orOne(best.Mul) / orOne(best.Div)) / (orOne(now.Mul) / orOne(now.Div))
	s.rescale(rec, c, k, best.Symbol, fmt.Sprintf("%s: the numbers are %s, not %s", what, best.Symbol, now.Symbol))
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
func (s *source) rescale(rec *recording.Recording, c *recording.Channel, k float64, sym, text string) {
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
			s.problem(recording.Warning, s.headerLine, col.Index, c.Name, text+": put right", fmt.Sprintf("state it in a column map to be sure: from = %q, unit = %q", col.Header, sym))
		} else {
			s.dropDoubt(c.Name)
			s.problem(recording.Note, s.headerLine, col.Index, c.Name, text+", which the file does not state", "if that is wrong, state the unit in a column map")
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
func (s *source) against(rec *recording.Recording, c *recording.Channel, col *column, text string) {
	c.Marks = append(c.Marks, recording.Mark{Kind: recording.Suspect, Span: rec.Span(), Text: text + ", says the ride; the column map is obeyed"})
	s.problem(recording.Warning, s.headerLine, col.Index, c.Name, text+", says the ride; the column map states otherwise and is obeyed", fmt.Sprintf("correct unit, scale or invert for %q in the column map", col.Header))
}

// settleUnit takes back a doubt about an unstated unit that physics settled.
func (s *source) settleUnit(ch string) {
	for i := range s.problems {
		p := &s.problems[i]
		if p.Channel == ch && p.Severity == recording.Warning && isDoubt(p.Text) {
			p.Severity = recording.Note
			p.Text += " (the path agrees)"
			p.Mend = "nothing to do"
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

// judgeLean tests unit and sign of lean against the lean that path and speed
// ask for, atan(v psi' / g).
func (s *source) judgeLean(rec *recording.Recording, p *track) {
	c := rec.Channel(recording.Lean)
	if c == nil {
		return
	}
	var sxy, sxx, syy float64
	n := 0
	for i, w := range p.yaw.Value {
		t := p.yaw.Time[i]
		if t < c.Time[0] || t > c.Time[len(c.Time)-1] {
			continue
		}
		x := math.Atan(p.speed.At(t) * w / 9.80665)
		y := around(c, t)
		if math.Abs(x) < 0.15 || math.Abs(x) > 1.2 {
			continue
		}
		sxy, sxx, syy, n = sxy+x*y, sxx+x*x, syy+y*y, n+1
	}
	if n < 60 || syy == 0 {
		return
	}
	corr := sxy / math.Sqrt(sxx*syy)
	slope := sxy / sxx
	if math.Abs(corr) < 0.6 {
		c.Marks = append(c.Marks, recording.Mark{Kind: recording.Suspect, Span: rec.Span(), Text: fmt.Sprintf("correlates only %.2f with the lean that path and speed ask for", corr)})
		s.problem(recording.Warning, s.headerLine, index(s.column(recording.Lean)), recording.Lean, fmt.Sprintf("lean does not follow the turns (correlation %.2f over %d places)", corr, n), "check mounting and axis of the sensor; lean from path is the better one here")
		return
	}
	k, what := 1.0, "is"
	deg := math.Pi / 180
	switch a := math.Abs(slope); {
	case a > 0.6/deg && a < 1.6/deg:
		k, what = deg, "is in degrees, not radians,"
	case a > 0.6*deg && a < 1.6*deg:
		k, what = 1/deg, "is in radians, not degrees,"
	}
	if slope < 0 {
		k = -k
		if k != -1 {
			what += " and"
		}
		what += " positive to the left where right is positive here"
	}
	if k == 1 {
		return
	}
	sym := ""
	if math.Abs(k) < 0.1 {
		sym = "°"
	} else if math.Abs(k) > 10 {
		sym = "rad"
	}
	text := fmt.Sprintf("lean %s (correlation %.2f with the turns over %d places)", strings.TrimSuffix(what, ","), corr, n)
	if k == -1 {
		s.turn(rec, c, text)
		return
	}
	s.rescale(rec, c, k, sym, text)
}

// around is the mean of a channel over the second about t, as the path is one.
func around(c *recording.Channel, t float64) float64 {
	sum := 0.0
	for k := -4; k <= 4; k++ {
		sum += c.At(t + 0.125*float64(k))
	}
	return sum / 9
}

// judgeYaw tests sign and unit of yaw rate, positive to the left, against the
// path.
func (s *source) judgeYaw(rec *recording.Recording, p *track) {
	c := rec.Channel(recording.YawRate)
	if c == nil {
		return
	}
	lean := rec.Channel(recording.Lean)
	var sxy, sxx, syy float64
	n := 0
	for i, w := range p.yaw.Value {
		t := p.yaw.Time[i]
		if t < c.Time[0] || t > c.Time[len(c.Time)-1] || math.Abs(w) < 0.1 {
			continue
		}
		x := -w // body yaw rate is the path's times the cosine of lean
		if lean != nil {
			x *= math.Cos(lean.At(t))
		}
		y := around(c, t)
		sxy, sxx, syy, n = sxy+x*y, sxx+x*x, syy+y*y, n+1
	}
	if n < 60 || syy == 0 {
		return
	}
	corr, slope := sxy/math.Sqrt(sxx*syy), sxy/sxx
	if math.Abs(corr) < 0.6 {
		return
	}
	deg := math.Pi / 180
	k, what, sym := 1.0, "", ""
	switch a := math.Abs(slope); {
	case a > 0.6/deg && a < 1.6/deg:
		k, what, sym = deg, "is in degrees a second, not radians", "°/s"
	case a > 0.6*deg && a < 1.6*deg:
		k, what, sym = 1/deg, "is in radians a second, not degrees", "rad/s"
	}
	if slope < 0 {
		if k != 1 {
			k, what = -k, what+" and positive to the right"
		} else {
			s.turn(rec, c, fmt.Sprintf("yaw rate is positive to the right where left is positive here (correlation %.2f over %d places)", corr, n))
			return
		}
	}
	if k != 1 {
		s.rescale(rec, c, k, sym, fmt.Sprintf("yaw rate %s (correlation %.2f over %d places)", what, corr, n))
	}
}

// turn reverses a sign. A sign is a convention, not a lie: it is a note.
func (s *source) turn(rec *recording.Recording, c *recording.Channel, text string) {
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
		s.problem(recording.Note, s.headerLine, col.Index, c.Name, text+": turned round", fmt.Sprintf("state invert = true in a column map for %q to be sure", col.Header))
	}
}

// wheelOffset estimates how far the speed of a wheel leads GPS speed in time,
// by the shift that agrees best; a note, for later stages estimate it anew. A
// braked wheel slips as hard as it brakes, and a leant one that is picked up grows
// as it gains speed, which both look like a delay: only stretches of upright drive
// speak, and each by its ratio to the run's own median. 0 where nothing is found.
func (s *source) wheelOffset(rec *recording.Recording, truth *recording.Channel, up func(t float64) bool) float64 {
	w := rec.Channel(recording.FrontSpeed)
	if w == nil {
		w = rec.Channel(recording.RearSpeed)
	}
	if w == nil || len(truth.Value) < minAgreement {
		return 0
	}
	stride := 1 + len(truth.Value)/4000
	d := make([]float64, 0, len(truth.Value)/stride+1)
	now, before, after := newWalker(w), newWalker(w), newWalker(w)
	cost := func(lag float64) float64 {
		d = d[:0]
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
	for lag := -2.0; lag <= 2.0001; lag += 0.05 {
		if c := cost(lag); c < best {
			best, at = c, lag
		}
	}
	coarse := at
	for lag := coarse - 0.05; lag <= coarse+0.0501; lag += 0.01 {
		if c := cost(lag); c < best {
			best, at = c, lag
		}
	}
	if math.IsInf(best, 1) || math.Abs(at) < 0.075 || cost(0) < 1.15*best {
		return 0
	}
	sev := recording.Note
	if math.Abs(at) > 0.5 {
		sev = recording.Warning
	}
	s.problem(sev, 0, 0, truth.Name, fmt.Sprintf("GPS runs about %.2f s behind the wheels", at), "nothing to do: it is estimated again, and finer, when laps are timed")
	return at
}

// isDoubt tells a problem about an unstated unit.
func isDoubt(text string) bool { return strings.Contains(text, "states no unit") }

func absOf(v []float64) []float64 {
	out := make([]float64, 0, 20000)
	for i := 0; i < len(v); i += 1 + len(v)/20000 {
		out = append(out, math.Abs(v[i]))
	}
	return out
}
