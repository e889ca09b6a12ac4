package book

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"cornerwright/internal/circuit"
)

const seasonRuns = 2000

// aSeason is a book of 2,000 runs of 20 minutes by 32 channels, as far as a
// book's tables are concerned: 12 laps of 12 turns in the per-pass table of each,
// a stored result, a tyre, a note and a remark each, the visits of every setting,
// over 250 meetings at ten circuits with four sheets' worth of steps. Its runs
// share one original and have no column files: no question about a season opens
// either.
func aSeason(t testing.TB) string {
	return template(t, "season", func(b *Book) {
		addRun(t, b, 0)
		r := must[Run](t)(b.Run("1"))
		s := must[*Summary](t)(b.Summary(bg, 1))
		// Laps and passes to the number that 20 minutes hold.
		long := *s
		laps := len(s.Laps)
		for l := laps; l < 14; l++ {
			x := s.Laps[1+l%max(1, laps-1)]
			x.Number = l
			long.Laps = append(long.Laps, x)
		}
		turns := 0
		for _, p := range s.Passes {
			turns = max(turns, p.Turn)
		}
		for l := 3; l < 14; l++ {
			for _, p := range s.Passes {
				if p.Lap == s.Passes[len(s.Passes)-1].Lap {
					p.Lap = l
					long.Passes = append(long.Passes, p)
				}
			}
		}
		data := must[[]byte](t)(b.pack(&long))
		circuits := []string{r.Circuit}
		if err := b.tx(func(t *tx) error {
			c, _, err := b.circuitAt(r.Circuit, r.Line)
			if err != nil {
				return err
			}
			for i := 2; i <= 10; i++ {
				x := *c
				x.Name = fmt.Sprintf("Circuit %d", i)
				circuits = append(circuits, x.Name)
				if err := t.saveCircuit(&x, "generated", nil); err != nil {
					return err
				}
			}
			line := map[string]int{r.Circuit: r.Line}
			for n := 2; n <= seasonRuns; n++ {
				name := circuits[n/8%10]
				if name != r.Circuit {
					line[name] = 1
				}
				day := time.Date(2024, 3, 1, 0, 0, 0, 0, time.UTC).AddDate(0, 0, n/8*3)
				meeting := day.Format("2006-01-02") + "-" + slug(name)
				if err := t.exec(`INSERT INTO meeting VALUES (?,?,?,'',?) ON CONFLICT DO NOTHING`, meeting, name, day.Format("2006-01-02"), t.at); err != nil {
					return err
				}
				if err := t.exec(`INSERT INTO run (id, meeting, bike, bike_version, circuit, name, original, outing, from_s, to_s, format, rows, started, added, duration, sheet, step, map, problems)
					SELECT printf('%016x', ?1), ?2, bike, bike_version, ?3, ?4, original, ?1, 0, 1200, format, 120000, ?5, added, 1200, sheet, 0, NULL, problems FROM run WHERE number = 1`,
					n, meeting, name, fmt.Sprintf("run%04d.csv", n), day.Add(time.Duration(n%8)*time.Hour).UnixMilli()); err != nil {
					return err
				}
				if err := t.told(n, "tyre", fmt.Sprint("set ", n/4), ""); err != nil {
					return err
				}
				if err := t.told(n, "note", []string{"windy", "damp in the morning", "new chain", "traffic"}[n%4], ""); err != nil {
					return err
				}
				if err := t.index(n, fmt.Sprintf("run%04d.csv %s %s", n, name, meeting)); err != nil {
					return err
				}
				if err := t.exec(`INSERT INTO remark (uid, run, turns, phase, lean, says, strength, words, rider, said, who, added) VALUES (?,?,'[7]','entry','','pushes-on',2,?,'rider',0,'rider',?)`, uid(), n, fmt.Sprint("it shoves me on ", n), t.at); err != nil {
					return err
				}
				if err := t.exec(`INSERT INTO result VALUES (?,?,?,?,?,?)`, n, method, line[name], 12, 95.0+float64(n%50)/100, data); err != nil {
					return err
				}
				for l := 1; l <= 12; l++ {
					if err := t.exec(`INSERT OR REPLACE INTO pass SELECT ?1, turn, ?2, CASE WHEN ?2 % 2 THEN 'A' ELSE 'B' END, 1, segment + ?3, entry_time, exit_time, entry_speed, min_speed, exit_speed, max_lean, mean_decel, cut_time, peak_slip, push,
						surplus, air_time, limiter_time, brake_m, pickup_m FROM pass WHERE run = 1 AND lap = (SELECT max(lap) FROM pass WHERE run = 1 AND timed = 1)`, n, l, float64((n*7+l*13)%100)/200); err != nil {
						return err
					}
				}
				if err := t.exec(`INSERT INTO visit SELECT ?1, setting, row, col, 1 + (turn + ?1) % 7, dwell, laps FROM visit WHERE run = 1`, n); err != nil {
					return err
				}
			}
			return nil
		}); err != nil {
			t.Fatal(err)
		}
	})
}

