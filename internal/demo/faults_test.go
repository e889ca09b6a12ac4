package demo

import (
	"math"
	"sort"
	"testing"
)

// A wheel speed from pulses is the wheel's own speed, in steps: its median is
// right, one pulse missed reads low by a pulse's share, and at rest it is nought.
func TestPulses(t *testing.T) {
	o := DefaultOptions(1, 31)
	o.Laps = 1
	o.Nasty.WheelPulses, o.Nasty.MissedPulses = 48, 0.002
	r := Ride(o)
	c, tr := r.Channel("front_speed"), &r.Truth
	var ratio []float64
	low := 0
	for i, v := range c.Value {
		if tr.Speed[i] < 0.2 && i > 40 && tr.Speed[i-30] < 0.2 && v != 0 {
			t.Fatalf("at rest at %.2f s the wheel reads %.2f km/h", c.Time[i], v)
		}
		if tr.Speed[i] < 20 || math.Abs(tr.Accel[i]) > 3 {
			continue
		}
		q := v / (tr.FrontOmega[i] * r.Bike.Front.Radius * 3.6)
		ratio = append(ratio, q)
		if q < 0.97 {
			low++
		}
	}
	sort.Float64s(ratio)
	if m := ratio[len(ratio)/2]; math.Abs(m-1) > 5e-4 {
		t.Errorf("median %.5f of the wheel's speed", m)
	}
	if share := float64(low) / float64(len(ratio)); share < 0.003 || share > 0.05 {
		t.Errorf("%.4f of the samples miss a pulse", share)
	}
}

// Failing sensors fail, and only for a while.
func TestFaults(t *testing.T) {
	o := DefaultOptions(1, 32)
	o.Laps = 2
	good := Ride(o)
	o.Nasty.Faults = true
	bad := Ride(o)
	for _, name := range []string{"front_speed", "rear_speed", "rpm", "gps_speed", "lean", "shock", "throttle"} {
		a, b := good.Channel(name), bad.Channel(name)
		differ, silent := 0, 0
		for i := range a.Value {
			switch {
			case math.IsNaN(b.Value[i]):
				silent++
			case a.Value[i] != b.Value[i]:
				differ++
			}
		}
		n := len(a.Value)
		if differ+silent == 0 || differ+silent > n/8 {
			t.Errorf("%s: %d samples wrong and %d NaN of %d", name, differ, silent, n)
		}
	}
	if &good.Truth.Speed[0] == &bad.Truth.Speed[0] || good.Truth.Speed[5000] != bad.Truth.Speed[5000] {
		t.Error("what a sensor says changed the ride")
	}
}
