package main

import (
	"archive/zip"
	"bytes"
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"

	"cornerwright/internal/book"
)

var update = flag.Bool("update", false, "write the golden files anew")

// golden compares with testdata/golden/NAME.
func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", "golden", name)
	if *update {
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatalf("%v; write it with: go test -run %s -update ./cmd/cornerwright", err, t.Name())
	}
	if string(want) == got {
		return
	}
	w, g := strings.Split(string(want), "\n"), strings.Split(got, "\n")
	for _, l := range w {
		if !slices.Contains(g, l) {
			t.Errorf("%s: gone: %s", path, l)
		}
	}
	for _, l := range g {
		if !slices.Contains(w, l) {
			t.Errorf("%s: new: %s", path, l)
		}
	}
	if !t.Failed() {
		t.Errorf("%s: the lines stand in another order", path)
	}
}

// demoBook is the book of the demo's day, made once; every test that asks has
// the same one.
var demoBook = sync.OnceValues(func() (dir string, err error) {
	tmp, err := os.MkdirTemp("", "cornerwright-test-")
	if err != nil {
		return "", err
	}
	demoFolder = tmp
	dir = filepath.Join(tmp, "book")
	var out, errs strings.Builder
	if code := run(context.Background(), []string{"demo", "--no-serve", "--book", dir}, strings.NewReader(""), &out, &errs, func(string) string { return "" }); code != 0 {
		return "", fmt.Errorf("code %d: %s", code, errs.String())
	}
	demoSaid = out.String()
	return dir, nil
})

var demoSaid, demoFolder string

// sweeping clears the demo's book away after the last test.
type sweeping struct{ *testing.M }

func (m sweeping) Run() int {
	code := m.M.Run()
	os.RemoveAll(demoFolder) // "" where no test asked: nothing
	return code
}

// ownDemoBook is a copy that a test may change.
func ownDemoBook(t *testing.T) string {
	from, err := demoBook()
	if err != nil {
		t.Fatal(err)
	}
	dir := filepath.Join(t.TempDir(), "book")
	if err := os.CopyFS(dir, os.DirFS(from)); err != nil {
		t.Fatal(err)
	}
	return dir
}

// shape lists what an answer holds: one line for each field, with its kind and
// whether it may be absent. It holds no figure and no finding: those are tested
// against the truth elsewhere, and a better estimate is no change of the contract.
func shape(t *testing.T, answer string) string {
	t.Helper()
	var v any
	if err := json.Unmarshal([]byte(answer), &v); err != nil {
		t.Fatalf("no JSON: %v\n%.300s", err, answer)
	}
	type field struct {
		kinds map[string]bool
		seen  int
		of    string // the object it stands in
	}
	fields := map[string]*field{}
	objects := map[string]int{}
	var walk func(path, of string, v any)
	note := func(path, of, kind string) {
		f := fields[path]
		if f == nil {
			f = &field{kinds: map[string]bool{}, of: of}
			fields[path] = f
		}
		f.kinds[kind] = true
		f.seen++
	}
	walk = func(path, of string, v any) {
		switch x := v.(type) {
		case map[string]any:
			if path != "" {
				note(path, of, "object")
			}
			objects[path]++
			for k, y := range x {
				walk(strings.TrimPrefix(path+"."+k, "."), path, y)
			}
		case []any:
			note(path, of, "list")
			for _, y := range x {
				walk(path+"[]", path+"[]", y)
			}
		case string:
			note(path, of, "text")
		case float64:
			note(path, of, "number")
		case bool:
			note(path, of, "yes or no")
		case nil:
			t.Errorf("%s is null", path)
		}
	}
	walk("", "", v)
	var out strings.Builder
	for _, path := range slices.Sorted(maps.Keys(fields)) {
		f := fields[path]
		line := path + ": " + strings.Join(slices.Sorted(maps.Keys(f.kinds)), " or ")
		if !strings.HasSuffix(path, "[]") && f.seen < objects[f.of] {
			line += strings.TrimSuffix(optional, "\n")
		}
		out.WriteString(line + "\n")
	}
	return out.String()
}

