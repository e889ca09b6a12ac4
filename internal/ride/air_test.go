package ride

import (
	"math"
	"strings"
	"testing"

	"cornerwright/internal/bike"
	"cornerwright/internal/demo"
	"cornerwright/internal/proving"
)

// TestAirOfTheDay rides at 285 m and more above the sea on a day whose air is as
// dense as the simulator's, and on a hot one: with the density left out of the bike
// file the first must give the torque of a file that states it, and the second that
// of a file that states the lighter air.
func TestAirOfTheDay(t *testing.T) {
	mean := func(ps []Pull) float64 {
		var sum, sec float64
		for _, p := range ps {
			sum, sec = sum+p.Torque*p.Seconds, sec+p.Seconds
		}
		return sum / sec
	}
	var airs [2][]Pull
	for k, celsius := range []float64{9, 36} {
		o := demo.DefaultOptions(1, 4711)
		o.Laps, o.AirTemp = 3, celsius
		run := demo.Ride(o)
		b, err := bike.Parse("demo.toml", run.Bike.TOML())
		if err != nil {
			t.Fatal(err)
		}
		torque := func(density float64) *Ride {
			c := *b
			c.Air.Density = density
			r, err := Analyse(proving.Recording(run), &c, nil, Options{})
			if err != nil {
				t.Fatal(err)
			}
			if c.Air.Density != density {
				t.Error("the bike itself was changed")
			}
			return r
		}
		r := torque(0)
		// Moist air by the gas law at the height's pressure of ISO 2533.
		want := 100 * 1013.25 * math.Pow(1-0.0065*r.Air.Height/288.15, 5.25588) / (287.05 * (celsius + 273.15))
		if math.Abs(r.Air.Temperature-celsius-273.15) > 0.6 || r.Air.Height < 270 || r.Air.Height > 320 || r.Air.Density > want || r.Air.Density < 0.985*want {
			t.Errorf("%g degrees: air %+v, dry %.3f kg/m3", celsius, r.Air, want)
		}
		same := mean(torque(r.Air.Density).Pulls)
		if got := mean(r.Pulls); math.Abs(got-same) > 1e-9 {
			t.Errorf("%g degrees: %.3f N.m, %.3f with the density stated", celsius, got, same)
		}
		stated := mean(torque(b.Air.Density).Pulls)
		switch off := mean(r.Pulls)/stated - 1; {
		case k == 0 && math.Abs(off) > 0.004:
			t.Errorf("air like the world's: torque off by %.2f %%", 100*off)
		case k == 1 && (off > -0.01 || off < -0.06):
			t.Errorf("lighter air: torque off by %.2f %%", 100*off)
		}
		airs[k] = r.Pulls
	}
	// ISO 1585: power falls with the 0.6th power of the absolute temperature.
	if x, want := airShare(airs[0], airs[1]), math.Pow(282.0/309, 0.6)-1; math.Abs(x-want) > 0.003 {
		t.Errorf("an engine gives %+.3f in the hot air, about %+.3f by temperature alone", x, want)
	}
	notes := strings.Join(CompareTorque(airs[0], airs[1], 8000, 12000, 40).Notes, "; ")
	if !strings.Contains(notes, "less in the air of the second run") {
		t.Errorf("the comparison does not tell what the air does: %s", notes)
	}
}
