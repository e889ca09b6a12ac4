package book

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// Each kind of damage is found by verify and named for what it is. The damage
// is done to a closed copy, as a disk does it.
func TestVerifyNamesEachDamage(t *testing.T) {
	from := template(t, "damage", func(b *Book) {
		addRun(t, b, 0)
		must[Remark](t)(b.AddRemark(aRemark(1, "a remark"), "rider", ""))
	})
	var original, column string
	filepath.WalkDir(from, func(path string, d fs.DirEntry, err error) error {
		rel, _ := filepath.Rel(from, path)
		switch {
		case strings.HasSuffix(path, ".zst"):
			original = rel
		case strings.HasSuffix(path, "channels.parquet"):
			column = rel
		}
		return nil
	})
	hash := strings.TrimSuffix(filepath.Base(original), ".zst")[:12]
	edit := func(rel string, fn func([]byte) []byte) func(*testing.T, string) {
		return func(t *testing.T, dir string) {
			path := filepath.Join(dir, rel)
			if err := os.WriteFile(path, fn(must[[]byte](t)(os.ReadFile(path))), 0o644); err != nil {
				t.Fatal(err)
			}
		}
	}
	query := func(q string) func(*testing.T, string) {
		return func(t *testing.T, dir string) {
			b, err := Open(dir)
			if err != nil {
				t.Fatal(err)
			}
			defer b.Close()
			for _, s := range []string{`PRAGMA foreign_keys = 0`, q} {
				if _, err := b.w.Exec(s); err != nil {
					t.Fatal(err)
				}
			}
		}
	}
	// A recording with other samples, whole in itself: no checksum of the file
	// can tell, only the original.
	other := func(t *testing.T, dir string) {
		x := newTestBook(t, 1)
		path := must[string](t)(x.ColumnFile(1))
		if err := os.WriteFile(filepath.Join(dir, column), must[[]byte](t)(os.ReadFile(path)), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	for _, c := range []struct {
		name  string
		harm  func(*testing.T, string)
		fault string // words of the fault, or
		note  string // of the note
	}{
		{name: "nothing"},
		{name: "original: a bit", harm: edit(original, func(b []byte) []byte { b[len(b)/3] ^= 4; return b }), fault: hash},
		{name: "original: cut off", harm: edit(original, func(b []byte) []byte { return b[:len(b)/2] }), fault: hash},
		{name: "original: empty", harm: edit(original, func(b []byte) []byte { return nil }), fault: hash},
		{name: "original: gone", harm: func(t *testing.T, dir string) { os.Remove(filepath.Join(dir, original)) }, fault: "the original is gone"},
		{name: "column file: a bit", harm: edit(column, func(b []byte) []byte { b[len(b)/3] ^= 4; return b }), fault: "run 1: column file"},
		{name: "column file: cut off", harm: edit(column, func(b []byte) []byte { return b[:len(b)/2] }), fault: "run 1: column file"},
		{name: "column file: of another run", harm: other, fault: "run 1: column file"},
		{name: "column file: gone", harm: func(t *testing.T, dir string) { os.Remove(filepath.Join(dir, column)) }, note: "run 1: its column file"},
		{name: "a row points nowhere", harm: query(`INSERT INTO told (uid, run, field, value, who, at) VALUES ('x', 99, 'note', '', '', 0)`), fault: "a row of told points to a row of run"},
		{name: "size of an original", harm: query(`UPDATE original SET bytes = bytes + 1`), fault: "bytes, the book says"},
		{name: "database: page", harm: func(t *testing.T, dir string) {
			edit("book.db", func(b []byte) []byte {
				// The last page of the file: not one that opening reads.
				page := int(binary.BigEndian.Uint16(b[16:]))
				copy(b[len(b)-page:], bytes.Repeat([]byte{0xa5}, page))
				return b
			})(t, dir)
		}, fault: "book.db"},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := filepath.Join(t.TempDir(), "book")
			copyTree(t, from, dir)
			if c.harm != nil {
				c.harm(t, dir)
			}
			b, err := Open(dir)
			if err != nil {
				if c.fault == "" || Exit(err) != 3 {
					t.Fatal(err)
				}
				return // refused, as a damaged book
			}
			defer b.Close()
			rep, err := b.Verify(bg, VerifyOptions{})
			if err != nil {
				t.Fatal(err)
			}
			all := strings.Join(rep.Faults, "\n")
			if c.fault == "" && len(rep.Faults) > 0 || !strings.Contains(all, c.fault) || c.fault != "" && len(rep.Faults) == 0 {
				t.Errorf("faults %q, want %q", all, c.fault)
			}
			if notes := strings.Join(rep.Notes, "\n"); !strings.Contains(notes, c.note) || c.note == "" && notes != "" && c.fault == "" {
				t.Errorf("notes %q, want %q", notes, c.note)
			}
		})
	}
}

