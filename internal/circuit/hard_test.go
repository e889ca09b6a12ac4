package circuit_test

import (
	"math"
	"strings"
	"testing"

	"cornerwright/internal/circuit"
	"cornerwright/internal/demo"
	"cornerwright/internal/proving"
	"cornerwright/internal/recording"
)

func run(ci int, seed uint64, set func(o *demo.Options)) *demo.Run {
	o := demo.DefaultOptions(ci, seed)
	o.Laps = 4
	if set != nil {
		set(&o)
	}
	return demo.Ride(o)
}

// part keeps the samples of a recording within a span.
func part(rec *recording.Recording, from, to float64) *recording.Recording {
	out := *rec
	out.Channels = nil
	for _, c := range rec.Channels {
		k := *c
		k.Time, k.Value = nil, nil
		for i, t := range c.Time {
			if t >= from && t <= to {
				k.Time, k.Value = append(k.Time, t), append(k.Value, c.Value[i])
			}
		}
		out.Channels = append(out.Channels, &k)
	}
	return &out
}

func TestLapMarker(t *testing.T) {
	r := run(0, 3, func(o *demo.Options) { o.LapMarker = true })
	l := locate(t, r, nil)
	n := 0
	for _, lap := range l.Laps {
		if lap.Kind != circuit.TimedLap {
			continue
		}
		for _, w := range r.Truth.Laps {
			if w.Kind == demo.TimedLap && math.Abs(w.Start-lap.Start) < 1 {
				n++
				// A sample's own limit: 10 ms at either end.
				if math.Abs(lap.Time()-w.Time) > 0.0101 {
					t.Errorf("lap %d: %.4f, truth %.4f", lap.Number, lap.Time(), w.Time)
				}
			}
		}
	}
	if n != 4 {
		t.Errorf("%d laps matched", n)
	}
}

func TestTwoOutingsInOneFile(t *testing.T) {
	r := run(1, 2, func(o *demo.Options) { o.Outings, o.Laps = 2, 6 })
	parts := circuit.SplitRuns(proving.Recording(r))
	if len(parts) != 2 {
		t.Fatalf("%d runs", len(parts))
	}
	laps := 0
	for _, p := range parts {
		l, err := circuit.Locate(p, nil, circuit.Options{})
		if err != nil {
			t.Fatal(err)
		}
		for _, lap := range l.Laps {
			if lap.Kind == circuit.TimedLap {
				laps++
			}
		}
	}
	if laps != 6 {
		t.Errorf("%d timed laps in both", laps)
	}
}

func TestStartsAndEndsMidLap(t *testing.T) {
	r := run(3, 2, func(o *demo.Options) { o.NoOutLap, o.NoInLap = true, true })
	l := locate(t, r, nil)
	first, last := l.Laps[0], l.Laps[len(l.Laps)-1]
	if first.Kind == circuit.TimedLap || last.Kind == circuit.TimedLap {
		t.Errorf("partial laps count as timed: %s, %s", first.Kind, last.Kind)
	}
}

func TestRecogniseCircuits(t *testing.T) {
	var known []*circuit.Circuit
	for ci := range demo.Circuits() {
		c := locate(t, run(ci, 1, nil), nil).Circuit
		c.Name = demo.Circuits()[ci].Name
		known = append(known, c)
	}
	for ci, want := range known {
		got, why := circuit.Recognise(proving.Recording(run(ci, 9, nil)), known)
		if got != want {
			t.Errorf("%s: recognised %v (%s)", want.Name, got, why)
		}
		others := append(append([]*circuit.Circuit(nil), known[:ci]...), known[ci+1:]...)
		if got, why := circuit.Recognise(proving.Recording(run(ci, 9, nil)), others); got != nil || why == "" {
			t.Errorf("%s: taken for %s", want.Name, got.Name)
		}
	}
	// The other way round is another circuit.
	rec := proving.Recording(run(0, 1, nil))
	for _, c := range rec.Channels {
		n := len(c.Time)
		v := make([]float64, n)
		for i := range v {
			v[i] = c.Value[n-1-i]
			if c.Name == recording.GPSHeading {
				v[i] += math.Pi
			}
		}
		c.Value = v
	}
	if got, why := circuit.Recognise(rec, known[:1]); got != nil || !strings.Contains(why.String(), "other way round") {
		t.Errorf("ridden backwards: %v, %s", got != nil, why)
	}
}

