package intake

import (
	"fmt"
	"math"

	"cornerwright/internal/recording"
	"cornerwright/internal/say"
	"cornerwright/internal/unit"
)

// What no motorcycle does, by which a stated unit shows itself a lie. Common
// practice but for gravity; docs/formats.md states them.
const (
	ridingSpeed  = 20.0 // m/s: whoever reaches it has opened the throttle and warmed the engine
	leastOpening = 0.015
	coolantLo    = 40 + 273.15 // of a warm engine, K
	coolantHi    = 118 + 273.15
	coolantNever = 140 + 273.15
	airLo        = -10 + 273.15
	airHi        = 50 + 273.15
	airNever     = 75 + 273.15
	brakeLo      = 3e5 // highest pressure of a run, Pa
	brakeHi      = 35e5
	brakeNever   = 150e5
)

// plausible holds each channel's stated unit against what it can be at all, by
// its own values alone. A change is made only where the values are impossible
// as they stand and one other unit explains them; what is only odd is proposed.
func (s *source) plausible(rec *recording.Recording) {
	riding := false
	for _, n := range []string{recording.GPSSpeed, recording.FrontSpeed, recording.RearSpeed} {
		if c := rec.Channel(n); c != nil && quantile(c.Value, 0.9) > ridingSpeed {
			riding = true
		}
	}
	for _, n := range []string{recording.Throttle, recording.Grip, recording.Cut, recording.Clutch} {
		s.judgeShare(rec, n, riding)
	}
	s.judgeTemperature(rec, recording.Coolant, riding, coolantLo, coolantHi, coolantNever)
	s.judgeTemperature(rec, recording.AirTemp, true, airLo, airHi, airNever)
	s.judgePressure(rec, recording.FrontBrake, riding)
	s.judgePressure(rec, recording.RearBrake, false)
	s.judgeGravity(rec)
	if riding {
		s.judgeEngine(rec)
	}
}

// stated returns a channel with its column and unit where the file or a map
// states one of quantity q.
func (s *source) stated(rec *recording.Recording, name string, q unit.Quantity) (*recording.Channel, *column, unit.Unit) {
	c, col := rec.Channel(name), s.column(name)
	if c == nil || col == nil || !col.info.Stated || col.spec.Table != nil || col.rescaled != 0 || len(c.Value) < 3 {
		return nil, nil, unit.Unit{}
	}
	u, err := unit.Parse(col.info.Unit)
	if err != nil || u.Quantity != q {
		return nil, nil, unit.Unit{}
	}
	return c, col, u
}

// propose marks a channel as suspect and says which unit would fit.
func (s *source) propose(rec *recording.Recording, c *recording.Channel, col *column, text say.Text, sym string) {
	c.Marks = append(c.Marks, recording.Mark{Kind: recording.Suspect, Span: rec.Span(), Text: text})
	mend := say.T(`check the unit; it is not changed. State it in a column map: from = {header}, unit = "..."`, fmt.Sprintf("%q", col.Header))
	if sym != "" {
		mend = say.T("if so, state it in a column map: from = {header}, unit = {sym}; it is not changed", fmt.Sprintf("%q", col.Header), fmt.Sprintf("%q", sym))
	}
	s.problem(recording.Warning, s.headerLine, col.Index, c.Name, text, mend)
}

// reunit reads a column anew in another unit and marks the channel.
func (s *source) reunit(rec *recording.Recording, c *recording.Channel, col *column, u unit.Unit, text say.Text) {
	if col.told {
		s.against(rec, c, col, text)
		return
	}
	old, _ := unit.Parse(col.info.Unit)
	extra := col.spec.Shift - old.Shift // a map's offset
	col.spec.Shift, col.spec.Mul, col.spec.Div = u.Shift+extra, orOne(u.Mul), orOne(u.Div)
	c.Step *= (orOne(u.Mul) / orOne(u.Div)) / (orOne(old.Mul) / orOne(old.Div))
	c.Time, c.Value = col.si(s.finalClock)
	c.Marks = append(c.Marks, recording.Mark{Kind: recording.Rescaled, Span: rec.Span(), Text: text})
	s.problem(recording.Warning, s.headerLine, col.Index, c.Name, say.T("{text}: put right", text), say.T("state it in a column map to be sure: from = {header}, unit = {symbol}", fmt.Sprintf("%q", col.Header), fmt.Sprintf("%q", u.Symbol)))
	col.info.Why += "; " + text
	col.info.Unit, c.SourceUnit = u.Symbol, u.Symbol
}

// judgeShare tells 0 to 1 from 0 to 100.
func (s *source) judgeShare(rec *recording.Recording, name string, riding bool) {
	c, col, u := s.stated(rec, name, unit.Ratio)
	if c == nil || u.Symbol != "%" && u.Symbol != "ratio" {
		return
	}
	top := quantile(c.Value, 0.999)
	opens := name == recording.Throttle || name == recording.Grip
	switch {
	case u.Symbol == "ratio" && top > 5 && top <= 130:
		s.reunit(rec, c, col, unit.Must("%"), say.T("{name} reaches {top} where 1 is all there is: the numbers are %", name, num(top)))
	case u.Symbol == "%" && top > 0.002 && top <= 0.0105:
		text := say.T("{name} never passes {top} %", name, num(100*top))
		switch {
		case opens && riding && top < leastOpening:
			s.reunit(rec, c, col, unit.Must("ratio"), text+say.T(", yet the bike rides beyond {ridingspeed} km/h: the numbers are shares, 0 to 1", num(ridingSpeed*3.6)))
		default:
			s.propose(rec, c, col, say.T("{text}: it may be written as shares, 0 to 1", text), "ratio")
		}
	}
}

