package bike

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"cornerwright/internal/say"
	"cornerwright/internal/setting"
)

// Parse reads a bike file. It is strict: an unknown or missing key, a value of
// the wrong kind or size, a grid that is not rectangular and points that do not
// increase are errors of type *Error with their place and mend; all that is
// wrong is told at once. Name stands for the file in messages.
//
// Whole tables may be left out (a bike of which the mass is not known can still
// be analysed, with less); a table that is there must be complete. Values of
// settings keep the unit they are written in.
func Parse(name string, src []byte) (*Bike, error) {
	root, err := document(name, src)
	if err != nil {
		return nil, err
	}
	p := &parser{file: name}
	b := p.bike(root)
	if err := join(p.errs); err != nil {
		return nil, err
	}
	b.Source = append([]byte(nil), src...)
	return b, nil
}

type parser struct {
	file string
	errs []*Error
}

func (p *parser) fail(at place, mend, text say.Text) {
	p.errs = append(p.errs, &Error{File: p.file, Line: at.line, Column: at.column,
		Text: text, Mend: mend})
}

// field is one key a table may have. A number has its bounds; take stores it.
type field struct {
	key    string
	must   bool
	lo, hi float64
	whole  bool
	number func(float64)
	text   func(string, *node)
	node   func(*node) // lists and tables look after themselves
	eg     string      // an example for the mend
	// slip is a factor that explains a number far out of bounds, such as
	// millimetres for metres.
	slip     float64
	slipName string
}

// table checks that n has all it must have and nothing else.
func (p *parser) table(path string, n *node, fields []field) {
	if n.kind != isTable {
		p.fail(n.key, say.T("write it as [{path}] with its keys below", path), say.T("{path} is {n}, not a table", path, n.describe()))
		return
	}
	known := make([]string, len(fields))
	for i, f := range fields {
		known[i] = f.key
	}
	in := say.T("in [{path}]", path)
	if path == "" {
		in = say.T("at the top of the file")
	}
	misspelt := map[string]string{}
	for _, k := range n.names {
		if slices.Contains(known, k) {
			continue
		}
		mend := say.T("remove it; known here: {known}", strings.Join(known, ", "))
		if near := nearest(k, known); near != "" {
			mend = say.T("write {near}", strconv.Quote(near))
			misspelt[near] = k
		}
		p.fail(n.keys[k].key, mend, say.T("unknown key {k} {in}", fmt.Sprintf("%q", k), in))
	}
	for _, f := range fields {
		v, ok := n.keys[f.key]
		if !ok {
			if _, twice := misspelt[f.key]; f.must && !twice {
				p.fail(n.place, say.T("add it, for instance: {eg}", f.eg), say.T("key {key} is missing {in}", fmt.Sprintf("%q", f.key), in))
			}
			continue
		}
		p.field(path, v, f)
	}
}

func (p *parser) field(path string, v *node, f field) {
	full := f.key
	if path != "" {
		full = path + "." + f.key
	}
	switch {
	case f.node != nil:
		f.node(v)
	case f.text != nil:
		if v.kind != isText {
			p.fail(v.place, say.T("write a text in quotes, for instance: {eg}", f.eg), say.T("{full} is {v}, not a text", full, v.describe()))
			return
		}
		f.text(v.text, v)
	default:
		if v.kind != isNumber {
			p.fail(v.place, say.T("write a number without quotes, for instance: {eg}", f.eg), say.T("{full} is {v}, not a number", full, v.describe()))
			return
		}
		if f.whole && v.num != math.Trunc(v.num) {
			p.fail(v.place, say.T("write a whole number"), say.T("{full} is {text}, not a whole number", full, v.text))
			return
		}
		if !(v.num >= f.lo && v.num <= f.hi) {
			mend := say.T("write a value from {lo} to {hi}", number(f.lo), number(f.hi))
			if w := v.num * f.slip; f.slip != 0 && w >= f.lo && w <= f.hi {
				mend += say.T("; if this is in {unit}, write {value}", f.slipName, number(w))
			}
			p.fail(v.place, mend, say.T("{full} is {text}: out of range", full, v.text))
			return
		}
		f.number(v.num)
	}
}

func put(to *float64) func(float64) { return func(v float64) { *to = v } }

func putInt(to *int) func(float64) { return func(v float64) { *to = int(v) } }

