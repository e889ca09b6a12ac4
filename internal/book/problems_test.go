package book

import (
	"bytes"
	"strings"
	"testing"

	"cornerwright/internal/demo"
	"cornerwright/internal/recording"
)

// TestAnalysisTellsItsProblems adds a run in which the analysis, not the reading,
// finds something: the answer and the run must both say so, once.
func TestAnalysisTellsItsProblems(t *testing.T) {
	b := newTestBook(t)
	o := demo.DefaultOptions(0, 23)
	o.Laps, o.RateHz, o.Nasty.GPSDrift = 4, 50, 6e-5
	var text bytes.Buffer
	if err := demo.Ride(o).WriteText(&text, demo.Plain); err != nil {
		t.Fatal(err)
	}
	res := must[AddResult](t)(b.Add(bg, AddRequest{Name: "two clocks.csv", Data: text.Bytes()}))
	count := func(ps []recording.Problem) (n int) {
		for _, p := range ps {
			if strings.Contains(p.Text.String(), "the GPS clock loses") {
				n++
			}
		}
		return n
	}
	if n := count(res.Problems); n != 1 {
		t.Errorf("the answer tells of two clocks %d times: %v", n, res.Problems)
	}
	r := must[Run](t)(b.Run("1"))
	var texts []string
	for _, p := range r.Problems {
		texts = append(texts, p.Text.String())
	}
	if n := count(r.Problems); n != 1 {
		t.Errorf("the run tells of two clocks %d times: %s", n, strings.Join(texts, "; "))
	}
}
