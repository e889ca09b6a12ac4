package intake

import (
	"errors"
	"fmt"
	"math"
	"sort"
	"strings"

	"cornerwright/internal/intake/table"
	"cornerwright/internal/recording"
	"cornerwright/internal/unit"
)

const leftOut = "left out by the column map"

// decide gives each column its channel and unit.
func (s *source) decide(cm *ColumnMap) *Error {
	m := cm.ready()
	type claim struct {
		c    *column
		ch   string
		rank int
	}
	var claims []claim
	mapped := map[string]*column{}
	tailUnit := map[*column]string{}
	var generic []*column
	for _, c := range s.cols {
		c.info = ColumnInfo{Cell: c.Cell, Header: c.Header, Index: c.Index}
		if c.Header == "" {
			c.Header = fmt.Sprintf("column %d", c.Index)
			c.info.Header = c.Header
		}
		if e := m.find(c.Cell, c.Header, c.Index); e != nil {
			if e.Unit != "" {
				c.Unit = e.Unit
			}
			c.told = e.Unit != "" || e.Scale != 0 || e.Offset != 0 || e.Invert
			if e.Channel == "ignore" {
				c.info.Why = leftOut
				continue
			}
			if e.Channel != "" {
				if old := mapped[e.Channel]; old != nil {
					return &Error{File: s.name, Line: s.headerLine, Column: c.Index, Text: fmt.Sprintf("the column map gives channel %q to %q and to %q", e.Channel, old.Header, c.Header), Mend: "keep one of them", Source: s.headerText}
				}
				mapped[e.Channel] = c
				c.info.Channel, c.info.Why = e.Channel, "stated by the column map"
				continue
			}
		}
		if c.fixed != "" {
			mapped[c.fixed] = c
			c.info.Channel, c.info.Why = c.fixed, "by the format"
			continue
		}
		senses, tail := match(c.Header)
		if c.plain {
			senses, tail = nil, ""
		}
		if c.Unit == "" && tail != "" {
			tailUnit[c] = tail
		}
		for _, se := range senses {
			if !fits(c, se.channel, firstOf(c.Unit, tailUnit[c])) {
				if c.info.misfit == "" {
					c.info.misfit = se.channel
					c.info.Why = fmt.Sprintf("named like %s, but %s is none of %s", se.channel, kindWords(c, tailUnit[c]), quantityOf(se.channel))
				}
				continue
			}
			claims = append(claims, claim{c, se.channel, se.rank})
		}
		base := foldName(c.Header)
		if w := strings.Fields(base); tail != "" && len(w) > 1 && !genericSpeed[base] {
			for cut := 1; cut <= 3 && cut < len(w); cut++ {
				if b := strings.Join(w[:len(w)-cut], " "); genericSpeed[b] {
					base = b
				}
			}
		}
		if genericSpeed[base] && !c.plain && fits(c, recording.GPSSpeed, firstOf(c.Unit, tail)) {
			generic = append(generic, c)
		}
	}
	sort.SliceStable(claims, func(i, j int) bool {
		a, b := claims[i], claims[j]
		if a.rank != b.rank {
			return a.rank < b.rank
		}
		return len(a.c.values) > len(b.c.values)
	})
	for _, cl := range claims {
		switch holder := mapped[cl.ch]; {
		case holder == cl.c:
		case holder != nil:
			cl.c.info.Alternatives = appendNew(cl.c.info.Alternatives, cl.ch)
		case cl.c.info.Channel != "":
			cl.c.info.Alternatives = appendNew(cl.c.info.Alternatives, cl.ch)
		default:
			mapped[cl.ch] = cl.c
			cl.c.info.Channel = cl.ch
			cl.c.info.Why = "by its name"
		}
	}
	for _, c := range generic {
		if c.info.Channel != "" {
			continue
		}
		ch := ""
		switch {
		case mapped[recording.GPSSpeed] == nil && mapped[recording.Latitude] != nil:
			ch = recording.GPSSpeed
		case mapped[recording.FrontSpeed] == nil:
			ch = recording.FrontSpeed
		case mapped[recording.RearSpeed] == nil:
			ch = recording.RearSpeed
		}
		if ch == "" {
			continue
		}
		mapped[ch] = c
		c.info.Channel = ch
		c.info.Why = "a speed without saying whose"
		c.info.Alternatives = []string{recording.GPSSpeed, recording.FrontSpeed, recording.RearSpeed}
		s.problem(recording.Warning, s.headerLine, c.Index, ch, fmt.Sprintf("column %q does not say whose speed it is: taken as %s", c.Header, ch), "state the channel in a column map: gps_speed, front_speed or rear_speed")
	}
	taken := map[string]bool{}
	for _, c := range s.cols {
		taken[c.info.Channel] = true
	}
	for _, c := range s.cols {
		if c.info.Channel == "" && c.info.Why != leftOut {
			if c.Kind == table.Skip {
				c.info.Why = "free text"
				s.problem(recording.Note, s.headerLine, c.Index, "", fmt.Sprintf("column %q holds free text and is left out", c.Header), "nothing to do; the original keeps it")
				continue
			}
			c.info.Channel = s.ownName(c, taken)
			if len(c.info.Alternatives) > 0 {
				ch := c.info.Alternatives[0]
				c.info.Why = fmt.Sprintf("may be %s too, but %q fits better", ch, mapped[ch].Header)
				s.problem(recording.Warning, s.headerLine, c.Index, ch, fmt.Sprintf("columns %q and %q may both be %s: %q is taken", mapped[ch].Header, c.Header, ch, mapped[ch].Header), fmt.Sprintf("if that is wrong, state channel = %q for the other in a column map", ch))
			} else if ch := c.info.misfit; ch != "" && mapped[ch] == nil {
				s.problem(recording.Warning, s.headerLine, c.Index, c.info.Channel, fmt.Sprintf("column %q is %s: kept under its own name", c.Header, c.info.Why), fmt.Sprintf("if it is %s all the same, state channel = %q and its true unit in a column map", ch, ch))
			} else if c.info.Why == "" {
				c.info.Why = "no known name: kept under its own"
			}
		}
	}
	if mapped[timeChannel] == nil && s.clock == nil && (cm == nil || cm.RateHz == 0) {
		s.adoptClock(mapped)
	}
	if c := mapped[timeChannel]; c != nil {
		s.clock = c
	}
	s.dateColumn()
	for _, c := range s.cols {
		if err := s.unitOf(c, m, tailUnit[c]); err != nil {
			return err
		}
	}
	for _, e := range m.unused(s.infos()) {
		what := e.From
		if what == "" {
			what = fmt.Sprintf("index %d", e.Index)
		}
		var heads []string
		for _, c := range s.cols {
			heads = append(heads, c.Header)
		}
		mend := "compare the map with the header"
		if near := unit.Nearest(what, heads); near != "" {
			mend = fmt.Sprintf("did you mean from = %q?", near)
		}
		s.problem(recording.Warning, s.headerLine, 0, "", fmt.Sprintf("the column map speaks of %q, which the file has not", what), mend)
	}
	return nil
}

