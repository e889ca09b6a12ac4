package ride

import (
	"math"

	"cornerwright/internal/bike"
	"cornerwright/internal/recording"
	"cornerwright/internal/signal"
)

// Air is the air that a run was ridden in: what its density does to drag and what
// it lets an engine give. Nought where no channel tells the temperature.
type Air struct {
	Temperature float64 // K, median on the move
	Height      float64 // m, by GPS
	Density     float64 // kg/m3
	PowerFactor float64 // brings the engine's power to 99 kPa dry and 298 K (ISO 1585)
}

// usualVapour is the pressure of water vapour taken, Pa, which no channel tells: that
// of the reference air of power standards (from memory). It changes little over a
// day; a kilopascal more or less moves density by 0.4 % and power by 1.2 %.
const usualVapour = 1000.0

// weather finds the air of the run and has drag reckoned with it, where the bike
// file gives no density. The pressure is that of the standard atmosphere at the
// height by GPS: that of the day is mostly within two hundredths of it (from memory).
func (w *work) weather() {
	c := w.rec.Channel(recording.AirTemp)
	if c == nil {
		return
	}
	// Standing, a bike heats the air at its own sensor.
	moving := make([]float64, 0, len(c.Value))
	for i, t := range c.Time {
		if k := w.pos.Index(t); w.pos.Speed[k] > 15 {
			moving = append(moving, c.Value[i])
		}
	}
	t := signal.Median(moving)
	if len(moving) == 0 || !(t > 250 && t < 325) {
		return
	}
	a := Air{Temperature: t}
	if z := w.rec.Channel(recording.Altitude); z != nil && len(z.Value) > 0 {
		if h := signal.Median(z.Value); h > -450 && h < 5000 {
			a.Height = h
		}
	}
	p, _, _ := bike.StandardAir(a.Height)
	full := bike.SaturationPressure(t)
	vapour := math.Min(usualVapour, full)
	a.Density = bike.AirDensity(p, t, vapour/full)
	a.PowerFactor = bike.PowerFactor(p-vapour, t)
	w.r.Air = a
	if w.b.Air.Density == 0 {
		b := *w.b
		b.Air.Density = a.Density
		w.b = &b
	}
}

// airShare is by how much, as a share, an engine gives more in the air of the runs
// b than in that of a; NaN where a run does not tell its air.
func airShare(a, b []Pull) float64 {
	if len(a) == 0 || len(b) == 0 || !(a[0].PowerFactor > 0) || !(b[0].PowerFactor > 0) {
		return math.NaN()
	}
	return a[0].PowerFactor/b[0].PowerFactor - 1
}
