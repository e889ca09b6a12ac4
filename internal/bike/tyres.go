package bike

import (
	"fmt"
	"math"

	"cornerwright/internal/say"
	"cornerwright/internal/signal"
)

// TyreInput is what both tyres are identified from, on one even grid whose
// first sample is at time 0; nil where there is no such channel.
type TyreInput struct {
	DT          float64
	Lean        []float64 // rad, as slip will be computed with: crown radii must be found with the same lean
	Front, Rear []float64 // m/s as logged
	// Fixes of GPS speed, delay removed; times count from the first grid sample.
	FixTime, FixSpeed []float64
	FrontFree         []bool  // front rolls freely: off the brakes, on the ground
	RearFree          []bool  // rear carries engine force alone, and front rolls freely
	Block             []int32 // lap or stretch a sample belongs to, for the error bars
	Scratch           *signal.Scratch
	Spare             [3][]float64 // memory to work in, of the length of the grid; nil where there is none
}

// Front is what the front wheel says of ground speed.
type frontModel struct{ scale, shrink float64 }

// need is the least excitation, in seconds, for a crown radius to be found.
const (
	needUpright = 5.0  // s within 12 deg of upright
	needLeaned  = 15.0 // s beyond 35 deg
)

// FitFront identifies circumference and crown radius of the front tyre from
// GPS speed: v = k w (1 - q (1 - cos(lean))), where w is the logged speed. A
// GPS antenna above the road runs on a smaller radius than the tyre; its height
// is an unknown of the fit, held loosely at 0.4 +- 0.4 m, or at what the file says
// to 0.05 m. Speed is the ground
// speed that follows from it (the logged one, or nil, where it cannot be fitted).
func FitFront(in TyreInput, b *Bike) (fit TyreFit, speed []float64, delay float64) {
	fit = fromFile(b.Front)
	if in.Front == nil {
		fit.Why = say.T("no front wheel speed")
		return fit, nil, 0
	}
	shrink := 0.0
	if fit.Crown > 0 && fit.Circumference > 0 {
		shrink = fit.Crown / (fit.Circumference / (2 * math.Pi))
	}
	model := frontModel{1, shrink}
	if len(in.FixTime) < 100 {
		fit.Why = say.T("no GPS speed to hold the wheel against")
		return fit, model.speed(in), 0
	}
	n := len(in.Front)
	accel, tmp := spare(in.Spare[0], n), spare(in.Spare[1], n)
	sc := in.Scratch
	if sc == nil {
		sc = &signal.Scratch{}
	}
	signal.LowPassInto(tmp, in.Front, 5, 1/in.DT, sc)
	signal.DerivativeInto(accel, tmp, in.DT)
	var upright, leaned float64
	fixDT := median(diffs(in.FixTime))
	row := func(k int, x []float64, useLean bool) (y, cut float64, block int32, ok bool) {
		t := in.FixTime[k] - delay
		u := t / in.DT
		i := int(u)
		if i < 1 || i >= n-2 || !in.FrontFree[i] || !in.FrontFree[i+1] {
			return 0, 0, 0, false
		}
		f := u - float64(i)
		w := tmp[i] + f*(tmp[i+1]-tmp[i])
		if w < 12 {
			return 0, 0, 0, false
		}
		lean := in.Lean[i] + f*(in.Lean[i+1]-in.Lean[i])
		sin, cos := math.Sincos(math.Abs(lean))
		x[0] = w
		x[1] = accel[i] + f*(accel[i+1]-accel[i])
		x[2] = -w * (1 - cos)
		// Rate of turn times the antenna's way inward.
		x[3] = -Gravity * sin / cos / w * sin
		return in.FixSpeed[k], math.Abs(lean), in.Block[i], true
	}
	antenna, loose := 0.4, 0.4 // m
	if b.Antenna > 0 {
		antenna, loose = b.Antenna, 0.05
	}
	coef := []float64{1, 0, shrink, antenna}
	prior := []float64{0, 0, 0, 0}
	mean := []float64{1, 0, shrink, antenna}
	var m *normal
	var sd float64 = 0.3
	res := make([]float64, 0, len(in.FixTime))
	var x [4]float64
	identified := true
	for round := range 7 {
		m = newNormal(4)
		upright, leaned = 0, 0
		res = res[:0]
		for k := range in.FixTime {
			y, lean, block, ok := row(k, x[:], true)
			if !ok {
				continue
			}
			r := y - coef[0]*x[0] - coef[1]*x[1] - coef[2]*x[2] - coef[3]*x[3]
			if round == 0 {
				r = 0
			}
			res = append(res, r)
			a := math.Abs(r)
			if a > 6*sd && round > 0 {
				continue
			}
			if lean < 12*deg {
				upright += fixDT
			} else if lean > 35*deg {
				leaned += fixDT
			}
			wt := 1.0
			if round > 0 && a > 1.5*sd {
				wt = 1.5 * sd / a
			}
			m.block(block).add(x[:], y, wt)
		}
		if len(res) < 100 {
			fit.Why = say.T("too few GPS fixes off the brakes above 12 m/s")
			return fit, model.speed(in), 0
		}
		identified = upright >= needUpright && leaned >= needLeaned
		prior[3] = sd * sd / (loose * loose) * 4 // residuals are not independent: weigh the prior as four fixes
		prior[2] = 1e-9
		if !identified {
			prior[2] = 1e12
			mean[2] = shrink
		}
		c, ok := m.solve(prior, mean)
		if !ok {
			fit.Why = say.T("the run does not hold circumference and crown radius apart")
			return fit, model.speed(in), 0
		}
		coef = c
		if round > 0 {
			sd = math.Max(0.02, signal.Spread(res))
		}
		if round < 4 { // the rest of the GPS delay
			move := math.Max(-0.15, math.Min(0.15, -coef[1]/coef[0]))
			delay += move
		}
	}
	model = frontModel{coef[0], coef[2]}
	speed = model.speed(in)
	if fit.Circumference == 0 {
		fit.Why = say.T("the circumference that the channel was logged with is not in the bike file")
		return fit, speed, delay
	}
	logged := fit.Circumference
	fit.Circumference = logged * coef[0]
	fit.Crown = coef[2] * fit.Circumference / (2 * math.Pi)
	se := m.bootstrap(100, prior, mean, func(x []float64) []float64 {
		return []float64{logged * x[0], x[2] * logged * x[0] / (2 * math.Pi)}
	})
	if se == nil {
		fit.Why = say.T("fewer than three laps or stretches: no error bar")
		return fit, speed, delay
	}
	// What a usual GPS speed bias of 2 cm/s and the form of the tyre leave.
	fit.CircumferenceSE = math.Hypot(se[0], 3e-4*fit.Circumference)
	fit.CrownSE = math.Hypot(se[1], 0.7e-3)
	fit.Identified = identified
	switch {
	case !identified:
		fit.Crown, fit.CrownSE = b.Front.CrownRadius, 0
		fit.Why = say.T("{upright} s upright and {leaned} s beyond 35 deg off the brakes; {needupright} and {needleaned} are needed for a crown radius: the file's is kept", fmt.Sprintf("%.0f", upright), fmt.Sprintf("%.0f", leaned), fmt.Sprintf("%.0f", needUpright), fmt.Sprintf("%.0f", needLeaned))
	case fit.CrownSE > 0.012 || fit.CircumferenceSE > 0.006*fit.Circumference:
		fit.Identified = false
		fit.Why = say.T("the error bars are too wide ({crownse} mm of crown)", fmt.Sprintf("%.0f", 1000*fit.CrownSE))
	}
	return fit, speed, delay
}

