package circuit_test

import (
	"fmt"
	"math"
	"testing"

	"cornerwright/internal/circuit"
	"cornerwright/internal/demo"
	"cornerwright/internal/proving"
)

// The least radius of every turn, as a person reads it, against the tightest arc of
// the true line: relative errors, positive where it reads too large.
func TestLeastRadius(t *testing.T) {
	seeds := proving.Seeds()
	if !proving.Full() {
		seeds = seeds[:1]
	}
	for _, c := range []struct {
		name  string
		drop  []string
		limit float64 // root mean square
		kinks float64
	}{
		{"with GPS heading", nil, 0.03, 0.08},
		{"without", []string{"gps_heading"}, 0.08, 0.15},
	} {
		var tight, open, kinks []float64
		for ci := range demo.Circuits() {
			for _, seed := range seeds {
				o := demo.DefaultOptions(ci, seed+7)
				o.Laps, o.Drop = 7, c.drop
				r := demo.Ride(o)
				l := locate(t, r, nil)
				f := circuit.Frame{Lat: r.Circuit.Latitude * math.Pi / 180, Lon: r.Circuit.Longitude * math.Pi / 180}
				for _, x := range l.Circuit.Turns {
					px, py, _, _ := l.Circuit.Line.At(x.Apex)
					lat, lon := l.Circuit.Frame.LatLon(px, py)
					gx, gy, _ := f.ENU(lat, lon, l.Circuit.Frame.Height)
					best, radius := math.Inf(1), 0.0
					for _, y := range r.Truth.Turns {
						for s := y.ApexSpan[0]; s <= y.ApexSpan[1]; s++ {
							tx, ty, _ := r.Circuit.Point(s)
							if d := math.Hypot(tx-gx, ty-gy); d < best {
								best, radius = d, y.Radius
							}
						}
					}
					e := x.MinRadius/radius - 1
					switch {
					case radius < 25:
						tight = append(tight, e)
					case radius < 200:
						open = append(open, e)
					default:
						kinks = append(kinks, e)
					}
				}
			}
		}
		say := func(e []float64) string {
			return fmt.Sprintf("%.1f %% (mean %+.1f, worst %.1f, %d)", 100*proving.RMS(e), 100*proving.Mean(e), 100*proving.Worst(e), len(e))
		}
		fmt.Printf("| least radius, %s | below 25 m: %s | to 200 m: %s | beyond: %s |\n", c.name, say(tight), say(open), say(kinks))
		if proving.RMS(tight) > c.limit || proving.RMS(open) > c.limit || proving.RMS(kinks) > c.kinks {
			t.Errorf("%s: %s; %s; %s", c.name, say(tight), say(open), say(kinks))
		}
	}
}
