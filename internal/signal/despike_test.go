package signal

import (
	"math"
	"testing"
)

// One and two wild samples in a row are taken out; a step, a vibration and what
// lies about a gap stay.
func TestDespike(t *testing.T) {
	n := 400
	at, x := make([]float64, n), make([]float64, n)
	for i := range x {
		at[i] = float64(i) * 0.01
		x[i] = 40 + 5*math.Sin(at[i]) + 0.02*math.Sin(float64(i)*7)
	}
	clean := append([]float64(nil), x...)
	x[50] -= 4
	x[120], x[121] = x[120]+6, x[121]+5
	wild := append([]float64(nil), x...)
	got, k := Despike(at, x, 1)
	if k != 3 {
		t.Errorf("%d wild samples, want 3", k)
	}
	for i := range got {
		if math.Abs(got[i]-clean[i]) > 0.06 {
			t.Errorf("sample %d is %.3f, was %.3f before it was spoilt", i, got[i], clean[i])
		}
		if x[i] != wild[i] {
			t.Fatal("the caller's samples were touched")
		}
	}
	keeps := func(name string, f func(i int) float64) {
		y := make([]float64, n)
		for i := range y {
			y[i] = f(i)
		}
		if _, k := Despike(at, y, 1); k != 0 {
			t.Errorf("%s: %d samples taken for wild", name, k)
		}
	}
	keeps("step", func(i int) float64 { return 40 - 8*math.Floor(float64(i)/200) })
	keeps("vibration of 25 in a second", func(i int) float64 { return 40 + 3*math.Sin(2*math.Pi*25*at[i]+0.4) })
	keeps("fall and rise", func(i int) float64 { return 40 - 9*math.Exp(-math.Abs(float64(i-200))/3) })
	// After a gap of a second the value may be anything.
	gap := append([]float64(nil), at...)
	for i := 200; i < n; i++ {
		gap[i]++
	}
	y := append([]float64(nil), clean...)
	y[199] += 5
	if _, k := Despike(gap, y, 1); k != 0 {
		t.Error("a sample before a gap is taken for wild")
	}
}
