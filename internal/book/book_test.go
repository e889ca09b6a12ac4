package book

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"cornerwright/internal/debrief"
	"cornerwright/internal/setting"
	"cornerwright/internal/verdict"
)

func TestAFileBecomesARunOnce(t *testing.T) {
	b := newTestBook(t, 0)
	rs := must[[]Run](t)(b.Runs(RunFilter{}))
	if len(rs) != 1 || rs[0].Laps != 2 || rs[0].Circuit != "Circuit 1" || rs[0].Tyre != "set 1" {
		t.Fatalf("runs %+v", rs)
	}
	again, err := b.Add(bg, AddRequest{Name: "copy of one.csv", Data: fixtures().runs[0]})
	if err != nil || !again.Duplicate || len(again.Runs) != 1 || again.Runs[0].Number != 1 {
		t.Fatalf("the same content again: %+v, %v", again, err)
	}
	second := addRun(t, b, 1)
	if second.Learnt || second.Runs[0].Circuit != "Circuit 1" {
		t.Errorf("the second run there: learnt %v, circuit %q", second.Learnt, second.Runs[0].Circuit)
	}
	for _, ref := range []string{"1", rs[0].ID, rs[0].ID[:4]} {
		if r, err := b.Run(ref); err != nil || r.Number != 1 {
			t.Errorf("Run(%q) = %d, %v", ref, r.Number, err)
		}
	}
	if r, err := b.Run("last"); err != nil || r.Number != 2 {
		t.Errorf("Run(last) = %d, %v", r.Number, err)
	}
	var got bytes.Buffer
	o := must[interface {
		Read([]byte) (int, error)
		Close() error
	}](t)(b.Original(rs[0].Original))
	got.ReadFrom(o)
	o.Close()
	if !bytes.Equal(got.Bytes(), fixtures().runs[0]) {
		t.Error("the original does not come back byte for byte")
	}
}

// Whatever is computed anew from the stored line is what was stored.
func TestStoredResultsAreWhatIsComputedAnew(t *testing.T) {
	b := newTestBook(t, 0, 1)
	rep, err := b.Verify(bg, VerifyOptions{Recompute: 2})
	if err != nil || len(rep.Faults) > 0 || len(rep.Notes) > 0 || rep.Originals != 2 || rep.Columns != 2 || rep.Recomputed != 2 {
		t.Fatalf("verify: %+v, %v", rep, err)
	}
	if _, err := b.w.Exec(`UPDATE result SET method = method - 1`); err != nil {
		t.Fatal(err)
	}
	if s := must[[]int](t)(b.Stale()); len(s) != 2 {
		t.Fatalf("stale after a change of method: %v", s)
	}
	if failed, err := b.Recompute(bg, nil); err != nil || len(failed) > 0 {
		t.Fatal(failed, err)
	}
	if s := must[[]int](t)(b.Stale()); len(s) != 0 {
		t.Errorf("stale after computing anew: %v", s)
	}
}

func TestFilesThatCannotBeUsed(t *testing.T) {
	b := newTestBook(t, 0)
	before := must[int64](t)(b.LastEvent())
	head := "Time [s],Latitude [deg],Longitude [deg],GPS speed [km/h]\n"
	bad := []struct {
		name, data, text string
	}{
		{"empty.csv", "", "empty"},
		{"blank.csv", " \n\n", "blank"},
		{"binary.csv", "\x00\x01\x02\xff\xfe\x00\x00" + strings.Repeat("\x00\x07", 400), ""},
		{"head.csv", head, ""},
		{"unknown.csv", "a,b,c\n" + strings.Repeat("1,2,3\n2,3,4\n", 40), ""},
		{"nospeed.csv", "Time [s],Latitude [deg],Longitude [deg]\n" + strings.Repeat("1,48.2,11.4\n", 1) + "2,48.2001,11.4\n3,48.2002,11.4\n", ""},
	}
	for _, c := range bad {
		res, err := b.Add(bg, AddRequest{Name: c.name, Data: []byte(c.data)})
		var e *Error
		if !errors.As(err, &e) || !errors.Is(err, ErrInvalid) {
			t.Errorf("%s: %v, want an error of the input", c.name, err)
			continue
		}
		if !strings.Contains(e.File, c.name) || e.Text.String() == "" || e.Mend == "" || !strings.Contains(e.Text.String(), c.text) {
			t.Errorf("%s: error does not say file, what and mend: %v", c.name, err)
		}
		if Exit(err) != 1 {
			t.Errorf("%s: exit code %d", c.name, Exit(err))
		}
		if _, err := os.Stat(b.originalPath(res.Original)); err != nil {
			t.Errorf("%s: the original was not kept: %v", c.name, err)
		}
	}
	if rs := must[[]Run](t)(b.Runs(RunFilter{})); len(rs) != 1 {
		t.Errorf("%d runs after bad files, want 1", len(rs))
	}
	if after := must[int64](t)(b.LastEvent()); after != before {
		t.Errorf("events moved from %d to %d", before, after)
	}
	if left := must[[]os.DirEntry](t)(os.ReadDir(filepath.Join(b.dir, "tmp"))); len(left) > 0 {
		t.Errorf("left in tmp: %v", left)
	}
}

