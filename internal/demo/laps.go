package demo

import "math"

// finish derives laps, crossings, passes and episodes from the rows.
func (s *sim) finish() {
	tr, c := s.tr, s.c
	tr.Length = c.Length
	tr.Turns = c.Turns
	tr.GPSLatency, tr.GPSOffset = s.o.GPSLatency, s.o.GPSOffset
	tr.LeanOffset, tr.LeanDelay = s.o.LeanOffset, s.o.LeanDelay
	tr.Front = TyreTruth{Circumference: 2 * math.Pi * s.b.Front.Radius, Crown: s.b.Front.Crown, Radius: s.b.Front.Radius,
		Logged: 2 * math.Pi * s.b.Front.Radius * (1 + s.o.FrontError)}
	tr.Rear = TyreTruth{Circumference: 2 * math.Pi * s.b.Rear.Radius, Crown: s.b.Rear.Crown, Radius: s.b.Rear.Radius,
		Logged: 2 * math.Pi * s.b.Rear.Radius * (1 + s.o.CircumferenceError)}
	n := len(tr.Time)
	// Cubic between rows: speed is known at both ends.
	for k := math.Ceil(tr.S[0] / c.Length); k*c.Length <= tr.S[n-1]; k++ {
		if t := tr.CrossAt(k * c.Length); !math.IsNaN(t) {
			tr.Crossings = append(tr.Crossings, t)
		}
	}
	s.cutLaps()
	s.passes()
	s.cuts()
	s.spins()
	s.stretches()
	for i := range tr.Episodes {
		e := &tr.Episodes[i]
		if e.Turn == 0 {
			e.Lap, e.Turn = tr.where(c, e.Start)
		}
	}
	if !s.o.bare {
		s.costs()
	}
}

// CrossAt gives the instant at which unwrapped place s is passed, NaN if it is
// not. Speed at both rows makes the interpolation cubic.
func (tr *Truth) CrossAt(s float64) float64 {
	lo, hi := 0, len(tr.S)-1
	if hi < 1 || s < tr.S[0] || s > tr.S[hi] {
		return math.NaN()
	}
	for hi-lo > 1 {
		m := (lo + hi) / 2
		if tr.S[m] <= s {
			lo = m
		} else {
			hi = m
		}
	}
	ds := tr.S[hi] - tr.S[lo]
	if ds > 30 { // the end of an outing: nobody rode there
		return math.NaN()
	}
	if ds <= 0 {
		return tr.Time[lo]
	}
	return tr.Time[lo] + (tr.Time[hi]-tr.Time[lo])*(s-tr.S[lo])/ds
}

// PlaceAt is the place (m, unwrapped like S) at a recording time.
func (tr *Truth) PlaceAt(t float64) float64 {
	i := tr.index(t)
	if i+1 >= len(tr.S) || tr.Time[i+1] <= tr.Time[i] {
		return tr.S[i]
	}
	return tr.S[i] + (tr.S[i+1]-tr.S[i])*(t-tr.Time[i])/(tr.Time[i+1]-tr.Time[i])
}

// index of the row at recording time t.
func (tr *Truth) index(t float64) int {
	lo, hi := 0, len(tr.Time)-1
	for hi-lo > 1 {
		m := (lo + hi) / 2
		if tr.Time[m] <= t {
			lo = m
		} else {
			hi = m
		}
	}
	return lo
}

// where gives lap and turn number of an instant.
func (tr *Truth) where(c *Circuit, t float64) (lap, turn int) {
	i := tr.index(t)
	for _, l := range tr.Laps {
		if t >= l.Start && t < l.End {
			lap = l.Number
		}
	}
	return lap, c.TurnAt(tr.S[i])
}

// windows moves each turn's window to 30 m before its usual brake point, once
// it is known where the rider brakes.
func (s *sim) windows() {
	tr, c := s.tr, s.c
	n := len(c.Turns)
	at := make([][]float64, n)
	for i := 1; i < len(tr.Time); i++ {
		if tr.FrontBrake[i] > 0.5e5 && tr.FrontBrake[i-1] <= 0.5e5 && tr.timed(tr.Time[i]) {
			place := math.Mod(tr.S[i], c.Length)
			for k := 0; k < n; k++ {
				if ahead := c.wrap(c.Turns[k].Apexes[0] - place); ahead < c.wrap(c.Turns[(k+1)%n].Apexes[0]-place) && ahead <= c.wrap(c.Turns[(k+n-1)%n].Apexes[0]-place) {
					at[k] = append(at[k], ahead)
				}
			}
		}
	}
	for k := range c.Turns {
		t, prev := &c.Turns[k], &c.Turns[(k+n-1)%n]
		back := c.wrap(t.Apexes[0]-t.Entry) + 30
		if len(at[k]) > 1 {
			far := append([]float64(nil), at[k]...)
			for i := range far { // insertion sort: a handful of laps
				for j := i; j > 0 && far[j] < far[j-1]; j-- {
					far[j], far[j-1] = far[j-1], far[j]
				}
			}
			back = math.Max(back, far[len(far)*9/10]+30)
		}
		room := c.wrap(t.Apexes[0]-prev.Exit) - 5
		if prev.Kink { // the brakes for the next turn begin while it is still bent
			room += 0.6 * (prev.Exit - prev.Entry)
		}
		if k == 0 {
			room = math.Min(room, t.Apexes[0])
		}
		t.window = math.Max(0, t.Apexes[0]-math.Max(0, math.Min(back, room)))
		t.Segment = t.window
	}
}

