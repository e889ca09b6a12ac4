package demo

import "math"

// engine gives crank torque from speed and plate. The numbers are invented for
// a thousand-class four of about 150 kW.
type engine struct {
	full  [161]float64 // N.m at each 100 1/min, plate open
	drag  [161]float64 // N.m the closed engine takes
	steep [161]float64 // how soon the plate stops mattering
	extra float64      // N.m added within band
	band  [2]float64   // 1/min
}

func newEngine(o *Options) *engine {
	e := &engine{extra: o.TorqueExtra, band: o.TorqueBand}
	// Crank torque by speed in thousands, wide open.
	shape := [][2]float64{{0, 30}, {2, 58}, {3, 72}, {4, 80}, {5, 86}, {6, 90}, {7, 95}, {8, 102}, {9, 108},
		{10, 112}, {11, 113.5}, {12, 112}, {13, 107}, {14, 99}, {15, 84}, {16, 60}}
	j := 0
	for i := range e.full {
		n := float64(i) / 10
		for j+2 < len(shape) && shape[j+1][0] < n {
			j++
		}
		a, b := shape[j], shape[j+1]
		u := smooth((n - a[0]) / (b[0] - a[0]))
		lin := (n - a[0]) / (b[0] - a[0])
		u = 0.5*u + 0.5*lin
		e.full[i] = a[1] + u*(b[1]-a[1])
		e.drag[i] = 5.5 + 0.55*n + 0.048*n*n
		e.steep[i] = 4.2 - 0.19*n
		rpm := 1000 * n
		if o.TorqueExtra != 0 && rpm >= o.TorqueBand[0] && rpm <= o.TorqueBand[1] {
			e.full[i] += o.TorqueExtra
		}
	}
	return e
}

func table(t *[161]float64, rpm float64) float64 {
	x := rpm / 100
	if x < 0 {
		return t[0]
	}
	i := int(x)
	if i >= 160 {
		return t[160]
	}
	f := x - float64(i)
	return t[i] + f*(t[i+1]-t[i])
}

// most is the torque at the crank that a torque limit leaves. The limit is a
// share of the engine as it was mapped; what was added comes on top.
func (e *engine) most(rpm, limit float64) float64 {
	extra := 0.0
	if e.extra != 0 && rpm >= e.band[0] && rpm <= e.band[1] {
		extra = e.extra
	}
	return limit*(table(&e.full, rpm)-extra) + extra
}

// torque at the crank in N.m for plate 0..1, at full engine drag.
func (e *engine) torque(rpm, plate float64) float64 {
	d := table(&e.drag, rpm)
	a := table(&e.steep, rpm)
	return (table(&e.full, rpm)+d)*(1-math.Exp(-a*plate))/(1-math.Exp(-a)) - d
}

// plate that gives a crank torque, 0..1.
func (e *engine) plate(rpm, torque float64) float64 {
	d := table(&e.drag, rpm)
	a := table(&e.steep, rpm)
	g := (torque + d) / (table(&e.full, rpm) + d)
	if g <= 0 {
		return 0
	}
	if g >= 1 {
		return 1
	}
	return -math.Log(1-g*(1-math.Exp(-a))) / a
}
