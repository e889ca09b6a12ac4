package intake

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"cornerwright/internal/recording"
)

// tour is a simple ride with known truth, made without the demo's simulator:
// speed and lateral acceleration swing, position is their integral, lean is
// atan(v w/g). Rows are 20 a second for four minutes; units as the heads say.
type tour struct {
	names []string
	rows  [][]float64
}

const tourRate = 20

func newTour(seed uint64) *tour {
	r := rand.New(rand.NewPCG(seed, 4))
	t := &tour{names: []string{"Time [s]", "Latitude [deg]", "Longitude [deg]", "GPS speed [km/h]", "Front wheel speed [km/h]", "Rear wheel speed [km/h]", "Lean [deg]", "Yaw rate [deg/s]",
		"Throttle [%]", "Grip [%]", "Front brake [bar]", "Coolant [°C]", "Air temp [°C]", "Accel z [g]", "Engine speed [1/min]", "Gear", "Fork [mm]", "Accel x [m/s2]"}}
	lat, lon, heading := 47.5, 9.2, 0.7
	const dt = 1.0 / tourRate
	for i := range 240 * tourRate {
		x := float64(i) * dt
		v := 42 + 17*math.Sin(2*math.Pi*x/31)
		a := 17 * 2 * math.Pi / 31 * math.Cos(2*math.Pi*x/31)
		ay := 9 * math.Sin(2*math.Pi*x/23) // to the right
		w := ay / v
		lean := math.Atan(ay / 9.80665)
		heading += w * dt
		lat += v * math.Cos(heading) * dt / earthRadius * 180 / math.Pi
		lon += v * math.Sin(heading) * dt / earthRadius / math.Cos(lat*math.Pi/180) * 180 / math.Pi
		n := func(s float64) float64 { return s * r.NormFloat64() }
		open := math.Max(0, math.Min(100, 50+15*a))
		t.rows = append(t.rows, []float64{x, lat + n(2e-7), lon + n(2e-7), v*3.6 + n(0.1), v*3.6 + n(0.2), v*3.6*1.01 + n(0.2), lean*180/math.Pi + n(0.3), -w*math.Cos(lean)*180/math.Pi*1 + n(0.3),
			open + n(0.1), open + n(0.1), math.Max(0, -2.5*a) + n(0.02), 82 + 3*math.Sin(x/40) + n(0.1), 24 + n(0.1), 1/math.Cos(lean) + n(0.05), 4000 + 180*v + n(20), math.Floor(1 + v/12), 40 + 20*math.Sin(x/3) + n(0.5), a + n(0.1)})
	}
	return t
}

// col is the place of a column whose name begins so.
func (t *tour) col(name string) int {
	for i, n := range t.names {
		if strings.HasPrefix(n, name) {
			return i
		}
	}
	panic("no column " + name)
}

// change gives a column another unit in its head, "" to keep it, and its values
// another scale.
func (t *tour) change(name, unit string, f func(v float64, i int) float64) {
	c := t.col(name)
	if unit != "" {
		head, _, _ := strings.Cut(t.names[c], " [")
		t.names[c] = head + " [" + unit + "]"
		if unit == "-" {
			t.names[c] = head
		}
	}
	for i, r := range t.rows {
		r[c] = f(r[c], i)
	}
}

func (t *tour) drop(names ...string) {
	for _, n := range names {
		c := t.col(n)
		t.names = append(t.names[:c:c], t.names[c+1:]...)
		for i, r := range t.rows {
			t.rows[i] = append(r[:c:c], r[c+1:]...)
		}
	}
}

func (t *tour) text() []byte {
	var b strings.Builder
	b.WriteString(strings.Join(t.names, ",") + "\n")
	for _, r := range t.rows {
		for c, v := range r {
			if c > 0 {
				b.WriteByte(',')
			}
			switch {
			case v != v:
			case c == 1 || c == 2:
				fmt.Fprintf(&b, "%.7f", v)
			default:
				fmt.Fprintf(&b, "%.4f", v)
			}
		}
		b.WriteByte('\n')
	}
	return []byte(b.String())
}

func (t *tour) read(test *testing.T, m *ColumnMap) (*recording.Recording, *Result) {
	test.Helper()
	res, err := Read("tour.csv", t.text(), Options{Map: m, Workers: 1})
	if err != nil {
		test.Fatal(err)
	}
	return res.Recordings[0], res
}

// told finds the problems of a channel.
func told(rec *recording.Recording, channel string, least recording.Severity) (out []recording.Problem) {
	for _, p := range rec.Problems {
		if p.Channel == channel && (p.Severity == least || least == recording.Note) {
			out = append(out, p)
		}
	}
	return out
}

func hasMark(c *recording.Channel, kind recording.MarkKind) bool {
	for _, m := range c.Marks {
		if m.Kind == kind {
			return true
		}
	}
	return false
}
