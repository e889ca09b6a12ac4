package setting

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"cornerwright/internal/say"
)

// Band is a stretch of an axis, ends included, in the axis's unit.
type Band struct{ From, To float64 }

// Change is a step in the words of the person who asks for it: which cells, and
// by how much or to what.
type Change struct {
	Slot    string
	Setting string
	Rows    *Band // grid: nil is every row
	Columns *Band // grid: nil is every column
	Gears   []int // list: counted from 1, empty is not allowed
	By      float64
	To      float64
	Exact   bool // To is meant, not By
	Taper   bool // neighbours just outside the block move by half
	Unit    string
}

// ParseBand reads "45..50", "45-50" or "48". A trailing unit must be the
// axis's.
func ParseBand(text string, a Axis) (Band, error) {
	t := strings.TrimSpace(text)
	if a.Unit != "" {
		t = strings.TrimSpace(strings.TrimSuffix(t, a.Unit))
	}
	from, to := t, t
	if i := strings.Index(t, ".."); i >= 0 {
		from, to = t[:i], t[i+2:]
	} else if i := strings.LastIndexByte(t, '-'); i > 0 {
		from, to = t[:i], t[i+1:]
	}
	f, err1 := parseNumber(from)
	g, err2 := parseNumber(to)
	if err1 != nil || err2 != nil {
		return Band{}, say.Error("{text} is not a stretch of {channel}; write 45..50 or 48, in {unit}", fmt.Sprintf("%q", text), a.Channel, a.Unit)
	}
	if g < f {
		f, g = g, f
	}
	return Band{f, g}, nil
}

// ParseGears reads "2", "2,3" or "2..4".
func ParseGears(text string) ([]int, error) {
	var out []int
	for _, part := range strings.Split(text, ",") {
		part = strings.TrimSpace(part)
		from, to, ok := strings.Cut(part, "..")
		if !ok {
			to = from
		}
		a, err1 := strconv.Atoi(strings.TrimSpace(from))
		b, err2 := strconv.Atoi(strings.TrimSpace(to))
		if err1 != nil || err2 != nil || a < 1 || b < a || b > 12 {
			return nil, say.Error("{text} is not a gear or a list of gears; write 2, 2,3 or 2..4", fmt.Sprintf("%q", text))
		}
		for g := a; g <= b; g++ {
			out = append(out, g)
		}
	}
	return out, nil
}

// parseNumber takes a decimal point or comma.
func parseNumber(text string) (float64, error) {
	t := strings.TrimSpace(text)
	t = strings.Replace(t, "−", "-", 1) // a typographic minus comes with pasted text
	if strings.Count(t, ",") == 1 && !strings.Contains(t, ".") {
		t = strings.Replace(t, ",", ".", 1)
	}
	x, err := strconv.ParseFloat(t, 64)
	if err != nil || math.IsNaN(x) || math.IsInf(x, 0) || strings.ContainsAny(t, "xXpP_") {
		return 0, say.Error("not a number")
	}
	return x, nil
}

