package ride

import (
	"math"
	"strings"
	"testing"

	"cornerwright/internal/bike"
	"cornerwright/internal/demo"
	"cornerwright/internal/proving"
	"cornerwright/internal/recording"
)

// missing is what has to become of a ride without one channel: what is told
// (a part of Cannot.What, of a note or of a problem), and what must not be there.
type missing struct {
	told string
	gone func(r *Ride) bool
}

func count(r *Ride, kinds ...Kind) (n int) {
	for _, k := range kinds {
		n += kindCount(r, k)
	}
	return n
}

// withheld tells whether a measure is withheld on every pass.
func withheld(r *Ride, f func(p *Pass) float64) bool {
	for k := range r.Passes {
		if !math.IsNaN(f(&r.Passes[k])) {
			return false
		}
	}
	return true
}

func inferred(r *Ride, kinds ...Kind) bool {
	for _, e := range r.Episodes {
		for _, k := range kinds {
			if e.Kind == k && !e.Inferred {
				return false
			}
		}
	}
	return true
}

var ifMissing = map[string]missing{
	recording.GPSSpeed: {"front tyre", func(r *Ride) bool { return !r.Tyres.Front.Identified }},
	recording.FrontSpeed: {"wheel lift and front lock", func(r *Ride) bool {
		return count(r, Wheelie, Lock, Spin) == 0 && r.Signals.FrontSlip == nil && r.Signals.Airborne == nil &&
			!r.Tyres.Front.Identified && withheld(r, func(p *Pass) float64 { return p.AirTime }) && noSurplus(r)
	}},
	recording.RearSpeed: {"rear slip", func(r *Ride) bool {
		return r.Signals.RearSlip == nil && count(r, Spin) == 0 && !r.Tyres.Rear.Identified &&
			withheld(r, func(p *Pass) float64 { return p.PeakSlip }) && withheld(r, func(p *Pass) float64 { return p.EntrySlip })
	}},
	recording.RPM: {"engine torque", func(r *Ride) bool {
		return count(r, Blip, Upshift, Limiter) == 0 && len(r.Pulls) == 0 && r.Signals.RPM == nil &&
			withheld(r, func(p *Pass) float64 { return p.LimiterTime }) && withheld(r, func(p *Pass) float64 { return p.Surplus })
	}},
	recording.Gear: {"", func(r *Ride) bool { return r.Signals.Gear != nil && inferred(r, Blip, Upshift) }},
	recording.Grip: {"engine braking", func(r *Ride) bool {
		return r.Signals.Grip == nil && len(r.Pulls) == 0 && len(r.Engine.Gears) == 0 && count(r, Hesitation) == 0 &&
			withheld(r, func(p *Pass) float64 { return p.PickupToFull }) && withheld(r, func(p *Pass) float64 { return p.CoastDecel })
	}},
	recording.Throttle:   {"hesitation", func(r *Ride) bool { return count(r, Hesitation) == 0 && r.Signals.CutSource == "cut channel" }},
	recording.Cut:        {"", func(r *Ride) bool { return r.Signals.CutSource == "demand against plate" && inferred(r, Cut) }},
	recording.FrontBrake: {"brake pressure", func(r *Ride) bool { return r.Signals.FrontBrake == nil }},
	recording.RearBrake:  {"no rear brake pressure", func(r *Ride) bool { return r.Signals.RearBrake == nil }},
	recording.Clutch:     {"surplus engine speed", func(r *Ride) bool { return noSurplus(r) && inferred(r, Blip) }},
	recording.Lean:       {"lean channel", func(r *Ride) bool { return r.Lean.Source == "gyros and path" }},
	recording.YawRate:    {"weave and wobble", func(r *Ride) bool { return count(r, Weave, Wobble) == 0 }},
	recording.AccelX:     {"rear lift", func(r *Ride) bool { return count(r, RearLift) == 0 }},
	recording.Fork: {"fork travel", func(r *Ride) bool {
		return noTravel(r, "fork") && withheld(r, func(p *Pass) float64 { return p.ForkMax })
	}},
	recording.Shock: {"light hop", func(r *Ride) bool {
		return noTravel(r, "shock") && withheld(r, func(p *Pass) float64 { return p.ShockMin })
	}},
	recording.Coolant: {"temperature watch", func(r *Ride) bool { return true }},
	recording.Slot: {"", func(r *Ride) bool {
		for _, p := range r.Passes {
			if p.Slot != "" {
				return false
			}
		}
		return r.Signals.Slot == nil
	}},
	// Nothing is computed from these, or nothing that the rest does not give as well.
	recording.RollRate: {}, recording.PitchRate: {}, recording.GPSHeading: {}, recording.Altitude: {}, recording.AccelY: {},
	recording.AccelZ: {}, recording.AirTemp: {}, recording.Lambda: {}, recording.Steer: {}, recording.LapMarker: {},
}

