package main

import (
	"os"
	"os/exec"
	"path/filepath"
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
