package demo

import (
	"bytes"
	"fmt"
	"math"
	"strings"
)

// Bike is the invented superbike as it really is; its TOML is what a crew
// would write down about it.
type Bike struct {
	Name         string
	Mass         float64 // kg, rider on
	CentreHeight float64 // m
	Wheelbase    float64 // m
	CentreToRear float64 // m, centre of mass ahead of the rear contact
	Front, Rear  Tyre
	Primary      float64
	Gears        []float64
	FrontTeeth   int
	RearTeeth    int
	LimiterRPM   float64
	ShiftRPM     float64 // where the rider shifts up
	DragArea     float64 // m2
	Rolling      float64
	Efficiency   float64 // crank to wheel
	EngineI      float64 // kg m2 at the crank
	FrontI       float64 // kg m2
	RearI        float64
	Grip         float64 // peak friction of the tyres, warm
	FrontPerPa   float64 // N at the contact for each Pa of front pressure
	RearPerPa    float64
	ForkRate     float64 // N/m
	ShockRate    float64 // N/m at the shock
	Sheets       map[string]Sheet
}

// Tyre is a torus that rolls on R - crown (1 - cos lean).
type Tyre struct {
	Marking string
	Radius  float64 // m, upright, without load
	Crown   float64 // m
	Crown2  float64 // m, second term on (1 - cos lean) squared
}

// Rolling returns the rolling radius at a lean to the road.
func (t Tyre) Rolling(lean float64) float64 {
	c := 1 - math.Cos(lean)
	return t.Radius - t.Crown*c - t.Crown2*c*c
}

var (
	slipLeans  = []float64{0, 15, 30, 40, 48, 56}
	slipSpeeds = []float64{60, 100, 140, 180, 230}
)

// Heron returns the demo bike with its reference and trial sheets.
func Heron() Bike {
	return Bike{
		Name: "Heron 998", Mass: 262, CentreHeight: 0.66, Wheelbase: 1.43, CentreToRear: 0.69,
		Front:   Tyre{Marking: "120/70 ZR17", Radius: 1.880 / (2 * math.Pi), Crown: 0.060},
		Rear:    Tyre{Marking: "200/60 ZR17", Radius: 2.010 / (2 * math.Pi), Crown: 0.098},
		Primary: 1.63, Gears: []float64{2.60, 2.13, 1.79, 1.56, 1.41, 1.27},
		FrontTeeth: 16, RearTeeth: 43, LimiterRPM: 14300, ShiftRPM: 13700,
		DragArea: 0.32, Rolling: 0.02, Efficiency: 0.93,
		EngineI: 0.030, FrontI: 0.45, RearI: 0.65, Grip: 1.32,
		FrontPerPa: 1.85e-3, RearPerPa: 0.42e-3,
		ForkRate: 19000, ShockRate: 95000,
		Sheets: map[string]Sheet{"A": reference(), "B": reference()},
	}
}

func reference() Sheet {
	return Sheet{
		"slip-target": [][]float64{
			{12.0, 11.5, 11.0, 10.5, 10.0},
			{10.5, 10.0, 9.5, 9.0, 8.5},
			{8.5, 8.0, 7.5, 7.0, 6.5},
			{6.4, 6.0, 5.6, 5.3, 5.1},
			{5.0, 4.8, 4.6, 4.4, 4.2},
			{4.5, 4.3, 4.1, 3.9, 3.8},
		},
		"engine-brake": []float64{50, 50, 60, 60, 70, 70},
		"blip":         []float64{100, 100, 100, 100, 100, 100},
		"wheel-lift":   4.0,
		"torque-limit": []float64{74, 86, 100, 100, 100, 100},
	}
}

// Clone copies a sheet with its values, so that it may be changed.
func (s Sheet) Clone() Sheet {
	out := Sheet{}
	for id, v := range s {
		switch v := v.(type) {
		case []float64:
			out[id] = append([]float64(nil), v...)
		case [][]float64:
			g := make([][]float64, len(v))
			for i := range v {
				g[i] = append([]float64(nil), v[i]...)
			}
			out[id] = g
		default:
			out[id] = v
		}
	}
	return out
}

// ratio is engine turns per turn of the rear wheel.
func (b *Bike) ratio(gear int) float64 {
	return b.Primary * b.Gears[gear-1] * float64(b.RearTeeth) / float64(b.FrontTeeth)
}

// Lean returns the lean to gravity of the machine at lateral acceleration a
// (m/s2, positive right): ideal lean and what the width of the tyres adds,
// phi = phi_i + asin(t sin phi_i / (h - t)) with t the mean crown radius
// (V. Cossalter, Motorcycle Dynamics, from memory).
func (b *Bike) Lean(a float64) float64 {
	return leanOf(a, b.CentreHeight, (b.Front.Crown+b.Rear.Crown)/2)
}

