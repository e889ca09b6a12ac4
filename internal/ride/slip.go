package ride

import (
	"math"

	"cornerwright/internal/bike"
	"cornerwright/internal/recording"
	"cornerwright/internal/say"
	"cornerwright/internal/signal"
)

// slip computes slip of both wheels with lean-dependent radii.
func (w *work) slip() {
	s := &w.r.Signals
	cut := w.slipBand()
	ground, filtered := w.mem.take(), false
	defer w.mem.back(ground)
	wheel := func(logged float64, wheel []float64, r, crown float64) []float64 {
		if wheel == nil || logged == 0 {
			return nil
		}
		out := make([]float64, w.n)
		if !filtered {
			signal.LowPassTwo(signal.Series{Dst: out, X: wheel, Cut: cut}, signal.Series{Dst: ground, X: w.speed, Cut: cut}, w.rate, &w.sc)
			filtered = true
		} else {
			signal.LowPassInto(out, wheel, cut, w.rate, &w.sc)
		}
		k := 2 * math.Pi / logged
		signal.Pieces(w.n, func(from, to int) {
			for i := from; i < to; i++ {
				out[i] = bike.Slip(out[i]*k, bike.Rolling(r, crown, s.Lean[i]), ground[i])
			}
		})
		return out
	}
	s.RearSlip = wheel(w.b.Rear.Circumference*w.wheelScale, w.rear, w.rearRadius, w.rearCrown)
	s.FrontSlip = wheel(w.b.Front.Circumference, w.front, w.frontRadius, w.frontCrown)
	// Where a wheel's speed is not to be read, nothing is known of its slip. A
	// bridged lone sample is no loss.
	for _, x := range []struct {
		slip []float64
		bad  []bool
	}{{s.RearSlip, w.bad(recording.RearSpeed)}, {s.FrontSlip, w.bad(recording.FrontSpeed)}} {
		if x.slip == nil || x.bad == nil {
			continue
		}
		stretches(x.bad, func(a, b int) {
			for i := a; i < b && b-a > 3; i++ {
				x.slip[i] = math.NaN()
			}
		})
	}
	if s.RearSlip == nil {
		why := say.T("no rear wheel speed is logged")
		if w.rear != nil {
			why = say.T("the bike file does not give the circumference that the rear wheel speed was logged with")
		}
		w.cannot(say.T("rear slip"), why, say.T("log rear wheel speed and give tyre.rear.circumference_m"))
	}
	s.Accel = w.accel
	w.leanBins()
}

// slipBand is the low-pass for slip in 1/s: as fast as the noise of the wheel
// speeds (tooth pattern, steps) allows for 0.15 points, between 6 and 20.
func (w *work) slipBand() float64 {
	worst := 0.0
	for _, x := range [][]float64{w.rear, w.front} {
		if x == nil {
			continue
		}
		var d []float64
		for i := 2; i < w.n; i += 1 + w.n/8000 {
			if x[i] > 15 {
				d = append(d, math.Abs(x[i]-2*x[i-1]+x[i-2])/x[i])
			}
		}
		if len(d) > 20 {
			sortFloats(d)
			worst = math.Max(worst, quantile(d, 0.5)/0.6745/math.Sqrt(6))
		}
	}
	if worst == 0 {
		return 8
	}
	f := sq(0.0015/worst) * w.rate / 2
	return math.Max(6, math.Min(20, f))
}

func sq(x float64) float64 { return x * x }

// leanBins holds slip before and after correction by lean, off drive.
func (w *work) leanBins() {
	s := &w.r.Signals
	if s.RearSlip == nil || w.front == nil {
		return
	}
	const step = 10 * math.Pi / 180
	bins := make([]bike.LeanBin, 14)
	for k := range bins {
		bins[k].From, bins[k].To = float64(k-7)*step, float64(k-6)*step
	}
	for i := 0; i < w.n; i += 5 {
		if w.braking[i] || w.shifting[i] || s.Airborne[i] || w.speed[i] < 14 || math.Abs(w.accel[i]) > 1.5 {
			continue
		}
		k := int(math.Floor(s.Lean[i]/step)) + 7
		if k < 0 || k >= len(bins) || math.IsNaN(s.RearSlip[i]) {
			continue
		}
		b := &bins[k]
		b.N++
		b.Before += w.rear[i]/w.front[i] - 1
		b.After += s.RearSlip[i]
	}
	for _, b := range bins {
		if b.N > 0 {
			b.Before /= float64(b.N)
			b.After /= float64(b.N)
			w.r.Tyres.LeanBins = append(w.r.Tyres.LeanBins, b)
		}
	}
}