// adoptClock takes a column of instants for the clock where no name says which
// is: nothing else can be meant by one.
func (s *source) adoptClock(mapped map[string]*column) {
	for _, kind := range []table.Kind{table.DateTime, table.Clock} {
		for _, c := range s.cols {
			if c.Kind == kind && c.info.Why != leftOut && c.fixed == "" {
				c.info.Channel, c.info.Why = timeChannel, "the only column of instants"
				mapped[timeChannel] = c
				s.problem(recording.Note, s.headerLine, c.Index, timeChannel, fmt.Sprintf("column %q holds instants (%s) and is taken as the time", c.Header, kind), "if that is wrong, state channel = \"time\" for another column in a column map")
				return
			}
		}
	}
}

// dateColumn finds the date that goes with a time of day: a column of dates
// alone. It gives the recording its epoch and is no channel.
func (s *source) dateColumn() {
	if s.clock == nil || s.clock.Kind != table.Clock {
		return
	}
	for _, c := range s.cols {
		if c.Kind != table.Label || len(c.labels) == 0 || len(c.labels) > 3 {
			continue
		}
		sec, _, _, ok := table.ParseDateTime([]byte(c.labels[0] + " 00:00:00"))
		if !ok {
			continue
		}
		c.info.Channel, c.info.Why = "", "the date of the time of day"
		s.epochUnix = float64(sec)
		s.epochSet = true
		return
	}
}

func (s *source) infos() []ColumnInfo {
	out := make([]ColumnInfo, len(s.cols))
	for i, c := range s.cols {
		out[i] = c.info
		out[i].Samples = len(c.values)
	}
	return out
}

