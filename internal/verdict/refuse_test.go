package verdict

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"
)

// Every input that cannot carry better or worse is refused, with the reason and
// with what would do, and claims nothing, however large the difference.
func TestRefusals(t *testing.T) {
	r := func() *rand.Rand { return rand.New(rand.NewPCG(8, 8)) }
	two := []Run{{ID: 1, Order: 1, Circuit: "Saltmere", Bike: "Heron 998"}, {ID: 2, Order: 2, Circuit: "Saltmere", Bike: "Heron 998"}}
	with := func(change func(a, b *Run)) []Run {
		rs := append([]Run(nil), two...)
		change(&rs[0], &rs[1])
		return rs
	}
	runs := func() []Lap { return append(ride(1, "AAAAAA", r(), 0.02, 0), ride(2, "BBBBBB", r(), 0.02, -5)...) }
	noSlot := ride(1, "ABBAABBA", r(), 0.02, -5)
	for i := range noSlot {
		noSlot[i].Slot = ""
	}
	empty := ride(1, "ABBAABBA", r(), 0.02, -5)
	for i := range empty {
		empty[i].Value = math.NaN()
	}
	traffic := ride(1, "ABBAABBA", r(), 0.02, -5)
	for i := range traffic {
		if traffic[i].Slot == "B" {
			traffic[i].Mark = "traffic"
		}
	}
	for name, c := range map[string]struct {
		laps         []Lap
		runs         []Run
		ref, trial   string
		kind         string
		reason, does string
	}{
		"no laps at all":      {nil, nil, "A", "B", "input", "no lap has a value", "add a run with timed laps"},
		"no values":           {empty, nil, "A", "B", "input", "no lap has a value", "choose another measure"},
		"no trial laps":       {ride(1, "AAAAAAAA", r(), 0.02, 0), nil, "A", "B", "input", "no lap in trial slot B (slots ridden: A)", "at least 4 laps in slot B"},
		"all trial struck":    {traffic, nil, "A", "B", "input", "no lap in trial slot B", "at least 4 laps"},
		"no reference laps":   {ride(1, "BBBBBBBB", r(), 0.02, 0), nil, "A", "B", "input", "no lap in reference slot A", "at least 4 laps in slot A"},
		"missing slot":        {noSlot, nil, "A", "B", "input", "the slot is missing on every lap", "log the switch position"},
		"one lap a side":      {ride(1, "AB", r(), 0.02, -5), nil, "A", "B", "too-few-laps", "one lap has no scatter", "at least 4 laps a side"},
		"one trial lap":       {ride(1, "AAABAAA", r(), 0.02, -5), nil, "A", "B", "too-few-laps", "6 reference and 1 trial", "A B B A A B B A"},
		"three a side":        {ride(1, "ABBAAB", r(), 0.02, -5), nil, "A", "B", "too-few-laps", "fewer than 4 a side", "at least 4 clean laps"},
		"one switch":          {ride(1, "AAAAAABBBBBB", r(), 0.02, -5), nil, "A", "B", "design", "switched once only", "go back to the reference at least twice"},
		"every lap a switch":  {ride(1, "ABABABABABAB", r(), 0.02, -5), nil, "A", "B", "design", "changed on every lap", "ride pairs"},
		"one name twice":      {ride(1, "ABBAABBA", r(), 0.02, -5), nil, "A", "A", "input", "not two different names", "two names"},
		"different circuits":  {runs(), with(func(a, b *Run) { b.Circuit = "Brackenfell" }), "A", "B", "input", "different circuits: Saltmere, Brackenfell", "compare runs of one circuit"},
		"different bikes":     {runs(), with(func(a, b *Run) { b.Bike = "Plover 600" }), "A", "B", "input", "different bikes: Heron 998, Plover 600", "compare runs of one bike"},
		"bad recording":       {runs(), with(func(a, b *Run) { b.Bad = "no position for 40 % of the run" }), "A", "B", "recording", "no position for 40 %", "leave this run out"},
		"tyres changed too":   {runs(), with(func(a, b *Run) { a.Tyre, b.Tyre = "set 1", "set 2" }), "A", "B", "confounded", "tyres changed together with the setting", "change one thing at a time"},
		"another setting too": {runs(), with(func(a, b *Run) { a.Settings, b.Settings = "x", "y" }), "A", "B", "confounded", "settings outside the step changed", "change one thing at a time"},
		"rain for one side":   {runs(), with(func(a, b *Run) { b.Wet = true }), "A", "B", "confounded", "track states changed together", "both slots in one run"},
	} {
		m := segment(c.laps)
		watch := m
		watch.Turn = 6
		q := Question{Primary: m, Watch: []Measure{watch}, Reference: c.ref, Trial: c.trial, Runs: c.runs}
		v := Decide(q)
		if v.Refusal == nil {
			t.Errorf("%s: not refused: %s", name, v.Engineer)
			continue
		}
		if v.Refusal.Kind != c.kind || !strings.Contains(v.Refusal.Reason.String(), c.reason) || !strings.Contains(v.Refusal.Remedy.String(), c.does) {
			t.Errorf("%s: refused as %q: %q; what would do: %q", name, v.Refusal.Kind, v.Refusal.Reason, v.Refusal.Remedy)
		}
		for _, e := range append([]Effect{v.Primary}, v.Watch...) {
			if e.Answer != NotEnoughLaps {
				t.Errorf("%s: answered %s all the same", name, e.Answer)
			}
		}
		if !strings.Contains(v.Rider.String(), "cannot tell") || !strings.Contains(v.Engineer.String(), v.Refusal.Remedy.String()) {
			t.Errorf("%s: words do not say so: %q %q", name, v.Rider, v.Engineer)
		}
		if j, err := json.Marshal(v); err != nil || !strings.Contains(string(j), `"refused"`) || strings.Contains(string(j), "NaN") {
			t.Errorf("%s: JSON %s, %v", name, j, err)
		}
	}
	// One run against one run is not refused, but never without its assumption.
	v := Decide(Question{Primary: segment(runs()), Reference: "A", Trial: "B", Runs: two})
	said := false
	for _, c := range v.Conditions {
		said = said || c.Kind == "between-runs" && strings.Contains(c.Text.String(), "assumed")
	}
	if v.Refusal != nil || !said || !(v.Primary.AssumedRunSD > 0) || !(v.Primary.TippingRunSD > 0) {
		t.Errorf("run against run: refusal %+v, conditions %+v", v.Refusal, v.Conditions)
	}
}

