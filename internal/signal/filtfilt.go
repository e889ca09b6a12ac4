package signal

// Scratch is memory that filters work in. The zero value is ready; one Scratch
// serves any number of calls, one at a time. Fresh memory is the dearest part
// of filtering a long recording, so a pipeline keeps one.
type Scratch struct{ e []float64 }

func (s *Scratch) take(n int) []float64 {
	if cap(s.e) < n {
		s.e = make([]float64, n+n/8)
	}
	return s.e[:n]
}

// LowPassInto writes the zero-phase second-order low-pass of x at cut (1/s,
// rate in 1/s) to dst, which may be x itself. It is LowPass without fresh
// memory. Cut at or above 0.45 of the rate copies.
func LowPassInto(dst, x []float64, cut, rate float64, s *Scratch) {
	n := len(x)
	if cut >= 0.45*rate || n < 4 {
		copy(dst, x)
		return
	}
	f := Butterworth(2, cut, rate)
	pad := min(9, n-1)
	e := s.take(n + 2*pad)
	for i := 0; i < pad; i++ {
		e[i] = 2*x[0] - x[pad-i]
		e[n+pad+i] = 2*x[n-1] - x[n-2-i]
	}
	copy(e[pad:], x)
	z := f.steady()
	b0, b1, b2, a1, a2 := f.B[0], f.B[1], f.B[2], f.A[1], f.A[2]
	u, w := z[0]*e[0], z[1]*e[0]
	for i, v := range e {
		y := b0*v + u
		u = b1*v + w - a1*y
		w = b2*v - a2*y
		e[i] = y
	}
	last := e[len(e)-1]
	u, w = z[0]*last, z[1]*last
	for i := len(e) - 1; i >= 0; i-- {
		v := e[i]
		y := b0*v + u
		u = b1*v + w - a1*y
		w = b2*v - a2*y
		e[i] = y
	}
	copy(dst, e[pad:pad+n])
}
