package ride

import (
	"fmt"
	"math"

	"cornerwright/internal/bike"
	"cornerwright/internal/circuit"
	"cornerwright/internal/recording"
	"cornerwright/internal/signal"
)

// Analyse computes everything known about one run: position and laps (package
// circuit), lean, tyres, slip, gear and force (package bike), and from them the
// episodes and the per-pass table. known is the circuit if it is known, nil to
// learn it. What the channels cannot give is named in Ride.Cannot with its
// reason; no number is invented for it. An error is returned only where there
// is no position at all.
func Analyse(rec *recording.Recording, b *bike.Bike, known *circuit.Circuit, opt Options) (*Ride, error) {
	loc, err := circuit.Locate(rec, known, opt.Circuit)
	if err != nil {
		return nil, err
	}
	return Continue(rec, b, loc, opt)
}

// Continue is Analyse for a run that has been located already.
func Continue(rec *recording.Recording, b *bike.Bike, loc *circuit.Located, opt Options) (*Ride, error) {
	if b == nil {
		b = &bike.Bike{}
	}
	r := &Ride{Circuit: loc.Circuit, Position: loc.Position, Matrix: loc.Matrix, Laps: loc.Laps, Problems: loc.Problems}
	w := &work{rec: rec, b: b, opt: opt, loc: loc, pos: loc.Position, r: r}
	w.n = len(loc.Position.Time)
	if w.n < 50 {
		return nil, fmt.Errorf("ride: the recording holds %d samples: too few to analyse", w.n)
	}
	w.mem.n = w.n
	w.t0 = loc.Position.Time[0]
	w.dt = (loc.Position.Time[w.n-1] - w.t0) / float64(w.n-1)
	w.rate = 1 / w.dt
	w.load()
	w.numberLaps()
	w.masks()
	w.lean()
	w.tyres()
	w.gear()
	w.settleRear()
	w.slip()
	w.force()
	if r.Circuit != nil {
		r.Passes = w.cutPasses()
	}
	w.findBlips()
	w.findUpshifts()
	w.findLimiter()
	w.findWheelies()
	w.findLocks()
	w.findRearLift()
	w.findHop()
	w.findShakes()
	w.findSpins()
	w.findCuts()
	w.findHesitation()
	w.findPitSpeed()
	w.place()
	w.cost()
	w.engineBrake()
	w.suspension()
	w.pulls()
	w.watch()
	w.fillPasses()
	r.speed = w.speed
	if w.front == nil {
		r.Signals.Airborne = nil
	}
	return r, nil
}

func (w *work) numberLaps() {
	w.lap = make([]int32, w.n)
	for _, l := range w.r.Laps {
		for i := w.index(l.Start); i <= w.index(l.End); i++ {
			w.lap[i] = int32(l.Number)
		}
	}
}

// brakeOn is the pressure in Pa above which a brake counts as on.
func brakeOn(p []float64) float64 {
	return math.Max(0.5e5, 0.03*quantile(sorted(p), 0.99))
}

// masks finds where the rider brakes.
func (w *work) masks() {
	w.braking = make([]bool, w.n)
	s := &w.r.Signals
	v := w.pos.Speed
	for _, p := range [][]float64{s.FrontBrake, s.RearBrake} {
		if p == nil {
			continue
		}
		on := brakeOn(p)
		for i, x := range p {
			if x > on {
				w.braking[i] = true
			}
		}
	}
	if s.FrontBrake == nil {
		k := w.samples(0.15)
		for i := k; i < w.n-k; i++ {
			if (v[i+k]-v[i-k])/(2*float64(k)*w.dt) < -3 {
				w.braking[i] = true
			}
		}
		w.cannot("brake pressure", "no front brake pressure is logged", "log front brake pressure; braking is taken from deceleration beyond 3 m/s2")
	}
	widen(w.braking, w.samples(0.05), w.samples(0.15))
}