const optional = ", may be absent"

// goldenShape compares the shape of an answer with the one kept. What is kept as
// absent at times may be absent throughout, with all that stands in it.
func goldenShape(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", "golden", name)
	text, err := os.ReadFile(path)
	if *update || err != nil {
		golden(t, name, got)
		return
	}
	read := func(text string) map[string]string {
		out := map[string]string{}
		for line := range strings.Lines(text) {
			field, kind, _ := strings.Cut(strings.TrimSuffix(line, "\n"), ": ")
			out[field] = kind
		}
		return out
	}
	kept, have := read(string(text)), read(got)
	for field, kind := range kept {
		is, ok := have[field]
		switch {
		case !ok && strings.HasSuffix(kind, optional):
		case !ok && !whole(have, field):
		case !ok:
			t.Errorf("%s: %s is gone", path, field)
		case is != kind && is+optional != kind:
			t.Errorf("%s: %s is %s, was %s", path, field, is, kind)
		}
	}
	for field := range have {
		if kept[field] == "" {
			t.Errorf("%s: %s is new; keep it with -update", path, field)
		}
	}
}

// whole tells whether all that a field stands in is there.
func whole(have map[string]string, field string) bool {
	for {
		i := strings.LastIndexAny(field, ".[")
		if i < 0 {
			return true
		}
		field = field[:i]
		if have[field] == "" {
			return false
		}
	}
}

// The contract with other programs: the fields of every answer. A line that goes
// from a golden file breaks a promise; one that comes is an addition.
func TestJSONAnswers(t *testing.T) {
	dir := ownDemoBook(t)
	files := filepath.Join(demoFolder, "book-recordings")
	out := t.TempDir()
	small := filepath.Join(out, "small.csv")
	if err := os.WriteFile(small, recordings()["one.csv"], 0o644); err != nil {
		t.Fatal(err)
	}
	other := filepath.Join(out, "other")
	if _, stderr, code := call(t, "new", other); code != 0 {
		t.Fatal(stderr)
	}
	covered := map[string]bool{}
	for _, c := range []struct {
		name string
		args []string
	}{
		{"bike", []string{"bike"}},
		{"bike", []string{"bike", filepath.Join(files, "bike.toml")}},
		{"circuit", []string{"circuit"}},
		{"check", []string{"check", filepath.Join(files, "run5-suffered.csv")}},
		{"runs", []string{"runs"}},
		{"laps", []string{"laps", "3", "--between", "3,4"}},
		{"turns", []string{"turns", "3"}},
		{"episodes", []string{"episodes", "1"}},
		{"channels", []string{"channels", "5"}},
		{"tyres", []string{"tyres", "1"}},
		{"debrief", []string{"debrief", "1"}},
		{"step list", []string{"step", "list"}},
		{"step show", []string{"step", "show", "1"}},
		{"rehearse", []string{"rehearse", "1"}},
		{"plan", []string{"plan", "--turn", "10", "--effect", "0.08s", "--run", "1"}},
		{"verdict", []string{"verdict", "1"}},
		{"sheet", []string{"sheet", "1"}},
		{"sheet history", []string{"sheet", "history", "B:engine-brake[2]"}},
		{"sheet list", []string{"sheet", "list"}},
		{"sheet show", []string{"sheet", "show", "1"}},
		{"sheet show", []string{"sheet", "show", "1", "2"}},
		{"season", []string{"season", "--turn", "10"}},
		{"season", []string{"season", "--cells", "slip-target"}},
		{"season trials", []string{"season", "trials"}},
		{"verify", []string{"verify", "--sample", "0"}},
		{"backup", []string{"backup", filepath.Join(out, "b.cornerwright")}},
		{"version", []string{"version"}},
		{"torque", []string{"torque", "1", "2"}},
		{"convert", []string{"convert", small, "--to", filepath.Join(out, "small.parquet")}},
		{"remark", []string{"remark", "--vocabulary"}},
		// From here on the book changes.
		{"merge", []string{"merge", other}},
		{"add", []string{"add", small, filepath.Join(files, "run5-suffered.csv")}},
		{"circuit", []string{"circuit", circuitFile(t, out, dir)}},
		{"remark", []string{"remark", "1", "--turn", "4", "--phase", "entry", "--says", "pushes-on", "it shoves me wide"}},
		{"step new", []string{"step", "new", "--run", "last", "--change", "B:engine-brake[2] +5", "--turn", "7", "--measure", "segment", "--reason", "it pushes on", "--surface", "dry", "--tyre", "warm", "--air", "20 C", "--why", "another turn"}},
		{"step load", []string{"step", "load", "3"}},
		{"step repeat", []string{"step", "repeat", "3"}},
		{"step keep", []string{"step", "keep", "3"}},
		{"step revert", []string{"step", "revert", "3"}},
	} {
		covered[c.name] = true
		args := append(slices.Clone(c.args), "--json")
		if !commandOf(c.name).noBook {
			args = append(args, "--book", dir)
		}
		stdout, stderr, code := call(t, args...)
		if code != 0 {
			t.Errorf("%v: code %d, %s", c.args, code, stderr)
			continue
		}
		name := strings.ReplaceAll(c.name, " ", "-")
		for _, a := range c.args[len(strings.Fields(c.name)):] {
			if strings.HasPrefix(a, "--cells") || strings.HasPrefix(a, "--vocabulary") {
				name += a[1:]
			}
		}
		switch {
		case c.name == "sheet show" && len(c.args) == 4:
			name += "-differences"
		case c.name == "bike" && len(c.args) == 1, c.name == "circuit" && len(c.args) == 1:
			name += "-list"
		}
		goldenShape(t, name+".json.txt", shape(t, stdout))
	}
	for _, c := range commands {
		if !c.noJSON && !covered[c.name] {
			t.Errorf("the answer of %s --json is not kept", c.name)
		}
	}
}

