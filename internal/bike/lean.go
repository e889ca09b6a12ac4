package bike

import (
	"fmt"
	"math"

	"cornerwright/internal/signal"
)

// Gravity is standard gravity in m/s2 (exact by convention, CGPM 1901).
const Gravity = 9.80665

const deg = math.Pi / 180

// IdealLean is the lean (rad) of a machine of thin tyres at lateral
// acceleration a (m/s2): tan(lean) = a/g. Steady turn, flat road.
func IdealLean(a float64) float64 { return math.Atan(a / Gravity) }

// TyreLean adds to the ideal lean (rad) what the width of the tyres asks for:
// lean = ideal + asin(t sin(ideal) / (h - t)), with h the height of the centre of
// mass and t the mean crown radius in m (V. Cossalter, Motorcycle Dynamics).
func TyreLean(ideal, h, t float64) float64 {
	s := t * math.Sin(ideal) / (h - t)
	return ideal + math.Asin(math.Max(-1, math.Min(1, s)))
}

// ThinLean is the inverse of TyreLean: the ideal lean that belongs to a lean,
// tan(ideal) = (h-t) sin(lean) / (t + (h-t) cos(lean)).
func ThinLean(lean, h, t float64) float64 {
	s, c := math.Sincos(lean)
	return math.Atan2((h-t)*s, t+(h-t)*c)
}

// Stance gives height of the centre of mass and mean crown radius in m, and
// whether either had to be assumed.
func (b *Bike) Stance() (h, t float64, assumed bool) {
	h = b.Mass.CentreHeight
	if h == 0 {
		h, assumed = 0.62, true
	}
	switch f, r := b.Front.CrownRadius, b.Rear.CrownRadius; {
	case f > 0 && r > 0:
		t = (f + r) / 2
	default:
		t, assumed = 0.078, true
	}
	return h, t, assumed
}

// LeanInput is what lean is made of, all on one even grid; nil where the
// recording has no such channel. Rates in rad/s as logged, lean in rad.
type LeanInput struct {
	DT           float64   // s
	Speed, Kappa []float64 // m/s and 1/m (positive right) of the path
	PathLost     bool      // Kappa is not to be believed
	Channel      []float64
	ChannelBad   []bool  // stretches of the channel that carry health marks
	ChannelStep  float64 // s between the channel's samples
	RollRate     []float64
	YawRate      []float64
	PitchRate    []float64
	Scratch      *signal.Scratch
	Spare        [3][]float64 // memory to work in, of the length of the grid; nil where there is none
}

// spare is memory of n values to work in: x where it fits.
func spare(x []float64, n int) []float64 {
	if len(x) == n {
		return x
	}
	return make([]float64, n)
}

// splitHz parts what the path tells (below) from what the roll gyro tells
// (above). Path curvature is good for slow change, the gyro for fast.
const splitHz = 0.12

