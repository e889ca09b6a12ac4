package signal

import (
	"math"
	"sort"
)

// Despike returns x with lone wild samples drawn straight between their
// neighbours, and how many there were; x itself is not touched. One sample or two
// in a row are wild where both sides step to them by more than limit, the far
// sides agree within half of that, the step is three times the steps beside it,
// so that the bottom of a fall stays, and eight times what the samples about it
// scatter, so that a vibration stays. Nothing with inertia goes out and
// back within two samples of a fast channel. t are the instants: a step over a
// gap is none.
func Despike(t, x []float64, limit float64) ([]float64, int) {
	n := len(x)
	if n < 5 {
		return x, 0
	}
	dt := make([]float64, 0, 64)
	for i := 1; i < n; i += 1 + n/64 {
		dt = append(dt, t[i]-t[i-1])
	}
	longest := 2.5 * Median(dt)
	out, count := x, 0
	about := make([]float64, 0, 24)
	for i := 1; i < n-1; i++ {
		a := out[i-1]
		d := x[i] - a
		if !(math.Abs(d) > limit) {
			continue
		}
		for width := 1; width <= 2 && i+width < n; width++ {
			b := x[i+width]
			e := x[i+width-1] - b
			least := math.Min(math.Abs(d), math.Abs(e))
			if d*e <= 0 || least <= limit || math.Abs(b-a) > least/2 || t[i+width]-t[i-1] > longest*float64(1+width) {
				continue
			}
			if i > 1 && least < 3*math.Abs(a-out[i-2]) || i+width+1 < n && least < 3*math.Abs(x[i+width+1]-b) {
				continue
			}
			about = about[:0]
			for k := i - 10; k <= i+width+9; k++ {
				if k >= 1 && k+1 < n && (k < i-1 || k > i+width) {
					about = append(about, math.Abs(x[k]-(x[k-1]+x[k+1])/2))
				}
			}
			sort.Float64s(about)
			if len(about) > 4 && least < 8*about[len(about)/2] {
				continue
			}
			if count == 0 {
				out = append([]float64(nil), x...)
			}
			for k := range width {
				out[i+k] = a + (b-a)*(t[i+k]-t[i-1])/(t[i+width]-t[i-1])
			}
			count += width
			i += width - 1
			break
		}
	}
	return out, count
}
