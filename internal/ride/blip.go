package ride

import (
	"math"

	"cornerwright/internal/bike"
	"cornerwright/internal/say"
	"cornerwright/internal/signal"
)

// blipWork is a downshift with its instants as grid indices.
type blipWork struct{ start, change, home int }

// needed is the engine speed (1/min) that the rear wheel asks for in a gear at
// ground speed v and lean: the wheel without slip.
func (w *work) needed(i int, gear int) float64 {
	r := bike.Rolling(w.rearRadius, w.rearCrown, w.r.Signals.Lean[i])
	n := w.b.Drive.EngineSpeed(w.speed[i], gear, r) * 30 / math.Pi
	if w.wheelScale == 1 { // the gearing of the file is off, not the circumference
		n *= w.ratioScale
	}
	return n
}

// limiterLevel is the engine speed (1/min) from which the limiter counts as
// reached: 99.5 % of it (common practice); +Inf if the bike file does not give
// one.
func (w *work) limiterLevel() float64 {
	if w.b.Drive.LimiterRPM == 0 {
		return math.Inf(1)
	}
	return 0.995 * w.b.Drive.LimiterRPM
}

// findBlips measures every downshift: the engine speed needed and reached when
// the clutch is home, the surplus, contact with the limiter, and how long the
// engine then pushed the bike on.
func (w *work) findBlips() {
	s := &w.r.Signals
	if s.Gear == nil || s.RPM == nil {
		w.cannot(say.T("downshifts"), say.T("they need gear (or rear wheel speed and ratios) and engine speed"), say.T("log engine speed and gear"))
		return
	}
	if s.Clutch == nil {
		w.cannot(say.T("surplus engine speed of downshifts"), say.T("without a clutch switch the instant of clutch home is not known"), say.T("log the clutch switch; downshifts are classed as matched, over or under only"))
	}
	known := s.Clutch != nil && w.front != nil
	if w.front == nil {
		w.cannot(say.T("surplus engine speed of downshifts"), say.T("without front wheel speed the engine speed needed rests on GPS speed: good to some 300/min only"), say.T("log front wheel speed; downshifts are classed as matched, over or under only"))
	}
	var slip []float64
	if s.RearSlip != nil {
		slip = w.mem.take()
		tmp := w.mem.take()
		defer w.mem.back(slip, tmp)
		signal.LowPassTwo(signal.Series{Dst: slip, X: w.rear, Cut: 15}, signal.Series{Dst: tmp, X: w.speed, Cut: 15}, w.rate, &w.sc)
		k := 2 * math.Pi / (w.b.Rear.Circumference * w.wheelScale)
		for i := range slip {
			slip[i] = bike.Slip(slip[i]*k, bike.Rolling(w.rearRadius, w.rearCrown, s.Lean[i]), tmp[i])
		}
	}
	limit := w.limiterLevel()
	for i := 1; i < w.n; i++ {
		a, b := s.Gear[i-1], s.Gear[i]
		if a == 0 || b == 0 || b >= a || w.speed[i] < 6 {
			continue
		}
		k := blipWork{start: i, change: i, home: i}
		if s.Clutch != nil && !w.pull(&k) {
			// A change without a clutch pull: a shift with the quick-shifter, home at
			// the change.
			k.start = max(0, i-w.samples(0.05))
		} else if s.Clutch == nil {
			k.home = w.settled(i, int(b))
			k.start = max(0, i-w.samples(0.2))
		}
		h := k.home
		e := Episode{Kind: Blip, Start: w.time(k.start), End: w.time(h), Gear: int(b)}
		sh := &Shift{FromGear: int(a), ToGear: int(b), Surplus: math.NaN(), Needed: math.NaN(), Push: math.NaN(), PushAccel: math.NaN()}
		e.Shift = sh
		if w.b.Drive.Total(int(b)) > 0 {
			sh.Needed = 0.5 * (w.needed(h, int(b)) + w.needed(max(0, h-1), int(b)))
			reached := 0.5 * (s.RPM[h] + s.RPM[max(0, h-1)])
			if known {
				sh.Surplus = reached - sh.Needed
			}
		}
		end := min(w.n-1, h+w.samples(0.03))
		over := 0
		for j := k.start; j <= end; j++ {
			sh.Peak = math.Max(sh.Peak, s.RPM[j])
			if s.Grip != nil {
				sh.GripPeak = math.Max(sh.GripPeak, s.Grip[j])
			}
			if s.RPM[j] > limit && j >= k.start+w.samples(0.02) && j <= h+w.samples(0.01) {
				over++
			}
		}
		sh.Limiter = over >= 2
		sh.Class = classOf(sh, known)
		if slip != nil {
			sh.Push, sh.PushAccel = w.push(slip, h, int(b))
			if s.Clutch == nil {
				sh.Push = math.NaN()
			}
		}
		e.Inferred = w.gearFromRatio || s.Clutch == nil
		e.Marked = w.marked(span(e), "rpm", "clutch", "rear_speed", "front_speed", "gear")
		w.r.Episodes = append(w.r.Episodes, e)
		w.blips = append(w.blips, k)
	}
}

