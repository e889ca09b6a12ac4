package verdict

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// Repeats tell the scatter between runs, less what their own laps explain.
func TestLearnRunScatter(t *testing.T) {
	if _, df, ok := LearnRunScatter([]RunMean{{Group: "a", Value: 1}, {Group: "a", Value: 2}, {Group: "b", Value: 3}}); ok || df != 1 {
		t.Errorf("one repeat was enough (df %v)", df)
	}
	r := rand.New(rand.NewPCG(6, 6))
	sum, n := 0.0, 400
	for range n {
		var runs []RunMean
		for g := range 6 {
			level := 10 * r.NormFloat64()
			for range 3 {
				runs = append(runs, RunMean{Group: fmt.Sprint(g), Value: level + 0.3*r.NormFloat64() + 0.1*r.NormFloat64(), SE: 0.1})
			}
		}
		sd, df, ok := LearnRunScatter(runs)
		if !ok || df != 12 {
			t.Fatalf("ok %v, df %v", ok, df)
		}
		sum += sd * sd
	}
	if got := math.Sqrt(sum / float64(n)); math.Abs(got-0.3) > 0.02 {
		t.Errorf("scatter between runs %.3f, want 0.3", got)
	}
	// Runs that agree by chance are not taken for the same run.
	if sd, _, ok := LearnRunScatter([]RunMean{{"a", 1, 0.2, 6}, {"a", 1.02, 0.2, 6}, {"a", 0.99, 0.2, 6}, {"b", 3, 0.2, 6}, {"b", 3.01, 0.2, 6}}); !ok || !(sd > 0) {
		t.Errorf("agreeing runs give %v, %v", sd, ok)
	}
}

// One run against one with a scatter between runs that was learnt from six
// degrees of freedom of repeats keeps its promise without any assumption.
func TestLearntScatterKeepsThePromise(t *testing.T) {
	n := replicates(600)
	for _, s := range []float64{0.2, 0.6} {
		r := rand.New(rand.NewPCG(12, uint64(10*s)))
		held := 0
		for range n {
			var runs []RunMean
			for g := range 3 {
				for range 3 {
					runs = append(runs, RunMean{Group: fmt.Sprint(g), Value: s*r.NormFloat64() + r.NormFloat64()/3, SE: 1.0 / 3})
				}
			}
			sd, df, ok := LearnRunScatter(runs)
			if !ok {
				t.Fatal("not learnt")
			}
			q := Question{Reference: "A", Trial: "B", BetweenRunSD: sd, BetweenRunDF: df}
			q.Primary = Measure{Name: "segment", Unit: "s", Better: Lower, Laps: runsOf(r, "AB", 6, 0, s, 1)}
			l := q.recognise(q.sorted(q.Primary.Laps))
			e := q.analyse(&l, q.Primary)
			if !e.LearntRunSD {
				t.Fatal("the learnt scatter was not used")
			}
			held += b2i(e.Lo <= 1 && 1 <= e.Hi)
		}
		got := float64(held) / float64(n)
		t.Logf("true scatter between runs %.1f lap sd: held %.1f %%", s, 100*got)
		if got < 0.94-slack(0.94, n) {
			t.Errorf("true scatter between runs %.1f: held %.1f %%, want 94", s, 100*got)
		}
	}
}

func TestScorePredictions(t *testing.T) {
	if s := ScorePredictions(nil); s.N != 0 || !strings.Contains(s.Text.String(), "no rehearsal") {
		t.Errorf("%+v", s)
	}
	s := ScorePredictions([]Prediction{
		{Lo: -0.10, Hi: -0.02, Effect: -0.06, SE: 0.02}, // inside, direction right
		{Lo: -0.10, Hi: -0.02, Effect: 0.08, SE: 0.02},  // outside, direction wrong
		{Lo: -0.05, Hi: 0.05, Effect: 0.07, SE: 0.02},   // meets the range, no direction rehearsed
		{Lo: -0.02, Hi: -0.10, Effect: 0.00, SE: 0.03},  // bounds the other way round; meets it, not clear
	})
	if s.N != 4 || s.Held.N != 4 || math.Abs(s.Held.Value-0.75) > 1e-12 || s.Direction.N != 2 || math.Abs(s.Direction.Value-0.5) > 1e-12 {
		t.Errorf("%+v", s)
	}
	if want := "3 of 4 rehearsed changes agree with the verdict; direction right in 1 of 2 clear ones"; s.Text.String() != want {
		t.Errorf("%q, want %q", s.Text, want)
	}
}

func TestFalseAlarmScore(t *testing.T) {
	vs := []Verdict{
		{NilCheck: true, Primary: Effect{Answer: Better}},
		{NilCheck: true, Primary: Effect{Answer: NotEnoughLaps}},
		{NilCheck: true, Primary: Effect{Answer: Worse}, Refusal: &Refusal{}}, // refused: no answer
		{Primary: Effect{Answer: Better}},                                     // a real trial
	}
	if e := FalseAlarms(vs); e.N != 2 || e.Value != 0.5 {
		t.Errorf("%+v", e)
	}
	if e := FalseAlarms(nil); e.N != 0 {
		t.Errorf("nothing gives %+v", e)
	}
}