// lean finds the lean signal.
func (w *work) lean() {
	in := bike.LeanInput{DT: w.dt, Speed: w.pos.Speed, Kappa: w.pos.Kappa, PathLost: w.pos.Lost,
		Channel: w.channel(recording.Lean), ChannelBad: w.bad(recording.Lean), RollRate: w.rollRate,
		YawRate: w.yawRate, PitchRate: w.pitchRate, Scratch: &w.sc}
	if c := w.rec.Channel(recording.Lean); c != nil && c.Rate() > 0 {
		in.ChannelStep = 1 / c.Rate()
	}
	s := &w.r.Signals
	s.Lean, s.LeanSE, w.r.Lean = bike.EstimateLean(in, w.b)
	if in.Channel == nil {
		why := "no lean channel is logged"
		w.cannot("lean channel", why, "log lean, or live with "+w.r.Lean.Source+fmt.Sprintf(" (standard error %.1f deg)", w.r.Lean.SE*180/math.Pi))
	}
	w.roll = make([]float64, w.n)
	w.slope(w.roll, s.Lean, 4)
}

// fixes are the GPS speeds as the receiver gave them, each once, delay removed,
// counted from the first grid sample.
func (w *work) fixes() (t, v []float64) {
	c := w.rec.Channel(recording.GPSSpeed)
	if c == nil {
		return nil, nil
	}
	last := math.NaN()
	repeat := c.Rate() > 25
	for i, x := range c.Value {
		if repeat && x == last {
			continue
		}
		last = x
		t = append(t, c.Time[i]-w.t0-w.pos.Latency)
		v = append(v, x)
	}
	return t, v
}

// tyres identifies both tyres and settles ground speed.
func (w *work) tyres() {
	s := &w.r.Signals
	in := bike.TyreInput{DT: w.dt, Lean: s.Lean, Front: w.front, Rear: w.rear, Scratch: &w.sc}
	in.FixTime, in.FixSpeed = w.fixes()
	in.Block = make([]int32, w.n)
	long := int(30 / w.dt)
	for i := range in.Block {
		in.Block[i] = int32(i / long)
	}
	fb, rb := w.bad(recording.FrontSpeed), w.bad(recording.RearSpeed)

	// The first judgement of the front wheel needs no tyre: it turns slower than
	// the ground passes only with its brake on or in the air.
	w.speed = append([]float64(nil), w.pos.Speed...)
	w.airborne()
	in.FrontFree = w.mem.mask()
	defer w.mem.put(in.FrontFree)
	for i := range in.FrontFree {
		in.FrontFree[i] = !w.braking[i] && !s.Airborne[i] && (fb == nil || !fb[i])
	}
	fit, speed, more := bike.FitFront(in, w.b)
	w.r.Tyres.Front = fit
	w.frontFit = fit.Identified || (w.front != nil && fit.Circumference > 0 && fit.CircumferenceSE > 0)
	w.frontRadius, w.frontCrown = fit.Circumference/(2*math.Pi), fit.Crown
	if w.frontRadius == 0 {
		w.frontRadius = w.b.FrontRadius()
	}
	switch {
	case speed != nil && (w.frontFit || len(in.FixTime) < 100 || w.b.Front.Circumference == 0):
		// Where the wheel is not to be believed the position's speed bridges.
		w.bridgeSpeed(speed, fb)
		w.speed = speed
		w.airborne()
		w.bridgeSpeed(speed, fb)
	case w.front == nil:
		w.cannot("ground speed from the front wheel", "no front wheel speed is logged", "log front wheel speed; GPS speed is used, and slip is coarse")
	}
	for i := range in.FixTime {
		in.FixTime[i] -= more
	}
	w.brakeSlip(in.FixTime, in.FixSpeed)
	w.accel = make([]float64, w.n)
	w.slope(w.accel, w.speed, 4)

	w.shifts()
	in.RearFree = in.FrontFree // the front's has done its work
	for i := range in.RearFree {
		in.RearFree[i] = !w.braking[i] && !s.Airborne[i] && !w.shifting[i] && (rb == nil || !rb[i]) && (fb == nil || !fb[i])
	}
	found := bike.FitRear(in, w.b, w.speed)
	rear := found.TyreFit
	// What lean is unsure of, both radii are unsure of: about 0.15 % of
	// circumference and a millimetre of crown for each degree (measured).
	unsure := w.r.Lean.SE * 180 / math.Pi
	for _, f := range []*bike.TyreFit{&w.r.Tyres.Front, &rear} {
		if f.CircumferenceSE > 0 {
			f.CircumferenceSE = math.Hypot(f.CircumferenceSE, 0.0015*unsure*f.Circumference)
		}
		if f.CrownSE > 0 {
			f.CrownSE = math.Hypot(f.CrownSE, 1e-3*unsure)
		}
	}
	w.rearFound = rear.Identified || rear.CircumferenceSE > 0
	t := &w.r.Tyres
	t.Rear, t.Drift, t.DriftSE, t.Samples = rear, found.Drift, found.DriftSE, found.Samples
	t.Notes = append(t.Notes, found.Notes...)
}

