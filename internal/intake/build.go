package intake

import (
	"fmt"
	"math"
	"sort"
	"strconv"
	"strings"
	"time"

	"cornerwright/internal/intake/table"
	"cornerwright/internal/recording"
	"cornerwright/internal/say"
	"cornerwright/internal/signal"
	"cornerwright/internal/unit"
)

// build turns a source into a recording.
func (s *source) build(opts Options) (*recording.Recording, *Error) {
	if err := s.decide(opts.Map); err != nil {
		return nil, err
	}
	if opts.Map != nil && opts.Map.RateHz > 0 {
		s.rate = opts.Map.RateHz
	}
	if s.clock == nil && s.rate == 0 {
		s.rate = preambleRate(s.preamble)
		if s.rate > 0 {
			s.problem(recording.Note, s.headerLine, 0, timeChannel, say.T("no time column: the head of the file says {rate} rows a second", num(s.rate)), say.T("if that is wrong, state rate_hz in a column map"))
		}
	}
	if s.clock == nil && s.rate == 0 {
		var heads []string
		for _, c := range s.cols {
			heads = append(heads, c.Header)
		}
		return nil, &Error{File: s.name, Line: s.headerLine, Column: 1, Text: say.T("no time column among {heads} {heads|column|columns} ({heads2})", len(heads), shortList(heads)), Mend: say.T(`name it in a column map (channel = "time"), or state rate_hz`), Source: s.headerText}
	}
	s.nmeaPair()
	clock, marks, err := s.fixClock()
	if err != nil {
		return nil, err
	}
	signal.Each(len(s.cols), func(k int) {
		if c := s.cols[k]; c.at == nil {
			c.compact()
		}
	})
	s.thinHeld(clock)
	rec := &recording.Recording{Format: s.format, Name: s.name, Rows: s.rows, Clock: append(marks, s.clockMarks...)}
	base := s.epoch(rec, clock)
	if base != 0 {
		for i := range clock {
			clock[i] -= base
		}
		for i := range rec.Clock {
			rec.Clock[i].From -= base
			rec.Clock[i].To -= base
		}
	}
	s.finalClock = clock
	known := 0
	made := make([]*recording.Channel, len(s.cols))
	signal.Each(len(s.cols), func(k int) {
		if c := s.cols[k]; c.info.Channel != "" && c != s.clock {
			made[k] = s.channel(c, clock)
		}
	})
	for k, c := range s.cols {
		ch := made[k]
		if ch == nil {
			continue
		}
		if len(ch.Value) == 0 {
			s.problem(recording.Note, s.headerLine, c.Index, c.info.Channel, say.T("column {header} is blank all the way", fmt.Sprintf("%q", c.Header)), say.T("nothing to do"))
			continue
		}
		if ch.Known {
			known++
		}
		rec.Channels = append(rec.Channels, ch)
	}
	if known == 0 {
		var heads []string
		for _, c := range s.cols {
			heads = append(heads, c.Header)
		}
		return nil, &Error{File: s.name, Line: s.headerLine, Column: 1, Text: say.T("none of the columns is known: {heads}", shortList(heads)), Mend: say.T(`map them in a column map: from = "name in the file", channel = "front_speed" and so on; docs/formats.md lists the names`), Source: s.headerText}
	}
	physics(s, rec)
	s.plausible(rec)
	if !opts.NoHealth {
		health(s, rec, opts.workers())
	}
	s.wanting(rec)
	sort.SliceStable(s.problems, func(i, j int) bool { return s.problems[i].Line < s.problems[j].Line })
	rec.Problems = s.problems
	return rec, nil
}

// channel converts a column's samples to SI.
func (s *source) channel(c *column, clock []float64) *recording.Channel {
	d, known := recording.Of(c.info.Channel)
	ch := &recording.Channel{Name: c.info.Channel, Known: known, From: c.Header, SourceUnit: c.info.Unit}
	if known {
		ch.Unit = d.Quantity.SI()
	} else if u, err := unit.Parse(c.info.Unit); err == nil {
		ch.Unit = u.Quantity.SI()
	} else {
		ch.Unit = c.info.Unit
	}
	sp := c.spec
	if c.info.Channel == recording.Slot && c.own == nil && sp.Table == nil && slotFromOne(c.values) {
		c.spec.Shift-- // slots numbered from 1
		sp = c.spec
	}
	ch.Time, ch.Value = c.si(clock)
	if c.decimals >= 0 && sp.Table == nil {
		ch.Step = math.Abs(math.Pow(10, -float64(c.decimals)) * sp.Mul / sp.Div * sp.Scale)
	}
	return ch
}

