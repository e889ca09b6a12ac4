package demo

import "math"

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

// trueEffects is what each turn's own stretch gains.
func trueEffects(o Options, c Circuit) []TrueEffect {
	var places [][2]float64
	for j := range c.Turns {
		places = append(places, [2]float64{float64(j + 1), math.NaN()})
	}
	var out []TrueEffect
	for j, x := range effectsBetween(o, c, places) {
		out = append(out, TrueEffect{j + 1, x})
	}
	return out
}

// EffectsBetween gives, for each pair of places (m along the true line, the
// second beyond the first, beyond the lap's length where the stretch passes the
// gate), the seconds that slot B takes less (negative) or more than slot A over it.
func (r *Run) EffectsBetween(places [][2]float64) []float64 {
	return effectsBetween(r.Options, r.Circuit, places)
}

// effectsBetween rides the very same laps twice, all in the reference slot and
// all in the trial slot, and takes the mean difference of each stretch. A stretch
// whose second place is NaN is that of the turn whose number is the first.
func effectsBetween(o Options, c Circuit, places [][2]float64) []float64 {
	o.bare = true
	out := make([]float64, len(places))
	var runs [2]*Truth
	for k, slot := range []string{"A", "B"} {
		q := o
		q.Slots = []string{slot}
		runs[k] = &ride(q, c).Truth
	}
	count := make([]int, len(places)) // a stretch past the gate has no last lap
	for i, l := range runs[0].Laps {
		if l.Kind != TimedLap || i+1 >= len(runs[0].Laps) || l.HeldUp {
			continue
		}
		for j, p := range places {
			gain := 0.0
			for k, sign := range []float64{-1, 1} {
				from, to := p[0], p[1]
				if math.IsNaN(to) {
					from, to = runs[k].stretch(int(p[0]))
				}
				base := float64(i) * runs[k].Length
				gain += sign * (runs[k].CrossAt(base+to) - runs[k].CrossAt(base+from))
			}
			if !math.IsNaN(gain) {
				out[j] += gain
				count[j]++
			}
		}
	}
	for j := range out {
		out[j] /= float64(max(count[j], 1))
	}
	return out
}

// Segment returns the instants at which a turn's own stretch begins and ends
// on a lap, NaN where the run does not hold them.
func (tr *Truth) Segment(lap, turn int) (from, to float64) {
	base := float64(lap) * tr.Length
	from, to = tr.stretch(turn)
	return tr.CrossAt(base + from), tr.CrossAt(base + to)
}

// stretch gives the places between which a turn's own stretch lies.
func (tr *Truth) stretch(turn int) (from, to float64) {
	from = tr.Turns[turn-1].Segment
	if turn < len(tr.Turns) {
		return from, tr.Turns[turn].Segment
	}
	return from, tr.Length + tr.Turns[0].Segment
}
