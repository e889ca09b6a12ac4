package ride

import (
	"math"
	"testing"

	"cornerwright/internal/demo"
	"cornerwright/internal/proving"
)

// What cuts cost at a turn: the mean over laps against the truth's, within 35 %
// or 15 ms, and the interval covering it.
func TestCostOfCuts(t *testing.T) {
	good, cover, all := 0, 0, 0
	for c := range demo.Circuits() {
		list := seeds()
		if !proving.Full() {
			list = list[:1]
		}
		for _, seed := range list {
			o := demo.DefaultOptions(c, seed)
			o.Causes = []demo.Cause{{Kind: demo.StrongControl, Turn: 5}, {Kind: demo.StrongControl, Turn: 2}}
			s := analysed(t, o)
			type acc struct{ truth, ours, lo, hi float64 }
			turns := map[int]*acc{}
			laps := 0
			for _, l := range s.run.Truth.Laps {
				laps += b2i(l.Kind == demo.TimedLap)
			}
			get := func(k int) *acc {
				if turns[k] == nil {
					turns[k] = &acc{}
				}
				return turns[k]
			}
			for _, e := range s.ride.Episodes {
				if e.Kind != Cut || !s.onLaps(e.Start) || !e.Cost.OK {
					continue
				}
				for _, u := range s.run.Truth.Episodes {
					if u.Kind == "cut" && u.Start < e.End && u.End > e.Start && u.Owner == "slip" {
						a := get(u.Turn)
						a.truth += u.CostS / float64(laps)
						a.ours += e.Cost.Value / float64(laps)
						a.lo += e.Cost.Lo / float64(laps)
						a.hi += e.Cost.Hi / float64(laps)
						break
					}
				}
			}
			for k, a := range turns {
				if a.truth < 0.002 {
					continue
				}
				all++
				d := math.Abs(a.ours - a.truth)
				good += b2i(d < 0.015 || d < 0.35*a.truth)
				cover += b2i(a.truth >= a.lo && a.truth <= a.hi)
				t.Logf("circuit %d seed %d turn %d: truth %.0f ms, ours %.0f [%.0f, %.0f]", c, seed, k, 1000*a.truth, 1000*a.ours, 1000*a.lo, 1000*a.hi)
			}
		}
	}
	t.Logf("within 35 %% or 15 ms: %d of %d turns; interval covers %d", good, all, cover)
	atLeast(t, "within", float64(good)/float64(all), 0.9)
	atLeast(t, "covered", float64(cover)/float64(all), 0.9)
}
