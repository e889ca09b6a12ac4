package ride

import (
	"math"
	"testing"

	"cornerwright/internal/signal"
)

// A kick of the driveline, or two of opposite sign as a gearshift gives them, does
// not count as hop or chatter; a shake of 0.35 s does.
func TestAKickIsNoHop(t *testing.T) {
	const rate, n, at = 100, 400, 200
	for k, band := range [][2]float64{hopBand, chatterBand} {
		for name, c := range map[string]struct {
			x    func(i int) float64
			want bool
		}{
			"kick":               {func(i int) float64 { return pulse(i == at) }, false},
			"two kicks, 50 ms":   {func(i int) float64 { return pulse(i == at) - pulse(i == at+5) }, false},
			"two kicks, 90 ms":   {func(i int) float64 { return pulse(i == at) - pulse(i == at+9) }, false},
			"step":               {func(i int) float64 { return pulse(i >= at) }, false},
			"half sine of 0.1 s": {func(i int) float64 { return math.Sin(math.Pi*float64(i-at)/10) * pulse(i >= at && i < at+10) }, false},
			"shake in the middle": {func(i int) float64 {
				return math.Sin(math.Pi*float64(i)*(band[0]+band[1])/rate) * pulse(i >= at && i < at+35)
			}, true},
			"shake near the edge": {func(i int) float64 {
				return math.Sin(2*math.Pi*float64(i)*(band[0]+1)/rate) * pulse(i >= at && i < at+35)
			}, true},
		} {
			x := make([]float64, n)
			for i := range x {
				x[i] = c.x(i)
			}
			rms, square := make([]float64, n), make([]float64, n)
			signal.BandRMSInto(rms, square, x, band[0], band[1], 0.3, rate, &signal.Scratch{})
			top := 0.0
			for _, v := range rms {
				top = math.Max(top, v)
			}
			a, z := n, 0
			for i, v := range rms { // whatever the threshold: as far as half the greatest
				if v > top/2 {
					a, z = min(a, i), max(z, i)
				}
			}
			if got := halfWaves(square[a:z]); (got >= leastHalfWaves[k]) != c.want {
				t.Errorf("band %v, %s: %d half waves of %d, want hop %v", band, name, got, leastHalfWaves[k], c.want)
			}
		}
	}
}

func pulse(b bool) float64 {
	if b {
		return 1
	}
	return 0
}
