package demo

import "testing"

func BenchmarkRide(b *testing.B) {
	o := DefaultOptions(0, 1)
	o.Laps = 12
	for b.Loop() {
		Ride(o)
	}
}
