package setting

import (
	"fmt"
	"math"
	"strings"
	"unicode/utf8"
)

// TableError says where in a pasted table something is wrong, what was found,
// and how to mend it. Line and Column count from 1; Column is the character at
// which the offending field starts.
type TableError struct {
	Line, Column int
	Text, Mend   string
}

func (e *TableError) Error() string {
	return fmt.Sprintf("%d:%d: %s; mend: %s", e.Line, e.Column, e.Text, e.Mend)
}

// FormatTable prints values as a plain table to be typed from or pasted: axis
// points on top and at the left with their units, tab between fields, one
// decimal sign throughout. ParseTable reads it back to the same values.
func FormatTable(s *Setting, v Values) string {
	var b strings.Builder
	switch s.Kind {
	case Grid:
		fmt.Fprintf(&b, "%s [%s] \\ %s [%s]", s.Rows.Channel, s.Rows.Unit, s.Columns.Channel, s.Columns.Unit)
		for _, p := range s.Columns.Points {
			b.WriteByte('\t')
			b.WriteString(Number(p))
		}
		b.WriteByte('\n')
		for i, row := range v {
			if i < len(s.Rows.Points) {
				b.WriteString(Number(s.Rows.Points[i]))
			}
			for _, x := range row {
				b.WriteByte('\t')
				b.WriteString(Number(x))
			}
			b.WriteByte('\n')
		}
	case List:
		b.WriteString(s.By)
		for j := range v[0] {
			fmt.Fprintf(&b, "\t%d", j+1)
		}
		fmt.Fprintf(&b, "\n%s [%s]", s.ID, s.Unit)
		for _, x := range v[0] {
			b.WriteByte('\t')
			b.WriteString(Number(x))
		}
		b.WriteByte('\n')
	default:
		fmt.Fprintf(&b, "%s [%s]\t%s\n", s.ID, s.Unit, Number(v.at(0, 0)))
	}
	return b.String()
}

// field is one entry of a pasted table with its place.
type field struct {
	text   string
	column int
}

// splitFields cuts a line at its separator: tab, else semicolon, else upright
// bar, else a comma that cannot be a decimal comma, else white space. Empty
// fields are kept with the first four, so that a hole is seen as one.
func splitFields(line string) (fields []field, holes bool) {
	sep := ""
	switch {
	case strings.Contains(line, "\t"):
		sep = "\t"
	case strings.Contains(line, ";"):
		sep = ";"
	case strings.Contains(line, "|"):
		sep = "|"
	case strings.Contains(line, ", ") || strings.Count(line, ",") > 0 && (strings.Contains(line, ".") || !strings.ContainsAny(strings.TrimSpace(line), " ")):
		sep = ","
	}
	if sep == "" {
		i := 0
		for i < len(line) {
			for i < len(line) && (line[i] == ' ' || line[i] == '\r') {
				i++
			}
			j := i
			for j < len(line) && line[j] != ' ' && line[j] != '\r' {
				j++
			}
			if j > i {
				fields = append(fields, field{line[i:j], utf8.RuneCountInString(line[:i]) + 1})
			}
			i = j
		}
		return fields, false
	}
	start := 0
	for {
		end := strings.Index(line[start:], sep)
		piece := line[start:]
		if end >= 0 {
			piece = line[start : start+end]
		}
		lead := len(piece) - len(strings.TrimLeft(piece, " \r"))
		fields = append(fields, field{strings.TrimSpace(piece), utf8.RuneCountInString(line[:start+lead]) + 1})
		if end < 0 {
			break
		}
		start += end + len(sep)
	}
	// A bar or separator at either end of the line frames the row and holds
	// nothing.
	if sep == "|" {
		if n := len(fields); n > 1 && fields[n-1].text == "" {
			fields = fields[:n-1]
		}
		if len(fields) > 1 && fields[0].text == "" {
			fields = fields[1:]
		}
	}
	return fields, true
}

type tableLine struct {
	number int
	text   string
	fields []field
}

// ParseTable reads values of a setting from plain text: a grid with or without
// its axis points, a list with or without the gears above it, or a single
// value. Fields are separated by tab, semicolon, upright bar, comma or spaces;
// the decimal sign is a point or a comma; a unit may follow a number or stand
// in brackets in the head. Gears is the number of gears, for a list.
//
// A hole, a row too short or too long, an axis point that is not the
// declaration's, a value in another unit or out of range is a *TableError.
func ParseTable(s *Setting, gears int, text string) (Values, error) {
	text = strings.TrimPrefix(text, "\ufeff")
	var lines []tableLine
	for i, l := range strings.Split(text, "\n") {
		l = strings.TrimRight(l, "\r")
		t := strings.TrimSpace(l)
		if t == "" || strings.HasPrefix(t, "#") || strings.Trim(t, "|-+: ") == "" {
			continue
		}
		f, _ := splitFields(l)
		lines = append(lines, tableLine{i + 1, l, f})
	}
	rows, columns := s.Shape(gears)
	if len(lines) == 0 {
		return nil, &TableError{1, 1, "the table is empty", fmt.Sprintf("give %d rows of %d values of %s", rows, columns, s.ID)}
	}
	var v Values
	var err error
	switch s.Kind {
	case Grid:
		v, err = parseGrid(s, lines, rows, columns)
	default:
		v, err = parseRow(s, lines, columns)
	}
	if err != nil {
		return nil, err
	}
	return v, nil
}

