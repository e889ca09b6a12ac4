package circuit_test

import (
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"cornerwright/internal/circuit"
	"cornerwright/internal/demo"
	"cornerwright/internal/proving"
)

type tally struct{ err, z []float64 }

func (a *tally) add(e, se float64) {
	if math.IsNaN(e) || math.IsNaN(se) {
		return
	}
	a.err = append(a.err, e)
	a.z = append(a.z, math.Abs(e)/se)
}

func (a *tally) join(b tally) { a.err, a.z = append(a.err, b.err...), append(a.z, b.z...) }

func (a tally) String() string {
	var se float64
	for i := range a.z {
		se += sqr(a.err[i] / a.z[i])
	}
	return fmt.Sprintf("n %5d rms %6.2f se %6.2f bias %+5.2f worst %6.1f cov %3.0f/%3.0f", len(a.err), 1e3*proving.RMS(a.err), 1e3*math.Sqrt(se/float64(len(a.z))), 1e3*proving.Mean(a.err), 1e3*proving.Worst(a.err), 100*within(a.z, 1), 100*within(a.z, 1.96))
}

func sqr(x float64) float64 { return x * x }

// exam holds what one run shows against its truth.
type exam struct {
	lap, slow, seg, cross, s tally
	want                     int
}

func (a *exam) join(b exam) {
	a.lap.join(b.lap)
	a.slow.join(b.slow)
	a.seg.join(b.seg)
	a.cross.join(b.cross)
	a.s.join(b.s)
	a.want += b.want
}

type passed struct{ est, true, v, tx, ty, se float64 }

func examine(r *demo.Run, l *circuit.Located) exam {
	var x exam
	c, p := l.Circuit, l.Position
	var timed []circuit.Lap
	for _, lap := range l.Laps {
		if lap.Kind == circuit.TimedLap {
			timed = append(timed, lap)
		}
	}
	for _, lap := range r.Truth.Laps {
		if lap.Kind == demo.TimedLap {
			x.want++
		}
	}
	at := map[float64][]passed{} // by place, by timed lap
	visit := func(s float64) []passed {
		if v, ok := at[s]; ok {
			return v
		}
		truth := gateCrossings(r, c, s)
		_, _, h, _ := c.Line.At(s)
		var out []passed
		for _, lap := range timed {
			base := math.Floor(p.S[p.Index(0.5*(lap.Start+lap.End))]/c.Line.Length) * c.Line.Length
			t := p.CrossAt(base + s)
			q := passed{est: t, true: math.NaN(), tx: math.Sin(h), ty: math.Cos(h)}
			for _, w := range truth {
				if math.Abs(w-t) < 1.5 && !(math.Abs(q.true-t) < math.Abs(w-t)) {
					q.true = w
				}
			}
			if !math.IsNaN(t) {
				q.v = p.Speed[p.Index(t)]
				q.se = p.SSE[p.Index(t)] / q.v
			}
			out = append(out, q)
		}
		at[s] = out
		return out
	}
	// The run's own constant GPS offset, by least squares on all places; with the
	// GPS delay where nothing could tell it.
	var m [3][4]float64
	for s := 0.0; s < c.Line.Length; s += 60 {
		for _, q := range visit(s) {
			if math.IsNaN(q.true) || q.v < 5 {
				continue
			}
			e := (q.est - q.true) * q.v
			row := [4]float64{q.tx, q.ty, q.v, e}
			if p.LatencySE < 0.05 {
				row[2] = 0
			}
			if math.Abs(e) > 20 {
				continue
			}
			for i := range m {
				for k := range m[i] {
					m[i][k] += row[i] * row[k]
				}
			}
		}
	}
	m[2][2] += 1e-9
	for i := range m {
		for k := range m {
			if k != i {
				f := m[k][i] / m[i][i]
				for q := range m[k] {
					m[k][q] -= f * m[i][q]
				}
			}
		}
	}
	bx, by, late := m[0][3]/m[0][0], m[1][3]/m[1][1], m[2][3]/m[2][2]
	miss := func(q passed) float64 { return q.est - q.true - (bx*q.tx+by*q.ty)/q.v - late }
	for s := 0.0; s < c.Line.Length; s += 60 {
		for _, q := range visit(s) {
			x.s.add(miss(q)*q.v, q.se*q.v)
			x.cross.add(miss(q), q.se)
		}
	}
	gate := visit(0)
	for k, lap := range timed {
		// The end of a lap is the gate's next passage.
		truth := gateCrossings(r, c, 0)
		for i := 0; i+1 < len(truth); i++ {
			if math.Abs(truth[i]-gate[k].est) < 1 {
				x.lap.add(lap.Time()-(truth[i+1]-truth[i]), lap.TimeSE)
			}
		}
	}
	for _, t := range c.Turns {
		g := visit(t.Apex)
		for k := 0; k+1 < len(g); k++ {
			if timed[k+1].Number == timed[k].Number+1 && !t.Kink && g[k].v < 45 {
				x.slow.add(miss(g[k+1])-miss(g[k]), l.SegmentSE(g[k].est, g[k+1].est))
			}
		}
		if t.To < t.From {
			continue
		}
		a, b := visit(t.From), visit(t.To)
		for k := range a {
			x.seg.add(miss(b[k])-miss(a[k]), l.SegmentSE(a[k].est, b[k].est))
		}
	}
	return x
}

