package demo

import (
	"math"
	"testing"
)

// sumOf counts a kind's episodes in a turn's window and their seconds.
func sumOf(r *Run, turn int, kind string) (n int, seconds float64) {
	for _, e := range r.Truth.Episodes {
		if e.Turn == turn && e.Kind == kind {
			n++
			seconds += e.End - e.Start
		}
	}
	return
}

func TestCausesShow(t *testing.T) {
	ride := func(ci int, c ...Cause) *Run {
		o := DefaultOptions(ci, 5)
		o.Laps, o.SlowLaps = 5, 0
		o.Causes = c
		return Ride(o)
	}
	segment := func(r *Run, turn int) float64 {
		s := 0.0
		for lap := 1; lap <= 5; lap++ {
			a, b := r.Truth.Segment(lap, turn)
			s += (b - a) / 5
		}
		return s
	}
	turns := []int{1, 3, 4, 6}
	for ci, turn := range turns {
		plain := ride(ci)
		name := plain.Circuit.Name
		check := func(kind CauseKind, ok bool, got ...any) {
			if !ok {
				t.Errorf("%s turn %d: %s does not show: %v", name, turn, kind, got)
			}
		}
		n0, _ := sumOf(plain, turn, "cut")
		strong := ride(ci, Cause{Kind: StrongControl, Turn: turn})
		n, _ := sumOf(strong, turn, "cut")
		slower := segment(strong, turn) - segment(plain, turn)
		check(StrongControl, n >= n0+4 && slower > 0.03, n0, n, slower)
		cost := 0.0
		for _, e := range strong.Truth.Episodes {
			if e.Kind == "cut" && e.Turn == turn && e.Lap >= 1 && e.Lap <= 5 {
				cost += e.CostS / 5
			}
		}
		// Riding on without the cut must tell what riding with the right table tells.
		if math.Abs(cost-slower) > 0.35*slower+0.01 {
			t.Errorf("%s turn %d: cuts cost %.3f s a lap, the table %.3f s", name, turn, cost, slower)
		}
		n, _ = sumOf(ride(ci, Cause{Kind: LooseControl, Turn: turn}), turn, "spin")
		check(LooseControl, n >= 2, n)
		blips, over := 0, 0
		for _, e := range ride(ci, Cause{Kind: OverBlip, Turn: turn}).Truth.Episodes {
			if e.Kind == "blip" && e.Turn == turn {
				blips++
				if e.Over && e.PushS > 0.08 {
					over++
				}
			}
		}
		check(OverBlip, over >= blips*8/10 && over > 3, blips, over)
		n, s := sumOf(ride(ci, Cause{Kind: WheelLift, Turn: turn}), turn, "wheelie")
		_, s0 := sumOf(plain, turn, "wheelie")
		check(WheelLift, n >= 5 && s > s0+1.5, n, s, s0)
		n, _ = sumOf(ride(ci, Cause{Kind: Hop, Turn: turn}), turn, "hop")
		n0, _ = sumOf(plain, turn, "hop")
		check(Hop, n >= 5 && n0 == 0, n, n0)
		late := segment(ride(ci, Cause{Kind: LatePickUp, Turn: turn}), turn) - segment(plain, turn)
		check(LatePickUp, late > 0.05, late)
		drag := segment(ride(ci, Cause{Kind: Dragging, Turn: turn}), turn) - segment(plain, turn)
		check(Dragging, drag > 0.002, drag)
	}
	// The limiter stands before a turn that is reached fast.
	r := ride(0, Cause{Kind: LimiterBeforeBrake, Turn: 1})
	if n, s := sumOf(r, len(r.Circuit.Turns), "limiter"); n < 4 || s < 1 {
		t.Errorf("limiter before turn 1: %d times, %.1f s", n, s)
	}
}

func TestEffectIsAsLargeAsAsked(t *testing.T) {
	for ci := range Circuits() {
		o := DefaultOptions(ci, 8)
		o.Laps, o.SlowLaps = 4, 0
		o.Slots = []string{"A", "A", "B", "B", "A", "A"}
		o.Effects = []Effect{{Slot: "B", Turn: 3, Seconds: -0.08}}
		for _, e := range Ride(o).Truth.Effects {
			if e.Turn == 3 && math.Abs(e.Seconds+0.08) > 0.02 || e.Turn != 3 && math.Abs(e.Seconds) > 0.02 {
				t.Errorf("circuit %d turn %d: %.3f s", ci, e.Turn, e.Seconds)
			}
		}
	}
}

func TestOutingsAndPartLaps(t *testing.T) {
	o := DefaultOptions(1, 9)
	o.Outings, o.Laps = 2, 4
	tr := Ride(o).Truth
	want := []LapKind{OutLap, TimedLap, TimedLap, InLap, OutLap, TimedLap, TimedLap, InLap}
	for i, l := range tr.Laps {
		if i >= len(want) || l.Kind != want[i] {
			t.Errorf("lap %d is %s", i, l.Kind)
		}
	}
	if len(tr.Laps) != len(want) || len(tr.OutingStarts) != 2 || len(tr.Crossings) != 6 {
		t.Errorf("%d laps, %d outings, %d crossings", len(tr.Laps), len(tr.OutingStarts), len(tr.Crossings))
	}
	o = DefaultOptions(2, 9)
	o.NoOutLap, o.NoInLap, o.Laps = true, true, 2
	tr = Ride(o).Truth
	if n := len(tr.Laps); n != 4 || tr.Laps[0].Kind != BrokenLap || tr.Laps[3].Kind != BrokenLap || tr.Laps[1].Kind != TimedLap {
		t.Errorf("part laps: %+v", tr.Laps)
	}
}
