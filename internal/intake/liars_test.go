package intake

import (
	"math"
	"strings"
	"testing"

	"cornerwright/internal/recording"
)

// A ride that tells the truth has no warning and no mark.
func TestHonestRide(t *testing.T) {
	for seed := range uint64(3) {
		rec, _ := newTour(seed).read(t, nil)
		for _, p := range rec.Problems {
			if p.Severity != recording.Note {
				t.Errorf("seed %d: %s", seed, PrintProblem("tour.csv", p))
			}
		}
		for _, c := range rec.Channels {
			if len(c.Marks) > 0 {
				t.Errorf("seed %d: %s is marked: %+v", seed, c.Name, c.Marks[0])
			}
			if !c.Known {
				t.Errorf("column %q is not known", c.From)
			}
		}
	}
}

// Latitude and longitude in each other's columns are told, with the lines that
// mend it, and nothing else is blamed for it: with them the ride is itself.
func TestExchangedPositions(t *testing.T) {
	tr := newTour(1)
	a, b := tr.col("Latitude"), tr.col("Longitude")
	tr.names[a], tr.names[b] = tr.names[b], tr.names[a]
	rec, res := tr.read(t, nil)
	faults := told(rec, recording.Latitude, recording.Fault)
	if len(faults) != 1 || !strings.Contains(faults[0].Text.String(), "exchanged") || !strings.Contains(faults[0].Mend.String(), `from = "Latitude", channel = "longitude"`) {
		t.Fatalf("not told: %+v", rec.Problems)
	}
	for _, p := range res.Problems {
		if p.Severity != recording.Note && p.Channel != recording.Latitude {
			t.Errorf("blamed too: %s", PrintProblem("tour.csv", p))
		}
	}
	m, err := ParseColumnMap("map.toml", []byte("[[column]]\nfrom = \"Latitude\"\nchannel = \"longitude\"\n[[column]]\nfrom = \"Longitude\"\nchannel = \"latitude\"\n"))
	if err != nil {
		t.Fatal(err)
	}
	rec, _ = tr.read(t, m)
	for _, p := range rec.Problems {
		if p.Severity != recording.Note {
			t.Errorf("with the map: %s", PrintProblem("tour.csv", p))
		}
	}
}

func times(k float64) func(float64, int) float64 {
	return func(v float64, _ int) float64 { return v * k }
}

