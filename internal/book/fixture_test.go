package book

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"sync"
	"testing"

	"cornerwright/internal/debrief"
	"cornerwright/internal/demo"
	"cornerwright/internal/setting"
)

// fixture is a bike file and small recordings of one circuit, ridden once for
// the whole test binary.
type fixture struct {
	bike []byte
	runs [][]byte
}

var fixtures = sync.OnceValue(func() fixture {
	// A child process that is to be killed gets them as files, so that its time
	// goes into the book.
	if dir := os.Getenv(childFixtures); dir != "" {
		f := fixture{bike: mustRead(filepath.Join(dir, "bike"))}
		for i := range 3 {
			f.runs = append(f.runs, mustRead(filepath.Join(dir, fmt.Sprint(i))))
		}
		return f
	}
	k := demo.Heron()
	f := fixture{bike: k.TOML(map[string]demo.Sheet{"A": k.Sheets["A"], "B": k.Sheets["A"].Clone()})}
	for seed := range uint64(3) {
		o := demo.DefaultOptions(0, seed+11)
		o.Laps, o.RateHz = 2, 50
		if seed == 2 {
			o.Laps, o.Slots = 9, []string{"A", "A", "B", "B", "A", "A", "B", "B", "A", "A", "A"}
		}
		var b bytes.Buffer
		if err := demo.Ride(o).WriteText(&b, demo.Plain); err != nil {
			panic(err)
		}
		f.runs = append(f.runs, b.Bytes())
	}
	return f
})

func mustRead(path string) []byte {
	data, err := os.ReadFile(path)
	if err != nil {
		panic(err)
	}
	return data
}

var bg = context.Background()

// templates are whole books, closed, that tests copy: analysing the same
// recordings for every test anew would prove nothing more. TestMain clears them.
var templates struct {
	sync.Mutex
	dir  string
	made map[string]string
}

func TestMain(m *testing.M) {
	code := m.Run()
	if templates.dir != "" {
		os.RemoveAll(templates.dir)
	}
	os.Exit(code)
}

// template makes the closed book of a name once and returns its folder.
func template(t testing.TB, name string, fill func(*Book)) string {
	t.Helper()
	templates.Lock()
	defer templates.Unlock()
	if dir, ok := templates.made[name]; ok {
		return dir
	}
	if templates.dir == "" {
		templates.dir = must[string](t)(os.MkdirTemp("", "cornerwright-books-"))
		templates.made = map[string]string{}
	}
	dir := filepath.Join(templates.dir, fmt.Sprint(len(templates.made)))
	b, err := Create(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	if _, err := b.AddBike("heron.toml", fixtures().bike); err != nil {
		t.Fatal(err)
	}
	fill(b)
	templates.made[name] = dir
	return dir
}

func must[T any](t testing.TB) func(T, error) T {
	return func(v T, err error) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

// newBook makes a book with the bike and the given recordings.
func newTestBook(t testing.TB, runs ...int) *Book {
	t.Helper()
	from := template(t, fmt.Sprint("runs ", runs), func(b *Book) {
		for _, i := range runs {
			addRun(t, b, i)
		}
	})
	return openCopy(t, from)
}

// openCopy opens a copy of a closed book.
func openCopy(t testing.TB, from string, opts ...Option) *Book {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "book")
	copyTree(t, from, dir)
	b, err := Open(dir, opts...)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { b.Close() })
	return b
}

func addRun(t testing.TB, b *Book, i int) AddResult {
	t.Helper()
	res, err := b.Add(bg, AddRequest{Name: []string{"one.csv", "two.csv", "three.csv"}[i], Data: fixtures().runs[i], Tyre: "set 1"})
	if err != nil {
		t.Fatal(err)
	}
	return res
}

// aStep is a step that every guard lets pass but those put aside here.
func aStep(t testing.TB, b *Book, run int) setting.Step {
	t.Helper()
	k := must[BikeRecord](t)(b.Bike(""))
	sheet := must[Sheet](t)(b.CurrentSheet(k.Name))
	s, err := setting.Change{Slot: "B", Setting: "wheel-lift", By: -1}.Propose(k.Bike.Setting("wheel-lift"), sheet.Sheet)
	if err != nil {
		t.Fatal(err)
	}
	s.Run, s.Reason = run, "the front comes up"
	s.Primary = setting.Primary{Turn: 7, Measure: "segment", Expect: "less", Matters: 0.05}
	return s
}

var stepOptions = StepOptions{Author: "engineer", Why: "tested", Conditions: Conditions{Surface: "dry", Tyre: "warm", Air: "20 C"}}

// recordStep records aStep, putting aside whatever guard stands in the way.
func recordStep(t testing.TB, b *Book, run int) (Step, error) {
	t.Helper()
	s := aStep(t, b, run)
	gs, err := b.Guards(bg, s, stepOptions)
	if err != nil {
		return Step{}, err
	}
	for _, g := range gs {
		if !g.Pass && !g.Hard {
			s.Overrules = append(s.Overrules, setting.Overrule{Guard: g.Guard, Who: "engineer", Reason: "test"})
		}
	}
	return b.NewStep(bg, s, stepOptions)
}

func aRemark(run int, words string) debrief.Remark {
	return debrief.Remark{Run: run, Turns: []int{7}, Phase: "entry", Says: "pushes-on", Strength: 2, Words: words}
}

// copyTree copies a folder, without its lock.
func copyTree(t testing.TB, from, to string) {
	t.Helper()
	err := filepath.WalkDir(from, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		rel, _ := filepath.Rel(from, path)
		dst := filepath.Join(to, rel)
		if d.IsDir() {
			return os.MkdirAll(dst, 0o755)
		}
		if d.Name() == "lock" {
			return nil
		}
		r, err := os.Open(path)
		if err != nil {
			return err
		}
		defer r.Close()
		w, err := os.Create(dst)
		if err != nil {
			return err
		}
		if _, err := io.Copy(w, r); err != nil {
			return err
		}
		return w.Close()
	})
	if err != nil {
		t.Fatal(err)
	}
}
