package ride

import (
	"fmt"
	"math"

	"cornerwright/internal/circuit"
	"cornerwright/internal/recording"
	"cornerwright/internal/say"
)

// findPitSpeed watches speed in the pit lane: more than 6 m off the line, or the
// stretch of an out or in lap ridden at nearly one speed. Without a limit it
// watches nothing.
func (w *work) findPitSpeed() {
	limit := w.opt.PitSpeed
	if limit == 0 {
		limit = w.b.Limits.PitSpeed
	}
	if limit == 0 || w.r.Circuit == nil || w.pos.Lost {
		return
	}
	m := w.mem.mask()
	defer w.mem.put(m)
	for _, l := range w.r.Laps {
		if l.Kind == circuit.TimedLap {
			continue
		}
		for i := w.index(l.Start); i <= w.index(l.End); i++ {
			m[i] = math.Abs(w.pos.Offset[i]) > 6 && w.speed[i] > limit && w.speed[i] < limit+8
		}
	}
	join(m, w.samples(0.3))
	drop(m, w.samples(0.5))
	stretches(m, func(a, b int) {
		e := Episode{Kind: PitSpeed, Start: w.time(a), End: w.time(b), Inferred: true}
		for i := a; i < b; i++ {
			e.Peak = math.Max(e.Peak, w.speed[i])
		}
		w.r.Episodes = append(w.r.Episodes, e)
	})
}

// findHesitation looks, after each pick-up, for a first touch of the throttle
// that the plate does not follow: demand above delivery by a tenth for 0.15 s,
// beginning within 0.3 s of the pick-up.
func (w *work) findHesitation() {
	s := &w.r.Signals
	if s.Grip == nil || s.Throttle == nil {
		w.cannot(say.T("hesitation after pick-up"), say.T("it needs grip and throttle plate"), say.T("log both"))
		return
	}
	// The usual share of the grip that the plate gives in the first second.
	var all []float64
	for _, p := range w.r.Passes {
		if math.IsNaN(p.Pickup) {
			continue
		}
		for i := w.index(p.Pickup + 0.3); i < w.index(p.Pickup+1); i += 3 {
			if s.Grip[i] > 0.05 {
				all = append(all, s.Throttle[i]/s.Grip[i])
			}
		}
	}
	if len(all) < 50 {
		return
	}
	sortFloats(all)
	usual := quantile(all, 0.6)
	for _, p := range w.r.Passes {
		if math.IsNaN(p.Pickup) {
			continue
		}
		a, b := w.index(p.Pickup), w.index(p.Pickup+1.2)
		n, from := 0, -1
		for i := a; i < b; i++ {
			if s.Grip[i] > 0.06 && s.Throttle[i] < usual*s.Grip[i]-0.05 && s.Throttle[i] < 0.4*usual*s.Grip[i] {
				if from < 0 {
					from = i
				}
				n++
			} else if from >= 0 {
				break
			}
		}
		if n >= w.samples(0.15) && from-a <= w.samples(0.3) {
			w.r.Episodes = append(w.r.Episodes, Episode{Kind: Hesitation, Start: w.time(from), End: w.time(from + n), Inferred: true})
		}
	}
}

// watch holds temperatures against their limits.
func (w *work) watch() {
	c := w.rec.Channel(recording.Coolant)
	if c == nil {
		w.cannot(say.T("temperature watch"), say.T("no coolant temperature is logged"), say.T("log it"))
		return
	}
	warn, alarm := w.b.Limits.CoolantWarning, w.b.Limits.CoolantAlarm
	if warn == 0 {
		warn = 373.15
	}
	if alarm == 0 {
		alarm = 381.15
	}
	q := sorted(c.Value)
	top := quantile(q, 0.995)
	text := func(limit float64) say.Text {
		return say.T("coolant reached {top} degC, limit {limit} degC", fmt.Sprintf("%.0f", top-273.15), fmt.Sprintf("%.0f", limit-273.15))
	}
	switch {
	case top >= alarm:
		w.problem(recording.Fault, recording.Coolant, text(alarm), say.T("stop and find the cause before riding on"))
	case top >= warn:
		w.problem(recording.Warning, recording.Coolant, text(warn), say.T("watch it; clean the radiator, check the level"))
	}
}
