package rehearsal

import (
	"math"
	"strings"
	"testing"

	"cornerwright/internal/ride"
	"cornerwright/internal/setting"
)

// allowed is a context in which every guard passes.
func allowed() GuardContext {
	r, b, sheet := toy()
	return GuardContext{Bike: b, Sheet: sheet, Step: raise(1), Ride: r, Now: Conditions{Surface: Dry, Tyre: Warm, Air: "22 C, no wind"}}
}

func result(t *testing.T, c GuardContext, guard string) setting.GuardResult {
	t.Helper()
	for _, g := range Guards(c) {
		if g.Guard == guard {
			return g
		}
	}
	t.Fatalf("no guard %q", guard)
	return setting.GuardResult{}
}

func TestEveryGuardPasses(t *testing.T) {
	out := Guards(allowed())
	if len(out) != 16 {
		t.Errorf("%d guards, 16 wanted", len(out))
	}
	seen := map[string]bool{}
	for _, g := range out {
		if !g.Pass {
			t.Errorf("%s trips: %s", g.Guard, g.Reason)
		}
		if g.Reason == "" {
			t.Errorf("%s passes without a reason", g.Guard)
		}
		if seen[g.Guard] {
			t.Errorf("%s stands twice", g.Guard)
		}
		seen[g.Guard] = true
	}
	if Refused(out) {
		t.Error("refused although all pass")
	}
}

// Every guard: a context that trips it, and one that just does not.
func TestGuardsTrip(t *testing.T) {
	other := Earlier{Step: setting.Step{ID: 3, Setting: "torque-limit", Slot: "B", State: "loaded", Cells: []setting.Cell{{Column: 1, Old: 86, New: 90}}}}
	for _, c := range []struct {
		guard     string
		trip, not func(*GuardContext)
		word      string
	}{
		{setting.GuardReference, func(c *GuardContext) { c.Step.Slot = "A" }, func(c *GuardContext) {}, "reference"},
		{setting.GuardRange, func(c *GuardContext) {
			c.Sheet.Slots["B"]["slip-target"][2][1] = 19.5
			c.Step.Cells[0].Old, c.Step.Cells[0].New = 19.5, 20.1
		}, func(c *GuardContext) {
			c.Sheet.Slots["B"]["slip-target"][2][1] = 19.5
			c.Step.Cells[0].Old, c.Step.Cells[0].New = 19.5, 20
		}, "outside"},
		{setting.GuardLargestStep, func(c *GuardContext) { c.Step = raise(1.1) }, func(c *GuardContext) { c.Step = raise(1) }, "largest step"},
		{setting.GuardOneSetting, func(c *GuardContext) { c.Earlier = []Earlier{other} }, func(c *GuardContext) {
			e := other
			e.Verified, e.Step.State = true, "kept"
			c.Earlier = []Earlier{e}
		}, "cannot be told apart"},
		{setting.GuardUnverified, func(c *GuardContext) {
			c.Earlier = []Earlier{{Step: setting.Step{ID: 2, Setting: "slip-target", State: "loaded"}}}
		}, func(c *GuardContext) {
			c.Earlier = []Earlier{{Step: setting.Step{ID: 2, Setting: "slip-target", State: "loaded"}}}
			c.Why = "rain is coming"
		}, "no verdict"},
		{setting.GuardDayDrift, func(c *GuardContext) {
			first := setting.NewSheet("Heron", c.Sheet.Slots)
			first.Slots["B"]["slip-target"][2][1] = 2.4
			c.Reference = &first
		}, func(c *GuardContext) {
			first := setting.NewSheet("Heron", c.Sheet.Slots)
			first.Slots["B"]["slip-target"][2][1] = 2.5
			c.Reference = &first
		}, "where the day began"},
		{setting.GuardSmooth, func(c *GuardContext) {
			c.Sheet.Slots["B"]["slip-target"] = setting.Values{{8, 8, 8}, {8, 8, 8}, {8, 8, 8}, {8, 8, 8}}
			c.Step.Cells[0].Old, c.Step.Cells[0].New = 8, 6.4
		}, func(c *GuardContext) {
			c.Sheet.Slots["B"]["slip-target"] = setting.Values{{8, 8, 8}, {8, 8, 8}, {8, 8, 8}, {8, 8, 8}}
			c.Step.Cells[0].Old, c.Step.Cells[0].New = 8, 6.5
		}, ""},
		{setting.GuardMonotone, func(c *GuardContext) {
			c.Sheet.Slots["B"]["slip-target"][1][1] = 5.4
		}, func(c *GuardContext) {
			c.Sheet.Slots["B"]["slip-target"][1][1] = 5.5
		}, "greater lean"},
		{setting.GuardRearLoad, func(c *GuardContext) {
			c.Step = drag(2, 50, 60)
			harder(c.Ride, -6.6)
		}, func(c *GuardContext) {
			c.Step = drag(2, 50, 60)
			harder(c.Ride, -6.4)
		}, "6.6 m/s2"},
		{setting.GuardHighside, func(c *GuardContext) {
			c.Ride.Episodes = append(c.Ride.Episodes, ride.Episode{Kind: ride.Highside, Lap: 2, Turn: 1})
		}, func(c *GuardContext) {
			c.Ride.Episodes = append(c.Ride.Episodes, ride.Episode{Kind: ride.Highside, Lap: 2, Turn: 1})
			c.Step = raise(-1)
		}, "slid and caught"},
		{setting.GuardSurface, func(c *GuardContext) { c.Now.Surface = Wet }, func(c *GuardContext) { c.Now.Surface = Wet; c.Step = raise(-1) }, "wet"},
		{setting.GuardSurface, func(c *GuardContext) { c.Now.Surface = "" }, func(c *GuardContext) { c.Now.Surface = Dry }, "nobody has told"},
		{setting.GuardTyre, func(c *GuardContext) { c.Now.Tyre = Cold }, func(c *GuardContext) { c.Now.Tyre = Warm }, "cold"},
		{setting.GuardTyre, func(c *GuardContext) { c.Now.Tyre = "" }, func(c *GuardContext) { c.Now.Tyre = ""; c.Step = raise(-1) }, "nobody has told"},
		{setting.GuardWeather, func(c *GuardContext) { c.Now.Air = " " }, func(c *GuardContext) { c.Now.Air = "cool" }, "not noted"},
		{setting.GuardRadii, func(c *GuardContext) { c.Ride.Tyres.Rear.Identified = false }, func(c *GuardContext) {
			c.Ride.Tyres.Rear.Identified = false
			c.Step = raise(-1)
		}, "not identified"},
		{setting.GuardUnvisited, func(c *GuardContext) { c.Step.Cells[0] = setting.Cell{Row: 3, Column: 1, Old: 4, New: 4.5} }, func(c *GuardContext) {
			c.Step.Cells[0] = setting.Cell{Row: 3, Column: 1, Old: 4, New: 4.5}
			// A hair beyond 48 deg gives the row of 56 deg a twentieth of the weight.
			for i, x := range c.Ride.Signals.Lean {
				if x > 0 {
					c.Ride.Signals.Lean[i] = 48.5 * math.Pi / 180
				}
			}
		}, "never in use"},
		{setting.GuardSamePlace, func(c *GuardContext) {
			e := other
			e.Verified, e.Step.State = true, "kept"
			c.Earlier = []Earlier{e}
		}, func(c *GuardContext) {
			e := other
			e.Verified, e.Step.State = true, "kept"
			e.Step.Cells = []setting.Cell{{Column: 1, Old: 94, New: 90}} // tightened, not loosened
			c.Earlier = []Earlier{e}
		}, "acts too"},
	} {
		x := allowed()
		c.trip(&x)
		if g := result(t, x, c.guard); g.Pass || !strings.Contains(g.Reason.String(), c.word) || g.Mend == "" {
			t.Errorf("%s is not tripped: %+v", c.guard, g)
		}
		x = allowed()
		c.not(&x)
		if g := result(t, x, c.guard); !g.Pass {
			t.Errorf("%s trips although it just should not: %s", c.guard, g.Reason)
		}
		// By name and reason every guard but the reference can be put aside.
		x = allowed()
		c.trip(&x)
		x.Step.Overrules = []setting.Overrule{{Guard: c.guard, Who: "Ada", Reason: "told the rider"}}
		if g := result(t, x, c.guard); g.Pass == (c.guard == setting.GuardReference) {
			t.Errorf("%s overruled by name: pass %v", c.guard, g.Pass)
		}
	}
}

