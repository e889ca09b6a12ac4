package signal

import (
	"math"
	"testing"
)

// Filter coefficients and zero-phase results of scipy 1.10.1 (scipy.signal.butter
// and filtfilt, default odd extension), sampling rate 100.
func TestButterworthAgainstScipy(t *testing.T) {
	for _, c := range []struct {
		order int
		cut   float64
		b, a  []float64
	}{
		{2, 5, []float64{0.0200833655642112, 0.0401667311284225, 0.0200833655642112}, []float64{1, -1.56101807580072, 0.641351538057563}},
		{2, 10, []float64{0.0674552738890719, 0.134910547778144, 0.0674552738890719}, []float64{1, -1.1429805025399, 0.412801598096189}},
		{4, 5, []float64{0.000416599204406599, 4 * 0.000416599204406599, 6 * 0.000416599204406599, 4 * 0.000416599204406599, 0.000416599204406599},
			[]float64{1, -3.18063854887472, 3.86119434899421, -2.11215535511097, 0.43826514226198}},
		{4, 10, []float64{0.00482434335771623, 4 * 0.00482434335771623, 6 * 0.00482434335771623, 4 * 0.00482434335771623, 0.00482434335771623},
			[]float64{1, -2.36951300718204, 2.31398841441588, -1.05466540587857, 0.187379492368185}},
	} {
		f := Butterworth(c.order, c.cut, 100)
		for i := range c.b {
			if math.Abs(f.B[i]-c.b[i]) > 1e-12 || math.Abs(f.A[i]-c.a[i]) > 1e-12 {
				t.Errorf("order %d cut %g: coefficient %d is %.15g, %.15g; want %.15g, %.15g", c.order, c.cut, i, f.B[i], f.A[i], c.b[i], c.a[i])
			}
		}
	}
}

func TestFiltFiltAgainstScipy(t *testing.T) {
	step := make([]float64, 40)
	for i := 20; i < 40; i++ {
		step[i] = 1
	}
	at := []int{16, 18, 19, 20, 22, 24, 0, 39}
	for _, c := range []struct {
		order int
		cut   float64
		want  []float64
	}{
		{2, 5, []float64{0.163698574882, 0.339385203563, 0.445125464226, 0.554870476718, 0.755691438609, 0.901145184892, -0.002076504439, 1.002129707322}},
		{2, 10, []float64{-0.003989779531, 0.202972716940, 0.392872562811, 0.607127437167, 0.930184563734, 1.033380163860, -0.000087167159, 1.000087218419}},
		{4, 5, []float64{0.169039339991, 0.348483737643, 0.448813739666, 0.551180055460, 0.745823713415, 0.903926236181, 0.019472305931, 0.981463382264}},
		{4, 10, []float64{-0.029390729165, 0.209758018568, 0.398094551867, 0.601905391440, 0.937163481311, 1.068414794504, 0.001326349664, 0.998676057548}},
	} {
		y := Butterworth(c.order, c.cut, 100).FiltFilt(step)
		for k, i := range at {
			if math.Abs(y[i]-c.want[k]) > 1e-10 {
				t.Errorf("order %d cut %g: y[%d] = %.12f, want %.12f", c.order, c.cut, i, y[i], c.want[k])
			}
		}
	}
	x := make([]float64, 50)
	for i := range x {
		x[i] = math.Sin(2*math.Pi*2*float64(i)/100) + 0.5*math.Sin(2*math.Pi*20*float64(i)/100)
	}
	want := map[int]float64{0: -0.015992979854, 10: 0.925909167229, 25: -0.001736721614, 40: -0.889994913893, 49: -0.597041291226}
	y := make([]float64, len(x))
	var s Scratch
	LowPassInto(y, x, 5, 100, &s)
	for i, v := range want {
		if math.Abs(y[i]-v) > 1e-10 {
			t.Errorf("sine: y[%d] = %.12f, want %.12f", i, y[i], v)
		}
	}
	// Two in one walk give what one after the other gives; a cut that leaves the band
	// open too.
	for _, cut := range []float64{2, 12, 60} {
		other, want := make([]float64, len(x)), make([]float64, len(x))
		for i := range other {
			other[i] = x[len(x)-1-i] * float64(i)
		}
		LowPassInto(want, other, cut, 100, &s)
		both := append([]float64(nil), x...)
		LowPassTwo(Series{both, both, 5}, Series{other, other, cut}, 100, &s)
		for i := range want {
			if both[i] != y[i] || other[i] != want[i] {
				t.Fatalf("two at once, cut %g: %v and %v at %d, want %v and %v", cut, both[i], other[i], i, y[i], want[i])
			}
		}
	}
	// In place, twice with one scratch, gives the same.
	z := append([]float64(nil), x...)
	LowPassInto(z, z, 5, 100, &s)
	for i := range z {
		if z[i] != y[i] {
			t.Fatalf("in place differs at %d", i)
		}
	}
}

