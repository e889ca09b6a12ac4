package demo

import (
	"math"
	"testing"
)

// The instants of a pass follow one another, and each turn's own stretch begins
// before its brakes.
func TestPassesAreInOrder(t *testing.T) {
	for ci := range Circuits() {
		o := DefaultOptions(ci, 21)
		o.Laps, o.SlowLaps = 5, 0
		tr := Ride(o).Truth
		braked, all := 0, 0
		for _, p := range tr.Passes {
			turn := tr.Turns[p.Turn-1]
			if turn.Kink {
				continue
			}
			all++
			from, to := tr.Segment(p.Lap, p.Turn)
			if !(from < p.Apex && p.Apex < to) || math.IsNaN(p.TurnIn) || math.IsNaN(p.PickUp) {
				t.Errorf("circuit %d lap %d turn %d: %+v", ci, p.Lap, p.Turn, p)
			}
			if p.TurnIn > p.Apex+0.5 {
				t.Errorf("circuit %d turn %d: turned in at %.2f, slowest at %.2f", ci, p.Turn, p.TurnIn, p.Apex)
			}
			if !math.IsNaN(p.BrakeOn) && p.BrakeOn < p.Apex && p.BrakeOff > p.BrakeOn {
				braked++
			}
			if p.MaxLean < 0.75 || p.MaxLean > 1.05 {
				t.Errorf("circuit %d turn %d: lean %.0f deg", ci, p.Turn, p.MaxLean*radDeg)
			}
		}
		if braked < all*9/10 {
			t.Errorf("circuit %d: brakes on %d of %d passes", ci, braked, all)
		}
		for i, turn := range tr.Turns {
			if turn.Segment <= 0 || turn.Segment >= turn.Apexes[0] || i > 0 && turn.Segment <= tr.Turns[i-1].Apexes[0] {
				t.Errorf("circuit %d turn %d: segment from %.0f m", ci, turn.Number, turn.Segment)
			}
		}
	}
}

func TestTarnhowPassesNearItself(t *testing.T) {
	c := Circuits()[3]
	near := math.Inf(1)
	for a := 0.0; a < c.Length; a += 4 {
		xa, ya, _ := c.Point(a)
		for b := a + 150; b < c.Length && b < a+c.Length-150; b += 4 {
			xb, yb, _ := c.Point(b)
			near = math.Min(near, math.Hypot(xa-xb, ya-yb))
		}
	}
	if near > 30 || near < 12 {
		t.Errorf("it passes itself at %.1f m", near)
	}
}
