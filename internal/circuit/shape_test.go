package circuit_test

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"cornerwright/internal/circuit"
	"cornerwright/internal/proving"
	"cornerwright/internal/recording"
)

// shape is a closed way of straights and arcs through corners, known to the
// millimetre: x east, y north in the plane about the first corner.
type shape struct {
	x, y   []float64 // every half metre
	h      []float64 // rad clockwise from north
	length float64
}

// roundOff makes a shape of corners (m), each rounded with its radius.
func roundOff(corner [][2]float64, radius []float64) shape {
	const step = 0.5
	n := len(corner)
	var out shape
	put := func(x, y, h float64) { out.x, out.y, out.h = append(out.x, x), append(out.y, y), append(out.h, h) }
	cut := make([]float64, n) // from the corner to where its arc begins
	turn := make([]float64, n)
	dir := func(i int) float64 {
		a, b := corner[i%n], corner[(i+1)%n]
		return math.Atan2(b[0]-a[0], b[1]-a[1])
	}
	for i := range corner {
		turn[i] = math.Remainder(dir(i)-dir(i+n-1), 2*math.Pi)
		cut[i] = radius[i] * math.Abs(math.Tan(turn[i]/2))
	}
	over := 0.0
	for i := range corner {
		h := dir(i)
		s, c := math.Sincos(h)
		k := (i + 1) % n
		straight := math.Hypot(corner[k][0]-corner[i][0], corner[k][1]-corner[i][1]) - cut[i] - cut[k]
		x0, y0 := corner[i][0]+cut[i]*s, corner[i][1]+cut[i]*c
		d := over
		for ; d < straight; d += step {
			put(x0+d*s, y0+d*c, h)
		}
		out.length += straight
		over = d - straight
		// The arc at corner k begins at its end of the straight.
		x1, y1 := x0+straight*s, y0+straight*c
		arc := radius[k] * math.Abs(turn[k])
		sign := math.Copysign(1, turn[k])
		d = over
		for ; d < arc; d += step {
			a := d / radius[k]
			along, aside := radius[k]*math.Sin(a), radius[k]*(1-math.Cos(a))*sign
			put(x1+along*s+aside*c, y1+along*c-aside*s, h+sign*a)
		}
		out.length += arc
		over = d - arc
	}
	return out
}

// ride goes round a shape at constant speed with nothing but fixes of latitude
// and longitude, white noise of sd metres. Every lap takes length/speed.
func (q shape) ride(f circuit.Frame, laps, speed, rate, sd float64) *recording.Recording {
	var tm, la, lo []float64
	state := uint64(11)
	draw := func() float64 {
		var s float64
		for range 12 {
			state = state*6364136223846793005 + 1442695040888963407
			s += float64(state>>33) / (1 << 31)
		}
		return (s - 6) * sd
	}
	cells := float64(len(q.x))
	for t := 0.0; t*speed < laps*q.length; t += 1 / rate {
		u := math.Mod(t*speed/q.length, 1) * cells
		i := int(u)
		k := (i + 1) % len(q.x)
		w := u - float64(i)
		lat, lon := f.LatLon(q.x[i]+w*(q.x[k]-q.x[i])+draw(), q.y[i]+w*(q.y[k]-q.y[i])+draw())
		tm, la, lo = append(tm, t), append(la, lat), append(lo, lon)
	}
	return &recording.Recording{Channels: []*recording.Channel{
		{Name: recording.Latitude, Known: true, Unit: "rad", Time: tm, Value: la},
		{Name: recording.Longitude, Known: true, Unit: "rad", Time: tm, Value: lo},
	}}
}

// A polygon of four geodesics with perimeter
// 1737.486418 m by GeographicLib 2.1.2 (Planimeter), as a circuit with rounded
// corners, known from positions alone. No open file of laps on a circuit is at
// hand here; this stands in its place: the edges are published geodesics, and the
// laps ridden on them are known exactly.
func TestLapsOnPublishedGeodesics(t *testing.T) {
	const deg = math.Pi / 180
	f := circuit.Frame{Lat: 43.9960 * deg, Lon: 11.3710 * deg}
	var corner [][2]float64
	perimeter := 0.0
	for _, p := range [][2]float64{{43.9960, 11.3710}, {43.9985, 11.3750}, {44.0000, 11.3700}, {43.9970, 11.3660}} {
		e, n, _ := f.ENU(p[0]*deg, p[1]*deg, 0)
		corner = append(corner, [2]float64{e, n})
	}
	for i, a := range corner {
		b := corner[(i+1)%4]
		perimeter += math.Hypot(b[0]-a[0], b[1]-a[1])
	}
	if math.Abs(perimeter-1737.486418) > 1e-3 {
		t.Errorf("perimeter %.6f m, published 1737.486418", perimeter)
	}
	q := roundOff(corner, []float64{60, 40, 70, 50})
	const speed = 24.0
	want := q.length / speed
	l, err := circuit.Locate(q.ride(f, 7.4, speed, 5, 0.3), nil, circuit.Options{})
	if err != nil || l.Circuit == nil {
		t.Fatal(err, l)
	}
	if d := l.Circuit.Line.Length - q.length; math.Abs(d) > 0.003*q.length {
		t.Errorf("line is %.1f m long, the way %.1f m", l.Circuit.Line.Length, q.length)
	}
	var errs, z []float64
	for _, lap := range l.Laps {
		if lap.Kind == circuit.TimedLap {
			errs = append(errs, lap.Time()-want)
			z = append(z, math.Abs(lap.Time()-want)/lap.TimeSE)
		}
	}
	t.Logf("%d laps of %.3f s: rms %.1f ms, claimed by z %.2f", len(errs), want, 1e3*proving.RMS(errs), proving.RMS(z))
	if len(errs) < 5 || proving.RMS(errs) > 0.02 || within(z, 2.5) < 0.8 {
		t.Errorf("laps wrong by %v", errs)
	}
	if n := len(l.Circuit.Turns); n != 4 {
		t.Errorf("%d turns on four corners", n)
	}
	for _, x := range l.Circuit.Turns {
		if x.Direction != circuit.Left {
			t.Errorf("turn %d goes %s; the polygon runs against the clock", x.Number, x.Direction)
		}
	}
}

