package rehearsal_test

import (
	"math"
	"testing"

	"cornerwright/internal/bike"
	"cornerwright/internal/circuit"
	"cornerwright/internal/demo"
	"cornerwright/internal/proving"
	"cornerwright/internal/rehearsal"
	"cornerwright/internal/ride"
	"cornerwright/internal/setting"
)

// again is the same laps ridden with a given sheet in slot A, on a circuit that
// is known (nil: learnt), as the second run of a day is.
func again(t testing.TB, c int, seed uint64, sheet demo.Sheet, on *circuit.Circuit) (*ride.Ride, *bike.Bike, setting.Sheet) {
	t.Helper()
	o := demo.DefaultOptions(c, seed)
	if !proving.Full() {
		o.Laps = 6
	}
	o.Sheets = map[string]demo.Sheet{"A": sheet}
	run := demo.Ride(o)
	b, err := bike.Parse("demo.toml", run.Bike.TOML())
	if err != nil {
		t.Fatal(err)
	}
	r, err := ride.Analyse(proving.Recording(run), b, on, ride.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return r, b, setting.NewSheet(b.Name, b.First)
}

// low is the demo bike's sheet with its slip targets down at lean, so that the
// control cuts in many turns.
func low() demo.Sheet {
	s := demo.Heron().Sheets["A"].Clone()
	for i, row := range s["slip-target"].([][]float64) {
		if i >= 2 {
			for j := range row {
				row[j] = math.Max(1, row[j]-2)
			}
		}
	}
	return s
}

func with(s demo.Sheet, step setting.Step) demo.Sheet {
	out := s.Clone()
	for _, c := range step.Cells {
		switch v := out[step.Setting].(type) {
		case [][]float64:
			v[c.Row][c.Column] = c.New
		case []float64:
			v[c.Column] = c.New
		}
	}
	return out
}

// The rehearsal is held against really riding the same laps with the changed
// sheet: the mean of the second ride, measured the same way, must lie in the
// range that was given before it.
func TestRehearsalAgainstRidingAgain(t *testing.T) {
	type score struct{ n, in int }
	scores := map[string]*score{}
	for c := range demo.Circuits() {
		for k, seed := range proving.Seeds() {
			if !proving.Full() && k > 0 {
				break // one seed for each circuit; all with CORNERWRIGHT_FULL=1
			}
			for _, change := range []setting.Change{
				{Slot: "A", Setting: "slip-target", Rows: &setting.Band{From: 30, To: 48}, Columns: &setting.Band{From: 100, To: 140}, By: 1},
				{Slot: "A", Setting: "engine-brake", Gears: []int{2}, By: 10},
				{Slot: "A", Setting: "blip", Gears: []int{2}, By: -10},
			} {
				r, b, sheet := again(t, c, seed, low(), nil)
				step, err := change.Propose(b.Setting(change.Setting), sheet)
				if err != nil {
					t.Fatal(err)
				}
				before := rehearsal.Rehearse(r, b, step, sheet)
				r2, b2, sheet2 := again(t, c, seed, with(low(), step), r.Circuit)
				// Measured the same way: the 'before' of a step on the second ride.
				back := step
				back.Cells = append([]setting.Cell(nil), step.Cells...)
				for i, cell := range step.Cells {
					back.Cells[i].Old, back.Cells[i].New = cell.New, cell.Old
				}
				after := rehearsal.Rehearse(r2, b2, back, sheet2)
				for _, x := range before.Changes {
					if x.SignOnly || x.Measure == "lean_peak" {
						continue
					}
					for _, y := range after.Changes {
						if y.Turn != x.Turn || y.Measure != x.Measure {
							continue
						}
						s := scores[change.Setting+" "+x.Measure]
						if s == nil {
							s = &score{}
							scores[change.Setting+" "+x.Measure] = s
						}
						s.n++
						if y.Before >= x.AfterLo-1e-9 && y.Before <= x.AfterHi+1e-9 {
							s.in++
						} else {
							t.Logf("circuit %d seed %d %s turn %d %s: before %.3f said %.3f (%.3f..%.3f), ridden %.3f", c, seed, change.Setting, x.Turn, x.Measure, x.Before, x.After, x.AfterLo, x.AfterHi, y.Before)
						}
					}
				}
			}
		}
	}
	all := score{}
	for k, s := range scores {
		t.Logf("%-26s %3d of %3d in the range (%.0f %%)", k, s.in, s.n, 100*float64(s.in)/float64(s.n))
		all.n += s.n
		all.in += s.in
	}
	t.Logf("all: %d of %d (%.1f %%)", all.in, all.n, 100*float64(all.in)/float64(all.n))
	if all.n == 0 || float64(all.in) < 0.9*float64(all.n) {
		t.Errorf("%d of %d predictions cover what was ridden; nine in ten wanted", all.in, all.n)
	}
}
