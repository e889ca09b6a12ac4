package ride

import (
	"math"
	"sort"

	"cornerwright/internal/circuit"
	"cornerwright/internal/say"
	"cornerwright/internal/signal"
)

// fillPasses computes the per-pass table: one row per lap and turn. A measure
// that the channels do not carry is NaN.
func (w *work) fillPasses() {
	r, s := w.r, &w.r.Signals
	if r.Circuit == nil {
		return
	}
	kinds := map[int]circuit.Lap{}
	for _, l := range r.Laps {
		kinds[l.Number] = l
	}
	// Fixed places per turn, from the line and the median of the passes: where
	// entry and exit are parted, and where exit speed is read.
	type places struct{ slow, exit float64 }
	fixed := map[int]places{}
	for _, t := range r.Circuit.Turns {
		var slow []float64
		for k := range r.Passes {
			if p := &r.Passes[k]; p.Turn == t.Number && p.Whole && !math.IsNaN(p.ApexM) {
				slow = append(slow, w.along(t.From, p.ApexM))
			}
		}
		pl := places{slow: w.along(t.From, t.Apex), exit: w.along(t.From, t.Exit)}
		if len(slow) > 0 {
			sortFloats(slow)
			pl.slow = slow[len(slow)/2]
		}
		fixed[t.Number] = pl
	}
	shared := w.sharedSEs()
	for k := range r.Passes {
		p := &r.Passes[k]
		clearMeasures(p)
		lap := kinds[p.Lap]
		p.Timed = lap.Kind == circuit.TimedLap
		p.Slot = w.slotOf(p, lap)
		if math.IsNaN(p.Start) || math.IsNaN(p.End) || p.End <= p.Start {
			continue
		}
		p.Segment = lap.Clock.Seconds(p.End - p.Start)
		p.SegmentSE = w.loc.SegmentSE(p.Start, p.End)
		p.SegmentSharedSE = shared[p.Turn]
		t := r.Circuit.Turn(p.Turn)
		if t == nil {
			continue
		}
		a, b := w.index(p.Start), w.index(p.End)
		at := func(m float64) float64 { // instant at m metres past the window's start
			return w.pos.CrossAt(w.pos.S[a] + m)
		}
		pl := fixed[p.Turn]
		if mid := at(pl.slow); mid > p.Start && mid < p.End {
			p.EntryTime, p.ExitTime = mid-p.Start, p.End-mid
		}
		speedAt := func(x float64) float64 {
			if math.IsNaN(x) || x < w.t0 || x > w.time(w.n-1) {
				return math.NaN()
			}
			return w.speed[w.index(x)]
		}
		p.EntrySpeed = speedAt(p.TurnIn)
		p.ExitSpeed = speedAt(at(pl.exit))
		p.CarrySpeed = speedAt(at(pl.exit + 100))
		p.MinSpeed = math.Inf(1)
		p.MaxLean = 0
		lo, hi := a, b
		if !math.IsNaN(p.TurnIn) {
			lo = w.index(p.TurnIn)
		}
		if x := at(pl.exit); x > p.Start && x < p.End {
			hi = w.index(x)
		}
		for i := lo; i <= hi; i++ {
			p.MinSpeed = math.Min(p.MinSpeed, w.speed[i])
			p.MaxLean = math.Max(p.MaxLean, math.Abs(s.Lean[i]))
		}
		w.brakeMeasures(p)
		w.driveMeasures(p, b)
		w.gripMeasures(p, a, b)
		// Episodes stand in order of time.
		first := sort.Search(len(r.Episodes), func(j int) bool { return r.Episodes[j].Start >= p.Start })
		for j := first; j < len(r.Episodes) && r.Episodes[j].Start < p.End; j++ {
			w.addEpisode(p, &r.Episodes[j])
		}
		p.Marks = w.passMarks(p)
	}
}

// sharedSEs is, by turn, what the times of all timed laps through its window err by in
// common (s); a turn whose laps cannot tell is left out.
func (w *work) sharedSEs() map[int]float64 {
	turns := w.r.Circuit.Turns
	se := make([]float64, len(turns))
	signal.Each(len(turns), func(k int) { se[k] = w.loc.SharedSE(turns[k].From, turns[k].To) })
	out := map[int]float64{}
	for k, t := range turns {
		if !math.IsNaN(se[k]) {
			out[t.Number] = se[k]
		}
	}
	return out
}

