package circuit

import (
	"math"

	"cornerwright/internal/signal"
)

// wrap takes s modulo the line's length, into [0, Length).
func (l *Line) wrap(s float64) float64 {
	s -= l.Length * math.Floor(s/l.Length)
	if s >= l.Length || s < 0 { // rounding
		s = 0
	}
	return s
}

// Wrap takes a place modulo the circuit's length, into [0, Length).
func (c *Circuit) Wrap(s float64) float64 { return c.Line.wrap(s) }

// cell returns the sample below s and the fraction to the next.
func (l *Line) cell(s float64) (i, j int, f float64) {
	u := l.wrap(s) / l.Step
	i = int(u)
	n := len(l.X)
	if i >= n {
		i = n - 1
	}
	f = u - float64(i)
	j = i + 1
	if j == n {
		j = 0
	}
	return
}

// At gives position (m), heading (rad clockwise from north) and curvature (1/m,
// right positive) at s, any number of laps on.
func (l *Line) At(s float64) (x, y, heading, kappa float64) {
	i, j, f := l.cell(s)
	x = l.X[i] + f*(l.X[j]-l.X[i])
	y = l.Y[i] + f*(l.Y[j]-l.Y[i])
	heading = l.Heading[i] + f*wrapPi(l.Heading[j]-l.Heading[i])
	kappa = l.Kappa[i] + f*(l.Kappa[j]-l.Kappa[i])
	return
}

// kappaAt is the curvature alone.
func (l *Line) kappaAt(s float64) float64 {
	i, j, f := l.cell(s)
	return l.Kappa[i] + f*(l.Kappa[j]-l.Kappa[i])
}

// Project finds the place nearest to (x, y) whose heading agrees within limit
// (rad), over the whole line. The offset is positive to the right. ok is false
// where no heading agrees.
func (l *Line) Project(x, y, heading, limit float64) (s, offset float64, ok bool) {
	best := math.Inf(1)
	at := -1
	for i := range l.X {
		if d := sq(x-l.X[i]) + sq(y-l.Y[i]); d < best && math.Abs(wrapPi(heading-l.Heading[i])) <= limit {
			best, at = d, i
		}
	}
	if at < 0 {
		return 0, 0, false
	}
	sin, cos := math.Sincos(l.Heading[at])
	dx, dy := x-l.X[at], y-l.Y[at]
	return l.wrap(float64(at)*l.Step + dx*sin + dy*cos), dx*cos - dy*sin, true
}

// point is one fix given to the line fit: phase along the lap in metres and
// place in the plane, with its weight.
type point struct {
	p, x, y, w float64
	v          float64 // m/s, how fast it was passed
	sin, cos   float64 // of the logged heading
	heading    bool
}

const (
	knotSpacing   = 8.0  // m
	bendPenalty   = 2.0  // on third differences of the knots, against unit weight per fix
	bendSpeed     = 22.0 // m/s, up to which that penalty stands; above it grows, see fitLine
	headingWeight = 1500 // of a logged heading (about 0.015 rad) against a position (about 0.6 m)
	overlapKnots  = 14   // knots added at either end so that the closed curve can be fitted as an open one
	outlierReach  = 2.5  // m, scale of the down-weighting of far fixes
	lineSampling  = 1.0  // m
	lineFitRounds = 3
)

// fitLine fits a closed smooth curve through the points, phase period length,
// by a penalised cubic B-spline (Eilers and Marx 1996) with uniform knots. The
// period is unrolled by some knots at either end: the influence of a knot dies
// out within a few of them, so the open fit closes to well below a millimetre.
// A motorcycle cannot change its curvature faster than it can roll: the length
// over which the path may bend grows with speed, and the penalty, which works as
// length to the sixth power, grows with it. Logged headings pin the slope.
func fitLine(points []point, length float64) (Line, []float64) {
	m := int(math.Max(12, math.Round(length/knotSpacing)))
	h := length / float64(m)
	over := min(overlapKnots, m/2)
	n := m + 2*over + 3
	w := make([]float64, len(points))
	stiff := stiffness(points, m, over, n, h)
	var cx, cy []float64
	for round := range lineFitRounds {
		a := signal.NewBanded(n, 3)
		bx, by := make([]float64, n), make([]float64, n)
		for k := range points {
			q := &points[k]
			w[k] = q.w
			if round > 0 {
				u := q.p/h + float64(over)
				x, y := spline(cx, u), spline(cy, u)
				w[k] /= 1 + (sq(q.x-x)+sq(q.y-y))/sq(outlierReach)
			}
			for turn := -1; turn <= 1; turn++ {
				u := q.p/h + float64(over+turn*m)
				if u < 0 || u >= float64(n-3) {
					continue
				}
				i := int(u)
				b := basis(u - float64(i))
				for r := 0; r < 4; r++ {
					wb := w[k] * b[r]
					bx[i+r] += wb * q.x
					by[i+r] += wb * q.y
					for c := 0; c <= r; c++ {
						a.Data[(i+r)*4+3+c-r] += wb * b[c]
					}
				}
				if !q.heading {
					continue
				}
				g := slopes(u - float64(i))
				wh := w[k] * headingWeight
				for r := 0; r < 4; r++ {
					gr := g[r] / h
					bx[i+r] += wh * gr * q.sin
					by[i+r] += wh * gr * q.cos
					for c := 0; c <= r; c++ {
						a.Data[(i+r)*4+3+c-r] += wh * gr * g[c] / h
					}
				}
			}
		}
		third := [4]float64{-1, 3, -3, 1}
		for i := 0; i+3 < n; i++ {
			for r := 0; r < 4; r++ {
				for c := 0; c <= r; c++ {
					a.Data[(i+r)*4+3+c-r] += stiff[i] * third[r] * third[c]
				}
			}
		}
		for i := 0; i < n; i++ {
			a.Data[i*4+3] += 1e-9
		}
		if !a.Factor() {
			break
		}
		a.Solve(bx)
		a.Solve(by)
		cx, cy = bx, by
	}
	return sampleLine(cx, cy, m, over, h)
}

