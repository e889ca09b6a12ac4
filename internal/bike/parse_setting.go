package bike

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"cornerwright/internal/say"
	"cornerwright/internal/setting"
)

// axisUnits lists what a grid may be laid out over and in which units.
var axisUnits = map[string][]string{
	"lean": {"deg", "rad"}, "speed": {"km/h", "m/s", "mph"}, "rpm": {"rpm", "1/min"},
	"grip": {"%", "1"}, "throttle": {"%", "1"}, "gear": {"", "1"}, "slip": {"%", "1"},
	"front_brake": {"bar", "kPa", "MPa", "Pa", "psi"}, "accel": {"m/s2", "g"},
}

func axisNames() []string {
	var all []string
	for k := range axisUnits {
		all = append(all, k)
	}
	slices.Sort(all)
	return all
}

var settingID = regexp.MustCompile(`^[a-z][a-z0-9-]*$`)

func (p *parser) settings(n *node, b *Bike) {
	if n.kind != isTables {
		p.fail(n.key, say.T("write [[setting]] in double brackets, once for each"), say.T("setting is {n}, not a list of tables", n.describe()))
		return
	}
	seen := map[string]place{}
	for _, t := range n.items {
		s, values, ok := p.setting(t, b)
		if !ok {
			continue
		}
		if at, twice := seen[s.ID]; twice {
			p.fail(t.keys["id"].place, say.T("give each setting an id of its own"), say.T("setting {id} stands in line {line} already", fmt.Sprintf("%q", s.ID), at.line))
			continue
		}
		seen[s.ID] = t.place
		b.Settings = append(b.Settings, s)
		for slot, v := range values {
			if b.First[slot] == nil {
				b.First[slot] = map[string]setting.Values{}
			}
			b.First[slot][s.ID] = v
		}
	}
}

func (p *parser) setting(t *node, b *Bike) (setting.Setting, map[string]setting.Values, bool) {
	before := len(p.errs)
	var s setting.Setting
	var values *node
	text := func(to *string) func(string, *node) { return func(v string, _ *node) { *to = v } }
	p.table("setting", t, []field{
		{key: "id", must: true, eg: `id = "slip-target"`, text: func(v string, n *node) {
			if s.ID = v; !settingID.MatchString(v) {
				p.fail(n.place, say.T("use small letters, digits and hyphens, such as slip-target"), say.T("setting id {v} is not of the right form", fmt.Sprintf("%q", v)))
			}
		}},
		{key: "unit", must: true, text: text(&s.Unit), eg: `unit = "%"`},
		{key: "rows", node: func(n *node) { s.Rows = p.axis("rows", n) }},
		{key: "columns", node: func(n *node) { s.Columns = p.axis("columns", n) }},
		{key: "by", text: func(v string, n *node) {
			if s.By = v; v != "gear" {
				p.fail(n.place, say.T(`write by = "gear"`), say.T("a list by {v} is not known", fmt.Sprintf("%q", v)))
			}
		}, eg: `by = "gear"`},
		{key: "range", must: true, eg: "range = [1.0, 20.0]", node: func(n *node) {
			r := p.numbers("range", n)
			if r == nil {
				return
			}
			if len(r) != 2 || r[0] >= r[1] {
				p.fail(n.place, say.T("write the least and the greatest value: range = [least, greatest]"), say.T("range of a setting must be two numbers, the smaller first"))
				return
			}
			s.Range = [2]float64{r[0], r[1]}
		}},
		{key: "largest_step", must: true, eg: "largest_step = 1.0", lo: 1e-9, hi: 1e9, number: put(&s.LargestStep)},
		{key: "more", must: true, eg: `more = "what a larger value does"`, text: text(&s.More)},
		{key: "acts", text: text(&s.Acts), eg: `acts = "slip-target"`},
		{key: "values", must: true, eg: "[setting.values] with A = ... and B = ...", node: func(n *node) { values = n }},
	})
	rows, columns, by := t.keys["rows"] != nil, t.keys["columns"] != nil, t.keys["by"] != nil
	switch {
	case rows != columns:
		p.fail(t.place, say.T("a grid has both rows and columns; a list has by; a scalar has neither"), say.T("setting {id} has one axis only", fmt.Sprintf("%q", s.ID)))
	case rows && by:
		p.fail(t.keys["by"].key, say.T("remove by, or remove rows and columns"), say.T("setting {id} is both a grid and a list", fmt.Sprintf("%q", s.ID)))
	case rows:
		s.Kind = setting.Grid
	case by:
		s.Kind = setting.List
	default:
		s.Kind = setting.Scalar
	}
	if w := s.Range[1] - s.Range[0]; w > 0 && s.LargestStep > w {
		p.fail(t.keys["largest_step"].place, say.T("make it smaller than the range"), say.T("largest_step of {id} is {largeststep}, wider than its range", fmt.Sprintf("%q", s.ID), number(s.LargestStep)))
	}
	if s.Acts == "" {
		s.Acts = s.ID
	}
	if values == nil || len(p.errs) > before {
		return s, nil, false
	}
	v := p.values(s, values, b)
	return s, v, len(p.errs) == before
}

