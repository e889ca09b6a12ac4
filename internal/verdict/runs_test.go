package verdict

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"cornerwright/internal/inference"
)

// runsOf draws whole runs: sides like "AB" or "ABA", n laps each, laps of sd 1
// with correlation rho, runs of sd s, warm-up and wear inside every run.
func runsOf(r *rand.Rand, sides string, n int, rho, s, effect float64) []Lap {
	var laps []Lap
	y := make([]float64, n)
	for k, c := range sides {
		normal.fill(r, y, rho)
		level := s * r.NormFloat64()
		if c == 'B' {
			level += effect
		}
		for i, e := range y {
			laps = append(laps, Lap{Run: k + 1, Number: i + 3, Slot: string(c), Value: e + level + warmWear.at(i, float64(i)/float64(n-1))})
		}
	}
	return laps
}

// TestRunDesignsKeepTheirPromise: wherever the true scatter between runs does
// not exceed the assumed one, the interval holds at least 94 %.
func TestRunDesignsKeepTheirPromise(t *testing.T) {
	n := replicates(200)
	counts, scatters := []int{4, 10}, []float64{0, 0.4}
	if full() {
		counts, scatters = []int{4, 6, 10}, []float64{0, 0.2, 0.4}
	}
	for _, sides := range []string{"AB", "ABA", "AABB", "ABAB", "ABABAB"} {
		for _, laps := range counts {
			for _, rho := range []float64{0, 0.3} {
				for _, s := range scatters {
					for _, known := range []bool{false, true} {
						if known && len(sides) > 3 {
							continue
						}
						r := rand.New(rand.NewPCG(uint64(laps), uint64(len(sides))))
						held, width := 0.0, 0.0
						for range n {
							q := Question{Reference: "A", Trial: "B"}
							if known {
								q.BetweenRunSD = 0.4
							}
							m := Measure{Better: Lower, Unit: "s", Laps: runsOf(r, sides, laps, rho, s, 1)}
							q.Primary = m
							l := q.recognise(q.sorted(m.Laps))
							e, spread, v, ok := q.look(&l, m)
							if !ok {
								t.Fatalf("%s: no interval: %s", sides, e.Note)
							}
							half := spread.half(0.05)
							held += float64(b2i(math.Abs(v-1) <= half))
							width += 2 * half
						}
						name := fmt.Sprintf("%-6s %2d laps r %.1f run sd %.1f known %v", sides, laps, rho, s, known)
						t.Logf("%s  held %.1f width %.2f", name, 100*held/float64(n), width/float64(n))
						if held/float64(n) < 0.94-slack(0.94, n) {
							t.Errorf("%s: held %.1f %%, want at least 94", name, 100*held/float64(n))
						}
					}
				}
			}
		}
	}
}

// TestWatchListStaysQuiet: 40 measures that correlate by 0.3, none changed, on
// runs of 4, 6 and 10 laps a side: any alarm in at most 6 %.
func TestWatchListStaysQuiet(t *testing.T) {
	n := replicates(200)
	for _, k := range []int{4, 6, 10} {
		for _, z := range []noise{normal, heavy, slow8} {
			for _, rho := range []float64{0, 0.3} {
				order := interleavedOrders(k)[0]
				q := Question{Reference: "A", Trial: "B"}
				var laps []Lap
				for i, s := range order {
					laps = append(laps, Lap{Run: 1, Number: i + 3, Slot: string(s)})
				}
				l := q.recognise(laps)
				var m rows
				m.build(&q, &l, laps)
				r := rand.New(rand.NewPCG(uint64(k), 3107))
				any, harm := 0.0, 0.0
				y, common := make([]float64, len(laps)), make([]float64, len(laps))
				for range n {
					normal.fill(r, common, rho)
					v := Verdict{}
					var es []Effect
					for range 40 {
						z.fill(r, y, rho)
						for i := range y {
							m.y[i] = math.Sqrt(0.3)*common[i] + math.Sqrt(0.7)*y[i] + lineBend.at(i, float64(i)/float64(len(y)-1))
						}
						f, _, ok := m.method(1, 0, l.guards())
						if !ok {
							t.Fatal("no fit")
						}
						e := Effect{Better: Lower, NRef: k, NTrial: k}
						e.settleOn(f.value, spread{se: f.se, df: f.df})
						es = append(es, e)
					}
					v.decideFamily(es, true)
					alarm, worse := 0.0, 0.0
					for _, e := range es {
						if e.Answer == Better || e.Answer == Worse {
							alarm = 1
						}
						if e.Answer == Worse {
							worse = 1
						}
					}
					any += alarm
					harm += worse
				}
				t.Logf("%d a side %s r %.1f: any alarm %.1f %%, worse %.1f %%", k, z.name, rho, 100*any/float64(n), 100*harm/float64(n))
				if any/float64(n) > 0.06+slack(0.06, n) {
					t.Errorf("%d a side %s r %.1f: any alarm in %.1f %% of nil runs, want at most 6", k, z.name, rho, 100*any/float64(n))
				}
			}
		}
	}
}

