package intake

import (
	"fmt"
	"math"

	"cornerwright/internal/recording"
	"cornerwright/internal/say"
	"cornerwright/internal/unit"
)

// judgeAccel tests unit and sign of the longitudinal acceleration against what
// the speed does. Grades, the lean of the sensor and its zero are small beside
// a factor of g.
func (s *source) judgeAccel(rec *recording.Recording, speed *recording.Channel) {
	c, col, u := s.stated(rec, recording.AccelX, unit.Acceleration)
	if c == nil {
		return
	}
	mean := newWalker(c)
	var sx, sy, sxy, sxx, syy, n float64
	for t := math.Max(c.Time[0], speed.Time[0]) + 1; t < math.Min(c.Time[len(c.Time)-1], speed.Time[len(speed.Time)-1])-1; t += 0.5 {
		if speed.At(t) < 8 {
			continue
		}
		x, y := speed.At(t+0.5)-speed.At(t-0.5), mean.around(t)
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
	text := say.T("accel_x moves {slope} m/s2 for each m/s2 by which the speed changes, over {n} places", fmt.Sprintf("%.2f", slope), fmt.Sprintf("%.0f", n))
	if slope < 0 {
		text += say.T(": forward is negative in the file")
	}
	switch a := math.Abs(slope); {
	case u.Symbol == "g" && a > 0.6*g && a < 1.6*g:
		s.reunit(rec, c, col, unit.Must("m/s2"), say.T("{text}: the numbers are m/s2, not g", text))
	case u.Symbol == "m/s2" && a > 0.6/g && a < 1.6/g:
		s.reunit(rec, c, col, unit.Must("g"), say.T("{text}: the numbers are g, not m/s2", text))
	}
	if slope < 0 {
		s.turn(rec, c, text)
	}
}

// judgeLean tests unit and sign of lean against the lean that path and speed
// ask for, atan(v psi' / g).
func (s *source) judgeLean(rec *recording.Recording, p *track) {
	c := rec.Channel(recording.Lean)
	if c == nil {
		return
	}
	mean := newWalker(c)
	var sxy, sxx, syy float64
	n := 0
	for i, w := range p.yaw.Value {
		t := p.yaw.Time[i]
		if t < c.Time[0] || t > c.Time[len(c.Time)-1] {
			continue
		}
		x := math.Atan(p.speed.At(t) * w / 9.80665)
		y := mean.around(t)
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
		c.Marks = append(c.Marks, recording.Mark{Kind: recording.Suspect, Span: rec.Span(), Text: say.T("correlates only {corr} with the lean that path and speed ask for", fmt.Sprintf("%.2f", corr))})
		s.problem(recording.Warning, s.headerLine, index(s.column(recording.Lean)), recording.Lean, say.T("lean does not follow the turns (correlation {corr} over {n} places)", fmt.Sprintf("%.2f", corr), n), say.T("check mounting and axis of the sensor; lean from path is the better one here"))
		return
	}
	k, what := 1.0, say.Text("")
	deg := math.Pi / 180
	switch a := math.Abs(slope); {
	case a > 0.6/deg && a < 1.6/deg:
		k, what = deg, say.T("is in degrees, not radians")
	case a > 0.6*deg && a < 1.6*deg:
		k, what = 1/deg, say.T("is in radians, not degrees")
	}
	if slope < 0 {
		if k == 1 {
			what = say.T("is positive to the left where right is positive here")
		} else {
			what = say.T("{what}, and positive to the left where right is positive here", what)
		}
		k = -k
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
	text := say.T("lean {what} (correlation {corr} with the turns over {n} places)", what, fmt.Sprintf("%.2f", corr), n)
	if k == -1 {
		s.turn(rec, c, text)
		return
	}
	s.rescale(rec, c, k, sym, text)
}

// around is the mean of a channel over the second about t, as the path is one.
func (w *walker) around(t float64) float64 {
	sum := 0.0
	for k := -4; k <= 4; k++ {
		sum += w.at(t + 0.125*float64(k))
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
	mean := newWalker(c)
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
		y := mean.around(t)
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
	k, what, sym := 1.0, say.Text(""), ""
	switch a := math.Abs(slope); {
	case a > 0.6/deg && a < 1.6/deg:
		k, what, sym = deg, say.T("is in degrees a second, not radians"), "°/s"
	case a > 0.6*deg && a < 1.6*deg:
		k, what, sym = 1/deg, say.T("is in radians a second, not degrees"), "rad/s"
	}
	if slope < 0 {
		if k != 1 {
			k, what = -k, say.T("{what} and positive to the right", what)
		} else {
			s.turn(rec, c, say.T("yaw rate is positive to the right where left is positive here (correlation {corr} over {n} places)", fmt.Sprintf("%.2f", corr), n))
			return
		}
	}
	if k != 1 {
		s.rescale(rec, c, k, sym, say.T("yaw rate {what} (correlation {corr} over {n} places)", what, fmt.Sprintf("%.2f", corr), n))
	}
}
