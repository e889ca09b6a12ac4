package intake

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"cornerwright/internal/recording"
)

// between applies f to a column on rows [from, to).
func (t *tour) between(name string, from, to int, f func(v float64) float64) {
	c := t.col(name)
	for i := from; i < to; i++ {
		t.rows[i][c] = f(t.rows[i][c])
	}
}

// cutRows takes rows [from, to) away.
func (t *tour) cutRows(from, to int) { t.rows = append(t.rows[:from:from], t.rows[to:]...) }

func set(x float64) func(float64) float64  { return func(float64) float64 { return x } }
func plus(x float64) func(float64) float64 { return func(v float64) float64 { return v + x } }

// held repeats a tour's GPS columns on every k-th row's value, as loggers do.
func (t *tour) held(k int) {
	for _, n := range []string{"Latitude", "Longitude", "GPS speed"} {
		c := t.col(n)
		for i := range t.rows {
			t.rows[i][c] = t.rows[i-i%k][c]
		}
	}
}

// Every kind of mark: found where it is due, at its place, and not just below
// its limit.
func TestHealthMarks(t *testing.T) {
	const at = 100 * tourRate // row at 100 s
	type span = recording.Span
	for _, c := range []struct {
		name    string
		spoil   func(t *tour)
		channel string
		kind    recording.MarkKind // "" for none at all
		span    span
	}{
		{"gap of seven rows", func(t *tour) { t.cutRows(at+1, at+7) }, recording.RPM, recording.Gap, span{From: 100, To: 100.35}},
		{"gap of six rows", func(t *tour) { t.cutRows(at+1, at+6) }, recording.RPM, "", span{}},
		{"dropout of one second", func(t *tour) { t.between("Fork", at+1, at+20, set(nan)) }, recording.Fork, recording.Dropout, span{From: 100, To: 101}},
		{"dropout of 0.3 s", func(t *tour) { t.between("Fork", at+1, at+6, set(nan)) }, recording.Fork, "", span{}},
		{"wheel stuck for 6 s", func(t *tour) { t.between("Front wheel", at, at+6*tourRate+1, set(150)) }, recording.FrontSpeed, recording.Stuck, span{From: 100, To: 106}},
		{"wheel stuck for half a second", func(t *tour) { t.between("Front wheel", at, at+tourRate/2+1, set(150)) }, recording.FrontSpeed, recording.Stuck, span{From: 100, To: 100.5}},
		{"wheel still for 0.25 s", func(t *tour) { t.between("Front wheel", at, at+tourRate/4+1, set(150)) }, recording.FrontSpeed, "", span{}},
		{"wheel in steps of 5 km/h, still for 2 s", func(t *tour) {
			t.between("Front wheel", 0, len(t.rows), func(v float64) float64 { return 5 * math.Round(v/5) })
			t.between("Front wheel", at, at+2*tourRate, set(150))
		}, recording.FrontSpeed, "", span{}},
		{"fork stuck for 6 s", func(t *tour) { t.between("Fork", at, at+6*tourRate+1, set(41)) }, recording.Fork, recording.Stuck, span{From: 100, To: 106}},
		{"fork still for 4.5 s", func(t *tour) { t.between("Fork", at, at+9*tourRate/2, set(41)) }, recording.Fork, "", span{}},
		{"throttle stuck half open", func(t *tour) { t.between("Throttle", at, at+25*tourRate+1, set(63)) }, recording.Throttle, recording.Stuck, span{From: 100, To: 125}},
		{"throttle closed for long", func(t *tour) { t.between("Throttle", at, at+25*tourRate+1, set(-0.5)) }, recording.Throttle, "", span{}},
		{"brake at rest for long", func(t *tour) {
			t.between("Front brake", 0, len(t.rows), func(v float64) float64 { return math.Max(0, v-0.1) })
			t.between("Front brake", at, at+60*tourRate, set(0))
		}, recording.FrontBrake, "", span{}},
		{"speed spike of 40 km/h", func(t *tour) { t.between("Front wheel", at, at+1, plus(40)) }, recording.FrontSpeed, recording.Spike, span{From: 100, To: 100}},
		{"speed off by 10 km/h", func(t *tour) { t.between("Front wheel", at, at+1, plus(10)) }, recording.FrontSpeed, "", span{}},
		{"two samples off are no spike", func(t *tour) { t.between("Front wheel", at, at+2, plus(40)) }, recording.FrontSpeed, "", span{}},
		{"position spike of 60 m", func(t *tour) { t.between("Latitude", at, at+1, plus(60/111200.0)) }, recording.Latitude, recording.Spike, span{From: 100, To: 100}},
		{"position off by 5 m", func(t *tour) { t.between("Latitude", at, at+1, plus(5/111200.0)) }, recording.Latitude, "", span{}},
		{"lean spike of 25 degrees", func(t *tour) { t.between("Lean", at, at+1, plus(25)) }, recording.Lean, recording.Spike, span{From: 100, To: 100}},
		{"engine speed of 21000", func(t *tour) { t.between("Engine speed", at, at+3, set(21000)) }, recording.RPM, recording.OutOfRange, span{From: 100, To: 100.1}},
		{"engine speed of 19900", func(t *tour) { t.between("Engine speed", at, at+3, set(19900)) }, recording.RPM, "", span{}},
		{"gear 9", func(t *tour) { t.between("Gear", at, at+3, set(9)) }, recording.Gear, recording.OutOfRange, span{From: 100, To: 100.1}},
		{"coolant of 170 °C", func(t *tour) { t.between("Coolant", at, at+5, set(170)) }, recording.Coolant, recording.OutOfRange, span{From: 100, To: 100.2}},
		{"fork at the end of its scale", func(t *tour) { t.between("Fork", 0, len(t.rows), func(v float64) float64 { return math.Min(v, 55) }) }, recording.Fork, recording.Saturated, span{From: -1}},
		{"front brake that nobody pulls", func(t *tour) { t.between("Front brake", 0, len(t.rows), set(0)) }, recording.FrontBrake, recording.Stuck, span{From: 0, To: 240 - 1.0/tourRate}},
		{"grip that nobody turns", func(t *tour) { t.between("Grip", 0, len(t.rows), set(0)) }, recording.Grip, recording.Stuck, span{From: 0, To: 240 - 1.0/tourRate}},
		{"gear that stands in neutral", func(t *tour) { t.between("Gear", 0, len(t.rows), set(0)) }, recording.Gear, recording.Stuck, span{From: 0, To: 240 - 1.0/tourRate}},
		{"fork whole", func(*tour) {}, recording.Fork, "", span{}},
		{"clock 50 s back", func(t *tour) { t.between("Time", at, len(t.rows), plus(-50)) }, recording.RPM, recording.ClockJump, span{From: 99.95, To: 100}},
		{"clock an hour ahead while riding", func(t *tour) { t.between("Time", at, len(t.rows), plus(3600)) }, recording.RPM, recording.ClockJump, span{From: 99.95, To: 100}},
		{"clock set to the day", func(t *tour) { t.between("Time", at, len(t.rows), plus(1772964000)) }, recording.RPM, recording.ClockJump, span{From: 99.95, To: 100}},
		{"a true pause", func(t *tour) {
			t.between("Time", at, len(t.rows), plus(600))
			t.between("Latitude", at, len(t.rows), plus(0.02))
		}, recording.RPM, recording.Gap, span{From: 99.95, To: 700}},
		{"reception lost for 3 s", func(t *tour) {
			t.held(4)
			for i := at + 1; i < at+60; i++ {
				for _, n := range []string{"Latitude", "Longitude", "GPS speed"} {
					t.rows[i][t.col(n)] = t.rows[at][t.col(n)]
				}
			}
		}, recording.Latitude, recording.Dropout, span{From: 100, To: 103}},
		{"fixes repeated, none lost", func(t *tour) { t.held(4) }, recording.Latitude, "", span{}},
	} {
		t.Run(c.name, func(t *testing.T) {
			tr := newTour(3)
			c.spoil(tr)
			rec, _ := tr.read(t, nil)
			ch := rec.Channel(c.channel)
			if c.kind == "" {
				if len(ch.Marks) > 0 {
					t.Fatalf("marked: %+v", ch.Marks[0])
				}
				for _, p := range told(rec, c.channel, recording.Warning) {
					t.Errorf("warned: %s", p.Text)
				}
				return
			}
			found := false
			for _, m := range ch.Marks {
				if m.Kind != c.kind {
					t.Errorf("marked %s %v to %v too: %s", m.Kind, m.From, m.To, m.Text)
					continue
				}
				found = found || c.span.From < 0 || math.Abs(m.From-c.span.From) < 1e-6 && math.Abs(m.To-c.span.To) < 1e-6
			}
			if !found {
				t.Errorf("no mark %s %v to %v: %+v", c.kind, c.span.From, c.span.To, ch.Marks)
			}
			if n := countWarnings(rec); n == 0 {
				t.Error("nothing is said")
			}
			if c.kind == recording.ClockJump {
				// The clock goes on evenly: four minutes, no row lost.
				if s := rec.Span(); math.Abs(s.To-s.From-(240-1.0/tourRate)) > 1e-6 || len(ch.Value) != 240*tourRate {
					t.Errorf("%v to %v, %d samples", s.From, s.To, len(ch.Value))
				}
			}
		})
	}
}

