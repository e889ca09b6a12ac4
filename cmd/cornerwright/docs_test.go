package main

import (
	"flag"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// The day of docs/using.md is typed line by line in an empty folder, as a
// newcomer would. A line that fails, or says nothing of what it should, breaks
// the page.
func TestDayOfTheDocs(t *testing.T) {
	page, err := os.ReadFile(filepath.Join("..", "..", "docs", "using.md"))
	if err != nil {
		t.Fatal(err)
	}
	_, rest, ok := strings.Cut(string(page), "## A day")
	if !ok {
		t.Fatal("docs/using.md has no section A day")
	}
	_, rest, _ = strings.Cut(rest, "```\n")
	block, _, ok := strings.Cut(rest, "```")
	if !ok || strings.Count(block, "cornerwright ") < 12 {
		t.Fatalf("the day has lost its commands:\n%s", block)
	}
	dir := t.TempDir()
	bin := filepath.Join(dir, "bin")
	build := exec.Command("go", "build", "-o", filepath.Join(bin, "cornerwright"), ".")
	if out, err := build.CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	sh := exec.Command("bash", "-euo", "pipefail", "-c", block)
	sh.Dir = dir
	sh.Env = append(os.Environ(), "PATH="+bin+string(os.PathListSeparator)+os.Getenv("PATH"), "CORNERWRIGHT_BOOK=")
	out, err := sh.CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	for _, want := range []string{"10 timed laps", "agrees", "step 1, proposed", "guards:", "To show 0.080 s", "verdict on step 1: better", "step 1 is kept"} {
		if !strings.Contains(string(out), want) {
			t.Errorf("the day does not say %q", want)
		}
	}
	for _, f := range []string{"debrief.pdf", "sheet.pdf"} {
		if b, err := os.ReadFile(filepath.Join(dir, f)); err != nil || !strings.HasPrefix(string(b), "%PDF-") {
			t.Errorf("%s: %v", f, err)
		}
	}
}

var (
	docLine  = regexp.MustCompile("(?m)(?:^(?:    )?|`)(cornerwright [a-z][^`\n]*)")
	docRun   = regexp.MustCompile(`-(run|bench|fuzz) ('[^']*'|\S+)`)
	docTests = regexp.MustCompile("go test [^`\n]*")
)

// Every command line in the documents names a command that is there and options
// that it takes.
func TestCommandsOfTheDocs(t *testing.T) {
	seen := 0
	for _, path := range documents(t) {
		text, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range docLine.FindAllStringSubmatch(string(text), -1) {
			line, _, _ := strings.Cut(m[1], " #")
			words := strings.Fields(line)[1:]
			if words[0] == "help" || strings.HasSuffix(words[0], "|") {
				continue
			}
			seen++
			c, _ := find(words)
			if c == nil {
				t.Errorf("%s: there is no such command: %s", path, line)
				continue
			}
			a := &app{getenv: func(string) string { return "" }}
			for _, w := range words {
				name, isOption := strings.CutPrefix(w, "--")
				if !isOption || name == "" {
					continue
				}
				name, _, _ = strings.Cut(name, "=")
				if !slices.ContainsFunc(a.flagsOf(c), func(f *flag.Flag) bool { return f.Name == name }) {
					t.Errorf("%s: %s takes no --%s: %s", path, c.name, name, line)
				}
			}
		}
	}
	if seen < 30 {
		t.Errorf("only %d command lines were found", seen)
	}
}

// Every test and benchmark that a figure is said to come from is there.
func TestFiguresNameTheirTests(t *testing.T) {
	var sources strings.Builder
	root := filepath.Join("..", "..")
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err == nil && strings.HasSuffix(path, "_test.go") {
			b, rerr := os.ReadFile(path)
			sources.Write(b)
			err = rerr
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	names := regexp.MustCompile(`(?m)^func ((?:Test|Benchmark|Fuzz)\w+)\(`).FindAllStringSubmatch(sources.String(), -1)
	seen := 0
	for _, path := range documents(t) {
		text, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		for _, line := range docTests.FindAllString(strings.ReplaceAll(string(text), "\\|", "|"), -1) {
			for _, m := range docRun.FindAllStringSubmatch(line, -1) {
				want := strings.Trim(m[2], "'")
				if strings.EqualFold(want, "xxx") || want == "^$" || strings.Contains(want, "NAME") {
					continue
				}
				seen++
				for part := range strings.SplitSeq(strings.Split(want, "/")[0], "|") {
					re, err := regexp.Compile(part)
					kind := map[string]string{"run": "Test", "bench": "Benchmark", "fuzz": "Fuzz"}[m[1]]
					if err != nil || !slices.ContainsFunc(names, func(n []string) bool { return strings.HasPrefix(n[1], kind) && re.MatchString(n[1]) }) {
						t.Errorf("%s: no %s is named like %q: %s", path, kind, part, line)
					}
				}
			}
		}
	}
	if seen < 30 {
		t.Errorf("only %d tests are named", seen)
	}
}

// documents are the pages that people read.
func documents(t *testing.T) []string {
	t.Helper()
	root := filepath.Join("..", "..")
	list, err := filepath.Glob(filepath.Join(root, "docs", "*.md"))
	if err != nil || len(list) < 10 {
		t.Fatal("the documents are not found", err)
	}
	return append(list, filepath.Join(root, "README.md"))
}
