package demo

import "math"

// source is a small permuted congruential generator (O'Neill's XSH-RR form,
// from memory), kept here so that a seed gives the same day with every
// toolchain.
type source struct {
	state, stream uint64
	spare         float64
	has           bool
}

// newSource starts an independent stream for one purpose of one seed.
func newSource(seed, purpose uint64) *source {
	r := &source{stream: purpose<<1 | 1}
	r.next()
	r.state += seed*0x9E3779B97F4A7C15 + purpose
	r.next()
	r.next()
	return r
}

func (r *source) next() uint32 {
	old := r.state
	r.state = old*6364136223846793005 + r.stream
	x := uint32(((old >> 18) ^ old) >> 27)
	rot := uint32(old >> 59)
	return x>>rot | x<<((-rot)&31)
}

// uniform is in [0, 1).
func (r *source) uniform() float64 { return float64(r.next()) / (1 << 32) }

// normal has mean 0 and standard deviation 1 (polar method).
func (r *source) normal() float64 {
	if r.has {
		r.has = false
		return r.spare
	}
	for {
		u, v := 2*r.uniform()-1, 2*r.uniform()-1
		q := u*u + v*v
		if q > 0 && q < 1 {
			f := math.Sqrt(-2 * math.Log(q) / q)
			r.spare, r.has = v*f, true
			return u * f
		}
	}
}

// between is uniform in [a, b).
func (r *source) between(a, b float64) float64 { return a + (b-a)*r.uniform() }

// near is normal but held within two and a half standard deviations, for
// things that a person does.
func (r *source) near(mean, sd float64) float64 {
	z := r.normal()
	return mean + sd*math.Max(-2.5, math.Min(2.5, z))
}
