package demo

func mixed(slots []string) bool {
	for _, x := range slots {
		if x != slots[0] {
			return true
		}
	}
	return false
}

// calibrate finds the extra drive force in N that makes each of the Effects as
// large as asked, from riding one flying lap with and without it.
func calibrate(o Options, c Circuit) []float64 {
	const trial = 60.0
	still := o
	still.bare, still.Effects, still.Slots = true, nil, nil
	still.RiderSigma, still.LineSigma, still.Drift, still.SlowLaps = 0, 0, 0, 0
	still.Laps, still.Outings, still.NoOutLap, still.NoInLap = 1, 1, false, false
	still.Nasty.Traffic = false
	base := ride(still, c)
	out := make([]float64, len(o.Effects))
	for i, e := range o.Effects {
		q := still
		q.Effects = []Effect{{"A", e.Turn, 0}}
		q.push = []float64{trial}
		t := ride(q, c).Truth
		a, b := base.Truth.Segment(1, e.Turn)
		a2, b2 := t.Segment(1, e.Turn)
		if gain := (b2 - a2) - (b - a); gain < -1e-4 {
			out[i] = trial * e.Seconds / gain
		}
	}
	return out
}

// trueEffects rides the very same laps twice, all in the reference slot and all
// in the trial slot, and takes the mean difference of each turn's segment.
func trueEffects(o Options, c Circuit) []TrueEffect {
	o.bare = true
	n := len(c.Turns)
	var seg [2][]float64
	count := 0
	var runs [2]*Truth
	for k, slot := range []string{"A", "B"} {
		q := o
		q.Slots = []string{slot}
		runs[k] = &ride(q, c).Truth
		seg[k] = make([]float64, n)
	}
	for i, l := range runs[0].Laps {
		if l.Kind != TimedLap || i+1 >= len(runs[0].Laps) || l.HeldUp {
			continue
		}
		count++
		for k := range seg {
			for j := range c.Turns {
				a, b := runs[k].Segment(i, j+1)
				seg[k][j] += b - a
			}
		}
	}
	var out []TrueEffect
	for j := range seg[0] {
		out = append(out, TrueEffect{j + 1, (seg[1][j] - seg[0][j]) / float64(max(count, 1))})
	}
	return out
}

// Segment returns the instants at which a turn's own stretch begins and ends
// on a lap, NaN where the run does not hold them.
func (tr *Truth) Segment(lap, turn int) (from, to float64) {
	base := float64(lap) * tr.Length
	from = tr.CrossAt(base + tr.Turns[turn-1].Segment)
	if turn < len(tr.Turns) {
		return from, tr.CrossAt(base + tr.Turns[turn].Segment)
	}
	return from, tr.CrossAt(base + tr.Length + tr.Turns[0].Segment)
}