// Slow laps are struck and shown, with the answer with and without them; a mark
// of the rider is a reason of its own, and a fast lap is never struck.
func TestStruckLapsAreShown(t *testing.T) {
	laps := ride(1, "ABBAABBAABBAABBA", rand.New(rand.NewPCG(4, 4)), 0.03, -0.15)
	laps[5].Value += 2       // traffic nobody marked
	laps[9].Mark = "mistake" // marked, on pace
	laps[12].Value -= 0.4    // a tow
	v := Decide(Question{Primary: segment(laps), Reference: "A", Trial: "B"})
	e := v.Primary
	reasons := map[int]string{}
	for _, s := range e.Struck {
		reasons[s.Lap] = s.Reason.String()
		if s.Value != laps[s.Lap-2].Value {
			t.Errorf("lap %d is shown with %v", s.Lap, s.Value)
		}
	}
	if !reflect.DeepEqual(reasons, map[int]string{laps[5].Number: "slow lap", laps[9].Number: "mistake"}) {
		t.Fatalf("struck %v", reasons)
	}
	if e.NRef+e.NTrial != 14 || len(e.Dots) != 16 {
		t.Errorf("%d and %d kept, %d dots", e.NRef, e.NTrial, len(e.Dots))
	}
	dots := 0
	for _, d := range e.Dots {
		dots += b2i(d.Struck)
	}
	if dots != 2 {
		t.Errorf("%d dots struck through", dots)
	}
	if e.All == nil || e.All.NRef+e.All.NTrial != 16 || !(e.All.Hi-e.All.Lo > 2*(e.Hi-e.Lo)) {
		t.Errorf("with every lap: %+v against %v to %v", e.All, e.Lo, e.Hi)
	}
	if !strings.Contains(v.Engineer.String(), "Struck: lap 7") || !strings.Contains(v.Engineer.String(), "With every lap (8 and 8)") {
		t.Error(v.Engineer)
	}
}

