// Package signal holds the numerics on samples: filters, derivatives, splines,
// smoothers, delay estimates and robust fits. Plain slices in, plain slices
// out; a dst argument is written in place, everything else is left alone.
package signal

import (
	"fmt"
	"math"
	"math/cmplx"
)

// Filter is a rational digital filter: b over a, a[0] = 1.
type Filter struct{ B, A []float64 }

// Butterworth returns the low-pass filter of the given order (1 to 8) with its
// half-power frequency cut, both frequencies in the same unit, by the bilinear
// transform with prewarping. It panics unless 0 < cut < rate/2.
func Butterworth(order int, cut, rate float64) Filter {
	if order < 1 || order > 8 || !(cut > 0) || !(cut < rate/2) {
		panic(fmt.Sprintf("signal: no Butterworth filter of order %d at %g of %g", order, cut, rate))
	}
	warp := 2 * math.Tan(math.Pi*cut/rate) // analogue frequency at unit sample time
	poles := make([]complex128, order)
	gain := complex(1, 0)
	for k := range poles {
		theta := math.Pi * (2*float64(k) + 1 + float64(order)) / (2 * float64(order))
		p := complex(warp, 0) * cmplx.Exp(complex(0, theta))
		poles[k] = (2 + p) / (2 - p)
		gain *= complex(warp, 0) / (2 - p)
	}
	a := polynomial(poles)
	zeros := make([]complex128, order)
	for k := range zeros {
		zeros[k] = -1
	}
	b := polynomial(zeros)
	for k := range b {
		b[k] *= real(gain)
	}
	return Filter{B: b, A: a}
}

// polynomial expands the monic polynomial with the given roots.
func polynomial(roots []complex128) []float64 {
	c := make([]complex128, 1, len(roots)+1)
	c[0] = 1
	for _, r := range roots {
		c = append(c, 0)
		for i := len(c) - 1; i > 0; i-- {
			c[i] -= r * c[i-1]
		}
	}
	out := make([]float64, len(c))
	for i := range c {
		out[i] = real(c[i])
	}
	return out
}

// Apply filters x once, forward, from rest scaled by start (see steady), into dst.
func (f Filter) apply(dst, x []float64, state []float64) {
	n := len(f.A)
	for i, v := range x {
		y := f.B[0]*v + state[0]
		for k := 1; k < n-1; k++ {
			state[k-1] = f.B[k]*v + state[k] - f.A[k]*y
		}
		state[n-2] = f.B[n-1]*v - f.A[n-1]*y
		dst[i] = y
	}
}

// steady returns the state of the filter that has seen the constant 1 for ever.
func (f Filter) steady() []float64 {
	n := len(f.A)
	var sb, sa float64
	for k := 0; k < n; k++ {
		sb += f.B[k]
		sa += f.A[k]
	}
	y := sb / sa
	z := make([]float64, n-1)
	// From the last state backwards: z[k-1] = b[k] - a[k] y + z[k].
	var acc float64
	for k := n - 1; k >= 1; k-- {
		acc += f.B[k] - f.A[k]*y
		z[k-1] = acc
	}
	return z
}

// FiltFilt filters x forwards and backwards, so that no phase is left, with
// odd extension by three filter lengths at either end and a steady-state start
// (the end treatment of scipy.signal.filtfilt). The amplitude at the filter's
// half-power frequency is a half. A series shorter than the extension is
// returned as a copy of its mean-preserving self.
func (f Filter) FiltFilt(x []float64) []float64 {
	n := len(x)
	pad := 3 * max(len(f.A), len(f.B))
	if n <= pad {
		pad = n - 1
	}
	if n < 2 {
		return append([]float64(nil), x...)
	}
	e := make([]float64, n+2*pad)
	for i := 0; i < pad; i++ {
		e[i] = 2*x[0] - x[pad-i]
		e[n+pad+i] = 2*x[n-1] - x[n-2-i]
	}
	copy(e[pad:], x)
	z := f.steady()
	state := make([]float64, len(z))
	run := func() {
		for i := range z {
			state[i] = z[i] * e[0]
		}
		f.apply(e, e, state)
		for i, j := 0, len(e)-1; i < j; i, j = i+1, j-1 {
			e[i], e[j] = e[j], e[i]
		}
	}
	run()
	run()
	return e[pad : pad+n : pad+n]
}

// LowPass is the zero-phase second-order low-pass of x at cut (1/s), rate in
// 1/s. A cut at or above 0.45 of the rate returns a copy.
func LowPass(x []float64, cut, rate float64) []float64 {
	if cut >= 0.45*rate || len(x) < 4 {
		return append([]float64(nil), x...)
	}
	return Butterworth(2, cut, rate).FiltFilt(x)
}

// Derivative is the central difference of x at even spacing dt; one-sided at
// the ends.
func Derivative(x []float64, dt float64) []float64 {
	n := len(x)
	d := make([]float64, n)
	if n < 2 {
		return d
	}
	for i := 1; i < n-1; i++ {
		d[i] = (x[i+1] - x[i-1]) / (2 * dt)
	}
	d[0] = (x[1] - x[0]) / dt
	d[n-1] = (x[n-1] - x[n-2]) / dt
	return d
}
