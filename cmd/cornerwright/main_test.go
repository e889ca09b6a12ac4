package main

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"os/signal"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"

	"cornerwright/internal/demo"
)

func TestMain(m *testing.M) {
	testscript.Main(sweeping{m}, map[string]func(){"cornerwright": func() {
		ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
		defer stop()
		os.Exit(run(ctx, os.Args[1:], os.Stdin, os.Stdout, os.Stderr, os.Getenv))
	}})
}

// recordings are small files of one circuit, and one of another, ridden once.
var recordings = sync.OnceValue(func() map[string][]byte {
	k := demo.Heron()
	out := map[string][]byte{"bike.toml": k.TOML(map[string]demo.Sheet{"A": k.Sheets["A"], "B": k.Sheets["A"].Clone()})}
	for i, name := range []string{"one.csv", "two.csv"} {
		o := demo.DefaultOptions(0, uint64(i)+31)
		o.Laps, o.RateHz = 2, 50
		if i == 1 {
			o.Laps, o.Slots = 9, []string{"A", "A", "B", "B", "A", "A", "B", "B", "A", "A", "A"}
		}
		var b bytes.Buffer
		if err := demo.Ride(o).WriteText(&b, demo.Plain); err != nil {
			panic(err)
		}
		out[name] = b.Bytes()
	}
	o := demo.DefaultOptions(1, 33)
	o.Laps, o.RateHz = 2, 50
	var b bytes.Buffer
	if err := demo.Ride(o).WriteText(&b, demo.Plain); err != nil {
		panic(err)
	}
	out["elsewhere.csv"] = b.Bytes()
	return out
})

// The commands as scripts, with the recordings beside them.
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{Dir: "testdata/script", UpdateScripts: os.Getenv("UPDATE") != "",
		Setup: func(e *testscript.Env) error {
			for name, data := range recordings() {
				if err := os.WriteFile(filepath.Join(e.WorkDir, name), data, 0o644); err != nil {
					return err
				}
			}
			return os.WriteFile(filepath.Join(e.WorkDir, "binary.csv"), bytes.Repeat([]byte{0, 7, 0xff, 1}, 4000), 0o644)
		}})
}

func call(t *testing.T, args ...string) (stdout, stderr string, code int) {
	t.Helper()
	var o, e bytes.Buffer
	code = run(context.Background(), args, strings.NewReader(""), &o, &e, func(string) string { return "" })
	return o.String(), e.String(), code
}

// Every command has a help that ends with an example of itself, and every
// completion script and the manual page name every command.
func TestEveryCommandHelpsAndIsCompleted(t *testing.T) {
	man, _, _ := call(t, "man")
	for _, c := range commands {
		out, _, code := call(t, append([]string{"help"}, strings.Fields(c.name)...)...)
		if code != 0 || !strings.Contains(out, "usage: cornerwright "+c.name) || !strings.HasSuffix(out, c.example+"\n") {
			t.Errorf("help of %s: code %d\n%s", c.name, code, out)
		}
		if !strings.Contains(c.example, "cornerwright") {
			t.Errorf("the example of %s does not run the program: %s", c.name, c.example)
		}
		if !strings.Contains(man, strings.ReplaceAll(c.name, "-", `\-`)) {
			t.Errorf("the manual page lacks %s", c.name)
		}
	}
	for _, sh := range []string{"bash", "zsh", "fish"} {
		out, _, code := call(t, "completion", sh)
		for _, n := range nouns() {
			if code != 0 || !strings.Contains(out, n) {
				t.Errorf("completion for %s lacks %s", sh, n)
			}
		}
	}
}

func TestWrongUsage(t *testing.T) {
	for _, args := range [][]string{{}, {"lap"}, {"step"}, {"step", "fly"}, {"laps", "--colour"}, {"laps", "1", "2"}, {"verdict"}, {"completion", "powder"}, {"version", "x"}, {"plan"}} {
		if len(args) > 0 && (args[0] == "laps" || args[0] == "verdict" || args[0] == "plan") {
			args = append(args, "--book", t.TempDir())
		}
		_, stderr, code := call(t, args...)
		if code != 2 && !(code == 1 && strings.Contains(stderr, "no book")) || !strings.HasPrefix(stderr[strings.Index(stderr, "cornerwright:"):], "cornerwright:") {
			t.Errorf("%v: code %d, %s", args, code, stderr)
		}
	}
}