// headUnit returns the unit in brackets of a head such as "lean [deg]".
func headUnit(head string) (string, bool) {
	i := strings.IndexAny(head, "[(")
	j := strings.IndexAny(head, "])")
	if i < 0 || j < i {
		return "", false
	}
	return strings.TrimSpace(head[i+1 : j]), true
}

func checkAxisUnit(a Axis, head field, line int) error {
	u, ok := headUnit(head.text)
	if !ok || normalUnit(u) == normalUnit(a.Unit) {
		return nil
	}
	return &TableError{line, head.column, fmt.Sprintf("the %s axis is in %s here, in %s on the bike", a.Channel, u, a.Unit),
		fmt.Sprintf("give the %s points in %s: %s", a.Channel, a.Unit, pointList(a))}
}

func pointList(a Axis) string {
	t := make([]string, len(a.Points))
	for i, p := range a.Points {
		t[i] = Number(p)
	}
	return strings.Join(t, ", ")
}

func parseGrid(s *Setting, lines []tableLine, rows, columns int) (Values, error) {
	hasHead := false
	first := lines[0]
	if len(first.fields) > 0 {
		if _, _, err := splitUnit(first.fields[0].text); err != nil {
			hasHead = true
		} else if len(lines) == rows+1 && len(first.fields) == columns {
			hasHead = true // column points alone, without a corner
		}
	}
	if hasHead {
		if err := checkHead(s, first, columns); err != nil {
			return nil, err
		}
		lines = lines[1:]
	}
	if len(lines) != rows {
		last := lines[max(len(lines)-1, 0):]
		at := first.number
		if len(last) > 0 {
			at = last[0].number
		}
		return nil, &TableError{at, 1, fmt.Sprintf("%d rows of values found, %s has %d", len(lines), s.ID, rows),
			fmt.Sprintf("one row for each %s point: %s %s", s.Rows.Channel, pointList(s.Rows), s.Rows.Unit)}
	}
	v := make(Values, rows)
	for i, l := range lines {
		f := l.fields
		if len(f) == columns+1 {
			x, unit, err := splitUnit(f[0].text)
			if err != nil || unit != "" && normalUnit(unit) != normalUnit(s.Rows.Unit) || !near(x, s.Rows.Points[i]) {
				return nil, &TableError{l.number, f[0].column, fmt.Sprintf("row %d is for %s %q, the bike has %s %s there", i+1, s.Rows.Channel, f[0].text, Number(s.Rows.Points[i]), s.Rows.Unit),
					"rows must stand in the bike's order: " + pointList(s.Rows) + " " + s.Rows.Unit}
			}
			f = f[1:]
		}
		row, err := parseValues(s, l, f, columns, func(j int) string { return s.CellName(i, j) })
		if err != nil {
			return nil, err
		}
		v[i] = row
	}
	return v, nil
}

func checkHead(s *Setting, l tableLine, columns int) error {
	f := l.fields
	points := f
	if len(f) == columns+1 {
		head := f[0]
		// "lean [deg] \ speed [km/h]" names both axes; a lone name is the rows'.
		if rowHead, columnHead, two := strings.Cut(head.text, "\\"); two {
			if err := checkAxisUnit(s.Rows, field{rowHead, head.column}, l.number); err != nil {
				return err
			}
			if err := checkAxisUnit(s.Columns, field{columnHead, head.column + utf8.RuneCountInString(rowHead) + 1}, l.number); err != nil {
				return err
			}
		} else if strings.Contains(strings.ToLower(head.text), s.Rows.Channel) {
			if err := checkAxisUnit(s.Rows, head, l.number); err != nil {
				return err
			}
		}
		points = f[1:]
	} else if len(f) > columns && len(l.fields) > 0 {
		// A head in words separated by blanks: the last fields are the points.
		points = f[len(f)-columns:]
	}
	if len(points) != columns {
		return &TableError{l.number, 1, fmt.Sprintf("the head has %d %s points, %s has %d", len(points), s.Columns.Channel, s.ID, columns),
			"head the table with " + pointList(s.Columns) + " " + s.Columns.Unit}
	}
	for j, p := range points {
		x, unit, err := splitUnit(p.text)
		if err == nil && (unit == "" || normalUnit(unit) == normalUnit(s.Columns.Unit)) && near(x, s.Columns.Points[j]) {
			continue
		}
		return &TableError{l.number, p.column, fmt.Sprintf("column %d is for %s %q, the bike has %s %s there", j+1, s.Columns.Channel, p.text, Number(s.Columns.Points[j]), s.Columns.Unit),
			"columns must stand in the bike's order: " + pointList(s.Columns) + " " + s.Columns.Unit}
	}
	return nil
}