// Each lie of a unit or sign is found by physics: put right and marked where it
// is beyond doubt, proposed where it is not; and the columns beside it are left
// alone. Factors are those of NIST SP 811.
func TestLyingUnits(t *testing.T) {
	const (
		right = iota // put right, marked rescaled
		doubt        // proposed, marked suspect, values as stated
		fair         // nothing said
	)
	honest, _ := newTour(1).read(t, nil)
	for _, c := range []struct {
		name, column, unit, channel string
		f                           func(float64, int) float64
		outcome                     int
		says                        string
	}{
		// Speeds: the head says one unit, the numbers are another.
		{"front km/h, is mph", "Front wheel", "", recording.FrontSpeed, times(1 / 1.609344), right, "mph"},
		{"front km/h, is m/s", "Front wheel", "", recording.FrontSpeed, times(1 / 3.6), right, "m/s"},
		{"front km/h, is knots", "Front wheel", "", recording.FrontSpeed, times(1 / 1.852), right, "kn"},
		{"front mph, is km/h", "Front wheel", "mph", recording.FrontSpeed, times(1), right, "km/h"},
		{"rear m/s, is km/h", "Rear wheel", "m/s", recording.RearSpeed, times(1), right, "km/h"},
		{"rear knots, is mph", "Rear wheel", "kn", recording.RearSpeed, times(1 / 1.609344), right, "mph"},
		{"GPS km/h, is knots", "GPS speed", "", recording.GPSSpeed, times(1 / 1.852), right, "kn"},
		{"GPS m/s, is km/h", "GPS speed", "m/s", recording.GPSSpeed, times(1), right, "km/h"},
		{"GPS mph, is m/s", "GPS speed", "mph", recording.GPSSpeed, times(1 / 3.6), right, "m/s"},
		// Circumference: proposed with the scale, never changed.
		{"front 5 % large", "Front wheel", "", recording.FrontSpeed, times(1.05), doubt, "circumference"},
		{"front 4 % small", "Front wheel", "", recording.FrontSpeed, times(0.96), doubt, "circumference"},
		{"front 2 % large", "Front wheel", "", recording.FrontSpeed, times(1.02), fair, ""},
		{"rear 6 % of slip", "Rear wheel", "", recording.RearSpeed, times(1.05), fair, ""},
		{"rear 10 % large", "Rear wheel", "", recording.RearSpeed, times(1.10), doubt, "circumference"},
		{"front by no unit", "Front wheel", "", recording.FrontSpeed, times(0.45), doubt, "no unit explains"},
		// Lean and yaw: unit and sign, against the path.
		{"lean deg, is rad", "Lean", "", recording.Lean, times(math.Pi / 180), right, "radians"},
		{"lean rad, is deg", "Lean", "rad", recording.Lean, times(1), right, "degrees"},
		{"lean left positive", "Lean", "", recording.Lean, times(-1), right, "positive to the left"},
		{"lean left positive in rad", "Lean", "", recording.Lean, times(-math.Pi / 180), right, "radians"},
		{"yaw right positive", "Yaw rate", "", recording.YawRate, times(-1), right, "positive to the right"},
		{"yaw deg/s, is rad/s", "Yaw rate", "", recording.YawRate, times(math.Pi / 180), right, "radians"},
		{"yaw rad/s, is deg/s", "Yaw rate", "rad/s", recording.YawRate, times(1), right, "degrees"},
		{"lean of another bike", "Lean", "", recording.Lean, func(_ float64, i int) float64 { return 40 * math.Sin(float64(i)/170) }, doubt, "does not follow"},
		// Shares.
		{"throttle %, is 0 to 1", "Throttle", "", recording.Throttle, times(0.01), right, "0 to 1"},
		{"throttle 0 to 1, is %", "Throttle", "ratio", recording.Throttle, times(1), right, "%"},
		{"grip 0 to 1, is %", "Grip", "ratio", recording.Grip, times(1), right, "%"},
		{"throttle to 60 %", "Throttle", "", recording.Throttle, times(0.6), fair, ""},
		// Temperatures.
		{"coolant °C, is °F", "Coolant", "", recording.Coolant, func(v float64, _ int) float64 { return v*1.8 + 32 }, right, "°F"},
		{"coolant °C, is K", "Coolant", "", recording.Coolant, func(v float64, _ int) float64 { return v + 273.15 }, right, "K"},
		{"coolant K, is °C", "Coolant", "K", recording.Coolant, times(1), right, "°C"},
		{"coolant °F, is °C", "Coolant", "°F", recording.Coolant, times(1), doubt, "°C"},
		{"coolant 112 °C", "Coolant", "", recording.Coolant, func(v float64, _ int) float64 { return v + 30 }, fair, ""},
		{"air °C, is K", "Air temp", "", recording.AirTemp, func(v float64, _ int) float64 { return v + 273.15 }, right, "K"},
		{"air °C, is °F", "Air temp", "", recording.AirTemp, func(v float64, _ int) float64 { return v*1.8 + 32 }, right, "°F"},
		{"air 42 °C", "Air temp", "", recording.AirTemp, func(v float64, _ int) float64 { return v + 18 }, fair, ""},
		// Pressures.
		{"brake bar, is kPa", "Front brake", "", recording.FrontBrake, times(100), right, "kPa"},
		{"brake bar, is psi", "Front brake", "", recording.FrontBrake, times(14.5037738), doubt, "psi"},
		{"brake psi, is bar", "Front brake", "psi", recording.FrontBrake, times(1), doubt, "bar"},
		{"brake to 20 bar", "Front brake", "", recording.FrontBrake, times(2.3), fair, ""},
		// Gravity.
		{"accel g, is m/s2", "Accel z", "", recording.AccelZ, times(9.80665), right, "m/s2"},
		{"accel m/s2, is g", "Accel z", "m/s2", recording.AccelZ, times(1), right, "g"},
		{"accel x m/s2, is g", "Accel x", "", recording.AccelX, times(1 / 9.80665), right, "are g"},
		{"accel x g, is m/s2", "Accel x", "g", recording.AccelX, times(1), right, "are m/s2"},
		{"accel x backward positive", "Accel x", "", recording.AccelX, times(-1), right, "forward is negative"},
		{"accel x 20 % large", "Accel x", "", recording.AccelX, times(1.2), fair, ""},
		// Engine.
		{"rpm in thousands", "Engine speed", "", recording.RPM, times(0.001), doubt, "1000/min"},
		{"rpm in 1/s", "Engine speed", "", recording.RPM, times(1.0 / 60), doubt, "1/s"},
		{"rpm to 6500", "Engine speed", "", recording.RPM, times(0.45), fair, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			liar := newTour(1)
			liar.change(c.column, c.unit, c.f)
			rec, res := liar.read(t, nil)
			ch := rec.Channel(c.channel)
			if ch == nil {
				t.Fatalf("no channel %s: %v", c.channel, rec.Problems)
			}
			problems := told(rec, c.channel, recording.Note)
			said := ""
			for _, p := range problems {
				said += string(p.Severity) + ": " + p.Text.String() + " / " + p.Mend.String() + "\n"
			}
			if c.outcome != fair && !strings.Contains(said, c.says) {
				t.Errorf("says %q, want %q in it", said, c.says)
			}
			rescaled, suspect := hasMark(ch, recording.Rescaled), hasMark(ch, recording.Suspect)
			if rescaled != (c.outcome == right) || suspect != (c.outcome == doubt) {
				t.Errorf("rescaled %v, suspect %v: %s", rescaled, suspect, said)
			}
			if c.outcome == fair && len(problems) > 0 {
				t.Errorf("says %s", said)
			}
			if c.outcome == right {
				want := honest.Channel(c.channel)
				worst := 0.0
				for i, v := range ch.Value {
					worst = math.Max(worst, math.Abs(v-want.Value[i]))
				}
				span := quantile(absOf(want.Value), 0.99)
				if worst > 2e-3*span {
					t.Errorf("put right to within %g of %g", worst, span)
				}
			}
			// The liar alone is touched, but for a front speed that others are held against.
			for _, o := range rec.Channels {
				if o.Name != c.channel && (hasMark(o, recording.Rescaled) || hasMark(o, recording.Suspect)) && !(c.channel == recording.AccelZ && o.Name == recording.AccelX) {
					t.Errorf("%s is marked too: %+v", o.Name, o.Marks)
				}
			}
			if c.outcome == right { // the printed map reads the file to the same values
				again(t, liar, rec, res)
			}
		})
	}
}

