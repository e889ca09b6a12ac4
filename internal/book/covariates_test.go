package book

import (
	"bytes"
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"

	"cornerwright/internal/demo"
	"cornerwright/internal/recording"
	"cornerwright/internal/verdict"
)

// A logged track temperature reaches the answer as a covariate, with the mean of
// every lap; the tyre's age and a tank that empties with the laps do not, and the
// verdict says why.
func TestVerdictAdjustsForTrackTemperature(t *testing.T) {
	o := demo.DefaultOptions(0, 23)
	o.Laps, o.RateHz = 12, 50
	o.Slots = []string{"A", "A", "B", "B", "A", "A", "B", "B", "A", "A", "B", "B", "A", "A"}
	var text bytes.Buffer
	if err := demo.Ride(o).WriteText(&text, demo.Plain); err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimSpace(text.String()), "\n")
	track := func(at float64) float64 { return 40 + 4*math.Sin(at/90) }
	for i := range lines {
		add := ",Asphalt temperature [degC],Fuel level [l]"
		if i > 0 {
			at, err := strconv.ParseFloat(lines[i][:strings.Index(lines[i], ",")], 64)
			if err != nil {
				t.Fatal(err)
			}
			add = fmt.Sprintf(",%.1f,%.2f", track(at), 18-at/100)
		}
		lines[i] += add
	}
	b := newTestBook(t)
	if _, err := b.Add(bg, AddRequest{Name: "trial.csv", Data: []byte(strings.Join(lines, "\n") + "\n"), Tyre: "rear set 1, 4 laps"}); err != nil {
		t.Fatal(err)
	}
	v, err := b.Verdict(bg, VerdictRequest{Runs: []int{1}, Turn: 3})
	if err != nil {
		t.Fatal(err)
	}
	said := map[string]string{}
	for _, c := range v.Conditions {
		said[c.Kind] = c.Text.String()
	}
	if !strings.HasPrefix(said["adjusted"], "adjusted for track temperature (") {
		t.Errorf("adjusted: %q of %+v", said["adjusted"], v.Conditions)
	}
	for _, want := range []string{"laps on the tyre: run and lap number tell it already", "fuel: run and lap number tell it already", "air temperature: laps differ by less than 1.5 °C"} {
		if !strings.Contains(said["not-adjusted"], want) {
			t.Errorf("not adjusted: %q lacks %q", said["not-adjusted"], want)
		}
	}
	run := must[Run](t)(b.Run("1"))
	vr := must[verdictRun](t)(b.verdictRun(bg, run))
	vs := []verdictRun{vr}
	if err := b.drift(bg, vs); err != nil {
		t.Fatal(err)
	}
	for _, l := range vr.laps {
		got, ok := vs[0].drift[l.Number]["track-temperature"]
		want, n := 0.0, 0
		for at := l.Start; at < l.End; at += 0.1 {
			want += track(at)
			n++
		}
		if want /= float64(n); !ok || math.Abs(got-want) > 0.1 {
			t.Errorf("lap %d: track %v, want %.2f °C", l.Number, got, want)
		}
		if age := vs[0].drift[l.Number]["tyre-laps"]; age != float64(4+l.Number) {
			t.Errorf("lap %d: %v laps on the tyre", l.Number, age)
		}
	}
	// Read from the original where the column file cannot serve.
	b.means.Clear()
	if err := b.fs.Remove(b.columnPath(run.Meeting, run.Bike, run.ID)); err != nil {
		t.Fatal(err)
	}
	again := []verdictRun{vr}
	if err := b.drift(bg, again); err != nil {
		t.Fatal(err)
	}
	for lap, m := range vs[0].drift {
		if again[0].drift[lap]["track-temperature"] != m["track-temperature"] {
			t.Errorf("lap %d: %v from the original, %v from the column file", lap, again[0].drift[lap], m)
		}
	}
}

func TestCovariateChannels(t *testing.T) {
	for _, c := range []struct {
		channel recording.Channel
		want    string
	}{
		{recording.Channel{Name: recording.AirTemp, Known: true, Unit: "K", From: "T_amb"}, "air-temperature"},
		{recording.Channel{Name: recording.Coolant, Known: true, Unit: "K", From: "Track coolant"}, ""},
		{recording.Channel{Name: "Track temp", Unit: "K", From: "Track temp"}, "track-temperature"},
		{recording.Channel{Name: "x", Unit: "K", From: "Streckentemperatur"}, "track-temperature"},
		{recording.Channel{Name: "x", Unit: "K", From: "Rear tyre surface temp"}, ""},
		{recording.Channel{Name: "x", Unit: "m", From: "Track width"}, ""},
		{recording.Channel{Name: "x", Unit: "m3", SourceUnit: "l", From: "Fuel remaining"}, "fuel"},
		{recording.Channel{Name: "x", Unit: "kg", SourceUnit: "kg", From: "Kraftstoffmasse"}, "fuel-mass"},
		{recording.Channel{Name: "x", Unit: "1", SourceUnit: "%", From: "Tank level"}, "fuel-level"},
		{recording.Channel{Name: "x", Unit: "Pa", SourceUnit: "bar", From: "Fuel pressure"}, ""},
		{recording.Channel{Name: "x", Unit: "m3/s", SourceUnit: "l/h", From: "Fuel"}, ""},
		{recording.Channel{Name: "x", Unit: "1", SourceUnit: "%", From: "Fuel trim"}, ""},
	} {
		if got, _, _ := covariateOf(&c.channel); got != c.want {
			t.Errorf("%q [%s]: %q, want %q", c.channel.From, c.channel.SourceUnit, got, c.want)
		}
	}
}

// The age of a set is told, or counted from runs on it, never guessed.
func TestTyreAge(t *testing.T) {
	for words, want := range map[string]int{"rear set 2, new": 0, "set 1, 12 laps": 12, "Satz 3, neu": 0, "set 1": -1, "": -1, "renewed set": -1} {
		got, ok := toldAge(words)
		if !ok {
			got = -1
		}
		if got != want {
			t.Errorf("%q: %d, want %d", words, got, want)
		}
	}
	b := newTestBook(t)
	for i, tyre := range []string{"set 1, 3 laps", "set 1", "set 1"} {
		if _, err := b.Add(bg, AddRequest{Name: fmt.Sprint(i, ".csv"), Data: fixtures().runs[i], Tyre: tyre}); err != nil {
			t.Fatal(err)
		}
	}
	laps := 3
	for n := 1; n <= 3; n++ {
		run := must[Run](t)(b.Run(fmt.Sprint(n)))
		age, ok, err := b.tyreAge(bg, run)
		if err != nil || !ok || age != laps {
			t.Errorf("run %d began on tyres of %d laps (%v, %v), want %d", n, age, ok, err, laps)
		}
		ls, err := b.Laps(bg, n)
		if err != nil {
			t.Fatal(err)
		}
		laps += len(ls)
	}
	// Whole runs on the same set, the trial on older rubber: said before the answer.
	v := must[*verdict.Verdict](t)(b.Verdict(bg, VerdictRequest{Runs: []int{1, 2}, Turn: 7}))
	found := false
	for _, c := range v.Conditions {
		found = found || c.Kind == "tyre-laps" && c.Weight == verdict.Weakens
	}
	if !found {
		t.Errorf("the age of the tyres is not said: %+v, refusal %+v", v.Conditions, v.Refusal)
	}
}