func (s *source) ownName(c *column, taken map[string]bool) string {
	name := strings.ReplaceAll(foldName(c.Header), " ", "_")
	if name == "" || canonical(name) {
		name = fmt.Sprintf("%s_%d", firstOf(name, "column"), c.Index)
	}
	if taken[name] {
		name = fmt.Sprintf("%s_%d", name, c.Index)
	}
	taken[name] = true
	return name
}

func firstOf(a, b string) string {
	if a != "" {
		return a
	}
	return b
}

// kindWords says what a column holds, for a message.
func kindWords(c *column, tail string) string {
	if u := firstOf(c.Unit, tail); u != "" {
		return fmt.Sprintf("its unit %q", u)
	}
	return "what it holds (" + c.Kind.String() + ")"
}

func appendNew(list []string, s string) []string {
	for _, x := range list {
		if x == s {
			return list
		}
	}
	return append(list, s)
}

func quantityOf(ch string) string {
	if ch == timeChannel {
		return "time"
	}
	d, _ := recording.Of(ch)
	if d.Quantity == unit.None {
		return "a plain number"
	}
	return string(d.Quantity)
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
				mend := "nothing to do unless you need it in SI: then state its unit in a column map"
				if errors.As(err, &ue) && ue.Nearest != "" {
					mend = fmt.Sprintf("if %q is meant, state it in a column map", ue.Nearest)
				}
				s.problem(recording.Note, s.headerLine, c.Index, ch, fmt.Sprintf("column %q: unit %q is not known, its numbers are kept as they are", c.Header, text), mend)
				return nil
			}
			ue := (*unit.UnknownError)(nil)
			mend := fmt.Sprintf("state the unit in a column map: from = %q, unit = \"...\"", c.Header)
			if errors.As(err, &ue) && ue.Nearest != "" {
				mend = fmt.Sprintf("did you mean %q? State it in a column map: from = %q, unit = %q", ue.Nearest, c.Header, ue.Nearest)
			}
			return &Error{File: s.name, Line: s.headerLine, Column: c.Index, Text: fmt.Sprintf("column %q: unknown unit %q", c.Header, text), Mend: mend, Source: s.headerText}
		}
	}
	plain := !stated || u.Quantity == unit.None
	why := ""
	switch {
	case isTime && (plain || c.Kind != table.Number):
		u, why = timeUnit(c)
	case isTime && u.Quantity != unit.Time:
		return &Error{File: s.name, Line: s.headerLine, Column: c.Index, Text: fmt.Sprintf("time column %q is in %q, which is no time", c.Header, text), Mend: "state s or ms in a column map", Source: s.headerText}
	case known && plain && d.Quantity != unit.None:
		var doubt string
		u, why, doubt = s.inferWith(ch, c)
		if doubt != "" {
			s.problem(recording.Warning, s.headerLine, c.Index, ch, fmt.Sprintf("column %q states no unit: %s", c.Header, doubt), fmt.Sprintf("state it in a column map: from = %q, unit = \"...\"", c.Header))
		} else if ch != recording.Lambda && ch != recording.Clutch && ch != recording.Latitude && ch != recording.Longitude {
			s.problem(recording.Note, s.headerLine, c.Index, ch, fmt.Sprintf("column %q states no unit: %s", c.Header, why), "if that is wrong, state it in a column map")
		}
	case known && ch == recording.RPM && (u.Quantity == unit.Frequency || u.Quantity == unit.Angle):
		u = unit.Must("1/s")
	case known && (ch == recording.Grip || ch == recording.Throttle) && u.Quantity == unit.Angle:
		hi := quantile(c.values, 0.999)
		if hi <= 0 {
			hi = 90
		}
		u = unit.Unit{Symbol: "°", Quantity: unit.Ratio, Mul: 1, Div: hi}
		s.problem(recording.Warning, s.headerLine, c.Index, ch, fmt.Sprintf("column %q is an angle: %s° is taken as fully open", c.Header, num(hi)), fmt.Sprintf("if another angle is fully open, state unit = \"%%\" and scale = 100/angle in a column map for %q", c.Header))
	case known && u.Quantity == unit.Ratio && u.Symbol == "ratio" && d.Quantity == unit.Ratio && ch != recording.Lambda:
	case !known && u.Quantity == unit.AngularRate && strings.Contains(text, "rpm"):
	}
	if known && ch == recording.Lambda && u.Symbol != "AFR" && quantile(c.values, 0.5) > 5 {
		u = unit.Must("AFR")
		why = "values fit air to fuel by mass, 14.7 at lambda 1"
		s.problem(recording.Note, s.headerLine, c.Index, ch, fmt.Sprintf("column %q reads like air-fuel ratio: divided by 14.7 (petrol)", c.Header), "state another scale in a column map for another fuel")
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
	s.problem(recording.Note, s.headerLine, c.Index, c.info.Channel, fmt.Sprintf("column %q holds words, kept as numbers: %s", c.Header, shortList(list)), "nothing to do; the original keeps them")
}

