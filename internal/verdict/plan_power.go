package verdict

import (
	"math"
	"math/rand/v2"
	"slices"
	"sort"
	"strings"
	"sync"
)

// orderFor writes the slots of a plan with k laps a side (ridden, settling laps
// included), split over runs; each run is an order of its own that starts with
// the reference.
func (w *Wish) orderFor(k int) []string {
	total := 2 * k
	runs := (total + w.MaxLaps - 1) / w.MaxLaps
	var out []string
	left := total
	for r := range runs {
		n := left / (runs - r)
		if w.Block > 1 {
			n -= n % (2 * w.Block)
		} else {
			n -= n % 2
		}
		if r == runs-1 {
			n = left
		}
		left -= n
		var b strings.Builder
		for i := range n {
			trial := false
			if w.Block == 1 {
				trial = i%4 == 1 || i%4 == 2
			} else {
				trial = i/w.Block%2 == 1
			}
			b.WriteByte("AB"[b2i(trial)])
		}
		out = append(out, b.String())
	}
	return out
}

func b2i(b bool) int {
	if b {
		return 1
	}
	return 0
}

// lay builds the question and the rows of an order, with the laps to settle
// taken out; y is zero.
func (w *Wish) lay(order []string) (q Question, l layout, m *rows, kept [2]int) {
	q = Question{Reference: "A", Trial: "B", Settle: w.Settle}
	var laps []Lap
	for r, s := range order {
		for i, c := range s {
			laps = append(laps, Lap{Run: r + 1, Number: w.WarmLaps + 1 + i, Slot: string(c)})
		}
	}
	l = q.recognise(laps)
	m = &rows{}
	used, _ := m.build(&q, &l, laps)
	for _, p := range used {
		kept[q.sideOf(p.Slot)]++
	}
	return q, l, m, kept
}

// thresholds rides the order tries times without an effect and returns, sorted,
// the least effect in lap sd that each try would have found. The method is
// equivariant: an effect is a multiple of a column of the model, so it moves
// the estimate by itself and leaves residuals, laps set aside and standard error
// as they are. One set of rides therefore serves every size of effect. The draws
// are seeded from the order alone. A try that cannot be fitted is +Inf.
func (m *rows) thresholds(guards []float64, slowShare float64, tries int) []float64 {
	r := rand.New(rand.NewPCG(uint64(m.n), uint64(m.p)))
	y := make([]float64, tries*m.n)
	for i := range y {
		y[i] = r.NormFloat64()
		if slow := r.Float64(); slow < slowShare {
			y[i] += 3 + 7*slow/slowShare
		}
	}
	// Drawn in one row and ridden side by side: the answer does not depend on how
	// many processors there are.
	out := make([]float64, tries)
	var side sync.WaitGroup
	const sides = 4
	for q := range sides {
		own := m.clone()
		side.Go(func() {
			for k := q; k < tries; k += sides {
				copy(own.y, y[k*own.n:(k+1)*own.n])
				out[k] = math.Inf(1)
				if f, _, ok := own.method(1, 0, guards); ok {
					out[k] = tq(0.975, f.df)*f.se - f.value
				}
			}
		})
	}
	side.Wait()
	slices.Sort(out)
	return out
}

// powerAt is the share of thresholds that an effect of delta lap sd passes.
func powerAt(thresholds []float64, delta float64) float64 {
	return float64(sort.Search(len(thresholds), func(i int) bool { return thresholds[i] > delta })) / float64(len(thresholds))
}

// visibleAt is the least effect, in lap sd, that is found with the power.
func visibleAt(thresholds []float64, power float64) float64 {
	k := int(math.Ceil(power * float64(len(thresholds))))
	return math.Max(0, thresholds[max(0, min(k, len(thresholds))-1)])
}

// factor is the standard deviation of the effect in lap sd, by plain least
// squares on this order with its drift.
func (m *rows) factor() (float64, bool) {
	for i := range m.n {
		m.keep[i] = true
	}
	clear(m.y[:m.n])
	v, ok := m.solve(m.x, m.y, nil, m.n)
	return math.Sqrt(v), ok
}
