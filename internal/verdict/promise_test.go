package verdict

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"testing"
)

// noiseOf makes lap scatter of standard deviation 1 with lap-to-lap correlation
// r: normal, heavy-tailed (t3), or 8 % slow laps of 3 to 10.
func noiseOf(rng *rand.Rand, kind string, n int, r float64) []float64 {
	out := make([]float64, n)
	prev := rng.NormFloat64()
	for i := range out {
		z := rng.NormFloat64()
		if kind == "heavy" {
			c := 0.0
			for range 3 {
				q := rng.NormFloat64()
				c += q * q
			}
			z /= math.Sqrt(c/3) * math.Sqrt(3) // t3 has variance 3
		}
		prev = r*prev + math.Sqrt(1-r*r)*z
		out[i] = prev
		if kind == "slow" && rng.Float64() < 0.08 {
			out[i] += 3 + 7*rng.Float64()
		}
	}
	return out
}

// TestPromise rides simulated back-to-backs: interleaved orders, 4, 6 and 10
// laps a side, three kinds of scatter, laps correlated or not, drift by a line
// and a bend, with no effect and one of two lap standard deviations. 95 %
// intervals must hold the truth, and no effect must not be claimed. The bounds
// are the promise (94 % held, at most 6 % false) less what chance allows at this
// number of rides; CORNERWRIGHT_FULL=1 rides 10,000 a cell.
func TestPromise(t *testing.T) {
	rides := 600
	if os.Getenv("CORNERWRIGHT_FULL") == "1" {
		rides = 10000
	}
	slack := 3.5 * math.Sqrt(0.06*0.94/float64(rides))
	orders := map[int]string{4: "ABBAABBA", 6: "ABBAABBAABBA", 10: "ABBAABBAABBAABBAABBA"}
	var falseSum, cells, power6, power6n float64
	for _, n := range []int{4, 6, 10} {
		for _, kind := range []string{"normal", "heavy", "slow"} {
			for _, r := range []float64{0, 0.3, 0.5} {
				for _, effect := range []float64{0, -2} {
					rng := rand.New(rand.NewPCG(uint64(n), uint64(len(kind))*1000+uint64(r*10)))
					held, claimed, given := 0, 0, 0
					for range rides {
						o := orders[n]
						z := noiseOf(rng, kind, len(o), r)
						laps := make([]Lap, len(o))
						for i := range o {
							x := float64(i)/float64(len(o)-1)*2 - 1
							v := 100 + z[i] + x + 0.5*(x*x-0.3) // 2 sd of line, half a sd of bend
							if o[i] == 'B' {
								v += effect
							}
							laps[i] = Lap{Run: 1, Number: i + 2, Slot: string(o[i]), Value: v}
						}
						e := Decide(Question{Primary: Measure{Turn: 1, Name: "segment", Unit: "s", Better: Lower, Tier: Outcome, Laps: laps}, Reference: "A", Trial: "B"}).Primary
						if math.IsNaN(e.Lo) {
							continue
						}
						given++
						if e.Lo <= effect && effect <= e.Hi {
							held++
						}
						if e.Answer == Better || e.Answer == Worse {
							claimed++
						}
					}
					cover, claim := float64(held)/float64(given), float64(claimed)/float64(given)
					name := fmt.Sprintf("%d a side, %s, r %.1f, effect %g sd", n, kind, r, -effect)
					t.Logf("%-42s held %.1f %%, better or worse %.1f %%", name, 100*cover, 100*claim)
					floor := 0.94
					if r == 0.5 {
						floor = 0.93
					}
					if cover < floor-slack {
						t.Errorf("%s: %.3f held", name, cover)
					}
					if effect == 0 {
						falseSum += claim
						cells++
						if claim > 0.06+slack {
							t.Errorf("%s: %.3f claimed without an effect", name, claim)
						}
					} else if n == 6 && kind == "normal" && r == 0 {
						power6, power6n = power6+claim, power6n+1
					}
				}
			}
		}
	}
	t.Logf("false better or worse %.1f %% on average; power at 2 sd with 6 a side, clean, %.0f %%", 100*falseSum/cells, 100*power6/power6n)
	if falseSum/cells > 0.05+slack/2 {
		t.Errorf("%.3f false on average", falseSum/cells)
	}
	if power6/power6n < 0.8-0.07 {
		t.Errorf("power %.2f", power6/power6n)
	}
}

// Swapping the slots turns the sign round; a constant changes nothing; the order
// of the input changes nothing; scaling scales.
func TestSymmetries(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	for range 50 {
		laps := ride(1, "ABBAABBAABBA", rng, 0.1, -0.1)
		base := Decide(Question{Primary: segment(laps), Reference: "A", Trial: "B"}).Primary
		swap := Decide(Question{Primary: segment(laps), Reference: "B", Trial: "A"}).Primary
		if math.Abs(base.Value+swap.Value) > 1e-9 || math.Abs(base.Lo+swap.Hi) > 1e-9 {
			t.Fatalf("swapped: %v and %v", base.Value, swap.Value)
		}
		moved := append([]Lap(nil), laps...)
		for i := range moved {
			moved[i].Value += 7
		}
		if m := Decide(Question{Primary: segment(moved), Reference: "A", Trial: "B"}).Primary; math.Abs(m.Value-base.Value) > 1e-9 {
			t.Fatalf("a constant moved %v to %v", base.Value, m.Value)
		}
		mixed := append([]Lap(nil), laps...)
		rng.Shuffle(len(mixed), func(i, j int) { mixed[i], mixed[j] = mixed[j], mixed[i] })
		if m := Decide(Question{Primary: segment(mixed), Reference: "A", Trial: "B"}).Primary; m.Value != base.Value || m.Lo != base.Lo {
			t.Fatalf("the order of input moved %v to %v", base.Value, m.Value)
		}
	}
}
