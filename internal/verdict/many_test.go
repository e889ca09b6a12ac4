package verdict

import (
	"fmt"
	"math/rand/v2"
	"testing"
)

// As many runs as are fitted together still are, with a line each or not; more
// are refused with what would do.
func TestManyRuns(t *testing.T) {
	for _, order := range []string{"ABBAABBA", "ABBA", "A", "AAAAAAAA"} {
		for _, n := range []int{13, 20, 24, 25, 60} {
			r := rand.New(rand.NewPCG(uint64(n), 8))
			q := Question{Reference: "A", Trial: "B"}
			var laps []Lap
			for k := range n {
				o := order
				if k%2 == 1 && (o == "A" || o == "AAAAAAAA") {
					o = o[:0] + map[int]string{1: "B", 8: "BBBBBBBB"}[len(order)]
				}
				laps = append(laps, ride(k+1, o, r, 0.05, 0)...)
				q.Runs = append(q.Runs, Run{ID: k + 1, Order: k + 1})
			}
			for i := range laps {
				laps[i].Covariates = map[string]float64{"a": r.NormFloat64(), "b": r.NormFloat64(), "c": r.NormFloat64(), "d": r.NormFloat64()}
			}
			q.Primary = segment(laps)
			q.Covariates = []Covariate{{Name: "a"}, {Name: "b"}, {Name: "c"}, {Name: "d"}}
			v := Decide(q)
			name := fmt.Sprintf("%d runs of %s", n, order)
			if n > maxRuns && (v.Refusal == nil || v.Refusal.Kind != "input") {
				t.Errorf("%s: not refused", name)
			}
			if n <= maxRuns && order == "ABBA" { // the shape of its drift and the setting are one
				if v.Refusal == nil || v.Refusal.Kind != "design" {
					t.Errorf("%s: %+v", name, v.Refusal)
				}
				continue
			}
			if n <= maxRuns && len(order) > 1 && (v.Refusal != nil || !v.Primary.Known()) {
				t.Errorf("%s: %+v %s", name, v.Refusal, v.Primary.Note)
			}
		}
	}
}
