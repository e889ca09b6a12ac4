package verdict

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"testing"

	"cornerwright/internal/inference"
)

// The simulated runs that the method must keep its promise on. Lap values are
// in units of the lap standard deviation; larger is slower.

// full says that the published figures are asked for: 10,000 replicates a cell.
// It is asked inside tests, so that cached results know of it.
func full() bool { return os.Getenv("CORNERWRIGHT_FULL") == "1" }

// replicates per cell, and the width of three binomial standard errors of a
// share near p at that count, by which short runs widen their bounds; the full
// run uses the bounds as they stand.
func replicates(short int) int {
	if full() {
		return 10000
	}
	return short
}

func slack(p float64, n int) float64 {
	if full() {
		return 0
	}
	return 3.3 * math.Sqrt(p*(1-p)/float64(n))
}

// noise draws one run of lap errors of standard deviation 1 (before slow laps)
// with lag-one correlation r between neighbouring laps.
type noise struct {
	name string
	tail float64 // degrees of freedom of heavy tails, 0 for normal
	slow float64 // share of slow laps, +3 to +10 sd
}

var (
	normal = noise{name: "normal"}
	heavy  = noise{name: "heavy", tail: 3}
	slow8  = noise{name: "slow", slow: 0.08}
)

func (z noise) draw(r *rand.Rand) float64 {
	if z.tail == 0 {
		return r.NormFloat64()
	}
	chi := 0.0
	for range int(z.tail) {
		x := r.NormFloat64()
		chi += x * x
	}
	return r.NormFloat64() / math.Sqrt(chi/z.tail) / math.Sqrt(z.tail/(z.tail-2))
}

// fill writes a run of n errors into y.
func (z noise) fill(r *rand.Rand, y []float64, rho float64) {
	last := 0.0
	g := math.Sqrt(1 - rho*rho)
	for i := range y {
		e := z.draw(r)
		if i > 0 {
			e = rho*last + g*e
		}
		last = e
		y[i] = e
	}
	for i := range y {
		if z.slow > 0 && r.Float64() < z.slow {
			y[i] += 3 + 7*r.Float64()
		}
	}
}

// drift is what tyres and rider do over a run, at u in [0, 1], lap i.
type drift struct {
	name string
	at   func(i int, u float64) float64
}

var (
	noDrift   = drift{"none", func(int, float64) float64 { return 0 }}
	lineBend  = drift{"line 2 sd, bend 0.5 sd", func(_ int, u float64) float64 { return 2*u + 2*(u-0.5)*(u-0.5) }}
	warmWear  = drift{"warm-up 1 sd, wear 1.5 sd", func(i int, u float64) float64 { return math.Exp(-float64(i)/1.5) + 1.5*u*u }}
	sharpWarm = drift{"sharp warm-up 1.5 sd", func(i int, u float64) float64 { return 1.5 * math.Exp(-float64(i)) }}
	doubled   = drift{"doubled drift", func(_ int, u float64) float64 { return 4*u + 4*(u-0.5)*(u-0.5) }}
	cliff     = drift{"late cliff 2 sd", func(_ int, u float64) float64 { return math.Max(0, u-0.8) * 10 }}
	stepMid   = drift{"step 1.5 sd after mid-run", func(_ int, u float64) float64 { return 1.5 * float64(b2i(u > 0.55)) }}
	wobble    = drift{"wave 0.7 sd, 7 laps", func(i int, _ float64) float64 { return 0.7 * math.Sin(float64(i)*2*math.Pi/7) }}
)

// setup is one cell of the study.
type setup struct {
	order  string // '-' is a lap that was lost
	noise  noise
	rho    float64
	drift  drift
	effect float64
	slowB  float64 // extra share of slow laps in the trial only
	sdB    float64 // scatter of the trial, 0 for 1
}

func (c setup) String() string {
	o := c.order
	if len(o) > 14 {
		o = o[:12] + fmt.Sprintf("..%d", len(o))
	}
	s := fmt.Sprintf("%-16s %-6s r %4.1f  %-26s effect %g", o, c.noise.name, c.rho, c.drift.name, c.effect)
	if c.slowB > 0 {
		s += fmt.Sprintf(" slow B %g", c.slowB)
	}
	if c.sdB > 0 {
		s += fmt.Sprintf(" sd B %g", c.sdB)
	}
	return s
}

// tally is what one cell gave.
type tally struct {
	n             int
	cover         float64 // share of 95 % intervals that hold the effect
	claim         float64 // better or worse, right or wrong
	right         float64 // claim in the true direction
	width, median float64 // mean and median interval width in ideal widths
	same          float64 // no-difference with a margin of 1.5 sd
	bias          float64
}

// idealWidth is the mean width of the two-sample t interval with as many
// normal, clean laps and no drift.
func idealWidth(n0, n1 int) float64 {
	df := float64(n0 + n1 - 2)
	lg1, _ := math.Lgamma((df + 1) / 2)
	lg0, _ := math.Lgamma(df / 2)
	c4 := math.Sqrt(2/df) * math.Exp(lg1-lg0)
	return 2 * tq(0.975, df) * c4 * math.Sqrt(1/float64(n0)+1/float64(n1))
}

