package proving

import (
	"math"

	"cornerwright/internal/demo"
)

// Passages are the true instants (s) at which the tyres pass the plane that stands
// across the road at x, y (m east and north of the simulator's origin), heading in
// rad clockwise from north.
func Passages(tr *demo.Truth, x, y, heading float64) []float64 {
	sin, cos := math.Sincos(heading)
	var out []float64
	prev := math.NaN()
	for i := range tr.Time {
		dx, dy := tr.X[i]-x, tr.Y[i]-y
		a := dx*sin + dy*cos
		if prev < 0 && a >= 0 && math.Abs(dx*cos-dy*sin) < 25 && a-prev < 3 {
			out = append(out, tr.Time[i]-(tr.Time[i]-tr.Time[i-1])*a/(a-prev))
		}
		prev = a
	}
	return out
}

// Nearest is the instant of a list nearest to t, infinity for none.
func Nearest(list []float64, t float64) float64 {
	best := math.Inf(1)
	for _, x := range list {
		if math.Abs(x-t) < math.Abs(best-t) {
			best = x
		}
	}
	return best
}
