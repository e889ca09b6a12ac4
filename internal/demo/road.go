package demo

import "math"

// look returns the path's curvature at s, over the end of the lap too.
func (w *world) look(lap int, s float64) float64 {
	p := w.plans[lap]
	if s >= w.c.Length {
		if p.kind != InLap {
			p = w.plans[lap+1]
			s -= w.c.Length
		} else {
			s = w.c.Length - 0.01
		}
	}
	x := s / w.g.step
	i := int(x)
	if i >= w.g.n {
		return p.kappa[w.g.n]
	}
	return p.kappa[i] + (x-float64(i))*(p.kappa[i+1]-p.kappa[i])
}

// ahead returns the speed not to be exceeded at s and its slope.
func (w *world) ahead(lap int, s float64) (vb, slope float64) {
	p := w.plans[lap]
	if s >= w.c.Length && p.kind != InLap {
		p = w.plans[lap+1]
		s -= w.c.Length
	}
	x := s / w.g.step
	i := int(x)
	if i >= w.g.n {
		return p.vb[w.g.n], p.slope[w.g.n]
	}
	f := x - float64(i)
	return p.vb[i] + f*(p.vb[i+1]-p.vb[i]), p.slope[i]
}

// wind returns the speed of the air against the bike.
func (w *world) wind(st *state, i int) float64 {
	if w.o.Nasty.Wind == 0 {
		return st.v
	}
	k := int(st.t)
	u := st.t - float64(k)
	k %= len(w.gust) - 1
	blow := w.gust[k] + u*(w.gust[k+1]-w.gust[k])
	return st.v + blow*math.Cos(w.g.theta[i]-1.1)
}

// grip2plate is the map from what the rider asks to what the plate is told.
func (w *world) grip2plate(grip float64) float64 {
	if k := w.o.Nasty.ThrottleMapCurve; k != 0 {
		return math.Pow(grip, 1+0.7*k)
	}
	return grip
}

func (w *world) plate2grip(plate float64) float64 {
	if k := w.o.Nasty.ThrottleMapCurve; k != 0 {
		return math.Pow(plate, 1/(1+0.7*k))
	}
	return plate
}
