package intake

import (
	"cornerwright/internal/recording"
)

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