func TestRemarksAreKeptOnceAndNeverLost(t *testing.T) {
	b := newTestBook(t, 0)
	one := must[Remark](t)(b.AddRemark(aRemark(1, "it shoves me on"), "rider", "phone-1"))
	two := must[Remark](t)(b.AddRemark(aRemark(1, "sent twice"), "rider", "phone-1"))
	if one.ID != two.ID || two.Words != "it shoves me on" {
		t.Errorf("the same key made another remark: %+v", two)
	}
	if err := b.StrikeRemark(one.ID, true, "rider"); err != nil {
		t.Fatal(err)
	}
	all := must[[]Remark](t)(b.Remarks(1))
	if len(all) != 1 || !all[0].Struck {
		t.Errorf("after striking: %+v", all)
	}
	for name, m := range map[string]debrief.Remark{
		"no such turn":   {Run: 1, Turns: []int{99}, Says: "spins"},
		"no such phase":  {Run: 1, Turns: []int{1}, Phase: "middle", Says: "spins"},
		"strength":       {Run: 1, Turns: []int{1}, Says: "spins", Strength: 7},
		"nothing said":   {Run: 1, Turns: []int{1}},
		"turn twice":     {Run: 1, Turns: []int{1, 1}, Says: "spins"},
		"endless":        {Run: 1, Says: "spins", Words: strings.Repeat("x", 5000)},
		"run of nowhere": {Run: 9, Says: "spins"},
	} {
		if _, err := b.AddRemark(m, "", ""); err == nil || !errors.Is(err, ErrInvalid) && !errors.Is(err, ErrNotFound) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestStepLife(t *testing.T) {
	b := newTestBook(t, 0)
	s, err := recordStep(t, b, 1)
	if err != nil {
		t.Fatal(err)
	}
	if s.State != Proposed || s.From != 1 || s.To != 2 {
		t.Fatalf("%+v", s)
	}
	if _, err := b.SetStepState(s.ID, Loaded, Kept, "x", "", 0); !errors.Is(err, ErrConflict) {
		t.Errorf("a state nobody saw: %v", err)
	}
	must[Step](t)(b.SetStepState(s.ID, Proposed, Loaded, "technician", "", 0))
	res := addRun(t, b, 1)
	if r := res.Runs[0]; r.Step != s.ID || r.Sheet != s.To {
		t.Errorf("a run after loading is under step %d, sheet %d", r.Step, r.Sheet)
	}
	other, err := recordStep(t, b, 1)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := b.SetStepState(other.ID, Proposed, Loaded, "technician", "", 0); !errors.Is(err, ErrConflict) {
		t.Errorf("two trials at once: %v", err)
	}
	must[Step](t)(b.SetStepState(s.ID, Loaded, Kept, "engineer", "better", 2))
	now := must[Sheet](t)(b.CurrentSheet(s.Bike))
	a, trial := now.Values("A", "wheel-lift"), now.Values("B", "wheel-lift")
	if a[0][0] != trial[0][0] {
		t.Errorf("kept, and the reference is %v, the trial %v", a, trial)
	}
	must[Step](t)(b.SetStepState(s.ID, Kept, Reverted, "engineer", "on second thoughts", 0))
	if n := must[Sheet](t)(b.CurrentSheet(s.Bike)); n.Number != 1 {
		t.Errorf("reverted, and sheet %d is in the bike", n.Number)
	}
	if _, err := b.Step(99); !errors.Is(err, ErrNotFound) {
		t.Error(err)
	}
}

func TestAGuardStops(t *testing.T) {
	b := newTestBook(t, 0)
	s := aStep(t, b, 1)
	s.Slot = "A"
	got, err := b.NewStep(bg, s, stepOptions)
	if !errors.Is(err, ErrConflict) || len(got.Guards) == 0 {
		t.Fatalf("a step for the reference slot: %v", err)
	}
	s.Overrules = []setting.Overrule{{Guard: "reference-slot", Who: "me", Reason: "because"}}
	if _, err := b.NewStep(bg, s, stepOptions); !errors.Is(err, ErrConflict) {
		t.Errorf("the reference slot overruled: %v", err)
	}
	if n := must[[]Step](t)(b.Steps("")); len(n) != 0 {
		t.Errorf("%d steps recorded", len(n))
	}
}

func TestBikeVersionsAndSheets(t *testing.T) {
	b := newTestBook(t)
	k := must[BikeRecord](t)(b.AddBike("heron.toml", fixtures().bike))
	if k.Version != 1 || k.Sheet != 1 {
		t.Errorf("the same file again: version %d, sheet %d", k.Version, k.Sheet)
	}
	changed := bytes.Replace(fixtures().bike, []byte("total_kg = "), []byte("total_kg = 1"), 1)
	_, err := b.AddBike("heron.toml", changed)
	if err != nil && !errors.Is(err, ErrInvalid) {
		t.Fatal(err)
	}
	comment := append([]byte("# in the morning\n"), fixtures().bike...)
	k = must[BikeRecord](t)(b.AddBike("heron.toml", comment))
	if k.Version < 2 || k.Sheet != 1 {
		t.Errorf("a new comment: version %d, sheet %d", k.Version, k.Sheet)
	}
	_, err = b.AddBike("heron.toml", append([]byte("nme = \"x\"\n"), fixtures().bike...))
	var e *Error
	if !errors.As(err, &e) || e.Line != 1 || Exit(err) != 1 {
		t.Errorf("a wrong key: %v", err)
	}
}

func TestVerdictAndPlan(t *testing.T) {
	b := newTestBook(t, 0)
	s, err := recordStep(t, b, 1)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := b.Verdict(bg, VerdictRequest{Step: s.ID}); !errors.Is(err, ErrInvalid) {
		t.Errorf("a verdict before the run: %v", err)
	}
	must[Step](t)(b.SetStepState(s.ID, Proposed, Loaded, "", "", 0))
	addRun(t, b, 2)
	v, err := b.Verdict(bg, VerdictRequest{Step: s.ID})
	if err != nil {
		t.Fatal(err)
	}
	if v.Primary.Turn != 7 || v.Reference != "A" || v.Trial != "B" || v.Primary.NRef < 4 || v.Primary.NTrial < 4 {
		t.Errorf("%+v", v.Primary)
	}
	if v.Primary.Answer == "better" || v.Primary.Answer == "worse" {
		t.Logf("a nil trial was called %s (one in twenty may be)", v.Primary.Answer)
	}
	for name, q := range map[string]VerdictRequest{
		"nothing":      {},
		"no such turn": {Step: s.ID, Turn: 99},
		"no measure":   {Step: s.ID, Turn: 1, Measure: "zest"},
		"no such run":  {Runs: []int{1, 77}},
	} {
		if _, err := b.Verdict(bg, q); err == nil || Exit(err) != 1 {
			t.Errorf("%s: %v", name, err)
		}
	}
	p, err := b.Plan(bg, PlanRequest{Runs: []int{2}, Turn: 7, Measure: "segment", Effect: 0.2})
	if err != nil || p.Laps == 0 {
		t.Errorf("plan: %+v, %v", p, err)
	}
	// Begun ahead, a plan is made once, whoever asks for it meanwhile.
	q := PlanRequest{Runs: []int{2}, Turn: 7, Measure: "segment", Effect: 0.3}
	if err := b.PlanAhead(bg, q); err != nil {
		t.Error(err)
	}
	if x, y := must[*verdict.Plan](t)(b.Plan(bg, q)), must[*verdict.Plan](t)(b.Plan(bg, q)); x != y || x.Laps == 0 {
		t.Errorf("a plan begun ahead: %+v, then %+v", x, y)
	}
	if err := b.PlanAhead(bg, PlanRequest{Runs: []int{2}, Turn: 7}); Exit(err) != 1 {
		t.Errorf("a plan ahead for nothing: %v", err)
	}
	if _, err := b.Plan(bg, PlanRequest{Runs: []int{2}, Turn: 7}); Exit(err) != 1 {
		t.Errorf("a plan for nothing: %v", err)
	}
}

func TestEventsResume(t *testing.T) {
	b := newTestBook(t, 0)
	news, stop := b.Subscribe()
	defer stop()
	last := must[int64](t)(b.LastEvent())
	for i := range 5 {
		must[Remark](t)(b.AddRemark(aRemark(1, strings.Repeat("x", i+1)), "", ""))
	}
	if n := <-news; n != last+5 {
		t.Errorf("the newest event is told as %d, want %d", n, last+5)
	}
	es := must[[]Event](t)(b.Events(last + 2))
	if len(es) != 3 || es[0].Seq != last+3 || es[0].Kind != "remark" {
		t.Errorf("%+v", es)
	}
}

func TestSearchTakesNothingAsSyntax(t *testing.T) {
	b := newTestBook(t, 0)
	must[Remark](t)(b.AddRemark(aRemark(1, "Größe, it shoves me"), "", ""))
	for _, q := range []string{"shov", "größe", "grosse OR", `"`, `a"b*`, "set 1", "NEAR(", "one.csv"} {
		if _, err := b.Runs(RunFilter{Words: q}); err != nil {
			t.Errorf("%q: %v", q, err)
		}
	}
	if rs := must[[]Run](t)(b.Runs(RunFilter{Words: "shov one"})); len(rs) != 1 {
		t.Errorf("a word of a remark and one of the file's name find %d runs", len(rs))
	}
	if rs := must[[]Run](t)(b.Runs(RunFilter{Words: "shov nowhere"})); len(rs) != 0 {
		t.Errorf("a word that stands nowhere finds %d runs", len(rs))
	}
	if rs := must[[]Run](t)(b.Runs(RunFilter{Words: "grosse"})); len(rs) != 0 {
		t.Errorf("%d", len(rs))
	}
	if rs := must[[]Run](t)(b.Runs(RunFilter{Words: "shoves"})); len(rs) != 1 {
		t.Errorf("a remark's word finds %d runs", len(rs))
	}
}
