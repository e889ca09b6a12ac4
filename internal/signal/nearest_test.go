package signal

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Against the standard library: halves, their neighbours, and numbers of any size.
func TestNearest(t *testing.T) {
	rnd := rand.New(rand.NewPCG(1, 1))
	try := func(x float64) {
		got, want := Nearest(x), math.RoundToEven(x)
		if got != want && !(got != got && want != want) {
			t.Fatalf("nearest to %v is %v, want %v", x, got, want)
		}
	}
	for _, x := range []float64{0, math.Copysign(0, -1), 1 << 51, -1 << 51, 1<<51 - 0.5, 1<<52 + 1, 1e300, math.Inf(1), math.Inf(-1), math.NaN(), math.MaxFloat64, math.SmallestNonzeroFloat64} {
		try(x)
		try(-x)
	}
	for range 200000 {
		x := math.Ldexp(rnd.Float64()-0.5, rnd.IntN(60))
		try(x)
		half := math.Floor(x) + 0.5
		try(half)
		try(math.Nextafter(half, math.Inf(1)))
		try(math.Nextafter(half, math.Inf(-1)))
	}
}