func TestRefineKeepsPlaces(t *testing.T) {
	first := locate(t, run(0, 1, nil), nil)
	second := locate(t, run(0, 2, nil), first.Circuit)
	c := first.Circuit.Refine(second, 4)
	if c.Version != 2 || first.Circuit.Version != 1 {
		t.Fatalf("versions %d, %d", first.Circuit.Version, c.Version)
	}
	if len(c.Turns) != len(first.Circuit.Turns) {
		t.Error("turns changed")
	}
	worst := 0.0
	for s := 0.0; s < first.Circuit.Line.Length; s += 25 {
		d := math.Abs(math.Remainder(c.Reproject(s, first.Circuit)-s, c.Line.Length))
		worst = math.Max(worst, d)
	}
	if worst > 3 {
		t.Errorf("places move by up to %.1f m", worst)
	}
}

func TestPlacesAndOffsets(t *testing.T) {
	var along, across []float64
	for ci := range demo.Circuits() {
		r := run(ci, 4, nil)
		l := locate(t, r, nil)
		p := l.Position
		f := circuit.Frame{Lat: r.Circuit.Latitude * math.Pi / 180, Lon: r.Circuit.Longitude * math.Pi / 180}
		var a, c []float64
		for _, lap := range l.Laps {
			if lap.Kind != circuit.TimedLap {
				continue
			}
			for i := p.Index(lap.Start); i < p.Index(lap.End); i += 37 {
				x, y, h, _ := l.Circuit.Line.At(p.S[i])
				lat, lon := l.Circuit.Frame.LatLon(x, y)
				gx, gy, _ := f.ENU(lat, lon, l.Circuit.Frame.Height)
				j := int(math.Round(p.Time[i] / 0.01))
				if j >= len(r.Truth.X) || math.Abs(r.Truth.Time[j]-p.Time[i]) > 0.006 {
					continue
				}
				sin, cos := math.Sincos(h)
				dx, dy := r.Truth.X[j]-gx, r.Truth.Y[j]-gy
				a = append(a, dx*sin+dy*cos)
				c = append(c, dx*cos-dy*sin-p.Offset[i])
			}
		}
		// The run's own GPS offset is in the line: take it off along each axis.
		along = append(along, a...)
		across = append(across, c...)
	}
	t.Logf("along %.2f m, across %.2f m root mean square, run offset included", proving.RMS(along), proving.RMS(across))
	if proving.RMS(along) > 1 || proving.RMS(across) > 1 {
		t.Error("places are further from the truth than the GPS itself")
	}
}

// The rider's offset against the truth, the run's own GPS offset taken off:
// differences between laps are what it is for.
func TestOffsets(t *testing.T) {
	var z []float64
	var errs []float64
	for ci := range demo.Circuits() {
		r := run(ci, 6, func(o *demo.Options) { o.Laps = 5 })
		l := locate(t, r, nil)
		p := l.Position
		var timed []circuit.Lap
		for _, lap := range l.Laps {
			if lap.Kind == circuit.TimedLap {
				timed = append(timed, lap)
			}
		}
		for s := 50.0; s < l.Circuit.Line.Length; s += 150 {
			var e, se []float64
			for _, lap := range timed {
				base := math.Floor(p.S[p.Index(0.5*(lap.Start+lap.End))]/l.Circuit.Line.Length) * l.Circuit.Line.Length
				i := p.Index(p.CrossAt(base + s))
				j := int(math.Round((p.Time[i] - r.Truth.Time[0]) / 0.01))
				if j >= len(r.Truth.Offset) || math.Abs(r.Truth.Time[j]-p.Time[i]) > 0.006 {
					continue
				}
				e, se = append(e, p.Offset[i]-r.Truth.Offset[j]), append(se, p.OffsetSE[i])
			}
			m := proving.Mean(e)
			for k := range e {
				f := math.Sqrt(1 - 1/float64(len(e)))
				errs = append(errs, e[k]-m)
				z = append(z, math.Abs(e[k]-m)/(se[k]*f))
			}
			if o := p.MedianOffset(l.Circuit, s, timed); o.Why != "" || o.Laps < 3 || !(o.SE > 0) {
				t.Errorf("%s at %.0f m: %+v", r.Circuit.Name, s, o)
			}
			if o := p.MedianOffset(l.Circuit, s, timed[:2]); o.Why == "" || !math.IsNaN(o.Median) {
				t.Errorf("two laps show an offset: %+v", o)
			}
		}
	}
	t.Logf("offset between laps of a run: rms %.2f m, 68 %% covers %.0f, 95 %% covers %.0f", proving.RMS(errs), 100*within(z, 1), 100*within(z, 1.96))
	if proving.RMS(errs) > 0.4 || within(z, 1.96) < 0.93 || within(z, 1) < 0.62 {
		t.Error("the offset or its standard error is wrong")
	}
}

