package second

import (
	"math"
	"testing"
)

// near fails unless got is within tol of want, absolutely for |want| < 1 and
// relatively above.
func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if math.IsNaN(got) || math.Abs(got-want) > tol*math.Max(1, math.Abs(want)) {
		t.Errorf("%s: got %.15g, want %.15g (tol %g)", what, got, want, tol)
	}
}

// relative fails unless got is within tol of want, relative to want.
func relative(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if math.IsNaN(got) || math.Abs(got-want) > tol*math.Abs(want) {
		t.Errorf("%s: got %.15g, want %.15g (relative tol %g)", what, got, want, tol)
	}
}
