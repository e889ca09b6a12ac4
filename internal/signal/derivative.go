package signal

// DerivativeInto writes the central difference of x at even spacing dt to dst
// (one-sided at the ends). dst must not be x.
func DerivativeInto(dst, x []float64, dt float64) {
	n := len(x)
	if n < 2 {
		clear(dst)
		return
	}
	k := 0.5 / dt
	for i := 1; i < n-1; i++ {
		dst[i] = (x[i+1] - x[i-1]) * k
	}
	dst[0] = (x[1] - x[0]) / dt
	dst[n-1] = (x[n-1] - x[n-2]) / dt
}
