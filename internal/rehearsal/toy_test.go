package rehearsal

import (
	"math"

	"cornerwright/internal/bike"
	"cornerwright/internal/circuit"
	"cornerwright/internal/ride"
	"cornerwright/internal/setting"
)

// toy is a ride made by hand: two turns of ten seconds, four timed laps, 100
// samples a second. In each turn: brakes from 1 s, turn-in at 2 s, full lean
// (48 deg at 100 km/h) from 3 s, pick-up at 4 s with half a second of cut, upright
// from 6 s. Turn 1 is entered in gear 2, turn 2 in gear 3.
func toy() (*ride.Ride, *bike.Bike, setting.Sheet) {
	const laps, perTurn = 4, 1000
	n := laps * 2 * perTurn
	r := &ride.Ride{
		Circuit:  &circuit.Circuit{Turns: []circuit.Turn{{Number: 1}, {Number: 2}}, Line: circuit.Line{Length: 600}},
		Position: &circuit.Position{Time: make([]float64, n), Speed: make([]float64, n)},
	}
	f := func() []float64 { return make([]float64, n) }
	g := &r.Signals
	g.Lean, g.Accel, g.RearSlip, g.Grip, g.Throttle, g.Cut, g.Force, g.FrontBrake, g.RPM, g.Clutch = f(), f(), f(), f(), f(), f(), f(), f(), f(), f()
	g.Gear, g.Airborne = make([]int8, n), make([]bool, n)
	for i := range n {
		t := float64(i%perTurn) / 100
		turn := i / perTurn % 2
		r.Position.Time[i] = float64(i) / 100
		r.Position.Speed[i] = 100 / 3.6
		g.Gear[i] = int8(2 + turn)
		switch {
		case t < 1:
			g.Grip[i], g.Accel[i] = 1, 2
		case t < 2:
			g.FrontBrake[i], g.Accel[i] = 8e5, -8
		case t < 4:
			g.Lean[i], g.Accel[i], g.RearSlip[i] = 48*math.Pi/180, -2, -0.01
		default:
			g.Grip[i], g.Accel[i], g.RearSlip[i], g.Force[i] = 0.6, 4.5, 0.045, 2000
			if t < 5 {
				g.Lean[i] = 48 * math.Pi / 180
			}
			if t >= 4.2 && t < 4.7 {
				g.Cut[i], g.Force[i] = 0.2, 1600
			}
			if t > 5 {
				r.Position.Speed[i] += 4 * (t - 5)
			}
		}
	}
	for lap := range laps {
		start := float64(lap) * 20
		r.Laps = append(r.Laps, circuit.Lap{Number: lap + 1, Kind: circuit.TimedLap, Start: start, End: start + 20, Slot: "A"})
		for turn := range 2 {
			s := start + 10*float64(turn)
			r.Passes = append(r.Passes, ride.Pass{
				Pass: circuit.Pass{Lap: lap + 1, Turn: turn + 1, Start: s, End: s + 10, Brake: s + 1, BrakeOff: s + 2, TurnIn: s + 2, Mid: s + 3, Apex: s + 3.5, Pickup: s + 4, DriveOn: s + 5, FullThrottle: s + 6, Whole: true},
				Slot: "A", Timed: true, Segment: 10 + 0.02*float64(lap%2), MaxLean: 48 * math.Pi / 180, CoastDecel: 2 + 0.05*float64(lap%2), EntrySlip: -0.01 - 0.001*float64(lap%2), AirTime: 0.1 * float64(lap%2), ExitTime: 5 + 0.01*float64(lap), MinGear: 2 + turn,
			})
			r.Episodes = append(r.Episodes,
				ride.Episode{Kind: ride.Cut, Lap: lap + 1, Turn: turn + 1, Phase: circuit.PhasePickup, Start: s + 4.2, End: s + 4.7, Peak: 0.2, Mean: 0.2, Slip: 0.045},
				ride.Episode{Kind: ride.Blip, Lap: lap + 1, Turn: turn + 1, Start: s + 1.4, End: s + 1.6, Shift: &ride.Shift{FromGear: 3 + turn, ToGear: 2 + turn, Needed: 9000, Peak: 9400, Surplus: 400 + 40*float64(lap%2)}})
		}
	}
	r.Tyres.Front.Identified, r.Tyres.Rear.Identified = true, true
	r.Engine.Gears = []ride.GearDrag{{Gear: 2, Force: ride.Interval{Value: 500, Lo: 450, Hi: 550, N: 4, OK: true}, RPM: 9000, Samples: 200}}
	b := &bike.Bike{Name: "Heron", Mass: bike.Mass{Total: 262, CentreHeight: 0.66, Wheelbase: 1.43, CentreToRear: 0.69},
		Drive: bike.Drive{Primary: 1.63, Gears: []float64{2.6, 2.13, 1.79, 1.56}, FrontSprocket: 16, RearSprocket: 43, LimiterRPM: 14300},
		Slots: bike.Slots{Reference: "A", Trial: "B"}}
	b.Settings = []setting.Setting{
		{ID: "slip-target", Unit: "%", Kind: setting.Grid, Range: [2]float64{1, 20}, LargestStep: 1,
			Rows: setting.Axis{Channel: "lean", Unit: "deg", Points: []float64{0, 30, 48, 56}}, Columns: setting.Axis{Channel: "speed", Unit: "km/h", Points: []float64{60, 100, 140}}},
		{ID: "engine-brake", Unit: "%", Kind: setting.List, By: "gear", Range: [2]float64{20, 100}, LargestStep: 10},
		{ID: "blip", Unit: "%", Kind: setting.List, By: "gear", Range: [2]float64{50, 160}, LargestStep: 10},
		{ID: "wheel-lift", Unit: "deg", Kind: setting.Scalar, Range: [2]float64{0.5, 12}, LargestStep: 1},
		{ID: "torque-limit", Unit: "%", Kind: setting.List, By: "gear", Range: [2]float64{40, 100}, LargestStep: 4},
	}
	values := func() map[string]setting.Values {
		return map[string]setting.Values{
			"slip-target":  {{10, 9, 8}, {8, 7, 6}, {5, 4.5, 4}, {4.5, 4, 3.5}},
			"engine-brake": {{50, 50, 60, 60}}, "blip": {{100, 100, 100, 100}}, "wheel-lift": {{4}}, "torque-limit": {{88, 90, 95, 100}},
		}
	}
	return r, b, setting.NewSheet(b.Name, map[string]map[string]setting.Values{"A": values(), "B": values()})
}

// raise is the step on the cell that full lean uses, by d.
func raise(d float64) setting.Step {
	return setting.Step{Slot: "B", Setting: "slip-target", Cells: []setting.Cell{{Row: 2, Column: 1, Old: 4.5, New: 4.5 + d}}, Primary: setting.Primary{Turn: 1}}
}

func drag(gear int, from, to float64) setting.Step {
	return setting.Step{Slot: "B", Setting: "engine-brake", Cells: []setting.Cell{{Column: gear - 1, Old: from, New: to}}, Primary: setting.Primary{Turn: gear - 1}}
}
