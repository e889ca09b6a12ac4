package ride

import (
	"fmt"
	"math"
	"testing"

	"cornerwright/internal/demo"
	"cornerwright/internal/proving"
)

func TestScratchMatrix(t *testing.T) {
	cases := []struct {
		name string
		f    func(o *demo.Options)
	}{
		{"clean", func(o *demo.Options) {}},
		{"2.5% wrong", func(o *demo.Options) { o.CircumferenceError = 0.025; o.LeanOffset = 0.035; o.LeanDelay = 0.05 }},
		{"front 2% wrong", func(o *demo.Options) { o.FrontError = -0.02 }},
		{"no lean", func(o *demo.Options) { o.Drop = []string{"lean"} }},
		{"path only", func(o *demo.Options) { o.Drop = []string{"lean", "roll_rate", "pitch_rate", "yaw_rate"} }},
		{"no cut", func(o *demo.Options) { o.Drop = []string{"cut"} }},
		{"no cut plate", func(o *demo.Options) { o.Drop = []string{"cut", "throttle"} }},
		{"no gear", func(o *demo.Options) { o.Drop = []string{"gear"}; o.CircumferenceError = 0.025 }},
		{"no gear clutch", func(o *demo.Options) { o.Drop = []string{"gear", "clutch"} }},
		{"no accel brake", func(o *demo.Options) { o.Drop = []string{"accel_x", "front_brake", "rear_brake"} }},
		{"no front", func(o *demo.Options) { o.Drop = []string{"front_speed"} }},
		{"no gps speed", func(o *demo.Options) { o.Drop = []string{"gps_speed"} }},
		{"50 Hz", func(o *demo.Options) { o.RateHz = 50 }},
		{"20 Hz", func(o *demo.Options) { o.RateHz = 20; o.GPSRate = 5 }},
		{"dirty", func(o *demo.Options) { o.Dirty = true }},
		{"nasty", func(o *demo.Options) {
			o.Nasty = demo.Nasty{AntennaHeight: 0.9, HangOff: 0.06, TyreGrowth: 0.01, LoadRadius: 0.006, CrownNonCircular: 0.02, Bank: 0.05, Grade: 0.02, Wind: 2, ThrottleMapCurve: 0.6, GPSSpeedLag: 0.1}
		}},
	}
	for _, k := range cases {
		for c := range demo.Circuits() {
			if c > 0 && !proving.Full() {
				break
			}
			o := demo.DefaultOptions(c, 101)
			o.Causes = []demo.Cause{{Kind: demo.OverBlip, Turn: 1, Size: 900}, {Kind: demo.OverBlip, Turn: 4, Size: 1800}, {Kind: demo.WheelLift, Turn: 2}, {Kind: demo.Hop, Turn: 3}, {Kind: demo.StrongControl, Turn: 5}}
			k.f(&o)
			s := analysed(t, o)
			d, l := s.slipError()
			a, b, p, lim := s.blipErrors()
			line := fmt.Sprintf("%-15s c%d lean %.2f slip %.2f/%.2f gear %.4f ", k.name, c, s.leanError(), d, l, s.gearRight())
			f, r, tr := s.ride.Tyres.Front, s.ride.Tyres.Rear, s.run.Truth
			line += fmt.Sprintf("| F %+.3f%% (%.2f) %+.1f mm (%.1f) %v | R %+.3f%% (%.2f) %+.1f mm (%.1f) %v", 100*(f.Circumference/tr.Front.Circumference-1), 100*f.CircumferenceSE/2, 1000*(f.Crown-tr.Front.Crown), 1000*f.CrownSE, f.Identified, 100*(r.Circumference/tr.Rear.Circumference-1), 100*r.CircumferenceSE/2, 1000*(r.Crown-tr.Rear.Crown), 1000*r.CrownSE, r.Identified)
			line += fmt.Sprintf("| blip %.0f/%.0f push %.3f lim %d/%d/%d |", proving.RMS(a), proving.RMS(b), proving.RMS(p), lim.hit, lim.truth, lim.found)
			for _, kind := range []Kind{Cut, Spin, Limiter, Wheelie, RearLift, Lock, Hop} {
				var a tally
				a.add(&s, kind, nil)
				line += fmt.Sprintf(" %s %d/%d/+%d", kind, a.hit, a.truth, a.extra)
				if kind == Cut {
					line += fmt.Sprintf(" (%.0f %.0f ms, class %d/%d)", 1000*medianAbs(a.start), 1000*medianAbs(a.end), a.class, a.classN)
				}
			}
			t.Log(line)
			_ = math.Pi
		}
	}
}
