package circuit_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"cornerwright/internal/circuit"
	"cornerwright/internal/demo"
	"cornerwright/internal/proving"
	"cornerwright/internal/recording"
)

func TestNoPosition(t *testing.T) {
	rec := proving.Recording(run(0, 1, func(o *demo.Options) { o.Drop = []string{recording.Latitude, recording.Longitude} }))
	still := proving.Recording(run(0, 1, nil)) // a receiver that never found its place
	for _, n := range []string{recording.Latitude, recording.Longitude} {
		c := *still.Channel(n)
		c.Value = make([]float64, len(c.Value))
		for i, k := range still.Channels {
			if k.Name == n {
				still.Channels[i] = &c
			}
		}
	}
	for _, r := range []*recording.Recording{rec, still, part(proving.Recording(run(0, 1, nil)), 100, 100.65)} {
		l, err := circuit.Locate(r, nil, circuit.Options{})
		if err == nil || !strings.Contains(err.Error(), "no position") || l != nil {
			t.Errorf("error %v", err)
		}
	}
}

// Parts of a lap, wherever they begin: no circuit, a statement with what was found,
// and still speed and distance.
func TestLessThanALap(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 1))
	for ci := range demo.Circuits() {
		x := run(ci, 1, nil)
		rec, c := proving.Recording(x), x.Truth.Crossings
		for range 3 {
			length := (0.2 + 0.65*r.Float64()) * (c[2] - c[1])
			from := c[1] + r.Float64()*(c[3]-c[1])
			l, err := circuit.Locate(part(rec, from, from+length), nil, circuit.Options{})
			if err != nil {
				t.Fatal(err)
			}
			seconds := fmt.Sprintf("in %.0f s", length)
			if l.Circuit != nil || len(l.Problems) == 0 || !strings.Contains(l.Problems[0].Text.String(), "no lap closes") {
				t.Errorf("%s, %s from %.0f s: circuit %v, problems %v", x.Circuit.Name, seconds, from, l.Circuit != nil, l.Problems)
				continue
			}
			p := l.Position
			if p == nil || !p.Lost || len(p.Time) == 0 {
				t.Fatal("speed and distance are withheld although the data give them")
			}
			want := 0.0
			for i, at := range x.Truth.Time {
				if at >= from && at < from+length {
					want += x.Truth.Speed[i] * 0.01
				}
			}
			if got := p.S[len(p.S)-1] - p.S[0]; math.Abs(got-want) > 2.6*p.SSE[len(p.SSE)-1] {
				t.Errorf("%s: %.0f m ridden, truth %.0f, standard error %.0f", x.Circuit.Name, got, want, p.SSE[len(p.SSE)-1])
			}
		}
	}
}

// One whole lap, cut off anywhere before and after it: one timed lap at most, right,
// and a word that the line rests on it.
func TestOneLapOnly(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 2))
	for ci := range demo.Circuits() {
		x := run(ci, 1, nil)
		c := x.Truth.Crossings
		rec := proving.Recording(x)
		for k := range 3 {
			before, after := 3.0, 3.0
			if k > 0 {
				before, after = 2+0.3*r.Float64()*(c[2]-c[1]), 2+0.3*r.Float64()*(c[2]-c[1])
			}
			l, err := circuit.Locate(part(rec, c[1]-before, c[2]+after), nil, circuit.Options{})
			if err != nil {
				t.Fatal(err)
			}
			if l.Circuit == nil {
				t.Fatalf("%s: one whole lap gives no circuit: %v", x.Circuit.Name, l.Problems)
			}
			timed := 0
			gate := gateCrossings(x, l.Circuit, 0)
			for _, lap := range l.Laps {
				if lap.Kind == circuit.TimedLap {
					timed++
					if e := lap.Time() - (proving.Nearest(gate, lap.End) - proving.Nearest(gate, lap.Start)); !(math.Abs(e) < 4*lap.TimeSE+0.02) {
						t.Errorf("%s: a lap of %.3f s is off by %.3f s, standard error %.3f", x.Circuit.Name, lap.Time(), e, lap.TimeSE)
					}
				}
			}
			// The learnt gate may lie where only one end or the other of the cut passes it.
			if timed > 1 || k == 0 && timed != 1 {
				t.Errorf("%s, %.0f s before, %.0f s after: %d timed laps: %v", x.Circuit.Name, before, after, timed, l.Laps)
			}
			found := timed == 0
			for _, p := range l.Problems {
				found = found || strings.Contains(p.Text.String(), "one lap only")
			}
			if !found {
				t.Errorf("%s: nothing says that the line rests on one lap: %v", x.Circuit.Name, l.Problems)
			}
		}
	}
}

// wander is a bike about a car park for some seconds at about three metres a second, times pace: loops of no
// fixed length, stops, places passed again by chance.
func wander(r *rand.Rand, seconds, pace float64) *recording.Recording {
	var tm, la, lo, sp, hd []float64
	x, y, h, turn, v := 0.0, 0.0, 6*r.Float64(), 0.0, 2.0
	goal := 2.0
	wide := 40 + 60*r.Float64() // m, half of the park
	for i := 0; float64(i)*0.1 < seconds; i++ {
		if r.Float64() < 0.01 {
			goal = pace * math.Max(0, 3+2.5*r.NormFloat64())
		}
		v += 0.05 * (goal - v)
		turn += 0.1*(-0.3*turn) + 0.15*r.NormFloat64()
		if math.Hypot(x, y) > wide { // back in
			turn += 0.2 * math.Remainder(math.Atan2(-x, -y)-h, 2*math.Pi)
		}
		h += 0.1 * turn
		x, y = x+0.1*v*math.Sin(h), y+0.1*v*math.Cos(h)
		ex, ey := 0.5*r.NormFloat64(), 0.5*r.NormFloat64()
		tm = append(tm, float64(i)*0.1)
		la = append(la, 0.8+(y+ey)/6.37e6)
		lo = append(lo, 0.2+(x+ex)/6.37e6/math.Cos(0.8))
		sp = append(sp, math.Max(0, v+0.05*r.NormFloat64()))
		hd = append(hd, h)
	}
	rec := &recording.Recording{}
	for name, v := range map[string][]float64{recording.Latitude: la, recording.Longitude: lo, recording.GPSSpeed: sp, recording.GPSHeading: hd} {
		rec.Channels = append(rec.Channels, &recording.Channel{Name: name, Known: true, Time: tm, Value: v})
	}
	return rec
}

func TestCarPark(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 3))
	for k := range 40 {
		rec := wander(r, 200+600*r.Float64(), []float64{1, 1, 1, 2.5}[k%4])
		l, err := circuit.Locate(rec, nil, circuit.Options{})
		if err != nil {
			t.Fatal(err)
		}
		if l.Circuit != nil {
			t.Errorf("walk %d about a car park became a circuit of %.0f m", k, l.Circuit.Line.Length)
			continue
		}
		if len(l.Problems) == 0 || !strings.Contains(l.Problems[0].Text.String(), "m from end to end") || l.Problems[0].Mend.String() == "" {
			t.Errorf("walk %d: %v", k, l.Problems)
		}
		if p := l.Position; p == nil || !p.Lost || !(p.S[len(p.S)-1] > 20) {
			t.Errorf("walk %d: speed and distance are withheld", k)
		}
	}
}