// brakeSlip takes the slip of the braked front wheel out of ground speed: a tyre
// that brakes turns slower than it rolls, in proportion to brake pressure (or
// to deceleration where no pressure is logged). The share is fitted to GPS speed.
func (w *work) brakeSlip(t, v []float64) {
	if w.front == nil {
		return
	}
	s := &w.r.Signals
	x, a := w.mem.zeros(), w.mem.take()
	defer w.mem.back(x, a)
	w.slope(a, w.speed, 5)
	if s.FrontBrake != nil {
		for i, p := range s.FrontBrake {
			x[i] = math.Max(0, p) / 1e6
		}
		signal.LowPassInto(x, x, 12, w.rate, &w.sc)
	} else {
		for i := range x {
			if w.braking[i] {
				x[i] = math.Max(0, -a[i]-2) / 10
			}
		}
	}
	if len(t) < 100 {
		if s.FrontBrake != nil {
			top := quantile(sorted(x), 0.99)
			for i := range w.speed {
				if !s.Airborne[i] && !w.locked[i] {
					w.speed[i] *= 1 + 0.025*math.Min(1.2, x[i]/math.Max(top, 0.1))
				}
			}
			w.r.Tyres.Notes = append(w.r.Tyres.Notes, "no GPS speed: 2.5 % slip of the front wheel at the hardest braking is assumed")
		}
		return
	}
	// Slip over pressure is a bent line through nil: four pieces up to the top.
	const knots = 4
	top := quantile(sorted(x), 0.995)
	if !(top > 0) {
		return
	}
	hats := func(p float64, h *[knots]float64) {
		*h = [knots]float64{}
		u := math.Min(p/top, 1.2) * knots
		k := min(int(u), knots-1)
		f := u - float64(k)
		if k > 0 {
			h[k-1] = 1 - f
		}
		h[k] = f
	}
	var h [knots]float64
	// What is left of the GPS delay looks like slip while the bike slows: it is an
	// unknown too, held at 0 +- 3 ms by rows that stand for that knowledge.
	const held, holds = 100, 10.5
	fit := signal.RobustFit(len(t)+held, knots+1, func(k int, row []float64) (float64, bool) {
		if k >= len(t) {
			clear(row)
			row[knots] = holds
			return 0, true
		}
		u := t[k] / w.dt
		i := int(u)
		if i < 2 || i >= w.n-3 || !w.braking[i] || w.locked[i] || s.Airborne[i] || w.speed[i] < 12 || x[i] <= 0 {
			return 0, false
		}
		f := u - float64(i)
		at := func(q []float64) float64 { return q[i] + f*(q[i+1]-q[i]) }
		hats(at(x), &h)
		vi := at(w.speed)
		for j := range h {
			row[j] = h[j] * vi
		}
		row[knots] = at(a)
		return v[k] - vi, true
	}, 1.5, 0.6, 0.4, 0.4)
	if !fit.OK || fit.N < 80 {
		return
	}
	last := fit.Coef[knots-1]
	if last < 0.002 || last > 0.12 || last < 2*math.Sqrt(fit.Cov[knots-1][knots-1]) {
		return
	}
	prev := 0.0
	for j := range knots { // rising, as a tyre's slip does
		fit.Coef[j] = math.Max(prev, math.Min(fit.Coef[j], last))
		prev = fit.Coef[j]
	}
	for i := range w.speed {
		if s.Airborne[i] || w.locked[i] || x[i] <= 0 {
			continue
		}
		hats(x[i], &h)
		k := 0.0
		for j := range h {
			k += h[j] * fit.Coef[j]
		}
		w.speed[i] *= 1 + k
	}
	w.r.Tyres.Notes = append(w.r.Tyres.Notes, fmt.Sprintf("the front wheel slips %.1f %% at the hardest braking: taken out of ground speed", 100*last))
}