// TestPlanKeepsItsPower plans with known scatter and with scatter estimated from
// 10 and 20 laps, and rides the plans.
func TestPlanKeepsItsPower(t *testing.T) {
	rides := 2000
	for _, w := range []Wish{
		{Effect: 2, LapSD: 1}, {Effect: 1.5, LapSD: 1}, {Effect: 1.2, LapSD: 1}, {Effect: 1, LapSD: 1},
		{Effect: 1.5, LapSD: 1, Settle: 1}, {Effect: 1.5, LapSD: 1, Block: 2}, {Effect: 1, LapSD: 1, MaxLaps: 14},
		{Effect: 2, LapSD: 1, SlowShare: 0.08},
	} {
		w.Unit, w.Measure, w.Turn = "s", "segment", 3
		p, err := MakePlan(w)
		if err != nil {
			t.Fatal(err)
		}
		got := ridePlan(&p, rides, 11)
		t.Logf("effect %.1f settle %d block %d slow %.2f: %v, %d each, promised %.1f %%, got %.1f %%", w.Effect, w.Settle, w.Block, w.SlowShare, p.Order, p.LapsEach, 100*p.Power, 100*got)
		if math.Abs(got-p.Power) > 0.05 || got < 0.75 {
			t.Errorf("effect %.1f sd: promised %.1f %%, got %.1f %%", w.Effect, 100*p.Power, 100*got)
		}
	}
	// From a history the scatter is estimated, bounded above, and planned with.
	// A larger planned scatter never gets fewer laps, so one search finds the
	// least that reaches 75 % at the true scatter of 1.
	plan := func(w Wish) float64 {
		w.Effect, w.Unit, w.Measure, w.Turn = 1.5, "s", "segment", 3
		p, err := MakePlan(w)
		if err != nil {
			t.Fatal(err)
		}
		return ridePlan(&p, rides, 12)
	}
	lo, hi := 0.6, 1.2
	for range 8 {
		if mid := (lo + hi) / 2; plan(Wish{LapSD: mid}) >= 0.75 {
			hi = mid
		} else {
			lo = mid
		}
	}
	for _, sd := range []float64{1.05 * hi, 1.3 * hi, 1.7 * hi} {
		if got := plan(Wish{LapSD: sd}); got < 0.75 {
			t.Errorf("planned with sd %.2f: power %.1f %%, less than with %.2f", sd, 100*got, hi)
		}
	}
	histories := 4000
	r := rand.New(rand.NewPCG(3, 4))
	for _, laps := range []int{10, 20} {
		good := 0.0
		for k := range histories {
			var history []Lap
			for i := range laps {
				history = append(history, Lap{Run: 1, Number: i + 2, Slot: "A", Value: 30 + r.NormFloat64()})
			}
			sd, df, _, err := Scatter(history)
			if err != nil {
				t.Fatal(err)
			}
			upper := inference.SDUpper(sd, df, planConfidence)
			if k == 0 {
				p, err := MakePlan(Wish{Effect: 1.5, Unit: "s", History: history})
				if err != nil || math.Abs(p.PlanSD-upper) > 1e-12 {
					t.Fatalf("plan from history: sd %v, want %v (%v)", p.PlanSD, upper, err)
				}
			}
			if upper >= hi {
				good++
			}
		}
		t.Logf("scatter from %d laps: power of 75 %% or more in %.1f %% of plans (planned sd %.3f or more)", laps, 100*good/float64(histories), hi)
		if good/float64(histories) < 0.85-slack(0.85, histories) {
			t.Errorf("scatter from %d laps: %.1f %% of plans reach 75 %%, want 85", laps, 100*good/float64(histories))
		}
	}
}

// ridePlan rides the plan's order with true scatter 1 and drift, and returns how
// often the wished effect is found.
func ridePlan(p *Plan, n int, seed uint64) float64 {
	q, l, m, _ := p.Wish.lay(p.Order)
	var laps []Lap
	for r, s := range p.Order {
		for i, c := range s {
			laps = append(laps, Lap{Run: r + 1, Number: p.Wish.WarmLaps + 1 + i, Slot: string(c)})
		}
	}
	used, _ := m.build(&q, &l, laps)
	r := rand.New(rand.NewPCG(seed, uint64(m.n)))
	z := noise{slow: p.SlowShare}
	y := make([]float64, len(used))
	found := 0.0
	for range n {
		z.fill(r, y, 0)
		for i, lap := range used {
			u := float64(lap.Number) / 20
			m.y[i] = y[i] + u
			if lap.Slot == "B" {
				m.y[i] += p.Wish.Effect
			}
		}
		if f, _, ok := m.method(1, 0, l.guards()); ok && f.value > tq(0.975, f.df)*f.se {
			found++
		}
	}
	return found / float64(n)
}
