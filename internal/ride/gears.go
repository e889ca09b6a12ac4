package ride

import (
	"math"

	"cornerwright/internal/bike"
	"cornerwright/internal/recording"
	"cornerwright/internal/say"
)

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
		w.cannot(say.T("gear"), say.T("no gear and no engine speed is logged"), say.T("log engine speed or gear"))
		return
	case w.rear == nil:
		w.cannot(say.T("gear"), say.T("no gear channel, and no rear wheel speed to tell it from"), say.T("log gear or rear wheel speed"))
		return
	}
	in := bike.GearInput{DT: w.dt, Rear: w.rear, Clutch: s.Clutch, RPM: w.mem.take()}
	defer w.mem.back(in.RPM)
	for i, v := range s.RPM {
		in.RPM[i] = v * math.Pi / 30
	}
	gear, scale, ok := bike.Gears(in, w.b)
	if !ok {
		why := say.T("the ratios of the bike file do not explain engine and wheel speed")
		if len(w.b.Drive.Gears) == 0 {
			why = say.T("no gear channel, and the bike file gives no ratios")
		}
		w.cannot(say.T("gear"), why, say.T("log gear, or put drive.gears, primary and sprockets right"))
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
