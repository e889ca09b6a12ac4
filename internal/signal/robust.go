package signal

import (
	"math"
	"sort"
)

// Median returns the median of x without touching it; NaN for none.
func Median(x []float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	c := append([]float64(nil), x...)
	n := len(c)
	hi := Nth(c, n/2)
	if n%2 == 1 {
		return hi
	}
	lo := math.Inf(-1)
	for _, v := range c[:n/2] {
		lo = math.Max(lo, v)
	}
	return 0.5 * (lo + hi)
}

// Nth puts the k-th smallest value (from 0) in place k, smaller ones before it,
// and returns it; s is reordered. No value may be NaN. Hoare's selection with the
// median of three, linear in the mean; what is left of an unlucky run is sorted.
func Nth(s []float64, k int) float64 {
	lo, hi := 0, len(s)-1
	for range 64 {
		if hi-lo < 12 {
			break
		}
		a, b, c := s[lo], s[lo+(hi-lo)/2], s[hi]
		pivot := max(min(a, b), min(max(a, b), c))
		i, j := lo, hi
		for i <= j {
			for s[i] < pivot {
				i++
			}
			for s[j] > pivot {
				j--
			}
			if i <= j {
				s[i], s[j] = s[j], s[i]
				i++
				j--
			}
		}
		switch {
		case k <= j:
			hi = j
		case k >= i:
			lo = i
		default:
			return s[k]
		}
	}
	sort.Float64s(s[lo : hi+1])
	return s[k]
}

// Quantile is the type 7 quantile (R, NumPy) of x at q in 0..1; NaN for none.
func Quantile(x []float64, q float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	c := append([]float64(nil), x...)
	sort.Float64s(c)
	h := q * float64(len(c)-1)
	i := int(h)
	if i >= len(c)-1 {
		return c[len(c)-1]
	}
	return c[i] + (h-float64(i))*(c[i+1]-c[i])
}

// Spread is the robust standard deviation of x: 1.4826 times the median
// absolute deviation from its median.
func Spread(x []float64) float64 {
	m := Median(x)
	d := make([]float64, len(x))
	for i, v := range x {
		d[i] = math.Abs(v - m)
	}
	return 1.4826 * Median(d)
}

// Fit is a weighted least-squares fit with few unknowns.
type Fit struct {
	Coef []float64
	Cov  [][]float64 // of Coef, from the residual variance of the kept rows
	SD   float64     // of the residuals
	N    int         // rows kept
	OK   bool        // false: singular, or fewer rows than unknowns
}

// RobustFit fits y = rows . coef by least squares, then drops rows whose
// residual exceeds each of the limits in turn and refits. Row k of the design
// is given by row(k, dst). Rows with NaN are skipped.
func RobustFit(n, p int, row func(k int, dst []float64) (y float64, ok bool), limits ...float64) Fit {
	coef := make([]float64, p)
	have := false
	x := make([]float64, p)
	var f Fit
	for pass := 0; pass <= len(limits); pass++ {
		a := make([]float64, p*p)
		b := make([]float64, p)
		var yy float64
		used := 0
		for k := 0; k < n; k++ {
			y, ok := row(k, x)
			if !ok {
				continue
			}
			if have && pass > 0 {
				r := y
				for i := range x {
					r -= coef[i] * x[i]
				}
				if math.Abs(r) > limits[pass-1] {
					continue
				}
			}
			for i := 0; i < p; i++ {
				for j := 0; j <= i; j++ {
					a[i*p+j] += x[i] * x[j]
				}
				b[i] += x[i] * y
			}
			yy += y * y
			used++
		}
		if used <= p {
			return Fit{Coef: coef, N: used}
		}
		inv, ok := invertSymmetric(a, p)
		if !ok {
			return Fit{Coef: coef, N: used}
		}
		ss := yy
		for i := 0; i < p; i++ {
			coef[i] = 0
			for j := 0; j < p; j++ {
				coef[i] += inv[i*p+j] * b[j]
			}
		}
		for i := 0; i < p; i++ {
			ss -= coef[i] * b[i]
		}
		have = true
		s2 := math.Max(ss, 0) / float64(used-p)
		f = Fit{Coef: coef, SD: math.Sqrt(s2), N: used, OK: true, Cov: make([][]float64, p)}
		for i := range f.Cov {
			f.Cov[i] = make([]float64, p)
			for j := range f.Cov[i] {
				f.Cov[i][j] = inv[i*p+j] * s2
			}
		}
	}
	return f
}

// invertSymmetric inverts the symmetric positive matrix whose lower triangle is
// given, after scaling to a unit diagonal.
func invertSymmetric(a []float64, p int) ([]float64, bool) {
	d := make([]float64, p)
	for i := range d {
		v := a[i*p+i]
		if !(v > 0) {
			return nil, false
		}
		d[i] = 1 / math.Sqrt(v)
	}
	m := make([]float64, p*2*p)
	w := 2 * p
	for i := 0; i < p; i++ {
		for j := 0; j < p; j++ {
			v := a[i*p+j]
			if j > i {
				v = a[j*p+i]
			}
			m[i*w+j] = v * d[i] * d[j]
		}
		m[i*w+p+i] = 1
	}
	for c := 0; c < p; c++ {
		best := c
		for r := c + 1; r < p; r++ {
			if math.Abs(m[r*w+c]) > math.Abs(m[best*w+c]) {
				best = r
			}
		}
		if math.Abs(m[best*w+c]) < 1e-12 {
			return nil, false
		}
		for k := 0; k < w; k++ {
			m[c*w+k], m[best*w+k] = m[best*w+k], m[c*w+k]
		}
		iv := 1 / m[c*w+c]
		for k := 0; k < w; k++ {
			m[c*w+k] *= iv
		}
		for r := 0; r < p; r++ {
			if r == c || m[r*w+c] == 0 {
				continue
			}
			f := m[r*w+c]
			for k := 0; k < w; k++ {
				m[r*w+k] -= f * m[c*w+k]
			}
		}
	}
	out := make([]float64, p*p)
	for i := 0; i < p; i++ {
		for j := 0; j < p; j++ {
			out[i*p+j] = m[i*w+p+j] * d[i] * d[j]
		}
	}
	return out, true
}
