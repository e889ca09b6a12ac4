package intake

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"cornerwright/internal/intake/table"
	"cornerwright/internal/recording"
	"cornerwright/internal/say"
	"cornerwright/internal/unit"
)

func quantityOf(ch string) say.Text {
	if ch == timeChannel {
		return say.T("time")
	}
	d, _ := recording.Of(ch)
	if d.Quantity == unit.None {
		return say.T("a plain number")
	}
	return say.Key(string(d.Quantity))
}

// fits tells whether a column may be a channel by its unit and kind.
func fits(c *column, ch, unitText string) bool {
	if ch == timeChannel {
		if c.Kind == table.Clock || c.Kind == table.DateTime {
			return true
		}
		u, err := unit.Parse(unitText)
		return c.Kind == table.Number && (unitText == "" || err == nil && (u.Quantity == unit.Time || u.Quantity == unit.None))
	}
	if c.Kind == table.Clock || c.Kind == table.DateTime {
		return false
	}
	if c.Kind == table.Degrees {
		return ch == recording.Latitude || ch == recording.Longitude
	}
	if c.Kind == table.Label || c.Kind == table.Skip {
		return c.Kind == table.Label && (ch == recording.Slot || ch == recording.Gear)
	}
	u, err := unit.Parse(unitText)
	if err != nil || unitText == "" {
		return true // an unknown unit is an error later, not another channel
	}
	d, _ := recording.Of(ch)
	if u.Quantity == d.Quantity || u.Quantity == unit.None {
		return true
	}
	switch ch {
	case recording.RPM:
		return u.Quantity == unit.Frequency || u.Symbol == "°"
	case recording.FrontSpeed, recording.RearSpeed:
		return u.Quantity == unit.AngularRate || u.Quantity == unit.Frequency
	case recording.Slot, recording.LapMarker, recording.Gear:
		return u.Quantity == unit.Ratio && u.Symbol == "ratio"
	case recording.Grip, recording.Throttle:
		return u.Quantity == unit.Angle
	}
	return false
}

