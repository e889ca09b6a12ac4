package intake

import (
	"errors"
	"fmt"
	"sort"
	"strconv"
	"strings"

	"github.com/pelletier/go-toml/v2"

	"cornerwright/internal/intake/table"
	"cornerwright/internal/recording"
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
	fail := func(i int, key, text, mend string) error {
		line, src := 0, ""
		if i < len(at) {
			line, src = at[i].find(key)
		}
		return &Error{File: name, Line: line, Column: 1, Text: text, Mend: mend, Source: src}
	}
	if m.RateHz < 0 || m.RateHz > 1e6 {
		return nil, &Error{File: name, Text: fmt.Sprintf("rate_hz = %g is no sample rate", m.RateHz), Mend: "give rows per second, as rate_hz = 100"}
	}
	if m.Decimal != "" && m.Decimal != "." && m.Decimal != "," {
		return nil, &Error{File: name, Text: fmt.Sprintf("decimal = %q", m.Decimal), Mend: `give decimal = "." or decimal = ","`}
	}
	if len(m.Delimiter) > 1 || m.Delimiter != "" && !strings.Contains(",;\t| ", m.Delimiter) {
		return nil, &Error{File: name, Text: fmt.Sprintf("delimiter = %q", m.Delimiter), Mend: `give one of "," ";" "\t" "|" " "`}
	}
	for i := range m.Columns {
		c := &m.Columns[i]
		if c.From == "" && c.Index == 0 {
			return nil, fail(i, "", fmt.Sprintf("column entry %d names no column of the file", i+1), `add from = "name in the file", or index = 3`)
		}
		if c.Index < 0 {
			return nil, fail(i, "index", fmt.Sprintf("index = %d", c.Index), "columns count from 1")
		}
		if c.Unit != "" {
			if _, err := unit.Parse(c.Unit); err != nil {
				mend := "give a unit such as km/h, deg, bar, °C, %"
				if ue := (*unit.UnknownError)(nil); errors.As(err, &ue) && ue.Nearest != "" {
					mend = fmt.Sprintf("did you mean unit = %q?", ue.Nearest)
				}
				return nil, fail(i, "unit", err.Error(), mend)
			}
		}
		if c.Channel != "" && !canonical(c.Channel) && c.Channel != "ignore" {
			// An own name is allowed; one that is nearly a canonical name is a slip.
			if near := unit.Nearest(c.Channel, channelNames()); near != "" && closeTo(c.Channel, near) {
				return nil, fail(i, "channel", fmt.Sprintf("unknown channel %q", c.Channel), fmt.Sprintf("did you mean channel = %q? (a name of your own must differ more)", near))
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
		mend := "known keys: " + strings.Join(mapKeys, ", ")
		if near := unit.Nearest(last, mapKeys); near != "" {
			mend = fmt.Sprintf("did you mean %q?", near)
		}
		return &Error{File: name, Line: row, Column: col, Text: fmt.Sprintf("unknown key %q", key), Mend: mend, Source: src(row)}
	}
	var de *toml.DecodeError
	if errors.As(err, &de) {
		row, col := de.Position()
		return &Error{File: name, Line: row, Column: col, Text: strings.TrimPrefix(de.Error(), "toml: "), Mend: "mend the line; docs/formats.md shows a whole column map", Source: src(row)}
	}
	return &Error{File: name, Text: err.Error(), Mend: "docs/formats.md shows a whole column map"}
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

// closeTo tells whether two names are within two edits.
func closeTo(a, b string) bool {
	return unit.Distance(a, b) <= 2
}

// find returns the entry for a column of the file, nil if there is none.
func (m *ColumnMap) find(cell, header string, index int) *MapColumn {
	if m == nil {
		return nil
	}
	for i := range m.Columns {
		c := &m.Columns[i]
		if c.Index == index && c.Index > 0 || c.From != "" && (c.From == cell || c.From == header) {
			return c
		}
	}
	for i := range m.Columns {
		if c := &m.Columns[i]; c.From != "" && foldName(c.From) != "" && foldName(c.From) == foldName(header) {
			return c
		}
	}
	return nil
}

// unused returns the entries that meet no column.
func (m *ColumnMap) unused(cols []ColumnInfo) []MapColumn {
	if m == nil {
		return nil
	}
	var out []MapColumn
	for i := range m.Columns {
		used := false
		for _, c := range cols {
			used = used || m.find(c.Cell, c.Header, c.Index) == &m.Columns[i]
		}
		if !used {
			out = append(out, m.Columns[i])
		}
	}
	return out
}

// writeMap prints what was decided as a column map to edit.
func writeMap(cols []ColumnInfo, rate float64) string {
	var b strings.Builder
	b.WriteString("# Column map: edit and give it back with --map. Leave out what is right.\n")
	if rate > 0 {
		fmt.Fprintf(&b, "rate_hz = %s\n", strconv.FormatFloat(rate, 'g', -1, 64))
	}
	names := map[string]int{}
	for _, c := range cols {
		names[c.Header]++
	}
	for _, c := range cols {
		b.WriteString("\n[[column]]\n")
		if c.Header != "" && names[c.Header] == 1 {
			fmt.Fprintf(&b, "from = %s\n", tomlString(c.Header))
		} else {
			fmt.Fprintf(&b, "index = %d\n", c.Index)
		}
		ch := c.Channel
		if ch == "" {
			ch = "ignore"
		}
		fmt.Fprintf(&b, "channel = %s", tomlString(ch))
		if len(c.Alternatives) > 0 {
			alt := append([]string(nil), c.Alternatives...)
			sort.Strings(alt)
			fmt.Fprintf(&b, "  # or: %s", strings.Join(alt, ", "))
		}
		b.WriteString("\n")
		if c.Unit != "" {
			fmt.Fprintf(&b, "unit = %s\n", tomlString(c.Unit))
		}
		if c.Why != "" {
			fmt.Fprintf(&b, "# %s\n", strings.ReplaceAll(c.Why, "\n", " "))
		}
	}
	return b.String()
}

func tomlString(s string) string {
	var b strings.Builder
	b.WriteByte('"')
	for _, r := range s {
		switch {
		case r == '"' || r == '\\':
			b.WriteByte('\\')
			b.WriteRune(r)
		case r == '\n':
			b.WriteString(`\n`)
		case r == '\t':
			b.WriteString(`\t`)
		case r < 0x20 || r == 0x7f:
			fmt.Fprintf(&b, `\u%04X`, r)
		default:
			b.WriteRune(r)
		}
	}
	b.WriteByte('"')
	return b.String()
}
