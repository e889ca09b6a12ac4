package demo

import "math"

// controls are the settings of one slot, ready for use.
type controls struct {
	target [][]float64 // slip share
	engine []float64   // share of engine drag that reaches the wheel, by gear
	blip   []float64   // share
	lift   float64     // rad
	torque []float64   // share of full torque, by gear
}

func newControls(s Sheet) controls {
	ref := reference()
	get := func(id string) any {
		if v, ok := s[id]; ok {
			return v
		}
		return ref[id]
	}
	share := func(id string) []float64 {
		v := get(id).([]float64)
		out := make([]float64, len(v))
		for i := range v {
			out[i] = v[i] / 100
		}
		return out
	}
	c := controls{engine: share("engine-brake"), blip: share("blip"), torque: share("torque-limit")}
	c.lift = get("wheel-lift").(float64) * math.Pi / 180
	for _, row := range get("slip-target").([][]float64) {
		r := make([]float64, len(row))
		for j := range row {
			r[j] = row[j] / 100
		}
		c.target = append(c.target, r)
	}
	return c
}

// between finds the interval of a rising axis and the share within it, held at
// the ends.
func between(axis []float64, v float64) (i int, f float64) {
	n := len(axis)
	if v <= axis[0] {
		return 0, 0
	}
	if v >= axis[n-1] {
		return n - 2, 1
	}
	for v >= axis[i+1] {
		i++
	}
	return i, (v - axis[i]) / (axis[i+1] - axis[i])
}

// slipTarget interpolates the grid at |lean| in rad and speed in m/s.
func (c *controls) slipTarget(lean, speed float64) float64 {
	i, f := between(slipLeans, math.Abs(lean)*180/math.Pi)
	j, h := between(slipSpeeds, speed*3.6)
	a := c.target[i][j] + h*(c.target[i][j+1]-c.target[i][j])
	b := c.target[i+1][j] + h*(c.target[i+1][j+1]-c.target[i+1][j])
	return a + f*(b-a)
}

// traction is the slip controller's memory.
type traction struct {
	seen float64 // filtered slip
	sum  float64 // integral part
	cut  float64
}

// step advances the controller by dt and returns its cut, 0..1. asked tells
// whether the rider asks for drive, free whether the front wheel can be
// believed.
func (t *traction) step(dt, slip, target float64, asked, free bool) float64 {
	t.seen += (slip - t.seen) * dt / 0.018
	if !asked {
		t.sum = math.Max(0, t.sum-6*dt)
		t.cut = math.Max(0, t.cut-8*dt)
		return t.cut
	}
	if free {
		e := t.seen - target
		t.sum = math.Max(0, math.Min(0.8, t.sum+95*e*dt))
		want := math.Max(0, math.Min(0.9, t.sum+5*e))
		// Torque comes back more slowly than it goes.
		if want > t.cut {
			t.cut = math.Min(want, t.cut+14*dt)
		} else {
			t.cut = math.Max(want, t.cut-3.5*dt)
		}
	} else {
		t.sum = math.Max(0, t.sum-2*dt)
		t.cut = math.Max(0, t.cut-3*dt)
	}
	return t.cut
}
