package proving_test

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"

	"cornerwright/internal/book"
	"cornerwright/internal/circuit"
	"cornerwright/internal/debrief"
	"cornerwright/internal/demo"
)

// forms are honest ways of writing one and the same ride. Where refused is not
// empty the file cannot be read by any program that does not guess, and the words
// must say so.
var forms = []struct {
	name    string
	write   func(s *sheet, run *demo.Run) []byte
	refused string
	outings int     // runs that it holds, 0 for one
	laps    float64 // s by which a lap may differ, 0 for 2 ms
}{
	{name: "plain", write: func(s *sheet, _ *demo.Run) []byte { return joined(s.lines(",")) }},
	{name: "semicolons, decimal commas, units row, CRLF", write: func(s *sheet, _ *demo.Run) []byte {
		l := s.lines(";", s.heads, s.units)
		for i := 2; i < len(l); i++ {
			l[i] = strings.ReplaceAll(l[i], ".", ",")
		}
		return []byte(strings.Join(l, "\r\n") + "\r\n")
	}},
	{name: "UTF-8 mark, quoted cells", write: func(s *sheet, _ *demo.Run) []byte {
		l := s.lines(",")
		for i := range l {
			l[i] = `"` + strings.ReplaceAll(l[i], ",", `","`) + `"`
		}
		return append([]byte("\ufeff"), joined(l)...)
	}},
	{name: "UTF-16, tabs, decimal commas", write: func(s *sheet, _ *demo.Run) []byte {
		l := s.lines("\t", s.heads, s.units)
		for i := 2; i < len(l); i++ {
			l[i] = strings.ReplaceAll(l[i], ".", ",")
		}
		return wide(joined(l), binary.LittleEndian, true)
	}},
	{name: "UTF-16 big-endian without a mark", write: func(s *sheet, _ *demo.Run) []byte {
		return wide(joined(s.lines(",")), binary.BigEndian, false)
	}},
	{name: "a head twice, the second empty", write: func(s *sheet, _ *demo.Run) []byte {
		s.put("Front brake pressure", "bar", func(int, []string) string { return "" })
		return joined(s.lines(","))
	}},
	{name: "a head twice, both alike", write: func(s *sheet, _ *demo.Run) []byte {
		c := s.col("Front wheel speed")
		s.put("Front wheel speed", "km/h", func(_ int, r []string) string { return r[c] })
		return joined(s.lines(","))
	}},
	{name: "empty columns at the end", write: func(s *sheet, _ *demo.Run) []byte {
		l := s.lines(",")
		for i := range l {
			l[i] += ",,,"
		}
		return joined(l)
	}},
	{name: "time of day in hours, minutes, seconds", write: func(s *sheet, _ *demo.Run) []byte {
		s.change("Time", clock)
		s.units[0] = ""
		return joined(s.lines(","))
	}},
	{name: "time in milliseconds, unit unstated", write: func(s *sheet, _ *demo.Run) []byte {
		s.change("Time", func(v float64) string { return fmt.Sprintf("%.0f", 1000*v) })
		s.units[0] = ""
		return joined(s.lines(","))
	}},
	{name: "positions in degrees and minutes", write: func(s *sheet, _ *demo.Run) []byte {
		s.change("Latitude", minutes)
		s.change("Longitude", minutes)
		s.units[s.col("Latitude")], s.units[s.col("Longitude")] = "", ""
		return joined(s.lines(","))
	}},
	{name: "positions with degree and minute signs", write: func(s *sheet, _ *demo.Run) []byte {
		sign := func(plus, minus string) func(v float64) string {
			return func(v float64) string {
				h, a := plus, math.Abs(v)
				if v < 0 {
					h = minus
				}
				return fmt.Sprintf("%d°%.5f'%s", int(a), 60*(a-math.Floor(a)), h)
			}
		}
		s.change("Latitude", sign("N", "S"))
		s.change("Longitude", sign("E", "W"))
		s.units[s.col("Latitude")], s.units[s.col("Longitude")] = "", ""
		return joined(s.lines(","))
	}},
	{name: "speeds in km/h, unlabelled", write: func(s *sheet, _ *demo.Run) []byte {
		for _, h := range []string{"GPS speed", "Front wheel speed", "Rear wheel speed"} {
			s.units[s.col(h)] = ""
		}
		return joined(s.lines(","))
	}},
	{name: "speeds in m/s, unlabelled", write: func(s *sheet, _ *demo.Run) []byte {
		for _, h := range []string{"GPS speed", "Front wheel speed", "Rear wheel speed"} {
			s.units[s.col(h)] = ""
			s.change(h, func(v float64) string { return fmt.Sprintf("%.3f", v/3.6) })
		}
		return joined(s.lines(","))
	}},
	{name: "no units at all", write: func(s *sheet, _ *demo.Run) []byte { return joined(s.lines(",", s.heads)) }},
	// A lap counter changes on a row: either end is known to one row, 20 ms.
	{name: "a lap column", laps: 0.02, write: func(s *sheet, run *demo.Run) []byte {
		s.put("Lap", "", func(_ int, r []string) string {
			t, _ := strconv.ParseFloat(r[0], 64)
			n := 0
			for _, c := range run.Truth.Crossings {
				if c <= t {
					n++
				}
			}
			return strconv.Itoa(n)
		})
		return joined(s.lines(","))
	}},
	{name: "time that starts anew on every lap, beside the lap", laps: 0.02, write: func(s *sheet, run *demo.Run) []byte {
		s.heads = append([]string{"Lap"}, s.heads...)
		s.units = append([]string{""}, s.units...)
		for i, r := range s.rows {
			t, _ := strconv.ParseFloat(r[0], 64)
			n, from := 0, 0.0
			for _, c := range run.Truth.Crossings {
				if c <= t {
					n, from = n+1, c
				}
			}
			r[0] = fmt.Sprintf("%.3f", t-from)
			s.rows[i] = append([]string{strconv.Itoa(n)}, r...)
		}
		return joined(s.lines(","))
	}},
	{name: "missing values as hyphens", write: func(s *sheet, _ *demo.Run) []byte {
		for _, r := range s.rows {
			for c := range r {
				if r[c] == "" {
					r[c] = "-"
				}
			}
		}
		return joined(s.lines(","))
	}},
	{name: "missing values as NaN, n/a and null", write: func(s *sheet, _ *demo.Run) []byte {
		for i, r := range s.rows {
			for c := range r {
				if r[c] == "" {
					r[c] = []string{"NaN", "n/a", "null"}[(i+c)%3]
				}
			}
		}
		return joined(s.lines(","))
	}},
	{name: "slow channels repeat their last value", write: func(s *sheet, run *demo.Run) []byte {
		var b bytes.Buffer
		if err := run.WriteText(&b, demo.Dialect{Delimiter: ",", Repeat: true}); err != nil {
			panic(err)
		}
		return b.Bytes()
	}},
	{name: "lines before the head and after the end", write: func(s *sheet, _ *demo.Run) []byte {
		l := append([]string{"Rider;not told", "Date;2026-05-14", "Weather;dry, 22 degrees", "", ""}, s.lines(",")...)
		return joined(append(l, "", "Rows,"+strconv.Itoa(len(s.rows)), "Best lap,1:05.1"))
	}},
	{name: "comments and blank lines between the rows", write: func(s *sheet, _ *demo.Run) []byte {
		l := s.lines(",")
		var out []string
		for i, x := range l {
			out = append(out, x)
			if i%4000 == 3999 {
				out = append(out, "# a word in between", "")
			}
		}
		return joined(out)
	}},
	{name: "another ride's rows behind, with its head again", outings: 2, write: func(s *sheet, _ *demo.Run) []byte {
		return joined(append(s.lines(","), cells(secondRide()).lines(",")...))
	}},
	{name: "another ride's rows behind, head left out", outings: 2, write: func(s *sheet, _ *demo.Run) []byte {
		return joined(append(s.lines(","), cells(secondRide()).lines(",")[1:]...))
	}},
	{name: "rows out of order", write: func(s *sheet, _ *demo.Run) []byte {
		for i := 50; i+1 < len(s.rows); i += 97 {
			s.rows[i], s.rows[i+1] = s.rows[i+1], s.rows[i]
		}
		return joined(s.lines(","))
	}},
	{name: "blocks of rows out of order", write: func(s *sheet, _ *demo.Run) []byte {
		for i := 1000; i+1000 < len(s.rows); i += 3000 {
			for k := range 500 {
				s.rows[i+k], s.rows[i+500+k] = s.rows[i+500+k], s.rows[i+k]
			}
		}
		return joined(s.lines(","))
	}},
	{name: "newest row first", write: func(s *sheet, _ *demo.Run) []byte {
		for i, k := 0, len(s.rows)-1; i < k; i, k = i+1, k-1 {
			s.rows[i], s.rows[k] = s.rows[k], s.rows[i]
		}
		return joined(s.lines(","))
	}},
	{name: "rows repeated", write: func(s *sheet, _ *demo.Run) []byte {
		var out [][]string
		for i, r := range s.rows {
			out = append(out, r)
			if i%53 == 0 {
				out = append(out, r)
			}
			if i == 6000 {
				out = append(out, s.rows[i-200:i+1]...)
			}
		}
		s.rows = out
		return joined(s.lines(","))
	}},
	{name: "pipes with blanks around", write: func(s *sheet, _ *demo.Run) []byte { return joined(s.lines(" | ")) }},
	{name: "the last row cut", write: func(s *sheet, _ *demo.Run) []byte {
		b := joined(s.lines(","))
		return b[:len(b)-25]
	}},
	{name: "many at once", write: func(s *sheet, _ *demo.Run) []byte {
		s.change("Time", clock)
		s.units[0] = ""
		s.change("Latitude", minutes)
		s.change("Longitude", minutes)
		s.units[s.col("Latitude")], s.units[s.col("Longitude")] = "", ""
		for i, r := range s.rows {
			for c := range r {
				if r[c] == "" {
					r[c] = "-"
				}
			}
			s.rows[i] = append(r, "", "")
		}
		s.heads, s.units = append(s.heads, "", ""), append(s.units, "", "")
		l := s.lines(";", s.heads, s.units)
		for i := 2; i < len(l); i++ {
			l[i] = strings.ReplaceAll(l[i], ".", ",")
		}
		return wide(joined(append([]string{"Recording;7", ""}, l...)), binary.LittleEndian, true)
	}},
	// A lap in which nobody can tell when: the clock is gone.
	{name: "no time column", refused: "time", write: func(s *sheet, _ *demo.Run) []byte {
		s.heads, s.units = s.heads[1:], s.units[1:]
		for i, r := range s.rows {
			s.rows[i] = r[1:]
		}
		return joined(s.lines(","))
	}},
	{name: "no position", refused: "latitude and longitude", write: func(s *sheet, _ *demo.Run) []byte {
		s.heads[s.col("Latitude")], s.heads[s.col("Longitude")] = "Alpha", "Beta"
		return joined(s.lines(",", s.heads))
	}},
}

