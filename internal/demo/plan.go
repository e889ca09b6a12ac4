package demo

import "math"

// lapPlan is what the rider means to do on one lap, on a grid of about one
// metre, with everything random drawn beforehand, so that the same lap can be
// ridden again with a changed bike.
type lapPlan struct {
	kind  LapKind
	slot  int
	held  bool
	heldA float64 // where the slower rider is met
	heldB float64
	aside float64 // m off the usual line, to the right, beside the slower rider
	mu    float64 // grip of the tyres this lap, 1 is warm and new
	pace  float64 // share of the lateral acceleration used
	from  float64 // s at which the lap starts, other than 0 for an outing's first
	to    float64

	kappa   []float64 // 1/m of the path
	stretch []float64 // metres of path per metre of reference line
	offset  []float64 // m
	slide   []float64 // d offset / ds
	vb      []float64 // m/s not to be exceeded, braking included
	slope   []float64 // m/s2 along vb, never positive
	cruise  []bool    // pit lane: hold vb
	turns   []turnPlan
	apexes  []apexPlan
}

// apexPlan is a place where the rider opens.
type apexPlan struct {
	at    float64 // m
	turn  int
	delay float64 // s
}

// turnPlan holds the draws for one turn on one lap.
type turnPlan struct {
	speed     float64 // factor on lateral acceleration
	late      float64 // s by which the brakes come later
	decel     float64 // factor on braking
	pick      float64 // s of delay at the pick-up
	ask       float64 // share of the tyre's capacity asked on the drive
	surplus   [6]float64
	shiftTime [6]float64
	shiftAt   float64 // rpm below which a downshift is made
	upAt      float64
	lock      float64 // s after brake on of a front lock, 0 none
	lockFor   float64
	lift      float64 // s after brake on of too much front brake, 0 none
	liftFor   float64 // s
	topGear   int
	hop       float64 // m
	hopFor    float64
	drag      float64 // N on the straight after
	nose      float64 // m/s2 that the front lifts sooner by
}

// grid is a circuit on equal steps of about a metre.
type grid struct {
	n                  int
	step               float64
	x, y, theta        []float64
	kappa, grade, bank []float64
	clock              []float64 // s of an undisturbed lap
	pitSide            float64
	turn               []int32 // index of the turn whose segment holds the place
}

func newGrid(c *Circuit) *grid {
	n := int(math.Round(c.Length))
	g := &grid{n: n, step: c.Length / float64(n), pitSide: 14}
	if !c.Clockwise {
		g.pitSide = -14
	}
	alloc := func() []float64 { return make([]float64, n+1) }
	g.x, g.y, g.theta, g.kappa, g.grade, g.bank, g.clock = alloc(), alloc(), alloc(), alloc(), alloc(), alloc(), alloc()
	g.turn = make([]int32, n+1)
	for i := 0; i <= n; i++ {
		s := float64(i) * g.step
		if i == n {
			s = 0
		}
		g.x[i], g.y[i], g.theta[i] = c.Point(s)
		g.kappa[i] = c.Curvature(s)
		g.grade[i] = c.Grade(s)
		g.bank[i] = c.Bank(s)
		g.turn[i] = int32(c.TurnAt(s) - 1)
	}
	g.time(c)
	// theta runs on without jumps over the lap.
	for i := 1; i <= n; i++ {
		g.theta[i] = g.theta[i-1] + math.Remainder(g.theta[i]-g.theta[i-1], 2*math.Pi)
	}
	return g
}

// time fills the clock of an undisturbed lap from what lean, brakes and engine
// allow, roughly: it only spaces the rider's wanderings.
func (g *grid) time(c *Circuit) {
	v := make([]float64, g.n+1)
	for i := range v {
		v[i] = 78
		if k := math.Abs(g.kappa[i]); k > 1e-5 {
			v[i] = math.Min(78, math.Sqrt(lateral/k))
		}
	}
	for range 2 { // twice, for the lap joins its own beginning
		v[g.n] = math.Min(v[g.n], v[0])
		for i := g.n - 1; i >= 0; i-- {
			v[i] = math.Min(v[i], math.Sqrt(v[i+1]*v[i+1]+2*8*g.step))
		}
		v[0] = math.Min(v[0], v[g.n])
		for i := 1; i <= g.n; i++ {
			a := math.Min(6, 380/v[i-1]-0.0009*v[i-1]*v[i-1])
			v[i] = math.Min(v[i], math.Sqrt(v[i-1]*v[i-1]+2*math.Max(a, 0.2)*g.step))
		}
	}
	for i := 1; i <= g.n; i++ {
		g.clock[i] = g.clock[i-1] + 2*g.step/(v[i]+v[i-1])
	}
}

