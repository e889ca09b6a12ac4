package verdict

import (
	"math"

	"cornerwright/internal/inference"
	"cornerwright/internal/say"
)

// Scatter is the lap standard deviation of one setting, from laps of one or
// more runs, after a line of drift in every run; with its degrees of freedom
// and the share of laps that the slow-lap rule set aside. Marked laps are left
// out. Laps of different slots are taken as different settings.
func Scatter(history []Lap) (sd, df, slowShare float64, err error) {
	type key struct {
		run  int
		slot string
	}
	groups := map[key]int{}
	var keys []key
	q := Question{}
	var used []Lap
	marked := 0
	for _, p := range q.sorted(history) {
		if math.IsNaN(p.Value) || math.IsInf(p.Value, 0) {
			continue
		}
		if p.Mark != "" {
			marked++
			continue
		}
		k := key{p.Run, p.Slot}
		if _, ok := groups[k]; !ok {
			groups[k] = len(keys)
			keys = append(keys, k)
		}
		used = append(used, p)
	}
	runs := map[int]int{}
	for _, p := range used {
		if _, ok := runs[p.Run]; !ok {
			runs[p.Run] = len(runs)
		}
	}
	n, p := len(used), len(keys)+len(runs)
	if n-p < 3 {
		return 0, 0, 0, say.Error("{n} {n|usable lap|usable laps} in {runs} {runs|run|runs} leave no scatter to plan with: at least {p} are needed", n, len(runs), p+3)
	}
	if p > maxCoef {
		return 0, 0, 0, say.Error("{runs} {runs|run|runs} in one plan; give the latest 15", len(runs))
	}
	var m rows
	m.reset(n, p)
	lo, hi := map[int]float64{}, map[int]float64{}
	for _, l := range used {
		x := float64(l.Number)
		if _, ok := lo[l.Run]; !ok {
			lo[l.Run], hi[l.Run] = x, x
		}
		lo[l.Run], hi[l.Run] = math.Min(lo[l.Run], x), math.Max(hi[l.Run], x)
	}
	med := make([]float64, n)
	for i, l := range used {
		med[i] = l.Value
	}
	centre := inference.Median(med)
	for i, l := range used {
		row := m.x[i*p : i*p+p]
		clear(row)
		row[groups[key{l.Run, l.Slot}]] = 1
		half := math.Max(1, (hi[l.Run]-lo[l.Run])/2)
		row[len(keys)+runs[l.Run]] = (float64(l.Number) - (lo[l.Run]+hi[l.Run])/2) / half
		m.y[i], m.at[i], m.run[i] = l.Value-centre, float64(l.Number), runs[l.Run]
	}
	// Which way is slow is not known here, so both sides are looked at.
	out, ok := m.setAside(0, measuringFloor(used))
	if !ok {
		return 0, 0, 0, say.Error("{n} {n|lap|laps} do not part drift from scatter: every run needs at least 3 laps in a slot", n)
	}
	f, ok := m.blended(measuringFloor(used))
	if !ok {
		return 0, 0, 0, say.Error("{n} {n|lap|laps} do not part drift from scatter: every run needs at least 3 laps in a slot", n)
	}
	return f.sd, f.df, float64(out+marked) / float64(n+marked), nil
}
