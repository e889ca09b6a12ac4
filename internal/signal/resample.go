package signal

import "math"

// Resample gives the values of (t, x) at the even times t0 + i*dt, linear
// between samples and held at the ends. It walks once, so it is linear in both
// lengths. len(t) must be at least 1 and t increasing.
func Resample(t, x []float64, t0, dt float64, n int) []float64 {
	out := make([]float64, n)
	ResampleInto(out, t, x, t0, dt)
	return out
}

// ResampleInto is Resample into dst.
func ResampleInto(dst, t, x []float64, t0, dt float64) {
	j := 0
	m := len(t)
	for i := range dst {
		q := t0 + float64(i)*dt
		for j < m && t[j] <= q {
			j++
		}
		switch {
		case j == 0:
			dst[i] = x[0]
		case j == m:
			dst[i] = x[m-1]
		default:
			f := (q - t[j-1]) / (t[j] - t[j-1])
			dst[i] = x[j-1] + f*(x[j]-x[j-1])
		}
	}
}

// Hold gives the last value at or before the even times t0 + i*dt: for
// channels that step (gear, slot). Before the first sample: the first value.
func Hold(t, x []float64, t0, dt float64, n int) []float64 {
	out := make([]float64, n)
	j := 0
	for i := range out {
		q := t0 + float64(i)*dt + 1e-9
		for j < len(t) && t[j] <= q {
			j++
		}
		out[i] = x[max(0, j-1)]
	}
	return out
}

// At interpolates an even series x (first sample at t0, spacing dt) at time t,
// linear, held at the ends.
func At(x []float64, t0, dt, t float64) float64 {
	u := (t - t0) / dt
	if !(u > 0) {
		return x[0]
	}
	i := int(u)
	if i >= len(x)-1 {
		return x[len(x)-1]
	}
	f := u - float64(i)
	return x[i] + f*(x[i+1]-x[i])
}

// Unwrap removes jumps of whole turns from angles in rad, in place.
func Unwrap(a []float64) {
	for i := 1; i < len(a); i++ {
		a[i] -= 2 * math.Pi * math.Round((a[i]-a[i-1])/(2*math.Pi))
	}
}
