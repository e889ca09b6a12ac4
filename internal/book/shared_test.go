package book

import (
	"bytes"
	"testing"

	"cornerwright/internal/demo"
)

// What the position estimate makes all laps of a run err by in common reaches a
// comparison of two runs, from the passes that the book keeps: some milliseconds for a
// time between places, nothing for a speed.
func TestSharedErrorReachesTheVerdict(t *testing.T) {
	b := newTestBook(t)
	var runs []verdictRun
	for k := range 2 {
		o := demo.DefaultOptions(0, uint64(31+k))
		o.Laps, o.RateHz = 6, 50
		var text bytes.Buffer
		if err := demo.Ride(o).WriteText(&text, demo.Plain); err != nil {
			t.Fatal(err)
		}
		if _, err := b.Add(bg, AddRequest{Name: "run.csv", Data: text.Bytes()}); err != nil {
			t.Fatal(err)
		}
	}
	for _, word := range []string{"1", "2"} {
		runs = append(runs, must[verdictRun](t)(b.verdictRun(bg, must[Run](t)(b.Run(word)))))
	}
	most := 0.0
	for turn := 1; turn <= 10; turn++ {
		own := 0.0
		for _, l := range passLaps(must[measure](t)(measureByName("segment")), turn, runs) {
			own = max(own, l.ValueSE)
		}
		m := verdictMeasure(must[measure](t)(measureByName("segment")), turn, runs)
		most = max(most, m.CommonSE)
		if !(m.CommonSE > 0) || m.CommonSE > own {
			t.Errorf("turn %d: %.4f s in common, of %.4f s a lap", turn, m.CommonSE, own)
		}
		if c := verdictMeasure(must[measure](t)(measureByName("exit-speed")), turn, runs).CommonSE; c != 0 {
			t.Errorf("turn %d: an exit speed shares %v", turn, c)
		}
	}
	if most < 0.001 {
		t.Errorf("%.4f s in common at most", most)
	}
}