// again reads a ride with the column map that its first reading printed: the
// values stay.
func again(t *testing.T, tr *tour, rec *recording.Recording, res *Result) {
	t.Helper()
	m, err := ParseColumnMap("printed.toml", []byte(res.Map))
	if err != nil {
		t.Fatalf("the printed map cannot be read: %v\n%s", err, res.Map)
	}
	second, _ := tr.read(t, m)
	if len(second.Channels) != len(rec.Channels) {
		t.Fatalf("%d channels with the printed map, %d without", len(second.Channels), len(rec.Channels))
	}
	for i, c := range rec.Channels {
		d := second.Channels[i]
		if c.Name != d.Name || len(c.Value) != len(d.Value) {
			t.Fatalf("%s becomes %s, %d values %d", c.Name, d.Name, len(c.Value), len(d.Value))
		}
		for j := range c.Value {
			if math.Abs(c.Value[j]-d.Value[j]) > 1e-9*math.Max(1, math.Abs(c.Value[j])) {
				t.Fatalf("%s reads as %v with the printed map, %v without\n%s", c.Name, d.Value[j], c.Value[j], res.Map)
			}
		}
	}
}

// A unit that a column map states is never changed against it; what speaks
// against it is said.
func TestMapIsObeyed(t *testing.T) {
	tr := newTour(1)
	tr.change("Front wheel", "", times(1/1.609344))
	m := &ColumnMap{Columns: []MapColumn{{From: "Front wheel speed", Channel: recording.FrontSpeed, Unit: "km/h"}}}
	rec, _ := tr.read(t, m)
	c := rec.Channel(recording.FrontSpeed)
	if hasMark(c, recording.Rescaled) || !hasMark(c, recording.Suspect) {
		t.Errorf("marks %+v", c.Marks)
	}
	if p := told(rec, recording.FrontSpeed, recording.Warning); len(p) != 1 || !strings.Contains(p[0].Text.String(), "is obeyed") {
		t.Errorf("problems %+v", p)
	}
	m.Columns[0].Unit = "mph"
	if rec, _ = tr.read(t, m); len(rec.Channel(recording.FrontSpeed).Marks) > 0 {
		t.Errorf("the right unit is doubted: %+v", rec.Channel(recording.FrontSpeed).Marks)
	}
}

// Without positions a wheel speed is held against GPS speed.
func TestLyingSpeedWithoutPath(t *testing.T) {
	for unit, k := range map[string]float64{"mph": 1 / 1.609344, "m/s": 1 / 3.6, "kn": 1 / 1.852} {
		tr := newTour(2)
		tr.change("Rear wheel", "", times(k))
		tr.drop("Latitude", "Longitude")
		rec, _ := tr.read(t, nil)
		if c := rec.Channel(recording.RearSpeed); !hasMark(c, recording.Rescaled) || c.SourceUnit != unit {
			t.Errorf("%s: unit %q, marks %+v", unit, c.SourceUnit, c.Marks)
		}
	}
}
