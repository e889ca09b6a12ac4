package intake

import (
	"sort"

	"cornerwright/internal/recording"
)

// nth returns the value that would stand at place k were s sorted, without
// sorting it; s is reordered. No value may be NaN. Hoare's selection with the
// median of three; what is left of an unlucky run is sorted.
func nth(s []float64, k int) float64 {
	lo, hi := 0, len(s)-1
	for range 64 {
		if hi-lo < 12 {
			break
		}
		a, b, c := s[lo], s[lo+(hi-lo)/2], s[hi]
		pivot := max(min(a, b), min(max(a, b), c))
		i, j := lo, hi
		for i <= j {
			for s[i] < pivot {
				i++
			}
			for s[j] > pivot {
				j--
			}
			if i <= j {
				s[i], s[j] = s[j], s[i]
				i++
				j--
			}
		}
		switch {
		case k <= j:
			hi = j
		case k >= i:
			lo = i
		default:
			return s[k]
		}
	}
	sort.Float64s(s[lo : hi+1])
	return s[k]
}

// walker gives a channel's value at instants that mostly rise, as Channel.At
// does, without searching for each.
type walker struct {
	c    *recording.Channel
	i    int
	rate float64 // samples a second, about
}

func newWalker(c *recording.Channel) walker {
	n := len(c.Time)
	return walker{c: c, rate: float64(n-1) / (c.Time[n-1] - c.Time[0])}
}

func (w *walker) at(t float64) float64 {
	n := len(w.c.Time)
	// On an even clock the place is near a guess; where it is not, the steps
	// below find it.
	if k := min(w.i, n-1); w.rate > 0 {
		if d := (t - w.c.Time[k]) * w.rate; d > 4 || d < -4 {
			w.i = int(max(0, min(float64(n), float64(k)+d)))
		}
	}
	for w.i > 0 && w.c.Time[w.i-1] >= t {
		w.i--
	}
	for w.i < n && w.c.Time[w.i] < t {
		w.i++
	}
	switch w.i {
	case 0:
		return w.c.Value[0]
	case n:
		return w.c.Value[n-1]
	}
	t0, t1 := w.c.Time[w.i-1], w.c.Time[w.i]
	f := (t - t0) / (t1 - t0)
	return w.c.Value[w.i-1] + f*(w.c.Value[w.i]-w.c.Value[w.i-1])
}
