package circuit

import (
	"math"
	"testing"

	"cornerwright/internal/signal"
)

// Scalar random walk, z = 1 3 2 5 4, Q 1, R 2, first state mean 0 variance 10:
// smoothed values as exact fractions, agreed by statsmodels 0.13.5 and a batch
// Gaussian solution. The other four states are pinned, so that the joint
// smoother must give the same.
func TestSmootherAgainstWorkedExample(t *testing.T) {
	q := noise{white: math.Sqrt2, slow: 1e-7, slowStart: 1e-7, tau: 1, walk: 1, drift: 1e-20, scale: 1e-9, offset: 1e-7, forget: 1, speed: 1, start: math.Sqrt(10)}
	var rows []row
	for i, z := range []float64{1, 3, 2, 5, 4} {
		r := row{tx: 1, rx: z, w: 1, dv: math.NaN()}
		if i > 0 {
			r.dt = 1
		}
		rows = append(rows, r)
	}
	var sm smoother
	if !sm.solve(rows, q, true) {
		t.Fatal("not positive definite")
	}
	mean := []float64{3505. / 1876, 2335. / 938, 1339. / 469, 1711. / 469, 1766. / 469}
	variance := []float64{855. / 938, 344. / 469, 330. / 469, 354. / 469, 470. / 469}
	for i := range mean {
		if math.Abs(sm.x[i][iDS]-mean[i]) > 1e-6 || math.Abs(sm.p[i][0]-variance[i]) > 1e-6 {
			t.Errorf("k %d: %.9f (%.9f), want %.9f (%.9f)", i+1, sm.x[i][iDS], sm.p[i][0], mean[i], variance[i])
		}
	}
	// Neighbouring smoothed states are correlated: Cov(x1, x2) by the gain.
	if c := sm.cross(0, 0); math.Abs(c-variance[0]) > 1e-6 {
		t.Errorf("covariance of a state with itself %.9f", c)
	}
	if c := sm.cross(0, 1); !(c > 0 && c < math.Sqrt(variance[0]*variance[1])) {
		t.Errorf("covariance of neighbours %.9f", c)
	}
	// A weighted sum of states: its covariance with each of them two ways.
	weight := []float64{1, 0, -2, 0, 0.5}
	a := make([]vec5, len(rows))
	for i, w := range weight {
		a[i][iDS] = w
	}
	sm.respond(a)
	for i := range rows {
		want := 0.0
		for k, w := range weight {
			want += w * sm.cross(min(i, k), max(i, k))
		}
		if math.Abs(a[i][iDS]-want) > 1e-9 {
			t.Errorf("covariance of state %d with a sum %.9f, want %.9f", i+1, a[i][iDS], want)
		}
	}
}

// A circle of radius 100 m has curvature 0.01 everywhere.
func TestLineOnCircle(t *testing.T) {
	const r = 100.0
	length := 2 * math.Pi * r
	var pts []point
	for i := 0; i < 1500; i++ {
		p := math.Mod(float64(i)*7.3, length)
		s, c := math.Sincos(p / r)
		// Clockwise from north: heading grows, the circle bends right.
		pts = append(pts, point{p: p, x: r - r*c, y: r * s, w: 1, v: 20})
	}
	l, _ := fitLine(pts, length)
	if math.Abs(l.Length-length) > 0.02 {
		t.Errorf("length %.4f, want %.4f", l.Length, length)
	}
	for i, k := range l.Kappa {
		if math.Abs(k-0.01) > 1e-4 {
			t.Fatalf("curvature %.6f at sample %d", k, i)
		}
	}
	if d := l.Heading[len(l.Heading)-1] - l.Heading[0]; math.Abs(d-2*math.Pi) > 0.02 {
		t.Errorf("heading turns by %.4f", d)
	}
}

// The plane against geodesics of GeographicLib 2.1.2 (GeodSolve): distance and
// azimuth at height 0, distances up to 4.9 km; the chord is shorter than the
// geodesic by 0.1 mm there.
func TestPlaneAgainstGeodesics(t *testing.T) {
	for _, c := range [][6]float64{
		{43.9960, 11.3710, 43.9965, 11.3710, 55.556084, 0},
		{43.9960, 11.3710, 43.9985, 11.3750, 424.381942, 49.112846480},
		{44.3440, 11.7130, 44.3440, 11.7260, 1036.637255, 89.995456729},
		{-34.00, 18.50, -34.03, 18.53, 4330.381618, 140.223250557},
		{43.9960, 11.3710, 44.0300, 11.4100, 4904.317515, 39.605085342},
	} {
		f := Frame{Lat: c[0] * deg, Lon: c[1] * deg}
		e, n, u := f.ENU(c[2]*deg, c[3]*deg, 0)
		d := math.Sqrt(e*e + n*n + u*u)
		if math.Abs(d-c[4]) > 3e-4 {
			t.Errorf("distance %.6f, want %.6f", d, c[4])
		}
		if a := math.Atan2(e, n) / deg; math.Abs(a-c[5]) > 2e-4 {
			t.Errorf("azimuth %.9f, want %.9f", a, c[5])
		}
	}
}

