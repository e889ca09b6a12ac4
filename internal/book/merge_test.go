package book

import (
	"errors"
	"path/filepath"
	"testing"
)

// Two laptops at one meeting: whatever either has is in the merged book, once,
// and merging again or both ways changes nothing.
func TestMergeBringsAllAndDoublesNothing(t *testing.T) {
	a := newTestBook(t, 0)
	must[Remark](t)(a.AddRemark(aRemark(1, "said here"), "", ""))
	s, err := recordStep(t, a, 1)
	if err != nil {
		t.Fatal(err)
	}
	must[Step](t)(a.SetStepState(s.ID, Proposed, Loaded, "", "", 0))
	o := newTestBook(t, 1, 0)
	must[Remark](t)(o.AddRemark(aRemark(2, "said there"), "", ""))
	must[Remark](t)(o.AddRemark(aRemark(1, "of the other run"), "", ""))

	rep := must[MergeReport](t)(a.Merge(bg, o.Dir()))
	if rep.Runs != 1 || rep.Known != 1 || rep.Remarks != 2 {
		t.Fatalf("%+v", rep)
	}
	if again := must[MergeReport](t)(a.Merge(bg, o.Dir())); again.Runs+again.Remarks+again.Steps+again.Sheets+again.Originals != 0 {
		t.Errorf("merging again: %+v", again)
	}
	words := map[string]int{}
	for _, r := range must[[]Run](t)(a.Runs(RunFilter{})) {
		for _, m := range must[[]Remark](t)(a.Remarks(r.Number)) {
			words[m.Words]++
			if m.Words == "of the other run" && r.Name != "two.csv" || m.Words != "of the other run" && r.Name != "one.csv" {
				t.Errorf("%q is at %s", m.Words, r.Name)
			}
		}
	}
	if len(words) != 3 || words["said here"] != 1 || words["said there"] != 1 {
		t.Errorf("%v", words)
	}
	back := must[MergeReport](t)(o.Merge(bg, a.Dir()))
	if back.Steps != 1 || back.Remarks != 1 || back.Runs != 0 {
		t.Errorf("the other way: %+v", back)
	}
	if st := must[[]Step](t)(o.Steps("")); len(st) != 1 || st[0].State != Loaded || st[0].Run != 2 {
		t.Errorf("%+v", st)
	}
	if _, err := a.Merge(bg, a.Dir()); !errors.Is(err, ErrInvalid) {
		t.Errorf("with itself: %v", err)
	}
}

func TestIncrementalBackup(t *testing.T) {
	b := newTestBook(t, 0)
	dir := t.TempDir()
	whole, part := filepath.Join(dir, "1"), filepath.Join(dir, "2")
	must[BackupReport](t)(b.Backup(bg, whole, "", nil))
	addRun(t, b, 1)
	rep := must[BackupReport](t)(b.Backup(bg, part, whole, nil))
	if rep.Files != 5 || rep.Written != 3 {
		t.Errorf("%+v", rep)
	}
	if err := Restore(bg, filepath.Join(dir, "a"), []string{part}); !errors.Is(err, ErrInvalid) {
		t.Errorf("without the one it builds on: %v", err)
	}
	to := filepath.Join(dir, "b")
	if err := Restore(bg, to, []string{part, whole}); err != nil {
		t.Fatal(err)
	}
	r, err := Open(to)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	if v := must[VerifyReport](t)(r.Verify(bg, VerifyOptions{})); len(v.Faults)+len(v.Notes) != 0 || v.Runs != 2 {
		t.Errorf("%+v", v)
	}
}