// run simulates the cell. Slots lost in the order keep their lap number.
func (c setup) run(n int, seed uint64) tally {
	q := Question{Reference: "A", Trial: "B"}
	var laps []Lap
	for i, s := range c.order {
		if s == '-' {
			continue
		}
		laps = append(laps, Lap{Run: 1, Number: i + 3, Slot: string(s)})
	}
	l := q.recognise(laps)
	var m rows
	m.build(&q, &l, laps)
	return c.runOn(&m, l.guards(), laps, n, seed)
}

func (c setup) runOn(m *rows, guards []float64, laps []Lap, n int, seed uint64) (t tally) {
	r := rand.New(rand.NewPCG(seed, 77))
	y := make([]float64, len(c.order))
	nSide := [2]int{strings.Count(c.order, "A"), strings.Count(c.order, "B")}
	ideal := idealWidth(nSide[0], nSide[1])
	t.n = n
	widths := make([]float64, 0, n)
	const margin = 1.5
	for range n {
		c.noise.fill(r, y, c.rho)
		for i, p := range laps {
			k := p.Number - 3
			e := y[k]
			if p.Slot == "B" {
				if c.sdB > 0 {
					e *= c.sdB
				}
				if c.slowB > 0 && r.Float64() < c.slowB {
					e += 3 + 7*r.Float64()
				}
				e += c.effect
			}
			m.y[i] = e + c.drift.at(k, float64(k)/float64(len(c.order)-1))
		}
		f, _, ok := m.method(1, 0, guards)
		if !ok {
			panic("no fit in " + c.String())
		}
		h := tq(0.975, f.df) * f.se
		h90 := tq(0.95, f.df) * f.se
		if math.Abs(f.value-c.effect) <= h {
			t.cover++
		}
		if math.Abs(f.value) > h {
			t.claim++
			if f.value*c.effect > 0 {
				t.right++
			}
		} else if f.value+h90 < margin && f.value-h90 > -margin {
			t.same++
		}
		t.width += 2 * h / ideal
		widths = append(widths, 2*h/ideal)
		t.bias += f.value - c.effect
	}
	t.median = inference.Median(widths)
	for _, p := range []*float64{&t.cover, &t.claim, &t.right, &t.width, &t.same, &t.bias} {
		*p /= float64(n)
	}
	return t
}

// interleavedOrders are those a plan proposes, with n kept laps a side.
func interleavedOrders(n int) []string {
	o := []string{strings.Repeat("ABBA", 5)[:2*n]}
	o = append(o, strings.Repeat("AABB", 6)[:4*((n+1)/2)])
	if n%2 == 1 { // pairs need even counts; the last pair is one lap short a side
		s := o[1]
		o[1] = s[:len(s)-4] + "AB"
	}
	return o
}

var _ = inference.Holm

// TestPromiseCells is the promise of the method within runs, cell by cell.
func TestPromiseCells(t *testing.T) {
	n := replicates(1000)
	falseSum, cells := 0.0, 0.0
	for _, k := range []int{4, 6, 10} {
		for _, o := range interleavedOrders(k) {
			for _, z := range []noise{normal, heavy, slow8} {
				for _, rho := range []float64{0, 0.3, 0.5} {
					for _, d := range []drift{noDrift, lineBend, warmWear} {
						for _, effect := range []float64{0, 2} {
							c := setup{order: o, noise: z, rho: rho, drift: d, effect: effect}
							r := c.run(n, 2)
							t.Logf("%s  held %.1f claimed %.1f width %.3f (median %.3f)", c, 100*r.cover, 100*r.claim, r.width, r.median)
							if r.cover < 0.94-slack(0.95, n) || r.cover > 0.975+slack(0.97, n) {
								t.Errorf("%s: 95 %% intervals held %.1f %%, want 94 to 97.5", c, 100*r.cover)
							}
							if effect == 0 {
								falseSum += r.claim
								cells++
								if r.claim > 0.06+slack(0.06, n) {
									t.Errorf("%s: %.1f %% better or worse without an effect, want at most 6", c, 100*r.claim)
								}
							}
						}
					}
				}
			}
		}
	}
	t.Logf("false better or worse on average %.2f %%", 100*falseSum/cells)
	if falseSum/cells > 0.05 {
		t.Errorf("false better or worse on average %.2f %%, want at most 5", 100*falseSum/cells)
	}
}