// ParseChange reads a change in one line:
//
//	B:slip-target[45..50, 80..110] +1
//	B:engine-brake[2] +10 %
//	B:wheelie-limit = 3
//
// slot, colon, setting, in brackets the rows and columns (grid, in the axes'
// units) or the gears (list), then by how much or, after '=', to what. Find
// gives the declaration of a setting by its id.
func ParseChange(text string, find func(id string) *Setting) (Change, error) {
	fail := func(why say.Text) (Change, error) {
		return Change{}, say.Error("change {change}: {why}; write it like B:slip-target[45..50, 80..110] +1", strconv.Quote(text), why)
	}
	slot, rest, ok := strings.Cut(text, ":")
	if !ok || strings.TrimSpace(slot) == "" {
		return fail(say.T("the slot is missing"))
	}
	c := Change{Slot: strings.TrimSpace(slot)}
	end := strings.IndexAny(rest, "[=+ ")
	if end < 0 {
		return fail(say.T("the amount is missing"))
	}
	c.Setting = strings.TrimSpace(rest[:end])
	rest = strings.TrimSpace(rest[end:])
	s := find(c.Setting)
	if s == nil {
		return fail(say.T("there is no setting {setting}", fmt.Sprintf("%q", c.Setting)))
	}
	if strings.HasPrefix(rest, "[") {
		inside, after, ok := strings.Cut(rest[1:], "]")
		if !ok {
			return fail(say.T("the bracket is not closed"))
		}
		rest = strings.TrimSpace(after)
		if err := c.within(inside, s); err != nil {
			return fail(say.Of(err))
		}
	}
	if strings.HasPrefix(rest, "=") {
		c.Exact = true
		rest = rest[1:]
	}
	x, unit, err := splitUnit(rest)
	if err != nil {
		return fail(say.T("{rest} is not an amount", fmt.Sprintf("%q", strings.TrimSpace(rest))))
	}
	if err := sameUnit(unit, s, x); err != nil {
		return fail(say.Of(err))
	}
	c.Unit = unit
	if c.Exact {
		c.To = x
	} else {
		c.By = x
	}
	return c, nil
}

func (c *Change) within(inside string, s *Setting) error {
	switch s.Kind {
	case Scalar:
		return say.Error("{id} is a single value and has no cells", s.ID)
	case List:
		g, err := ParseGears(inside)
		c.Gears = g
		return err
	}
	rows, columns, ok := strings.Cut(inside, ",")
	if !ok {
		return say.Error("{id} needs rows ({channel}) and columns ({channel2})", s.ID, s.Rows.Channel, s.Columns.Channel)
	}
	if strings.TrimSpace(rows) != "*" {
		b, err := ParseBand(rows, s.Rows)
		if err != nil {
			return err
		}
		c.Rows = &b
	}
	if strings.TrimSpace(columns) != "*" {
		b, err := ParseBand(columns, s.Columns)
		if err != nil {
			return err
		}
		c.Columns = &b
	}
	return nil
}

// splitUnit reads "+1 %", "1.5%", "-10" into number and unit.
func splitUnit(text string) (float64, string, error) {
	t := strings.TrimSpace(text)
	i := 0
	for i < len(t) && (t[i] == '+' || t[i] == '-' || t[i] == '.' || t[i] == ',' || t[i] >= '0' && t[i] <= '9' || strings.HasPrefix(t[i:], "−")) {
		if strings.HasPrefix(t[i:], "−") {
			i += len("−")
			continue
		}
		i++
	}
	x, err := parseNumber(t[:i])
	return x, strings.TrimSpace(t[i:]), err
}

// sameUnit is the guard against a value typed in another unit than the
// setting's.
func sameUnit(unit string, s *Setting, x float64) error {
	if unit == "" || normalUnit(unit) == normalUnit(s.Unit) {
		return nil
	}
	from, ok1 := axisScale(normalUnit(unit))
	to, ok2 := axisScale(normalUnit(s.Unit))
	if ok1 && ok2 && dimension(normalUnit(unit)) == dimension(normalUnit(s.Unit)) {
		return say.Error("{id} is in {unit}, not in {unit2}: {x} {unit2} would be {from} {unit}", s.ID, s.Unit, unit, Number(x), Number(x*from/to))
	}
	return say.Error("{id} is in {unit}, not in {unit2}", s.ID, orOne(s.Unit), unit)
}

func orOne(unit string) say.Text {
	if unit == "" || unit == "1" {
		return say.T("plain numbers")
	}
	return say.Plain(unit)
}

func normalUnit(u string) string {
	switch u = strings.TrimSpace(u); u {
	case "°":
		return "deg"
	case "rpm":
		return "1/min"
	case "kmh", "kph":
		return "km/h"
	case "Nm":
		return "N.m"
	case "1":
		return ""
	}
	return u
}

