package book

import (
	"bufio"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// A child process that is to be killed finds in these what it works on.
const (
	childBook     = "CORNERWRIGHT_TEST_BOOK"
	childOther    = "CORNERWRIGHT_TEST_OTHER"
	childTarget   = "CORNERWRIGHT_TEST_TARGET"
	childFixtures = "CORNERWRIGHT_TEST_FIXTURES"
)

// A process that is killed by the system at a random instant of a day leaves a
// book that opens, with all that it had acknowledged on its standard output
// before: 20 children, with CORNERWRIGHT_FULL=1 as many as it takes to kill 500, two
// under the race detector.
func TestKilledBySignal(t *testing.T) {
	if dir := os.Getenv(childBook); dir != "" { // this is the child
		b, err := Open(dir)
		if err != nil {
			t.Fatal(err)
		}
		fmt.Println("child: open")
		_, errs := aDay(t, b, os.Getenv(childOther), os.Getenv(childTarget), true, func(what, value string) {
			os.Stdout.WriteString("ack\t" + what + "\t" + value + "\n") // one write, so never half a line
		})
		if len(errs) > 0 {
			t.Fatal(errs)
		}
		b.Close()
		return
	}
	kills := 20
	if full() {
		kills = 500
	} else if raceOn {
		kills = 2
	}
	base, other, fix := one(t), otherLaptop(t), t.TempDir()
	os.WriteFile(filepath.Join(fix, "bike"), fixtures().bike, 0o644)
	for i, r := range fixtures().runs {
		os.WriteFile(filepath.Join(fix, fmt.Sprint(i)), r, 0o644)
	}
	rng := rand.New(rand.NewPCG(9, 1))
	var day time.Duration // how long one takes that nobody kills
	killed, acks, children := 0, 0, 0
	for i := -1; i < kills || full() && killed < kills && i < 2*kills; i++ {
		root := must[string](t)(os.MkdirTemp("", "cornerwright-kill-"))
		dir := filepath.Join(root, "book")
		copyTree(t, base, dir)
		cmd := exec.Command(os.Args[0], "-test.run=^TestKilledBySignal$")
		cmd.Env = append(os.Environ(), childBook+"="+dir, childOther+"="+other, childTarget+"="+filepath.Join(root, "backup.zip"), childFixtures+"="+fix)
		out := must[interface {
			Read([]byte) (int, error)
			Close() error
		}](t)(cmd.StdoutPipe())
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		a := acked{remarks: map[string]bool{}, runs: map[string]bool{}}
		lines := bufio.NewScanner(out)
		var begun time.Time
		for lines.Scan() {
			f := strings.Split(lines.Text(), "\t")
			if f[0] == "child: open" {
				begun = time.Now()
				if i >= 0 {
					time.AfterFunc(time.Duration(rng.Float64()*1.05*float64(day)), func() { cmd.Process.Kill() })
				}
			}
			if len(f) == 3 && f[0] == "ack" {
				a.note(f[1], f[2])
				acks++
			}
		}
		err := cmd.Wait()
		children++
		if begun.IsZero() {
			t.Fatalf("the child did not begin: %v", err)
		}
		if i < 0 {
			day = time.Since(begun)
			if err != nil || len(a.remarks) != 3 || len(a.runs) != 1 || !a.loaded || a.backup == "" {
				t.Fatalf("a day that nobody kills: %v, %+v", err, a)
			}
		} else if err != nil && !strings.HasPrefix(err.Error(), "exit status") {
			killed++
		} else if err != nil {
			t.Errorf("kill %d: the child failed by itself: %v", i, err)
		}
		mustHold(t, dir, a, fmt.Sprintf("kill %d", i))
		os.RemoveAll(root)
		if t.Failed() {
			t.FailNow()
		}
	}
	t.Logf("%d children killed of %d, within %v each; %d things acknowledged, none lost, every book opened", killed, children, day.Round(time.Millisecond), acks)
	if killed < kills/3 {
		t.Errorf("only %d of %d children died: the kills come too late", killed, kills)
	}
}