var cases = []struct {
	name string
	set  func(o *demo.Options)
}{
	{"10", func(o *demo.Options) {}},
	{"10dirty", func(o *demo.Options) { o.Dirty = true }},
	{"10outages", func(o *demo.Options) { o.GPSOutages = 10 }},
	{"10jumps", func(o *demo.Options) { o.GPSJumps = 6 }},
	{"10spikes", func(o *demo.Options) { o.GPSSpikes = 60 }},
	{"10speed", func(o *demo.Options) { o.GPSSpeedSlow = 0.1 }},
	{"10line", func(o *demo.Options) { o.LineSigma = 0.8 }},
	{"10nasty", func(o *demo.Options) {
		o.Nasty = demo.Nasty{AntennaHeight: 0.9, TyreGrowth: 0.01, LoadRadius: 0.006, CrownNonCircular: 0.02, Bank: 0.07, Grade: 0.03, Wind: 3}
	}},
	{"5", func(o *demo.Options) { o.GPSRate = 5 }},
	{"5dirty", func(o *demo.Options) { o.GPSRate = 5; o.Dirty = true }},
	{"20", func(o *demo.Options) { o.GPSRate = 20 }},
	{"20dirty", func(o *demo.Options) { o.GPSRate = 20; o.Dirty = true }},
	{"10nowheel", func(o *demo.Options) { o.Drop = []string{"front_speed", "lean", "roll_rate", "yaw_rate", "pitch_rate"} }},
	{"10nowheelspeed", func(o *demo.Options) {
		o.GPSSpeedSlow = 0.1
		o.Drop = []string{"front_speed", "lean", "roll_rate", "yaw_rate", "pitch_rate"}
	}},
	{"10gps", func(o *demo.Options) {
		o.Drop = []string{"front_speed", "rear_speed", "lean", "roll_rate", "pitch_rate"}
	}},
	{"10nolean", func(o *demo.Options) { o.Drop = []string{"lean", "roll_rate", "yaw_rate", "pitch_rate"} }},
	{"10nowheeldirty", func(o *demo.Options) {
		o.Dirty = true
		o.Drop = []string{"front_speed", "lean", "roll_rate", "yaw_rate", "pitch_rate"}
	}},
}

func TestStudy(t *testing.T) {
	if os.Getenv("STUDY") == "" {
		t.Skip()
	}
	n, _ := strconv.Atoi(os.Getenv("SEEDS"))
	first, _ := strconv.Atoi(os.Getenv("FIRST"))
	only := os.Getenv("STUDY")
	for _, c := range cases {
		if only != "all" && !strings.Contains(","+only+",", ","+c.name+",") {
			continue
		}
		var x exam
		var spent time.Duration
		for ci := range demo.Circuits() {
			for k := range n {
				o := demo.DefaultOptions(ci, uint64(first+k))
				o.Laps = 7
				c.set(&o)
				r := demo.Ride(o)
				rec := proving.Recording(r)
				start := time.Now()
				l, err := circuit.Locate(rec, nil, circuit.Options{})
				spent += time.Since(start)
				if err != nil || l.Circuit == nil {
					t.Fatal(err)
				}
				e := examine(r, l)
				if os.Getenv("RUNS") != "" {
					var b strings.Builder
					for i := range e.lap.err {
						fmt.Fprintf(&b, " %+.1f(%.1f)", 1e3*e.lap.err[i], e.lap.z[i])
					}
					fmt.Printf("  %d/%d lap %v\n     %s\n", ci, first+k, e.lap, b.String())
				}
				x.join(e)
			}
		}
		fmt.Printf("%s (want %d, %v)\n  lap   %v\n  slow  %v\n  seg   %v\n  cross %v\n  s     %v\n", c.name, x.want, spent, x.lap, x.slow, x.seg, x.cross, x.s)
	}
}
