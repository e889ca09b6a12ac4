package web

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"path/filepath"
	"sort"
	"strings"
	"sync"
	"testing"
	"time"

	"cornerwright/internal/book"
	"cornerwright/internal/circuit"
	"cornerwright/internal/debrief"
	"cornerwright/internal/demo"
	"cornerwright/internal/setting"
)

// demoDay is the folder of the whole day of the demo, with its remarks and
// steps, as a crew would have made it.
var demoDay = sync.OnceValues(func() (string, error) { return made("web-day-", fillDay) })

func fillDay(b *book.Book) error {
	ctx, day := context.Background(), demo.Day(1)
	k, err := b.AddBike("heron.toml", day.Bike)
	if err != nil {
		return err
	}
	for i := range day.Runs {
		d := &day.Runs[i]
		if d.Step != nil {
			if err := demoStep(ctx, b, k, d.Step); err != nil {
				return err
			}
		}
		var w bytes.Buffer
		if err := d.WriteText(&w); err != nil {
			return err
		}
		res, err := b.Add(ctx, book.AddRequest{Name: d.File, Data: w.Bytes(), Bike: k.Name, Tyre: d.Tyre, Note: d.Note, Weather: "dry", Day: "2026-05-14"})
		if err != nil {
			return err
		}
		for _, m := range d.Remarks {
			if _, err := b.AddRemark(debrief.Remark{Run: res.Runs[0].Number, Turns: m.Turns, Phase: circuit.Phase(m.Phase), Says: debrief.Complaint(m.Says), Strength: m.Strength, Words: m.Words}, "demo", ""); err != nil {
				return err
			}
		}
		if d.Step != nil {
			list, err := b.Steps("")
			if err != nil {
				return err
			}
			n := list[len(list)-1].ID
			for _, s := range list {
				n = max(n, s.ID)
			}
			if _, err := b.SetStepState(n, book.Loaded, book.Kept, "demo", "for the benchmark", res.Runs[0].Number); err != nil {
				return err
			}
		}
	}
	return nil
}

func demoStep(ctx context.Context, b *book.Book, k book.BikeRecord, p *demo.StepPlan) error {
	last, err := b.Run("last")
	if err != nil {
		return err
	}
	sheet, err := b.CurrentSheet(k.Name)
	if err != nil {
		return err
	}
	st := k.Bike.Setting(p.Setting)
	c := setting.Change{Slot: p.Slot, Setting: p.Setting, By: p.By}
	switch st.Kind {
	case setting.Grid:
		c.Rows, c.Columns = &setting.Band{From: p.Rows[0], To: p.Rows[1]}, &setting.Band{From: p.Columns[0], To: p.Columns[1]}
	case setting.List:
		c.Gears = []int{p.Gear}
	}
	s, err := c.Propose(st, sheet.Sheet)
	if err != nil {
		return err
	}
	s.Run, s.Reason, s.Primary = last.Number, p.Reason, setting.Primary{Turn: p.Turn, Measure: p.Measure, Expect: "less", Matters: 0.05}
	o := book.StepOptions{Author: "demo", Why: "the step before it is judged", Conditions: book.Conditions{Surface: "dry", Tyre: "warm", Air: "22 C, no wind"}}
	got, err := b.NewStep(ctx, s, o)
	if errors.Is(err, book.ErrConflict) {
		for _, g := range got.Guards {
			if !g.Pass && !g.Hard {
				s.Overrules = append(s.Overrules, setting.Overrule{Guard: g.Guard, Who: "demo", Reason: "for the benchmark"})
			}
		}
		got, err = b.NewStep(ctx, s, o)
	}
	if err != nil {
		return err
	}
	_, err = b.SetStepState(got.ID, book.Proposed, book.Loaded, "demo", "", 0)
	return err
}

