package circuit_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"cornerwright/internal/circuit"
	"cornerwright/internal/proving"
	"cornerwright/internal/recording"
)

// eight is a track of another kind than the demo's: a figure of eight that crosses
// itself, with two hairpins whose straights run 30 m from each other at one end.
type eight struct {
	x, y, h, k, v []float64 // m, rad, 1/m, m/s
	length        float64
}

func newEight() *eight {
	e := &eight{}
	// Directions to the right positive: length and total turn (rad) of each piece.
	bend := func(radius, turn float64) [2]float64 { return [2]float64{radius * math.Abs(turn), turn} }
	pieces := [][2]float64{{420, 0}, bend(60, math.Pi), {250, 0}, bend(15, -math.Pi), {250, 0}, bend(15, math.Pi), {250, 0}}
	x, y, h, s := 0.0, 0.0, 0.3, 0.0
	var at []float64
	lay := func(p [2]float64) {
		n := int(math.Ceil(p[0] / 0.5))
		for i := range n {
			d := p[0] / float64(n)
			// Curvature runs in and out over a quarter of the bend.
			u := (float64(i) + 0.5) / float64(n)
			w := math.Min(1, math.Min(u, 1-u)/0.25) / 0.75
			k := p[1] / p[0] * w
			e.x, e.y, e.h, e.k = append(e.x, x), append(e.y, y), append(e.h, h), append(e.k, k)
			at = append(at, s)
			m := h + 0.5*k*d
			x, y, h, s = x+d*math.Sin(m), y+d*math.Cos(m), h+k*d, s+d
		}
	}
	for _, p := range pieces {
		lay(p)
	}
	// Home: turn to the start from where the last piece ends, by a bend whose exit
	// points at the origin's own line; a straight closes the rest.
	back := math.Mod(0.3-h+4*math.Pi, 2*math.Pi)
	lay(bend(45, back))
	dx, dy := -x, -y
	for i := range e.x { // shear what is left over into the whole lap: it stays smooth
		f := at[i] / s
		e.x[i], e.y[i] = e.x[i]+f*dx, e.y[i]+f*dy
	}
	// Even samples along the sheared path, its heading and curvature.
	n := len(e.x)
	at = make([]float64, n+1)
	for i := range n {
		q := (i + 1) % n
		at[i+1] = at[i] + math.Hypot(e.x[q]-e.x[i], e.y[q]-e.y[i])
	}
	e.length = at[n]
	nx, ny := make([]float64, n), make([]float64, n)
	for i, k := 0, 0; i < n; i++ {
		want := float64(i) / float64(n) * e.length
		for at[k+1] < want {
			k++
		}
		f := (want - at[k]) / (at[k+1] - at[k])
		nx[i], ny[i] = e.x[k]+f*(e.x[(k+1)%n]-e.x[k]), e.y[k]+f*(e.y[(k+1)%n]-e.y[k])
	}
	e.x, e.y = nx, ny
	for i := range e.x {
		p, q := (i+n-1)%n, (i+1)%n
		e.h[i] = math.Atan2(e.x[q]-e.x[p], e.y[q]-e.y[p])
	}
	for i := range e.x {
		p, q := (i+n-3)%n, (i+3)%n
		e.k[i] = math.Remainder(e.h[q]-e.h[p], 2*math.Pi) / (6 * e.length / float64(n))
	}
	e.v = make([]float64, n)
	for i := range e.v {
		e.v[i] = math.Min(62, math.Sqrt(10.5/math.Max(1e-4, math.Abs(e.k[i]))))
	}
	d := e.length / float64(n)
	for range 2 {
		for i := range 2 * n { // out of bends at 5, into them at 9 m/s2
			a, b := i%n, (i+1)%n
			e.v[b] = math.Min(e.v[b], math.Sqrt(e.v[a]*e.v[a]+2*5*d))
			c, f := (2*n-1-i)%n, (2*n-i)%n
			e.v[c] = math.Min(e.v[c], math.Sqrt(e.v[f]*e.v[f]+2*9*d))
		}
	}
	return e
}

type strange struct {
	rate, first, from, to float64 // Hz; s without a fix at the start; s cut away at either end
	speed, heading, wheel bool
	gap                   [2]float64 // s
	laps, lost            int        // timed laps, and those that have no fixes
	cut                   float64    // m that fixes far apart may cut off the bends of a lap
}