func (p *parser) bike(root *node) *Bike {
	b := &Bike{First: map[string]map[string]setting.Values{}}
	var settings *node
	tyre := func(path string, t *Tyre) func(*node) {
		return func(n *node) {
			p.table(path, n, []field{
				{key: "marking", text: func(s string, _ *node) { t.Marking = s }, eg: `marking = "120/70 ZR17"`},
				{key: "circumference_m", must: true, lo: 1, hi: 3, number: put(&t.Circumference), eg: "circumference_m = 1.88", slip: 1e-3, slipName: "millimetres"},
				{key: "crown_radius_m", lo: 0.02, hi: 0.25, number: put(&t.CrownRadius), eg: "crown_radius_m = 0.06", slip: 1e-3, slipName: "millimetres"},
				{key: "wheel_inertia_kgm2", lo: 0.05, hi: 3, number: put(&t.Inertia), eg: "wheel_inertia_kgm2 = 0.5"},
			})
		}
	}
	p.table("", root, []field{
		{key: "name", must: true, eg: `name = "Heron 998"`, text: func(s string, v *node) {
			if b.Name = strings.TrimSpace(s); b.Name == "" {
				p.fail(v.place, say.T("give the bike a name"), say.T("name is empty"))
			}
		}},
		{key: "mass", node: func(n *node) {
			p.table("mass", n, []field{
				{key: "total_kg", must: true, lo: 60, hi: 700, number: put(&b.Mass.Total), eg: "total_kg = 262"},
				{key: "centre_height_m", lo: 0.2, hi: 1.2, number: put(&b.Mass.CentreHeight), eg: "centre_height_m = 0.66", slip: 1e-3, slipName: "millimetres"},
				{key: "wheelbase_m", lo: 0.8, hi: 2.2, number: put(&b.Mass.Wheelbase), eg: "wheelbase_m = 1.43", slip: 1e-3, slipName: "millimetres"},
				{key: "centre_to_rear_m", lo: 0.2, hi: 1.6, number: put(&b.Mass.CentreToRear), eg: "centre_to_rear_m = 0.69", slip: 1e-3, slipName: "millimetres"},
			})
			if w, c := b.Mass.Wheelbase, b.Mass.CentreToRear; w > 0 && c >= w {
				p.fail(n.keys["centre_to_rear_m"].place, say.T("measure from the rear contact forward"), say.T("mass.centre_to_rear_m is {c}, not less than the wheelbase", number(c)))
			}
		}},
		{key: "tyre", node: func(n *node) {
			p.table("tyre", n, []field{
				{key: "front", node: tyre("tyre.front", &b.Front)},
				{key: "rear", node: tyre("tyre.rear", &b.Rear)},
			})
		}},
		{key: "drive", node: func(n *node) {
			p.table("drive", n, []field{
				{key: "primary", must: true, lo: 0.5, hi: 5, number: put(&b.Drive.Primary), eg: "primary = 1.63"},
				{key: "gears", must: true, node: func(v *node) { b.Drive.Gears = p.gears(v) }, eg: "gears = [2.60, 2.13, 1.79]"},
				{key: "front_sprocket", must: true, lo: 5, hi: 60, whole: true, number: putInt(&b.Drive.FrontSprocket), eg: "front_sprocket = 16"},
				{key: "rear_sprocket", must: true, lo: 10, hi: 120, whole: true, number: putInt(&b.Drive.RearSprocket), eg: "rear_sprocket = 43"},
				{key: "limiter_rpm", lo: 2000, hi: 25000, number: put(&b.Drive.LimiterRPM), eg: "limiter_rpm = 14300"},
				{key: "engine_inertia_kgm2", lo: 0.001, hi: 0.5, number: put(&b.Drive.EngineInertia), eg: "engine_inertia_kgm2 = 0.03"},
			})
		}},
		{key: "air", node: func(n *node) {
			p.table("air", n, []field{
				{key: "drag_area_m2", must: true, lo: 0.05, hi: 2, number: put(&b.Air.DragArea), eg: "drag_area_m2 = 0.32"},
				{key: "rolling_coefficient", lo: 0, hi: 0.1, number: put(&b.Air.RollingCoefficient), eg: "rolling_coefficient = 0.02"},
				{key: "density_kgm3", lo: 0.6, hi: 1.6, number: put(&b.Air.Density), eg: "density_kgm3 = 1.18"},
			})
		}},
		{key: "suspension", node: func(n *node) {
			p.table("suspension", n, []field{
				{key: "fork_travel_m", lo: 0.03, hi: 0.4, number: put(&b.Travel.Fork), eg: "fork_travel_m = 0.125", slip: 1e-3, slipName: "millimetres"},
				{key: "shock_travel_m", lo: 0.02, hi: 0.4, number: put(&b.Travel.Shock), eg: "shock_travel_m = 0.130", slip: 1e-3, slipName: "millimetres"},
			})
		}},
		{key: "limits", node: func(n *node) {
			p.table("limits", n, []field{
				{key: "pit_speed_kmh", lo: 10, hi: 120, number: func(v float64) { b.Limits.PitSpeed = v / 3.6 }, eg: "pit_speed_kmh = 60"},
				{key: "coolant_warning_degc", lo: 50, hi: 150, number: func(v float64) { b.Limits.CoolantWarning = v + 273.15 }, eg: "coolant_warning_degc = 100"},
				{key: "coolant_alarm_degc", lo: 50, hi: 150, number: func(v float64) { b.Limits.CoolantAlarm = v + 273.15 }, eg: "coolant_alarm_degc = 108"},
			})
		}},
		{key: "gps", node: func(n *node) {
			p.table("gps", n, []field{
				{key: "antenna_height_m", must: true, lo: 0.2, hi: 1.6, number: put(&b.Antenna), eg: "antenna_height_m = 0.9", slip: 1e-3, slipName: "millimetres"},
			})
		}},
		{key: "slots", must: root.keys["setting"] != nil, eg: "[slots] with reference = \"A\" and trial = \"B\"", node: func(n *node) { p.slots(n, b) }},
		{key: "setting", node: func(n *node) { settings = n }},
	})
	if settings != nil {
		p.settings(settings, b)
	}
	return b
}