// EstimateLean gives lean to the road in rad (positive right), its standard
// error, and where both came from. The channel is checked against path and
// gyro: a turned sign, a constant offset and a delay are removed; a scale that
// disagrees is told and left, for the path cannot tell the scale of lean from
// the rider's weight hung to the inside. Without a channel the roll gyro is
// tied to the path; without gyros the path alone must do.
func EstimateLean(in LeanInput, b *Bike) (lean, se []float64, rep LeanReport) {
	n := len(in.Speed)
	h, t, assumed := b.Stance()
	rate := 1 / in.DT
	sc := in.Scratch
	if sc == nil {
		sc = &signal.Scratch{}
	}
	path, tmp := spare(in.Spare[0], n), spare(in.Spare[1], n)
	lean = make([]float64, n)
	signal.Pieces(n, func(from, to int) {
		for i := from; i < to; i++ {
			path[i] = TyreLean(IdealLean(in.Speed[i]*in.Speed[i]*in.Kappa[i]), h, t)
		}
	})
	if assumed {
		rep.Notes = append(rep.Notes, "height of the centre of mass or crown radii are not in the bike file: usual values taken for lean from the path")
	}
	signal.LowPassInto(path, path, 2, rate, sc)

	// ref is the best lean without the channel.
	ref := path
	refSE := 1.5 * deg
	rep.Source = "path alone"
	if in.RollRate != nil {
		flip, corr := rollSign(path, in.RollRate, in.DT)
		switch {
		case corr < 0.3:
			rep.Notes = append(rep.Notes, fmt.Sprintf("roll rate does not follow the path (correlation %.2f): not used", corr))
		default:
			if flip < 0 {
				rep.Notes = append(rep.Notes, "roll rate was logged with the opposite sign: turned round")
			}
			if lag := pathLag(path, in.RollRate, flip, in.DT); lag != 0 {
				shift(path, tmp, lag, in.DT)
				if math.Abs(lag) > 0.03 {
					rep.Notes = append(rep.Notes, fmt.Sprintf("the machine's lean comes %.0f ms after what the path asks for", 1000*lag))
				}
			}
			// fused = slow part of the path + fast part of the integrated gyro.
			var sum float64
			for i := range tmp {
				sum += flip * in.RollRate[i] * in.DT
				tmp[i] = sum - 0.5*flip*in.RollRate[i]*in.DT - path[i]
			}
			drift := sum / float64(max(1, n-1))
			for i := range tmp {
				tmp[i] -= drift * float64(i)
			}
			fused := spare(in.Spare[2], n)
			signal.LowPassInto(fused, tmp, splitHz, rate, sc)
			for i := range fused {
				fused[i] = path[i] + tmp[i] - fused[i]
			}
			ref, refSE = fused, 0.7*deg
			rep.Source = "gyros and path"
		}
	}
	if in.PathLost {
		refSE *= 3
	}
	if in.Channel == nil {
		copy(lean, ref)
		rep.SE = refSE
		if assumed {
			rep.SE *= 1.5
		}
		return lean, constant(n, rep.SE), rep
	}
	if !checkChannel(in, ref, lean, tmp, &rep, refSE) {
		copy(lean, ref)
		rep.SE = refSE
		return lean, constant(n, rep.SE), rep
	}
	rep.Source = "lean channel"
	signal.LowPassInto(lean, lean, 6, rate, sc)
	se = constant(n, rep.SE)
	// Channel and path part by a scale: a wrong scale or the rider's weight hung to
	// the inside. The lean may be either: the 95 % interval reaches from the one to
	// the other, whatever else is unsure added.
	if doubt := math.Abs(1-1/rep.Scale) / 1.96; doubt > rep.ScaleSE {
		for i := range se {
			se[i] += doubt * math.Abs(lean[i])
		}
	}
	// Between two samples a line was drawn: it is off by up to an eighth of the
	// change of slope over a step. And the filter averages the more of the
	// channel's noise the more samples there are: of a slow one it leaves all.
	if k := int(math.Round(in.ChannelStep / in.DT)); k > 1 {
		noise := sensorNoise(in.Channel, in.Speed, lean, k) * math.Sqrt(math.Min(1, 2*6*in.ChannelStep))
		for i := k; i < n-k; i++ {
			se[i] = math.Sqrt(se[i]*se[i] + noise*noise + sq((lean[i+k]-2*lean[i]+lean[i-k])/8))
		}
	}
	if in.ChannelBad != nil {
		bridge(lean, ref, se, refSE, in.ChannelBad, in.DT, &rep)
	}
	return lean, se, rep
}

