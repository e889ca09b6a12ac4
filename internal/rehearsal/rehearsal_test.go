package rehearsal

import (
	"math"
	"strings"
	"testing"

	"cornerwright/internal/circuit"
	"cornerwright/internal/setting"
)

func closeTo(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %g, want %g within %g", what, got, want, tol)
	}
}

// At 48 deg and 100 km/h the raised cell has all the weight; it is in use for one
// second from the pick-up in each turn, and at 30..0 deg nowhere.
func TestFootprint(t *testing.T) {
	r, b, sheet := toy()
	f := FootprintOf(r, b, raise(1), sheet)
	if f.Cannot != "" || f.Laps != 4 {
		t.Fatalf("footprint: %d laps, %q", f.Laps, f.Cannot)
	}
	closeTo(t, "dwell a lap", f.Dwell, 2, 0.02)
	closeTo(t, "mean change", f.Mean, 1, 1e-9)
	if len(f.Turns) != 2 || f.Turns[0].Turn != 1 && f.Turns[0].Turn != 2 {
		t.Fatalf("turns: %+v", f.Turns)
	}
	for _, u := range f.Turns {
		closeTo(t, "share", u.Share, 0.5, 1e-6)
		if u.Laps != 4 {
			t.Errorf("turn %d on %d laps", u.Turn, u.Laps)
		}
	}
	if len(f.Elsewhere) != 1 || f.Elsewhere[0].Turn != 2 {
		t.Errorf("elsewhere: %+v", f.Elsewhere)
	}
	if f.Uses[0].Phase != circuit.PhasePickup {
		t.Errorf("most used phase is %s", f.Uses[0].Phase)
	}
	if len(f.ByLap) != 4 {
		t.Errorf("by lap: %+v", f.ByLap)
	}
	sum := 0.0
	for _, u := range f.Uses {
		sum += u.Share
	}
	closeTo(t, "sum of shares", sum, 1, 1e-9)
	// Half-way between two cells, each has half.
	half := raise(1)
	half.Cells[0] = setting.Cell{Row: 3, Column: 1, Old: 4, New: 5}
	if f := FootprintOf(r, b, half, sheet); len(f.Never) != 1 || f.Dwell != 0 {
		t.Errorf("a cell that was never in use: %+v", f)
	}
	for i := range r.Signals.Lean {
		if r.Signals.Lean[i] > 0 {
			r.Signals.Lean[i] = -52 * math.Pi / 180 // to the left, half-way from 48 to 56
		}
	}
	f = FootprintOf(r, b, half, sheet)
	closeTo(t, "dwell at half weight", f.Dwell, 1, 0.02)
	closeTo(t, "mean change at half weight", f.Mean, 0.5, 1e-9)
}

func TestFootprintSaysWhyNot(t *testing.T) {
	r, b, sheet := toy()
	r.Signals.Grip = nil
	if f := FootprintOf(r, b, raise(1), sheet); !strings.Contains(f.Cannot.String(), "no grip") {
		t.Errorf("without grip: %q", f.Cannot)
	}
	r, b, sheet = toy()
	r.Signals.Lean = nil
	if f := FootprintOf(r, b, raise(1), sheet); !strings.Contains(f.Cannot.String(), "no lean") {
		t.Errorf("without lean: %q", f.Cannot)
	}
	if f := FootprintOf(nil, b, raise(1), sheet); f.Cannot == "" {
		t.Error("without a ride")
	}
	if h := Rehearse(nil, b, raise(1), sheet); len(h.Withheld) == 0 || len(h.Changes) != 0 {
		t.Errorf("rehearsal without a ride: %+v", h)
	}
}