func clearMeasures(p *Pass) {
	nan := math.NaN()
	p.Segment, p.SegmentSE, p.EntryTime, p.ExitTime = nan, nan, nan, nan
	p.EntrySpeed, p.MinSpeed, p.ExitSpeed, p.CarrySpeed, p.MaxLean = nan, nan, nan, nan, nan
	p.MeanDecel, p.PeakDecel, p.CoastDecel, p.BrakeTime, p.CoastTime, p.PickupToFull = nan, nan, nan, nan, nan, nan
	p.CutTime, p.CutArea, p.CutMaxLean, p.CutPicking, p.CutUpright = nan, nan, nan, nan, nan
	p.PeakSlip, p.MeanSlip, p.EntrySlip, p.Push, p.Surplus = nan, nan, nan, nan, nan
	p.AirTime, p.LimiterTime, p.HopRMS, p.ForkMax, p.ShockMin = nan, nan, nan, nan, nan
}

// along is the way in m from place a to place b in riding direction.
func (w *work) along(a, b float64) float64 {
	d := b - a
	if d < 0 {
		d += w.r.Circuit.Line.Length
	}
	return d
}

func (w *work) slotOf(p *Pass, lap circuit.Lap) string {
	if s := w.r.Signals.Slot; s != nil && !math.IsNaN(p.Start) && !math.IsNaN(p.End) {
		v := s[(w.index(p.Start)+w.index(p.End))/2]
		if v >= 0 && v < 26 {
			return string(rune('A' + v))
		}
	}
	if lap.Slot != "" {
		return lap.Slot
	}
	if w.lapSlots != nil {
		return w.lapSlots[p.Lap]
	}
	return ""
}

func (w *work) brakeMeasures(p *Pass) {
	s := &w.r.Signals
	if !math.IsNaN(p.Brake) && !math.IsNaN(p.TurnIn) && p.TurnIn > p.Brake {
		a, b := w.index(p.Brake), w.index(p.TurnIn)
		var sum float64
		p.PeakDecel = 0
		for i := a; i < b; i++ {
			sum -= w.accel[i]
			p.PeakDecel = math.Max(p.PeakDecel, -w.accel[i])
		}
		if b > a {
			p.MeanDecel = sum / float64(b-a)
		}
	}
	if !math.IsNaN(p.Brake) && !math.IsNaN(p.BrakeOff) {
		p.BrakeTime = p.BrakeOff - p.Brake
	}
	if !math.IsNaN(p.BrakeOff) && !math.IsNaN(p.Pickup) {
		p.CoastTime = math.Max(0, p.Pickup-p.BrakeOff)
	}
	// Coasting: closed grip, off the brakes, clutch home.
	end := p.Pickup
	if math.IsNaN(end) {
		end = p.Apex
	}
	if s.Grip != nil && !math.IsNaN(end) {
		var sum float64
		n := 0
		for i := w.index(p.Start); i < w.index(end); i++ {
			if s.Grip[i] < 0.02 && !w.braking[i] && (s.Clutch == nil || s.Clutch[i] < 0.2) {
				sum -= w.accel[i]
				n++
			}
		}
		if n >= w.samples(0.15) {
			p.CoastDecel = sum / float64(n)
		}
	}
	// Slip on the way in, and travel.
	mid := p.Apex
	if math.IsNaN(mid) {
		mid = p.End
	}
	a, b := w.index(p.Start), w.index(mid)
	if s.RearSlip != nil {
		p.EntrySlip = 0
		for i := a; i < b; i++ {
			if v := s.RearSlip[i]; !math.IsNaN(v) {
				p.EntrySlip = math.Min(p.EntrySlip, v)
			}
		}
	}
	if s.Fork != nil {
		p.ForkMax = math.Inf(-1)
		for i := a; i <= b; i++ {
			p.ForkMax = math.Max(p.ForkMax, s.Fork[i])
		}
	}
	if s.Shock != nil {
		p.ShockMin = math.Inf(1)
		for i := a; i <= b; i++ {
			p.ShockMin = math.Min(p.ShockMin, s.Shock[i])
		}
	}
	if w.hop != nil {
		p.HopRMS = 0
		for i := a; i < b; i++ {
			if w.braking[i] {
				p.HopRMS = math.Max(p.HopRMS, w.hop[i])
			}
		}
	}
}

