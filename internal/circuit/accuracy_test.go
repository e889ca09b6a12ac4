package circuit_test

import (
	"flag"
	"math"
	"testing"

	"cornerwright/internal/circuit"
	"cornerwright/internal/demo"
	"cornerwright/internal/proving"
	"cornerwright/internal/recording"
)

// gateCrossings are the true instants at which the bike passes the plane of the
// located gate: the truth knows the path, the gate is in earth coordinates.
func gateCrossings(r *demo.Run, c *circuit.Circuit, s float64) []float64 {
	x0, y0, h, _ := c.Line.At(s)
	f := circuit.Frame{Lat: r.Circuit.Latitude * math.Pi / 180, Lon: r.Circuit.Longitude * math.Pi / 180}
	lat, lon := c.Frame.LatLon(x0, y0)
	gx, gy, _ := f.ENU(lat, lon, c.Frame.Height)
	return proving.Passages(&r.Truth, gx, gy, h)
}

func within(z []float64, k float64) float64 {
	n := 0
	for _, v := range z {
		if v < k {
			n++
		}
	}
	return float64(n) / float64(len(z))
}

func locate(t *testing.T, r *demo.Run, known *circuit.Circuit) *circuit.Located {
	t.Helper()
	l, err := circuit.Locate(proving.Recording(r), known, circuit.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if l.Circuit == nil {
		t.Fatalf("%s: %v", r.Circuit.Name, l.Problems)
	}
	return l
}

func TestTurns(t *testing.T) {
	for ci := range demo.Circuits() {
		for _, seed := range proving.Seeds() {
			o := demo.DefaultOptions(ci, seed)
			o.Laps = 5
			r := demo.Ride(o)
			l := locate(t, r, nil)
			if len(l.Circuit.Turns) != len(r.Truth.Turns) {
				t.Errorf("%s seed %d: %d turns, truth %d", r.Circuit.Name, seed, len(l.Circuit.Turns), len(r.Truth.Turns))
				continue
			}
			worst := 0.0
			f := circuit.Frame{Lat: r.Circuit.Latitude * math.Pi / 180, Lon: r.Circuit.Longitude * math.Pi / 180}
			for _, x := range l.Circuit.Turns {
				px, py, _, _ := l.Circuit.Line.At(x.Apex)
				lat, lon := l.Circuit.Frame.LatLon(px, py)
				gx, gy, _ := f.ENU(lat, lon, l.Circuit.Frame.Height)
				best, dir := 1e9, 0
				for _, y := range r.Truth.Turns {
					for s := y.ApexSpan[0]; s <= y.ApexSpan[1]; s++ {
						tx, ty, _ := r.Circuit.Point(s)
						if d := math.Hypot(tx-gx, ty-gy); d < best {
							best, dir = d, y.Direction
						}
					}
				}
				worst = math.Max(worst, best)
				if (dir > 0) != (x.Direction == circuit.Right) {
					t.Errorf("%s turn %d: direction", r.Circuit.Name, x.Number)
				}
				if best > 10 {
					t.Errorf("%s seed %d turn %d: apex %.1f m off", r.Circuit.Name, seed, x.Number, best)
				}
			}
		}
	}
}

func TestPhases(t *testing.T) {
	var brake, pick, full []float64
	missB, missP := 0, 0
	for ci := range demo.Circuits() {
		for _, seed := range proving.Seeds() {
			o := demo.DefaultOptions(ci, seed)
			o.Laps = 5
			r := demo.Ride(o)
			rec := proving.Recording(r)
			l := locate(t, r, nil)
			grid := func(n string) []float64 {
				ch := rec.Channel(n)
				out := make([]float64, len(l.Position.Time))
				for i, q := range l.Position.Time {
					out[i] = ch.At(q)
				}
				return out
			}
			ps := circuit.Passes(l.Circuit, l.Position, l.Laps, circuit.Signals{Grip: grid(recording.Grip), Brake: grid(recording.FrontBrake)})
			near := func(v float64, get func(demo.Pass) float64) float64 {
				best := math.Inf(1)
				for _, p := range r.Truth.Passes {
					if x := get(p); !math.IsNaN(x) && math.Abs(x-v) < math.Abs(best) {
						best = v - x
					}
				}
				return best
			}
			for _, p := range ps {
				if !p.Whole {
					continue
				}
				if !math.IsNaN(p.Brake) {
					if e := near(p.Brake, func(q demo.Pass) float64 { return q.BrakeOn }); math.Abs(e) < 0.5 {
						brake = append(brake, e)
					} else {
						missB++
					}
				}
				if !math.IsNaN(p.Pickup) {
					if e := near(p.Pickup, func(q demo.Pass) float64 { return q.PickUp }); math.Abs(e) < 0.5 {
						pick = append(pick, e)
					} else {
						// In a double apex the rider opens between the two and closes again: the
						// first opening is the pick-up here, the last one in the truth's list.
						missP++
						i := int(math.Round((p.Pickup - r.Truth.Time[0]) / 0.01))
						opened := math.Inf(1)
						for k := max(1, i-30); k < min(i+30, len(r.Truth.Grip)); k++ {
							if r.Truth.Grip[k-1] <= 0.03 && r.Truth.Grip[k] > 0.03 {
								opened = math.Min(opened, math.Abs(r.Truth.Time[k]-p.Pickup))
							}
						}
						if opened > 0.05 || p.Reopenings == 0 {
							t.Errorf("%s turn %d lap %d: a pick-up %.2f s from any opening, %d re-openings", r.Circuit.Name, p.Turn, p.Lap, opened, p.Reopenings)
						}
					}
				}
				if !math.IsNaN(p.FullThrottle) {
					if e := near(p.FullThrottle, func(q demo.Pass) float64 { return q.FullThrottle }); math.Abs(e) < 0.5 {
						full = append(full, e)
					}
				}
			}
		}
	}
	ok := func(e []float64) float64 {
		n := 0
		for _, v := range e {
			if math.Abs(v) < 0.05 {
				n++
			}
		}
		return float64(n) / float64(len(e))
	}
	t.Logf("brake %d (%d elsewhere) %.0f %% within 0.05 s; pick-up %d (%d first of two openings) %.0f %%; full %d %.0f %%", len(brake), missB, 100*ok(brake), len(pick), missP, 100*ok(pick), len(full), 100*ok(full))
	if ok(brake) < 0.9 || ok(pick) < 0.9 || ok(full) < 0.9 {
		t.Error("instants further than 0.05 s from the truth in more than a tenth of the passes")
	}
	if float64(missB) > 0.1*float64(len(brake)) {
		t.Errorf("%d brake points that nobody made", missB)
	}
}

// The GPS delay, where speed and position are equally old and where the receiver
// filters its speed for another 0.15 s.
func TestLatency(t *testing.T) {
	for _, c := range []struct {
		name  string
		set   func(o *demo.Options)
		limit float64 // s
	}{
		{"10 Hz", func(o *demo.Options) {}, 0.005},
		{"5 Hz, 0.23 s", func(o *demo.Options) { o.GPSRate, o.GPSLatency = 5, 0.23 }, 0.005},
		{"20 Hz, 0.04 s", func(o *demo.Options) { o.GPSRate, o.GPSLatency = 20, 0.04 }, 0.005},
		{"correlated GPS speed", func(o *demo.Options) { o.GPSSpeedSlow = 0.1 }, 0.009},
		{"antenna on the tail", func(o *demo.Options) { o.Nasty.AntennaHeight = 0.9 }, 0.005},
		{"tyres grow", func(o *demo.Options) { o.Nasty.TyreGrowth = 0.01 }, 0.005},
		{"tyres sink under load", func(o *demo.Options) { o.Nasty.LoadRadius = 0.006 }, 0.005},
		{"both, crown, bank, wind, antenna", func(o *demo.Options) {
			o.Nasty = demo.Nasty{AntennaHeight: 0.9, TyreGrowth: 0.01, LoadRadius: 0.006, CrownNonCircular: 0.02, Bank: 0.07, Grade: 0.03, Wind: 3}
		}, 0.006},
		{"speed filtered", func(o *demo.Options) { o.Nasty.GPSSpeedLag = 0.15 }, 0.012},
		{"dirty", func(o *demo.Options) { o.Dirty = true }, 0.006},
		// Steps of the wheel speed pass for acceleration: far from the aim, told in docs.
		{"48 teeth", func(o *demo.Options) { o.Nasty.WheelPulses = 48 }, 0.012},
		{"12 teeth", func(o *demo.Options) { o.Nasty.WheelPulses = 12 }, 0.025},
	} {
		t.Run(c.name, func(t *testing.T) {
			var errs, z []float64
			for ci := range demo.Circuits() {
				for _, seed := range someSeeds(0, 1, 3) {
					o := demo.DefaultOptions(ci, seed)
					o.Laps = 5
					c.set(&o)
					r := demo.Ride(o)
					p := locate(t, r, nil).Position
					e := p.Latency - r.Truth.GPSLatency
					errs, z = append(errs, e), append(z, math.Abs(e)/p.LatencySE)
				}
			}
			t.Logf("%s: latency rms %.1f ms, worst %.1f ms; mean %+.1f ms; inside one SE %.0f %%, 1.96 SE %.0f %%", c.name, proving.RMS(errs)*1e3, proving.Worst(errs)*1e3, proving.Mean(errs)*1e3, 100*within(z, 1), 100*within(z, 1.96))
			if w := math.Abs(proving.Worst(errs)); w > c.limit {
				t.Errorf("latency wrong by %.4f s", w)
			}
		})
	}
}

var (
	firstSeed = flag.Uint64("seed", 0, "first seed; 0: the scored ones")
	moreSeeds = flag.Int("seeds", 0, "how many seeds; 0: as many as the test takes")
)

// theSeeds are the seeds of an accuracy test, plus its own number: the scored ones, or
// those that were asked for.
func theSeeds(own uint64) []uint64 {
	out := proving.Seeds()
	if *moreSeeds > 0 {
		out = make([]uint64, *moreSeeds)
	}
	for i := range out {
		if *firstSeed > 0 || *moreSeeds > 0 {
			out[i] = *firstSeed + uint64(37*i)
		}
		out[i] += own
	}
	return out
}

// someSeeds are few of them, or full with CORNERWRIGHT_FULL=1.
func someSeeds(own uint64, few, full int) []uint64 {
	all := theSeeds(own)
	switch {
	case *moreSeeds > 0:
		return all
	case proving.Full():
		return all[:full]
	}
	return all[:few]
}