func countWarnings(rec *recording.Recording) int {
	n := 0
	for _, p := range rec.Problems {
		if p.Severity != recording.Note {
			n++
		}
	}
	return n
}

// Rate, jitter and quantisation step of a channel are reported as they are.
func TestReportedRates(t *testing.T) {
	tr := newTour(4)
	tr.drop("Longitude") // one column fewer must not matter
	for i := range tr.rows {
		tr.rows[i][0] += 0.01 * math.Sin(float64(i)*1.7)
		tr.rows[i][tr.col("Air temp")] = math.Round(tr.rows[i][tr.col("Air temp")]*2) / 2
	}
	tr.names[tr.col("Coolant")] = "Coolant [°F]"
	_, res := tr.read(t, nil)
	rec := res.Recordings[0]
	for _, c := range rec.Channels {
		if c.Name != recording.Coolant {
			continue
		}
		if math.Abs(c.Rate()-tourRate) > 0.5 || c.Jitter() < 0.15 || c.Jitter() > 0.4 {
			t.Errorf("rate %v, jitter %v", c.Rate(), c.Jitter())
		}
		if math.Abs(c.Step-1e-4*5/9) > 1e-12 { // four decimals of °F, in K
			t.Errorf("step %v", c.Step)
		}
	}
}

// How far GPS runs behind the wheels is told from 0.1 s on, though a leant wheel
// rolls on a smaller radius.
func TestWheelOffset(t *testing.T) {
	for _, delay := range []float64{0, 0.05, 0.4, 0.9} {
		tr := newTour(5)
		k := int(delay * tourRate)
		front, lean := tr.col("Front wheel"), tr.col("Lean")
		for _, r := range tr.rows {
			r[front] /= 1 - 0.2*(1-math.Cos(r[lean]*math.Pi/180))
		}
		for _, n := range []string{"Latitude", "Longitude", "GPS speed"} {
			c := tr.col(n)
			for i := len(tr.rows) - 1; i >= 0; i-- {
				tr.rows[i][c] = tr.rows[max(0, i-k)][c]
			}
		}
		rec, _ := tr.read(t, nil)
		said := ""
		for _, p := range rec.Problems {
			if strings.Contains(p.Text.String(), "behind the wheels") {
				said = p.Text.String()
				if want := recording.Note; delay < 0.5 && p.Severity != want {
					t.Errorf("delay %v: severity %s", delay, p.Severity)
				}
			}
		}
		if (said != "") != (delay >= 0.1) {
			t.Errorf("delay %v: says %q", delay, said)
		}
		if said == "" {
			continue
		}
		var got float64
		if _, err := fmt.Sscanf(said, "GPS runs about %f s behind the wheels", &got); err != nil || math.Abs(got-delay) > 0.05 {
			t.Errorf("delay %v: says %q", delay, said)
		}
	}
}
