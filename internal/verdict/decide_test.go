package verdict

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// ride makes laps of one run in the given order of slots, from lap 2 on.
func ride(run int, order string, r *rand.Rand, sd, effect float64) []Lap {
	var laps []Lap
	for i, s := range order {
		if s == '-' {
			continue
		}
		v := 20 + 0.02*float64(i) + sd*r.NormFloat64()
		if s == 'B' {
			v += effect
		}
		laps = append(laps, Lap{Run: run, Number: i + 2, Slot: string(s), Value: v})
	}
	return laps
}

func segment(laps []Lap) Measure {
	return Measure{Turn: 5, Name: "segment", Unit: "s", Better: Lower, Matters: 0.05, Tier: Outcome, Laps: laps}
}

func TestDecideInterleaved(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	q := Question{Primary: segment(ride(1, "ABBAABBAABBA", r, 0.03, -0.2)), Reference: "A", Trial: "B"}
	v := Decide(q)
	if v.Design != Interleaved || v.Primary.Answer != Better {
		t.Fatalf("design %q answer %q, want interleaved and better: %+v", v.Design, v.Primary.Answer, v.Refusal)
	}
	if e := v.Primary; !(e.Lo < -0.2 && -0.2 < e.Hi) || e.NRef != 6 || e.NTrial != 6 {
		t.Errorf("interval %v to %v with %d and %d laps does not hold -0.2", e.Lo, e.Hi, e.NRef, e.NTrial)
	}
	j, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range []string{`"effect_s":`, `"lo_s":`, `"hi_s":`, `"p":`, `"n_ref":6`, `"n_trial":6`, `"answer":"better"`, `"smallest_visible_s":`, `"watch":[]`, `"conditions":[]`} {
		if !strings.Contains(string(j), f) {
			t.Errorf("JSON lacks %s: %s", f, j)
		}
	}
	if math.IsNaN(v.Primary.P) {
		t.Error("no p")
	}
	t.Log(v.Rider)
	t.Log(v.Engineer)
}