// unitOf settles the unit of a column and with it its conversion.
func (s *source) unitOf(c *column, m *overrides, tail string) *Error {
	c.spec = spec{Mul: 1, Div: 1, Scale: 1}
	ch := c.info.Channel
	if ch == "" {
		return nil
	}
	if o := c.own; o != nil && !c.told && ch == o.Name {
		c.spec = o.Spec
		if o.Rescaled != 0 {
			c.spec.Scale *= o.Rescaled
		}
		c.info.Unit, c.info.Stated = o.SourceUnit, true
		return nil
	}
	if c.Kind == table.Label {
		return s.labelSpec(c)
	}
	text, stated := c.Unit, c.Unit != ""
	if !stated && tail != "" {
		text, stated = tail, true
		// "ms" behind the name of a speed is metres per second.
		if d, _ := recording.Of(ch); tail == "ms" && d.Quantity == unit.Speed {
			text = "m/s"
		}
	}
	c.info.Stated = stated
	var u unit.Unit
	d, known := recording.Of(ch)
	isTime := ch == timeChannel
	if stated {
		var err error
		u, err = unit.Parse(text)
		if err != nil {
			if !known && !isTime {
				// An own channel keeps its numbers and its unit's spelling.
				c.info.Unit = text
				ue := (*unit.UnknownError)(nil)
				mend := say.T("nothing to do unless you need it in SI: then state its unit in a column map")
				if errors.As(err, &ue) && ue.Nearest != "" {
					mend = say.T("if {nearest} is meant, state it in a column map", fmt.Sprintf("%q", ue.Nearest))
				}
				s.problem(recording.Note, s.headerLine, c.Index, ch, say.T("column {header}: unit {text} is not known, its numbers are kept as they are", fmt.Sprintf("%q", c.Header), fmt.Sprintf("%q", text)), mend)
				return nil
			}
			ue := (*unit.UnknownError)(nil)
			mend := say.T(`state the unit in a column map: from = {header}, unit = "..."`, fmt.Sprintf("%q", c.Header))
			if errors.As(err, &ue) && ue.Nearest != "" {
				mend = say.T("did you mean {nearest}? State it in a column map: from = {header}, unit = {nearest}", fmt.Sprintf("%q", ue.Nearest), fmt.Sprintf("%q", c.Header))
			}
			return &Error{File: s.name, Line: s.headerLine, Column: c.Index, Text: say.T("column {header}: unknown unit {text}", fmt.Sprintf("%q", c.Header), fmt.Sprintf("%q", text)), Mend: mend, Source: s.headerText}
		}
	}
	if d, known := recording.Of(ch); known && stated && !fits(c, ch, text) && m.find(c.Cell, c.Header, c.Index) != nil {
		// Only a column map gives a channel to a column of another quantity.
		what := say.T("no unit of {quantity}", string(d.Quantity))
		if d.Quantity == unit.None {
			what = say.T("a unit, where {ch} is a plain number", ch)
		}
		return &Error{File: s.name, Line: s.headerLine, Column: c.Index, Text: say.T("column {header} is {ch} by the column map, but {text} is {what}", fmt.Sprintf("%q", c.Header), ch, fmt.Sprintf("%q", text), what), Mend: say.T("state its true unit in the column map, or another channel: from = {header}", fmt.Sprintf("%q", c.Header)), Source: s.headerText}
	}
	plain := !stated || u.Quantity == unit.None
	var why say.Text
	switch {
	case isTime && (plain || c.Kind != table.Number):
		u, why = timeUnit(c)
	case isTime && u.Quantity != unit.Time:
		return &Error{File: s.name, Line: s.headerLine, Column: c.Index, Text: say.T("time column {header} is in {text}, which is no time", fmt.Sprintf("%q", c.Header), fmt.Sprintf("%q", text)), Mend: say.T("state s or ms in a column map"), Source: s.headerText}
	case known && plain && d.Quantity != unit.None:
		var doubt say.Text
		u, why, doubt = s.inferWith(ch, c)
		if doubt != "" {
			s.problem(recording.Warning, s.headerLine, c.Index, ch, say.T("column {header} states no unit: {doubt}", fmt.Sprintf("%q", c.Header), doubt), say.T(`state it in a column map: from = {header}, unit = "..."`, fmt.Sprintf("%q", c.Header)))
		} else if ch != recording.Lambda && ch != recording.Clutch && ch != recording.Latitude && ch != recording.Longitude {
			s.problem(recording.Note, s.headerLine, c.Index, ch, say.T("column {header} states no unit: {why}", fmt.Sprintf("%q", c.Header), why), say.T("if that is wrong, state it in a column map"))
		}
	case known && ch == recording.RPM && (u.Quantity == unit.Frequency || u.Quantity == unit.Angle):
		u = unit.Must("1/s")
	case known && recording.Turn(ch) > 0 && (u.Quantity == unit.AngularRate || u.Quantity == unit.Frequency):
		turn := 1.0 // Hz: turns a second
		if u.Quantity == unit.AngularRate {
			turn = 2 * math.Pi
		}
		s.problem(recording.Note, s.headerLine, c.Index, ch, say.T("column {header} counts turns of the wheel: {circumference} m a turn are taken", fmt.Sprintf("%q", c.Header), fmt.Sprintf("%.2f", recording.Turn(ch))), say.T("nothing to do: the run itself tells the circumference"))
		u = unit.Unit{Symbol: u.Symbol, Quantity: unit.Speed, Mul: orOne(u.Mul) * recording.Turn(ch), Div: orOne(u.Div) * turn}
	case known && (ch == recording.Grip || ch == recording.Throttle) && u.Quantity == unit.Angle:
		hi := quantile(c.values, 0.999)
		if hi <= 0 {
			hi = 90
		}
		u = unit.Unit{Symbol: "°", Quantity: unit.Ratio, Mul: 1, Div: hi}
		s.problem(recording.Warning, s.headerLine, c.Index, ch, say.T("column {header} is an angle: {hi}° is taken as fully open", fmt.Sprintf("%q", c.Header), num(hi)), say.T(`if another angle is fully open, state unit = "%" and scale = 100/angle in a column map for {header}`, fmt.Sprintf("%q", c.Header)))
	case known && u.Quantity == unit.Ratio && u.Symbol == "ratio" && d.Quantity == unit.Ratio && ch != recording.Lambda:
	case !known && u.Quantity == unit.AngularRate && strings.Contains(text, "rpm"):
	}
	if known && ch == recording.Lambda && u.Symbol != "AFR" && quantile(c.values, 0.5) > 5 {
		u = unit.Must("AFR")
		why = say.T("values fit air to fuel by mass, 14.7 at lambda 1")
		s.problem(recording.Note, s.headerLine, c.Index, ch, say.T("column {header} reads like air-fuel ratio: divided by 14.7 (petrol)", fmt.Sprintf("%q", c.Header)), say.T("state another scale in a column map for another fuel"))
	}
	if known && (ch == recording.Latitude || ch == recording.Longitude) {
		s.degrees(c, &u, ch)
	}
	c.spec = spec{Shift: u.Shift, Mul: orOne(u.Mul), Div: orOne(u.Div), Scale: 1}
	c.info.Unit = u.Symbol
	if why != "" && c.info.Why != "" {
		c.info.Why += "; " + why
	}
	if e := m.find(c.Cell, c.Header, c.Index); e != nil {
		if e.Scale != 0 {
			c.spec.Scale = e.Scale
		}
		c.spec.Shift += e.Offset
		if e.Invert {
			c.spec.Scale = -c.spec.Scale
		}
		c.info.Scale, c.info.Offset, c.info.Invert = e.Scale, e.Offset, e.Invert
	}
	return nil
}

