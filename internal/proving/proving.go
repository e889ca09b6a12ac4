// Package proving turns simulated runs into recordings for tests, without the
// way over text, and holds small measures of agreement that tests share.
package proving

import (
	"math"
	"os"

	"cornerwright/internal/demo"
	"cornerwright/internal/recording"
)

// Seeds are the seeds that accuracy tests run over: five, or ten when
// CORNERWRIGHT_FULL is 1.
func Seeds() []uint64 {
	n := 5
	if os.Getenv("CORNERWRIGHT_FULL") == "1" {
		n = 10
	}
	out := make([]uint64, n)
	for i := range out {
		out[i] = uint64(101 + 37*i)
	}
	return out
}

// Full tells whether the full matrix was asked for.
func Full() bool { return os.Getenv("CORNERWRIGHT_FULL") == "1" }

var toSI = map[string]struct {
	unit       string
	mul, shift float64
}{
	"deg":   {"rad", math.Pi / 180, 0},
	"deg/s": {"rad/s", math.Pi / 180, 0},
	"km/h":  {"m/s", 1 / 3.6, 0},
	"1/min": {"rad/s", 2 * math.Pi / 60, 0},
	"%":     {"1", 0.01, 0},
	"bar":   {"Pa", 1e5, 0},
	"g":     {"m/s2", 9.80665, 0},
	"mm":    {"m", 1e-3, 0},
	"m":     {"m", 1, 0},
	"degC":  {"K", 1, 273.15},
	"":      {"", 1, 0},
}

// Recording converts a simulated run to a recording in SI. Samples that say NaN
// are left out, as a reader leaves them out.
func Recording(r *demo.Run) *recording.Recording {
	out := &recording.Recording{Format: "simulated", Name: r.Circuit.Name}
	for _, c := range r.Channels {
		u, ok := toSI[c.Unit]
		if !ok {
			panic("proving: no conversion for unit " + c.Unit)
		}
		v := make([]float64, 0, len(c.Value))
		at := c.Time
		for i, x := range c.Value {
			switch {
			case !math.IsNaN(x):
				v = append(v, x*u.mul+u.shift)
				if len(v) <= i {
					at = append(at, c.Time[i])
				}
			case len(v) == i:
				// The first sample that is none: from here on the clock is its own.
				at = append([]float64(nil), c.Time[:i]...)
			}
		}
		out.Channels = append(out.Channels, &recording.Channel{Name: c.Name, Known: true, From: c.Header,
			Unit: u.unit, SourceUnit: c.Unit, Time: at, Value: v})
		out.Rows = max(out.Rows, len(v))
	}
	return out
}

// RMS is the root mean square, NaN for none.
func RMS(x []float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	var s float64
	for _, v := range x {
		s += v * v
	}
	return math.Sqrt(s / float64(len(x)))
}

// Mean is the mean, NaN for none.
func Mean(x []float64) float64 {
	var s float64
	for _, v := range x {
		s += v
	}
	return s / float64(len(x))
}

// Worst is the greatest magnitude.
func Worst(x []float64) float64 {
	w := 0.0
	for _, v := range x {
		w = math.Max(w, math.Abs(v))
	}
	return w
}

// Span is a stretch of time to be matched.
type Span struct{ From, To float64 }

// Match counts how many true spans overlap a found one, and how many found ones
// overlap no true one. Pairs holds index pairs (true, found).
func Match(truth, found []Span) (hit, extra int, pairs [][2]int) {
	used := make([]bool, len(found))
	for i, a := range truth {
		best, at := 0.0, -1
		for j, b := range found {
			if o := math.Min(a.To, b.To) - math.Max(a.From, b.From); o > best {
				best, at = o, j
			}
		}
		if at >= 0 {
			hit++
			pairs = append(pairs, [2]int{i, at})
		}
	}
	for j, b := range found {
		for _, a := range truth {
			if math.Min(a.To, b.To) > math.Max(a.From, b.From) {
				used[j] = true
			}
		}
		if !used[j] {
			extra++
		}
	}
	return
}

// F1 is the harmonic mean of precision and recall.
func F1(hit, truth, found, extra int) float64 {
	if truth == 0 && found == 0 {
		return 1
	}
	if truth == 0 || found == 0 {
		return 0
	}
	r, p := float64(hit)/float64(truth), float64(found-extra)/float64(found)
	if r+p == 0 {
		return 0
	}
	return 2 * r * p / (r + p)
}