// stiffness is the bend penalty of each knot from the median speed near it.
func stiffness(points []point, m, over, n int, h float64) []float64 {
	sum, count := make([]float64, m), make([]float64, m)
	for k := range points {
		i := int(points[k].p / h)
		if i >= 0 && i < m {
			sum[i] += points[k].v
			count[i]++
		}
	}
	out := make([]float64, n)
	last := bendSpeed
	for pass := 0; pass < 2; pass++ { // twice round, so that empty knots at the start are filled too
		for i := range sum {
			if count[i] > 0 {
				last = sum[i] / count[i]
			} else {
				sum[i], count[i] = last, 1
			}
		}
	}
	for i := range out {
		k := (((i - over) % m) + m) % m
		out[i] = bendPenalty * math.Pow(math.Max(1, sum[k]/count[k]/bendSpeed), 5)
	}
	return out
}

// slopes is the derivative of basis by the knot span.
func slopes(f float64) [4]float64 {
	g := 1 - f
	return [4]float64{-g * g / 2, 1.5*f*f - 2*f, -1.5*g*g + 2*g, f * f / 2}
}

// basis is the four uniform cubic B-splines at fraction f of a knot span.
func basis(f float64) [4]float64 {
	g := 1 - f
	return [4]float64{g * g * g / 6, (3*f*f*f - 6*f*f + 4) / 6, (3*g*g*g - 6*g*g + 4) / 6, f * f * f / 6}
}

func spline(c []float64, u float64) float64 {
	i := min(max(int(u), 0), len(c)-4)
	b := basis(u - float64(i))
	return b[0]*c[i] + b[1]*c[i+1] + b[2]*c[i+2] + b[3]*c[i+3]
}

// splineSlopes gives first and second derivative by u.
func splineSlopes(c []float64, u float64) (d1, d2 float64) {
	i := min(max(int(u), 0), len(c)-4)
	f := u - float64(i)
	g := 1 - f
	d1 = -g*g/2*c[i] + (1.5*f*f-2*f)*c[i+1] + (-1.5*g*g+2*g)*c[i+2] + f*f/2*c[i+3]
	d2 = g*c[i] + (3*f-2)*c[i+1] + (3*g-2)*c[i+2] + f*c[i+3]
	return
}

// sampleLine re-parameterises the spline by arc length and samples it evenly.
//
// The second result is the arc length at even steps of the old phase, first at
// phase 0 and last at the full period, to carry old phases to new places.
func sampleLine(cx, cy []float64, m, over int, h float64) (Line, []float64) {
	const fine = 16 // steps per knot span for the arc length
	total := m * fine
	arc := make([]float64, total+1)
	speed := func(k int) float64 {
		u := float64(over) + float64(k)/fine
		x1, _ := splineSlopes(cx, u)
		y1, _ := splineSlopes(cy, u)
		return math.Hypot(x1, y1)
	}
	prev := speed(0)
	for k := 1; k <= total; k++ {
		next := speed(k)
		arc[k] = arc[k-1] + (prev+next)/(2*fine)
		prev = next
	}
	length := arc[total]
	n := int(math.Max(16, math.Round(length/lineSampling)))
	l := Line{Step: length / float64(n), Length: length,
		X: make([]float64, n), Y: make([]float64, n), Heading: make([]float64, n), Kappa: make([]float64, n)}
	k := 0
	for i := range l.X {
		s := float64(i) * l.Step
		for arc[k+1] < s {
			k++
		}
		u := float64(over) + (float64(k)+(s-arc[k])/(arc[k+1]-arc[k]))/fine
		l.X[i], l.Y[i] = spline(cx, u), spline(cy, u)
		x1, x2 := splineSlopes(cx, u)
		y1, y2 := splineSlopes(cy, u)
		l.Heading[i] = math.Atan2(x1, y1)
		l.Kappa[i] = (x2*y1 - x1*y2) / math.Pow(x1*x1+y1*y1, 1.5)
	}
	signal.Unwrap(l.Heading)
	return l, arc
}

// rotate moves the origin of s by shift metres along the line.
func (l *Line) rotate(shift float64) Line {
	n := len(l.X)
	o := Line{Step: l.Step, Length: l.Length,
		X: make([]float64, n), Y: make([]float64, n), Heading: make([]float64, n), Kappa: make([]float64, n)}
	for i := range o.X {
		o.X[i], o.Y[i], o.Heading[i], o.Kappa[i] = l.At(float64(i)*l.Step + shift)
	}
	signal.Unwrap(o.Heading)
	if l.Height != nil {
		o.Height = make([]float64, n)
		for i := range o.Height {
			a, b, f := l.cell(float64(i)*l.Step + shift)
			o.Height[i] = l.Height[a] + f*(l.Height[b]-l.Height[a])
		}
	}
	return o
}
