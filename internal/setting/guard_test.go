package setting

import (
	"strings"
	"testing"
)

func stepOf(set string, cells ...Cell) Step { return Step{Slot: "B", Setting: set, Cells: cells} }

func expect(t *testing.T, name string, g GuardResult, pass bool, word string) {
	t.Helper()
	if g.Pass != pass || !strings.Contains(g.Reason.String(), word) {
		t.Errorf("%s: pass %v (%s), want pass %v with %q", name, g.Pass, g.Reason, pass, word)
	}
	if !g.Pass && g.Mend == "" {
		t.Errorf("%s: trips without a mend", name)
	}
}

// Each guard is tripped, and just not tripped.
func TestShapeGuards(t *testing.T) {
	g, e := grid(), engineBrake()
	expect(t, "range", CheckRange(e, stepOf("engine-brake", Cell{0, 0, 95, 100.5})), false, "outside")
	expect(t, "range at its end", CheckRange(e, stepOf("engine-brake", Cell{0, 0, 95, 100})), true, "")
	expect(t, "largest step", CheckLargestStep(e, stepOf("engine-brake", Cell{0, 0, 50, 60.5})), false, "10.5")
	expect(t, "largest step exactly", CheckLargestStep(e, stepOf("engine-brake", Cell{0, 0, 50, 60})), true, "10")
	expect(t, "no largest step", CheckLargestStep(&Setting{ID: "x"}, stepOf("x", Cell{0, 0, 1, 2})), false, "no largest step")

	ref := stepOf("engine-brake", Cell{0, 0, 50, 60})
	expect(t, "trial slot", CheckReference("A", ref), true, "A")
	ref.Slot = "A"
	r := CheckReference("A", ref)
	expect(t, "reference slot", r, false, "reference")
	if out, open := Overruled([]GuardResult{r}, []Overrule{{GuardReference, "Ada", "because"}}); open != 1 || out[0].Pass {
		t.Error("the reference slot was overruled")
	}

	v := gridValues()
	// A single cell up by 1 stands out of neighbours that lie 0.5 lower and 0.5 higher by 0.5 at most: no spike.
	expect(t, "one cell by one", CheckSmooth(g, v, stepOf("slip-target", Cell{2, 2, 7.5, 8.5})), true, "")
	expect(t, "a spike", CheckSmooth(g, v, stepOf("slip-target", Cell{2, 2, 7.5, 10.6})), false, "")
	expect(t, "a jump of rows", CheckSmooth(g, v, stepOf("slip-target", Cell{0, 0, 12, 13}, Cell{0, 1, 11.5, 12.6}, Cell{0, 2, 11, 12})), false, "jump")
	flat := Values{{8, 8, 8}, {8, 8, 8}, {8, 8, 8}}
	f := &Setting{ID: "slip-target", Unit: "%", Kind: Grid, LargestStep: 1, Rows: Axis{"rpm", "rpm", []float64{1, 2, 3}}, Columns: Axis{"speed", "km/h", []float64{1, 2, 3}}}
	expect(t, "flat, a spike of 1.6", CheckSmooth(f, flat, stepOf("slip-target", Cell{1, 1, 8, 9.6})), false, "")
	expect(t, "flat, a spike of 1.5", CheckSmooth(f, flat, stepOf("slip-target", Cell{1, 1, 8, 9.5})), true, "")

	expect(t, "looser at greater lean", CheckMonotone(g, v, stepOf("slip-target", Cell{4, 0, 5.5, 7.5})), false, "greater lean")
	expect(t, "as loose as the row above", CheckMonotone(g, v, stepOf("slip-target", Cell{4, 0, 5.5, 7})), true, "")
	expect(t, "tighter upright", CheckMonotone(g, v, stepOf("slip-target", Cell{1, 0, 10.5, 8})), false, "greater lean")

	first := sheetOf()
	expect(t, "day drift", CheckDayDrift(e, first, stepOf("engine-brake", Cell{0, 0, 75, 81})), false, "31")
	expect(t, "day drift exactly", CheckDayDrift(e, first, stepOf("engine-brake", Cell{0, 0, 75, 80})), true, "30")
	expect(t, "on the way back", CheckDayDrift(e, first, stepOf("engine-brake", Cell{0, 0, 95, 85})), true, "")
}

func TestOverruled(t *testing.T) {
	r := []GuardResult{trip(GuardRange, "m", "too far"), pass(GuardTyre, "warm")}
	if _, open := Overruled(r, nil); open != 1 {
		t.Errorf("open = %d, want 1", open)
	}
	if _, open := Overruled(r, []Overrule{{GuardRange, "", "no name"}}); open != 1 {
		t.Error("overruled without a name")
	}
	if _, open := Overruled(r, []Overrule{{GuardRange, "Ada", ""}}); open != 1 {
		t.Error("overruled without a reason")
	}
	out, open := Overruled(r, []Overrule{{GuardRange, "Ada", "one lap only"}})
	if open != 0 || !strings.Contains(out[0].Reason.String(), "Ada") || !strings.Contains(out[0].Reason.String(), "one lap only") || !strings.Contains(out[0].Reason.String(), "too far") {
		t.Errorf("overruled: %+v", out)
	}
	if r[0].Pass {
		t.Error("the results handed in were changed")
	}
}

func TestLoosens(t *testing.T) {
	for _, c := range []struct {
		id    string
		delta float64
		want  bool
	}{{"slip-target", 1, true}, {"slip-target", -1, false}, {"engine-brake", 10, true}, {"rear-lift", -1, true}, {"wheel-lift", 1, true}, {"blip", 10, false}} {
		if got := (&Setting{ID: c.id}).Loosens(c.delta); got != c.want {
			t.Errorf("%s by %g loosens: %v, want %v", c.id, c.delta, got, c.want)
		}
	}
}