// TestWidthAndPower holds the width against the ideal interval, and the power at
// 2 sd, in the orders that the plan proposes: the typical (median) width from 5 a
// side, and the mean on clean laps and, with slow ones, from 8 a side.
func TestWidthAndPower(t *testing.T) {
	n := replicates(3000)
	for _, k := range []int{4, 5, 6, 8, 10} {
		for _, z := range []noise{normal, slow8} {
			c := setup{order: interleavedOrders(k)[0], noise: z, drift: noDrift, effect: 2}
			r := c.run(n, 3)
			t.Logf("%s  width mean %.3f median %.3f, power at 2 sd %.1f", c, r.width, r.median, 100*r.right)
			switch {
			case z.slow == 0 && r.median > 1.05:
				t.Errorf("%s: width %.3f of the ideal, want at most 1.05", c, r.median)
			case z.slow > 0 && k >= 5 && r.median > 1.25:
				t.Errorf("%s: width %.3f of the ideal, want at most 1.25", c, r.median)
			case full() && z.slow == 0 && r.width > 1.05:
				t.Errorf("%s: mean width %.3f of the ideal, want at most 1.05", c, r.width)
			case full() && z.slow > 0 && k >= 8 && r.width > 1.25:
				t.Errorf("%s: mean width %.3f of the ideal, want at most 1.25", c, r.width)
			case k == 6 && z.slow == 0 && r.right < 0.80-slack(0.8, n):
				t.Errorf("%s: power %.1f %%, want 80", c, 100*r.right)
			case k == 6 && z.slow > 0 && r.right < 0.60-slack(0.6, n):
				t.Errorf("%s: power %.1f %%, want 60", c, 100*r.right)
			}
		}
	}
}

// TestFalseSame sets the true effect on the margin itself: no-difference is then
// wrong, and may be said in at most 6 %.
func TestFalseSame(t *testing.T) {
	n := replicates(2000)
	for _, k := range []int{4, 6, 10} {
		for _, z := range []noise{normal, heavy, slow8} {
			for _, rho := range []float64{0, 0.3, 0.5} {
				for _, sign := range []float64{1, -1} {
					c := setup{order: interleavedOrders(k)[0], noise: z, rho: rho, drift: lineBend, effect: 1.5 * sign}
					r := c.run(n, 4)
					t.Logf("%s  no-difference %.1f", c, 100*r.same)
					if r.same > 0.06+slack(0.06, n) {
						t.Errorf("%s: no-difference in %.1f %%, want at most 6", c, 100*r.same)
					}
				}
			}
		}
	}
}

// TestThereAndBackBend rides one there-and-back under a drift with a bend.
func TestThereAndBackBend(t *testing.T) {
	n := replicates(2000)
	for _, order := range []string{"AAABBBBBBAAA", "AAAABBBBAAAA", "AAAAABBBBBBBBBBAAAAA", "AAAAAABBBBBBAAAAAA"} {
		for _, z := range []noise{normal, heavy, slow8} {
			for _, rho := range []float64{0, 0.3} {
				for _, effect := range []float64{0, 2} {
					c := setup{order: order, noise: z, rho: rho, drift: lineBend, effect: effect}
					r := c.run(n, 30017)
					t.Logf("%s  held %.1f width %.2f", c, 100*r.cover, r.width)
					if r.cover < 0.935-slack(0.95, n) {
						t.Errorf("%s: held %.1f %%, want at least 93.5", c, 100*r.cover)
					}
					if r.cover > 0.97+slack(0.97, n) {
						t.Errorf("%s: held %.1f %%, want at most 97", c, 100*r.cover)
					}
				}
			}
		}
	}
}

// TestFreshSituations rides what the method was not set on: steps, cliffs,
// waves, slow laps in the trial only, unequal scatter, lost laps, laps that
// alternate.
func TestFreshSituations(t *testing.T) {
	n := replicates(2000)
	check := func(c setup, low float64) {
		t.Helper()
		r := c.run(n, 6)
		t.Logf("%s  held %.1f bias %+.2f width %.2f", c, 100*r.cover, r.bias, r.width)
		if r.cover < low-slack(low, n) {
			t.Errorf("%s: held %.1f %%, want at least %.1f", c, 100*r.cover, 100*low)
		}
	}
	for _, k := range []int{4, 6, 10} {
		for _, o := range interleavedOrders(k) {
			for _, d := range []drift{sharpWarm, doubled, cliff, stepMid, wobble} {
				for _, z := range []noise{normal, slow8} {
					low := 0.93
					if d.name == stepMid.name && k == 4 && o[:2] == "AA" {
						// The step falls on a switch, and two returns cannot outvote
						// it: a known limit, stated in docs/method.md.
						low = 0.89
					}
					check(setup{order: o, noise: z, drift: d, effect: 2}, low)
				}
			}
			check(setup{order: o, noise: normal, drift: lineBend, effect: 2, sdB: 2}, 0.93)
			check(setup{order: o, noise: normal, drift: lineBend, effect: 0, slowB: 0.15}, 0.92)
			check(setup{order: o, noise: normal, rho: -0.3, drift: lineBend, effect: 0}, 0.93)
		}
	}
	for _, o := range []string{"ABBA-BBAABBA", "A-BAABB-ABBAABBA", "ABBAABBABB-A", "AABBA-BBAABBAA-B", "ABBABABBA", "-BBAABBAA"} {
		for _, rho := range []float64{-0.3, 0, 0.3} {
			check(setup{order: o, noise: normal, rho: rho, drift: lineBend, effect: 0}, 0.93)
		}
	}
}