// classOf names a downshift as matched, over or under: bands of 3 and 5 % of the
// engine speed needed (common practice).
func classOf(s *Shift, known bool) string {
	switch {
	case math.IsNaN(s.Needed):
		return ""
	case known && s.Surplus > 0.045*s.Needed, !known && s.Peak > 1.08*s.Needed:
		return "over"
	case known && s.Surplus < -0.05*s.Needed, !known && s.Peak < 0.93*s.Needed:
		return "under"
	}
	return "matched"
}

// pull finds the clutch pull about a change of gear: start where it begins,
// home where it is back; false if there is none.
func (w *work) pull(k *blipWork) bool {
	c := w.r.Signals.Clutch
	at := -1
	for d := 0; d <= w.samples(0.4); d++ {
		for _, j := range [2]int{k.change - d, k.change + d} {
			if j >= 0 && j < w.n && c[j] > 0.5 {
				at = j
				break
			}
		}
		if at >= 0 {
			break
		}
	}
	if at < 0 {
		return false
	}
	a, h := at, at
	for a > 0 && c[a-1] > 0.5 {
		a--
	}
	for h < w.n-1 && c[h] > 0.5 {
		h++
	}
	k.start, k.home = a, h
	return true
}

// settled is where the ratio of engine to rear wheel has come within 2 % of the
// new gear's, within 0.6 s of the change.
func (w *work) settled(i, gear int) int {
	if w.rear == nil || w.b.Rear.Circumference == 0 {
		return i
	}
	it := w.b.Drive.Total(gear) * w.ratioScale
	k := 2 * math.Pi / w.b.Rear.Circumference * 30 / math.Pi
	for j := i; j < min(w.n, i+w.samples(0.6)); j++ {
		if math.Abs(w.r.Signals.RPM[j]/(w.rear[j]*k*it)-1) < 0.02 {
			return j
		}
	}
	return i
}

// push tells for how long after clutch home at sample h the engine drove the
// rear wheel on, and the mean acceleration over that time against the quarter
// second after. While the clutch still slips, that is as long as the engine
// turns faster than its own wheel; where the clutch holds at once, as long as
// rear slip stays above its level of 0.35 to 0.5 s later.
func (w *work) push(slip []float64, h, gear int) (seconds, accel float64) {
	a, b := h+w.samples(0.35), h+w.samples(0.5)
	if b >= w.n {
		return math.NaN(), math.NaN()
	}
	rpm := w.r.Signals.RPM
	started := h
	j := 0
	// Engine speed that the rear wheel itself asks for.
	k := 2 * math.Pi / w.b.Rear.Circumference * w.ratioScale * w.b.Drive.Total(gear) * 30 / math.Pi
	over := func(i int) bool { return rpm[i] > 1.005*w.rear[i]*k+15 }
	if m := min(w.n-1, h+w.samples(0.02)); k > 0 && rpm[m] > 1.012*w.rear[m]*k {
		for j = h; j < min(w.n-1, h+w.samples(0.8)) && (over(j) || over(j+1)); j++ {
		}
	} else {
		rest := append([]float64(nil), slip[a:b]...)
		sortFloats(rest)
		level := math.Max(quantile(rest, 0.5), -0.012) + 0.0035
		started = -1
		for j = h; j < min(w.n, h+w.samples(0.8)); j++ {
			if slip[j] > level {
				if started < 0 {
					started = j
				}
			} else if started >= 0 || j > h+w.samples(0.08) {
				break
			}
		}
	}
	if started < 0 || j <= started {
		return 0, 0
	}
	var during, after float64
	for i := started; i < j; i++ {
		during += w.accel[i]
	}
	for i := j; i < min(w.n, j+w.samples(0.25)); i++ {
		after += w.accel[i]
	}
	return float64(j-started) * w.dt, during/float64(j-started) - after/float64(w.samples(0.25))
}