// Delay by cross-correlation: the first case by hand, the second a Gauss pulse.
func TestDelay(t *testing.T) {
	x := []float64{0, 0, 1, 3, 5, 3, 1, 0, 0, 0, 0, 0}
	y := []float64{0, 0, 0, 0, 0, 1, 3, 5, 3, 1, 0, 0}
	want := []float64{1, 6, 19, 36, 45, 36, 19, 6, 1}
	c := CrossCorrelation(x, y, -1, 7)
	for i := range want {
		if c[i] != want[i] {
			t.Errorf("lag %d: %g, want %g", i-1, c[i], want[i])
		}
	}
	if lag, corr := Delay(x, y, -5, 8); math.Abs(lag-3) > 1e-12 || corr < 0.999 {
		t.Errorf("delay %g (%g), want 3", lag, corr)
	}
	for i := range y {
		y[i] = -y[i]
	}
	if lag, corr := Delay(x, y, -5, 8); math.Abs(lag-3) > 1e-12 || corr > -0.999 {
		t.Errorf("turned sign: delay %g (%g), want 3 with correlation -1", lag, corr)
	}
	pulse := func(at float64) []float64 {
		p := make([]float64, 400)
		for i := range p {
			u := (float64(i)/100 - at) / 0.15
			p[i] = math.Exp(-0.5 * u * u)
		}
		return p
	}
	for _, d := range []struct{ delay, want float64 }{{0.137, 0.137001067}, {-0.083, -0.082998933}} {
		lag, _ := Delay(pulse(1.5), pulse(1.5+d.delay), -50, 50)
		if math.Abs(lag/100-d.want) > 1e-8 {
			t.Errorf("delay %.9f, want %.9f", lag/100, d.want)
		}
	}
}

// The band of a sine holds its root mean square; outside the band little is left.
func TestBandRMS(t *testing.T) {
	x := make([]float64, 1000)
	for i := range x {
		x[i] = 3 * math.Sin(2*math.Pi*11*float64(i)/100)
	}
	dst, tmp := make([]float64, len(x)), make([]float64, len(x))
	var s Scratch
	BandRMSInto(dst, tmp, x, 6, 18, 1, 100, &s)
	if v := dst[500]; math.Abs(v-3/math.Sqrt2)/3 > 0.15 {
		t.Errorf("rms in the band %g, want about %g", v, 3/math.Sqrt2)
	}
	BandRMSInto(dst, tmp, x, 0.5, 2, 1, 100, &s)
	if dst[500] > 0.15 {
		t.Errorf("rms outside the band %g", dst[500])
	}
}

func TestMovingMean(t *testing.T) {
	x := []float64{1, 2, 3, 4, 5}
	y := make([]float64, 5)
	MovingMeanInto(y, x, 1)
	for i, w := range []float64{1.5, 2, 3, 4, 4.5} {
		if math.Abs(y[i]-w) > 1e-12 {
			t.Errorf("mean %d = %g, want %g", i, y[i], w)
		}
	}
}