// The cut of 0.2 of 2000 N asked for holds back 400 N. A tyre in its first rise
// carries 1600 N / 4.5 % = 356 N for each 1 % of slip: raised by 1 % the cut can
// fall to 0.2 - 356/2000 = 0.022, which is no cut any more. A tyre at its peak
// carries nothing more.
func TestRehearseSlip(t *testing.T) {
	r, b, sheet := toy()
	h := Rehearse(r, b, raise(1), sheet)
	var cut, slip *Change
	for i := range h.Changes {
		c := &h.Changes[i]
		if c.Turn == 1 && c.Measure == "cut_time" {
			cut = c
		}
		if c.Turn == 1 && c.Measure == "slip_peak" {
			slip = c
		}
	}
	if cut == nil || slip == nil {
		t.Fatalf("changes: %+v", h.Changes)
	}
	closeTo(t, "cut before", cut.Before, 0.5, 0.011)
	closeTo(t, "least cut after", cut.AfterLo, 0, 0.011)
	closeTo(t, "greatest cut after", cut.AfterHi, 0.5, 0.011)
	if !(slip.AfterHi > slip.Before && slip.AfterLo <= slip.Before) {
		t.Errorf("slip: %+v", slip)
	}
	if len(h.Cautions) == 0 || len(h.Withheld) == 0 {
		t.Error("no cautions, or nothing withheld: a rehearsal promises no lap time")
	}
	if h.Changes[0].Turn != 1 {
		t.Error("the step's own turn does not stand first")
	}
	if len(h.Episodes) != 2 || h.Episodes[0].Before != 4 {
		t.Errorf("episodes: %+v", h.Episodes)
	}
	// The other way the cut lasts at least as long.
	for _, c := range Rehearse(r, b, raise(-1), sheet).Changes {
		if c.Measure == "cut_time" && !(c.AfterHi >= c.Before) {
			t.Errorf("lower target: %+v", c)
		}
	}
}

// 500 N of drag at 50 % become 600 N at 60 %: 100 N on 287 kg is 0.35 m/s2.
func TestRehearseEngineBrake(t *testing.T) {
	r, b, sheet := toy()
	h := Rehearse(r, b, drag(2, 50, 60), sheet)
	found := false
	for _, c := range h.Changes {
		if c.Measure == "decel" && c.Turn == 1 {
			found = true
			closeTo(t, "deceleration gained", c.After-c.Before, 100.0/287, 0.02)
			if !(c.AfterLo < c.After && c.After < c.AfterHi) {
				t.Errorf("no range: %+v", c)
			}
		}
		if c.Turn == 2 {
			t.Errorf("gear 3 is not touched: %+v", c)
		}
	}
	if !found {
		t.Errorf("no deceleration: %+v", h)
	}
}

// From 9000 1/min needed in gear 2, gear 3 turned 9000*1.79/2.13 = 7563; with
// 420 surplus the blip lifts by 1857. A tenth less is 186 less.
func TestRehearseBlip(t *testing.T) {
	r, b, sheet := toy()
	step := setting.Step{Slot: "B", Setting: "blip", Cells: []setting.Cell{{Column: 1, Old: 100, New: 90}}, Primary: setting.Primary{Turn: 1}}
	h := Rehearse(r, b, step, sheet)
	if len(h.Changes) != 1 || h.Changes[0].Measure != "surplus" {
		t.Fatalf("changes: %+v", h.Changes)
	}
	closeTo(t, "surplus lost", h.Changes[0].Before-h.Changes[0].After, 185.7, 0.5)
}

func TestRehearseSignOnly(t *testing.T) {
	r, b, sheet := toy()
	step := setting.Step{Slot: "B", Setting: "wheel-lift", Cells: []setting.Cell{{Old: 4, New: 3}}, Primary: setting.Primary{Turn: 1}}
	h := Rehearse(r, b, step, sheet)
	if len(h.Changes) == 0 || !h.Changes[0].SignOnly || h.Changes[0].AfterHi != h.Changes[0].Before {
		t.Errorf("a tighter lift limit: %+v", h.Changes)
	}
}

// With 262 kg, centre 0.66 m high and 0.69 m ahead of the rear contact on 1.43 m:
// the rear carries 262*9.80665*(1-0.69/1.43) = 1330 N standing and loses 121 N
// for each m/s2.
func TestRearLoad(t *testing.T) {
	closeTo(t, "standing", RearLoad(262, 0.66, 1.43, 0.69, 0), 1329.6, 0.5)
	closeTo(t, "at 6.5", RearLoad(262, 0.66, 1.43, 0.69, 6.5), 1329.6-6.5*262*0.66/1.43, 0.5)
}
