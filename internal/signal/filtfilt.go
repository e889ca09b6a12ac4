package signal

// Scratch is memory that filters work in. The zero value is ready; one Scratch
// serves any number of calls, one at a time. Fresh memory is the dearest part
// of filtering a long recording, so a pipeline keeps one.
type Scratch struct{ e [2][]float64 }

// take is the k-th piece of memory, of n values.
func (s *Scratch) take(k, n int) []float64 {
	if cap(s.e[k]) < n {
		s.e[k] = make([]float64, n+n/8)
	}
	return s.e[k][:n]
}

// Series is one series to be filtered: Dst, which may be X itself, takes the
// low-pass of X at Cut (1/s).
type Series struct {
	Dst, X []float64
	Cut    float64
}

// LowPassTwo is LowPassInto for two series of one length and rate (1/s) in one
// walk: each value of a filter waits for the one before it, and meanwhile there is
// time for another's.
func LowPassTwo(a, b Series, rate float64, s *Scratch) {
	n := len(a.X)
	if len(b.X) != n || n < 4 || a.Cut >= 0.45*rate || b.Cut >= 0.45*rate {
		LowPassInto(a.Dst, a.X, a.Cut, rate, s)
		LowPassInto(b.Dst, b.X, b.Cut, rate, s)
		return
	}
	f, g := Butterworth(2, a.Cut, rate), Butterworth(2, b.Cut, rate)
	pad := min(9, n-1)
	e, h := s.take(0, n+2*pad), s.take(1, n+2*pad)
	extend(e, a.X, pad)
	extend(h, b.X, pad)
	y, z := f.steady(), g.steady()
	fb0, fb1, fb2, fa1, fa2 := f.B[0], f.B[1], f.B[2], f.A[1], f.A[2]
	gb0, gb1, gb2, ga1, ga2 := g.B[0], g.B[1], g.B[2], g.A[1], g.A[2]
	u, w := y[0]*e[0], y[1]*e[0]
	p, q := z[0]*h[0], z[1]*h[0]
	h = h[:len(e)]
	for i, v := range e {
		x := h[i]
		c := fb0*v + u
		u = fb1*v + w - fa1*c
		w = fb2*v - fa2*c
		d := gb0*x + p
		p = gb1*x + q - ga1*d
		q = gb2*x - ga2*d
		e[i], h[i] = c, d
	}
	last := len(e) - 1
	u, w = y[0]*e[last], y[1]*e[last]
	p, q = z[0]*h[last], z[1]*h[last]
	for i := last; i >= 0; i-- {
		v, x := e[i], h[i]
		c := fb0*v + u
		u = fb1*v + w - fa1*c
		w = fb2*v - fa2*c
		d := gb0*x + p
		p = gb1*x + q - ga1*d
		q = gb2*x - ga2*d
		e[i], h[i] = c, d
	}
	copy(a.Dst, e[pad:pad+n])
	copy(b.Dst, h[pad:pad+n])
}

// extend copies x to the middle of e, drawn on by pad samples turned round at
// either end.
func extend(e, x []float64, pad int) {
	n := len(x)
	for i := 0; i < pad; i++ {
		e[i] = 2*x[0] - x[pad-i]
		e[n+pad+i] = 2*x[n-1] - x[n-2-i]
	}
	copy(e[pad:], x)
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
	e := s.take(0, n+2*pad)
	extend(e, x, pad)
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
