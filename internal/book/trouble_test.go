package book

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

// plain demands of an error what a person in a garage needs of it.
func plain(t *testing.T, err error, words ...string) {
	t.Helper()
	var e *Error
	if !errors.As(err, &e) || Exit(err) != 3 || e.Text == "" || e.Mend == "" {
		t.Fatalf("not a plain error: %v", err)
	}
	for _, w := range words {
		if !strings.Contains(err.Error(), w) {
			t.Errorf("%v: does not say %q", err, w)
		}
	}
}

// The database itself finds no room: SQLite is given as many pages as it has
// and a few.
func TestDatabaseFull(t *testing.T) {
	b := newTestBook(t, 0)
	var pages int
	if err := b.w.QueryRow(`PRAGMA page_count`).Scan(&pages); err != nil {
		t.Fatal(err)
	}
	if _, err := b.w.Exec(fmt.Sprintf(`PRAGMA max_page_count = %d`, pages+20)); err != nil {
		t.Fatal(err)
	}
	n := 0
	var err error
	for ; n < 1000 && err == nil; n++ {
		_, err = b.AddRemark(aRemark(1, fmt.Sprintf("remark %d %s", n, strings.Repeat("x", 900))), "rider", "")
	}
	plain(t, err, "full", "make room")
	n-- // the last was refused
	if got := len(must[[]Remark](t)(b.Remarks(1))); got != n || n == 0 {
		t.Errorf("%d remarks are there, %d were acknowledged", got, n)
	}
	if _, err := b.w.Exec(`PRAGMA max_page_count = 1000000`); err != nil {
		t.Fatal(err)
	}
	must[Remark](t)(b.AddRemark(aRemark(1, "after making room"), "rider", ""))
	if rep := must[VerifyReport](t)(b.Verify(bg, VerifyOptions{})); len(rep.Faults)+len(rep.Notes) > 0 {
		t.Errorf("%+v", rep)
	}
}

// roFS is a folder that cannot be written, for every user alike.
type roFS struct{ OS }

func (roFS) no(path string) error               { return &fs.PathError{Op: "open", Path: path, Err: syscall.EROFS} }
func (f roFS) Create(path string) (File, error) { return nil, f.no(path) }
func (f roFS) Rename(from, to string) error     { return f.no(to) }
func (f roFS) Remove(path string) error         { return f.no(path) }
func (f roFS) RemoveAll(path string) error      { return f.no(path) }
func (f roFS) MkdirAll(path string) error       { return f.no(path) }

// A folder turned read-only: what needs writing says so, reading goes on.
func TestReadOnlyFolder(t *testing.T) {
	from := one(t)
	dir := filepath.Join(t.TempDir(), "book")
	copyTree(t, from, dir)
	_, err := Open(dir, WithFS(roFS{}))
	plain(t, err, "cannot be written", "write protection")
	if _, err := Create(filepath.Join(t.TempDir(), "new"), WithFS(roFS{})); err == nil || errors.Is(err, ErrDamaged) && Exit(err) != 3 {
		t.Errorf("a new book there: %v", err)
	}
	b := must[*Book](t)(Open(dir))
	b.fs = roFS{}
	_, err = b.Add(bg, AddRequest{Name: "two.csv", Data: fixtures().runs[1]})
	plain(t, err, "cannot be written")
	_, err = b.Backup(bg, filepath.Join(dir, "backup.zip"), "", nil)
	plain(t, err, "cannot be written")
	if _, err := b.w.Exec(`PRAGMA query_only = 1`); err != nil {
		t.Fatal(err)
	}
	_, err = b.AddRemark(aRemark(1, "lost?"), "rider", "")
	plain(t, err, "cannot be written")
	if rs := must[[]Run](t)(b.Runs(RunFilter{})); len(rs) != 1 {
		t.Errorf("%d runs can be read", len(rs))
	}
	b.Close()
	mustHold(t, dir, acked{}, "read-only")
}

// The stick is pulled: what cannot be kept is not acknowledged, and once the
// folder is back everything acknowledged is on it.
func TestRemovedStick(t *testing.T) {
	b := newTestBook(t, 0)
	dir := b.Dir()
	must[Remark](t)(b.AddRemark(aRemark(1, "before"), "rider", ""))
	if err := os.Rename(dir, dir+" away"); err != nil {
		t.Fatal(err)
	}
	_, err := b.AddRemark(aRemark(1, "while it is out"), "rider", "")
	plain(t, err, "gone", "put the disk or stick back")
	_, err = b.Add(bg, AddRequest{Name: "two.csv", Data: fixtures().runs[1]})
	plain(t, err)
	_, err = Open(dir)
	if !errors.Is(err, ErrNotFound) && !errors.Is(err, ErrDamaged) {
		t.Errorf("opening what is not there: %v", err)
	}
	b.Close()
	os.RemoveAll(dir) // what a system may have made in its place
	if err := os.Rename(dir+" away", dir); err != nil {
		t.Fatal(err)
	}
	mustHold(t, dir, acked{remarks: map[string]bool{"before": true}}, "stick back")
}

// The clock is set back by an hour in the middle of a day: the order in which
// things were done stays, and with it which sheet is in the bike.
func TestClockSetBack(t *testing.T) {
	now := time.Date(2026, 5, 14, 12, 0, 0, 0, time.UTC)
	b := openCopy(t, one(t), func(b *Book) { b.now = func() time.Time { now = now.Add(time.Second); return now } })
	must[Remark](t)(b.AddRemark(aRemark(1, "first"), "rider", ""))
	s, err := recordStep(t, b, 1)
	if err != nil {
		t.Fatal(err)
	}
	must[Step](t)(b.SetStepState(s.ID, Proposed, Loaded, "", "", 0))
	now = now.Add(-time.Hour)
	must[Remark](t)(b.AddRemark(aRemark(1, "second"), "rider", ""))
	if got := must[Sheet](t)(b.CurrentSheet(s.Bike)); got.Number != s.To {
		t.Errorf("sheet %d is in the bike, want %d", got.Number, s.To)
	}
	must[Step](t)(b.SetStepState(s.ID, Loaded, Reverted, "", "as it was", 0))
	// A bike file with another value, added after all that by a clock that says
	// before: it is the newest nevertheless.
	k := must[BikeRecord](t)(b.Bike(""))
	sheet := must[Sheet](t)(b.CurrentSheet(k.Name))
	if err := b.tx(func(t *tx) error {
		sheet.Sheet.Parent = sheet.Number
		_, err := t.insertSheet(sheet.Sheet, 0, uid())
		return err
	}); err != nil {
		t.Fatal(err)
	}
	if got := must[Sheet](t)(b.CurrentSheet(k.Name)); got.Number != s.To+1 {
		t.Errorf("after a new bike file sheet %d is in the bike, want %d", got.Number, s.To+1)
	}
	ms := must[[]Remark](t)(b.Remarks(1))
	if len(ms) != 2 || ms[0].Words != "first" {
		t.Errorf("remarks %+v", ms)
	}
	last := int64(0)
	for _, e := range must[[]Event](t)(b.Events(0)) {
		if e.Seq <= last {
			t.Errorf("event %d after %d", e.Seq, last)
		}
		last = e.Seq
	}
	res := addRun(t, b, 1)
	if r := res.Runs[0]; r.Step != 0 || r.Sheet != s.To+1 {
		t.Errorf("the next run is under step %d, sheet %d", r.Step, r.Sheet)
	}
}