func (p *parser) axis(what string, n *node) setting.Axis {
	var a setting.Axis
	var unit *node
	p.table("setting."+what, n, []field{
		{key: "channel", must: true, eg: `channel = "lean"`, text: func(v string, at *node) {
			if a.Channel = v; axisUnits[v] == nil {
				mend := say.T("known: {axes}", strings.Join(axisNames(), ", "))
				if near := nearest(v, axisNames()); near != "" {
					mend = say.T("write {near}", strconv.Quote(near))
				}
				p.fail(at.place, mend, say.T("{what} over the channel {v}: not known", what, fmt.Sprintf("%q", v)))
			}
		}},
		{key: "unit", text: func(v string, at *node) { a.Unit, unit = v, at }, eg: `unit = "deg"`},
		{key: "points", must: true, eg: "points = [0, 15, 30]", node: func(v *node) {
			a.Points = p.numbers(say.Plain(what+".points"), v)
			for i := 1; i < len(a.Points); i++ {
				if a.Points[i] <= a.Points[i-1] {
					p.fail(v.items[i].place, say.T("list the points from small to large, each once"), say.T("{what}.points do not increase: {points} after {points2}", what, number(a.Points[i]), number(a.Points[i-1])))
					break
				}
			}
		}},
	})
	if units := axisUnits[a.Channel]; units != nil && !slices.Contains(units, a.Unit) {
		at, found := n.place, say.T("no unit")
		if unit != nil {
			at, found = unit.place, say.T("the unit {unit}", strconv.Quote(a.Unit))
		}
		p.fail(at, say.T("write one of: {units}", strings.Join(units, ", ")), say.T("{what} over {channel} has {found}", what, fmt.Sprintf("%q", a.Channel), found))
	}
	return a
}

// values reads the values of every slot and holds them against shape and range.
func (p *parser) values(s setting.Setting, n *node, b *Bike) map[string]setting.Values {
	if n.kind != isTable {
		p.fail(n.key, say.T("write [setting.values] with one key for each slot"), say.T("values of {id} is {n}, not a table", fmt.Sprintf("%q", s.ID), n.describe()))
		return nil
	}
	out := map[string]setting.Values{}
	for _, slot := range n.names {
		v := n.keys[slot]
		if !slotLetter.MatchString(slot) {
			p.fail(v.key, say.T("write one capital letter from A to H"), say.T("slot {slot} is not a letter of the bar switch", fmt.Sprintf("%q", slot)))
			continue
		}
		if got := p.shaped(s, slot, v, len(b.Drive.Gears)); got != nil {
			out[slot] = got
		}
	}
	for _, slot := range []string{b.Slots.Reference, b.Slots.Trial} {
		if slot != "" && n.keys[slot] == nil && n.keys[strings.ToLower(slot)] == nil {
			p.fail(n.place, say.T("add {slot} = ..., a copy of another slot if they are alike", slot), say.T("values of {id} for slot {slot} are missing", fmt.Sprintf("%q", s.ID), fmt.Sprintf("%q", slot)))
		}
	}
	return out
}

func (p *parser) shaped(s setting.Setting, slot string, v *node, gears int) setting.Values {
	what := say.T("{setting} in slot {slot}", s.ID, slot)
	inRange := func(row []float64, at func(int) place) bool {
		for i, x := range row {
			if x < s.Range[0] || x > s.Range[1] {
				p.fail(at(i), say.T("keep to the range {range} to {range2} {unit}", number(s.Range[0]), number(s.Range[1]), s.Unit), say.T("{what} holds {x}: out of its range", what, number(x)))
				return false
			}
		}
		return true
	}
	switch s.Kind {
	case setting.Scalar:
		if v.kind != isNumber {
			p.fail(v.place, say.T("write one number, or declare rows and columns or by"), say.T("{what} is {v}, but a scalar has one number", what, v.describe()))
			return nil
		}
		row := []float64{v.num}
		if !inRange(row, func(int) place { return v.place }) {
			return nil
		}
		return setting.Values{row}
	case setting.List:
		row := p.numbers(what, v)
		if row == nil || !inRange(row, func(i int) place { return v.items[i].place }) {
			return nil
		}
		if gears > 0 && len(row) != gears {
			p.fail(v.place, say.T("write one value for each of the {gears} gears", gears), say.T("{what} has {row} values", what, len(row)))
			return nil
		}
		return setting.Values{row}
	}
	if v.kind != isList || len(v.items) != len(s.Rows.Points) {
		found := v.describe()
		if v.kind == isList {
			found = say.T("{n} rows", len(v.items))
		}
		p.fail(v.place, say.T("write {points} rows, one for each point of rows", len(s.Rows.Points)), say.T("{what} is {found}", what, found))
		return nil
	}
	var out setting.Values
	for i, r := range v.items {
		row := p.numbers(say.T("row {i} of {what}", i+1, what), r)
		if row == nil || !inRange(row, func(j int) place { return r.items[j].place }) {
			return nil
		}
		if len(row) != len(s.Columns.Points) {
			p.fail(r.place, say.T("write {points} values, one for each point of columns", len(s.Columns.Points)), say.T("row {i} of {what} has {row} values", i+1, what, len(row)))
			return nil
		}
		out = append(out, row)
	}
	return out
}

// number prints a number as short as it can be read back.
func number(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }
