package verdict

import (
	"math"
	"testing"

	"cornerwright/internal/bike"
	"cornerwright/internal/demo"
	"cornerwright/internal/proving"
	onTrack "cornerwright/internal/ride" // ride is a helper here
)

// trialRide simulates and analyses a whole recording of 16 laps, A B B A, whose
// slot B gains 0.08 s out of one turn, and asks about every turn's segment. It
// returns the question and the true effects by the turn numbers that the analysis
// gave, with the number of the planted one.
func trialRide(t *testing.T, circuit int, seed uint64) (q Question, truth map[int]float64, planted int) {
	t.Helper()
	o := demo.DefaultOptions(circuit, seed)
	o.Laps = 16
	o.Slots = []string{"A"}
	for range 4 {
		o.Slots = append(o.Slots, "A", "B", "B", "A")
	}
	o.Slots = append(o.Slots, "A")
	var able []int // turns with a drive out of them
	turns := demo.Circuits()[circuit].Turns
	for i, x := range turns {
		if !x.Kink && x.Radius < 120 && !turns[(i+1)%len(turns)].Kink {
			able = append(able, i+1)
		}
	}
	o.Effects = []demo.Effect{{Slot: "B", Turn: able[int(seed)%len(able)], Seconds: -0.08}}
	run := demo.Ride(o)
	k, err := bike.Parse("demo.toml", run.Bike.TOML())
	if err != nil {
		t.Fatal(err)
	}
	r, err := onTrack.Analyse(proving.Recording(run), k, nil, onTrack.Options{})
	if err != nil {
		t.Fatal(err)
	}
	// The analysis learns the circuit and numbers its turns from its own gate:
	// a true apex lies in the pass that holds its instant.
	tr := &run.Truth
	number := map[int]int{}
	for i, x := range tr.Turns {
		seen := map[int]int{}
		for lap := range tr.Laps {
			at := tr.CrossAt(float64(lap)*tr.Length + x.Apexes[0])
			for _, p := range r.Passes {
				if p.Start <= at && at < p.End {
					seen[p.Turn]++
				}
			}
		}
		for n, c := range seen {
			if c > seen[number[i+1]] || c == seen[number[i+1]] && n < number[i+1] {
				number[i+1] = n
			}
		}
	}
	var windows []proving.Window
	for _, p := range r.Passes {
		if p.Timed && p.Whole {
			windows = append(windows, proving.Window{Turn: p.Turn, Span: proving.Span{From: p.Start, To: p.End}})
		}
	}
	truth = proving.EffectsIn(run, windows)
	planted = number[o.Effects[0].Turn]
	q = Question{Reference: "A", Trial: "B"}
	by := map[int]*Measure{}
	var order []int
	for _, p := range r.Passes {
		if !p.Timed {
			continue
		}
		m := by[p.Turn]
		if m == nil {
			m = &Measure{Turn: p.Turn, Name: "segment", Unit: "s", Better: Lower, Matters: 0.05, Tier: Outcome}
			by[p.Turn] = m
			order = append(order, p.Turn)
		}
		l := Lap{Run: 1, Number: p.Lap, Slot: p.Slot, Value: p.Segment}
		if p.SegmentSE > 0 {
			l.ValueSE = p.SegmentSE
		}
		if !p.Whole {
			l.Value = math.NaN()
		}
		m.Laps = append(m.Laps, l)
	}
	if by[planted] == nil {
		t.Fatalf("circuit %d seed %d: turn %d is not among the turns found", circuit, seed, o.Effects[0].Turn)
	}
	q.Primary = *by[planted]
	for _, n := range order {
		if n != planted {
			q.Watch = append(q.Watch, *by[n])
		}
	}
	return q, truth, planted
}

// TestOnRecordings plants 0.08 s at one turn of whole simulated recordings: the
// effect lies within its interval, and no other turn is claimed that has none.
// Few recordings by default, forty seeds on every circuit with CORNERWRIGHT_FULL=1.
func TestOnRecordings(t *testing.T) {
	seeds := 1
	if full() {
		seeds = 40
	}
	n, held, found, quiet, others, othersHeld := 0, 0, 0, 0, 0, 0
	for c := range demo.Circuits() {
		for k := range seeds {
			seed := uint64(73001 + 17*k + 2111*c)
			q, truth, planted := trialRide(t, c, seed)
			v := Decide(q)
			e := v.Primary
			if v.Refusal != nil || !e.Known() {
				t.Errorf("circuit %d seed %d: refused: %+v", c, seed, v.Refusal)
				continue
			}
			n++
			in := e.Lo <= truth[planted] && truth[planted] <= e.Hi
			held += b2i(in)
			found += b2i(e.Answer == Better)
			if e.Answer == Worse {
				t.Errorf("circuit %d seed %d: a gain was called worse: %s", c, seed, v.Engineer)
			}
			calm := true
			for _, w := range v.Watch {
				if !w.Known() {
					continue
				}
				others++
				othersHeld += b2i(w.Lo <= truth[w.Turn] && truth[w.Turn] <= w.Hi)
				// The turn after the planted one can truly carry some of the gain.
				real := math.Abs(truth[w.Turn]) >= 0.01 && w.Value*truth[w.Turn] > 0
				if (w.Answer == Better || w.Answer == Worse) && !real {
					calm = false
					t.Logf("circuit %d seed %d: turn %d claimed %s, %+.3f s, true %+.4f s", c, seed, w.Turn, w.Answer, w.Value, truth[w.Turn])
				}
			}
			quiet += b2i(calm)
			t.Logf("circuit %d seed %d turn %d: true %+.3f s, found %+.3f (%+.3f to %+.3f) %s, lap sd %.3f, inside %v", c, seed, planted, truth[planted], e.Value, e.Lo, e.Hi, e.Answer, e.LapSD, in)
		}
	}
	t.Logf("planted effect inside its interval in %d of %d recordings, called better in %d; nothing else claimed in %d; other turns' true effects inside %d of %d intervals", held, n, found, quiet, othersHeld, others)
	// 95 % intervals: of the few recordings of the default run one may miss.
	low := 0.93
	if !full() {
		low = 1 - 1.01/float64(n)
	}
	if float64(held) < low*float64(n) || float64(quiet) < low*float64(n) {
		t.Errorf("held %d, quiet %d of %d", held, quiet, n)
	}
	if float64(othersHeld) < 0.92*float64(others) {
		t.Errorf("other turns: %d of %d held", othersHeld, others)
	}
}
