package ride

import (
	"fmt"
	"math"

	"cornerwright/internal/bike"
	"cornerwright/internal/recording"
	"cornerwright/internal/say"
)

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
		t = append(t, w.pos.Clock.Stamp(c.Time[i])-w.t0-w.pos.Latency)
		v = append(v, x)
	}
	return t, v
}

// tyres identifies both tyres and settles ground speed.
func (w *work) tyres() {
	s := &w.r.Signals
	in := bike.TyreInput{DT: w.dt, Lean: s.Lean, Front: w.front, Rear: w.rear, Scratch: &w.sc}
	in.FixTime, in.FixSpeed = w.fixes()
	for k := range in.Spare {
		in.Spare[k] = w.mem.take()
		defer w.mem.back(in.Spare[k])
	}
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
		w.cannot(say.T("ground speed from the front wheel"), say.T("no front wheel speed is logged"), say.T("log front wheel speed; GPS speed is used, and slip is coarse"))
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
				say.T("engine speed and ratios say that the rear channel was logged with {file} m, not with the {file2} m of the bike file", fmt.Sprintf("%.3f", file/k), fmt.Sprintf("%.3f", file)),
				say.T("put tyre.rear.circumference_m at what the logger uses, or the logger right; slip is computed with the identified value"))
			t.Notes = append(t.Notes, fmt.Sprintf("engine speed and ratios put the logged circumference at %.3f m", file/k))
		} else {
			w.problem(recording.Warning, recording.RPM,
				say.T("engine speed over rear wheel speed is {k} % off the ratios of the bike file", fmt.Sprintf("%.1f", 100*(k-1))),
				say.T("check the sprockets in the bike file: one rear tooth is 2 to 3 %"))
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
			w.cannot(say.T("{name} tyre from this run", say.Key(k.name)), k.fit.Why, say.T("ride some laps upright and at full lean off the brakes, with GPS and both wheel speeds logged"))
		} else if file := map[string]float64{"front": w.b.Front.Circumference, "rear": w.b.Rear.Circumference}[k.name]; file > 0 {
			if e := k.fit.Circumference/file - 1; math.Abs(e) > math.Max(0.004, 3*k.fit.CircumferenceSE/file) {
				w.problem(recording.Warning, k.name+"_speed",
					say.T("the {name} circumference is {circumference} m (+-{circumferencese}), the channel was logged with {file} m: {off} %", say.Key(k.name), fmt.Sprintf("%.3f", k.fit.Circumference), fmt.Sprintf("%.3f", 1.96*k.fit.CircumferenceSE), fmt.Sprintf("%.3f", file), fmt.Sprintf("%+.1f", 100*e)),
					say.T("slip is computed with the identified value; put it right in the logger and the bike file together"))
			}
		}
	}
}