// bridgeSpeed puts the position's speed where the front wheel is in the air,
// locked or marked, joined to the wheel at both ends. Between the ends the
// accelerometer, where there is one, carries the detail.
func (w *work) bridgeSpeed(v []float64, bad []bool) {
	m := w.mem.mask()
	defer w.mem.put(m)
	air := w.r.Signals.Airborne
	for i := range m {
		m[i] = air[i] || w.locked[i] || (bad != nil && bad[i])
	}
	for _, sp := range w.pos.Replaced {
		for i := w.index(sp.From); i <= w.index(sp.To); i++ {
			m[i] = true
		}
	}
	join(m, w.samples(0.1))
	stretches(m, func(a, b int) {
		if a == 0 || b >= w.n {
			for i := a; i < b; i++ {
				v[i] = w.pos.Speed[i]
			}
			return
		}
		src := w.pos.Speed
		span := float64(b-a) * w.dt
		if w.accelX != nil && span < 3 {
			// Integrate the accelerometer; its offset is what the ends demand.
			va, vb := v[a-1], v[b]
			sum := 0.0
			for i := a; i <= b; i++ {
				sum += 0.5 * (w.accelX[i] + w.accelX[i-1]) * w.dt
			}
			fix := (vb - va - sum) / float64(b-a+1)
			x := va
			for i := a; i < b; i++ {
				x += 0.5*(w.accelX[i]+w.accelX[i-1])*w.dt + fix
				v[i] = x
			}
			return
		}
		da, db := v[a-1]-src[a-1], v[b]-src[b]
		for i := a; i < b; i++ {
			f := float64(i-a+1) / float64(b-a+1)
			v[i] = src[i] + da + f*(db-da)
		}
	})
}

// shifts marks clutch pulls and changes of ratio from 0.1 s before to 0.3 s after.
func (w *work) shifts() {
	w.shifting = make([]bool, w.n)
	s := &w.r.Signals
	if s.Clutch != nil {
		for i, c := range s.Clutch {
			if c > 0.2 {
				w.shifting[i] = true
			}
		}
	}
	if g := w.steps(recording.Gear); g != nil {
		for i := 1; i < w.n; i++ {
			if g[i] != g[i-1] {
				w.shifting[i] = true
			}
		}
	} else if s.RPM != nil && w.rear != nil {
		// A ratio that moves by a tenth in a quarter of a second is a shift.
		k := w.samples(0.12)
		for i := k; i < w.n-k; i++ {
			if w.rear[i-k] > 5 && w.rear[i+k] > 5 && s.RPM[i-k] > 1000 {
				q := s.RPM[i+k] / w.rear[i+k] * w.rear[i-k] / s.RPM[i-k]
				if q > 1.06 || q < 0.945 {
					w.shifting[i] = true
				}
			}
		}
	}
	widen(w.shifting, w.samples(0.1), w.samples(0.3))
}

