package demo

import "math"

// piece is a stretch whose curvature is linear in s: straight, arc or clothoid.
type piece struct {
	from, length float64
	k0, k1       float64 // 1/m, positive right
	x, y, theta  float64 // at from; theta counter-clockwise from east
}

type geometry struct {
	pieces []piece
	index  []int32 // piece that holds each whole metre
	grade  []wave  // slope of the road
	bank   func(s float64) float64
}

// wave is one periodic part of a profile, k whole periods to the lap.
type wave struct {
	k          int
	amp, phase float64
}

// Gauss-Legendre nodes and weights, five points on [-1, 1] (Abramowitz and
// Stegun, table 25.4).
var gaussX = [5]float64{0, 0.5384693101056831, -0.5384693101056831, 0.9061798459386640, -0.9061798459386640}
var gaussW = [5]float64{0.5688888888888889, 0.4786286704993665, 0.4786286704993665, 0.2369268850561891, 0.2369268850561891}

// along returns displacement and change of theta after u metres of a stretch
// that starts at the origin with heading zero. Curvature positive right turns
// theta clockwise.
func along(k0, slope, u float64) (dx, dy, dtheta float64) {
	n := 1 + int(math.Abs(u)/8)
	h := u / float64(n)
	for i := range n {
		a := float64(i) * h
		for j, gx := range gaussX {
			w := a + h/2*(1+gx)
			t := -(k0*w + slope*w*w/2)
			s, c := math.Sincos(t)
			dx += gaussW[j] * h / 2 * c
			dy += gaussW[j] * h / 2 * s
		}
	}
	return dx, dy, -(k0*u + slope*u*u/2)
}

func (p *piece) slope() float64 {
	if p.length == 0 {
		return 0
	}
	return (p.k1 - p.k0) / p.length
}

func (p *piece) at(u float64) (x, y, theta float64) {
	dx, dy, dt := along(p.k0, p.slope(), u)
	s, c := math.Sincos(p.theta)
	return p.x + c*dx - s*dy, p.y + s*dx + c*dy, p.theta + dt
}

// corner is a vertex of the polygon that the circuit is drawn on, rounded by
// clothoid, arc, clothoid; or by several arcs with clothoids between them.
type corner struct {
	x, y    float64
	radii   []float64 // m, one for each arc
	easeIn  float64   // m of clothoid before
	easeOut float64   // m of clothoid after
	joined  bool      // the same turn as the corner before: no straight between
	kink    bool
	grip    float64 // lateral acceleration that the rider uses here, m/s2
	bank    float64 // share of Nasty.Bank
}

// round returns the pieces of a corner in its own frame and the tangent lengths
// before and after the vertex.
func (c corner) round(delta float64) (ps []piece, before, after float64) {
	sign := math.Copysign(1, delta)
	angle := math.Abs(delta)
	n := len(c.radii)
	rest := angle - c.easeIn/2/c.radii[0] - c.easeOut/2/c.radii[n-1]
	mid := make([]float64, n) // clothoid after arc i
	for i := 0; i < n-1; i++ {
		mid[i] = 18
		rest -= mid[i] * (1/c.radii[i] + 1/c.radii[i+1]) / 2
	}
	if rest < 0 {
		panic("demo: clothoids of a corner turn further than the corner")
	}
	add := func(length, k0, k1 float64) {
		ps = append(ps, piece{length: length, k0: sign * k0, k1: sign * k1})
	}
	add(c.easeIn, 0, 1/c.radii[0])
	for i, r := range c.radii {
		add(rest/float64(n)*r, 1/r, 1/r)
		if i < n-1 {
			add(mid[i], 1/r, 1/c.radii[i+1])
		}
	}
	add(c.easeOut, 1/c.radii[n-1], 0)
	var x, y, th float64
	for i := range ps {
		p := &ps[i]
		p.x, p.y, p.theta = x, y, th
		x, y, th = p.at(p.length)
	}
	// The vertex lies where the first tangent meets the last.
	after = y / math.Sin(th)
	before = x - after*math.Cos(th)
	return ps, before, after
}

