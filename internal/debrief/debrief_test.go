package debrief

import (
	"math"
	"reflect"
	"strings"
	"testing"

	"cornerwright/internal/circuit"
	"cornerwright/internal/demo"
	"cornerwright/internal/proving"
	"cornerwright/internal/ride"
	"cornerwright/internal/setting"
)

func blipped(t testing.TB) told {
	o := demo.DefaultOptions(0, 7)
	o.Laps = 6
	o.Causes = []demo.Cause{{Kind: demo.OverBlip, Turn: 6}, {Kind: demo.StrongControl, Turn: 10}}
	return tell(t, o)
}

// What a finding must carry whatever it says.
func whole(t *testing.T, f Finding) {
	t.Helper()
	if f.ID == "" || f.Text == "" || f.Laps.String() == "" || f.Change == "" || len(f.Proposals) == 0 {
		t.Errorf("finding lacks a part: %+v", f)
	}
	for _, m := range f.Measures {
		if m.Name == "" || m.Label == "" || m.N < 1 || math.IsNaN(m.Value) || !(m.Lo <= m.Hi) {
			t.Errorf("%s: measure %+v", f.ID, m)
		}
	}
	for _, p := range f.Proposals {
		if p.Title == "" || p.Why == "" {
			t.Errorf("%s: proposal %+v", f.ID, p)
		}
		if p.Kind == ChangeSetting && (len(p.Cautions) == 0 || len(p.Step.Cells) == 0 || p.Step.Slot == "" || p.Step.Primary.Turn == 0 || p.Watch == "" || p.Expect == "") {
			t.Errorf("%s: a setting without its cautions, cells, slot or primary measure: %+v", f.ID, p)
		}
	}
	if strings.Contains(f.Text.String(), "NaN") || strings.Contains(f.Text.String(), "Inf") {
		t.Errorf("%s: %s", f.ID, f.Text)
	}
}

func TestDebrief(t *testing.T) {
	x := blipped(t)
	six, ten := x.turn[6], x.turn[10]
	remarks := []Remark{
		{ID: 1, Turns: []int{six}, Phase: circuit.PhaseEntry, Says: "pushes-on", Strength: 2},
		{ID: 2, Turns: []int{six, ten}, Phase: circuit.PhasePickup, Says: "held-back", Lean: "full", Strength: 3},
		{ID: 3, Turns: []int{six}, Says: "front-washes"},
		{ID: 4, Says: "spins"},
		{ID: 5, Turns: []int{99}, Says: "spins"},
		{ID: 6, Turns: []int{six}, Says: "fine"},
	}
	res := Debrief(x.ride, x.bike, remarks, x.sheet, "A", Options{Run: 4})
	byID := map[string]Finding{}
	for _, f := range append(append([]Finding(nil), res.Findings...), res.Unasked...) {
		whole(t, f)
		if _, twice := byID[f.ID]; twice {
			t.Errorf("%s stands twice", f.ID)
		}
		byID[f.ID] = f
	}
	f := byID["r1"]
	if f.Stance != Agrees || f.Cause != "over-blip" || f.Laps.String() != "6 of 6" || len(f.Evidence) != 3 {
		t.Errorf("over-blip: %+v", f)
	}
	if p := f.Proposals[0]; p.Step.Setting != "blip" || p.Step.Slot != "B" || p.Step.Cells[0].New >= p.Step.Cells[0].Old {
		t.Errorf("first proposal: %+v", p)
	}
	if _, err := setting.Apply(x.sheet, f.Proposals[0].Step); err != nil {
		t.Errorf("the proposal does not fit the sheet: %v", err)
	}
	if a, b := byID["r2-t6"], byID["r2-t10"]; six == 6 && ten == 10 && (a.Remark != 2 || b.Remark != 2 || b.Stance == Contradicts || a.Stance == Agrees) {
		t.Errorf("two turns of a remark: %s (%s), %s (%s)", a.Stance, a.Text, b.Stance, b.Text)
	}
	if f := byID["r3"]; f.Stance != CannotTell || f.Proposals[0].Kind == ChangeSetting {
		t.Errorf("nothing shows a sliding front, yet: %+v", f)
	}
	if f := byID["r5"]; f.Stance != CannotTell || !strings.Contains(f.Text.String(), "no turn 99") {
		t.Errorf("a turn that is not there: %+v", f)
	}
	if f := byID["r6"]; f.Stance != Agrees || f.Proposals[0].Kind != Nothing {
		t.Errorf("a rider who is content: %+v", f)
	}
	if res.Next == "" || res.Why == "" {
		t.Error("nothing is named to take first")
	}
	// The same again is the same.
	if again := Debrief(x.ride, x.bike, remarks, x.sheet, "A", Options{Run: 4}); !reflect.DeepEqual(again, res) {
		t.Error("the same input gave another result")
	}
}

