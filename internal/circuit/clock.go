package circuit

import (
	"fmt"
	"math"

	"cornerwright/internal/recording"
	"cornerwright/internal/say"
	"cornerwright/internal/signal"
)

// Clock is how the clock that stamped the GPS fixes goes against the one that
// stamped the other channels. The zero value is one clock for both.
type Clock struct {
	Gain   float64 // s that the fixes' clock gains in a second of the recording's, 0 where no gain is established
	GainSE float64 // its standard error
	Middle float64 // s, recording clock: where the two agree, but for the delay
}

// Stamp brings the stamp (s) of a fix to the recording's clock.
func (c Clock) Stamp(t float64) float64 { return t - c.Gain*(t-c.Middle) }

// Seconds gives a span of the recording's clock (s) in GPS time: receivers are led
// by the clocks of the satellites, loggers by a crystal, so that of the two GPS is
// right (common practice).
func (c Clock) Seconds(span float64) float64 { return span * (1 + c.Gain) }

// surely tells whether the gain is that of a second clock.
func (c Clock) surely() bool {
	g := math.Abs(c.Gain)
	return g > math.Max(driftLeast, driftSure*c.GainSE) && g < driftMost
}

// putOn brings the stamps of the fixes to the recording's clock.
func (f *fixes) putOn(c Clock) {
	if c.Gain == 0 {
		return
	}
	for i, t := range f.t {
		f.t[i] = c.Stamp(t)
	}
}

// tellClock says what two clocks do to the run's lap times.
func (l *Located) tellClock() {
	c := l.Position.Clock
	if c.Gain == 0 {
		return
	}
	how := say.T("the GPS clock gains {ppm} millionths on the recording's", fmt.Sprintf("%.0f", 1e6*c.Gain))
	if c.Gain < 0 {
		how = say.T("the GPS clock loses {ppm} millionths on the recording's", fmt.Sprintf("%.0f", -1e6*c.Gain))
	}
	l.problem(recording.Note, say.T("{how}, {ms} ms in 100 s: lap times are in GPS time, the better of the two", how, fmt.Sprintf("%+.1f", 1e5*c.Gain)),
		say.T("nothing needs doing; have the logger stamp GPS and sensors by one clock if it can"))
}

// Limits of clockDrift. Crystals of loggers are off by up to 50 millionths and by
// twice that in cold or heat (common practice); what is beyond the greatest is no
// clock but a file put together wrongly.
const (
	driftCell  = 10.0 // m of the line over which laps are held together
	driftLaps  = 3    // fewer cannot tell a drift from a lap ridden otherwise
	driftSure  = 4.0  // standard errors from nought
	driftLeast = 5e-6 // below it a fit of many things that are not quite so tells nothing
	driftMost  = 5e-4
)

// clockDrift is what the clock that stamped the fixes still gains on the one that
// stamped the wheel. Where both are one the delay of GPS speed behind the wheel
// stands still over the run; where they are two it grows or shrinks evenly. Brakes,
// lean and drive make the two speeds part too, but at the same places on every lap:
// only what a place has apart from its own mean over the laps counts. A tyre that
// grows warm changes the wheel's scale and not its delay, so the scale may change
// too. Nought where the run cannot tell.
func (j *joint) clockDrift() Clock {
	f, d := j.f, j.d
	n := len(f.t)
	if !d.wheel || !f.logged || j.s[n-1]-j.s[0] < driftLaps*j.line.Length {
		return Clock{}
	}
	mid, half := 0.5*(f.t[0]+f.t[n-1]), 0.5*(f.t[n-1]-f.t[0])
	const p = 2             // scale and delay, as they change over the run
	place := make([]int, n) // -1: not used
	y, x := make([]float64, n), make([][p]float64, n)
	cells := j.cells(int(math.Max(8, math.Round(j.line.Length/driftCell))))
	sum := make([]struct{ n, y, x0, x1 float64 }, len(cells.laps))
	limit := math.Max(0.3, 4.5*d.gpsSD)
	for i := range j.rows {
		r := &j.rows[i]
		place[i] = -1
		t := f.t[i] - d.latency - d.speedLag
		if !(math.Abs(r.dv) < limit) || r.bad || r.v < 12 || math.Abs(j.aside[i]) > tuneAside || t < d.t0 || t > d.end() {
			continue
		}
		k := cells.of(i)
		u := (f.t[i] - mid) / half
		place[i], y[i], x[i] = k, r.dv, [p]float64{r.v * u, signal.At(d.accel, d.t0, d.dt, t) * u}
		c := &sum[k]
		c.n, c.y, c.x0, c.x1 = c.n+1, c.y+y[i], c.x0+x[i][0], c.x1+x[i][1]
	}
	for i, k := range place {
		if k < 0 {
			continue
		}
		if cells.laps[k] < driftLaps {
			place[i] = -1
			continue
		}
		c := &sum[k]
		y[i] -= c.y / c.n
		x[i][0] -= c.x0 / c.n
		x[i][1] -= c.x1 / c.n
	}
	fit := signal.RobustFit(n, p, func(i int, dst []float64) (float64, bool) {
		dst[0], dst[1] = x[i][0], x[i][1]
		return y[i], place[i] >= 0
	}, 4*d.gpsSD, 3*d.gpsSD)
	if !fit.OK || fit.N < 600 {
		return Clock{}
	}
	more := remembered(n, f.rate, func(i int) float64 {
		if place[i] < 0 {
			return math.NaN()
		}
		r := y[i] - fit.Coef[0]*x[i][0] - fit.Coef[1]*x[i][1]
		if math.Abs(r) > 3*d.gpsSD {
			return math.NaN()
		}
		return x[i][1] * r
	})
	// v_gps(t) = v(t - delay): the delay grows by the coefficient's negative.
	return Clock{-fit.Coef[1] / half, math.Sqrt(more*fit.Cov[1][1]) / half, mid}
}

// remembered is by how much the variance of a fit's coefficient is larger than for
// independent residuals: the sum of the autocorrelation of its score (regressor by
// residual; NaN where there is none), over lags up to four seconds, tapered so that
// it stays positive (Newey and West 1987). At least 1.
func remembered(n int, rate float64, score func(i int) float64) float64 {
	x := make([]float64, n)
	var v float64
	for i := range x {
		x[i] = score(i)
		if x[i] == x[i] {
			v += x[i] * x[i]
		}
	}
	if !(v > 0) {
		return 1
	}
	most := int(4 * rate)
	sum := 1.0
	for lag := 1; lag <= most; lag++ {
		var c float64
		for i := lag; i < n; i++ {
			if p := x[i] * x[i-lag]; p == p {
				c += p
			}
		}
		r := c / v
		sum += 2 * r * (1 - float64(lag)/float64(most+1))
		if r < 0.02 && lag > int(rate) {
			break
		}
	}
	return math.Max(1, sum)
}