// cutLaps parts the run at the gate; an outing's first lap begins and its last
// ends where the bike stands, or where the recording does.
func (s *sim) cutLaps() {
	tr := s.tr
	for k, p := range s.laps {
		l := Lap{Number: k, Kind: p.kind, Slot: string(rune('A' + p.slot)), HeldUp: p.held}
		var ok bool
		if l.Start, ok = s.began[k]; !ok {
			l.Start = tr.CrossAt(float64(k) * s.c.Length)
		}
		if l.End, ok = s.ended[k]; !ok {
			l.End = tr.CrossAt(float64(k+1) * s.c.Length)
		}
		if p.kind == OutLap && s.o.NoOutLap || p.kind == InLap && s.o.NoInLap {
			l.Kind = BrokenLap
		}
		l.Time = l.End - l.Start
		tr.Laps = append(tr.Laps, l)
	}
}

// timed tells whether an instant lies in a timed lap.
func (tr *Truth) timed(t float64) bool {
	for _, l := range tr.Laps {
		if l.Kind == TimedLap && t >= l.Start && t < l.End {
			return true
		}
	}
	return false
}

// turnIn is the last instant before the greatest lean between two rows at which
// the roll rate towards the turn rises through 15 deg/s while the lean is under
// three tenths of its greatest; failing that, where the lean passes a fifth.
func (tr *Truth) turnIn(a, b int, side float64) float64 {
	top := a
	for i := a; i <= b; i++ {
		if side*tr.Lean[i] > side*tr.Lean[top] {
			top = i
		}
	}
	peak := side * tr.Lean[top]
	if peak < 0.1 {
		return math.NaN()
	}
	const rate = 15 / radDeg
	for i := top; i > a; i-- {
		was, is := side*tr.RollRate[i-1], side*tr.RollRate[i]
		if was < rate && is >= rate && side*tr.Lean[i] < 0.3*peak {
			return tr.Time[i-1] + rowTime*(rate-was)/(is-was)
		}
	}
	for i := top; i > a; i-- {
		if side*tr.Lean[i-1] < 0.2*peak {
			return tr.Time[i]
		}
	}
	return math.NaN()
}

// passes reads the instants of each turn from what the rider really did.
func (s *sim) passes() {
	tr, c := s.tr, s.c
	nan := math.NaN()
	for _, l := range tr.Laps {
		if l.Kind != TimedLap {
			continue
		}
		base := math.Floor(tr.S[tr.index((l.Start+l.End)/2)]/c.Length) * c.Length
		for ti := range c.Turns {
			t := &c.Turns[ti]
			from := base + t.window
			to := base + c.Length
			if ti+1 < len(c.Turns) {
				to = base + c.Turns[ti+1].window
			}
			ta, tb := tr.CrossAt(from), tr.CrossAt(to)
			if math.IsNaN(ta) || math.IsNaN(tb) {
				continue
			}
			a, b := tr.index(ta), tr.index(tb)
			p := Pass{Lap: l.Number, Turn: t.Number, BrakeOn: nan, BrakeOff: nan, TurnIn: nan, Apex: nan, PickUp: nan, FullThrottle: nan, Slot: l.Slot, MinSpeed: math.Inf(1)}
			ea, eb := tr.index(tr.CrossAt(base+t.Entry)), tr.index(tr.CrossAt(base+t.Exit))
			low := ea
			for i := ea; i <= eb; i++ {
				if tr.Speed[i] < tr.Speed[low] {
					low = i
				}
				if x := tr.Lean[i] * float64(t.Direction); x > p.MaxLean {
					p.MaxLean = x
				}
			}
			p.Apex, p.MinSpeed, p.Gear = tr.Time[low], tr.Speed[low], tr.Gear[low]
			for i := a + 1; i <= low; i++ {
				if tr.FrontBrake[i] > 0.5e5 && tr.FrontBrake[i-1] <= 0.5e5 && math.IsNaN(p.BrakeOn) {
					w := (0.5e5 - tr.FrontBrake[i-1]) / (tr.FrontBrake[i] - tr.FrontBrake[i-1])
					p.BrakeOn = tr.Time[i-1] + w*rowTime
				}
			}
			closed := -1
			for i := a; i <= eb; i++ {
				if tr.Grip[i] <= 0.001 {
					closed = i
				}
				if closed >= 0 && tr.Grip[i] > 0.03 && (i <= a || tr.Grip[i-1] <= 0.03) {
					p.PickUp = tr.Time[i] - rowTime*(tr.Grip[i]-0.03)/math.Max(1e-9, tr.Grip[i]-tr.Grip[i-1])
				}
			}
			if closed < 0 {
				p.PickUp = nan
			}
			start := low
			if !math.IsNaN(p.PickUp) {
				start = tr.index(p.PickUp)
			}
			for i := start; i < b; i++ {
				if tr.Grip[i] >= 0.95 && tr.Grip[min(i+20, b)] >= 0.95 {
					p.FullThrottle = tr.Time[i]
					break
				}
			}
			p.TurnIn = tr.turnIn(a, eb, float64(t.Direction))
			if !math.IsNaN(p.BrakeOn) {
				for i := tr.index(p.BrakeOn) + 5; i < b; i++ {
					if tr.FrontBrake[i] < 0.3e5 {
						p.BrakeOff = tr.Time[i]
						break
					}
				}
			}
			tr.Passes = append(tr.Passes, p)
		}
	}
}
