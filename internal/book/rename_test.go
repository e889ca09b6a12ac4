package book

import (
	"bytes"
	"strings"
	"testing"

	"cornerwright/internal/demo"
)

// TestRenameCircuit gives a learnt circuit a name of its own: line, edits, runs,
// results, search, later runs of the same day and a merge must all know it, and a
// circuit that is learnt later under the old name is another one.
func TestRenameCircuit(t *testing.T) {
	b := newTestBook(t, 0)
	was := must[[]CircuitRecord](t)(b.Circuits())[0]
	other := newTestBook(t, 0) // keeps the old name
	c, err := b.Circuit(was.Name)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := b.AddCircuit("edits.toml", c.TOML()); err != nil {
		t.Fatal(err)
	}
	before := must[*Summary](t)(b.Summary(bg, 1))
	run := must[Run](t)(b.Run("1"))
	got := must[CircuitRecord](t)(b.RenameCircuit(strings.ToLower(was.Name), "  Old Mill Ring "))
	if got.Name != "Old Mill Ring" || got.Version != was.Version+1 || got.Turns != was.Turns {
		t.Fatalf("renamed %+v to %+v", was, got)
	}
	if c, err = b.Circuit("old mill"); err != nil || c.Name != "Old Mill Ring" {
		t.Fatalf("line %+v: %v", c, err)
	}
	e, err := b.CircuitEdits("Old Mill Ring")
	if err != nil || e == nil || e.Name != "Old Mill Ring" {
		t.Fatalf("edits %+v: %v", e, err)
	}
	// Edited once more, it keeps its name and stays one circuit.
	if r, err := b.AddCircuit("again.toml", e.TOML()); err != nil || r.Name != "Old Mill Ring" || r.Version != got.Version+1 {
		t.Errorf("edited to %+v: %v", r, err)
	}
	if n := len(must[[]CircuitRecord](t)(b.Circuits())); n != 1 {
		t.Errorf("%d circuits, one was renamed", n)
	}
	after := must[*Summary](t)(b.Summary(bg, 1))
	if after.Circuit != "Old Mill Ring" || len(after.Laps) != len(before.Laps) {
		t.Errorf("the run's result is of %q with %d laps", after.Circuit, len(after.Laps))
	}
	if r := must[Run](t)(b.Run("1")); r.Circuit != "Old Mill Ring" || r.Meeting != run.Meeting {
		t.Errorf("run at %q, meeting %q; was %q", r.Circuit, r.Meeting, run.Meeting)
	}
	for _, words := range []string{"mill", was.Name} {
		if runs := must[[]Run](t)(b.Runs(RunFilter{Words: words})); len(runs) != 1 {
			t.Errorf("%d runs found by %q", len(runs), words)
		}
	}
	// The next run of the day is recognised and joins the meeting.
	if r := must[AddResult](t)(b.Add(bg, AddRequest{Name: "second.csv", Data: fixtures().runs[1]})); r.Learnt || r.Runs[0].Circuit != "Old Mill Ring" || r.Runs[0].Meeting != run.Meeting {
		t.Errorf("second run at %q, meeting %q, learnt %v", r.Runs[0].Circuit, r.Runs[0].Meeting, r.Learnt)
	}
	// Another circuit under the name that has become free has its own meeting.
	o := demo.DefaultOptions(1, 5)
	o.Laps, o.RateHz = 2, 50
	var text bytes.Buffer
	if err := demo.Ride(o).WriteText(&text, demo.Plain); err != nil {
		t.Fatal(err)
	}
	r := must[AddResult](t)(b.Add(bg, AddRequest{Name: "third.csv", Data: text.Bytes()}))
	if !r.Learnt || r.Runs[0].Meeting == run.Meeting {
		t.Errorf("third run at %q, meeting %q, learnt %v", r.Runs[0].Circuit, r.Runs[0].Meeting, r.Learnt)
	}
	if _, err := b.RenameCircuit("Old Mill Ring", strings.ToUpper(r.Runs[0].Circuit)); err == nil {
		t.Error("two circuits of one name")
	}
	for _, bad := range []string{"", " ", "two\nlines", strings.Repeat("x", 81)} {
		if _, err := b.RenameCircuit("Old Mill Ring", bad); err == nil {
			t.Errorf("named %q", bad)
		}
	}
	if v := must[VerifyReport](t)(b.Verify(bg, VerifyOptions{})); len(v.Faults) > 0 {
		t.Errorf("the book is no longer whole: %v", v.Faults)
	}
	// A book that still has the old name brings nothing twice.
	addRun(t, other, 2)
	rep := must[MergeReport](t)(b.Merge(bg, other.Dir()))
	if n := len(must[[]CircuitRecord](t)(b.Circuits())); n != 2 || rep.Runs != 1 {
		t.Errorf("after the merge %d circuits, %d runs brought: %+v", n, rep.Runs, rep)
	}
	if runs := must[[]Run](t)(b.Runs(RunFilter{Circuit: "Old Mill Ring"})); len(runs) != 3 || runs[0].Meeting != runs[2].Meeting {
		t.Errorf("runs after the merge: %+v", runs)
	}
}

// TestVerifyAfterSearch adds words after a search: the check must see them as they
// are, and so must the next search.
func TestVerifyAfterSearch(t *testing.T) {
	b := newTestBook(t, 0)
	found := func(words string) int { return len(must[[]Run](t)(b.Runs(RunFilter{Words: words}))) }
	if found("chatter") != 0 {
		t.Fatal("found before it was said")
	}
	must[Remark](t)(b.AddRemark(aRemark(1, "chatter in four"), "", ""))
	if found("chatter") != 1 {
		t.Error("not found after it was said")
	}
	if v := must[VerifyReport](t)(b.Verify(bg, VerifyOptions{})); len(v.Faults) > 0 {
		t.Errorf("a whole book is called damaged: %v", v.Faults)
	}
}