func dirtyRide(seed uint64) *demo.Run {
	o := demo.DefaultOptions(1, seed)
	o.Laps, o.RateHz = 5, 50
	o.Causes = []demo.Cause{{Kind: demo.OverBlip, Turn: 1, Size: 1300}}
	return demo.Ride(o)
}

func secondRide() *demo.Run { return dirtyRide(4243) }

// outcome is what add and debrief make of a file.
type outcome struct {
	laps     []float64 // s, timed
	turns    int
	least    []float64 // m/s, least speed of each pass
	episodes map[string]int
	stance   debrief.Stance
	problems []string
}

func through(t *testing.T, file []byte) ([]outcome, error) {
	t.Helper()
	ctx := context.Background()
	b, err := book.Create(t.TempDir() + "/book")
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	k := demo.Heron()
	if _, err := b.AddBike("heron.toml", k.TOML()); err != nil {
		t.Fatal(err)
	}
	res, err := b.Add(ctx, book.AddRequest{Name: "run.csv", Data: file, Bike: k.Name})
	if err != nil {
		return nil, err
	}
	var out []outcome
	for _, run := range res.Runs {
		o := outcome{episodes: map[string]int{}}
		for _, p := range res.Problems {
			o.problems = append(o.problems, fmt.Sprintf("%s %d:%d %s: %s", p.Severity, p.Line, p.Column, p.Channel, p.Text))
		}
		r, err := b.Ride(ctx, run.Number)
		if err != nil {
			t.Fatal(err)
		}
		for _, l := range r.Laps {
			if l.Kind == circuit.TimedLap {
				o.laps = append(o.laps, l.Time())
			}
		}
		o.turns = len(r.Circuit.Turns)
		turn := 0
		most := 0.0
		for i := range r.Passes {
			p := &r.Passes[i]
			o.least = append(o.least, p.MinSpeed)
			if p.Timed && p.Surplus > most {
				most, turn = p.Surplus, p.Turn
			}
		}
		for _, e := range r.Episodes {
			o.episodes[string(e.Kind)]++
		}
		if _, err := b.AddRemark(debrief.Remark{Run: run.Number, Turns: []int{turn}, Says: "pushes-on", Phase: circuit.PhaseEntry, Strength: 2, Words: "it pushes on"}, "rider", ""); err != nil {
			t.Fatal(err)
		}
		d, err := b.Debrief(ctx, run.Number, debrief.Options{})
		if err != nil {
			t.Fatal(err)
		}
		o.stance = d.Findings[0].Stance
		out = append(out, o)
	}
	return out, nil
}

