package book

import (
	"errors"
	"os"
	"strings"
	"testing"

	"cornerwright/internal/intake"
)

// A column file gives the recording that the original gives, bit for bit; one of
// an earlier kind is noted, not a fault, and is made anew when it is next asked
// for.
func TestColumnFileServes(t *testing.T) {
	b := newTestBook(t, 0)
	r := must[Run](t)(b.Run("1"))
	path := must[string](t)(b.ColumnFile(1))
	_, _, want, err := b.reread(bg, r)
	if err != nil {
		t.Fatal(err)
	}
	got, err := b.readColumns(r, path)
	if err != nil {
		t.Fatal(err)
	}
	if err := sameRecording(want, got); err != nil {
		t.Error(err)
	}
	info, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	var text int64
	if err := b.r.QueryRow(`SELECT bytes FROM original WHERE hash = ?`, r.Original).Scan(&text); err != nil {
		t.Fatal(err)
	}
	if share := float64(info.Size()) / float64(text); share > 0.2 {
		t.Errorf("the column file takes %.1f %% of the text", 100*share)
	}

	// As an earlier version of the book wrote it: doubles in SI units.
	os.Remove(path)
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := exportParquet(f, want); err != nil {
		t.Fatal(err)
	}
	f.Close()
	rep := must[VerifyReport](t)(b.Verify(bg, VerifyOptions{}))
	if len(rep.Faults) != 0 || len(rep.Notes) != 1 || !strings.Contains(rep.Notes[0], "earlier version") {
		t.Errorf("faults %v, notes %v", rep.Faults, rep.Notes)
	}
	if _, err := b.readColumns(r, path); !errors.Is(err, intake.ErrColumnsVersion) {
		t.Errorf("an earlier file: %v", err)
	}
	again, err := b.Recording(bg, 1)
	if err != nil {
		t.Fatal(err)
	}
	if err := sameRecording(want, again); err != nil {
		t.Error(err)
	}
	if rep := must[VerifyReport](t)(b.Verify(bg, VerifyOptions{})); len(rep.Faults)+len(rep.Notes) != 0 {
		t.Errorf("after it was made anew: faults %v, notes %v", rep.Faults, rep.Notes)
	}
}
