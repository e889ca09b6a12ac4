package intake

import (
	"fmt"
	"sort"
	"strings"

	"cornerwright/internal/intake/table"
	"cornerwright/internal/recording"
	"cornerwright/internal/say"
	"cornerwright/internal/signal"
	"cornerwright/internal/unit"
)

var leftOut = say.T("left out by the column map")

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
					return &Error{File: s.name, Line: s.headerLine, Column: c.Index, Text: say.T("the column map gives channel {channel} to {header} and to {header2}", fmt.Sprintf("%q", e.Channel), fmt.Sprintf("%q", old.Header), fmt.Sprintf("%q", c.Header)), Mend: say.T("keep one of them"), Source: s.headerText}
				}
				mapped[e.Channel] = c
				c.info.Channel, c.info.Why = e.Channel, say.T("stated by the column map")
				continue
			}
		}
		if c.fixed != "" {
			mapped[c.fixed] = c
			c.info.Channel, c.info.Why = c.fixed, say.T("by the format")
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
					c.info.Why = say.T("named like {channel}, but {c} is none of {channel2}", se.channel, kindWords(c, tailUnit[c]), quantityOf(se.channel))
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
			cl.c.info.Why = say.T("by its name")
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
		c.info.Why = say.T("a speed without saying whose")
		c.info.Alternatives = []string{recording.GPSSpeed, recording.FrontSpeed, recording.RearSpeed}
		s.problem(recording.Warning, s.headerLine, c.Index, ch, say.T("column {header} does not say whose speed it is: taken as {ch}", fmt.Sprintf("%q", c.Header), ch), say.T("state the channel in a column map: gps_speed, front_speed or rear_speed"))
	}
	taken := map[string]bool{}
	for _, c := range s.cols {
		taken[c.info.Channel] = true
	}
	for _, c := range s.cols {
		if c.info.Channel == "" && c.info.Why != leftOut {
			if c.Kind == table.Skip {
				c.info.Why = say.T("free text")
				s.problem(recording.Note, s.headerLine, c.Index, "", say.T("column {header} holds free text and is left out", fmt.Sprintf("%q", c.Header)), say.T("nothing to do; the original keeps it"))
				continue
			}
			c.info.Channel = s.ownName(c, taken)
			if len(c.info.Alternatives) > 0 {
				ch := c.info.Alternatives[0]
				c.info.Why = say.T("may be {ch} too, but {header} fits better", ch, fmt.Sprintf("%q", mapped[ch].Header))
				have, from := mapped[ch], fmt.Sprintf("from = %q", c.Header)
				text := say.T("columns {header} and {header2} may both be {ch}: {header} is taken", fmt.Sprintf("%q", have.Header), fmt.Sprintf("%q", c.Header), ch)
				if have.Cell == c.Cell { // by their names they cannot be told apart
					from = fmt.Sprintf("index = %d", c.Index)
					text = say.T("columns {index} and {index2} are both named {header} and may be {ch}: column {index} is taken", have.Index, c.Index, fmt.Sprintf("%q", c.Header), ch)
				}
				s.problem(recording.Warning, s.headerLine, c.Index, ch, text, say.T("if the other is meant, or it is another channel, state it in a column map: {from}, channel = {ch}", from, fmt.Sprintf("%q", ch)))
			} else if ch := c.info.misfit; ch != "" && mapped[ch] == nil {
				s.problem(recording.Warning, s.headerLine, c.Index, c.info.Channel, say.T("column {header} is {why}: kept under its own name", fmt.Sprintf("%q", c.Header), c.info.Why), say.T("if it is {ch} all the same, state channel = {ch2} and its true unit in a column map", ch, fmt.Sprintf("%q", ch)))
			} else if c.info.Why == "" {
				c.info.Why = say.T("no known name: kept under its own")
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
		mend := say.T("compare the map with the header")
		if near := unit.Nearest(what, heads); near != "" {
			mend = say.T("did you mean from = {near}?", fmt.Sprintf("%q", near))
		}
		s.problem(recording.Warning, s.headerLine, 0, "", say.T("the column map speaks of {what}, which the file has not", fmt.Sprintf("%q", what)), mend)
	}
	return nil
}

// adoptClock takes a column of instants for the clock where no name says which
// is: nothing else can be meant by one.
func (s *source) adoptClock(mapped map[string]*column) {
	for _, kind := range []table.Kind{table.DateTime, table.Clock} {
		for _, c := range s.cols {
			if c.Kind == kind && c.info.Why != leftOut && c.fixed == "" {
				c.info.Channel, c.info.Why = timeChannel, say.T("the only column of instants")
				mapped[timeChannel] = c
				s.problem(recording.Note, s.headerLine, c.Index, timeChannel, say.T("column {header} holds instants ({kind}) and is taken as the time", fmt.Sprintf("%q", c.Header), kind), say.T(`if that is wrong, state channel = "time" for another column in a column map`))
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
		c.info.Channel, c.info.Why = "", say.T("the date of the time of day")
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
func kindWords(c *column, tail string) say.Text {
	if u := firstOf(c.Unit, tail); u != "" {
		return say.T("its unit {u}", fmt.Sprintf("%q", u))
	}
	return say.T("what it holds ({kind})", say.Key(c.Kind.String()))
}

func appendNew(list []string, s string) []string {
	for _, x := range list {
		if x == s {
			return list
		}
	}
	return append(list, s)
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
	return signal.Nth(s, int(q*float64(len(s)-1)+0.5))
}