// wander is the rider's offset from the line: a cubic B-spline of time with
// random knots, so that the sideways acceleration it takes does not grow with
// speed.
type wander struct {
	knots []float64
	every float64 // s between knots
}

func newWander(r *source, span, every, sd float64) *wander {
	w := &wander{every: every, knots: make([]float64, int(span/every)+8)}
	x := 0.0
	for i := range w.knots {
		// Neighbouring knots correlate 0.3; the spline averages over four, hence 1.35.
		x = 0.3*x + math.Sqrt(1-0.09)*r.near(0, 1)
		w.knots[i] = 1.35 * sd * x
	}
	return w
}

// at returns the offset and its first two derivatives by time.
func (w *wander) at(t float64) (d, d1, d2 float64) {
	u := t / w.every
	if u < 0 {
		u = 0
	}
	i := int(u)
	if i > len(w.knots)-5 {
		i = len(w.knots) - 5
	}
	u -= float64(i)
	a, b, c, e := w.knots[i], w.knots[i+1], w.knots[i+2], w.knots[i+3]
	v := 1 - u
	d = (a*v*v*v + b*(3*u*u*u-6*u*u+4) + c*(-3*u*u*u+3*u*u+3*u+1) + e*u*u*u) / 6
	d1 = (-a*v*v + b*(3*u*u-4*u) + c*(-3*u*u+2*u+1) + e*u*u) / 2 / w.every
	d2 = (a*v + b*(3*u-2) + c*(1-3*u) + e*u) / (w.every * w.every)
	return d, d1, d2
}

const (
	pitSpeed  = 16.2 // m/s held in the pit lane
	pitLeave  = 150.0
	pitJoin   = 290.0
	pitEnter  = 330.0 // m before the gate where the in lap leaves the line
	pitInside = 190.0
	boxOut    = 30.0  // m after the gate where an outing starts
	boxIn     = 40.0  // m before the gate where it ends
	pullOut   = 120.0 // m over which the rider leaves the line beside a slower one
)

// lay fills the tables of a plan. next is the plan of the lap after, nil at the
// end. elapsed is the clock at the lap's start in undisturbed time.
func (p *lapPlan) lay(c *Circuit, g *grid, w *wander, elapsed float64, next *lapPlan) {
	n := g.n
	alloc := func() []float64 { return make([]float64, n+1) }
	p.kappa, p.stretch, p.offset, p.slide, p.vb, p.slope = alloc(), alloc(), alloc(), alloc(), alloc(), alloc()
	p.cruise = make([]bool, n+1)
	lane := func(s float64) (d, d1, d2 float64) {
		if p.kind == OutLap && p.from > 0 {
			return ramp(s, pitLeave, pitJoin, g.pitSide, 0)
		}
		if p.kind == InLap && p.to < c.Length {
			return ramp(s, c.Length-pitEnter, c.Length-pitInside, 0, g.pitSide)
		}
		return 0, 0, 0
	}
	for i := 0; i <= n; i++ {
		s := float64(i) * g.step
		j := min(max(i, 1), n-1)
		slow := (g.clock[j+1] - g.clock[j-1]) / (2 * g.step) // s per metre
		d, d1, d2 := w.at(elapsed + g.clock[i])
		d1, d2 = d1*slow, d2*slow*slow
		ld, ld1, ld2 := lane(s)
		d, d1, d2 = d+ld, d1+ld1, d2+ld2
		if p.aside != 0 {
			ad, ad1, ad2 := ramp(s, p.heldA, p.heldA+pullOut, 0, p.aside)
			bd, bd1, bd2 := ramp(s, p.heldB, p.heldB+pullOut, 0, p.aside)
			d, d1, d2 = d+ad-bd, d1+ad1-bd1, d2+ad2-bd2
		}
		k := g.kappa[i]
		along := 1 - k*d
		p.offset[i] = d
		p.slide[i] = d1
		p.stretch[i] = math.Hypot(along, d1)
		p.kappa[i] = k/along + d2
	}
	for i := range c.Turns {
		t := &c.Turns[i]
		for _, a := range t.arcs {
			if a.radius >= t.Radius*1.6 {
				continue
			}
			at := math.Min((a.from+a.to)/2, a.from+30)
			if t.Kink {
				at = (a.from + a.to) / 2
			}
			p.apexes = append(p.apexes, apexPlan{at, i, p.turns[i].pick})
		}
	}
	p.limit(c, g, next)
}