// harder sets the deceleration of entry and mid phase.
func harder(r *ride.Ride, a float64) {
	for i, x := range r.Signals.Accel {
		if x == -2 {
			r.Signals.Accel[i] = a
		}
	}
}

func TestRearLoadLooksAtHopAndSlip(t *testing.T) {
	x := allowed()
	x.Step = drag(2, 50, 60)
	if g := result(t, x, setting.GuardRearLoad); !g.Pass {
		t.Fatalf("trips at 2 m/s2: %s", g.Reason)
	}
	x.Ride.Episodes = append(x.Ride.Episodes, ride.Episode{Kind: ride.Hop, Lap: 1, Turn: 1})
	if g := result(t, x, setting.GuardRearLoad); g.Pass || !strings.Contains(g.Reason.String(), "hops") {
		t.Errorf("a hop on one lap of four: %+v", g)
	}
	x = allowed()
	x.Step = drag(2, 50, 60)
	for i, s := range x.Ride.Signals.RearSlip {
		if s < 0 {
			x.Ride.Signals.RearSlip[i] = -0.05
		}
	}
	if g := result(t, x, setting.GuardRearLoad); g.Pass || !strings.Contains(g.Reason.String(), "-5.0 %") {
		t.Errorf("five per cent of drag already: %+v", g)
	}
}

func TestGuardsOfAStepFromAnotherSheet(t *testing.T) {
	x := allowed()
	x.Step.Cells[0].Old = 9
	if g := Guards(x); len(g) != 1 || g[0].Pass || !g[0].Hard || !strings.Contains(g[0].Reason.String(), "make the step anew") {
		t.Errorf("%+v", g)
	}
	x = allowed()
	x.Step.Setting = "spoon"
	if g := Guards(x); len(g) != 1 || g[0].Pass || !g[0].Hard {
		t.Errorf("%+v", g)
	}
}

func TestGuardsWithoutARide(t *testing.T) {
	x := allowed()
	x.Ride = nil
	blind := 0
	for _, g := range Guards(x) {
		if !g.Pass {
			blind++
		}
	}
	if blind != 3 { // near-highside, tyre radii, unvisited
		t.Errorf("%d guards trip without a ride, 3 wanted", blind)
	}
}
