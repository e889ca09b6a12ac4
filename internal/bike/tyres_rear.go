package bike

import (
	"fmt"
	"math"

	"cornerwright/internal/say"
	"cornerwright/internal/signal"
)

// RearFit is what FitRear finds.
type RearFit struct {
	TyreFit
	Drift, DriftSE float64 // relative change of the circumference from the first third to the last
	Samples        int
	Notes          []string
}

// SideDrag is the drag of cornering as a share of the side force: the tyres run
// at a side-slip angle of one to two degrees (from memory).
const SideDrag = 0.025

// rearGuess is one set of what has to be assumed for the rear tyre.
type rearGuess struct{ mu, area, limit, side float64 }

// FitRear identifies circumference and crown radius of the rear tyre against
// ground speed v. The tyre is never force-free on a lap: v / omega = R - rho
// (1 - cos(lean)) - b1 u - b2 u sin2(lean) - b3 u^3, where u is the share of the
// friction that is left for driving, F / (N mu sqrt(1 - (q/mu)^2)), q the lateral
// share. Speed is logged by another sensor than the rear wheel: a lag between
// them, told by the acceleration, is an unknown too (0 +- 15 ms). Friction, drag and the limit of u are assumed: their spread is part of
// the error bars, because the bootstrap alone promises too much. The rest of
// the result is the relative drift of the circumference over the run.
func FitRear(in TyreInput, b *Bike, v []float64) (out RearFit) {
	fit := fromFile(b.Rear)
	var notes []string
	samples := 0
	defer func() { out.TyreFit, out.Samples, out.Notes = fit, samples, notes }()
	if in.Rear == nil || v == nil {
		fit.Why = say.T("no rear wheel speed")
		if in.Rear != nil {
			fit.Why = say.T("no ground speed to hold the wheel against")
		}
		return
	}
	if fit.Circumference == 0 {
		fit.Why = say.T("the circumference that the channel was logged with is not in the bike file")
		return
	}
	n := len(v)
	rate := 1 / in.DT
	sc := in.Scratch
	if sc == nil {
		sc = &signal.Scratch{}
	}
	vl, wl, al := spare(in.Spare[0], n), spare(in.Spare[1], n), spare(in.Spare[2], n)
	signal.LowPassTwo(signal.Series{Dst: vl, X: v, Cut: 5}, signal.Series{Dst: wl, X: in.Rear, Cut: 5}, rate, sc)
	signal.DerivativeInto(al, vl, in.DT)
	signal.LowPassInto(al, al, 4, rate, sc)
	m := *b
	if m.Mass.Total == 0 {
		m.Mass.Total = 262
		notes = append(notes, "mass is not in the bike file: 262 kg taken for the force on the rear tyre")
	}
	if m.Air.DragArea == 0 {
		m.Air.DragArea = 0.34
		notes = append(notes, "drag area is not in the bike file: 0.34 m2 taken for the force on the rear tyre")
	}
	if m.Air.RollingCoefficient == 0 {
		m.Air.RollingCoefficient = 0.02
	}
	step := max(1, int(math.Round(rate/20)))
	type sample struct {
		y, one, sin2, f, n0, q float64
		v2                     float64
		block                  int32
	}
	var all []sample
	omega := 2 * math.Pi / fit.Circumference // rad/m of logged speed
	var upright, leaned float64
	dt := in.DT * float64(step)
	h, t, _ := m.Stance()
	for i := step; i < n-1; i += step {
		if !in.RearFree[i] || vl[i] < 14 {
			continue
		}
		sin, cos := math.Sincos(in.Lean[i])
		_, load, _ := m.Loads(al[i])
		lat := math.Tan(ThinLean(in.Lean[i], h, t))
		all = append(all, sample{
			y: vl[i] / (wl[i] * omega), one: 1 - cos, sin2: sin * sin,
			f: m.RearForce(al[i], vl[i], 0), n0: load, q: math.Abs(lat), v2: vl[i] * vl[i], block: in.Block[i],
		})
		// Only samples at moderate drive hold the radius: near the limit of the
		// tyre slip and radius cannot be told apart.
		s := &all[len(all)-1]
		q := math.Min(0.97, s.q/1.3)
		if u := s.f / (s.n0 * 1.3 * math.Sqrt(1-q*q)); u < -0.35 || u > 0.5 {
			continue
		}
		if l := math.Abs(in.Lean[i]); l < 12*deg {
			upright += dt
		} else if l > 35*deg {
			leaned += dt
		}
	}
	samples = len(all)
	if samples < 200 || upright < needUpright && leaned < needLeaned {
		fit.Why = say.T("{upright} s upright at moderate drive off the brakes; {needupright} are needed", fmt.Sprintf("%.0f", upright), fmt.Sprintf("%.0f", needUpright))
		return
	}
	// Without upright samples the leaned ones still hold the radius together with
	// the crown radius of the bike file.
	crownFree := leaned >= needLeaned && upright >= needUpright
	shrink := fit.Crown
	if shrink == 0 {
		shrink = 0.095
	}
	// From near (nil: from the file) three rounds do instead of eight.
	solve := func(g rearGuess, near []float64, spread float64) (x []float64, sd float64, used int, eq *normal) {
		prior := []float64{0, 0, 0, 0, 0}
		mean := []float64{0, shrink, 0, 0, 0}
		if !crownFree {
			prior[1] = 1e12
		}
		area := 0.5 * m.Density() * (g.area - m.Air.DragArea)
		sd = 0.004
		coef := []float64{fit.Circumference / (2 * math.Pi), shrink, 0.02, 0, 0}
		rounds := 8
		if near != nil {
			copy(coef, near)
			sd, rounds = spread, 3
		}
		var row [5]float64
		for round := range rounds {
			eq = newNormal(5)
			used = 0
			first := round == 0 && near == nil
			var abs float64
			for k := range all {
				s := &all[k]
				q := math.Min(0.97, s.q/g.mu)
				u := (s.f + area*s.v2 + g.side*m.Mass.Total*Gravity*s.q) / (s.n0 * g.mu * math.Sqrt(1-q*q))
				if u < -0.35 || u > g.limit {
					continue
				}
				row = [5]float64{1, -s.one, -u, -u * s.sin2, -u * u * u}
				r := s.y
				for i := range row {
					r -= coef[i] * row[i]
				}
				a := math.Abs(r)
				w := 1.0
				if !first {
					if a > 6*sd {
						continue
					}
					if a > 1.5*sd {
						w = 1.5 * sd / a
					}
				} else if s.y < 0.8*coef[0] || s.y > 1.1*coef[0] {
					continue
				}
				eq.block(s.block).add(row[:], s.y, w)
				abs += a
				used++
			}
			if used < 150 {
				return nil, sd, used, eq
			}
			c, ok := eq.solve(prior, mean)
			if !ok {
				return nil, sd, used, eq
			}
			coef = c
			if !first {
				sd = math.Max(3e-5, 1.2533*abs/float64(used))
			}
		}
		return coef, sd, used, eq
	}
	base := rearGuess{1.3, m.Air.DragArea, 0.5, SideDrag}
	best, spread, used, eq := solve(base, nil, 0)
	if best == nil {
		fit.Why = say.T("only {used} samples at moderate drive, or circumference and crown radius cannot be held apart", used)
		return
	}
	// The spread over what had to be assumed.
	var varR, varC float64
	pairs := [][2]rearGuess{
		{{1.2, base.area, 0.5, SideDrag}, {1.45, base.area, 0.5, SideDrag}},
		{{1.3, base.area - 0.07, 0.5, SideDrag}, {1.3, base.area + 0.07, 0.5, SideDrag}},
		{{1.3, base.area, 0.4, SideDrag}, {1.3, base.area, 0.6, SideDrag}},
		{{1.3, base.area, 0.5, 0.5 * SideDrag}, {1.3, base.area, 0.5, 1.5 * SideDrag}},
	}
	others := make([][]float64, 2*len(pairs))
	signal.Each(len(others), func(k int) { others[k], _, _, _ = solve(pairs[k/2][k%2], best, spread) })
	for pair := range pairs {
		var r, c [2]float64
		for k := range r {
			x := others[2*pair+k]
			if x == nil {
				x = best
			}
			r[k], c[k] = x[0]-best[0], x[1]-best[1]
		}
		varR += (r[0]*r[0] + r[1]*r[1]) / 2
		varC += (c[0]*c[0] + c[1]*c[1]) / 2
	}
	prior := []float64{0, 0, 0, 0, 0}
	if !crownFree {
		prior[1] = 1e12
	}
	se := eq.bootstrap(100, prior, []float64{0, shrink, 0, 0, 0}, func(x []float64) []float64 { return []float64{x[0], x[1]} })
	if se == nil {
		fit.Why = say.T("fewer than three laps or stretches: no error bar")
		fit.Circumference = 2 * math.Pi * best[0]
		return
	}
	fit.Circumference = 2 * math.Pi * best[0]
	fit.CircumferenceSE = 2 * math.Pi * math.Sqrt(se[0]*se[0]+varR+sq(3e-4*best[0]))
	fit.Crown = best[1]
	fit.CrownSE = math.Sqrt(se[1]*se[1] + varC + sq(0.7e-3))
	fit.Identified = true
	switch {
	case !crownFree:
		fit.Identified = false
		fit.Crown, fit.CrownSE = b.Rear.CrownRadius, 0
		if upright < needUpright {
			// The file's crown radius is good to some millimetres, and stands in the
			// way of the radius by what it takes off at the lean of the samples.
			fit.CircumferenceSE = math.Hypot(fit.CircumferenceSE, 2*math.Pi*0.4*0.005)
		}
		fit.Why = say.T("{upright} s upright and {leaned} s beyond 35 deg at moderate drive off the brakes; {needupright} and {needleaned} are needed for a crown radius: the file's is kept", fmt.Sprintf("%.0f", upright), fmt.Sprintf("%.0f", leaned), fmt.Sprintf("%.0f", needUpright), fmt.Sprintf("%.0f", needLeaned))
	case fit.CrownSE > 0.015 || fit.CircumferenceSE > 0.008*fit.Circumference:
		fit.Identified = false
		fit.Why = say.T("the error bars are too wide ({crownse} mm of crown)", fmt.Sprintf("%.0f", 1000*fit.CrownSE))
	}
	out.Drift, out.DriftSE = driftOf(eq, best)
	return
}