// ramp goes from a to b between s0 and s1 without a kink.
func ramp(s, s0, s1, a, b float64) (d, d1, d2 float64) {
	if s <= s0 {
		return a, 0, 0
	}
	if s >= s1 {
		return b, 0, 0
	}
	l := s1 - s0
	u := (s - s0) / l
	f := u * u * u * (u*(6*u-15) + 10)
	return a + (b-a)*f, (b - a) * 30 * u * u * (u - 1) * (u - 1) / l, (b - a) * 60 * u * (2*u*u - 3*u + 1) / (l * l)
}

// limit finds the speed not to be exceeded: what lean allows, then backwards
// what the brakes allow.
func (p *lapPlan) limit(c *Circuit, g *grid, next *lapPlan) {
	n := g.n
	cap := make([]float64, n+1)
	use := make([]float64, n+1) // lateral acceleration in m/s2
	for i := range cap {
		s := float64(i) * g.step
		t := g.turn[i]
		lat := c.Turns[t].lateral * p.turns[t].speed * p.pace * p.mu
		// A road banked into the turn carries more.
		lat += gravity * math.Abs(math.Tan(g.bank[i])) * 0.9
		use[i] = lat
		cap[i] = 95 * math.Sqrt(p.pace)
		if k := math.Abs(p.kappa[i]); k > lat/(cap[i]*cap[i]) {
			cap[i] = math.Sqrt(lat / k)
		}
		if p.held && s > p.heldA && s < p.heldB {
			cap[i] *= 0.9
			cap[i] = math.Min(cap[i], 58)
		}
		if p.kind == OutLap && p.from > 0 && s < pitJoin {
			cap[i], p.cruise[i] = math.Min(cap[i], pitSpeed), true
		}
		if p.kind == InLap && p.to < c.Length && s > c.Length-pitInside {
			cap[i], p.cruise[i] = math.Min(cap[i], pitSpeed), true
			cap[i] = math.Min(cap[i], math.Sqrt(2*1.6*math.Max(0, p.to-s)))
		}
	}
	for _, a := range p.apexes {
		t := &c.Turns[a.turn]
		if t.Kink {
			continue
		}
		for i := range cap {
			u := math.Abs(float64(i)*g.step-a.at) / 16
			if u < 1 {
				cap[i] *= 1 - 0.03*(1-u*u)*(1-u*u)
			}
		}
	}
	v := cap[n]
	if next != nil {
		v = math.Min(v, next.vb[0])
	}
	p.vb[n] = v
	for i := n - 1; i >= 0; i-- {
		t := g.turn[i]
		q := v * v * math.Abs(p.kappa[i]) / (use[i] * 1.01)
		share := 0.0
		if q < 1 {
			share = math.Sqrt(1 - q*q)
		}
		dec := 9.35 * p.turns[t].decel * p.mu * p.pace
		// Near full lean only a little brake is trusted.
		dec *= share * (0.35 + 0.65*share)
		if p.cruise[i] {
			dec = 1.6
		}
		dec = dec + 0.25 + gravity*g.grade[i]*0.5
		if dec < 0.2 {
			dec = 0.2
		}
		was := v
		v = math.Min(cap[i], math.Sqrt(v*v+2*dec*g.step*p.stretch[i]))
		p.vb[i] = v
		p.slope[i] = math.Min(0, (was*was-v*v)/(2*g.step*p.stretch[i]))
	}
	p.slope[n] = p.slope[n-1]
}
