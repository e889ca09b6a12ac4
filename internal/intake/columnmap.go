package intake

import (
	"errors"
	"fmt"
	"slices"
	"sort"
	"strconv"
	"strings"

	"github.com/pelletier/go-toml/v2"

	"cornerwright/internal/intake/table"
	"cornerwright/internal/recording"
	"cornerwright/internal/say"
	"cornerwright/internal/unit"
)

// ColumnMap overrides what intake finds out by itself. In TOML:
//
//	rate_hz = 100            # where the file has no time column
//	decimal = ","            # "." or ","
//	delimiter = ";"
//	header_line = 12
//
//	[[column]]
//	from = "v_rad_v"         # name in the file; or index = 3, from 1
//	channel = "front_speed"  # canonical name, "time", "ignore", or a name of your own
//	unit = "km/h"            # unit in the file
//	scale = 1.02             # applied after the unit, optional
//	offset = 0               # likewise, in the file's unit, before the scale
//	invert = true            # turn the sign round
type ColumnMap struct {
	RateHz     float64     `toml:"rate_hz"`
	Decimal    string      `toml:"decimal"`
	Delimiter  string      `toml:"delimiter"`
	HeaderLine int         `toml:"header_line"`
	NoHeader   bool        `toml:"no_header"`
	Columns    []MapColumn `toml:"column"`
}

// Head is what the map says of the file as a whole, as the file of a map has it.
func (m *ColumnMap) Head() string {
	var b strings.Builder
	if m.RateHz != 0 {
		fmt.Fprintf(&b, "rate_hz = %v\n", m.RateHz)
	}
	for _, s := range [][2]string{{"decimal", m.Decimal}, {"delimiter", m.Delimiter}} {
		if s[1] != "" {
			fmt.Fprintf(&b, "%s = %q\n", s[0], s[1])
		}
	}
	if m.HeaderLine != 0 {
		fmt.Fprintf(&b, "header_line = %d\n", m.HeaderLine)
	}
	if m.NoHeader {
		b.WriteString("no_header = true\n")
	}
	return b.String()
}

// MapColumn is one entry of a ColumnMap.
type MapColumn struct {
	From    string  `toml:"from"`
	Index   int     `toml:"index"`
	Channel string  `toml:"channel"`
	Unit    string  `toml:"unit"`
	Scale   float64 `toml:"scale"`
	Offset  float64 `toml:"offset"`
	Invert  bool    `toml:"invert"`
}

var mapKeys = []string{"rate_hz", "decimal", "delimiter", "header_line", "no_header", "column", "from", "index", "channel", "unit", "scale", "offset", "invert"}

// ParseColumnMap reads a column map; name is for messages. Errors are of type
// *Error and carry line and column, and for a wrong key the nearest right one.
func ParseColumnMap(name string, text []byte) (*ColumnMap, error) {
	var m ColumnMap
	dec := toml.NewDecoder(strings.NewReader(string(text)))
	dec.DisallowUnknownFields()
	if err := dec.Decode(&m); err != nil {
		return nil, mapError(name, text, err)
	}
	at := columnLines(text)
	fail := func(i int, key string, text, mend say.Text) error {
		line, src := 0, ""
		if i < len(at) {
			line, src = at[i].find(key)
		}
		return &Error{File: name, Line: line, Column: 1, Text: text, Mend: mend, Source: src}
	}
	if m.RateHz < 0 || m.RateHz > 1e6 {
		return nil, &Error{File: name, Text: say.T("rate_hz = {ratehz} is no sample rate", fmt.Sprintf("%g", m.RateHz)), Mend: say.T("give rows per second, as rate_hz = 100")}
	}
	if m.Decimal != "" && m.Decimal != "." && m.Decimal != "," {
		return nil, &Error{File: name, Text: say.T("decimal = {decimal}", fmt.Sprintf("%q", m.Decimal)), Mend: say.T(`give decimal = "." or decimal = ","`)}
	}
	if len(m.Delimiter) > 1 || m.Delimiter != "" && !strings.Contains(",;\t| ", m.Delimiter) {
		return nil, &Error{File: name, Text: say.T("delimiter = {delimiter}", fmt.Sprintf("%q", m.Delimiter)), Mend: say.T(`give one of "," ";" "\t" "|" " "`)}
	}
	for i := range m.Columns {
		c := &m.Columns[i]
		if c.From == "" && c.Index == 0 {
			return nil, fail(i, "", say.T("column entry {i} names no column of the file", i+1), say.T(`add from = "name in the file", or index = 3`))
		}
		if c.Index < 0 {
			return nil, fail(i, "index", say.T("index = {index}", c.Index), say.T("columns count from 1"))
		}
		own := c.Channel != "" && !canonical(c.Channel) && c.Channel != "ignore"
		if c.Unit != "" && !own { // a channel of one's own may have a unit of its own
			if _, err := unit.Parse(c.Unit); err != nil {
				mend := say.T("give a unit such as km/h, deg, bar, °C, %")
				if ue := (*unit.UnknownError)(nil); errors.As(err, &ue) && ue.Nearest != "" {
					mend = say.T("did you mean unit = {nearest}?", fmt.Sprintf("%q", ue.Nearest))
				}
				return nil, fail(i, "unit", say.Of(err), mend)
			}
		}
		if own && !c.ownName() {
			// An own name is allowed; one that is nearly a canonical name is a slip,
			// unless the file has it.
			if near := unit.Nearest(c.Channel, channelNames()); near != "" && closeTo(c.Channel, near) {
				return nil, fail(i, "channel", say.T("unknown channel {channel}", fmt.Sprintf("%q", c.Channel)), say.T("did you mean channel = {near}? (a name of your own must differ more)", fmt.Sprintf("%q", near)))
			}
		}
	}
	return &m, nil
}