// A chicane used or not, a short loop and the other way round are other circuits,
// whichever of them was known first; the same one is recognised.
func TestLayouts(t *testing.T) {
	f := circuit.Frame{Lat: 0.7, Lon: 0.2}
	full := [][2]float64{{0, 0}, {0, 900}, {350, 900}, {350, 500}, {700, 500}, {700, 0}}
	rfull := []float64{40, 50, 35, 45, 40, 60}
	chicane := append([][2]float64{{0, 0}, {0, 350}, {18, 385}, {18, 440}, {0, 475}}, full[1:]...)
	rchicane := append([]float64{40, 30, 30, 30, 30}, rfull[1:]...)
	short := [][2]float64{{0, 0}, {0, 900}, {350, 900}, {350, 0}}
	rshort := []float64{40, 50, 35, 60}
	back := make([][2]float64, len(full))
	rback := make([]float64, len(full))
	for i := range full {
		back[i], rback[i] = full[len(full)-1-i], rfull[len(full)-1-i]
	}
	layouts := []struct {
		name string
		s    shape
	}{{"full", roundOff(full, rfull)}, {"chicane", roundOff(chicane, rchicane)}, {"short", roundOff(short, rshort)}, {"back", roundOff(back, rback)}}
	var known []*circuit.Circuit
	for _, x := range layouts {
		l, err := circuit.Locate(x.s.ride(f, 4.3, 25, 10, 0.3), nil, circuit.Options{Name: x.name})
		if err != nil || l.Circuit == nil {
			t.Fatal(x.name, err)
		}
		known = append(known, l.Circuit)
	}
	for i, x := range layouts {
		rec := x.s.ride(f, 3.6, 26, 10, 0.5)
		if got, why := circuit.Recognise(rec, known); got != known[i] {
			t.Errorf("%s: taken for %v: %s", x.name, got, why)
		}
		for k, other := range known {
			if k == i {
				continue
			}
			if got, why := circuit.Recognise(rec, known[k:k+1]); got != nil {
				t.Errorf("%s taken for %s: %s", x.name, other.Name, why)
			} else if k < 2 && i < 2 && !strings.Contains(why.String(), "another layout") {
				t.Errorf("%s against %s: %s", x.name, other.Name, why)
			}
		}
	}
}

// A figure of eight crosses itself, and two straights run side by side 9 m apart:
// no lap may jump from one to the other.
func TestPlacesNearEachOther(t *testing.T) {
	f := circuit.Frame{Lat: 0.7, Lon: 0.2}
	for _, x := range []struct {
		name   string
		corner [][2]float64
		radius []float64
	}{
		{"figure of eight", [][2]float64{{0, 0}, {500, 600}, {900, 600}, {900, 0}, {500, 0}, {0, 600}, {-300, 600}, {-300, 0}}, []float64{40, 40, 80, 80, 40, 40, 80, 80}},
		{"side by side", [][2]float64{{0, 0}, {0, 800}, {300, 800}, {300, 400}, {9, 395}, {9, 30}, {300, 30}, {300, -200}, {0, -200}}, []float64{200, 40, 40, 40, 60, 60, 40, 40, 40}},
	} {
		q := roundOff(x.corner, x.radius)
		l, err := circuit.Locate(q.ride(f, 5.4, 26, 10, 0.5), nil, circuit.Options{})
		if err != nil || l.Circuit == nil {
			t.Fatal(x.name, err, l.Problems)
		}
		if d := l.Circuit.Line.Length - q.length; math.Abs(d) > 0.004*q.length {
			t.Errorf("%s: line %.1f m, way %.1f m", x.name, l.Circuit.Line.Length, q.length)
		}
		p := l.Position
		worst := 0.0
		for i := 1; i < len(p.S); i++ {
			step := p.S[i] - p.S[i-1] - 26*(p.Time[i]-p.Time[i-1])
			worst = math.Max(worst, math.Abs(step))
		}
		if worst > 1.5 {
			t.Errorf("%s: the place jumps by %.1f m", x.name, worst)
		}
		n := 0
		for _, lap := range l.Laps {
			if lap.Kind == circuit.TimedLap {
				n++
				if e := lap.Time() - q.length/26; math.Abs(e) > 0.06 {
					t.Errorf("%s: a lap is wrong by %.3f s", x.name, e)
				}
			}
		}
		if n < 4 {
			t.Errorf("%s: %d laps", x.name, n)
		}
	}
}