func orOne(x float64) float64 {
	if x == 0 {
		return 1
	}
	return x
}

// labelSpec turns words to numbers: slot letters, gear names, else indexes.
func (s *source) labelSpec(c *column) *Error {
	c.info.Stated = true
	switch c.info.Channel {
	case recording.Slot:
		c.spec.Table = make([]float64, len(c.labels))
		for i, w := range c.labels {
			w = strings.ToUpper(strings.TrimSpace(w))
			w = strings.TrimSpace(strings.TrimPrefix(strings.TrimPrefix(w, "MAP"), "SLOT"))
			switch {
			case len(w) == 1 && w[0] >= 'A' && w[0] <= 'Z':
				c.spec.Table[i] = float64(w[0] - 'A')
			case len(w) == 1 && w[0] >= '1' && w[0] <= '9':
				c.spec.Table[i] = float64(w[0] - '1')
			default:
				c.spec.Table[i] = float64(i)
			}
		}
	case recording.Gear:
		c.spec.Table = make([]float64, len(c.labels))
		for i, w := range c.labels {
			w = strings.ToLower(strings.TrimSpace(w))
			v, ok := gearWords[w]
			if !ok && len(w) > 0 && w[len(w)-1] >= '0' && w[len(w)-1] <= '9' {
				v, ok = float64(w[len(w)-1]-'0'), true
			}
			if !ok {
				v = nan
			}
			c.spec.Table[i] = v
		}
	default:
		s.ownWords(c)
	}
	return nil
}

// ownWords keeps the words of an unknown column as their places in the order in
// which they first come, or as 0 and 1 where they are the words of a switch.
func (s *source) ownWords(c *column) {
	off, on := wordSet("off false no aus nein non"), wordSet("on true yes ein ja oui si an")
	c.spec.Table = make([]float64, len(c.labels))
	isSwitch := len(c.labels) <= 2
	for i, w := range c.labels {
		w = foldName(w)
		isSwitch = isSwitch && (off[w] || on[w])
		if on[w] {
			c.spec.Table[i] = 1
		}
	}
	if isSwitch {
		return
	}
	var list []string
	for i, w := range c.labels {
		c.spec.Table[i] = float64(i)
		list = append(list, fmt.Sprintf("%d = %q", i, table.Shorten([]byte(w))))
	}
	s.problem(recording.Note, s.headerLine, c.Index, c.info.Channel, say.T("column {header} holds words, kept as numbers: {list}", fmt.Sprintf("%q", c.Header), shortList(list)), say.T("nothing to do; the original keeps them"))
}