// Nobody mentioned it: the over-blipped turn is named.
func TestUnaskedOverBlip(t *testing.T) {
	x := blipped(t)
	res := Debrief(x.ride, x.bike, nil, x.sheet, "", Options{})
	if len(res.Unasked) > 5 {
		t.Errorf("%d unasked findings; a long list is not read", len(res.Unasked))
	}
	found := false
	for _, f := range res.Unasked {
		found = found || f.Cause == "over-blip" && f.Turn == x.turn[6]
	}
	if !found {
		t.Errorf("the over-blipped turn is not among %+v", res.Unasked)
	}
	if res := Debrief(x.ride, x.bike, nil, x.sheet, "", Options{Unasked: -1}); len(res.Unasked) != 0 {
		t.Error("none were wanted")
	}
}

// Without the channel that shows a thing the answer is that it cannot be told.
func TestCannotTell(t *testing.T) {
	x := blipped(t)
	r := *x.ride
	r.Signals.Cut = nil
	r.Signals.RearSlip = nil
	for _, c := range []struct {
		says Complaint
		word string
	}{{"held-back", "cut"}, {"spins", "rear slip"}} {
		f := Debrief(&r, x.bike, []Remark{{ID: 1, Turns: []int{x.turn[6]}, Phase: circuit.PhaseDrive, Says: c.says}}, x.sheet, "B", Options{Unasked: -1}).Findings[0]
		if f.Stance == Agrees || f.Stance == Partly {
			t.Errorf("%s without its channel: %s %s", c.says, f.Stance, f.Text)
		}
		if f.Stance == CannotTell && !strings.Contains(f.Text.String(), c.word) {
			t.Errorf("%s: %s", c.says, f.Text)
		}
	}
	// Nothing at all.
	empty := Debrief(&ride.Ride{}, x.bike, []Remark{{ID: 1, Turns: []int{1}, Says: "spins"}, {ID: 2, Says: "lazy"}}, x.sheet, "B", Options{})
	for _, f := range empty.Findings {
		if f.Stance != CannotTell {
			t.Errorf("an empty ride: %+v", f)
		}
	}
}

// Where the data contradict, no step stands without the engineer's say.
func TestContradictedRemarkGetsNoStep(t *testing.T) {
	x := blipped(t)
	m := []Remark{{ID: 1, Turns: []int{x.turn[6]}, Says: "hops", Strength: 3}}
	f := Debrief(x.ride, x.bike, m, x.sheet, "B", Options{Unasked: -1}).Findings[0]
	if f.Stance != Contradicts {
		t.Fatalf("stance %s: %s", f.Stance, f.Text)
	}
	for _, p := range f.Proposals {
		if p.Kind == ChangeSetting {
			t.Errorf("a step against the data: %s", p.Title)
		}
	}
	f = Debrief(x.ride, x.bike, m, x.sheet, "B", Options{Unasked: -1, Overrule: "Ada"}).Findings[0]
	said := false
	for _, p := range f.Proposals {
		said = said || p.Kind == ChangeSetting && p.NeedsSay && strings.Contains(p.Why.String(), "Ada")
	}
	if !said {
		t.Errorf("the engineer's say is not used: %+v", f.Proposals)
	}
}

func TestWrongCircumference(t *testing.T) {
	for _, seed := range proving.Seeds() {
		o := demo.DefaultOptions(0, seed)
		o.CircumferenceError = 0.025
		x := tell(t, o)
		if !x.ride.Tyres.Rear.Identified {
			t.Errorf("seed %d: the rear tyre is not identified: %s", seed, x.ride.Tyres.Rear.Why)
			continue
		}
		found := false
		for _, f := range Debrief(x.ride, x.bike, nil, x.sheet, "", Options{}).Unasked {
			whole2 := f.Cause == "circumference" && strings.Contains(f.Text.String(), "rear") && f.Proposals[0].Kind == Inspect
			found = found || whole2
		}
		if !found {
			t.Errorf("seed %d: a circumference 2.5 %% off is not named (identified %.4f m, file %.4f m)", seed, x.ride.Tyres.Rear.Circumference, x.bike.Rear.Circumference)
		}
	}
}

// tenRemarks is a talkative rider.
func tenRemarks() []Remark {
	var out []Remark
	for i, c := range []Complaint{"held-back", "spins", "pushes-on", "wants-engine-braking", "wheelies", "hops", "lazy", "late-pick-up", "runs-wide", "surges"} {
		out = append(out, Remark{ID: i + 1, Turns: []int{i%8 + 1}, Says: c, Strength: 2})
	}
	return out
}

// Ten remarks on a run of some twenty minutes: 300 ms are allowed.
func BenchmarkDebrief(b *testing.B) {
	o := demo.DefaultOptions(0, 7)
	o.Laps = 12
	x := tell(b, o)
	b.ReportAllocs()
	b.ResetTimer()
	for b.Loop() {
		Debrief(x.ride, x.bike, tenRemarks(), x.sheet, "B", Options{})
	}
}
