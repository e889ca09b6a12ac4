package verdict

import (
	"math"
	"math/rand/v2"
	"testing"

	"cornerwright/internal/inference/second"
)

// TestSecondOpinions asks two methods that assume no normal scatter about the same
// laps as the verdict: a permutation of the orders that a draw in blocks of four
// could have given, and ranks. On laps without drift, with and without heavy tails,
// they must find the same effect, and the verdict may call nothing that both find
// usual (one wild lap hides an effect from the mean of a permutation, not from
// ranks), nor keep silent on what both find rare.
func TestSecondOpinions(t *testing.T) {
	const order = "ABBABAABABBABAAB"
	orders := second.BlockOrders([]int{4, 4, 4, 4}, []int{2, 2, 2, 2})
	ridden := make([]bool, len(order))
	for i := range ridden {
		ridden[i] = order[i] == 'B'
	}
	for _, z := range []noise{normal, heavy} {
		rng := rand.New(rand.NewPCG(31, 7))
		var apart []float64
		var calls, rare, silent, bold int
		for trial := range 400 {
			effect := []float64{0, 1, 2}[trial%3]
			y := make([]float64, len(order))
			z.fill(rng, y, 0)
			q := Question{Reference: "A", Trial: "B", Primary: Measure{Turn: 4, Name: "segment", Unit: "s", Better: Lower, Matters: 0.5}}
			q.Runs = []Run{{ID: 1, Circuit: "one", Bike: "one", Day: "one", Tyre: "one", Settings: "same"}}
			var side [2][]float64
			for i := range y {
				if ridden[i] {
					y[i] += effect
				}
				side[b2i(ridden[i])] = append(side[b2i(ridden[i])], y[i])
				q.Primary.Laps = append(q.Primary.Laps, Lap{Run: 1, Number: i + 2, Slot: order[i : i+1], Value: 100 + y[i]})
			}
			v := Decide(q)
			if v.Refusal != nil || !v.Primary.Known() {
				t.Fatalf("no answer: %+v", v.Refusal)
			}
			e := v.Primary
			called := e.Lo > 0 || e.Hi < 0
			p := second.PermuteOrders(y, ridden, orders)
			apart = append(apart, (e.Value-second.HodgesLehmann(side[1], side[0], 0.95).Value)/(0.5*(e.Hi-e.Lo)))
			calls += b2i(called)
			ranks := second.MannWhitney(side[0], side[1])
			bold += b2i(called && p.P > 0.2 && ranks.P > 0.2)
			if p.P < 0.004 && ranks.P < 0.004 {
				rare++
				silent += b2i(!called)
			}
		}
		sum := 0.0
		for _, x := range apart {
			sum += x * x
		}
		rms := math.Sqrt(sum / float64(len(apart)))
		t.Logf("%s: %d calls, %d of them usual by both; %d rare by both, %d of them not called; effects apart by %.2f half intervals", z.name, calls, bold, rare, silent, rms)
		if calls < 100 || bold > calls/100 || rare < 50 || silent > rare/10 || rms > 0.25 {
			t.Errorf("%s: the verdict and the second opinions part", z.name)
		}
	}
}