// inferWith is inferUnit for one axis of a sensor of three: the axes share their
// unit, and one that hardly moves says little alone. Gravity on the upright one
// decides for accelerations, the largest of the three for rates.
func (s *source) inferWith(ch string, c *column) (u unit.Unit, why, doubt say.Text) {
	switch ch {
	case recording.AccelX, recording.AccelY:
		if z := s.column(recording.AccelZ); z != nil && z.Unit == "" && len(z.values) > 0 {
			u, why, doubt = inferUnit(recording.AccelZ, z.values)
			return u, say.T("{why}, as accel_z", why), doubt
		}
	case recording.RollRate, recording.PitchRate, recording.YawRate:
		for _, n := range []string{recording.RollRate, recording.PitchRate, recording.YawRate} {
			if o := s.column(n); o != nil && o.Unit == "" && quantile(absOf(o.values), 0.99) > quantile(absOf(c.values), 0.99) {
				c = o
			}
		}
	}
	return inferUnit(ch, c.values)
}

// inferUnit guesses the unit of a column that states none from its values. doubt
// is not empty where another unit fits nearly as well; why says what decided.
func inferUnit(ch string, v []float64) (u unit.Unit, why, doubt say.Text) {
	lo, hi := quantile(v, 0.002), quantile(v, 0.998)
	m := math.Max(math.Abs(lo), math.Abs(hi))
	d, _ := recording.Of(ch)
	fits := func(sym string) (unit.Unit, say.Text, say.Text) {
		return unit.Must(sym), say.T("values up to {m} fit {sym}", num(m), sym), ""
	}
	ask := func(sym string, other say.Text) (unit.Unit, say.Text, say.Text) {
		return unit.Must(sym), say.T("values up to {m}, taken as {sym}", num(m), sym), say.T("values up to {m} may be {sym} or {other}: taken as {sym}", num(m), sym, other)
	}
	switch d.Quantity {
	case unit.Speed:
		switch {
		case m > 105:
			if m < 215 {
				return ask("km/h", "mph")
			}
			return fits("km/h")
		default:
			return ask("m/s", "km/h")
		}
	case unit.Angle:
		switch ch {
		case recording.Latitude, recording.Longitude:
			return fits("deg")
		}
		if m > 1.6 {
			return fits("deg")
		}
		return fits("rad")
	case unit.AngularRate:
		if ch == recording.RPM {
			if m > 2500 {
				return fits("1/min")
			}
			if m < 30 {
				return fits("1000/min")
			}
			return ask("rad/s", "1/min")
		}
		if m > 6 {
			return fits("deg/s")
		}
		return ask("rad/s", "deg/s")
	case unit.Acceleration:
		if ch == recording.AccelZ {
			if mid := math.Abs(quantile(v, 0.5)); mid > 4 {
				return fits("m/s2")
			}
			return fits("g")
		}
		if m > 3.2 {
			return fits("m/s2")
		}
		return fits("g")
	case unit.Ratio:
		switch {
		case ch == recording.Lambda:
			return fits("ratio")
		case m <= 1.3:
			return fits("ratio")
		case m <= 130:
			return fits("%")
		case m <= 1100:
			return fits("permille")
		}
		return ask("%", say.T("something else"))
	case unit.Pressure:
		switch {
		case m <= 0.5:
			return ask("bar", "MPa")
		case m <= 60:
			return fits("bar")
		case m <= 600:
			return ask("psi", "kPa")
		case m <= 20000:
			return fits("kPa")
		}
		return fits("Pa")
	case unit.Temperature:
		switch {
		case m > 230:
			return fits("K")
		case ch == recording.Coolant && m > 135, ch == recording.AirTemp && m > 62:
			return fits("°F")
		}
		return fits("°C")
	case unit.Length:
		if ch == recording.Altitude {
			return fits("m")
		}
		switch {
		case m > 20:
			return fits("mm")
		case m > 1: // a fork on a ridden bike moves further than 20 mm
			return ask("mm", say.T("cm or in"))
		}
		return fits("m")
	}
	return unit.Unit{}, "", ""
}
