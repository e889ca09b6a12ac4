package book

import (
	"bytes"
	"math"
	"strings"
	"testing"

	"cornerwright/internal/circuit"
	"cornerwright/internal/inference"
	"cornerwright/internal/verdict"
)

// A step that was ridden and judged is found by everything that it was ridden
// under, with what its rehearsal said; a nil check counts for the false-alarm
// score and not as evidence.
func TestTrialsAreFound(t *testing.T) {
	b := newTestBook(t, 0)
	s, err := recordStep(t, b, 1)
	if err != nil {
		t.Fatal(err)
	}
	if ts := must[[]Trial](t)(b.Trials(bg, TrialQuery{})); len(ts) != 0 {
		t.Fatalf("%d trials before any verdict", len(ts))
	}
	if ts := must[[]Trial](t)(b.Trials(bg, TrialQuery{Unjudged: true, Setting: "wheel-lift"})); len(ts) != 1 || ts[0].Verdict != nil {
		t.Fatalf("the proposed step is not found: %+v", ts)
	}
	must[Step](t)(b.SetStepState(s.ID, Proposed, Loaded, "", "", 0))
	res, err := b.Add(bg, AddRequest{Name: "three.csv", Data: fixtures().runs[2], Tyre: "set 1, 4 laps", Weather: "dry, track 31 °C"})
	if err != nil {
		t.Fatal(err)
	}
	v, err := b.Verdict(bg, VerdictRequest{Step: s.ID})
	if err != nil {
		t.Fatal(err)
	}
	carried := 0
	for _, w := range v.Watch {
		if w.CarriedFrom == 7 && w.Turn == 8 && w.Measure == "segment" {
			carried++
		}
	}
	if carried != 1 {
		t.Errorf("the turn after the judged one is marked as carrying its effect %d times, want once", carried)
	}
	ts := must[[]Trial](t)(b.Trials(bg, TrialQuery{}))
	if len(ts) != 1 {
		t.Fatalf("%d trials, want 1", len(ts))
	}
	x := ts[0]
	if x.Step != s.ID || x.More != -1 || x.TempC != 31 || x.Shape == "" || x.Circuit == "" || x.Verdict == nil || x.Verdict.Primary.Answer != v.Primary.Answer ||
		math.Abs(x.Verdict.Primary.SE-v.Primary.SE) > 1e-12 || x.Verdict.Primary.NRef != v.Primary.NRef {
		t.Errorf("%+v", x)
	}
	for name, c := range map[string]struct {
		q TrialQuery
		n int
	}{
		"bike":          {TrialQuery{Bike: "heron"}, 1},
		"other bike":    {TrialQuery{Bike: "kestrel"}, 0},
		"circuit":       {TrialQuery{Circuit: x.Circuit}, 1},
		"shape":         {TrialQuery{Shape: x.Shape}, 1},
		"other shape":   {TrialQuery{Shape: "spiral"}, 0},
		"tyre":          {TrialQuery{Tyre: "set 1"}, 1},
		"other tyre":    {TrialQuery{Tyre: "set 9"}, 0},
		"temperature":   {TrialQuery{TempLo: 25, TempHi: 35}, 1},
		"too cold":      {TrialQuery{TempLo: 5, TempHi: 15}, 0},
		"setting":       {TrialQuery{Setting: "wheel-lift"}, 1},
		"other setting": {TrialQuery{Setting: "slip-target"}, 0},
		"turn":          {TrialQuery{Turn: 7, Measure: "segment"}, 1},
		"answer":        {TrialQuery{Answer: string(v.Primary.Answer)}, 1},
	} {
		if got := must[[]Trial](t)(b.Trials(bg, c.q)); len(got) != c.n {
			t.Errorf("%s: %d trials, want %d", name, len(got), c.n)
		}
	}
	if r, err := b.RehearsalRecord(bg, "wheel-lift"); err != nil || r.Text == "" || r.N != len(x.Rehearsed) {
		t.Errorf("record %+v, %v", r, err)
	}
	if e := must[inference.Estimate](t)(b.FalseAlarms()); e.N != 0 {
		t.Errorf("%d nil checks before any", e.N)
	}
	must[*verdict.Verdict](t)(b.Verdict(bg, VerdictRequest{Runs: []int{res.Runs[0].Number}, Turn: 7, Nil: true}))
	if e := must[inference.Estimate](t)(b.FalseAlarms()); e.N != 1 {
		t.Errorf("%d nil checks, want 1", e.N)
	}
	if es := CombineTrials(must[[]Trial](t)(b.Trials(bg, TrialQuery{}))); len(es) > 1 || len(es) == 1 && len(es[0].Meetings) != 1 {
		t.Errorf("the nil check was combined: %+v", es)
	}
}

