package demo

import "math"

const (
	step    = 0.005 // s of integration
	perRow  = 2     // steps to a truth row: 100 rows a second
	rowTime = step * perRow
	barPa   = 1e5
	radDeg  = 180 / math.Pi
)

// sim rides a run.
type sim struct {
	o       *Options
	c       *Circuit
	b       *Bike
	g       *grid
	e       *engine
	laps    []*lapPlan
	tr      *Truth
	w       *world
	habit   habit
	marks   []state // where a cut begins, to ride on from there without it
	shift   Episode // going on
	pushing bool
	// When each outing's first lap began and its last ended, by lap.
	began, ended map[int]float64
}

// Ride simulates one run. Equal options give equal bytes.
func Ride(o Options) *Run {
	cs := Circuits()
	return ride(o, cs[o.Circuit%len(cs)])
}

func ride(o Options, c Circuit) *Run {
	if len(o.Effects) > 0 && o.push == nil {
		o.push = calibrate(o, c)
	}
	s := simulate(o, c, usual()[o.Circuit%len(usual())])
	r := &Run{Options: o, Circuit: *s.c, Bike: *s.b, Truth: *s.tr}
	if o.bare {
		return r
	}
	if mixed(o.Slots) {
		r.Truth.Effects = trueEffects(o, c)
	}
	r.Channels = sense(r, s)
	return r
}

func simulate(o Options, c Circuit, h habit) *sim {
	b := Heron()
	if o.RateHz == 0 {
		o.RateHz = 100
	}
	sheets := map[string]Sheet{}
	for k, v := range b.Sheets {
		sheets[k] = v.Clone()
	}
	for k, v := range o.Sheets {
		sheets[k] = v.Clone()
	}
	b.Sheets = sheets
	n := o.Nasty
	if n.CrownNonCircular != 0 {
		b.Front.Crown2, b.Rear.Crown2 = n.CrownNonCircular*0.6, n.CrownNonCircular
	}
	c.tilt(n.Grade, n.Bank, newSource(o.Seed, 90))
	s := &sim{habit: h, o: &o, c: &c, b: &b, g: newGrid(&c), e: newEngine(&o), tr: &Truth{}}
	plantSheets(&o, &c, &b)
	s.plan()
	s.run()
	s.finish()
	return s
}

func lookup(t []float64, u float64) float64 {
	i := int(u)
	if i >= len(t)-1 {
		return t[len(t)-1]
	}
	if i < 0 {
		return t[0]
	}
	f := u - float64(i)
	return t[i] + f*(t[i+1]-t[i])
}

func boolf(b bool) float64 {
	if b {
		return 1
	}
	return 0
}
