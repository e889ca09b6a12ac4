package intake

import (
	"math/rand/v2"
	"slices"
	"testing"

	"cornerwright/internal/recording"
)

// Selection gives what sorting gives, of many equal values and ordered ones too.
func TestNth(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for _, n := range []int{1, 2, 13, 14, 100, 5000} {
		for kind := range 4 {
			v := make([]float64, n)
			for i := range v {
				switch kind {
				case 0:
					v[i] = rng.NormFloat64()
				case 1:
					v[i] = float64(rng.IntN(3))
				case 2:
					v[i] = float64(i)
				case 3:
					v[i] = float64(-i)
				}
			}
			s := slices.Sorted(slices.Values(v))
			for _, k := range []int{0, n / 3, n / 2, n - 1} {
				if got := nth(slices.Clone(v), k); got != s[k] {
					t.Errorf("n %d, kind %d: place %d is %v, want %v", n, kind, k, got, s[k])
				}
			}
		}
	}
}

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