// seasonQuestions are what is asked of a season, each to be answered from
// stored tables.
func seasonQuestions(t testing.TB) map[string]func(*Book) int {
	return map[string]func(*Book) int{
		"open": func(b *Book) int {
			x := must[*Book](t)(Open(b.Dir(), ReadOnly()))
			defer x.Close()
			return len(must[[]Meeting](t)(x.Meetings()))
		},
		"list":     func(b *Book) int { return len(must[[]Run](t)(b.Runs(RunFilter{}))) },
		"meetings": func(b *Book) int { return len(must[[]Meeting](t)(b.Meetings())) },
		"search":   func(b *Book) int { return len(must[[]Run](t)(b.Runs(RunFilter{Words: "damp set"}))) },
		"run":      func(b *Book) int { return must[Run](t)(b.Run("1234")).Number },
		"laps":     func(b *Book) int { return len(must[[]circuit.Lap](t)(b.Laps(bg, 1234))) },
		"cells": func(b *Book) int {
			k := must[BikeRecord](t)(b.Bike(""))
			n := 0
			for _, s := range k.Bike.Settings {
				n += len(must[[]CellVisit](t)(b.Visits(k.Name, s.ID, "")))
			}
			return n
		},
		"measure": func(b *Book) int {
			p, _, err := b.Season(SeasonQuery{Circuit: "Circuit 3", Turn: 7, Measure: "segment"})
			if err != nil {
				t.Fatal(err)
			}
			return len(p)
		},
		"stale": func(b *Book) int { return 1 + len(must[[]int](t)(b.Stale())) },
	}
}

// Every question about a season is answered from a book of 2,000 runs.
func BenchmarkSeason(b *testing.B) {
	x := openCopy(b, aSeason(b))
	for name, ask := range seasonQuestions(b) {
		b.Run(name, func(b *testing.B) {
			if ask(x) == 0 {
				b.Fatal("no answer")
			}
			for b.Loop() {
				ask(x)
			}
		})
	}
	b.Run("open-locking", func(b *testing.B) {
		x.Close()
		for b.Loop() {
			y := must[*Book](b)(Open(x.Dir()))
			y.Close()
		}
	})
	data, err := os.ReadFile("/proc/self/status")
	if err == nil {
		for l := range strings.Lines(string(data)) {
			if strings.HasPrefix(l, "VmHWM") {
				b.Logf("%d runs, book.db %d MB, greatest memory of the whole process %s", seasonRuns, must[os.FileInfo](b)(os.Stat(filepath.Join(x.Dir(), "book.db"))).Size()>>20, strings.Join(strings.Fields(l)[1:], " "))
			}
		}
	}
}

// The season's tables answer each question, and an index serves those that
// would otherwise read a table of every pass or visit.
func TestSeasonIsIndexed(t *testing.T) {
	b := newTestBook(t, 0)
	for _, c := range []struct{ query, want string }{
		{`SELECT v.row, v.col, r.circuit, v.turn, sum(v.dwell), count(*) FROM visit v JOIN run r ON r.number = v.run WHERE r.bike = 'x' AND v.setting = 'y' GROUP BY v.row, v.col, r.circuit, v.turn`, "visit_setting"},
		{`SELECT value FROM told WHERE run = 1`, "told_run"},
		{`SELECT * FROM remark WHERE run = 1`, "remark_run"},
		{`SELECT * FROM pass WHERE run = 1 AND turn = 2`, "PRIMARY KEY"},
		{`SELECT word FROM mark WHERE kind = 'run' AND ref = 1`, "mark_ref"},
	} {
		var plan []string
		if err := each(b.r, func(s scanner) error {
			var id, parent, x int
			var line string
			err := s.Scan(&id, &parent, &x, &line)
			plan = append(plan, line)
			return err
		}, `EXPLAIN QUERY PLAN `+c.query); err != nil {
			t.Fatal(err)
		}
		if all := strings.Join(plan, "; "); !strings.Contains(all, c.want) {
			t.Errorf("%s\nis answered by: %s\nwant %s", c.query, all, c.want)
		}
	}
}

// Computing a season anew tells how far it is, stops when asked, keeps what is
// done, and goes on from there. A change of the method is what makes it due.
func TestRecomputeStopsAndResumes(t *testing.T) {
	b := newTestBook(t, 0, 1)
	if _, err := b.w.Exec(`UPDATE result SET method = method - 1, laps = 0`); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(bg)
	told := 0
	procs := runtime.GOMAXPROCS(1)
	_, err := b.Recompute(ctx, func(done, of int) {
		told++
		if of != 2 || done != told {
			t.Errorf("%d of %d", done, of)
		}
		cancel()
	})
	runtime.GOMAXPROCS(procs)
	if err != context.Canceled {
		t.Errorf("stopped: %v", err)
	}
	left := must[[]int](t)(b.Stale())
	if len(left) > 1 {
		t.Errorf("stopped after %d, and %v are left: nothing was kept", told, left)
	}
	if failed, err := b.Recompute(bg, nil); err != nil || len(failed) > 0 {
		t.Error(failed, err)
	}
	if st := must[[]int](t)(b.Stale()); len(st) > 0 {
		t.Errorf("after resuming %v are left", st)
	}
	for _, r := range must[[]Run](t)(b.Runs(RunFilter{})) {
		if r.Laps != 2 {
			t.Errorf("run %d has %d laps", r.Number, r.Laps)
		}
	}
}
