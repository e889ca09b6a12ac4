package circuit_test

import (
	"fmt"
	"math"
	"testing"

	"cornerwright/internal/circuit"
	"cornerwright/internal/demo"
	"cornerwright/internal/proving"
	"cornerwright/internal/recording"
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

// se is the root mean square of the standard errors claimed.
func (a tally) se() float64 {
	var sum float64
	for i := range a.z {
		sum += sqr(a.err[i] / a.z[i])
	}
	return math.Sqrt(sum / float64(len(a.z)))
}

// String shows thousandths: rms (claimed), bias, worst, coverage.
func (a tally) String() string {
	return fmt.Sprintf("%.1f (%.1f) | %+.1f | %.0f | %.0f, %.0f", 1e3*proving.RMS(a.err), 1e3*a.se(), 1e3*proving.Mean(a.err), 1e3*math.Abs(proving.Worst(a.err)), 100*within(a.z, 1), 100*within(a.z, 1.96))
}

func sqr(x float64) float64 { return x * x }

// exam holds what one run shows against its truth.
type exam struct {
	lap, slow, seg, s tally
	want              int
}

func (a *exam) join(b exam) {
	a.lap.join(b.lap)
	a.slow.join(b.slow)
	a.seg.join(b.seg)
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

// naive are lap times by straight lines between raw fixes, at the same gate.
func naive(r *demo.Run, l *circuit.Located) (errs []float64) {
	rec := proving.Recording(r)
	la, lo := rec.Channel(recording.Latitude), rec.Channel(recording.Longitude)
	c := l.Circuit
	gx, gy, h, _ := c.Line.At(0)
	sin, cos := math.Sincos(h)
	var cross []float64
	prev, pt := math.NaN(), 0.0
	for i := range la.Time {
		x, y, _ := c.Frame.ENU(la.Value[i], lo.Value[i], c.Frame.Height)
		a := (x-gx)*sin + (y-gy)*cos
		t := la.Time[i] - r.Truth.GPSLatency
		if prev < 0 && a >= 0 && a-prev < 60 && math.Abs((x-gx)*cos-(y-gy)*sin) < 25 {
			cross = append(cross, pt+(t-pt)*(-prev)/(a-prev))
		}
		prev, pt = a, t
	}
	truth := gateCrossings(r, c, 0)
	find := func(list []float64, t float64) float64 {
		for _, x := range list {
			if math.Abs(x-t) < 1 {
				return x
			}
		}
		return math.NaN()
	}
	for _, lap := range l.Laps {
		if lap.Kind == circuit.TimedLap {
			e := find(cross, lap.End) - find(cross, lap.Start) - (find(truth, lap.End) - find(truth, lap.Start))
			if !math.IsNaN(e) {
				errs = append(errs, e)
			}
		}
	}
	return errs
}

var noWheel = []string{"front_speed", "rear_speed", "lean", "roll_rate", "pitch_rate", "yaw_rate"}

// matrix lists what the recordings are put through. Limits are aims: root mean
// square of laps, slow gates, segments (s) and of s (m).
var matrix = []struct {
	name                string
	set                 func(o *demo.Options)
	lap, slow, seg, way float64
	small               bool // in the small version too
	seeds               int  // there
}{
	{"10 Hz", func(o *demo.Options) {}, 0.006, 0.012, 0.008, 0.35, true, 2},
	{"5 Hz", func(o *demo.Options) { o.GPSRate = 5 }, 0.006, 0.012, 0.008, 0.35, false, 1},
	{"20 Hz", func(o *demo.Options) { o.GPSRate = 20 }, 0.006, 0.012, 0.008, 0.35, false, 1},
	{"10 Hz dirty", func(o *demo.Options) { o.Dirty = true }, 0.006, 0.0125, 0.008, 0.35, true, 3},
	{"5 Hz dirty", func(o *demo.Options) { o.GPSRate, o.Dirty = 5, true }, 0.006, 0.013, 0.008, 0.35, true, 3},
	{"20 Hz dirty", func(o *demo.Options) { o.GPSRate, o.Dirty = 20, true }, 0.006, 0.0125, 0.008, 0.35, false, 1},
	{"ten outages", func(o *demo.Options) { o.GPSOutages = 10 }, 0.006, 0.0125, 0.008, 0.35, false, 1},
	{"six jumps", func(o *demo.Options) { o.GPSJumps = 6 }, 0.006, 0.0125, 0.008, 0.35, false, 1},
	{"sixty wild fixes", func(o *demo.Options) { o.GPSSpikes = 60 }, 0.006, 0.012, 0.008, 0.35, false, 1},
	{"correlated GPS speed 0.1 m/s", func(o *demo.Options) { o.GPSSpeedSlow = 0.1 }, 0.006, 0.013, 0.008, 0.35, false, 1},
	{"rider's line 0.8 m", func(o *demo.Options) { o.LineSigma = 0.8 }, 0.006, 0.015, 0.008, 0.35, false, 1},
	{"all of these", func(o *demo.Options) { o.Dirty, o.GPSSpeedSlow, o.LineSigma = true, 0.1, 0.7 }, 0.007, 0.019, 0.0085, 0.35, true, 3},
	{"no GPS heading", func(o *demo.Options) { o.Drop = []string{recording.GPSHeading} }, 0.006, 0.017, 0.008, 0.35, true, 1},
	{"no lean, no gyros", func(o *demo.Options) { o.Drop = []string{"lean", "roll_rate", "yaw_rate", "pitch_rate"} }, 0.006, 0.012, 0.008, 0.35, false, 1},
	{"no wheel speed, yaw rate there", func(o *demo.Options) { o.Drop = noWheel[:5] }, 0.006, 0.0125, 0.008, 0.35, false, 1},
	{"no wheel speed, lean, gyros", func(o *demo.Options) { o.Drop = noWheel }, 0.006, 0.0125, 0.008, 0.35, true, 1},
	{"that, with correlated GPS speed", func(o *demo.Options) { o.Drop, o.GPSSpeedSlow = noWheel, 0.1 }, 0.009, 0.018, 0.012, 0.525, true, 1},
	{"no wheel speed, lean, gyros, and dirty", func(o *demo.Options) { o.Drop, o.Dirty = noWheel, true }, 0.012, 0.018, 0.012, 0.525, false, 1},
	{"antenna, growth, load, bank, wind", func(o *demo.Options) {
		o.Nasty = demo.Nasty{AntennaHeight: 0.9, TyreGrowth: 0.01, LoadRadius: 0.006, CrownNonCircular: 0.02, Bank: 0.07, Grade: 0.03, Wind: 3}
	}, 0.006, 0.012, 0.008, 0.35, false, 1},
}

// beyond is how far a root mean square of n values may lie over its limit by
// chance, one time in a hundred.
func beyond(n int) float64 { return 1 + 2.33/math.Sqrt(2*float64(n)) }

// TestMatrix puts recordings of every kind to the truth. CORNERWRIGHT_FULL=1 runs
// all kinds over all circuits and ten seeds; without, some kinds with few seeds.
func TestMatrix(t *testing.T) {
	var all exam
	fmt.Println("| recording | laps | lap ms | bias | worst | 68, 95 % | slow gate ms | bias | worst | 68, 95 % | segment ms | bias | worst | 68, 95 % | s mm | bias | worst | 68, 95 % |")
	for k, c := range matrix {
		if !c.small && !proving.Full() {
			continue
		}
		seeds := theSeeds(7)
		n := c.seeds
		if proving.Full() || *moreSeeds > 0 {
			n = len(seeds)
		}
		t.Run(c.name, func(t *testing.T) {
			var x exam
			for ci := range demo.Circuits() {
				for i := range n {
					o := demo.DefaultOptions(ci, seeds[(k+ci+i)%len(seeds)])
					o.Laps = 7
					c.set(&o)
					r := demo.Ride(o)
					x.join(examine(r, locate(t, r, nil)))
				}
			}
			fmt.Printf("| %s | %d of %d | %v | %v | %v | %v |\n", c.name, len(x.lap.err), x.want, x.lap, x.slow, x.seg, x.s)
			lost := 0
			if c.name == "no wheel speed, lean, gyros, and dirty" {
				lost = x.want / 20 // a lap with two holes and nothing to bridge them is none
			}
			if len(x.lap.err) < x.want-lost || len(x.lap.err) > x.want {
				t.Errorf("%s: %d of %d laps", c.name, len(x.lap.err), x.want)
			}
			for _, q := range []struct {
				what  string
				a     tally
				limit float64
				apart int // values that say the same thing, as laps share gates and places a lap
			}{{"laps", x.lap, c.lap, 1}, {"slow gates", x.slow, c.slow, 3}, {"segments", x.seg, c.seg, 3}, {"s", x.s, c.way, 10}} {
				if rms := proving.RMS(q.a.err); rms > q.limit*beyond(len(q.a.err)/q.apart) {
					t.Errorf("%s, %s: rms %.4f, at most %.4f", c.name, q.what, rms, q.limit)
				}
			}
			if b := proving.Mean(x.lap.err); math.Abs(b) > 0.001+2.6*proving.RMS(x.lap.err)/float64(len(x.lap.err)) {
				t.Errorf("%s: bias %+.4f s", c.name, b)
			}
			honest(t, c.name, x)
			all.join(x)
		})
	}
	honest(t, "all recordings", all)
}

// honest asks of one kind of recording that 62 to 80 of a hundred errors lie within
// one standard error and 93 to 99 within 1.96. Chance has its part, one time in a
// hundred for each bound: values that share a gate, a lap or a hundred metres of road
// say nearly the same thing and count together.
func honest(t *testing.T, kind string, x exam) {
	t.Helper()
	for _, q := range []struct {
		what  string
		a     tally
		apart float64
	}{{"laps", x.lap, 1}, {"slow gates", x.slow, 3}, {"segments", x.seg, 3}, {"s", x.s, 10}} {
		for _, b := range []struct{ k, least, most float64 }{{1, 0.62, 0.80}, {1.96, 0.93, 0.99}} {
			got := within(q.a.z, b.k)
			chance := func(p float64) float64 { return 2.33 * math.Sqrt(p*(1-p)/(float64(len(q.a.z))/q.apart)) }
			if got < b.least-chance(b.least) || got > b.most+chance(b.most) {
				t.Errorf("%s, %s: %.1f %% of %d within %.2f standard errors, %.0f to %.0f wanted", kind, q.what, 100*got, len(q.a.z), b.k, 100*b.least, 100*b.most)
			}
		}
	}
}

// Beside the joint smoother: the naive way, a smoother that takes the GPS error
// for white, and the bound.
func TestMethods(t *testing.T) {
	var joint, plain, bound exam
	var raw []float64
	for ci := range demo.Circuits() {
		for _, seed := range someSeeds(7, 1, 10) {
			o := demo.DefaultOptions(ci, seed)
			o.Laps = 7
			r := demo.Ride(o)
			l := locate(t, r, nil)
			joint.join(examine(r, l))
			raw = append(raw, naive(r, l)...)
			for _, m := range []struct {
				opt circuit.Options
				to  *exam
			}{{circuit.Plain(), &plain}, {circuit.Knowing(o.GPSWhite, o.GPSSlow, o.GPSTau, o.LineSigma, 2.8*o.LineLength/100), &bound}} {
				l, err := circuit.Locate(proving.Recording(r), nil, m.opt)
				if err != nil || l.Circuit == nil {
					t.Fatal(err)
				}
				m.to.join(examine(r, l))
			}
		}
	}
	f := func(a tally) string { return fmt.Sprintf("%.1f", 1e3*proving.RMS(a.err)) }
	fmt.Printf("| way | lap ms | slow gate ms | segment ms | s mm |\n| naive: straight lines between raw fixes | %.1f | | | |\n", 1e3*proving.RMS(raw))
	fmt.Printf("| plain smoother | %s | %s | %s | %s |\n", f(plain.lap), f(plain.slow), f(plain.seg), f(plain.s))
	fmt.Printf("| joint smoother | %s | %s | %s | %s |\n", f(joint.lap), f(joint.slow), f(joint.seg), f(joint.s))
	fmt.Printf("| bound | %.1f | %.1f | %.1f | %.1f |\n", 1e3*bound.lap.se(), 1e3*bound.slow.se(), 1e3*bound.seg.se(), 1e3*bound.s.se())
	if a, b, c := proving.RMS(joint.lap.err), proving.RMS(plain.lap.err), proving.RMS(raw); !(a < 0.6*b && a < 0.6*c) {
		t.Errorf("joint %.4f, plain %.4f, naive %.4f", a, b, c)
	}
	if q := proving.RMS(joint.lap.err) / bound.lap.se(); q > 1.45 {
		t.Errorf("%.2f times the bound", q)
	}
}

// pairRuns locates a run, and a second one on its line, and compares the means of
// every turn's segment.
func pairRuns(t *testing.T, o demo.Options, x *tally) {
	t.Helper()
	r1 := demo.Ride(o)
	l1 := locate(t, r1, nil)
	o.Seed += 1000
	o.GPSOffset = [2]float64{1.5, -1.5}
	r2 := demo.Ride(o)
	l2 := locate(t, r2, l1.Circuit)
	c := l1.Circuit
	mean := func(r *demo.Run, l *circuit.Located, s0, s1 float64) (got, want float64) {
		a, b := gateCrossings(r, c, s0), gateCrossings(r, c, s1)
		n := 0.0
		for _, lap := range l.Laps {
			if lap.Kind != circuit.TimedLap {
				continue
			}
			base := math.Floor(l.Position.S[l.Position.Index(0.5*(lap.Start+lap.End))]/c.Line.Length) * c.Line.Length
			g0, g1 := l.Position.CrossAt(base+s0), l.Position.CrossAt(base+s1)
			for _, x := range a {
				for _, y := range b {
					if math.Abs(x-g0) < 1 && math.Abs(y-g1) < 1 {
						got += g1 - g0
						want += y - x
						n++
					}
				}
			}
		}
		return got / n, want / n
	}
	for _, turn := range c.Turns {
		s0, s1 := turn.From, turn.To
		if s1 < s0 {
			continue
		}
		g1, w1 := mean(r1, l1, s0, s1)
		g2, w2 := mean(r2, l2, s0, s1)
		x.add((g2-g1)-(w2-w1), math.Hypot(l1.MeanSegmentSE(s0, s1), l2.MeanSegmentSE(s0, s1)))
	}
}

// Two runs with GPS offsets 1.5 m apart per axis: without the removal of the
// offset each segment between gates of different heading would be biased by
// tens of milliseconds, the same on every lap.
func TestRunToRunSegments(t *testing.T) {
	for _, c := range []struct {
		name string
		set  func(o *demo.Options)
		rms  float64
	}{
		{"clean", func(o *demo.Options) {}, 0.007},
		{"dirty", func(o *demo.Options) { o.Dirty = true }, 0.007},
	} {
		var x tally
		for ci := range demo.Circuits() {
			for _, seed := range someSeeds(7, 1, 10) {
				o := demo.DefaultOptions(ci, seed)
				o.Laps = 6
				c.set(&o)
				pairRuns(t, o, &x)
			}
		}
		fmt.Printf("| two runs, %s | %d segments | %v |\n", c.name, len(x.err), x)
		if rms := proving.RMS(x.err); rms > c.rms*beyond(len(x.err)/3) {
			t.Errorf("%s: rms %.4f s", c.name, rms)
		}
		if b := proving.Mean(x.err); math.Abs(b) > 0.0015 {
			t.Errorf("%s: bias %+.4f s", c.name, b)
		}
		slack := 0.0
		if !proving.Full() {
			slack = 0.06
		}
		if a, b := within(x.z, 1), within(x.z, 1.96); a < 0.62-slack || a > 0.8+slack || b < 0.93-slack {
			t.Errorf("%s: 68 %% covers %.2f, 95 %% covers %.2f", c.name, a, b)
		}
	}
}