var slotLetter = regexp.MustCompile(`^[A-H]$`)

func (p *parser) slots(n *node, b *Bike) {
	letter := func(to *string) func(string, *node) {
		return func(s string, v *node) {
			if !slotLetter.MatchString(s) {
				p.fail(v.place, say.T("write one capital letter from A to H"), say.T("slot {s} is not a letter of the bar switch", fmt.Sprintf("%q", s)))
				return
			}
			*to = s
		}
	}
	p.table("slots", n, []field{
		{key: "reference", must: true, text: letter(&b.Slots.Reference), eg: `reference = "A"`},
		{key: "trial", must: true, text: letter(&b.Slots.Trial), eg: `trial = "B"`},
	})
	if s := b.Slots; s.Reference != "" && s.Reference == s.Trial {
		p.fail(n.keys["trial"].place, say.T("choose another letter for the trial: the reference stays untouched"), say.T("reference and trial are both slot {trial}", fmt.Sprintf("%q", s.Trial)))
	}
}

func (p *parser) gears(v *node) []float64 {
	g := p.numbers("drive.gears", v)
	if len(g) == 0 {
		return nil
	}
	if len(g) > 8 {
		p.fail(v.items[8].place, say.T("list the ratios of the gearbox from first upward"), say.T("drive.gears has {g} ratios; at most 8 are meant", len(g)))
	}
	for i, r := range g {
		switch {
		case !(r >= 0.4 && r <= 6):
			p.fail(v.items[i].place, say.T("write driven teeth over driving teeth"), say.T("gear {i} has the ratio {r}: out of range", i+1, number(r)))
		case i > 0 && r >= g[i-1]:
			p.fail(v.items[i].place, say.T("list ratios from first gear upward; each is smaller than the one before"), say.T("gear {i} has the ratio {r}, not less than {g} of gear {i2}", i+1, number(r), number(g[i-1]), i))
		}
	}
	return g
}

// numbers reads a list of numbers; nil after an error.
func (p *parser) numbers(what say.Text, v *node) []float64 {
	if v.kind != isList {
		p.fail(v.place, say.T("write a list of numbers in [ ]"), say.T("{what} is {v}, not a list", what, v.describe()))
		return nil
	}
	if len(v.items) == 0 {
		p.fail(v.place, say.T("write its numbers"), say.T("{what} is empty", what))
		return nil
	}
	out := make([]float64, len(v.items))
	for i, c := range v.items {
		if c.kind != isNumber || math.IsNaN(c.num) || math.IsInf(c.num, 0) {
			p.fail(c.place, say.T("write a number"), say.T("{what} holds {c}", what, c.describe()))
			return nil
		}
		out[i] = c.num
	}
	return out
}