func mapError(name string, text []byte, err error) error {
	lines := strings.Split(string(text), "\n")
	src := func(n int) string {
		if n >= 1 && n <= len(lines) {
			return table.Shorten([]byte(lines[n-1]))
		}
		return ""
	}
	var strict *toml.StrictMissingError
	if errors.As(err, &strict) && len(strict.Errors) > 0 {
		e := &strict.Errors[0]
		row, col := e.Position()
		key := strings.Join(e.Key(), ".")
		last := e.Key()[len(e.Key())-1]
		mend := say.T("known keys: {mapkeys}", strings.Join(mapKeys, ", "))
		if near := unit.Nearest(last, mapKeys); near != "" {
			mend = say.T("did you mean {near}?", fmt.Sprintf("%q", near))
		}
		return &Error{File: name, Line: row, Column: col, Text: say.T("unknown key {key}", fmt.Sprintf("%q", key)), Mend: mend, Source: src(row)}
	}
	var de *toml.DecodeError
	if errors.As(err, &de) {
		row, col := de.Position()
		return &Error{File: name, Line: row, Column: col, Text: say.WrongType(strings.TrimPrefix(de.Error(), "toml: ")), Mend: say.T("mend the line; docs/formats.md shows a whole column map"), Source: src(row)}
	}
	return &Error{File: name, Text: say.Of(err), Mend: say.T("docs/formats.md shows a whole column map")}
}

// tomlTable is where one [[column]] stands in the text.
type tomlTable struct {
	line  int
	lines []string
}

func (t tomlTable) find(key string) (int, string) {
	for i, l := range t.lines {
		if k, _, ok := strings.Cut(l, "="); ok && strings.TrimSpace(k) == key && key != "" {
			return t.line + i, strings.TrimSpace(l)
		}
	}
	if len(t.lines) > 0 {
		return t.line, strings.TrimSpace(t.lines[0])
	}
	return t.line, ""
}

func columnLines(text []byte) []tomlTable {
	var out []tomlTable
	for i, l := range strings.Split(string(text), "\n") {
		if strings.HasPrefix(strings.TrimSpace(l), "[[column]]") {
			out = append(out, tomlTable{line: i + 1})
		}
		if n := len(out); n > 0 {
			out[n-1].lines = append(out[n-1].lines, l)
		}
	}
	return out
}

func canonical(name string) bool {
	_, ok := recording.Of(name)
	return ok || name == timeChannel
}

func channelNames() []string {
	names := []string{timeChannel}
	for _, d := range recording.Catalogue() {
		names = append(names, d.Name)
	}
	return names
}

// ownName tells whether the channel's name is what an unknown column would get: its
// own, or one with its number behind it, as of a column that the file has twice.
func (c *MapColumn) ownName() bool {
	if c.Index > 0 && strings.HasSuffix(c.Channel, fmt.Sprintf("_%d", c.Index)) {
		return true
	}
	rest, ok := strings.CutPrefix(c.Channel, strings.ReplaceAll(foldName(c.From), " ", "_"))
	return ok && c.From != "" && strings.Trim(rest, "_0123456789") == ""
}

// closeTo tells whether two names are within one edit, or two where they are
// long.
func closeTo(a, b string) bool {
	return unit.Distance(a, b) <= min(2, max(1, len(a)/4))
}