// Identical input gives the identical verdict, to the last digit, in any order
// of the laps, and the question is left as it was.
func TestIdenticalInputIdenticalVerdict(t *testing.T) {
	r := rand.New(rand.NewPCG(77, 1))
	for _, order := range []string{"ABBAABBAABBA", "AABBAABB", "AAABBBAAA", "AAAABBBB"} {
		q := Question{Reference: "A", Trial: "B", Covariates: []Covariate{{Name: "fuel"}}, Runs: []Run{{ID: 1}}}
		q.Primary = segment(ride(1, order, r, 0.05, -0.1))
		for i := range q.Primary.Laps {
			q.Primary.Laps[i].Covariates = map[string]float64{"fuel": r.Float64()}
		}
		q.Primary.Laps[1].Value += 3
		for k := range 6 {
			w := segment(ride(1, order, r, 0.05, 0))
			w.Turn = 10 + k
			q.Watch = append(q.Watch, w)
		}
		before, err := json.Marshal(q)
		if err != nil {
			t.Fatal(err)
		}
		first, err := json.Marshal(Decide(q))
		if err != nil {
			t.Fatal(err)
		}
		for range 20 {
			if again, _ := json.Marshal(Decide(q)); string(again) != string(first) {
				t.Fatalf("%s: a second answer differs:\n%s\n%s", order, first, again)
			}
			mixed := q
			mixed.Primary.Laps = append([]Lap(nil), q.Primary.Laps...)
			r.Shuffle(len(mixed.Primary.Laps), func(i, j int) {
				l := mixed.Primary.Laps
				l[i], l[j] = l[j], l[i]
			})
			if again, _ := json.Marshal(Decide(mixed)); string(again) != string(first) {
				t.Fatalf("%s: the order of the laps changed the answer", order)
			}
		}
		if after, _ := json.Marshal(q); string(after) != string(before) {
			t.Errorf("%s: the question was changed", order)
		}
	}
	w := Wish{Turn: 5, Measure: "segment", Unit: "s", Effect: 0.08, History: ride(1, "AAAAAAAAAA", r, 0.05, 0), SlowShare: -1}
	a, err := MakePlan(w)
	if err != nil {
		t.Fatal(err)
	}
	if b, _ := MakePlan(w); !reflect.DeepEqual(a, b) {
		t.Error("a second plan differs")
	}
}

// A verdict reads back from its JSON as far as a season needs it.
func TestVerdictReadsBack(t *testing.T) {
	q := Question{Primary: segment(ride(1, "ABBAABBAABBA", rand.New(rand.NewPCG(2, 2)), 0.05, -0.1)), Reference: "A", Trial: "B", NilCheck: true}
	w := q.Primary
	w.Turn, w.Name, w.Unit, w.Better = 6, "exit-speed", "km/h", Higher
	q.Watch = []Measure{w}
	v := Decide(q)
	j, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	var back Verdict
	if err := json.Unmarshal(j, &back); err != nil {
		t.Fatal(err)
	}
	for i, c := range [][2]Effect{{v.Primary, back.Primary}, {v.Watch[0], back.Watch[0]}} {
		a, b := c[0], c[1]
		if a.Value != b.Value || a.SE != b.SE || a.DF != b.DF || a.Lo != b.Lo || a.NRef != b.NRef || a.Answer != b.Answer || a.Better != b.Better || a.Unit != b.Unit || a.Matters != b.Matters {
			t.Errorf("%d: %+v read back as %+v", i, a, b)
		}
	}
	if !back.NilCheck || back.Design != v.Design || back.Rider.String() != v.Rider.String() {
		t.Errorf("%+v", back)
	}
}