// season is the small book with its first run copied until there are n: all that
// the tables hold of a run, under new names, beside one recording.
func season(b *testing.B, n int) string {
	b.Helper()
	k := aBook(b)
	dir := k.Dir()
	if err := k.Close(); err != nil {
		b.Fatal(err)
	}
	db, err := sql.Open("sqlite", "file:"+filepath.Join(dir, "book.db"))
	if err != nil {
		b.Fatal(err)
	}
	defer db.Close()
	columns := func(table string) []string {
		rows, err := db.Query(`SELECT name FROM pragma_table_info('` + table + `')`)
		if err != nil {
			b.Fatal(err)
		}
		defer rows.Close()
		var out []string
		for rows.Next() {
			var c string
			if err := rows.Scan(&c); err != nil {
				b.Fatal(err)
			}
			out = append(out, c)
		}
		return out
	}
	columnsOf := map[string][]string{}
	for _, t := range []string{"meeting", "run", "told", "remark", "result", "pass", "visit"} {
		columnsOf[t] = columns(t)
	}
	tx, err := db.Begin()
	if err != nil {
		b.Fatal(err)
	}
	exec := func(q string, args ...any) {
		if _, err := tx.Exec(q, args...); err != nil {
			b.Fatal(q, err)
		}
	}
	// A copy of a row with some columns changed.
	copyRow := func(table, where string, change map[string]string) string {
		var to []string
		for _, c := range columnsOf[table] {
			if v, ok := change[c]; ok {
				to = append(to, v)
			} else {
				to = append(to, c)
			}
		}
		return fmt.Sprintf(`INSERT INTO %s SELECT %s FROM %s WHERE %s`, table, strings.Join(to, ", "), table, where)
	}
	for i := 3; i <= n; i++ {
		meeting := fmt.Sprintf("'season-%03d'", i/6)
		if i%6 == 0 || i == 3 {
			exec(copyRow("meeting", "id = (SELECT meeting FROM run WHERE number = 1)", map[string]string{"id": meeting, "day": fmt.Sprintf("date('2026-01-01', '+%d day')", i/6)}))
		}
		run := fmt.Sprint(i)
		exec(copyRow("run", "number = 1", map[string]string{"number": run, "id": fmt.Sprintf("'copy%06d'", i), "meeting": meeting, "outing": run}))
		exec(copyRow("told", "run = 1", map[string]string{"id": "NULL", "uid": "hex(randomblob(16))", "run": run}))
		exec(copyRow("remark", "run = 1", map[string]string{"id": "NULL", "uid": "hex(randomblob(16))", "run": run}))
		for _, t := range []string{"result", "pass", "visit"} {
			exec(copyRow(t, "run = 1", map[string]string{"run": run}))
		}
	}
	if err := tx.Commit(); err != nil {
		b.Fatal(err)
	}
	return dir
}

// pages asks every page for reading and reports the time to its last byte: of
// the first time after the book was opened, in the middle and of 95 %.
func pages(b *testing.B, dir, run, step string, aim time.Duration) {
	k, err := book.Open(dir)
	if err != nil {
		b.Fatal(err)
	}
	defer k.Close()
	s := aSite(b, k)
	x, err := k.Run(run)
	if err != nil {
		b.Fatal(err)
	}
	routes := s.routes()
	var every []time.Duration
	for _, r := range routes {
		if !strings.HasPrefix(r.pattern, "GET ") || isStream(r.pattern) {
			continue
		}
		p := rules[r.pattern].path
		p = strings.NewReplacer("MEETING", url.PathEscape(x.Meeting), "CIRCUIT", url.PathEscape(x.Circuit), "HASH", x.Original, "/run/1", "/run/"+fmt.Sprint(x.Number), "/phone/1", "/phone/"+fmt.Sprint(x.Number), "/step/1", "/step/"+step).Replace(p)
		b.Run(strings.TrimPrefix(r.pattern, "GET "), func(b *testing.B) {
			var took []time.Duration
			ask := func() {
				req := httptest.NewRequest("GET", "http://127.0.0.1:8765"+p, nil)
				req.Header.Set("Accept", "text/html")
				req.Header.Set("Accept-Encoding", "gzip")
				began := time.Now()
				w := s.crew.do(req)
				took = append(took, time.Since(began))
				if w.Code != http.StatusOK && w.Code != http.StatusSeeOther {
					b.Fatalf("%s: %d %.200s", p, w.Code, w.Body)
				}
			}
			ask()
			cpu, n := cpuTime(), 0
			for b.Loop() {
				ask()
				n++
			}
			b.ReportMetric(float64((cpuTime()-cpu).Microseconds())/1000/float64(n), "cpu-ms")
			first := took[0]
			every = append(every, took[1:]...)
			took = took[1:]
			sort.Slice(took, func(i, j int) bool { return took[i] < took[j] })
			b.ReportMetric(float64(first.Microseconds())/1000, "first-ms")
			b.ReportMetric(float64(took[len(took)/2].Microseconds())/1000, "p50-ms")
			b.ReportMetric(float64(took[min(len(took)-1, len(took)*95/100)].Microseconds())/1000, "p95-ms")
		})
	}
	if len(every) == 0 {
		return
	}
	sort.Slice(every, func(i, j int) bool { return every[i] < every[j] })
	in := sort.Search(len(every), func(i int) bool { return every[i] > aim })
	b.Logf("%d requests over all pages: 95 %% in %v; %.1f %% within %v", len(every), every[min(len(every)-1, len(every)*95/100)], 100*float64(in)/float64(len(every)), aim)
}

// BenchmarkDemoDay asks every page of the day of the demo. The aim: 95 % of
// requests within 100 ms.
func BenchmarkDemoDay(b *testing.B) {
	dir, err := demoDay()
	if err != nil {
		b.Fatal(err)
	}
	pages(b, dir, "last", "1", 100*time.Millisecond)
}

// BenchmarkSeason asks every page of a book of 500 runs. The aim: 200 ms.
func BenchmarkSeason(b *testing.B) { pages(b, season(b, 500), "1", "1", 200*time.Millisecond) }