func (w *work) driveMeasures(p *Pass, b int) {
	s := &w.r.Signals
	if math.IsNaN(p.Pickup) {
		return
	}
	if !math.IsNaN(p.FullThrottle) {
		p.PickupToFull = p.FullThrottle - p.Pickup
	}
	a := w.index(p.Pickup)
	if s.RearSlip != nil {
		var sum float64
		n := 0
		p.PeakSlip = 0
		end := b
		if !math.IsNaN(p.FullThrottle) {
			end = min(b, w.index(p.FullThrottle+1.5))
		}
		for i := a; i < end; i++ {
			v := s.RearSlip[i]
			if math.IsNaN(v) || s.Airborne[i] || w.shifting[i] {
				continue
			}
			p.PeakSlip = math.Max(p.PeakSlip, v)
			sum += v
			n++
		}
		if n > 0 {
			p.MeanSlip = sum / float64(n)
		}
	}
	if s.Cut != nil {
		p.CutTime, p.CutArea, p.CutMaxLean, p.CutPicking, p.CutUpright = 0, 0, 0, 0, 0
	}
}

func (w *work) gripMeasures(p *Pass, a, b int) {
	s := &w.r.Signals
	if s.Gear != nil {
		p.MinGear = 0
		for i := a; i < b; i++ {
			if g := int(s.Gear[i]); g > 0 && (p.MinGear == 0 || g < p.MinGear) {
				p.MinGear = g
			}
		}
		if s.RPM != nil {
			p.Push, p.Surplus = 0, math.NaN()
		}
	}
	if w.front != nil {
		p.AirTime = 0
	}
	if s.RPM != nil && w.b.Drive.LimiterRPM > 0 {
		p.LimiterTime = 0
	}
}

// addEpisode books an episode that begins in the pass.
func (w *work) addEpisode(p *Pass, e *Episode) {
	length := math.Min(e.End, p.End) - e.Start
	switch e.Kind {
	case Cut:
		if math.IsNaN(p.CutTime) || (e.Phase != circuit.PhasePickup && e.Phase != circuit.PhaseDrive && e.Phase != circuit.PhaseMid) {
			return
		}
		p.CutTime += length
		p.CutArea += e.Mean * length
		switch e.LeanClass {
		case AtMaxLean:
			p.CutMaxLean += length
		case PickingUp:
			p.CutPicking += length
		case Upright:
			p.CutUpright += length
		}
	case Blip:
		p.ShiftsDown++
		if x := e.Shift.Surplus; !math.IsNaN(x) && !(x <= p.Surplus) {
			p.Surplus = x
		}
		if x := e.Shift.Push; !math.IsNaN(x) {
			p.Push += x
		} else {
			p.Push = math.NaN()
		}
		if e.Shift.Limiter {
			p.LimiterTime += 0
		}
	case Wheelie:
		p.AirTime += length
	case Limiter:
		p.LimiterTime += length
	}
}

// passMarks collects in words what the pass rests on that is not whole.
func (w *work) passMarks(p *Pass) []say.Text {
	var out []say.Text
	if p.Why != "" {
		out = append(out, p.Why)
	}
	sp := span(Episode{Start: p.Start, End: p.End})
	for _, name := range []string{"front_speed", "rear_speed", "rpm", "grip", "throttle", "cut", "lean", "front_brake", "gear", "clutch", "fork", "shock", "gps_speed"} {
		if t := w.marked(sp, name); t != "" && !hasText(out, t) {
			out = append(out, t)
		}
	}
	for _, b := range w.pos.Bridged {
		if b.From < p.End && b.To > p.Start {
			out = append(out, say.T("gps bridged"))
			break
		}
	}
	return out
}

func hasText(all []say.Text, t say.Text) bool {
	for _, a := range all {
		if a == t {
			return true
		}
	}
	return false
}