func commandOf(name string) *command {
	c, _ := find(strings.Fields(name))
	return c
}

// circuitFile is a circuit file that names a turn of the demo's circuit.
func circuitFile(t *testing.T, dir, book string) string {
	stdout, stderr, code := call(t, "turns", "1", "--json", "--book", book)
	var has struct {
		Turns []struct {
			Apex float64 `json:"apex_m"`
		} `json:"turns"`
	}
	if err := json.Unmarshal([]byte(stdout), &has); code != 0 || err != nil || len(has.Turns) < 4 {
		t.Fatal(err, stderr)
	}
	path := filepath.Join(dir, "circuit.toml")
	if err := os.WriteFile(path, fmt.Appendf(nil, "name = \"Brackenfell\"\n\n[[turn]]\napex_m = %.0f\nname = \"Quarry\"\n", has.Turns[3].Apex), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

var contentHash = regexp.MustCompile(`[0-9a-f]{12,64}`)

// Every message for bad input, word for word: what was found, where, and the
// mend. Folders and content hashes are taken out.
func TestMessages(t *testing.T) {
	dir := ownDemoBook(t)
	work := t.TempDir()
	put := func(name, text string) string {
		if err := os.WriteFile(filepath.Join(work, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		return filepath.Join(work, name)
	}
	bike := string(recordings()["bike.toml"])
	swap := func(from, to string) string {
		if !strings.Contains(bike, from) {
			t.Fatalf("the bike file has no %q", from)
		}
		return strings.Replace(bike, from, to, 1)
	}
	head := "Time [s],Latitude [deg],Longitude [deg],GPS speed [km/h]\n"
	locked := filepath.Join(work, "locked")
	held, err := book.Create(locked)
	if err != nil {
		t.Fatal(err)
	}
	defer held.Close()
	empty := filepath.Join(work, "empty-book")
	if _, stderr, code := call(t, "new", empty); code != 0 {
		t.Fatal(stderr)
	}
	if err := os.MkdirAll(filepath.Join(work, "no-book"), 0o755); err != nil {
		t.Fatal(err)
	}
	small := put("small.csv", string(recordings()["one.csv"]))
	here := []string{"--book", dir}
	var got strings.Builder
	for _, c := range []struct {
		args []string
		book []string
	}{
		// Usage.
		{nil, nil},
		{[]string{"lap"}, nil}, {[]string{"step"}, nil}, {[]string{"step", "fly"}, nil}, {[]string{"frobnicate"}, nil},
		{[]string{"laps", "--colour"}, here}, {[]string{"laps", "1", "2"}, here}, {[]string{"laps", "--book"}, nil},
		{[]string{"add"}, here}, {[]string{"check"}, nil}, {[]string{"verdict"}, here}, {[]string{"plan"}, here}, {[]string{"sheet"}, here},
		{[]string{"new"}, nil}, {[]string{"runs"}, nil}, {[]string{"completion", "powder"}, nil}, {[]string{"version", "x"}, nil}, {[]string{"export", "1"}, here},
		{[]string{"add", small, "--step", "first"}, here}, {[]string{"remark", "1", "--strength", "2.5", "x"}, here}, {[]string{"laps", "--json=perhaps"}, here}, {[]string{"strike"}, here}, {[]string{"merge"}, here}, {[]string{"restore", small}, nil}, {[]string{"rehearse", "x"}, here}, {[]string{"torque", "1"}, here}, {[]string{"convert"}, nil}, {[]string{"convert", small}, nil},
		{[]string{"note", "1", "colour", "red"}, here}, {[]string{"mark", "1", "2", "bored"}, here}, {[]string{"mark", "1", "99", "traffic"}, here},
		// The book.
		{[]string{"new", dir}, nil}, {[]string{"runs"}, []string{"--book", filepath.Join(work, "nowhere")}}, {[]string{"runs"}, []string{"--book", filepath.Join(work, "no-book")}},
		{[]string{"runs"}, []string{"--book", small}}, {[]string{"add", small}, []string{"--book", locked}}, {[]string{"laps", "last"}, []string{"--book", empty}}, {[]string{"add", small}, []string{"--book", empty}},
		{[]string{"restore", filepath.Join(work, "nowhere")}, []string{"--book", filepath.Join(work, "new")}}, {[]string{"restore", small}, []string{"--book", filepath.Join(work, "new2")}}, {[]string{"merge", filepath.Join(work, "nowhere")}, here}, {[]string{"merge", dir}, here}, {[]string{"backup", small}, here},
		{[]string{"add", dir}, here}, {[]string{"add", filepath.Join(work, "no-book")}, here}, {[]string{"check", work}, nil}, {[]string{"restore", small}, []string{"--book", dir}}, {[]string{"backup", filepath.Join(work, "nowhere", "b.cornerwright")}, here},
		// Recordings.
		{[]string{"check", filepath.Join(work, "nowhere.csv")}, nil}, {[]string{"check", put("empty.csv", "")}, nil}, {[]string{"check", put("head.csv", head)}, nil},
		{[]string{"check", put("unknown.csv", "a,b,c\n1,2,3\n2,3,4\n3,4,5\n")}, nil}, {[]string{"check", put("numbers.csv", "1,2,3\n2,3,4\n3,4,5\n")}, nil}, {[]string{"check", put("words.csv", "this is a letter\nand no recording\n")}, nil},
		{[]string{"check", put("nospeed.csv", "Time [s],Latitude [deg],Longitude [deg]\n1,48.2,11.4\n2,48.2001,11.4\n3,48.2002,11.4\n")}, nil}, {[]string{"check", put("noplace.csv", "Time [s],GPS speed [km/h]\n1,48.2\n2,48.2\n3,50\n")}, nil},
		{[]string{"check", put("notime.csv", "Latitude [deg],Longitude [deg],GPS speed [km/h]\n48.2,11.4,50\n48.2001,11.4,50\n48.2002,11.4,51\n")}, nil},
		{[]string{"check", put("unit.csv", "Time [s],Latitude [deg],Longitude [deg],Front wheel speed [kmph/h]\n1,48.2,11.4,50\n2,48.2001,11.4,50\n3,48.2002,11.4,51\n")}, nil},
		{[]string{"check", put("page.csv", "<!doctype html><html><body>sign in</body></html>")}, nil}, {[]string{"check", put("data.json", "{\"a\": 1}")}, nil},
		{[]string{"check", put("settings.toml", bike)}, nil}, {[]string{"check", put("workbook.xlsx", workbook())}, nil}, {[]string{"check", put("bus.log", "(1760000000.000000) can0 123#0102030405060708\n(1760000000.010000) can0 123#0102030405060708\n")}, nil}, {[]string{"check", put("cut.zip", "PK\x03\x04 and no more")}, nil}, {[]string{"check", put("old.mf4", "MDF     4.10    "+strings.Repeat("\x00", 100))}, nil},
		{[]string{"add", put("short.csv", head+"1,48.2,11.4,50\n2,48.2,11.4,50\n")}, here}, {[]string{"add", put("still.csv", head+still())}, here},
		{[]string{"add", small, "--circuit", "Elsewhere"}, here}, {[]string{"add", small, "--bike", "Kestrel"}, here}, {[]string{"add", small, "--day", "tomorrow"}, here}, {[]string{"add", small, "--step", "77"}, here}, {[]string{"add", small, "--slot", "Z"}, here}, {[]string{"add", small, "--database", filepath.Join(work, "nowhere.dbc")}, here}, {[]string{"add", small, "--map", filepath.Join(work, "nowhere.toml")}, here},
		// Column maps.
		{[]string{"check", small, "--map", put("map1.toml", "[[column]]\nfrom = \"Engine speed\"\nchanel = \"rpm\"\n")}, nil}, {[]string{"check", small, "--map", put("map2.toml", "[[column]]\nfrom = \"Engine speed\"\nchannel = \"rmp\"\nunit = \"1/mn\"\n")}, nil}, {[]string{"check", small, "--map", put("map4.toml", "[[column]\n")}, nil},
		{[]string{"check", small, "--map", put("map5.toml", "[[column]]\nfrom = 3\n")}, nil}, {[]string{"check", small, "--map", put("map6.toml", "[[column]]\nfrom = \"Engine speed\"\nchannel = \"rpm\"\nunit = \"km/h\"\n")}, nil},
		// Bike files.
		{[]string{"bike", filepath.Join(work, "nowhere.toml")}, here}, {[]string{"bike", put("bike1.toml", "")}, here}, {[]string{"bike", put("bike2.toml", swap("total_kg", "totl_kg"))}, here}, {[]string{"bike", put("bike3.toml", swap("total_kg = ", "total_kg = -"))}, here},
		{[]string{"bike", put("bike4.toml", swap("[mass]", "[mass"))}, here}, {[]string{"bike", put("bike5.toml", swap("reference = \"A\"", "reference = \"Q\""))}, here}, {[]string{"bike", put("bike6.toml", swap("limiter_rpm", "limit_rpm"))}, here},
		{[]string{"circuit", put("circuit1.toml", "name = \"Brackenfell\"\n[[turn]]\nnumber = 99\nname = \"Nowhere\"\n")}, here}, {[]string{"circuit", put("circuit2.toml", "nme = \"Brackenfell\"\n")}, here},
		{[]string{"circuit", put("circuit3.toml", "name = \"Brackenfell\"\n[[turn]]\napex_m = \"far\"\n")}, here}, {[]string{"circuit", put("circuit4.toml", "name = \"Brackenfell\"\n\n[[turn]]\napex_m = 541\nname = \"Quarry\"\n\n[[turn]]\napex_m = 9999\nname = \"Nowhere\"\n")}, here}, {[]string{"circuit", put("circuit5.toml", "name = \"Brackenfell\"\n[[merge]]\nfrom_m = 1600\nto_m = 1500\n")}, here}, {[]string{"circuit", put("circuit6.toml", "name = \"Brackenfell\"\n[[split]]\nat_m = 300\n")}, here}, {[]string{"circuit", put("circuit7.toml", "name = \"Brackenfell\"\n[gate]\nlat_deg = 480\n")}, here}, {[]string{"circuit", filepath.Join(work, "nowhere.toml")}, here}, {[]string{"circuit", "--show", "Nowhere"}, here},
		{[]string{"circuit", "--rename", "Nowhere", "Here"}, here}, {[]string{"circuit", "--rename", "Brackenfell"}, here}, {[]string{"circuit", "--rename", "Brackenfell", " "}, here}, {[]string{"circuit", "--rename", "Brackenfell", "--show", "Brackenfell", "Here"}, here},
		// What is asked of a book.
		{[]string{"laps", "99"}, here}, {[]string{"laps", "3", "--between", "4"}, here}, {[]string{"laps", "3", "--between", "4,77"}, here}, {[]string{"laps", "zz"}, here}, {[]string{"remark", "1", "--turn", "99", "--says", "pushes-on", "x"}, here}, {[]string{"remark", "1", "--turn", "4", "--says", "pushes-of", "x"}, here}, {[]string{"remark", "1", "--turn", "4", "--phase", "entri", "--says", "pushes-on", "x"}, here},
		{[]string{"remark", "1", "--turn", "4", "--says", "pushes-on", "--strength", "9", "x"}, here}, {[]string{"remark", "1"}, here}, {[]string{"remark", "1", "--strike", "99"}, here}, {[]string{"remark", "1", "it was somehow blue"}, here},
		{[]string{"step", "show", "99"}, here}, {[]string{"step", "load", "x"}, here}, {[]string{"step", "new", "--run", "1", "--take", "r99"}, here}, {[]string{"step", "new", "--run", "1", "--change", "B:slip-tagret[45..50, 80..110] +1"}, here}, {[]string{"step", "new", "--run", "1", "--change", "A:slip-target[45..50, 80..110] +1", "--turn", "4", "--measure", "exit", "--reason", "x", "--surface", "dry", "--tyre", "warm", "--air", "20 C"}, here},
		{[]string{"step", "new", "--run", "1", "--change", "B:slip-target[45..50, 80..110] +9", "--turn", "4", "--measure", "exit", "--reason", "x", "--surface", "dry", "--tyre", "warm", "--air", "20 C"}, here}, {[]string{"step", "new", "--run", "1", "--change", "B:engine-brake[9] -5"}, here}, {[]string{"step", "new", "--run", "1"}, here}, {[]string{"step", "new", "--setting", "slip", "--table", small}, here}, {[]string{"step", "new", "--setting", "engine-brake", "--table", put("table1.txt", "50 20 x 60 70 70\n")}, here}, {[]string{"step", "new", "--setting", "wheel-lift", "--table", put("table2.txt", "4\n")}, here}, {[]string{"step", "keep", "1"}, here}, {[]string{"step", "overrule", "1", "nothing", "because"}, here},
		{[]string{"rehearse", "99"}, here}, {[]string{"plan", "--turn", "10", "--effect", "0.08kg"}, here}, {[]string{"plan", "--turn", "99", "--effect", "0.08s"}, here}, {[]string{"plan", "--turn", "10", "--measure", "exti", "--effect", "0.08s"}, here}, {[]string{"verdict", "99"}, here}, {[]string{"verdict", "--runs", "1,99", "--turn", "4"}, here}, {[]string{"verdict", "--runs", "1,1", "--turn", "4"}, here}, {[]string{"plan", "--turn", "10", "--effect", "-1s"}, here},
		{[]string{"sheet", "99"}, here}, {[]string{"sheet", "show", "99"}, here}, {[]string{"sheet", "history", "wheel-lift"}, here}, {[]string{"sheet", "history", "B:engine-brake[99]"}, here}, {[]string{"sheet", "1", "--paper", filepath.Join(work, "sheet.odt")}, here},
		{[]string{"season", "--turn", "99"}, here}, {[]string{"season", "--circuit", "Nowhere"}, here}, {[]string{"season", "--cells", "slip"}, here}, {[]string{"season", "--measure", "exti"}, here}, {[]string{"export", "1", "--to", filepath.Join(work, "run.xls")}, here}, {[]string{"export", "1", "--to", filepath.Join(work, "nowhere", "run.csv")}, here}, {[]string{"export", "1", "--to", small}, here}, {[]string{"debrief", "1", "--paper", filepath.Join(work, "d.pdf"), "--size", "B7"}, here},
		{[]string{"torque", "1", "1"}, here}, {[]string{"torque", "1", "99"}, here}, {[]string{"torque", "1", "2", "--rpm", "20000"}, here}, {[]string{"convert", filepath.Join(work, "nowhere.csv"), "--to", filepath.Join(work, "o.parquet")}, nil}, {[]string{"convert", filepath.Join(work, "words.csv"), "--to", filepath.Join(work, "o.parquet")}, nil}, {[]string{"convert", small, "--to", small + ".parquet", "--log-file", work}, nil}, {[]string{"debrief", "99"}, here}, {[]string{"tyres", "99"}, here}, {[]string{"serve", "--listen", "nowhere"}, here}, {[]string{"serve", "--listen", ":8765"}, here}, {[]string{"serve", "--listen", "127.0.0.1:99999"}, here}, {[]string{"runs", "--circuit", "Nowhere"}, here}, {[]string{"runs", "--bike", "Kestrel"}, here}, {[]string{"runs", "--log-file", filepath.Join(work, "nowhere", "x.log")}, here},
	} {
		args := append(slices.Clone(c.args), c.book...)
		_, stderr, code := call(t, args...)
		if code == 0 {
			t.Errorf("%v: was taken", c.args)
		}
		if !strings.Contains(stderr, "mend: ") {
			t.Errorf("%v: no mend is told: %s", c.args, stderr)
		}
		clean := func(s string) string {
			for _, d := range []struct{ path, word string }{{dir, "BOOK"}, {work, "WORK"}} {
				s = strings.ReplaceAll(s, d.path, d.word)
			}
			s = processNumber.ReplaceAllString(s, "process N since THEN")
			s = findings.ReplaceAllString(s, "it has: FINDINGS") // a better debrief is no change of the message
			return contentHash.ReplaceAllString(s, "HASH")
		}
		said := stderr
		if i := strings.LastIndex(said, "cornerwright: "); len(c.args) == 0 {
			said = said[i:] // without the list of commands
		}
		fmt.Fprintf(&got, "$ cornerwright %s\n[%d] %s\n", clean(strings.Join(c.args, " ")), code, clean(said))
	}
	golden(t, "messages.txt", got.String())
}

var processNumber = regexp.MustCompile(`process [0-9]+ since [-0-9: ]+`)

var findings = regexp.MustCompile(`it has: r1.*`)

// workbook is the least of an office document.
func workbook() string {
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for _, n := range []string{"[Content_Types].xml", "xl/workbook.xml"} {
		if w, err := z.Create(n); err == nil {
			io.WriteString(w, "<a/>")
		}
	}
	z.Close()
	return b.String()
}

// still is a minute of a bike that stands.
func still() string {
	var b strings.Builder
	for i := range 600 {
		fmt.Fprintf(&b, "%.1f,48.2,11.4,0\n", float64(i)/10)
	}
	return b.String()
}