// TestDirtyFiles takes one ride in many honest forms through add and debrief:
// each is read to the same laps, turns, episodes and finding as the plain form,
// or refused with a place and a mend.
func TestDirtyFiles(t *testing.T) {
	run := dirtyRide(4242)
	whole := cells(run)
	var plain outcome
	for _, f := range forms {
		t.Run(strings.ReplaceAll(f.name, " ", "-"), func(t *testing.T) {
			got, err := through(t, f.write(whole.clone(), run))
			if f.refused != "" {
				var e *book.Error
				switch {
				case !errors.As(err, &e):
					t.Fatalf("read, or refused without place and mend: %v", err)
				case !strings.Contains(e.Error(), f.refused) || e.Mend == "":
					t.Errorf("refused with %q, mend %q", e.Error(), e.Mend)
				}
				t.Logf("%s; mend: %s", e.Error(), e.Mend)
				return
			}
			if err != nil {
				t.Fatalf("refused: %v", err)
			}
			if len(got) != max(1, f.outings) {
				t.Fatalf("%d runs, want %d", len(got), max(1, f.outings))
			}
			if f.name == "plain" {
				plain = got[0]
				if len(plain.laps) != 5 || plain.stance != debrief.Agrees {
					t.Fatalf("plain: %d laps, stance %s", len(plain.laps), plain.stance)
				}
				t.Log(plain.laps, plain.episodes)
			}
			for _, p := range got[0].problems {
				t.Log(p)
			}
			within := f.laps
			if within == 0 {
				within = 0.002
			}
			same(t, got[0], plain, within)
		})
	}
}

