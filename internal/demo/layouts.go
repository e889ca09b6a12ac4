package demo

import (
	"math"
	"sync"
)

// Circuits returns the invented circuits: fresh copies, so that a run may bank
// or tilt its own.
func Circuits() []Circuit {
	cs := drawn()
	for i, c := range cs {
		for j := range c.Turns {
			c.Turns[j].window = usual()[i].window[j]
			c.Turns[j].Segment = usual()[i].window[j]
		}
	}
	return cs
}

// habit is what a rider without scatter does on a circuit, by turn.
type habit struct {
	window  []float64 // m, where the turn's own stretch begins: 30 m before the brakes
	reached []float64 // m/s, there
}

var usual = sync.OnceValue(func() []habit {
	var out []habit
	for i, c := range drawn() {
		o := DefaultOptions(i, 1)
		o.bare = true
		o.Laps = 2
		o.RiderSigma, o.LineSigma, o.Drift, o.SlowLaps = 0, 0, 0, 0
		s := simulate(o, c, habit{})
		s.windows()
		var h habit
		for _, t := range s.c.Turns {
			h.window = append(h.window, t.window)
			at := s.tr.CrossAt(c.Length + t.window + 25)
			h.reached = append(h.reached, s.tr.Speed[s.tr.index(at)])
		}
		out = append(out, h)
	}
	return out
})

func drawn() []Circuit {
	cs := []Circuit{brackenfell(), saltmere(), corvane(), tarnhow()}
	for i := range cs {
		c := &cs[i]
		c.Latitude = 48.2 - 9.7*float64(i)
		c.Longitude = 11.4 + 23.1*float64(i)
	}
	return cs
}

const lateral = 11.3 // m/s2, what the rider uses unless told otherwise

func scaled(cs []corner, f float64) []corner {
	for i := range cs {
		cs[i].x *= f
		cs[i].y *= f
		if cs[i].grip == 0 {
			cs[i].grip = lateral
		}
		if cs[i].bank == 0 {
			cs[i].bank = 0.3
		}
	}
	return cs
}

// brackenfell runs clockwise: a long straight, a chicane, a double apex, a bend
// taken nearly flat.
func brackenfell() Circuit {
	return build("Brackenfell", scaled([]corner{
		{x: 900, y: 0, radii: []float64{42}, easeIn: 30, easeOut: 32},
		{x: 820, y: -300, radii: []float64{75}, easeIn: 34, easeOut: 34},
		{x: 1030, y: -490, radii: []float64{30}, easeIn: 22, easeOut: 26, grip: 10.8},
		{x: 700, y: -570, radii: []float64{42}, easeIn: 22, easeOut: 14, grip: 11},
		{x: 590, y: -470, radii: []float64{46}, easeIn: 14, easeOut: 24, grip: 11},
		{x: 250, y: -500, radii: []float64{44, 95, 50}, easeIn: 30, easeOut: 34, bank: 1},
		{x: 340, y: -230, radii: []float64{26}, easeIn: 22, easeOut: 24, grip: 10.6},
		{x: 50, y: -195, radii: []float64{650}, easeIn: 40, easeOut: 40, kink: true},
		{x: -240, y: -255, radii: []float64{56}, easeIn: 32, easeOut: 34},
		{x: -175, y: 0, radii: []float64{125}, easeIn: 40, easeOut: 48, grip: 11.5, bank: 0.7},
	}, 1.08), 420)
}

// saltmere runs anticlockwise, short and twisting.
func saltmere() Circuit {
	return build("Saltmere", scaled([]corner{
		{x: 640, y: 0, radii: []float64{32, 70, 34}, easeIn: 22, easeOut: 26, bank: 1},
		{x: 520, y: 250, radii: []float64{68}, easeIn: 30, easeOut: 30},
		{x: 645, y: 440, radii: []float64{27}, easeIn: 20, easeOut: 24, grip: 10.8},
		{x: 330, y: 375, radii: []float64{40}, easeIn: 18, easeOut: 14, grip: 11},
		{x: 240, y: 455, radii: []float64{42}, easeIn: 14, easeOut: 22, grip: 11},
		{x: 0, y: 365, radii: []float64{17}, easeIn: 16, easeOut: 20, grip: 10.3},
		{x: 270, y: 250, radii: []float64{23}, easeIn: 18, easeOut: 20, grip: 10.6},
		{x: 30, y: 175, radii: []float64{480}, easeIn: 26, easeOut: 26, kink: true},
		{x: -190, y: 165, radii: []float64{36}, easeIn: 22, easeOut: 20, bank: 0.8},
		{x: -180, y: 0, radii: []float64{58}, easeIn: 26, easeOut: 32, grip: 11.4},
	}, 1.0), 330)
}

