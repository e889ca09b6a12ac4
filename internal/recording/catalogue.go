package recording

import (
	"math"

	"cornerwright/internal/unit"
)

// Describe states what a canonical channel measures: its quantity, the unit
// people read it in, and the range outside which a value is no measurement on a
// track motorcycle (SI; common practice).
type Describe struct {
	Name     string
	Quantity unit.Quantity
	Display  unit.Unit
	Lo, Hi   float64
	Slow     bool // changes over seconds: temperatures, states
	State    bool // whole numbers: a state or a count, never interpolated
}

var catalogue = func() []Describe {
	deg, kmh := unit.Must("°"), unit.Must("km/h")
	degs, bar, pct := unit.Must("°/s"), unit.Must("bar"), unit.Must("%")
	ms2, mm, c, rpm := unit.Must("m/s2"), unit.Must("mm"), unit.Must("°C"), unit.Must("1/min")
	d := math.Pi / 180
	return []Describe{
		{Latitude, unit.Angle, deg, -math.Pi / 2, math.Pi / 2, false, false},
		{Longitude, unit.Angle, deg, -math.Pi, math.Pi, false, false},
		{Altitude, unit.Length, unit.Must("m"), -500, 5000, false, false},
		{GPSSpeed, unit.Speed, kmh, -0.5, 115, false, false},
		{GPSHeading, unit.Angle, deg, -2 * math.Pi, 4 * math.Pi, false, false},
		{FrontSpeed, unit.Speed, kmh, -0.5, 115, false, false},
		{RearSpeed, unit.Speed, kmh, -0.5, 125, false, false},
		{RPM, unit.AngularRate, rpm, 0, 20000 * 2 * math.Pi / 60, false, false},
		{Gear, unit.None, unit.Unit{}, -1, 8, false, true},
		{Grip, unit.Ratio, pct, -0.05, 1.1, false, false},
		{Throttle, unit.Ratio, pct, -0.05, 1.1, false, false},
		{Cut, unit.Ratio, pct, -0.02, 1.02, false, false},
		{FrontBrake, unit.Pressure, bar, -2e5, 4e6, false, false},
		{RearBrake, unit.Pressure, bar, -2e5, 6e6, false, false},
		{Clutch, unit.Ratio, pct, -0.1, 1.1, false, false},
		{Lean, unit.Angle, deg, -75 * d, 75 * d, false, false},
		{RollRate, unit.AngularRate, degs, -400 * d, 400 * d, false, false},
		{PitchRate, unit.AngularRate, degs, -400 * d, 400 * d, false, false},
		{YawRate, unit.AngularRate, degs, -300 * d, 300 * d, false, false},
		{AccelX, unit.Acceleration, ms2, -80, 80, false, false},
		{AccelY, unit.Acceleration, ms2, -80, 80, false, false},
		{AccelZ, unit.Acceleration, ms2, -80, 120, false, false},
		{Fork, unit.Length, mm, -0.02, 0.2, false, false},
		{Shock, unit.Length, mm, -0.02, 0.2, false, false},
		{Steer, unit.Angle, deg, -45 * d, 45 * d, false, false},
		{Coolant, unit.Temperature, c, 233, 423, true, false},
		{AirTemp, unit.Temperature, c, 233, 353, true, false},
		{Lambda, unit.Ratio, unit.Must("ratio"), 0.5, 4, false, false},
		{Slot, unit.None, unit.Unit{}, 0, 25, true, true},
		{LapMarker, unit.None, unit.Unit{}, -1, 1e6, false, true},
	}
}()

var byName = func() map[string]*Describe {
	m := map[string]*Describe{}
	for i := range catalogue {
		m[catalogue[i].Name] = &catalogue[i]
	}
	return m
}()

// Catalogue returns the canonical channels in their usual order. The slice is
// shared: read only.
func Catalogue() []Describe { return catalogue }

// Of returns the description of a canonical channel; false for any other name.
func Of(name string) (Describe, bool) {
	d, ok := byName[name]
	if !ok {
		return Describe{}, false
	}
	return *d, true
}

// Display returns the unit in which people read the channel: the usual one of a
// canonical channel, else the SI unit it is kept in.
func (c *Channel) Display() unit.Unit {
	if d, ok := byName[c.Name]; ok {
		return d.Display
	}
	u, err := unit.Parse(c.Unit)
	if err != nil {
		return unit.Unit{Symbol: c.Unit}
	}
	return u
}
