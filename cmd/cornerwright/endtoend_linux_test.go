package main

import (
	"context"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"syscall"
	"testing"
	"time"

	"cornerwright/internal/demo"
	"cornerwright/internal/proving"
)

var program = flag.String("program", "", "measure this `FILE` in place of one built now")

// Recordings of BenchmarkEndToEnd: timed laps that take about so many minutes.
// The filled one repeats the last value of slow channels where the other leaves
// blanks.
var endToEnd = []struct {
	name   string
	laps   int
	filled bool
}{{"20min", 11, false}, {"20min-filled", 11, true}, {"60min", 35, false}}

func writeLong(path string, laps int, filled bool) error {
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	if err := proving.WriteLong(f, laps, filled); err != nil {
		return err
	}
	return f.Close()
}

// The recordings are written by another process: the memory of this one would
// count as that of the programs it starts.
func init() {
	if i, err := strconv.Atoi(os.Getenv("CORNERWRIGHT_WRITE")); err == nil {
		if err := writeLong(os.Getenv("CORNERWRIGHT_WRITE_TO"), endToEnd[i].laps, endToEnd[i].filled); err != nil {
			panic(err)
		}
		os.Exit(0)
	}
}

// From the command to the answer: each round makes a book on the disk, then runs
// the program twice, add and debrief, in processes of their own. The circuit is
// learnt from the recording. Reported are the clock and the processor's seconds
// of both together and the largest resident memory of either.
func BenchmarkEndToEnd(b *testing.B) {
	dir := b.TempDir()
	bin := *program
	if bin == "" {
		bin = filepath.Join(dir, "cornerwright")
		build := exec.Command("go", "build", "-o", bin, ".")
		build.Env = append(os.Environ(), "CGO_ENABLED=0")
		if out, err := build.CombinedOutput(); err != nil {
			b.Fatalf("%v\n%s", err, out)
		}
	}
	k := demo.Heron()
	bike := filepath.Join(dir, "bike.toml")
	if err := os.WriteFile(bike, k.TOML(map[string]demo.Sheet{"A": k.Sheets["A"], "B": k.Sheets["A"].Clone()}), 0o644); err != nil {
		b.Fatal(err)
	}
	for i, c := range endToEnd {
		b.Run(c.name, func(b *testing.B) {
			text := filepath.Join(dir, c.name+".csv")
			gen := exec.Command(os.Args[0])
			gen.Env = append(os.Environ(), fmt.Sprintf("CORNERWRIGHT_WRITE=%d", i), "CORNERWRIGHT_WRITE_TO="+text)
			if out, err := gen.CombinedOutput(); err != nil {
				b.Fatalf("%v\n%s", err, out)
			}
			info, err := os.Stat(text)
			if err != nil {
				b.Fatal(err)
			}
			var total, add, processor float64
			var peak int64
			call := func(args ...string) float64 {
				cmd := exec.CommandContext(context.Background(), bin, args...)
				from := time.Now()
				out, err := cmd.CombinedOutput()
				took := time.Since(from).Seconds()
				if err != nil {
					b.Fatalf("%v: %v\n%s", args, err, out)
				}
				processor += (cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime()).Seconds()
				if use, ok := cmd.ProcessState.SysUsage().(*syscall.Rusage); ok {
					peak = max(peak, int64(use.Maxrss))
				}
				return took
			}
			n := 0
			for b.Loop() {
				book := filepath.Join(dir, fmt.Sprintf("%s-%d", c.name, n))
				n++
				was := processor
				call("new", book)
				call("bike", bike, "--book", book)
				processor = was
				took := call("add", text, "--book", book)
				add += took
				total += took + call("debrief", "last", "--book", book)
				os.RemoveAll(book)
			}
			b.ReportMetric(0, "ns/op")
			b.ReportMetric(total/float64(n), "s")
			b.ReportMetric(add/float64(n), "s-add")
			b.ReportMetric(processor/float64(n), "s-processor")
			b.ReportMetric(float64(peak)/1024, "MB-resident")
			b.ReportMetric(float64(info.Size())/1e6, "MB-text")
		})
	}
}
