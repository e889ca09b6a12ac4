package signal

import "fmt"

// SavitzkyGolay returns the weights w of a least-squares polynomial of the
// given degree over an odd window, for the value (deriv 0) or a derivative per
// sample step (deriv 1, 2) at its middle: y[i] = sum w[k] x[i-m+k], m =
// (window-1)/2. A. Savitzky, M. Golay, Analytical Chemistry 36 (1964), tables
// as corrected later. It panics on an even or too small window.
func SavitzkyGolay(window, degree, deriv int) []float64 {
	if window%2 == 0 || degree >= window || deriv > degree || degree < 0 {
		panic(fmt.Sprintf("signal: no Savitzky-Golay window %d of degree %d, derivative %d", window, degree, deriv))
	}
	m := window / 2
	p := degree + 1
	a := make([]float64, p*p)
	pow := func(x float64, k int) float64 {
		r := 1.0
		for range k {
			r *= x
		}
		return r
	}
	for k := -m; k <= m; k++ {
		for i := range p {
			for j := 0; j <= i; j++ {
				a[i*p+j] += pow(float64(k), i+j)
			}
		}
	}
	inv, ok := invertSymmetric(a, p)
	if !ok {
		panic("signal: singular Savitzky-Golay window")
	}
	fact := 1.0
	for k := 2; k <= deriv; k++ {
		fact *= float64(k)
	}
	w := make([]float64, window)
	for k := -m; k <= m; k++ {
		for j := range p {
			w[k+m] += fact * inv[deriv*p+j] * pow(float64(k), j)
		}
	}
	return w
}

// Convolve writes the running sum of weights w (odd length) over x to dst; the
// ends, where the window does not fit, take the nearest full value. dst must
// not be x.
func Convolve(dst, x, w []float64) {
	n, m := len(x), len(w)/2
	if n < len(w) {
		copy(dst, x)
		return
	}
	for i := m; i < n-m; i++ {
		var s float64
		for k, c := range w {
			s += c * x[i-m+k]
		}
		dst[i] = s
	}
	for i := range m {
		dst[i], dst[n-1-i] = dst[m], dst[n-1-m]
	}
}
