package inference

import (
	"math"
	"testing"
)

func TestBCaMean(t *testing.T) {
	// Acceleration by the jackknife (no random numbers); intervals from 99,999
	// resamples, within 0.03 (SciPy).
	x := []float64{1.2, 2.4, 1.3, 1.3, 0, 1, 1.8, 0.8, 4.6, 1.4}
	near(t, "acceleration", Acceleration(x, 1, Mean), 0.0775799854752, 1e-12)
	b := BCa(x, Mean, 0.95, 99999)
	for _, c := range []struct {
		what      string
		got, want float64
	}{{"percentile lo", b.PercentileLo, 0.95}, {"percentile hi", b.PercentileHi, 2.38}, {"BCa lo", b.Lo, 1.05}, {"BCa hi", b.Hi, 2.62}} {
		if math.Abs(c.got-c.want) > 0.03 {
			t.Errorf("%s: %v, want %v within 0.03", c.what, c.got, c.want)
		}
	}
	if again := BCa(x, Mean, 0.95, 99999); again.Lo != b.Lo || again.Hi != b.Hi {
		t.Error("the same data gave another interval")
	}
}

// Spatial test data of Efron and Tibshirani 1993, variance with divisor n.
func TestBCaSpatial(t *testing.T) {
	x := []float64{48, 36, 20, 29, 42, 42, 20, 42, 22, 41, 45, 14, 6, 0, 33, 28, 34, 4, 32, 24, 47, 41, 24, 26, 30, 41}
	variance := func(v []float64) float64 { return Variance(v) * float64(len(v)-1) / float64(len(v)) }
	near(t, "variance", variance(x), 171.534023669, 1e-9)
	near(t, "acceleration", Acceleration(x, 1, variance), 0.0612401198, 1e-9)
	b := BCa(x, variance, 0.90, 20000)
	for _, c := range []struct {
		what      string
		got, want float64
	}{{"percentile lo", b.PercentileLo, 97.8}, {"percentile hi", b.PercentileHi, 235.6}, {"BCa lo", b.Lo, 115.8}, {"BCa hi", b.Hi, 261.5}} {
		if math.Abs(c.got-c.want) > 4 {
			t.Errorf("%s: %v, want %v within 4", c.what, c.got, c.want)
		}
	}
}

// Law school data of Efron (n 15): correlation and its jackknife error.
func TestJackknifeLawSchool(t *testing.T) {
	lsat := []float64{576, 635, 558, 578, 666, 580, 555, 661, 651, 605, 653, 575, 545, 572, 594}
	gpa := []float64{3.39, 3.30, 2.81, 3.03, 3.44, 3.07, 3.00, 3.43, 3.36, 3.13, 3.12, 2.74, 2.76, 2.88, 2.96}
	r := func(idx []float64) float64 {
		var a, b []float64
		for _, i := range idx {
			a, b = append(a, lsat[int(i)]), append(b, gpa[int(i)])
		}
		ma, mb := Mean(a), Mean(b)
		num, da, db := 0.0, 0.0, 0.0
		for i := range a {
			num += (a[i] - ma) * (b[i] - mb)
			da += (a[i] - ma) * (a[i] - ma)
			db += (b[i] - mb) * (b[i] - mb)
		}
		return num / math.Sqrt(da*db)
	}
	idx := make([]float64, 15)
	for i := range idx {
		idx[i] = float64(i)
	}
	near(t, "correlation", r(idx), 0.776374491289, 1e-11)
	near(t, "jackknife se", JackknifeSE(idx, r), 0.142518618602, 1e-11)
}

func TestFewBlocksWarn(t *testing.T) {
	x := []float64{1, 2, 3, 2, 1, 2, 3, 4}
	if b := BlockBCa(x, 2, Mean, 0.95, 2000); len(b.Warnings) == 0 {
		t.Error("four blocks gave no warning")
	}
	if b := BCa([]float64{1, 2}, Mean, 0.95, 100); b.Known() {
		t.Error("two values gave an interval")
	}
}