func (m frontModel) speed(in TyreInput) []float64 {
	v := make([]float64, len(in.Front))
	signal.Pieces(len(v), func(from, to int) {
		for i := from; i < to; i++ {
			v[i] = m.scale * in.Front[i] * (1 - m.shrink*(1-math.Cos(in.Lean[i])))
		}
	})
	return v
}

func fromFile(t Tyre) TyreFit {
	return TyreFit{Circumference: t.Circumference, Crown: t.CrownRadius}
}

func diffs(t []float64) []float64 {
	d := make([]float64, 0, len(t))
	for i := 1; i < len(t); i++ {
		d = append(d, t[i]-t[i-1])
	}
	return d
}

func median(x []float64) float64 { return signal.Median(x) }

func sq(x float64) float64 { return x * x }

// driftOf compares the mean residual of the last third of the blocks with that
// of the first, as a share of the radius.
func driftOf(m *normal, x []float64) (drift, se float64) {
	k := len(m.order)
	if k < 6 {
		return 0, 0
	}
	mean := func(s *sums) float64 {
		// Mean residual: first row of the normal equations, x[0] multiplies 1.
		r := s.b[0]
		for j := range m.p {
			r -= s.a[j*6] * x[j]
		}
		return r / s.a[0]
	}
	third := k / 3
	stat := func(ids []int32) (m1, v float64) {
		var sum, sum2 float64
		for _, id := range ids {
			e := mean(m.blocks[id])
			sum += e
			sum2 += e * e
		}
		n := float64(len(ids))
		m1 = sum / n
		return m1, math.Max(0, sum2/n-m1*m1) / math.Max(1, n-1)
	}
	a, va := stat(m.order[:third])
	z, vz := stat(m.order[k-third:])
	return (z - a) / x[0], math.Sqrt(va+vz) / x[0]
}