func TestTurnShapes(t *testing.T) {
	for _, c := range []struct {
		t    circuit.Turn
		want string
	}{
		{circuit.Turn{Direction: circuit.Left, MinRadius: 15, Apexes: []float64{10}}, "hairpin left"},
		{circuit.Turn{Direction: circuit.Right, MinRadius: 40, Apexes: []float64{10, 30}}, "slow right, double apex"},
		{circuit.Turn{Direction: circuit.Right, MinRadius: 80}, "medium right"},
		{circuit.Turn{Direction: circuit.Left, MinRadius: 150}, "fast left"},
		{circuit.Turn{Direction: circuit.Left, MinRadius: 300, Kink: true}, "kink left"},
	} {
		if got := TurnShape(c.t); got != c.want {
			t.Errorf("got %q, want %q", got, c.want)
		}
	}
}

func TestTemperatureFromWords(t *testing.T) {
	for words, want := range map[string]float64{"dry, 24 C": 24, "track 31.5 °C, air 22 °C": 31.5, "-2,5C frost": -2.5, "dry": math.NaN(), "run 3 cold": math.NaN()} {
		if got := temperature(words); got != want && !(math.IsNaN(got) && math.IsNaN(want)) {
			t.Errorf("%q: %v, want %v", words, got, want)
		}
	}
}

// Three meetings of one step are combined; a refused one and the same step
// judged twice at one meeting are not counted again.
func TestCombineTrials(t *testing.T) {
	trial := func(step int, meeting string, effect float64, n int) Trial {
		v := &verdict.Verdict{}
		v.Primary = verdict.Effect{Turn: 3, Measure: "segment", Unit: "s", Better: verdict.Lower, NRef: n, NTrial: n}
		v.Primary.Value, v.Primary.SE, v.Primary.DF, v.Primary.N = effect, 0.03, float64(2*n-3), 2*n
		return Trial{Step: step, Setting: "slip-target", More: 1, Meeting: meeting, Day: meeting, Circuit: "Saltmere", Turn: 3, Verdict: v}
	}
	ts := []Trial{trial(1, "a", -0.10, 6), trial(1, "a", -0.30, 4), trial(2, "b", -0.08, 6), trial(3, "c", -0.12, 8), trial(4, "d", 2, 6)}
	ts[4].Verdict.Refusal = &verdict.Refusal{Kind: "confounded"}
	ts = append(ts, trial(5, "e", 0.1, 6))
	ts[5].More = -1
	es := CombineTrials(ts)
	if len(es) != 2 || len(es[0].Meetings) != 3 || len(es[1].Meetings) != 1 {
		t.Fatalf("%+v", es)
	}
	if e := es[0].Effect; e.Value > -0.08 || e.Value < -0.12 || !(e.Hi < 0) {
		t.Errorf("together %+v", e)
	}
	if _, _, ok, err := newTestBook(t).RunScatter("Heron 998", "", 7, "segment"); ok || err != nil {
		t.Errorf("run scatter of an empty book: %v %v", ok, err)
	}
}

// Runs of different bikes are not compared, and the message says what to do.
func TestVerdictOfTwoBikes(t *testing.T) {
	b := newTestBook(t, 0)
	other := bytes.Replace(fixtures().bike, []byte(`"Heron 998"`), []byte(`"Plover 600"`), 1)
	if _, err := b.AddBike("plover.toml", other); err != nil {
		t.Fatal(err)
	}
	if _, err := b.Add(bg, AddRequest{Name: "two.csv", Data: fixtures().runs[1], Bike: "Plover 600"}); err != nil {
		t.Fatal(err)
	}
	_, err := b.Verdict(bg, VerdictRequest{Runs: []int{1, 2}, Turn: 7})
	if err == nil || Exit(err) != 1 || !strings.Contains(err.Error(), "run 1 was ridden on Heron 998, run 2 on Plover 600") {
		t.Errorf("two bikes: %v", err)
	}
}