// Two circuits in one file: parted where the place leaps; where the bike rode from
// one to the other the file is one run, and a statement says so.
func TestTwoCircuitsInOneFile(t *testing.T) {
	join := func(a, b *recording.Recording, pause float64) *recording.Recording {
		out := &recording.Recording{}
		end := a.Span().To + pause
		for i, c := range a.Channels {
			k := *c
			k.Time, k.Value = append([]float64(nil), c.Time...), append([]float64(nil), c.Value...)
			for q, x := range b.Channels[i].Time {
				k.Time, k.Value = append(k.Time, x+end), append(k.Value, b.Channels[i].Value[q])
			}
			out.Channels = append(out.Channels, &k)
		}
		return out
	}
	a, b := proving.Recording(run(0, 1, nil)), proving.Recording(run(1, 1, nil))
	parts := circuit.SplitRuns(join(a, b, 5))
	if len(parts) != 2 {
		t.Fatalf("%d parts", len(parts))
	}
	var length []float64
	for _, p := range parts {
		l, err := circuit.Locate(p, nil, circuit.Options{})
		if err != nil || l.Circuit == nil {
			t.Fatal(err)
		}
		length = append(length, l.Circuit.Line.Length)
	}
	if math.Abs(length[0]-length[1]) < 200 {
		t.Errorf("both parts are the same circuit: %v", length)
	}
	// Within sight of each other, the second ridden before or after the first, with a
	// drive of a kilometre and more between them or none.
	f := circuit.Frame{Lat: 0.7, Lon: 0.2}
	r := rand.New(rand.NewPCG(7, 4))
	for k := range 8 {
		away := 900 + 900*r.Float64()
		one := roundOff([][2]float64{{0, 0}, {0, 600}, {400, 600}, {400, 0}}, []float64{40, 50, 40, 50})
		two := roundOff([][2]float64{{away, 0}, {away, 500}, {away + 300, 500}, {away + 300, 0}}, []float64{40, 50, 40, 50})
		first, second := one.ride(f, 5.3, 25, 10, 0.3), two.ride(f, 2.4, 25, 10, 0.3)
		if k%2 == 1 {
			first, second = second, first
		}
		pause := 20.0
		if k%4 > 1 { // ridden over at 15 m/s
			first = join(first, drive(first, second, 15), 0.1)
			pause = 0.1
		}
		l, err := circuit.Locate(join(first, second, pause), nil, circuit.Options{})
		if err != nil || l.Circuit == nil {
			t.Fatal(err, l)
		}
		said := false
		for _, p := range l.Problems {
			said = said || strings.Contains(p.Text.String(), "more than 150 m from the circuit")
		}
		if !said {
			t.Errorf("%d: nothing tells of the second circuit: %v", k, l.Problems)
		}
		timed := 0
		for _, lap := range l.Laps {
			if lap.Kind != circuit.TimedLap {
				continue
			}
			timed++
			if math.Abs(lap.Time()-one.length/25) > 0.1 {
				t.Errorf("%d: lap %d from %.1f s of %.2f s, all take %.2f s: %v", k, lap.Number, lap.Start, lap.Time(), one.length/25, l.Laps)
			}
		}
		if timed < 4 {
			t.Errorf("%d: %d laps of the circuit with most", k, timed)
		}
	}
}

// drive is a ride straight from where one recording ends to where another begins.
func drive(a, b *recording.Recording, speed float64) *recording.Recording {
	end := func(name string, last bool) float64 {
		if c := a.Channel(name); last {
			return c.Value[len(c.Value)-1]
		}
		return b.Channel(name).Value[0]
	}
	la0, lo0 := end(recording.Latitude, true), end(recording.Longitude, true)
	la1, lo1 := end(recording.Latitude, false), end(recording.Longitude, false)
	x, y := (lo1-lo0)*6.37e6*math.Cos(la0), (la1-la0)*6.37e6
	n := int(math.Hypot(x, y) / speed * 10)
	out := &recording.Recording{}
	for _, c := range a.Channels {
		k := *c
		k.Time, k.Value = nil, nil
		for i := range n {
			u := float64(i+1) / float64(n+1)
			v := speed
			switch c.Name {
			case recording.Latitude:
				v = la0 + u*(la1-la0)
			case recording.Longitude:
				v = lo0 + u*(lo1-lo0)
			case recording.GPSHeading:
				v = math.Atan2(x, y)
			}
			k.Time, k.Value = append(k.Time, 0.1*float64(i)), append(k.Value, v)
		}
		out.Channels = append(out.Channels, &k)
	}
	return out
}