// judgeTemperature tells degrees Celsius, Fahrenheit and kelvin apart.
func (s *source) judgeTemperature(rec *recording.Recording, name string, warm bool, lo, hi, never float64) {
	c, col, u := s.stated(rec, name, unit.Temperature)
	if c == nil {
		return
	}
	mid := quantile(c.Value, 0.5)
	raw := u.FromSI(mid)
	impossible := mid > never || mid < 200
	if !impossible && (mid <= hi && (mid >= lo || !warm)) {
		return
	}
	var fits []unit.Unit
	for _, sym := range []string{"°C", "°F", "K"} {
		if o := unit.Must(sym); o.Symbol != u.Symbol && o.ToSI(raw) >= lo && o.ToSI(raw) <= hi {
			fits = append(fits, o)
		}
	}
	text := say.T("{name} stands at {raw} {symbol} for half the run", name, num(raw), u.Symbol)
	switch {
	case impossible && len(fits) == 1:
		s.reunit(rec, c, col, fits[0], say.T("{text}, which cannot be: the numbers are {symbol}", text, fits[0].Symbol))
	case len(fits) == 1:
		s.propose(rec, c, col, say.T("{text}: it may be {symbol}", text, fits[0].Symbol), fits[0].Symbol)
	case impossible:
		s.propose(rec, c, col, say.T("{text}, which cannot be, and no unit explains it", text), "")
	}
}

// judgePressure tells the units of brake pressure apart by the highest of a run.
func (s *source) judgePressure(rec *recording.Recording, name string, braked bool) {
	c, col, u := s.stated(rec, name, unit.Pressure)
	if c == nil {
		return
	}
	top := quantile(c.Value, 0.999)
	if top <= brakeHi*1.15 && (top >= brakeLo/3 || !braked) || top <= 0 {
		return
	}
	raw := u.FromSI(top)
	var fits []unit.Unit
	for _, sym := range []string{"bar", "psi", "kPa", "Pa", "MPa"} {
		if o := unit.Must(sym); o.Symbol != u.Symbol && o.ToSI(raw) >= brakeLo && o.ToSI(raw) <= brakeHi {
			fits = append(fits, o)
		}
	}
	text := say.T("{name} reaches {raw} {symbol} in the run", name, num(raw), u.Symbol)
	switch {
	case top > brakeNever && len(fits) == 1:
		s.reunit(rec, c, col, fits[0], say.T("{text}, which no motorcycle's brake does: the numbers are {symbol}", text, fits[0].Symbol))
	case len(fits) > 0:
		list := fits[0].Symbol
		for _, f := range fits[1:] {
			list += " or " + f.Symbol
		}
		s.propose(rec, c, col, say.T("{text}: it may be {list}", text, list), fits[0].Symbol)
	}
}

// judgeGravity tells g from m/s2 by what the upright axis reads on average, near
// one g whatever is ridden; the other axes of the sensor go with it.
func (s *source) judgeGravity(rec *recording.Recording) {
	c, _, u := s.stated(rec, recording.AccelZ, unit.Acceleration)
	if c == nil {
		return
	}
	mid := math.Abs(quantile(c.Value, 0.5))
	var to unit.Unit
	switch g := unit.Must("g"); {
	case u.Symbol == "m/s2" && mid > 0.7 && mid < 1.5:
		to = g
	case u.Symbol == "g" && mid/9.80665 > 7 && mid/9.80665 < 15:
		to = unit.Must("m/s2")
	default:
		return
	}
	raw := u.FromSI(mid)
	for _, n := range []string{recording.AccelX, recording.AccelY, recording.AccelZ} {
		if c, col, o := s.stated(rec, n, unit.Acceleration); c != nil && o.Symbol == u.Symbol {
			s.reunit(rec, c, col, to, say.T("{n}: the upright axis reads {raw} {symbol} on average, where gravity is {x}: the numbers are {symbol2}", n, num(raw), u.Symbol, num(u.FromSI(9.80665)), to.Symbol))
		}
	}
}

// judgeEngine tests the unit of engine speed of a bike that rides.
func (s *source) judgeEngine(rec *recording.Recording) {
	c, col, u := s.stated(rec, recording.RPM, unit.AngularRate)
	if c == nil {
		return
	}
	top := quantile(c.Value, 0.99) * 60 / (2 * math.Pi)
	if top >= 2500 && top <= 20000 {
		return
	}
	raw := u.FromSI(quantile(c.Value, 0.99))
	for _, sym := range []string{"1/min", "1000/min", "1/s", "rad/s"} {
		o := unit.Must(sym)
		if v := o.ToSI(raw) * 60 / (2 * math.Pi); o.Symbol != u.Symbol && v >= 5000 && v <= 19000 {
			s.propose(rec, c, col, say.T("engine speed reaches {raw} {symbol}, {top} turns a minute, while the bike rides: it may be {symbol2}", num(raw), u.Symbol, num(math.Round(top)), o.Symbol), o.Symbol)
			return
		}
	}
	s.propose(rec, c, col, say.T("engine speed reaches {raw} {symbol}, {top} turns a minute, while the bike rides, and no unit explains it", num(raw), u.Symbol, num(math.Round(top))), "")
}
