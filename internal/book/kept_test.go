package book

import (
	"archive/zip"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"testing"
)

var keep = flag.Bool("keep", false, "write the kept book of the schema of today (TestKeptBooks)")

// keptWords is the remark that every kept book holds.
const keptWords = "kept from the first schema"

// Books that earlier versions wrote open in this one, with all that people put
// into them. Each version of the schema has one, as a backup file that its own
// program made: testdata/schema-N.zip. Whoever adds a migration runs, before it
// is released, go test -run TestKeptBooks -keep.
func TestKeptBooks(t *testing.T) {
	name := func(v int) string { return filepath.Join("testdata", fmt.Sprintf("schema-%d.zip", v)) }
	if *keep {
		// The newest kept book moved on is the next one: its column files and
		// results stay as the older program wrote them, as in a book that was used.
		b := keptBook(t, name(len(migrations)-1))
		os.Remove(name(len(migrations)))
		must[BackupReport](t)(b.Backup(bg, must[string](t)(filepath.Abs(name(len(migrations)))), "", nil))
	}
	for v := 1; v <= len(migrations); v++ {
		t.Run(fmt.Sprint("schema ", v), func(t *testing.T) {
			if _, err := os.Stat(name(v)); err != nil {
				t.Fatalf("%v: keep a book of this schema: go test -run TestKeptBooks -keep", err)
			}
			b := keptBook(t, name(v))
			var now int
			if err := b.r.QueryRow(`PRAGMA user_version`).Scan(&now); err != nil || now != len(migrations) {
				t.Fatalf("version %d, %v", now, err)
			}
			rep := must[VerifyReport](t)(b.Verify(bg, VerifyOptions{}))
			if len(rep.Faults) > 0 || rep.Originals != 1 || rep.Runs != 1 {
				t.Errorf("%+v", rep)
			}
			ms := must[[]Remark](t)(b.Remarks(1))
			if len(ms) != 1 || ms[0].Words != keptWords || ms[0].Turns[0] != 7 {
				t.Errorf("remarks %+v", ms)
			}
			steps := must[[]Step](t)(b.Steps(""))
			if len(steps) != 1 || steps[0].State != Loaded || len(steps[0].Guards) < 10 || steps[0].Author != "engineer" {
				t.Errorf("steps %+v", steps)
			}
			if s := must[Sheet](t)(b.CurrentSheet(steps[0].Bike)); s.Number != steps[0].To {
				t.Errorf("sheet %d is in the bike, want %d", s.Number, steps[0].To)
			}
			r := must[Run](t)(b.Run("1"))
			if r.Note != "windy from the west" || r.Tyre != "set 1" {
				t.Errorf("run %+v", r)
			}
			if rs := must[[]Run](t)(b.Runs(RunFilter{Words: "windy"})); len(rs) != 1 {
				t.Errorf("a word of a note finds %d runs", len(rs))
			}
			// Results of another method are made anew, from the original or from
			// the column file of whatever version.
			if failed, err := b.Recompute(bg, nil); err != nil || len(failed) > 0 {
				t.Fatal(failed, err)
			}
			if ls, err := b.Laps(bg, 1); err != nil || len(ls) < 2 {
				t.Errorf("laps %v, %v", ls, err)
			}
			must[Remark](t)(b.AddRemark(aRemark(1, "and goes on"), "rider", ""))
			if st := must[[]int](t)(b.Stale()); len(st) > 0 {
				t.Errorf("stale after computing anew: %v", st)
			}
		})
	}
}

// keptBook unpacks a kept book as it was and opens it: Restore would open it
// with the program of today, so the files are put in place as they are.
func keptBook(t *testing.T, file string) *Book {
	t.Helper()
	z, err := zip.OpenReader(file)
	if err != nil {
		t.Fatal(err)
	}
	defer z.Close()
	dir := filepath.Join(t.TempDir(), "book")
	for _, e := range z.File {
		if e.Name == "manifest.json" {
			continue
		}
		r, err := e.Open()
		if err != nil {
			t.Fatal(err)
		}
		data := must[[]byte](t)(io.ReadAll(r))
		path := filepath.Join(dir, filepath.FromSlash(e.Name))
		os.MkdirAll(filepath.Dir(path), 0o755)
		if err := os.WriteFile(path, data, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	b, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { b.Close() })
	return b
}
