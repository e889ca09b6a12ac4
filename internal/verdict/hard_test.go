package verdict

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// Hard sets: each must give a sound answer or a plain refusal that says what
// would do, never a panic, a NaN in JSON or a claim that the laps do not carry.
func TestHardSets(t *testing.T) {
	r := func() *rand.Rand { return rand.New(rand.NewPCG(61, 6)) }
	long := "ABBAABBAABBAABBA"
	change := func(order string, effect float64, f func(i int, l *Lap)) []Lap {
		laps := ride(1, order, r(), 0.03, effect)
		for i := range laps {
			f(i, &laps[i])
		}
		return laps
	}
	repeat := func(laps []Lap) []Lap { return append(append([]Lap(nil), laps...), laps...) }
	for _, c := range []struct {
		name    string
		laps    []Lap
		runs    []Run
		want    Answer // "" for a refusal
		kind    string
		because string
	}{
		{"the slot is missing on some laps", change(long, -0.2, func(i int, l *Lap) {
			if i%5 == 2 {
				l.Slot = ""
			}
		}), nil, Better, "", "the slot of 3 laps is not known"},
		{"the slot flickers through a third one", change(long, -0.2, func(i int, l *Lap) {
			if i%4 == 3 {
				l.Slot = "C"
			}
		}), nil, Better, "", "slot C was ridden on 4 laps in between"},
		{"every lap is listed twice", repeat(ride(1, "ABBAABBA", r(), 0.03, 0)), nil, "", "input", "stands twice"},
		{"trial laps at the end only", ride(1, "AAAAAAAABBBB", r(), 0.03, -0.5), nil, "", "design", "switched once only"},
		{"three laps a side", ride(1, "ABBAAB", r(), 0.03, -0.5), nil, "", "too-few-laps", "fewer than 4 a side"},
		{"two and two in blocks", ride(1, "AABB", r(), 0.03, -0.5), nil, "", "too-few-laps", "A B B A A B B A"},
		{"all laps the same", change(long, 0, func(i int, l *Lap) { l.Value = 21.5 }), nil, NoDifference, "", "very lap has the same value"},
		{"two values only", change(long, 0, func(i int, l *Lap) { l.Value = 21.5 - 0.2*float64(b2i(l.Slot == "B")) }), nil, NotEnoughLaps, "", "no scatter at all"},
		{"half of the values withheld", change(long+long, -0.2, func(i int, l *Lap) {
			if i%8 < 4 {
				l.Value = math.NaN()
			}
		}), nil, Better, "", ""},
		{"infinite and absurd values", change(long, -0.2, func(i int, l *Lap) {
			switch i {
			case 3:
				l.Value = math.Inf(1)
			case 6:
				l.Value = 1e9
			case 9:
				l.Value = math.Inf(-1)
			}
		}), nil, Better, "", ""},
		{"every lap slower than the other session", change(long, -0.2, func(i int, l *Lap) { l.Value += 30 }), nil, Better, "", ""},
		{"a fifth of the laps slow", change(long, -0.2, func(i int, l *Lap) {
			if i%5 == 1 {
				l.Value += 1 + 0.1*float64(i)
			}
		}), nil, Better, "", ""},
		{"lap numbers that jump", change(long, -0.2, func(i int, l *Lap) { l.Number += 10 * (i / 4) }), nil, Better, "", ""},
		{"lap numbers all alike", change(long, -0.2, func(i int, l *Lap) { l.Number = 4 }), nil, "", "input", "stands twice"},
		{"position lost on most laps", change(long, -0.2, func(i int, l *Lap) {
			l.ValueSE = 0.02
			if i%8 != 0 && i%8 != 1 {
				l.ValueSE = 0.5
			}
		}), nil, NotEnoughLaps, "", ""},
		{"two runs on bikes apart", append(ride(1, "AAAAAA", r(), 0.03, 0), ride(2, "BBBBBB", r(), 0.03, -0.5)...),
			[]Run{{ID: 1, Bike: "Heron 998"}, {ID: 2, Bike: "Plover 600"}}, "", "input", "different bikes"},
		{"a run nobody described", append(ride(1, "AAAAAA", r(), 0.03, 0), ride(9, "BBBBBB", r(), 0.03, -0.5)...), []Run{{ID: 1}}, Better, "", "between runs"},
		{"huge numbers", change(long, 0, func(i int, l *Lap) { l.Value *= 1e300 }), nil, "", "input", "out of all proportion"},
		{"tiny numbers", change(long, 0, func(i int, l *Lap) { l.Value *= 1e-300 }), nil, "", "input", "out of all proportion"},
	} {
		m := segment(c.laps)
		w := m
		w.Turn, w.Name, w.Better, w.Unit = 6, "slip", Neutral, "%"
		v := Decide(Question{Primary: m, Watch: []Measure{w}, Reference: "A", Trial: "B", Runs: c.runs})
		text := fmt.Sprint(v.Rider, " ", v.Engineer)
		for _, x := range v.Conditions {
			text += " " + fmt.Sprint(x.Text)
		}
		for _, x := range v.Primary.Warnings {
			text += " " + fmt.Sprint(x)
		}
		if j, err := json.Marshal(v); err != nil || strings.Contains(string(j), "NaN") || strings.Contains(text, "NaN") || strings.Contains(text, "Inf") {
			t.Errorf("%s: %v %s %s", c.name, err, j, text)
		}
		if (v.Refusal != nil) != (c.want == "") || v.Refusal != nil && v.Refusal.Kind != c.kind {
			t.Errorf("%s: %s, refusal %+v", c.name, v.Primary.Answer, v.Refusal)
			continue
		}
		if c.want != "" && v.Primary.Answer != c.want {
			t.Errorf("%s: answered %s (%v to %v), want %s", c.name, v.Primary.Answer, v.Primary.Lo, v.Primary.Hi, c.want)
		}
		if !strings.Contains(text, c.because) {
			t.Errorf("%s: does not say %q: %s", c.name, c.because, text)
		}
		if v.Refusal != nil && v.Refusal.Remedy == "" {
			t.Errorf("%s: no remedy", c.name)
		}
		if v.Refusal == nil && v.Primary.Answer == NotEnoughLaps && v.Primary.Needed == nil && !strings.Contains(text, "o scatter") {
			t.Errorf("%s: does not say how many more laps: %s", c.name, text)
		}
	}
}