// A stored lap that was changed behind the book's back is found by computing a
// sample anew.
func TestVerifyRecomputes(t *testing.T) {
	b := newTestBook(t, 0)
	s := must[*Summary](t)(b.Summary(bg, 1))
	s.Laps[0].End += 0.5
	data := must[[]byte](t)(b.pack(s))
	if _, err := b.w.Exec(`UPDATE result SET data = ?`, data); err != nil {
		t.Fatal(err)
	}
	rep := must[VerifyReport](t)(b.Verify(bg, VerifyOptions{Recompute: 1}))
	if len(rep.Faults) != 1 || !strings.Contains(rep.Faults[0], "differs from the one computed anew") {
		t.Errorf("%+v", rep)
	}
}

// contents is everything people put into a book, by names that hold in every
// book: what two books must have in common after merging both ways.
func contents(t *testing.T, b *Book) string {
	var out []string
	for _, q := range []string{
		`SELECT 'original ' || hash FROM original`,
		`SELECT 'run ' || id || bike || circuit || name FROM run`,
		`SELECT 'told ' || r.id || t.field || t.value FROM told t JOIN run r ON r.number = t.run`,
		`SELECT 'remark ' || m.uid || r.id || m.turns || m.phase || m.says || m.words FROM remark m JOIN run r ON r.number = m.run`,
		`SELECT 'step ' || s.uid || r.id || s.setting || s.cells || s.aim FROM step s JOIN run r ON r.number = s.run`,
		`SELECT 'state ' || x.uid || s.uid || x.now FROM step_state x JOIN step s ON s.id = x.step`,
		`SELECT 'overrule ' || x.uid || s.uid || x.guard || x.reason FROM overrule x JOIN step s ON s.id = x.step`,
		`SELECT 'sheet ' || bike || slots FROM sheet`,
		`SELECT 'mark ' || uid || kind || word FROM mark`,
	} {
		if err := each(b.r, func(s scanner) error {
			var line string
			err := s.Scan(&line)
			out = append(out, line)
			return err
		}, q+` ORDER BY 1`); err != nil {
			t.Fatal(err)
		}
	}
	return strings.Join(out, "\n")
}

// Two books of one meeting hold the same after merging both ways, in whichever
// order, and a third time changes neither.
func TestMergeBothWaysIsOneBook(t *testing.T) {
	fill := func(b *Book, who string, runs ...int) {
		for _, i := range runs {
			addRun(t, b, i)
		}
		must[Remark](t)(b.AddRemark(aRemark(1, "said to "+who), who, ""))
		s, err := recordStep(t, b, 1)
		if err != nil {
			t.Fatal(err)
		}
		must[Step](t)(b.SetStepState(s.ID, Proposed, Loaded, who, "", 0))
		m := must[Remark](t)(b.AddRemark(aRemark(1, "taken back by "+who), who, ""))
		if err := b.StrikeRemark(m.ID, true, who); err != nil {
			t.Fatal(err)
		}
	}
	left := template(t, "left", func(b *Book) { fill(b, "left", 0) })
	right := template(t, "right", func(b *Book) { fill(b, "right", 1, 0) })
	var first string
	for _, leftFirst := range []bool{true, false} {
		a, o := openCopy(t, left), openCopy(t, right)
		had := map[string]bool{}
		for _, b := range []*Book{a, o} {
			for _, l := range strings.Split(contents(t, b), "\n") {
				had[l] = true
			}
		}
		if !leftFirst {
			a, o = o, a
		}
		must[MergeReport](t)(a.Merge(bg, o.Dir()))
		must[MergeReport](t)(o.Merge(bg, a.Dir()))
		x, y := contents(t, a), contents(t, o)
		if x != y {
			t.Errorf("left first %v: the books differ:\n%s\n--\n%s", leftFirst, x, y)
		}
		lines := strings.Split(x, "\n")
		for _, l := range lines { // the same words of two people are two lines
			if !had[l] {
				t.Errorf("left first %v: nobody said %s", leftFirst, l)
			}
		}
		for _, l := range lines {
			delete(had, l)
		}
		for l := range had {
			t.Errorf("left first %v: lost %s", leftFirst, l)
		}
		rep := must[MergeReport](t)(a.Merge(bg, o.Dir()))
		if rep.Runs+rep.Remarks+rep.Steps+rep.Sheets+rep.Originals != 0 || contents(t, a) != x {
			t.Errorf("left first %v: merging again brought %+v", leftFirst, rep)
		}
		if first == "" {
			first = x
		} else if first != x {
			t.Errorf("the order of merging shows:\n%s\n--\n%s", first, x)
		}
		if v := must[VerifyReport](t)(a.Verify(bg, VerifyOptions{})); len(v.Faults)+len(v.Notes) > 0 {
			t.Errorf("%+v", v)
		}
	}
}