func noSurplus(r *Ride) bool {
	for _, e := range r.Episodes {
		if e.Shift != nil && e.Kind == Blip && !math.IsNaN(e.Shift.Surplus) {
			return false
		}
	}
	return true
}

func noTravel(r *Ride, end string) bool {
	for _, x := range r.Travel {
		if x.End == end {
			return false
		}
	}
	return true
}

// tells looks for a reason: what cannot be given with why and mend, or a note.
func tells(r *Ride, what string) bool {
	for _, c := range r.Cannot {
		if strings.Contains(c.What.String(), what) {
			return c.Why != "" && c.Mend != ""
		}
	}
	for _, n := range append(append([]string(nil), r.Engine.Notes...), r.Tyres.Notes...) {
		if strings.Contains(n, what) {
			return true
		}
	}
	return false
}

// Every channel missing alone: no panic, nothing invented, and a reason told for
// what is withheld. What is left is as with all channels, but for what the
// channel helps to settle.
func TestEachChannelMissing(t *testing.T) {
	o := demo.DefaultOptions(1, 6161)
	o.Laps = 3
	plant(&o)
	run := demo.Ride(o)
	b, err := bike.Parse("demo.toml", run.Bike.TOML())
	if err != nil {
		t.Fatal(err)
	}
	rec := proving.Recording(run)
	whole, err := Analyse(rec, b, nil, Options{})
	if err != nil {
		t.Fatal(err)
	}
	for name, m := range ifMissing {
		if m.told != "" && tells(whole, m.told) {
			t.Errorf("%q is told with every channel there (%s)", m.told, name)
		}
	}
	for _, c := range rec.Channels {
		t.Run(c.Name, func(t *testing.T) {
			r, err := Analyse(without(rec, c.Name), b, nil, Options{})
			if c.Name == recording.Latitude || c.Name == recording.Longitude {
				if err == nil || !strings.Contains(err.Error(), "latitude") {
					t.Errorf("without position: %v", err)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			m, ok := ifMissing[c.Name]
			if !ok {
				t.Fatalf("nothing says what a ride without %s is", c.Name)
			}
			if m.told != "" && !tells(r, m.told) {
				t.Errorf("no reason with %q is told: %v", m.told, r.Cannot)
			}
			if m.gone != nil && !m.gone(r) {
				t.Error("something is given that needs the channel, or not marked as inferred")
			}
			if len(r.Passes) < len(whole.Passes)-2 || len(r.Laps) != len(whole.Laps) {
				t.Errorf("%d passes of %d laps, with all channels %d of %d", len(r.Passes), len(r.Laps), len(whole.Passes), len(whole.Laps))
			}
			// A cut, a shift or a lift more than one in ten is invented.
			for _, k := range []Kind{Cut, Blip, Upshift, Wheelie, RearLift, Lock, Limiter, Hop, Spin} {
				if n, all := kindCount(r, k), kindCount(whole, k); n > all+1+all/10 {
					t.Errorf("%d episodes of %s, with all channels %d", n, k, all)
				}
			}
		})
	}
}
