package circuit

import (
	"math"
	"math/rand/v2"
	"testing"
)

// GPS speed made with a known delay, scale, load and growth, white noise and an error
// with a memory: the fit gives them back, and its standard errors hold.
func TestDriveDelayOnMadeSpeeds(t *testing.T) {
	const dt, late, load, growth = 0.01, 0.1237, 6e-4, 8e-7
	r := rand.New(rand.NewPCG(1, 7))
	n := 60000
	d := &odometer{dt: dt, latency: 0.12, raw: make([]float64, n)}
	for i := range d.raw {
		// Drive out of 25 m/s with breaks for the gears, brake into it again.
		s := math.Mod(float64(i)*dt, 20)
		d.raw[i] = 25 + 6*s - 0.14*s*s - 0.4*math.Sin(2*s)
		if s > 14 {
			d.raw[i] = 66 + (25-66)*(s-14)/6
		}
	}
	d.accel = slope(d.raw, dt, 0.07)
	phi := make([]float64, n)
	steady := d.steady(phi)
	f := &fixes{rate: 10, logged: true}
	keep := math.Exp(-0.1 / 2)
	slow := 0.0
	for x := 2.0; x < 597; x += 0.1 {
		slow = keep*slow + math.Sqrt(1-keep*keep)*0.08*r.NormFloat64()
		i := (x - late) / dt
		k := int(i)
		u := i - float64(k)
		v := d.raw[k] + u*(d.raw[k+1]-d.raw[k])
		a := d.accel[k] + u*(d.accel[k+1]-d.accel[k])
		f.t = append(f.t, x)
		f.v = append(f.v, 1.01*v+load*v*a+growth*v*v*v+slow+0.06*r.NormFloat64())
	}
	x, sd, ok := d.driveDelay(f, phi, steady, []float64{1.5, 0.6, 0.6})
	if !ok {
		t.Fatal("no fit")
	}
	for _, c := range []struct {
		what      string
		got, want float64
		sd, most  float64
	}{
		{"delay, s", x[dDelay], 1.01 * (0.12 - late), sd[dDelay], 0.008},
		{"load, of the usual", x[dLoad], load / loadUsual, sd[dLoad], 0.4},
		{"growth, of the usual", x[dGrowth], growth / growthUsual, sd[dGrowth], 0.4},
	} {
		t.Logf("%s: %.4f, made with %.4f, standard error %.4f", c.what, c.got, c.want, c.sd)
		if math.Abs(c.got-c.want) > 2.6*c.sd || c.sd > c.most {
			t.Errorf("%s: %.4f +- %.4f, made with %.4f", c.what, c.got, c.sd, c.want)
		}
	}
	// The parts of the error, from residuals alone.
	rows := make([]driven, 0, len(f.t))
	slow = 0
	for k := range 20000 {
		slow = keep*slow + math.Sqrt(1-keep*keep)*0.08*r.NormFloat64()
		rows = append(rows, driven{t: float64(k) * 0.1, rest: slow + 0.06*r.NormFloat64()})
	}
	e := errorOf(rows, 10)
	if a, b := math.Sqrt(e.white), math.Sqrt(e.slow); math.Abs(a-0.06) > 0.006 || math.Abs(b-0.08) > 0.012 || math.Abs(e.memory-2) > 0.6 {
		t.Errorf("white %.3f, slow %.3f m/s, memory %.2f s; made with 0.06, 0.08, 2", a, b, e.memory)
	}
}
