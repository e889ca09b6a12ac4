package book

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
)

// faultFS counts the steps of a file system and does harm at one of them.
//
// Dying ends everything: from that step on nothing is done any more, as after a
// power cut. What was written and not synced is then cut in half, and names
// that were made in a folder and not synced are taken back, which a journalled
// disk may do and a kind one does not. Failing does harm once and goes on.
type faultFS struct {
	OS
	mu       sync.Mutex
	n        int   // steps so far
	at       int   // the step at which it strikes; 0 never
	fail     error // nil: die
	dead     bool
	unsynced map[string]bool // files with bytes that are not synced
	renamed  []rename        // names that are not synced
}

type rename struct{ from, to string }

var errDead = errors.New("the power is out")

// step counts; it returns the error with which the step must end, and whether
// half of it is done.
func (f *faultFS) step() (err error, half bool) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.dead {
		return errDead, false
	}
	f.n++
	if f.n != f.at {
		return nil, false
	}
	if f.fail != nil {
		return f.fail, true
	}
	f.dead = true
	return errDead, true
}

func (f *faultFS) Create(path string) (File, error) {
	if err, _ := f.step(); err != nil {
		return nil, err
	}
	w, err := f.OS.Create(path)
	if err != nil {
		return nil, err
	}
	f.mu.Lock()
	f.unsynced[path] = true
	f.mu.Unlock()
	return &faultFile{w, f, path}, nil
}

func (f *faultFS) Open(path string) (io.ReadCloser, error) {
	f.mu.Lock()
	dead := f.dead
	f.mu.Unlock()
	if dead {
		return nil, errDead
	}
	return f.OS.Open(path)
}