// corvane runs clockwise, long and fast, with one hairpin.
func corvane() Circuit {
	return build("Corvane", scaled([]corner{
		{x: 1000, y: 0, radii: []float64{95}, easeIn: 38, easeOut: 38, grip: 11.4},
		{x: 1130, y: -225, radii: []float64{160}, easeIn: 36, easeOut: 36, grip: 11.4},
		{x: 1480, y: -352, radii: []float64{21}, easeIn: 20, easeOut: 24, grip: 10.4},
		{x: 1000, y: -527, radii: []float64{60}, easeIn: 30, easeOut: 32},
		{x: 1000, y: -830, radii: []float64{58, 120, 62}, easeIn: 32, easeOut: 34, bank: 1},
		{x: 590, y: -830, radii: []float64{230}, easeIn: 40, easeOut: 40, grip: 11.4},
		{x: 380, y: -610, radii: []float64{46}, easeIn: 20, easeOut: 16, grip: 11},
		{x: 270, y: -640, radii: []float64{48}, easeIn: 16, easeOut: 26, grip: 11},
		{x: 140, y: -400, radii: []float64{70}, easeIn: 30, easeOut: 32},
		{x: -80, y: -475, radii: []float64{520}, easeIn: 44, easeOut: 44, kink: true},
		{x: -340, y: -500, radii: []float64{105}, easeIn: 40, easeOut: 40, grip: 11.4},
		{x: -620, y: -235, radii: []float64{40}, easeIn: 26, easeOut: 30, bank: 0.8},
		{x: -320, y: 0, radii: []float64{140}, easeIn: 40, easeOut: 46, grip: 11.5},
	}, 1.03), 480)
}

// tarnhow runs anticlockwise and passes near itself: the two sides of its
// hairpin draw together again.
func tarnhow() Circuit {
	return build("Tarnhow", scaled([]corner{
		{x: 720, y: 0, radii: []float64{48}, easeIn: 30, easeOut: 32},
		{x: 640, y: 397, radii: []float64{85}, easeIn: 34, easeOut: 34, grip: 11.4},
		{x: 860, y: 585, radii: []float64{38}, easeIn: 26, easeOut: 28},
		{x: 560, y: 825, radii: []float64{120}, easeIn: 38, easeOut: 38, grip: 11.4},
		{x: 100, y: 785, radii: []float64{15}, easeIn: 14, easeOut: 9, grip: 10.3},
		{x: 103, y: 744, radii: []float64{15}, easeIn: 9, easeOut: 16, joined: true, grip: 10.3},
		{x: 450, y: 798, radii: []float64{34}, easeIn: 22, easeOut: 26},
		{x: 385, y: 505, radii: []float64{52}, easeIn: 28, easeOut: 30},
		{x: 110, y: 515, radii: []float64{620}, easeIn: 40, easeOut: 40, kink: true},
		{x: -150, y: 470, radii: []float64{66}, easeIn: 32, easeOut: 34, bank: 1},
		{x: -330, y: 146, radii: []float64{62, 130, 66}, easeIn: 30, easeOut: 34, bank: 0.8},
		{x: -150, y: 0, radii: []float64{150}, easeIn: 38, easeOut: 42, grip: 11.5},
	}, 1.04), 380)
}

// tilt gives a circuit its grades and banks.
func (c *Circuit) tilt(grade, bank float64, r *source) {
	// The same circuit is ridden several times over, for what an effect is worth:
	// each ride has its own road, or grades would pile up.
	own := *c.geometry
	c.geometry = &own
	c.grade, c.bank = nil, nil
	if grade != 0 {
		for k := 1; k <= 4; k++ {
			c.grade = append(c.grade, wave{k, grade * r.between(0.25, 0.6) / math.Sqrt(float64(k)), r.between(0, 2*math.Pi)})
		}
	}
	if bank != 0 {
		turns := c.Turns
		c.bank = func(s float64) float64 {
			for i := range turns {
				t := &turns[i]
				if s < t.Entry-20 || s > t.Exit+20 {
					continue
				}
				rise := math.Min(s-t.Entry+20, t.Exit+20-s) / 50
				return float64(t.Direction) * bank * t.bank * smooth(rise)
			}
			return 0
		}
	}
}

// smooth rises from 0 at 0 to 1 at 1 without corners.
func smooth(x float64) float64 {
	if x <= 0 {
		return 0
	}
	if x >= 1 {
		return 1
	}
	return x * x * (3 - 2*x)
}