// ride gives a recording and the true times at which the bike passes sample 0.
func (e *eight) ride(c strange, seed uint64) (*recording.Recording, func(cir *circuit.Circuit) []float64) {
	r := rand.New(rand.NewPCG(seed, 3))
	n := len(e.x)
	const dt = 0.01
	var px, py, ph, pv []float64
	pace := 1.0
	u, at := float64(n)*0.9, -1
	off, slope := 0.0, 0.0
	for {
		i := int(u)
		if i/n != at {
			at = i / n
			pace = 0.985 + 0.015*r.NormFloat64()
			if at > c.laps+1 {
				break
			}
		}
		i %= n
		f := u - math.Floor(u)
		q := (i + 1) % n
		// The rider strays smoothly by a third of a metre.
		slope += dt * (-0.8*slope - 0.3*off + 0.45*r.NormFloat64()/math.Sqrt(dt))
		off += dt * slope
		h := e.h[i] + f*math.Remainder(e.h[q]-e.h[i], 2*math.Pi)
		v := pace * (e.v[i] + f*(e.v[q]-e.v[i]))
		sin, cos := math.Sincos(h)
		px, py = append(px, e.x[i]+f*(e.x[q]-e.x[i])+off*cos), append(py, e.y[i]+f*(e.y[q]-e.y[i])-off*sin)
		ph, pv = append(ph, h+math.Atan2(slope, v)), append(pv, v)
		// v is over ground: inside a bend it goes further along the middle.
		u += v * dt * math.Cos(slope/v) / (1 - e.k[i]*off) / (e.length / float64(n))
	}
	frame := circuit.Frame{Lat: -0.61, Lon: 2.52}
	rec := &recording.Recording{Format: "made for a test"}
	ch := map[string]*recording.Channel{}
	put := func(name string, t, v float64) {
		if ch[name] == nil {
			ch[name] = &recording.Channel{Name: name, Known: true}
			rec.Channels = append(rec.Channels, ch[name])
		}
		ch[name].Time, ch[name].Value = append(ch[name].Time, t), append(ch[name].Value, v)
	}
	end := float64(len(px))*dt - c.to
	sx, sy := 0.8*r.NormFloat64(), 0.8*r.NormFloat64()
	const late = 0.09
	for k := 0; ; k++ {
		t := c.from + float64(k)/c.rate
		if t > end {
			break
		}
		keep := math.Exp(-1 / c.rate / 150)
		sx, sy = keep*sx+0.8*math.Sqrt(1-keep*keep)*r.NormFloat64(), keep*sy+0.8*math.Sqrt(1-keep*keep)*r.NormFloat64()
		if t < c.from+c.first || t > c.gap[0] && t < c.gap[1] {
			continue
		}
		i := int(math.Max(0, (t-late)/dt))
		la, lo := frame.LatLon(px[i]+sx+0.4*r.NormFloat64(), py[i]+sy+0.4*r.NormFloat64())
		put(recording.Latitude, t, la)
		put(recording.Longitude, t, lo)
		if c.speed {
			put(recording.GPSSpeed, t, pv[i]+0.08*r.NormFloat64())
		}
		if c.heading {
			put(recording.GPSHeading, t, ph[i]+0.08*r.NormFloat64()/math.Max(3, pv[i]))
		}
	}
	for i := int(c.from / dt); c.wheel && float64(i)*dt < end; i += 2 {
		put(recording.FrontSpeed, float64(i)*dt, 1.013*pv[i]+0.03*r.NormFloat64())
	}
	return rec, func(cir *circuit.Circuit) []float64 {
		gx, gy, h, _ := cir.Line.At(0)
		la, lo := cir.Frame.LatLon(gx, gy)
		gx, gy, _ = frame.ENU(la, lo, cir.Frame.Height)
		sin, cos := math.Sincos(h)
		var out []float64
		for i := 1; i < len(px); i++ {
			a, b := (px[i-1]-gx)*sin+(py[i-1]-gy)*cos, (px[i]-gx)*sin+(py[i]-gy)*cos
			if a < 0 && b >= 0 && math.Abs((px[i]-gx)*cos-(py[i]-gy)*sin) < 14 && math.Cos(ph[i]-h) > 0.5 {
				out = append(out, dt*(float64(i-1)+a/(a-b)))
			}
		}
		return out
	}
}