// sensorNoise is the white noise of a channel with a sample at every k-th place,
// from third differences on straights, where lean itself hardly bends:
// their variance is 1 + 9 + 9 + 1 times the noise's.
func sensorNoise(x, speed, lean []float64, k int) float64 {
	var d []float64
	for i := 3 * k; i < len(x); i += k {
		if speed[i] > 10 && math.Abs(lean[i]) < 10*deg && math.Abs(lean[i-3*k]) < 10*deg {
			d = append(d, math.Abs(x[i]-3*x[i-k]+3*x[i-2*k]-x[i-3*k]))
		}
	}
	if len(d) < 50 {
		return 0
	}
	return signal.Median(d) / 0.6745 / math.Sqrt(20)
}

func constant(n int, v float64) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = v
	}
	return x
}

// rollSign correlates the roll gyro with the rate at which the path leans.
func rollSign(path, roll []float64, dt float64) (sign, corr float64) {
	k := max(1, int(0.15/dt))
	var xy, xx, yy float64
	for i := k; i < len(path)-k; i += k {
		x := path[i+k] - path[i-k]
		var y float64
		for j := i - k; j < i+k; j++ {
			y += roll[j]
		}
		xy += x * y
		xx += x * x
		yy += y * y
	}
	if xx == 0 || yy == 0 {
		return 1, 0
	}
	c := xy / math.Sqrt(xx*yy)
	if c < 0 {
		return -1, -c
	}
	return 1, c
}

// pathLag is by how many seconds the roll gyro comes later than the rate at
// which the path leans: the machine follows its path late, or position is early.
func pathLag(path, roll []float64, flip, dt float64) float64 {
	n := len(path)
	k := max(1, int(math.Round(0.04/dt)))
	reach := int(math.Round(0.2/dt)) / k
	if n < 100*k {
		return 0
	}
	m := n / k
	x, y := make([]float64, m-1), make([]float64, m-1)
	for i := range x {
		x[i] = path[(i+1)*k] - path[i*k]
		var s float64
		for j := i * k; j < (i+1)*k; j++ {
			s += flip * 0.5 * (roll[j] + roll[j+1])
		}
		y[i] = s * dt
	}
	lag, corr := signal.Delay(x, y, -reach, reach)
	if corr < 0.5 || math.Abs(lag) > float64(reach)-0.5 {
		return 0
	}
	return lag * float64(k) * dt
}

// shift moves x by lag seconds to later times, in place.
func shift(x, tmp []float64, lag, dt float64) {
	copy(tmp, x)
	for i := range x {
		x[i] = signal.At(tmp, 0, dt, float64(i)*dt-lag)
	}
}

