package intake

import (
	"testing"

	"cornerwright/internal/recording"
)

// A walker agrees with the channel, forwards, backwards and beyond the ends.
func TestWalker(t *testing.T) {
	c := &recording.Channel{}
	for i := range 100 {
		c.Time = append(c.Time, float64(i)*0.1)
		c.Value = append(c.Value, float64(i*i))
	}
	w := newWalker(c)
	for _, x := range []float64{-1, 0, 0.05, 3.3, 3.31, 9.9, 12, 4.44, 0, -2} {
		if got, want := w.at(x), c.At(x); got != want {
			t.Errorf("at %v: %v, want %v", x, got, want)
		}
	}
}