// overrides is a column map made ready to be asked for thousands of columns.
type overrides struct {
	m       *ColumnMap
	byIndex map[int]int
	byName  map[string]int
	byFold  map[string]int
}

func (m *ColumnMap) ready() *overrides {
	o := &overrides{m: m, byIndex: map[int]int{}, byName: map[string]int{}, byFold: map[string]int{}}
	if m == nil {
		return o
	}
	for i, c := range slices.Backward(m.Columns) { // the first of several is right
		if c.Index > 0 {
			o.byIndex[c.Index] = i
		}
		if c.From != "" {
			o.byName[c.From] = i
			if f := foldName(c.From); f != "" {
				o.byFold[f] = i
			}
		}
	}
	return o
}

// find returns the entry for a column of the file, nil if there is none.
func (o *overrides) find(cell, header string, index int) *MapColumn {
	best := -1
	take := func(i int, ok bool) {
		if ok && (best < 0 || i < best) {
			best = i
		}
	}
	i, ok := o.byIndex[index]
	take(i, ok)
	i, ok = o.byName[cell]
	take(i, ok)
	i, ok = o.byName[header]
	take(i, ok)
	if best < 0 && len(o.byFold) > 0 {
		i, ok = o.byFold[foldName(header)]
		take(i, ok)
	}
	if best < 0 {
		return nil
	}
	return &o.m.Columns[best]
}

// unused returns the entries that meet no column.
func (o *overrides) unused(cols []ColumnInfo) []MapColumn {
	if o.m == nil {
		return nil
	}
	used := map[*MapColumn]bool{}
	for _, c := range cols {
		used[o.find(c.Cell, c.Header, c.Index)] = true
	}
	var out []MapColumn
	for i := range o.m.Columns {
		if !used[&o.m.Columns[i]] {
			out = append(out, o.m.Columns[i])
		}
	}
	return out
}

// writeMap prints what was decided as a column map to edit.
func writeMap(cols []ColumnInfo, rate float64, given *ColumnMap) string {
	var b strings.Builder
	b.WriteString("# Column map: edit and give it back with --map. Leave out what is right.\n")
	if rate > 0 {
		fmt.Fprintf(&b, "rate_hz = %s\n", strconv.FormatFloat(rate, 'g', -1, 64))
	}
	if given != nil {
		if given.Decimal != "" {
			fmt.Fprintf(&b, "decimal = %s\n", say.Quote(given.Decimal))
		}
		if given.Delimiter != "" {
			fmt.Fprintf(&b, "delimiter = %s\n", say.Quote(given.Delimiter))
		}
		if given.HeaderLine > 0 {
			fmt.Fprintf(&b, "header_line = %d\n", given.HeaderLine)
		}
		if given.NoHeader {
			b.WriteString("no_header = true\n")
		}
	}
	names := map[string]int{}
	for _, c := range cols {
		names[c.Header]++
	}
	for _, c := range cols {
		b.WriteString("\n[[column]]\n")
		if c.Header != "" && names[c.Header] == 1 {
			fmt.Fprintf(&b, "from = %s\n", say.Quote(c.Header))
		} else {
			fmt.Fprintf(&b, "index = %d\n", c.Index)
		}
		ch := c.Channel
		if ch == "" {
			ch = "ignore"
		}
		fmt.Fprintf(&b, "channel = %s", say.Quote(ch))
		if len(c.Alternatives) > 0 {
			alt := append([]string(nil), c.Alternatives...)
			sort.Strings(alt)
			fmt.Fprintf(&b, "  # or: %s", strings.Join(alt, ", "))
		}
		b.WriteString("\n")
		if c.Unit != "" {
			fmt.Fprintf(&b, "unit = %s\n", say.Quote(c.Unit))
		}
		if c.Scale != 0 {
			fmt.Fprintf(&b, "scale = %s\n", tomlNumber(c.Scale))
		}
		if c.Offset != 0 {
			fmt.Fprintf(&b, "offset = %s\n", tomlNumber(c.Offset))
		}
		if c.Invert {
			b.WriteString("invert = true\n")
		}
		if c.Why != "" {
			fmt.Fprintf(&b, "# %s\n", strings.ReplaceAll(c.Why.String(), "\n", " "))
		}
	}
	return b.String()
}

// tomlNumber prints a float so that it reads back to the same bits.
func tomlNumber(x float64) string {
	s := strconv.FormatFloat(x, 'g', -1, 64)
	if !strings.ContainsAny(s, ".eEn") {
		s += ".0"
	}
	return s
}