func leanOf(a, h, t float64) float64 {
	ideal := math.Atan(a / gravity)
	return ideal + math.Asin(t*math.Sin(ideal)/(h-t))
}

// Loads returns front and rear load in N at acceleration a on the flat, both
// wheels down.
func (b *Bike) Loads(a float64) (front, rear float64) {
	w := b.Mass * gravity
	shift := b.Mass * a * b.CentreHeight / b.Wheelbase
	front = w*b.CentreToRear/b.Wheelbase - shift
	return front, w - front
}

const gravity = 9.80665

// airDensity is that of the invented world, kg/m3, whatever its weather.
const airDensity = 1.2

// TOML writes the bike file with the given sheets by slot (nil: the bike's own).
func (b Bike) TOML(sheets ...map[string]Sheet) []byte {
	set := b.Sheets
	if len(sheets) > 0 && sheets[0] != nil {
		set = sheets[0]
	}
	var w bytes.Buffer
	p := func(f string, a ...any) { fmt.Fprintf(&w, f+"\n", a...) }
	p("name = %q", b.Name)
	p("[mass]")
	p("total_kg = %g            # bike, fuel and rider", b.Mass)
	p("centre_height_m = %g", b.CentreHeight)
	p("wheelbase_m = %g", b.Wheelbase)
	p("centre_to_rear_m = %g", b.CentreToRear)
	for _, t := range []struct {
		at string
		t  Tyre
	}{{"front", b.Front}, {"rear", b.Rear}} {
		p("[tyre.%s]", t.at)
		p("marking = %q", t.t.Marking)
		p("circumference_m = %.3f   # what the wheel-speed channel was logged with", 2*math.Pi*t.t.Radius)
		p("crown_radius_m = %.3f", t.t.Crown)
	}
	p("[drive]")
	p("primary = %g", b.Primary)
	p("gears = %s", list(b.Gears, "%.2f"))
	p("front_sprocket = %d", b.FrontTeeth)
	p("rear_sprocket = %d", b.RearTeeth)
	p("limiter_rpm = %.0f", b.LimiterRPM)
	p("[air]")
	p("drag_area_m2 = %g", b.DragArea)
	p("rolling_coefficient = %g", b.Rolling)
	p("density_kgm3 = %g   # of this invented world's air, on every day", airDensity)
	p("[slots]")
	p("reference = \"A\"")
	p("trial = \"B\"")
	for _, s := range b.settings() {
		p("[[setting]]")
		p("id = %q", s.id)
		p("unit = %q", s.unit)
		if s.grid {
			p("rows = { channel = \"lean\", unit = \"deg\", points = %s }", list(slipLeans, "%g"))
			p("columns = { channel = \"speed\", unit = \"km/h\", points = %s }", list(slipSpeeds, "%g"))
		}
		if s.gear {
			p("by = \"gear\"")
		}
		p("range = [%g, %g]", s.lo, s.hi)
		p("largest_step = %g", s.step)
		p("more = %q", s.more)
		p("[setting.values]")
		for _, slot := range []string{"A", "B"} {
			switch v := set[slot][s.id].(type) {
			case [][]float64:
				p("%s = [", slot)
				for _, row := range v {
					p("  %s,", list(row, "%.1f"))
				}
				p("]")
			case []float64:
				p("%s = %s", slot, list(v, "%g"))
			default:
				p("%s = %.1f", slot, v)
			}
		}
	}
	return w.Bytes()
}

type settingLine struct {
	id, unit, more string
	grid, gear     bool
	lo, hi, step   float64
}

func (b Bike) settings() []settingLine {
	return []settingLine{
		{id: "slip-target", unit: "%", grid: true, lo: 1, hi: 20, step: 1,
			more: "more rear slip before torque is cut: freer, and less margin"},
		{id: "engine-brake", unit: "%", gear: true, lo: 20, hi: 100, step: 10,
			more: "more engine braking on a closed throttle, more load off the rear wheel"},
		{id: "blip", unit: "%", gear: true, lo: 50, hi: 160, step: 10,
			more: "a larger blip on the downshift into that gear: less drag at the clutch, then push"},
		{id: "wheel-lift", unit: "deg", lo: 0.5, hi: 12, step: 1,
			more: "the front may rise higher before torque is cut"},
		{id: "torque-limit", unit: "%", gear: true, lo: 40, hi: 100, step: 4,
			more: "more torque in that gear"},
	}
}

func list(v []float64, format string) string {
	s := make([]string, len(v))
	for i := range v {
		s[i] = fmt.Sprintf(format, v[i])
	}
	return "[" + strings.Join(s, ", ") + "]"
}