// Recordings of a track and of loggers that are not the demo's: laps, gate and turns
// come out, with standard errors that hold, at any rate and with what channels there
// are.
func TestStrangeRecordings(t *testing.T) {
	e := newEight()
	for i, c := range []struct {
		name string
		strange
		rms float64 // s of lap times, at most
	}{
		{"1 Hz, all channels", strange{rate: 1, speed: true, heading: true, wheel: true, laps: 6}, 0.03},
		{"5 Hz, all channels", strange{rate: 5, speed: true, heading: true, wheel: true, laps: 6}, 0.015},
		{"18 Hz, all channels", strange{rate: 18, speed: true, heading: true, wheel: true, laps: 6}, 0.015},
		{"25 Hz, all channels", strange{rate: 25, speed: true, heading: true, wheel: true, laps: 6}, 0.015},
		{"10 Hz, positions and times only", strange{rate: 10, laps: 6}, 0.06},
		{"1 Hz, positions and times only", strange{rate: 1, laps: 6, cut: 20}, 0.15},
		{"10 Hz, no GPS speed", strange{rate: 10, heading: true, wheel: true, laps: 6}, 0.02},
		{"first fix after 70 s", strange{rate: 10, first: 70, lost: 2, speed: true, heading: true, wheel: true, laps: 6}, 0.015},
		{"a gap of 25 s with a wheel", strange{rate: 10, gap: [2]float64{150, 175}, speed: true, heading: true, wheel: true, laps: 6}, 0.02},
		{"begins and ends in mid-lap", strange{rate: 10, from: 33, to: 21, speed: true, heading: true, wheel: true, laps: 6}, 0.015},
		{"two laps", strange{rate: 10, speed: true, heading: true, laps: 2}, 0.03},
	} {
		t.Run(c.name, func(t *testing.T) {
			rec, passages := e.ride(c.strange, uint64(41+i))
			l, err := circuit.Locate(rec, nil, circuit.Options{})
			if err != nil {
				t.Fatal(err)
			}
			if l.Circuit == nil {
				t.Fatalf("no circuit: %v", l.Problems)
			}
			if d := math.Abs(l.Circuit.Line.Length - e.length); d > 8+c.cut {
				t.Errorf("%.0f m long, truth %.0f", l.Circuit.Line.Length, e.length)
			}
			turns := ""
			for _, x := range l.Circuit.Turns {
				if !x.Kink {
					turns += string(x.Direction[0])
				}
			}
			truth := passages(l.Circuit)
			var errs, z []float64
			for _, lap := range l.Laps {
				if lap.Kind != circuit.TimedLap {
					continue
				}
				best := math.NaN()
				for k := 0; k+1 < len(truth); k++ {
					if math.Abs(truth[k]-lap.Start) < 2 {
						best = lap.Time() - (truth[k+1] - truth[k])
					}
				}
				errs, z = append(errs, best), append(z, math.Abs(best)/lap.TimeSE)
			}
			t.Logf("%d timed laps, rms %.1f ms, %.0f %% within 1.96, turns %s", len(errs), 1e3*proving.RMS(errs), 100*within(z, 1.96), turns)
			if want := len(truth) - 1 - c.lost; len(errs) < want-1 || len(errs) > want {
				t.Errorf("%d timed laps, truth %d: %s", len(errs), want, kinds(l.Laps))
			}
			if !(proving.RMS(errs) < c.rms) {
				t.Errorf("lap times wrong by %.4f s", proving.RMS(errs))
			}
			if within(z, 3) < 0.8 {
				t.Errorf("errors over standard errors: %.1f", z)
			}
			if len(turns) != 4 {
				t.Errorf("turns %q", turns)
			}
		})
	}
}

func kinds(laps []circuit.Lap) (s string) {
	for _, l := range laps {
		s += fmt.Sprintf(" %s %.1f", l.Kind, l.Time())
	}
	return s
}

// Phase boundaries are times of the lap too.
func TestBoundaries(t *testing.T) {
	r := run(1, 9, nil)
	l := locate(t, r, nil)
	n := 0
	for _, ps := range circuit.Passes(l.Circuit, l.Position, l.Laps, circuit.Signals{}) {
		for _, b := range l.Boundaries(ps) {
			n++
			for _, lap := range l.Laps {
				if lap.Number == ps.Lap && (math.Abs(lap.Start+b.SinceGate-b.Time) > 1e-9 || b.SinceGate < -15 || b.SinceGate > lap.Time()+15) {
					t.Errorf("lap %d turn %d: %+v", ps.Lap, ps.Turn, b)
				}
			}
			if !(b.SE > 0.0005 && b.SE < 0.02) {
				t.Errorf("standard error %v", b.SE)
			}
		}
	}
	if n < 40 {
		t.Errorf("%d boundaries", n)
	}
}