// si returns the column's samples in SI with their instants. A column without
// blanks shares the clock.
func (c *column) si(clock []float64) (t, v []float64) {
	v = make([]float64, len(c.values))
	sp := c.spec
	bad := 0
	switch {
	case sp.Table != nil:
		for i, x := range c.values {
			v[i] = sp.si(x)
			if v[i] != v[i] {
				bad++
			}
		}
	case sp.Shift == 0 && sp.Mul == 1 && sp.Div == 1 && sp.Scale == 1:
		copy(v, c.values)
	default:
		for i, x := range c.values {
			y := (x + sp.Shift) * sp.Mul / sp.Div * sp.Scale
			if v[i] = y; y-y != 0 { // beyond what a float64 holds
				v[i] = nan
				bad++
			}
		}
	}
	if c.at == nil && bad == 0 {
		return clock, v
	}
	t = make([]float64, 0, len(v))
	w := v[:0]
	for i, x := range v {
		if x == x {
			t = append(t, clock[c.row(i)])
			w = append(w, x)
		}
	}
	return t, w
}

// slotFromOne tells whether slots are numbered from 1 (never 0).
func slotFromOne(v []float64) bool {
	if len(v) == 0 {
		return false
	}
	for _, x := range v {
		if x < 1 {
			return false
		}
	}
	return true
}

// epoch finds the wall clock at time 0; it returns what to take off the clock.
func (s *source) epoch(rec *recording.Recording, clock []float64) float64 {
	if len(clock) == 0 {
		return 0
	}
	if s.epochUnix == s.epochUnix {
		rec.Epoch = unixTime(s.epochUnix)
		return 0
	}
	c := s.clock
	if c == nil {
		return 0
	}
	if c.Kind == table.DateTime {
		rec.Epoch = unixTime(float64(c.Base) + clock[0])
		return clock[0]
	}
	if c.Kind == table.Number && clock[0] > 1e9 && clock[0] < 4e9 { // Unix time
		rec.Epoch = unixTime(clock[0])
		return clock[0]
	}
	return 0
}

func unixTime(sec float64) time.Time {
	w := math.Floor(sec)
	return time.Unix(int64(w), int64(math.Round((sec-w)*1e9))).UTC()
}

// preambleRate finds a sample rate in the lines above the header.
func preambleRate(pre map[string]string) float64 {
	for k, v := range pre {
		f := foldName(k)
		if !strings.Contains(f, "rate") && !strings.Contains(f, "freq") && !strings.Contains(f, "abtast") && !strings.Contains(f, "hz") && !strings.Contains(f, "sampling") && !strings.Contains(f, "campion") && !strings.Contains(f, "muestre") {
			continue
		}
		num := strings.Fields(strings.ReplaceAll(v, ",", "."))
		if len(num) == 0 {
			continue
		}
		t := strings.TrimRight(strings.ToLower(num[0]), "hz")
		x, err := strconv.ParseFloat(t, 64)
		if err != nil || x <= 0 || x > 1e6 {
			continue
		}
		rest := strings.ToLower(v)
		if strings.Contains(rest, "khz") {
			x *= 1000
		}
		if strings.HasSuffix(rest, "ms") {
			x = 1000 / x
		}
		return x
	}
	return 0
}

// wanting says what the recording cannot give for lack of channels.
func (s *source) wanting(rec *recording.Recording) {
	speed := rec.Has(recording.GPSSpeed) || rec.Has(recording.FrontSpeed) || rec.Has(recording.RearSpeed)
	position := rec.Has(recording.Latitude, recording.Longitude)
	switch {
	case !speed && !position:
		s.problem(recording.Fault, s.headerLine, 0, "", say.T("neither speed nor position: no laps, no turns"), say.T("log GPS, or map the columns that hold speed and position"))
	case !position:
		s.problem(recording.Fault, s.headerLine, 0, "", say.T("no position: laps and turns cannot be found"), say.T("log GPS latitude and longitude, or map their columns"))
	case !speed:
		s.problem(recording.Note, s.headerLine, 0, "", say.T("no speed channel: speed is taken from position"), say.T("log wheel speeds for slip, blips and rolling radius"))
	case !rec.Has(recording.FrontSpeed) || !rec.Has(recording.RearSpeed):
		s.problem(recording.Note, s.headerLine, 0, "", say.T("not both wheel speeds: slip cannot be given"), say.T("log front and rear wheel speed"))
	}
}

func shortList(names []string) string {
	if len(names) > 12 {
		return strings.Join(names[:12], ", ") + fmt.Sprintf(" and %d more", len(names)-12)
	}
	return strings.Join(names, ", ")
}