// checkChannel finds sign, delay, offset and scale of the lean channel against
// ref, writes the mended channel to dst and tells whether it can be used.
func checkChannel(in LeanInput, ref, dst, tmp []float64, rep *LeanReport, refSE float64) bool {
	n := len(ref)
	dt := in.DT
	step := max(1, int(math.Round(0.04/dt)))
	ok := func(i int) bool {
		return in.Speed[i] > 10 && (in.ChannelBad == nil || !in.ChannelBad[i])
	}
	// Coarse delay: the lag of the largest correlation, sign free.
	lagMin, lagMax := int(-0.3/dt), int(0.6/dt)
	lagStep := max(1, int(math.Round(0.02/dt)))
	best, bestLag := 0.0, 0
	correlation := func(lag int) float64 {
		var m, sx, sy, sxx, syy, sxy float64
		for i := max(0, -lag); i < n-max(0, lag); i += 2 * step {
			if !ok(i) {
				continue
			}
			x, y := ref[i], in.Channel[i+lag]
			m++
			sx += x
			sy += y
			sxx += x * x
			syy += y * y
			sxy += x * y
		}
		if m < 50 {
			return 0
		}
		den := math.Sqrt((sxx - sx*sx/m) * (syy - sy*sy/m))
		if den <= 0 {
			return 0
		}
		return (sxy - sx*sy/m) / den
	}
	each := make([]float64, (lagMax-lagMin)/lagStep+1)
	signal.Each(len(each), func(k int) { each[k] = correlation(lagMin + k*lagStep) })
	for k, c := range each {
		if math.Abs(c) > math.Abs(best) {
			best, bestLag = c, lagMin+k*lagStep
		}
	}
	if math.Abs(best) < 0.7 {
		rep.Notes = append(rep.Notes, fmt.Sprintf("the lean channel does not follow the path (correlation %.2f): not used", best))
		return false
	}
	sign := 1.0
	if best < 0 {
		sign = -1
		rep.Flipped = true
		rep.Notes = append(rep.Notes, "the lean channel was logged with the opposite sign: turned round")
	}
	delay := float64(bestLag) * dt
	var fit signal.Fit
	for range 6 {
		fit = signal.RobustFit((n-2)/step, 3, func(k int, x []float64) (float64, bool) {
			i := 1 + k*step
			if !ok(i) {
				return 0, false
			}
			x[0] = 1
			x[1] = ref[i]
			x[2] = -(ref[i+1] - ref[i-1]) / (2 * dt)
			return sign * signal.At(in.Channel, 0, dt, float64(i)*dt+delay), true
		}, 12*deg, 6*deg, 3*deg, 3*deg)
		if !fit.OK || fit.N < 100 {
			rep.Notes = append(rep.Notes, "the lean channel cannot be held against the path: not used")
			return false
		}
		move := fit.Coef[2] / fit.Coef[1]
		delay += math.Max(-0.1, math.Min(0.1, move))
		if math.Abs(move) < 2e-4 {
			break
		}
	}
	rep.Offset, rep.Scale, rep.Delay = fit.Coef[0], fit.Coef[1], delay
	// Neighbouring samples share the error of the path: count one in five seconds.
	thin := math.Sqrt(math.Max(1, 5/(float64(step)*dt)))
	rep.OffsetSE = math.Sqrt(fit.Cov[0][0]) * thin
	rep.ScaleSE = math.Sqrt(fit.Cov[1][1]) * thin
	signal.Pieces(n, func(from, to int) {
		for i := from; i < to; i++ {
			dst[i] = sign*signal.At(in.Channel, 0, dt, float64(i)*dt+delay) - rep.Offset
		}
	})
	if math.Abs(rep.Scale-1) > math.Max(0.07, 3*rep.ScaleSE) {
		rep.Notes = append(rep.Notes, fmt.Sprintf("the lean channel reads %.0f %% of what the path asks for: scale is suspect, or the rider hangs off; left as it is", 100*rep.Scale))
	}
	if math.Abs(rep.Offset) > 1*deg {
		rep.Notes = append(rep.Notes, fmt.Sprintf("the lean channel stood %.1f deg off: removed", rep.Offset/deg))
	}
	rep.SE = math.Hypot(0.2*deg, rep.OffsetSE)
	_ = tmp
	return true
}

// bridge puts ref in place of the channel where it is marked, joined to the
// channel at both ends.
func bridge(lean, ref, se []float64, refSE float64, bad []bool, dt float64, rep *LeanReport) {
	n := len(lean)
	var total int
	margin := int(0.2 / dt)
	for i := 0; i < n; i++ {
		if !bad[i] {
			continue
		}
		j := i
		for j < n && bad[j] {
			j++
		}
		a, z := max(0, i-margin), min(n-1, j+margin)
		da, dz := lean[a]-ref[a], lean[z]-ref[z]
		if a == 0 {
			da = dz
		}
		if z == n-1 {
			dz = da
		}
		if z-a > int(10/dt) { // too long for its ends to say anything of the middle
			da, dz = 0, 0
		}
		for k := a; k <= z; k++ {
			f := float64(k-a) / float64(max(1, z-a))
			lean[k] = ref[k] + da + f*(dz-da)
			se[k] = refSE
		}
		total += j - i
		i = j
	}
	if total > 0 {
		rep.Notes = append(rep.Notes, fmt.Sprintf("%.1f s of the lean channel are marked: %s used there", float64(total)*dt, "gyros or path"))
	}
}