// The JSON contract: the fields that other programs rely on are there, by name,
// and unknown values are absent.
func TestJSONContract(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "book")
	files := t.TempDir()
	for name, data := range recordings() {
		os.WriteFile(filepath.Join(files, name), data, 0o644)
	}
	steps := [][]string{{"new", dir}, {"bike", filepath.Join(files, "bike.toml"), "--book", dir}, {"add", filepath.Join(files, "one.csv"), "--book", dir},
		{"remark", "last", "--turn", "7", "--phase", "entry", "--says", "pushes-on", "it shoves me", "--book", dir},
		{"step", "new", "--run", "last", "--setting", "wheel-lift", "--by", "-1", "--turn", "7", "--measure", "segment", "--reason", "it lifts", "--surface", "dry", "--tyre", "warm", "--air", "20 C", "--book", dir},
		{"step", "load", "1", "--book", dir}, {"add", filepath.Join(files, "two.csv"), "--book", dir}}
	for _, s := range steps {
		if _, stderr, code := call(t, s...); code != 0 {
			t.Fatalf("%v: %d %s", s, code, stderr)
		}
	}
	for _, c := range []struct{ args, fields string }{
		{"laps 1", "run circuit gate.lat_deg gate.lon_deg gate.heading_deg laps.lap laps.kind laps.start_s laps.end_s laps.slot laps.marks"},
		{"turns 1", "turns.turn turns.direction turns.entry_m turns.apex_m turns.exit_m turns.apex_lat_deg turns.apex_lon_deg turns.min_radius_m passes.lap passes.turn passes.min_speed_kmh passes.max_lean_deg"},
		{"episodes 2", "episodes.kind episodes.lap episodes.start_s episodes.end_s episodes.lean_deg episodes.speed_kmh episodes.inferred"},
		{"tyres 2", "front rear samples"},
		{"debrief 1", "run health findings.id findings.remark findings.turn findings.phase findings.stance findings.text findings.measures findings.proposals"},
		{"rehearse 1 --run 1", "step laps footprint.turn footprint.phase footprint.dwell_s footprint.share_pct changes.turn changes.measure changes.before changes.after_lo guards score.n score.text"},
		{"verdict 1", "step design primary.turn primary.measure primary.effect_s primary.lo_s primary.hi_s primary.p primary.n_ref primary.n_trial primary.answer watch.turn watch.answer conditions"},
		{"plan --turn 7 --effect 0.2s --run 2", "turn measure order laps card"},
		{"runs", "runs.run runs.id runs.problems"},
		{"channels 1", "channels.name channels.from channels.unit channels.rate_hz"},
		{"verify", "originals faults"},
		{"season trials", "trials.step trials.runs trials.setting trials.shape trials.measure trials.answer trials.rehearsed combined score.n score.text false_alarms.checks"},
		{"sheet history B:wheel-lift", "bike history.slot history.setting history.sheet history.value history.step history.state"},
	} {
		out, stderr, code := call(t, append(strings.Fields(c.args), "--json", "--book", dir)...)
		if code != 0 {
			t.Errorf("%s: code %d, %s", c.args, code, stderr)
			continue
		}
		var v any
		if err := json.Unmarshal([]byte(out), &v); err != nil {
			t.Errorf("%s: %v", c.args, err)
			continue
		}
		for _, f := range strings.Fields(c.fields) {
			if !has(v, strings.Split(f, ".")) {
				t.Errorf("%s --json lacks %s:\n%.400s", c.args, f, out)
			}
		}
		if strings.Contains(out, ": null") || strings.Contains(out, "NaN") {
			t.Errorf("%s --json holds null or NaN", c.args)
		}
	}
	// The cell went down by one with the step that was loaded.
	text, _, _ := call(t, "sheet", "history", "B:wheel-lift", "--book", dir)
	if l := strings.Split(strings.TrimSpace(text), "\n"); len(l) < 3 || !strings.Contains(l[len(l)-1], "loaded") || !strings.Contains(l[len(l)-1], "it lifts") {
		t.Errorf("history of a cell:\n%s", text)
	}
	for cell, want := range map[string]string{"B:engine-brake[99]": "gear", "B:nothing": "no setting", "wheel-lift": "slot"} {
		if _, stderr, code := call(t, "sheet", "history", cell, "--book", dir); code == 0 || !strings.Contains(stderr, want) {
			t.Errorf("history of %s: code %d, %s", cell, code, stderr)
		}
	}
	out, _, code := call(t, "check", filepath.Join(files, "one.csv"), "--json")
	for _, f := range []string{`"format"`, `"rows"`, `"channels"`, `"first_s"`, `"problems"`, `"gaps"`} {
		if code != 0 || !strings.Contains(out, f) {
			t.Errorf("check --json lacks %s", f)
		}
	}
}

// has tells whether a path of names leads to a value; in a list, in any of it.
func has(v any, path []string) bool {
	if list, ok := v.([]any); ok {
		for _, x := range list {
			if has(x, path) {
				return true
			}
		}
		return false
	}
	if len(path) == 0 {
		return v != nil
	}
	m, ok := v.(map[string]any)
	if !ok {
		return false
	}
	x, ok := m[path[0]]
	if !ok {
		return false
	}
	if len(path) == 1 {
		return true
	}
	return has(x, path[1:])
}

// The day of the demo goes from text files to two verdicts: the real effect is
// found with the truth inside its interval, the nil effect is not claimed.
func TestDemoDay(t *testing.T) {
	dir, err := demoBook()
	if err != nil {
		t.Fatal(err)
	}
	out := demoSaid
	for _, want := range []string{"verdict on step 1: better", "inside the interval", "step 1 is kept", "guards: ", "rehearsal of step 1", "plan:", "the data say: agrees", "the data say: contradicts", "step 2 is reverted", "book: ", "change sheet of step 1: "} {
		if !strings.Contains(out, want) {
			t.Errorf("the demo does not print %q", want)
		}
	}
	if strings.Contains(out, "verdict on step 2: better") || strings.Contains(out, "verdict on step 2: worse") {
		t.Error("the nil effect is claimed")
	}
	if _, err := os.Stat(dir + "-recordings/change-sheet-1.html"); err != nil {
		t.Error(err)
	}
}