// An antenna on the tail leans to the inside: with its height given the line lies
// where the tyres ran.
func TestAntennaHeight(t *testing.T) {
	var with, without []float64
	for ci := range demo.Circuits() {
		r := run(ci, 8, func(o *demo.Options) { o.Nasty.AntennaHeight, o.GPSSlow = 0.9, 0.05 })
		for pass, h := range []float64{0, 0.9} {
			l, err := circuit.Locate(proving.Recording(r), nil, circuit.Options{AntennaHeight: h})
			if err != nil || l.Circuit == nil {
				t.Fatal(err)
			}
			f := circuit.Frame{Lat: r.Circuit.Latitude * math.Pi / 180, Lon: r.Circuit.Longitude * math.Pi / 180}
			for _, turn := range l.Circuit.Turns {
				if turn.Kink {
					continue
				}
				x, y, hd, _ := l.Circuit.Line.At(turn.Apex)
				lat, lon := l.Circuit.Frame.LatLon(x, y)
				gx, gy, _ := f.ENU(lat, lon, l.Circuit.Frame.Height)
				var d []float64 // m of the tyres to the outside of the line
				sin, cos := math.Sincos(hd)
				for _, cr := range gateCrossings(r, l.Circuit, turn.Apex) {
					j := int(math.Round((cr - r.Truth.Time[0]) / 0.01))
					a := (r.Truth.X[j]-gx)*cos - (r.Truth.Y[j]-gy)*sin
					if turn.Direction == circuit.Right {
						a = -a
					}
					d = append(d, a)
				}
				if pass == 0 {
					without = append(without, proving.Mean(d))
				} else {
					with = append(with, proving.Mean(d))
				}
			}
		}
	}
	t.Logf("tyres outside the line at apexes: %.2f m, with the height %.2f m", proving.Mean(without), proving.Mean(with))
	if !(proving.Mean(without) > 0.4) || math.Abs(proving.Mean(with)) > 0.15 {
		t.Error("the antenna is not brought down to the tyres")
	}
}

func TestEdits(t *testing.T) {
	c := locate(t, run(0, 1, nil), nil).Circuit
	file := string(c.TOML())
	e, err := circuit.ParseFile("c.toml", []byte(file))
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Apply(e); err != nil {
		t.Fatal(err)
	}
	if len(e.Turn) != len(c.Turns) {
		t.Errorf("%d of %d turns come back from the file", len(e.Turn), len(c.Turns))
	}
	for _, bad := range []struct{ text, want string }{
		{"", "no name"},
		{"name = \"x\"\ngait = 3\n", `nearest key is "gate"`},
		{"name = \"x\"\n[gate]\nlat_deg = 95\nlon_deg = 1\n", "no place"},
		{"name = \"x\"\n[gate]\nlat_deg = \"north\"\n", "c.toml:3"},
	} {
		_, err := circuit.ParseFile("c.toml", []byte(bad.text))
		if err == nil || !strings.Contains(err.Error(), bad.want) {
			t.Errorf("%q: %v", bad.text, err)
		}
	}
}