// No file of a book holds a path of the machine it was made on, so that a copy
// opens anywhere, and its names are such as every system takes.
func TestACopyOpensElsewhere(t *testing.T) {
	here := t.TempDir()
	stick := filepath.Join(here, "stick")
	os.MkdirAll(stick, 0o755)
	file := filepath.Join(stick, "one.csv")
	os.WriteFile(file, fixtures().runs[0], 0o644)
	b := must[*Book](t)(Create(filepath.Join(here, "Buch, größer: 1?")))
	defer b.Close()
	must[BikeRecord](t)(b.AddBike(filepath.Join(here, "heron.toml"), fixtures().bike))
	must[AddResult](t)(b.Add(bg, AddRequest{Path: file}))
	must[MergeReport](t)(b.Merge(bg, otherLaptop(t)))
	must[BackupReport](t)(b.Backup(bg, filepath.Join(here, "backup.zip"), "", nil))
	b.Close()
	filepath.WalkDir(b.Dir(), func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			t.Error(err)
			return nil
		}
		if path != b.Dir() && strings.ContainsAny(d.Name(), `\:*?"<>|`) {
			t.Errorf("%s: a name that not every system takes", d.Name())
		}
		if !d.IsDir() {
			data := must[[]byte](t)(os.ReadFile(path))
			for _, p := range []string{here, templates.dir} {
				if bytes.Contains(data, []byte(p)) {
					t.Errorf("%s holds the path %s", d.Name(), p)
				}
			}
		}
		return nil
	})
	c := openCopy(t, b.Dir())
	if v := must[VerifyReport](t)(c.Verify(bg, VerifyOptions{Recompute: 1})); len(v.Faults)+len(v.Notes) > 0 || v.Runs != 1 {
		t.Errorf("%+v", v)
	}
}

// A backup made while remarks come in is of one moment: it restores to a book
// with every remark that was acknowledged before it began, none twice.
func TestBackupWhileInUse(t *testing.T) {
	b := newTestBook(t, 0)
	before := 5
	for i := range before {
		must[Remark](t)(b.AddRemark(aRemark(1, fmt.Sprint("before ", i)), "rider", ""))
	}
	stop, done := make(chan bool), make(chan int)
	go func() {
		n := 0
		for {
			select {
			case <-stop:
				done <- n
				return
			default:
				if _, err := b.AddRemark(aRemark(1, fmt.Sprint("meanwhile ", n)), "rider", ""); err != nil {
					t.Error(err)
					done <- n
					return
				}
				n++
			}
		}
	}()
	file := filepath.Join(t.TempDir(), "backup.zip")
	_, err := b.Backup(bg, file, "", nil)
	close(stop)
	n := <-done
	if err != nil {
		t.Fatal(err)
	}
	to := filepath.Join(t.TempDir(), "restored")
	if err := Restore(bg, to, []string{file}); err != nil {
		t.Fatal(err)
	}
	r := must[*Book](t)(Open(to))
	defer r.Close()
	ms := must[[]Remark](t)(r.Remarks(1))
	if len(ms) < before || len(ms) > before+n {
		t.Errorf("%d remarks; %d before, %d meanwhile", len(ms), before, n)
	}
	for i, m := range ms {
		want := fmt.Sprint("before ", i)
		if i >= before {
			want = fmt.Sprint("meanwhile ", i-before)
		}
		if m.Words != want {
			t.Errorf("remark %d is %q, want %q", i, m.Words, want)
		}
	}
	if v := must[VerifyReport](t)(r.Verify(bg, VerifyOptions{})); len(v.Faults)+len(v.Notes) > 0 {
		t.Errorf("%+v", v)
	}
}
