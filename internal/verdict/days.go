package verdict

import (
	"math"
)

// overDays replaces the pooled effect by the combination of one effect per day,
// so that days that disagree widen the interval.
func (q *Question) overDays(l *layout, me Measure, e *Effect) {
	var days []string
	for _, id := range l.runs {
		days = addName(days, q.dayOf(id))
	}
	var per []MeetingEffect
	for _, d := range days {
		one := me
		one.Laps = nil
		for _, p := range me.Laps {
			if q.dayOf(p.Run) == d {
				one.Laps = append(one.Laps, p)
			}
		}
		sub := *q
		sl := sub.recognise(sub.sorted(one.Laps))
		if sl.design != Interleaved && sl.design != ThereAndBack {
			continue
		}
		f := sub.analyse(&sl, one)
		if !f.Known() || f.SE == 0 {
			continue
		}
		per = append(per, MeetingEffect{Name: d, Value: f.Value, SE: f.SE, DF: f.DF, NRef: f.NRef, NTrial: f.NTrial})
	}
	if len(per) < 3 {
		return
	}
	s := Combine(per)
	e.Value, e.SE, e.DF = s.Effect.Value, s.Effect.SE, s.Effect.DF
	e.settleOn(e.Value, spread{se: e.SE, df: e.DF})
	if math.IsInf(e.SmallestVisible, 0) {
		e.SmallestVisible = math.NaN()
	}
}