// build joins corners into a closed line. The gate lies on the straight before
// the first corner, gate metres after the last corner's end. Closure is exact
// by construction: every corner touches its polygon's sides.
func build(name string, corners []corner, gate float64) Circuit {
	n := len(corners)
	head := make([]float64, n) // of the side that leads to corner i
	side := make([]float64, n)
	for i := range corners {
		a, b := corners[(i+n-1)%n], corners[i]
		head[i] = math.Atan2(b.y-a.y, b.x-a.x)
		side[i] = math.Hypot(b.x-a.x, b.y-a.y)
	}
	shape := make([][]piece, n)
	before, after := make([]float64, n), make([]float64, n)
	total := 0.0
	for i, c := range corners {
		delta := -math.Remainder(head[(i+1)%n]-head[i], 2*math.Pi)
		total += delta
		shape[i], before[i], after[i] = c.round(delta)
	}
	g := &geometry{}
	c := Circuit{Name: name, Clockwise: total > 0, geometry: g}
	s := 0.0
	put := func(p piece) {
		if p.length < -1e-9 {
			panic("demo: corners of " + name + " overlap")
		}
		if p.length < 1e-9 {
			return
		}
		p.from = s
		g.pieces = append(g.pieces, p)
		s += p.length
	}
	last := corners[n-1]
	for i, co := range corners {
		straight := side[i] - after[(i+n-1)%n] - before[i]
		sx, cx := math.Sincos(head[i])
		back := before[i] + straight
		if i == 0 {
			back -= gate
			straight -= gate
		}
		put(piece{length: straight, x: co.x - cx*back, y: co.y - sx*back, theta: head[i]})
		entry := s
		ox, oy := co.x-cx*before[i], co.y-sx*before[i]
		t := Turn{Entry: entry, Direction: int(math.Copysign(1, shape[i][0].k1)), Kink: co.kink,
			lateral: co.grip, bank: co.bank}
		t.Radius = math.Inf(1)
		for _, p := range shape[i] {
			q := p
			q.x, q.y, q.theta = ox+cx*p.x-sx*p.y, oy+sx*p.x+cx*p.y, head[i]+p.theta
			from := s
			put(q)
			t.Angle += math.Abs(p.k0+p.k1) / 2 * p.length
			if p.k0 == p.k1 {
				r := 1 / math.Abs(p.k0)
				t.arcs = append(t.arcs, arc{from, s, r})
				t.Radius = math.Min(t.Radius, r)
			}
		}
		t.Exit = s
		if co.joined {
			prev := &c.Turns[len(c.Turns)-1]
			prev.Exit, prev.Angle = t.Exit, prev.Angle+t.Angle
			prev.Radius = math.Min(prev.Radius, t.Radius)
			prev.arcs = append(prev.arcs, t.arcs...)
			continue
		}
		t.Number = len(c.Turns) + 1
		c.Turns = append(c.Turns, t)
	}
	sx, cx := math.Sincos(head[0])
	put(piece{length: gate, x: last.x + cx*after[n-1], y: last.y + sx*after[n-1], theta: head[0]})
	c.Length = s
	for i := range c.Turns {
		t := &c.Turns[i]
		for _, a := range t.arcs {
			// An arc at least a tenth gentler than the tightest is no apex.
			if a.radius < t.Radius*1.6 {
				t.Apexes = append(t.Apexes, (a.from+a.to)/2)
			}
			if a.radius <= t.Radius*1.01 {
				if t.ApexSpan[1] == 0 {
					t.ApexSpan[0] = a.from
				}
				t.ApexSpan[1] = a.to
			}
		}
	}
	for i := range c.Turns {
		prev := c.Turns[(i+len(c.Turns)-1)%len(c.Turns)].Exit
		if i == 0 {
			prev = 0 // the first window begins at the gate
		}
		c.Turns[i].window = (prev + c.Turns[i].Entry) / 2
	}
	for i := range c.Turns {
		c.Turns[i].Segment = c.Turns[i].window
	}
	g.index = make([]int32, int(c.Length)+2)
	j := 0
	for i := range g.index {
		for j+1 < len(g.pieces) && g.pieces[j+1].from <= float64(i) {
			j++
		}
		g.index[i] = int32(j)
	}
	return c
}

func (c *Circuit) wrap(s float64) float64 {
	s = math.Mod(s, c.Length)
	if s < 0 {
		s += c.Length
	}
	return s
}

func (c *Circuit) piece(s float64) *piece {
	j := int(c.index[int(s)])
	for j+1 < len(c.pieces) && c.pieces[j+1].from <= s {
		j++
	}
	return &c.pieces[j]
}

// Point returns east and north in metres of the place s on the reference line,
// and the heading there, counter-clockwise from east.
func (c *Circuit) Point(s float64) (x, y, heading float64) {
	s = c.wrap(s)
	p := c.piece(s)
	return p.at(s - p.from)
}

// Curvature returns the curvature at s in 1/m, positive right.
func (c *Circuit) Curvature(s float64) float64 {
	s = c.wrap(s)
	p := c.piece(s)
	return p.k0 + p.slope()*(s-p.from)
}

// Grade returns the slope of the road at s, positive uphill.
func (c *Circuit) Grade(s float64) float64 {
	g := 0.0
	for _, w := range c.grade {
		g += w.amp * math.Sin(2*math.Pi*float64(w.k)*s/c.Length+w.phase)
	}
	return g
}

// Height returns the height over the origin at s, the integral of Grade.
func (c *Circuit) Height(s float64) float64 {
	h := 0.0
	for _, w := range c.grade {
		f := 2 * math.Pi * float64(w.k) / c.Length
		h += w.amp / f * (math.Cos(w.phase) - math.Cos(f*s+w.phase))
	}
	return h
}

// Bank returns the bank of the road at s in radians, positive where the road
// falls to the right.
func (c *Circuit) Bank(s float64) float64 {
	if c.bank == nil {
		return 0
	}
	return c.bank(c.wrap(s))
}

// TurnAt returns the number of the turn whose window holds s: from the middle
// of the way between the last turn's exit and this one's entry.
func (c *Circuit) TurnAt(s float64) int {
	s = c.wrap(s)
	for i := range c.Turns {
		if s < c.Turns[i].window { // before the first window it is still the last turn's drive
			n := len(c.Turns)
			return c.Turns[(i+n-1)%n].Number
		}
	}
	return c.Turns[len(c.Turns)-1].Number
}
