package ride

import (
	"math"

	"cornerwright/internal/say"
	"cornerwright/internal/setting"
	"cornerwright/internal/signal"
)

// uncut is the model less what cuts pull it down by: fitted anew without samples
// whose slip stands at the controller's target. It tells best where a cut begins
// and ends, m, which is cautious, whether there is one.
func (w *work) uncut(m *torqueModel, torque, grip []float64, out []bool) *torqueModel {
	s := &w.r.Signals
	target := w.slipTarget()
	if target == nil || s.RearSlip == nil {
		return m
	}
	learn := w.mem.mask()
	defer w.mem.put(learn)
	for i := range learn {
		learn[i] = s.RearSlip[i] > target(i)
	}
	widen(learn, w.samples(0.05), w.samples(0.1))
	for i := range learn {
		learn[i] = learn[i] || out[i]
	}
	p := *m
	if !p.fit(torque, grip, learn, true, w.samples(0.05), 6) {
		return m
	}
	return &p
}

// signatureCut estimates torque reduction from the bike's acceleration alone:
// crank torque against what the engine gives at that grip and speed. It sees
// large cuts only. accept tells which stretches stand, edges where they begin and
// end.
func (w *work) signatureCut() (cut []float64, accept func(a, b int) bool, edges func(found [][2]int) [][2]float64) {
	s := &w.r.Signals
	torque := w.crankTorque()
	if torque == nil {
		w.cannot(say.T("cuts"), say.T("without cut or throttle channel they need mass, drag area and ratios in the bike file"), say.T("log throttle beside grip"))
		return nil, nil, nil
	}
	n := w.n
	grip := w.mem.take()
	lag := w.samples(0.03)
	for i := range grip {
		grip[i] = s.Grip[max(0, i-lag)]
	}
	signal.LowPassInto(grip, grip, 5, w.rate, &w.sc)
	out := w.notDriven(grip)
	m := w.fitTorque(torque, grip, out, true)
	if m == nil {
		w.cannot(say.T("cuts"), say.T("the run does not excite the engine enough to learn its torque"), say.T("ride more laps, or log throttle beside grip"))
		return nil, nil, nil
	}
	plain := w.uncut(m, torque, grip, out)
	// The fit keeps off wheelies; the search need not where an accelerometer carries
	// the speed through them: there the wheel-lift control takes torque.
	inAir := make([]bool, n)
	if w.accelX != nil {
		for i := range inAir {
			inAir[i] = s.Airborne[i] && !w.braking[i] && !w.shifting[i] && grip[i] > 0.3 && s.Gear[i] > 0
		}
		drop(inAir, w.samples(0.15))
		for i := range inAir {
			if inAir[i] {
				out[i] = false
			}
		}
	}
	target := w.slipTarget()
	cut = make([]float64, n)
	short, want, mean := w.mem.zeros(), w.mem.zeros(), w.mem.take()
	for i := range cut {
		if out[i] {
			continue
		}
		want[i] = m.at(i, grip[i])
		short[i] = want[i] - torque[i]
	}
	signal.MovingMeanInto(mean, short, w.samples(0.06))
	for i := range cut {
		if out[i] || want[i] < 12 {
			continue
		}
		// Where slip stands at the controller's own target, a smaller shortfall says
		// as much as a large one elsewhere.
		need := 1.25 * m.sigma
		at := target != nil && s.RearSlip != nil && s.RearSlip[i] > target(i)-0.003
		if at {
			need = 0.3 * m.sigma
		}
		if i > 0 && cut[i-1] > 0 && target != nil && s.RearSlip != nil && s.RearSlip[i] > target(i)-0.012 {
			at, need = true, 0.1*m.sigma // once in, it lasts until slip and shortfall are gone
		}
		if d := mean[i]; d > need {
			cut[i] = math.Min(1, d/want[i])
			if at {
				cut[i] = math.Max(cut[i], 0.07)
			}
		}
	}
	accept = func(a, b int) bool {
		most, peak, strong := math.Inf(-1), 0.0, 0.0
		for i := a; i < b; i++ {
			if s.RearSlip == nil || math.IsNaN(s.RearSlip[i]) {
				continue
			}
			peak = math.Max(peak, s.RearSlip[i])
			if target != nil {
				most = math.Max(most, s.RearSlip[i]-target(i))
			}
			strong = math.Max(strong, cut[i])
		}
		air := 0
		for i := a; i < b; i++ {
			air += b01(inAir[i])
		}
		if 2*air > b-a {
			return strong > 0.1 && float64(b-a)*w.dt >= 0.2
		}
		if target == nil {
			return strong > 0.2 && float64(b-a)*w.dt >= 0.25
		}
		// A great shortfall speaks for itself: the slip may be off with the tyre, the
		// bike file's targets with the bike.
		return peak > 0.02 && most > -0.01 || strong > 0.3 && float64(b-a)*w.dt >= 0.25
	}
	edges = func(found [][2]int) [][2]float64 {
		res := make([][2]float64, len(found))
		for k, f := range found {
			res[k][0] = w.edge(short, want, out, f[0], f[1], 1)
		}
		for i := range short {
			if !out[i] {
				want[i] = plain.at(i, grip[i])
				short[i] = want[i] - torque[i]
			}
		}
		for k, f := range found {
			res[k][1] = w.edge(short, want, out, f[1]-1, f[0], -1) + 1
			if res[k][1]-res[k][0] < 2 {
				res[k] = [2]float64{float64(f[0]), float64(f[1])}
			}
		}
		w.passed(res)
		return res
	}
	return cut, accept, edges
}

// slipTarget gives the slip target of the bike's grid at sample i in the slot in
// use; nil if the bike file has no such grid over lean and speed.
func (w *work) slipTarget() func(i int) float64 {
	var st *setting.Setting
	for k := range w.b.Settings {
		s := &w.b.Settings[k]
		if s.Acts == "slip-target" && s.Kind == setting.Grid && s.Rows.Channel == "lean" && s.Columns.Channel == "speed" {
			st = s
		}
	}
	if st == nil {
		return nil
	}
	var byslot [26]setting.Values
	for letter, all := range w.b.First {
		if k := int(letter[0] - 'A'); k < len(byslot) {
			byslot[k] = all[st.ID]
		}
	}
	ref := byslot[0]
	if w.b.Slots.Reference != "" {
		ref = byslot[min(25, w.b.Slots.Reference[0]-'A')]
	}
	if ref == nil {
		return nil
	}
	value := 1.0
	if st.Unit == "%" {
		value = 0.01
	}
	sig := &w.r.Signals
	return func(i int) float64 {
		v := ref
		if sig.Slot != nil {
			if k := sig.Slot[i]; k >= 0 && int(k) < len(byslot) && byslot[k] != nil {
				v = byslot[k]
			}
		}
		lean := sig.Lean[i]
		if !st.Rows.Signed() {
			lean = math.Abs(lean)
		}
		return value * st.Value(v, st.Rows.FromSI(lean), st.Columns.FromSI(w.speed[i]))
	}
}