func (f *faultFS) Rename(from, to string) error {
	if err, _ := f.step(); err != nil {
		return err
	}
	if err := f.OS.Rename(from, to); err != nil {
		return err
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.unsynced[from] {
		delete(f.unsynced, from)
		f.unsynced[to] = true
	}
	f.renamed = append(f.renamed, rename{from, to})
	return nil
}

func (f *faultFS) Remove(path string) error {
	if err, _ := f.step(); err != nil {
		return err
	}
	return f.OS.Remove(path)
}

func (f *faultFS) MkdirAll(path string) error {
	if err, _ := f.step(); err != nil {
		return err
	}
	return f.OS.MkdirAll(path)
}

func (f *faultFS) SyncDir(path string) error {
	if err, _ := f.step(); err != nil {
		return err
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	keep := f.renamed[:0]
	for _, r := range f.renamed {
		if filepath.Dir(r.to) != path {
			keep = append(keep, r)
		}
	}
	f.renamed = keep
	return f.OS.SyncDir(path)
}

func (f *faultFS) Point(name string) error {
	err, _ := f.step()
	if err != nil && name == "committed" && f.fail != nil {
		return nil // failing is for things that can fail; what is committed is
	}
	return err
}

// powerCut takes back what was never synced.
func (f *faultFS) powerCut() {
	for path := range f.unsynced {
		if info, err := os.Stat(path); err == nil {
			os.Truncate(path, info.Size()/2)
		}
	}
	for i := len(f.renamed) - 1; i >= 0; i-- {
		os.Rename(f.renamed[i].to, f.renamed[i].from)
	}
}

type faultFile struct {
	File
	f    *faultFS
	path string
}

func (w *faultFile) Write(p []byte) (int, error) {
	if err, half := w.f.step(); err != nil {
		if half {
			n, _ := w.File.Write(p[:len(p)/2])
			return n, err
		}
		return 0, err
	}
	return w.File.Write(p)
}

func (w *faultFile) Sync() error {
	if err, _ := w.f.step(); err != nil {
		return err
	}
	w.f.mu.Lock()
	delete(w.f.unsynced, w.path)
	w.f.mu.Unlock()
	return w.File.Sync()
}

// acked is what the book has acknowledged. say, if set, is told at once.
type acked struct {
	say     func(what, value string)
	remarks map[string]bool // by words
	runs    map[string]bool // by id
	steps   int
	loaded  bool
	backup  string
}

const otherWords = "said on the other laptop"

func (a *acked) note(what, value string) {
	switch what {
	case "remark":
		a.remarks[value] = true
	case "run":
		a.runs[value] = true
	case "step":
		a.steps++
	case "loaded":
		a.loaded = true
	case "backup":
		a.backup = value
	}
	if a.say != nil {
		a.say(what, value)
	}
}

// aDay does one of each thing and notes what was acknowledged. It stops at the
// first error when stop is set; otherwise it goes on, as people do.
func aDay(t *testing.T, b *Book, other, target string, stop bool, say func(what, value string)) (acked, []error) {
	a := acked{say: say, remarks: map[string]bool{}, runs: map[string]bool{}}
	var errs []error
	do := func(err error) bool {
		if err != nil {
			errs = append(errs, err)
		}
		return err == nil
	}
	remark := func(words string) bool {
		_, err := b.AddRemark(aRemark(1, words), "rider", "")
		if err == nil {
			a.note("remark", words)
		}
		return do(err)
	}
	parts := []func() bool{
		func() bool { return remark("before") },
		func() bool {
			res, err := b.Add(bg, AddRequest{Name: "two.csv", Data: fixtures().runs[1]})
			if err == nil {
				a.note("run", res.Runs[0].ID)
			}
			return do(err)
		},
		func() bool { return remark("after") },
		func() bool {
			s, err := recordStep(t, b, 1)
			if err == nil {
				a.note("step", "")
				if _, err = b.SetStepState(s.ID, Proposed, Loaded, "", "", 0); err == nil {
					a.note("loaded", "")
				}
			}
			return do(err)
		},
		func() bool {
			rep, err := b.Backup(bg, target, "", nil)
			if err == nil {
				a.note("backup", rep.File)
			}
			return do(err)
		},
		func() bool {
			_, err := b.Merge(bg, other)
			if err == nil {
				a.note("remark", otherWords)
			}
			return do(err)
		},
	}
	for _, p := range parts {
		if !p() && stop {
			break
		}
	}
	return a, errs
}

// mustHold opens the book anew and holds it against what was acknowledged.
func mustHold(t *testing.T, dir string, a acked, what string) {
	t.Helper()
	b, err := Open(dir)
	if err != nil {
		t.Fatalf("%s: the book does not open: %v", what, err)
	}
	defer b.Close()
	rep, err := b.Verify(bg, VerifyOptions{})
	if err != nil || len(rep.Faults) > 0 {
		t.Errorf("%s: verify: %v %v", what, rep.Faults, err)
	}
	for _, n := range rep.Notes {
		t.Errorf("%s: verify notes %s", what, n)
	}
	words := map[string]int{}
	for _, m := range must[[]Remark](t)(b.Remarks(1)) {
		words[m.Words]++
	}
	for w := range a.remarks {
		if words[w] != 1 {
			t.Errorf("%s: the acknowledged remark %q is there %d times", what, w, words[w])
		}
	}
	ids := map[string]int{}
	for _, r := range must[[]Run](t)(b.Runs(RunFilter{})) {
		ids[r.ID]++
		if _, err := b.Laps(bg, r.Number); err != nil {
			t.Errorf("%s: run %d is half there: %v", what, r.Number, err)
		}
	}
	for id := range a.runs {
		if ids[id] != 1 {
			t.Errorf("%s: the acknowledged run %s is there %d times", what, id, ids[id])
		}
	}
	steps := must[[]Step](t)(b.Steps(""))
	if len(steps) < a.steps {
		t.Errorf("%s: %d steps, %d acknowledged", what, len(steps), a.steps)
	}
	for _, s := range steps {
		if _, err := b.Sheet(s.To); err != nil {
			t.Errorf("%s: step %d has no sheet", what, s.ID)
		}
		if a.loaded && s.State != Loaded {
			t.Errorf("%s: the step is %s, loading was acknowledged", what, s.State)
		}
	}
	if es := must[[]os.DirEntry](t)(os.ReadDir(filepath.Join(dir, "tmp"))); len(es) > 0 {
		t.Errorf("%s: %d leftovers after opening", what, len(es))
	}
	if a.backup != "" {
		to := filepath.Join(t.TempDir(), "restored")
		if err := Restore(bg, to, []string{a.backup}); err != nil {
			t.Errorf("%s: the acknowledged backup does not restore: %v", what, err)
		}
	}
}

// otherLaptop is a second book with the same first run and a remark of its own.
func otherLaptop(t *testing.T) string {
	return template(t, "other", func(b *Book) {
		addRun(t, b, 0)
		must[Remark](t)(b.AddRemark(aRemark(1, otherWords), "rider", ""))
	})
}

// one is the book that a day begins with.
func one(t *testing.T) string {
	return template(t, "runs [0]", func(b *Book) { addRun(t, b, 0) })
}

func full() bool { return os.Getenv("CORNERWRIGHT_FULL") != "" }

// faultRun strikes every stride-th step of a day, beginning with first: every
// step with CORNERWRIGHT_FULL=1, else a part of them (strides prime to the length of
// what a day repeats, and different for each kind of harm, so that together
// they reach other steps). Under the race detector, which makes a day ten times
// as long and has nothing to find in where it ends, it strikes a few.
func faultRun(t *testing.T, fail error, first, stride int) {
	if full() {
		first, stride = 1, 1
	} else if raceOn {
		stride = 61
	}
	baseDir, other := one(t), otherLaptop(t)
	total, struck := 0, 0
	for at := first; ; at += stride {
		root := t.TempDir()
		dir := filepath.Join(root, "book")
		copyTree(t, baseDir, dir)
		f := &faultFS{at: at, fail: fail, unsynced: map[string]bool{}}
		b, err := Open(dir, WithFS(f))
		var a acked
		if err == nil {
			var errs []error
			a, errs = aDay(t, b, other, filepath.Join(root, "backup.zip"), fail == nil, nil)
			for _, e := range errs {
				if fail != nil && Exit(e) != 3 {
					t.Errorf("step %d: %v has exit code %d", at, e, Exit(e))
				}
			}
			b.Close()
		}
		if fail == nil && f.dead {
			f.powerCut()
		}
		mustHold(t, dir, a, fmt.Sprintf("step %d", at))
		if f.n < at {
			total = f.n
			break
		}
		struck++
		if t.Failed() {
			t.Fatalf("stopped at step %d", at)
		}
	}
	t.Logf("%d of %d steps struck, nothing acknowledged was lost", struck, total)
	if struck < 2 {
		t.Errorf("only %d faults: the harness does not reach the book", struck)
	}
}

// A power cut at every step of adding, remarking, stepping, backing up and
// merging leaves a book that opens, with all that was acknowledged.
func TestPowerCutAtEveryStep(t *testing.T) { faultRun(t, nil, 1, 23) }

func TestDiskFullAtEveryStep(t *testing.T) {
	faultRun(t, &fs.PathError{Op: "write", Path: "disk", Err: syscall.ENOSPC}, 5, 31)
}

func TestIOErrorAtEveryStep(t *testing.T) {
	faultRun(t, &fs.PathError{Op: "write", Path: "disk", Err: syscall.EIO}, 11, 37)
}

func TestLockedBook(t *testing.T) {
	b := newTestBook(t, 0)
	_, err := Open(b.Dir())
	if !errors.Is(err, ErrLocked) || Exit(err) != 3 || !strings.Contains(err.Error(), "process") {
		t.Fatalf("a second opening: %v", err)
	}
	r, err := Open(b.Dir(), ReadOnly())
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	if rs := must[[]Run](t)(r.Runs(RunFilter{})); len(rs) != 1 {
		t.Errorf("%d runs", len(rs))
	}
	if _, err := r.AddRemark(aRemark(1, "x"), "", ""); !errors.Is(err, ErrLocked) {
		t.Errorf("writing beside another: %v", err)
	}
	must[Remark](t)(b.AddRemark(aRemark(1, "seen at once"), "", ""))
	if ms := must[[]Remark](t)(r.Remarks(1)); len(ms) != 1 {
		t.Errorf("the reader sees %d remarks", len(ms))
	}
}

func TestForeignAndDamagedBooks(t *testing.T) {
	if _, err := Open(t.TempDir()); !errors.Is(err, ErrNotFound) || Exit(err) != 1 {
		t.Errorf("no book: %v", err)
	}
	b := newTestBook(t, 0)
	dir := b.Dir()
	if _, err := Create(dir); !errors.Is(err, ErrConflict) {
		t.Errorf("a book over a book: %v", err)
	}
	b.Close()
	garbage := t.TempDir()
	os.WriteFile(filepath.Join(garbage, "book.db"), []byte(strings.Repeat("not a database ", 400)), 0o644)
	if _, err := Open(garbage); !errors.Is(err, ErrDamaged) || Exit(err) != 3 {
		t.Errorf("garbage: %v", err)
	}
	for name, sql := range map[string]string{"foreign": `PRAGMA application_id = 7`, "newer": `PRAGMA user_version = 999`} {
		copied := filepath.Join(t.TempDir(), "book")
		copyTree(t, dir, copied)
		x, err := Open(copied)
		if err != nil {
			t.Fatal(err)
		}
		x.w.Exec(sql)
		x.Close()
		if _, err := Open(copied); !errors.Is(err, ErrDamaged) || Exit(err) != 3 {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// A bit that turns over on the disk is found, and named.
func TestVerifyFindsDamage(t *testing.T) {
	b := newTestBook(t, 0)
	r := must[Run](t)(b.Run("1"))
	flip := func(path string) {
		t.Helper()
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		data[len(data)/2] ^= 1
		os.WriteFile(path, data, 0o644)
	}
	col := must[string](t)(b.ColumnFile(1))
	flip(col)
	rep := must[VerifyReport](t)(b.Verify(bg, VerifyOptions{}))
	if len(rep.Faults) != 1 || !strings.Contains(rep.Faults[0], "run 1") {
		t.Errorf("a flipped bit in the column file: %v", rep.Faults)
	}
	if got := must[[]int](t)(b.MendColumns(bg)); len(got) != 1 {
		t.Errorf("mended %v", got)
	}
	if rep := must[VerifyReport](t)(b.Verify(bg, VerifyOptions{})); len(rep.Faults) != 0 {
		t.Errorf("after mending: %v", rep.Faults)
	}
	flip(b.originalPath(r.Original))
	rep = must[VerifyReport](t)(b.Verify(bg, VerifyOptions{}))
	if len(rep.Faults) == 0 || !strings.Contains(strings.Join(rep.Faults, " "), r.Original[:12]) {
		t.Errorf("a flipped bit in the original: %v", rep.Faults)
	}
}