// inferWith is inferUnit for one axis of a sensor of three: the axes share their
// unit, and one that hardly moves says little alone. Gravity on the upright one
// decides for accelerations, the largest of the three for rates.
func (s *source) inferWith(ch string, c *column) (u unit.Unit, why, doubt string) {
	switch ch {
	case recording.AccelX, recording.AccelY:
		if z := s.column(recording.AccelZ); z != nil && z.Unit == "" && len(z.values) > 0 {
			u, why, doubt = inferUnit(recording.AccelZ, z.values)
			return u, why + ", as accel_z", doubt
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
func inferUnit(ch string, v []float64) (u unit.Unit, why, doubt string) {
	lo, hi := quantile(v, 0.002), quantile(v, 0.998)
	m := math.Max(math.Abs(lo), math.Abs(hi))
	d, _ := recording.Of(ch)
	say := func(sym string) (unit.Unit, string, string) {
		return unit.Must(sym), fmt.Sprintf("values up to %s fit %s", num(m), sym), ""
	}
	ask := func(sym, other string) (unit.Unit, string, string) {
		return unit.Must(sym), fmt.Sprintf("values up to %s, taken as %s", num(m), sym), fmt.Sprintf("values up to %s may be %s or %s: taken as %s", num(m), sym, other, sym)
	}
	switch d.Quantity {
	case unit.Speed:
		switch {
		case m > 105:
			if m < 215 {
				return ask("km/h", "mph")
			}
			return say("km/h")
		default:
			return ask("m/s", "km/h")
		}
	case unit.Angle:
		switch ch {
		case recording.Latitude, recording.Longitude:
			return say("deg")
		}
		if m > 1.6 {
			return say("deg")
		}
		return say("rad")
	case unit.AngularRate:
		if ch == recording.RPM {
			if m > 2500 {
				return say("1/min")
			}
			if m < 30 {
				return say("1000/min")
			}
			return ask("rad/s", "1/min")
		}
		if m > 6 {
			return say("deg/s")
		}
		return ask("rad/s", "deg/s")
	case unit.Acceleration:
		if ch == recording.AccelZ {
			if mid := math.Abs(quantile(v, 0.5)); mid > 4 {
				return say("m/s2")
			}
			return say("g")
		}
		if m > 3.2 {
			return say("m/s2")
		}
		return say("g")
	case unit.Ratio:
		switch {
		case ch == recording.Lambda:
			return say("ratio")
		case m <= 1.3:
			return say("ratio")
		case m <= 130:
			return say("%")
		case m <= 1100:
			return say("permille")
		}
		return ask("%", "something else")
	case unit.Pressure:
		switch {
		case m <= 0.5:
			return ask("bar", "MPa")
		case m <= 60:
			return say("bar")
		case m <= 600:
			return ask("psi", "kPa")
		case m <= 20000:
			return say("kPa")
		}
		return say("Pa")
	case unit.Temperature:
		switch {
		case m > 230:
			return say("K")
		case ch == recording.Coolant && m > 135, ch == recording.AirTemp && m > 62:
			return say("°F")
		}
		return say("°C")
	case unit.Length:
		if ch == recording.Altitude {
			return say("m")
		}
		if m > 1 {
			return say("mm")
		}
		return say("m")
	}
	return unit.Unit{}, "", ""
}

// quantile of a sample of the values; 0 for none.
func quantile(v []float64, q float64) float64 {
	stride := 1 + len(v)/20000
	s := make([]float64, 0, len(v)/stride+1)
	for i := 0; i < len(v); i += stride {
		if v[i] == v[i] {
			s = append(s, v[i])
		}
	}
	if len(s) == 0 {
		return 0
	}
	return nth(s, int(q*float64(len(s)-1)+0.5))
}
