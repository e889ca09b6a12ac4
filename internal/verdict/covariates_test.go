package verdict

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// A cloud, a falling tank, laps on the tyre: known on every lap and passed to
// the verdict. Whether the covariate matters or not, and even where it went with
// the slot, the interval keeps its promise; where it matters the interval gets
// narrower than without it.
func TestCovariatesKeepThePromise(t *testing.T) {
	n := replicates(500)
	for _, order := range []string{"ABBAABBAABBA", "AABBAABBAABBAABBAABB", "A B", "A B A B"} {
		for _, matters := range []float64{0, 1} {
			for _, kind := range []string{"walk", "cloud on trial", "tyre"} {
				r := rand.New(rand.NewPCG(uint64(len(order)), uint64(len(kind))))
				held, claimed, used, width, bare, k := 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
				for range n {
					laps := covariateLaps(r, order, kind, matters)
					q := Question{Reference: "A", Trial: "B", Covariates: []Covariate{{Name: "x"}}}
					q.Primary = Measure{Unit: "s", Better: Lower, Laps: laps}
					l := q.recognise(q.sorted(laps))
					e := q.analyse(&l, q.Primary)
					if !e.Known() {
						t.Fatalf("%s: %s", order, e.Note)
					}
					var m rows
					if _, covs := m.build(&q, &l, laps); len(covs) > 0 {
						used++
					}
					refused := false
					for _, c := range q.driftConditions(&l) {
						refused = refused || c.Weight == Confounds
					}
					if refused {
						continue
					}
					k++
					held += float64(b2i(e.Lo <= 0 && 0 <= e.Hi))
					claimed += float64(b2i(e.Answer == Better || e.Answer == Worse))
					width += e.Hi - e.Lo
					q.Covariates = nil
					e = q.analyse(&l, q.Primary)
					bare += e.Hi - e.Lo
				}
				name := fmt.Sprintf("%-20s %-14s worth %g sd", order, kind, matters)
				t.Logf("%s  refused %.0f %%, used in %.0f %%, held %.1f %%, claimed %.1f %%, width %.2f of that without", name, 100*(1-k/float64(n)), 100*used/k, 100*held/k, 100*claimed/k, width/bare)
				within := !strings.Contains(order, " ")
				low := 0.94
				if matters > 0 && (!within || kind == "tyre") {
					continue // where it is left out it stays in the answer, and a condition says so
				}
				if held/k < low-slack(low, n) {
					t.Errorf("%s: held %.1f %%, want at least 94", name, 100*held/k)
				}
				if claimed/k > 0.06+slack(0.06, n) {
					t.Errorf("%s: claimed %.1f %% without an effect", name, 100*claimed/k)
				}
				if kind == "walk" && within && matters > 0 && width > 0.95*bare {
					t.Errorf("%s: width %.2f of that without the covariate", name, width/bare)
				}
				if kind == "tyre" && used > 0 {
					t.Errorf("%s: the lap number was used twice", name)
				}
			}
		}
	}
}

// covariateLaps rides an order of laps (or of whole runs of six, parted by
// spaces) under a covariate "x" that is worth so many lap sd for each of its own.
func covariateLaps(r *rand.Rand, order, kind string, matters float64) (laps []Lap) {
	sides := strings.Fields(order)
	for k, s := range sides {
		if len(sides) > 1 {
			s = strings.Repeat(s, 6)
		}
		y := make([]float64, len(s))
		normal.fill(r, y, 0)
		level, x := 0.3*r.NormFloat64()*float64(b2i(len(sides) > 1)), 0.0
		for i := range s {
			switch kind {
			case "walk":
				x += r.NormFloat64()
			case "cloud on trial":
				x = 0.5 * r.NormFloat64()
				if s[i] == 'B' {
					x += 1.5
				}
			case "tyre":
				x = float64(5*k + i)
			}
			v := y[i] + level + matters*x + lineBend.at(i, float64(i)/float64(len(s)-1))
			laps = append(laps, Lap{Run: k + 1, Number: i + 3, Slot: s[i : i+1], Value: v, Covariates: map[string]float64{"x": x}})
		}
	}
	return laps
}

// What was adjusted for and what was not stands in the conditions, with the
// reason.
func TestCovariatesAreTold(t *testing.T) {
	r := rand.New(rand.NewPCG(31, 7))
	laps := ride(1, "ABBAABBAABBAABBA", r, 0.03, -0.1)
	for i := range laps {
		laps[i].Covariates = map[string]float64{"fuel": 18 - 0.3*float64(i), "track": 40 + 4*math.Sin(float64(i)), "air": 22 + 0.1*math.Cos(float64(i)),
			"with slot": 0.3*r.NormFloat64() + 5*float64(b2i(laps[i].Slot == "B"))}
		if i > 3 {
			laps[i].Covariates["wind"] = r.NormFloat64()
		}
	}
	q := Question{Reference: "A", Trial: "B", Primary: segment(laps), Covariates: []Covariate{
		{"fuel", "fuel", "l", 0.5}, {"track", "track temperature", "°C", 1.5}, {"air", "air temperature", "°C", 1.5},
		{"with slot", "engine map", "", 0.1}, {"wind", "wind", "m/s", 0.1}, {"never", "never", "", 0}}}
	v := Decide(q)
	said := map[string]string{}
	for _, c := range v.Conditions {
		said[c.Kind] += c.Text.String()
	}
	if said["adjusted"] != "adjusted for track temperature (36.00 to 43.96 °C)" {
		t.Errorf("adjusted: %q", said["adjusted"])
	}
	want := "not adjusted for fuel: run and lap number tell it already; air temperature: laps differ by less than 1.5 °C; wind: known on 12 of 16 laps"
	if said["not-adjusted"] != want {
		t.Errorf("not adjusted: %q", said["not-adjusted"])
	}
	if v.Refusal == nil || v.Refusal.Kind != "confounded" || !strings.HasPrefix(v.Refusal.Reason.String(), "engine map: reference ") || v.Primary.DF != 12 {
		t.Errorf("df %v, refusal %+v", v.Primary.DF, v.Refusal)
	}
	// Whole runs on tyres of unlike age: nothing tells wear from setting.
	laps = append(ride(1, "AAAAAA", r, 0.03, 0), ride(2, "BBBBBB", r, 0.03, -0.1)...)
	for i := range laps {
		laps[i].Covariates = map[string]float64{"tyre": float64(laps[i].Number + 12*(laps[i].Run-1))}
	}
	v = Decide(Question{Reference: "A", Trial: "B", Primary: segment(laps), Covariates: []Covariate{{"tyre", "laps on the tyre", "", 3}}})
	if len(v.Conditions) == 0 || v.Conditions[0].Kind != "tyre" || v.Conditions[0].Weight != Weakens || !strings.Contains(v.Conditions[0].Text.String(), "laps on the tyre: reference 4") {
		t.Errorf("%+v", v.Conditions)
	}
}
