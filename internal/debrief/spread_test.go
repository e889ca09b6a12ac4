package debrief

import (
	"math"
	"sort"
	"strings"
	"testing"

	"cornerwright/internal/demo"
	"cornerwright/internal/inference"
	"cornerwright/internal/proving"
	"cornerwright/internal/ride"
)

func unevenOf(x []Finding) *Finding {
	for i := range x {
		if x[i].Cause == "uneven" {
			return &x[i]
		}
	}
	return nil
}

// A turn where the laps differ far more than elsewhere is named, with the habit
// that goes with it; where they do not, nothing is said.
func TestUnevenTurn(t *testing.T) {
	o := demo.DefaultOptions(0, 3)
	o.Laps = 9
	x := tell(t, o)
	turn := x.turn[4]
	alter := func(size float64, with func(p *ride.Pass, d float64)) *Finding {
		r := *x.ride
		r.Passes = append([]ride.Pass(nil), x.ride.Passes...)
		k := 0
		for i := range r.Passes {
			if p := &r.Passes[i]; p.Turn == turn && p.Timed && p.Whole {
				d := size * []float64{0, 1, -0.7, 0.4, -1, 0.8, -0.3, 0.6, -0.5, 0.2}[k%10]
				p.Segment += d
				with(p, d)
				k++
			}
		}
		return unevenOf(Debrief(&r, x.bike, nil, x.sheet, "B", Options{}).Unasked)
	}
	f := alter(0.5, func(p *ride.Pass, d float64) { p.PickupM += 20 * d })
	if f == nil || f.Turn != turn {
		t.Fatalf("half a second of scatter at turn %d: %+v", turn, f)
	}
	whole(t, *f)
	if !strings.Contains(f.Text.String(), "place of the pick-up") || f.Proposals[0].Kind != Technique || !strings.Contains(f.Proposals[0].Title.String(), "open at one mark") {
		t.Errorf("the habit that goes with it is not named: %s; %+v", f.Text, f.Proposals[0])
	}
	if len(f.Evidence) != 2 || f.Evidence[0].Lap == f.Evidence[1].Lap {
		t.Errorf("the quickest and the slowest lap are not shown: %+v", f.Evidence)
	}
	// A habit that goes with nothing is not named.
	if f := alter(0.5, func(*ride.Pass, float64) {}); f == nil || strings.Contains(f.Text.String(), "place of the pick-up") {
		t.Errorf("nothing goes with it: %+v", f)
	}
	if f := alter(0, func(*ride.Pass, float64) {}); f != nil && f.Turn == turn {
		t.Errorf("no scatter was added, yet: %s", f.Text)
	}
	// One lap in traffic is no habit.
	one := *x.ride
	one.Passes = append([]ride.Pass(nil), x.ride.Passes...)
	for i := range one.Passes {
		if p := &one.Passes[i]; p.Turn == turn && p.Timed && p.Whole {
			p.Segment += 2
			break
		}
	}
	if f := unevenOf(Debrief(&one, x.bike, nil, x.sheet, "B", Options{}).Unasked); f != nil && f.Turn == turn {
		t.Errorf("one slow lap: %s", f.Text)
	}
}

// What is called uneven is uneven in truth as well: the true times between two
// fixed places scatter at that turn well above the usual.
func TestUnevenIsTrue(t *testing.T) {
	named := 0
	for c := range demo.Circuits() {
		for _, seed := range proving.Seeds()[:2] {
			o := demo.DefaultOptions(c, seed)
			o.Laps = 8
			x := tell(t, o)
			f := unevenOf(Debrief(x.ride, x.bike, nil, x.sheet, "B", Options{Unasked: 20}).Unasked)
			if f == nil {
				continue
			}
			named++
			var all []float64
			mine := math.NaN()
			for _, turn := range x.ride.Circuit.Turns {
				y := robustSpread(trueTimes(x, turn.Number))
				all = append(all, y)
				if turn.Number == f.Turn {
					mine = y
				}
			}
			usual := inference.Median(all)
			t.Logf("circuit %d seed %d: turn %d, truth %.3f s, usual %.3f: %s", c, seed, f.Turn, mine, usual, f.Text)
			if mine < 1.5*usual || mine < 0.045 {
				t.Errorf("circuit %d seed %d: turn %d is called uneven; in truth %.3f s against %.3f", c, seed, f.Turn, mine, usual)
			}
		}
	}
	if named == 0 {
		t.Error("nothing was ever called uneven: the check shows nothing")
	}
}

// trueTimes are the times between two fixed places of the truth at one turn,
// the places being where the analysis' window lies on the mean.
func trueTimes(x told, turn int) []float64 {
	tr := x.run.Truth
	at := func(t float64) float64 {
		i := min(max(sort.SearchFloat64s(tr.Time, t), 1), len(tr.Time)-1)
		u := (t - tr.Time[i-1]) / (tr.Time[i] - tr.Time[i-1])
		return tr.S[i-1] + u*(tr.S[i]-tr.S[i-1])
	}
	when := func(s float64) float64 {
		i := min(max(sort.SearchFloat64s(tr.S, s), 1), len(tr.S)-1)
		u := (s - tr.S[i-1]) / (tr.S[i] - tr.S[i-1])
		return tr.Time[i-1] + u*(tr.Time[i]-tr.Time[i-1])
	}
	var lap, from, to []float64
	ref := math.NaN()
	for _, p := range x.ride.Passes {
		if p.Turn != turn || !p.Timed || !p.Whole {
			continue
		}
		a, b := at(p.Start), at(p.End)
		if math.IsNaN(ref) {
			ref = a
		}
		k := tr.Length * math.Round((a-ref)/tr.Length)
		lap, from, to = append(lap, k), append(from, a-k), append(to, b-k)
	}
	if len(lap) == 0 {
		return []float64{0}
	}
	a, b := inference.Mean(from), inference.Mean(to)
	out := make([]float64, len(lap))
	for i, k := range lap {
		out[i] = when(b+k) - when(a+k)
	}
	return out
}