func dimension(u string) string {
	switch u {
	case "deg", "rad":
		return "angle"
	case "km/h", "m/s", "mph":
		return "speed"
	case "bar", "kPa", "Pa":
		return "pressure"
	case "mm", "m":
		return "length"
	case "m/s2", "g":
		return "acceleration"
	case "s", "ms":
		return "time"
	case "%", "":
		return "share"
	}
	return u
}

// Cells returns the cells that the change makes in values of the setting, in
// row order. It is an error if it touches none, or asks for nothing.
func (c Change) Cells(s *Setting, v Values) ([]Cell, error) {
	if v == nil {
		return nil, say.Error("slot {slot} has no values of {id}", c.Slot, s.ID)
	}
	if !c.Exact && c.By == 0 {
		return nil, say.Error("a change of {id} by nothing is no change; give an amount in {unit}", s.ID, orOne(s.Unit))
	}
	var cells []Cell
	add := func(i, j int, weight float64) {
		old := v.at(i, j)
		if math.IsNaN(old) {
			return
		}
		n := old + weight*c.By
		if c.Exact {
			n = old + weight*(c.To-old)
		}
		// Kept to what a person types: no 7.000000000000001.
		n = math.Round(n*1e6) / 1e6
		if !sameValue(old, n) {
			cells = append(cells, Cell{i, j, old, n})
		}
	}
	switch s.Kind {
	case Scalar:
		add(0, 0, 1)
	case List:
		if len(c.Gears) == 0 {
			return nil, say.Error("{id} is a list by {by}: say which, for example --gear 2", s.ID, s.By)
		}
		for _, g := range c.Gears {
			if len(v) == 0 || g < 1 || g > len(v[0]) {
				n := 0
				if len(v) > 0 {
					n = len(v[0])
				}
				return nil, say.Error("{id} has no gear {g}; gears are 1..{n}", s.ID, g, n)
			}
			add(0, g-1, 1)
		}
	case Grid:
		r0, r1, err := s.Rows.within(c.Rows)
		if err != nil {
			return nil, say.Error("{id}: {why}", s.ID, err)
		}
		c0, c1, err := s.Columns.within(c.Columns)
		if err != nil {
			return nil, say.Error("{id}: {why}", s.ID, err)
		}
		for i := range s.Rows.Points {
			for j := range s.Columns.Points {
				di := max(r0-i, i-r1, 0)
				dj := max(c0-j, j-c1, 0)
				switch {
				case di == 0 && dj == 0:
					add(i, j, 1)
				case c.Taper && di+dj == 1:
					add(i, j, 0.5)
				}
			}
		}
	}
	if len(cells) == 0 {
		return nil, say.Error("{id}: every one of these cells holds that value already", s.ID)
	}
	return cells, nil
}

func (a Axis) within(b *Band) (from, to int, err error) {
	if b == nil {
		return 0, len(a.Points) - 1, nil
	}
	from, to = -1, -1
	for i, p := range a.Points {
		if p >= b.From-1e-9 && p <= b.To+1e-9 {
			if from < 0 {
				from = i
			}
			to = i
		}
	}
	if from < 0 {
		t := make([]string, len(a.Points))
		for i, p := range a.Points {
			t[i] = Number(p)
		}
		return 0, 0, say.Error("no {channel} point lies in {from}..{to} {unit}; the points are {t} {unit}", a.Channel, Number(b.From), Number(b.To), a.Unit, strings.Join(t, ", "))
	}
	return from, to, nil
}

// Propose makes the step that a change asks for, from a sheet. It is not yet
// numbered; its guards are the caller's to ask.
func (c Change) Propose(s *Setting, sheet Sheet) (Step, error) {
	if _, ok := sheet.Slots[c.Slot]; !ok {
		return Step{}, say.Error("there is no slot {slot}; slots are {slots}", fmt.Sprintf("%q", c.Slot), keys(sheet.Slots))
	}
	cells, err := c.Cells(s, sheet.Slots[c.Slot][c.Setting])
	if err != nil {
		return Step{}, err
	}
	return Step{Bike: sheet.Bike, From: sheet.Number, Slot: c.Slot, Setting: c.Setting, Cells: cells, State: "proposed"}, nil
}