func near(a, b float64) bool { return math.Abs(a-b) <= 1e-6*math.Max(1, math.Abs(b)) }

func parseRow(s *Setting, lines []tableLine, columns int) (Values, error) {
	l := lines[len(lines)-1]
	if len(lines) > 2 || len(lines) == 2 && s.Kind == Scalar {
		return nil, &TableError{lines[1].number, 1, fmt.Sprintf("%d rows found, %s has one", len(lines), s.ID), "give its values in one row"}
	}
	f := l.fields
	if len(f) > 0 {
		if _, _, err := splitUnit(f[0].text); err != nil && f[0].text != "" && f[0].text != "-" {
			if u, ok := headUnit(f[0].text); ok {
				if err := sameUnit(u, s, 1); err != nil {
					return nil, &TableError{l.number, f[0].column, err.Error(), "give the values in " + orOne(s.Unit).String()}
				}
				f = f[1:]
			} else if len(f) > columns {
				// A name in words, then the values.
				k := len(f) - columns
				if u, ok := headUnit(f[k-1].text); ok {
					if err := sameUnit(u, s, 1); err != nil {
						return nil, &TableError{l.number, f[k-1].column, err.Error(), "give the values in " + orOne(s.Unit).String()}
					}
				}
				f = f[k:]
			}
		}
	}
	// "engine-brake [%] 50 50": a bracket set off by a blank is a field of its own.
	if len(f) > columns {
		if u, ok := headUnit(f[0].text); ok {
			if err := sameUnit(u, s, 1); err != nil {
				return nil, &TableError{l.number, f[0].column, err.Error(), "give the values in " + orOne(s.Unit).String()}
			}
			f = f[1:]
		}
	}
	row, err := parseValues(s, l, f, columns, func(j int) string { return s.CellName(0, j) })
	if err != nil {
		return nil, err
	}
	return Values{row}, nil
}

func parseValues(s *Setting, l tableLine, f []field, columns int, name func(int) string) ([]float64, error) {
	for j, x := range f {
		if x.text == "" || x.text == "-" || x.text == "?" {
			at := name(j)
			if at != "" {
				at = " at " + at
			}
			return nil, &TableError{l.number, x.column, fmt.Sprintf("%s has a hole%s", s.ID, at), "give every cell a value; copy the bike's present value where nothing changes"}
		}
	}
	// A unit set off by a blank ("12 %") is a field of its own in a table
	// separated by blanks: join it to its number.
	if len(f) > columns {
		var joined []field
		for _, x := range f {
			if n := len(joined); n > 0 && normalUnit(x.text) == normalUnit(s.Unit) && x.text != "" {
				joined[n-1].text += " " + x.text
				continue
			}
			joined = append(joined, x)
		}
		f = joined
	}
	if len(f) != columns {
		at := utf8.RuneCountInString(l.text) + 1
		if len(f) > columns {
			at = f[columns].column
		}
		return nil, &TableError{l.number, at, fmt.Sprintf("%d values found, %s needs %d in a row", len(f), s.ID, columns), "give every cell a value, separated by tabs or semicolons"}
	}
	row := make([]float64, columns)
	for j, x := range f {
		val, unit, err := splitUnit(x.text)
		if err != nil {
			return nil, &TableError{l.number, x.column, fmt.Sprintf("%q is not a number", x.text), "write it like 12.5 or 12,5, with no unit or with " + orOne(s.Unit).String()}
		}
		if err := sameUnit(unit, s, val); err != nil {
			return nil, &TableError{l.number, x.column, fmt.Sprintf("%q is in the wrong unit: %v", x.text, err), "give the value in " + orOne(s.Unit).String()}
		}
		if s.hasRange() && (val < s.Range[0] || val > s.Range[1]) {
			at := name(j)
			if at != "" {
				at = " (" + at + ")"
			}
			e := &TableError{l.number, x.column, fmt.Sprintf("%s%s is outside the range %s..%s %s of %s", x.text, at, Number(s.Range[0]), Number(s.Range[1]), s.Unit, s.ID), "give a value inside the range, or mend the range in the bike file"}
			for _, k := range []float64{100, 0.01} {
				if y := val * k; s.Unit == "%" && y >= s.Range[0] && y <= s.Range[1] {
					e.Mend = fmt.Sprintf("give the value in %%: perhaps %s %% is meant", Number(y))
				}
			}
			return nil, e
		}
		row[j] = val
	}
	return row, nil
}