// Weights grow where neighbours say the same thing: white noise keeps its
// spread, noise with a memory of five fixes counts as less.
func TestWhiteNoise(t *testing.T) {
	x := make([]float64, 4000)
	state := uint64(1)
	draw := func() float64 {
		var s float64
		for range 12 {
			state = state*6364136223846793005 + 1442695040888963407
			s += float64(state>>33) / (1 << 31)
		}
		return s - 6
	}
	for i := range x {
		x[i] = 0.5 * draw()
	}
	if w := whiteNoise(x); math.Abs(w-0.52) > 0.05 {
		t.Errorf("white: %.3f", w)
	}
	for i := 2; i < len(x); i++ {
		x[i] += 0.8 * x[i-2]
	}
	if w, s := whiteNoise(x), signal.Spread(x); w < 1.7*s {
		t.Errorf("with memory: %.3f against a spread of %.3f", w, s)
	}
}

// An oval of straights, clothoids and arcs. Where the clothoid of 100 m ends at
// radius 50 m it lies at x 90.452423790, y 31.026830172 m, having turned by 1 rad
// (Fresnel integrals, Abramowitz and Stegun 7.3). The fitted line must have the
// clothoid's curvature s/(R L) all along.
func TestLineOnClothoids(t *testing.T) {
	const radius, trans, straight = 50.0, 100.0, 300.0
	kappa := func(s float64) float64 { // of one half, from the start of its straight
		arc := radius * (math.Pi - trans/radius)
		switch d := s - straight; {
		case d < 0:
			return 0
		case d < trans:
			return d / (radius * trans)
		case d < trans+arc:
			return 1 / radius
		case d < 2*trans+arc:
			return (2*trans + arc - d) / (radius * trans)
		}
		return 0
	}
	half := straight + 2*trans + radius*(math.Pi-trans/radius)
	length := 2 * half
	// Simpson for the heading, midpoint for the place, in steps of 5 mm.
	const h = 0.005
	n := int(math.Round(length / h))
	step := length / float64(n)
	var pts []point
	x, y, head := 0.0, 0.0, 0.0
	var end [2]float64
	for i := range n {
		s := float64(i) * step
		local := math.Mod(s, half)
		if s < half && math.Abs(local-straight-trans) < step/2 {
			end = [2]float64{y - straight, x} // along and beside the straight, which runs north
		}
		if i%1600 == 0 { // a point every 8 m
			sin, cos := math.Sincos(head)
			pts = append(pts, point{p: s, x: x, y: y, w: 20, v: 20, sin: sin, cos: cos, heading: true})
		}
		k0, k1, k2 := kappa(local), kappa(local+step/2), kappa(local+step)
		mid := head + step/2*(k0+k1)/2
		sin, cos := math.Sincos(mid)
		x, y = x+step*sin, y+step*cos
		head += step / 6 * (k0 + 4*k1 + k2)
	}
	if math.Hypot(end[0]-90.452423790, end[1]-31.026830172) > 0.006 {
		t.Fatalf("clothoid ends at %.6f, %.6f", end[0], end[1])
	}
	if math.Hypot(x, y) > 0.02 || math.Abs(head-2*math.Pi) > 1e-4 {
		t.Fatalf("the oval does not close: %.4f %.4f %.6f", x, y, head)
	}
	l, _ := fitLine(pts, length)
	if math.Abs(l.Length-length) > 0.05 {
		t.Errorf("length %.3f, want %.3f", l.Length, length)
	}
	worst := 0.0
	for i, k := range l.Kappa {
		s := math.Mod(float64(i)*l.Step, half)
		worst = math.Max(worst, math.Abs(k-kappa(s)))
	}
	t.Logf("curvature within %.6f 1/m", worst)
	if worst > 0.0006 { // 3 % of the arc's, at the kinks of curvature, which a spline rounds off
		t.Errorf("curvature off by %.5f 1/m", worst)
	}
}