// same holds what was made of a form against the plain one. Decimals that a form
// does not carry move a lap by less than within (s), a least speed by less than
// 0.1 m/s.
func same(t *testing.T, got, want outcome, within float64) {
	t.Helper()
	if len(got.laps) != len(want.laps) || got.turns != want.turns || len(got.least) != len(want.least) {
		t.Fatalf("%d timed laps, %d turns, %d passes; want %d, %d, %d", len(got.laps), got.turns, len(got.least), len(want.laps), want.turns, len(want.least))
	}
	for i := range got.laps {
		if d := got.laps[i] - want.laps[i]; math.Abs(d) > within {
			t.Errorf("lap %d differs by %.4f s", i+1, d)
		}
	}
	worst := 0.0
	for i := range got.least {
		if d := math.Abs(got.least[i] - want.least[i]); d > worst {
			worst = d
		}
	}
	if worst > 0.1 {
		t.Errorf("a least speed differs by %.2f m/s", worst)
	}
	for k, n := range want.episodes {
		if d := got.episodes[k] - n; d < -1 || d > 1 {
			t.Errorf("%d episodes of %s, want %d", got.episodes[k], k, n)
		}
	}
	if got.stance != want.stance {
		t.Errorf("the remark: %s, want %s", got.stance, want.stance)
	}
}