// slip computes slip of both wheels with lean-dependent radii.
func (w *work) slip() {
	s := &w.r.Signals
	cut := w.slipBand()
	wheel := func(logged float64, wheel []float64, r, crown float64) []float64 {
		if wheel == nil || logged == 0 {
			return nil
		}
		out, tmp := make([]float64, w.n), w.mem.take()
		defer w.mem.back(tmp)
		signal.LowPassInto(out, wheel, cut, w.rate, &w.sc)
		signal.LowPassInto(tmp, w.speed, cut, w.rate, &w.sc)
		k := 2 * math.Pi / logged
		for i := range out {
			out[i] = bike.Slip(out[i]*k, bike.Rolling(r, crown, s.Lean[i]), tmp[i])
		}
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
		why := "no rear wheel speed is logged"
		if w.rear != nil {
			why = "the bike file does not give the circumference that the rear wheel speed was logged with"
		}
		w.cannot("rear slip", why, "log rear wheel speed and give tyre.rear.circumference_m")
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

// settleRear parts two faults that look alike to the wheels. The rear channel
// may have been logged with another circumference than the file says, or the
// tyre may really have another. Engine speed and the ratios tell how fast the
// wheel turned: where they disagree with the file's circumference, either that
// or the gearing in the file is wrong. What leaves the tyre nearer to its
// nominal size is taken, and told.
func (w *work) settleRear() {
	s := &w.r.Signals
	t := &w.r.Tyres
	file := w.b.Rear.Circumference
	if w.rear != nil && file > 0 && s.RPM != nil && s.Gear != nil && !w.gearFromRatio {
		var q []float64
		for i := 0; i < w.n; i += 7 {
			it := w.b.Drive.Total(int(s.Gear[i]))
			if it == 0 || w.shifting[i] || w.rear[i] < 10 || (s.Clutch != nil && s.Clutch[i] > 0.2) {
				continue
			}
			q = append(q, s.RPM[i]*2*math.Pi/60/(w.rear[i]*2*math.Pi/file)/it)
		}
		if len(q) > 100 {
			sortFloats(q)
			if m := quantile(q, 0.5); m > 0.9 && m < 1.1 && quantile(q, 0.75)-quantile(q, 0.25) < 0.02 {
				w.ratioScale = m
			}
		}
	}
	w.wheelScale = 1
	if k := w.ratioScale; math.Abs(k-1) > 0.006 && w.rearFound {
		as := t.Rear.Circumference        // the file's circumference is what was logged
		other := t.Rear.Circumference / k // the file's gearing is right
		if math.Abs(other/file-1) < math.Abs(as/file-1) {
			w.wheelScale = 1 / k
			t.Rear.Circumference = other
			t.Rear.CircumferenceSE /= k
			if t.Rear.CrownSE > 0 {
				t.Rear.Crown /= k
				t.Rear.CrownSE /= k
			}
			w.problem(recording.Warning, recording.RearSpeed,
				fmt.Sprintf("engine speed and ratios say that the rear channel was logged with %.3f m, not with the %.3f m of the bike file", file/k, file),
				"put tyre.rear.circumference_m at what the logger uses, or the logger right; slip is computed with the identified value")
			t.Notes = append(t.Notes, fmt.Sprintf("engine speed and ratios put the logged circumference at %.3f m", file/k))
		} else {
			w.problem(recording.Warning, recording.RPM,
				fmt.Sprintf("engine speed over rear wheel speed is %.1f %% off the ratios of the bike file", 100*(k-1)),
				"check the sprockets in the bike file: one rear tooth is 2 to 3 %")
		}
	}
	w.rearRadius, w.rearCrown = t.Rear.Circumference/(2*math.Pi), t.Rear.Crown
	if w.rearRadius == 0 {
		w.rearRadius = w.b.RearRadius()
	}
	if w.rearCrown == 0 {
		w.rearCrown = 0.095
		if w.rear != nil {
			t.Notes = append(t.Notes, "no crown radius of the rear tyre is known: 95 mm taken")
		}
	}
	for _, k := range []struct {
		name string
		fit  bike.TyreFit
	}{{"front", t.Front}, {"rear", t.Rear}} {
		if !k.fit.Identified {
			w.cannot(k.name+" tyre from this run", k.fit.Why, "ride some laps upright and at full lean off the brakes, with GPS and both wheel speeds logged")
		} else if file := map[string]float64{"front": w.b.Front.Circumference, "rear": w.b.Rear.Circumference}[k.name]; file > 0 {
			if e := k.fit.Circumference/file - 1; math.Abs(e) > math.Max(0.004, 3*k.fit.CircumferenceSE/file) {
				w.problem(recording.Warning, k.name+"_speed",
					fmt.Sprintf("the %s circumference is %.3f m (+-%.3f), the channel was logged with %.3f m: %+.1f %%", k.name, k.fit.Circumference, 1.96*k.fit.CircumferenceSE, file, 100*e),
					"slip is computed with the identified value; put it right in the logger and the bike file together")
			}
		}
	}
}

// gear finds the gear at every sample.
func (w *work) gear() {
	s := &w.r.Signals
	w.ratioScale = 1
	if g := w.steps(recording.Gear); g != nil {
		s.Gear = bike.CleanGear(g, w.dt)
		bad := w.bad(recording.Gear)
		if bad == nil {
			return
		}
		for i := range bad {
			if bad[i] {
				s.Gear[i] = 0
			}
		}
		return
	}
	switch {
	case s.RPM == nil:
		w.cannot("gear", "no gear and no engine speed is logged", "log engine speed or gear")
		return
	case w.rear == nil:
		w.cannot("gear", "no gear channel, and no rear wheel speed to tell it from", "log gear or rear wheel speed")
		return
	}
	in := bike.GearInput{DT: w.dt, Rear: w.rear, Clutch: s.Clutch, RPM: w.mem.take()}
	defer w.mem.back(in.RPM)
	for i, v := range s.RPM {
		in.RPM[i] = v * math.Pi / 30
	}
	gear, scale, ok := bike.Gears(in, w.b)
	if !ok {
		why := "the ratios of the bike file do not explain engine and wheel speed"
		if len(w.b.Drive.Gears) == 0 {
			why = "no gear channel, and the bike file gives no ratios"
		}
		w.cannot("gear", why, "log gear, or put drive.gears, primary and sprockets right")
		return
	}
	s.Gear, w.ratioScale, w.gearFromRatio = gear, scale, true
	// The finer shift mask.
	for i := range w.shifting {
		w.shifting[i] = s.Clutch != nil && s.Clutch[i] > 0.2
	}
	for i := 1; i < w.n; i++ {
		if gear[i] != gear[i-1] {
			w.shifting[i] = true
		}
	}
	widen(w.shifting, w.samples(0.1), w.samples(0.3))
}

// force is the force between rear tyre and road, brakes included.
func (w *work) force() {
	if w.b.Mass.Total == 0 || w.b.Air.DragArea == 0 {
		w.cannot("force and torque", "mass or drag area is not in the bike file", "give mass.total_kg and air.drag_area_m2")
		return
	}
	f := make([]float64, w.n)
	for i := range f {
		lat := w.speed[i] * w.speed[i] * w.pos.Kappa[i]
		f[i] = w.b.RearForce(w.accel[i], w.speed[i], 0) + bike.SideDrag*w.b.Mass.Total*math.Abs(lat)
	}
	w.r.Signals.Force = f
}

// cutPasses cuts the phases of every lap through every turn.
func (w *work) cutPasses() []Pass {
	s := &w.r.Signals
	sig := circuit.Signals{Lean: s.Lean, Grip: s.Grip, Brake: s.FrontBrake, Accel: s.Accel}
	cut := circuit.Passes(w.r.Circuit, w.pos, w.r.Laps, sig)
	out := make([]Pass, len(cut))
	for i := range cut {
		out[i].Pass = cut[i]
	}
	return out
}
