package table

import (
	"bytes"
	"strings"
	"unicode/utf8"

	"cornerwright/internal/say"
	"cornerwright/internal/unit"
)

// columns names the columns and finds what their cells hold.
func (d *Dialect) columns(rows [][]string, names, units []string, n int) {
	for c := range n {
		col := Column{Index: c + 1}
		if c < len(names) {
			col.Cell = names[c]
			col.Header, col.Unit = SplitHeader(cleanText(names[c]))
		}
		if c < len(units) && strings.TrimSpace(units[c]) != "" {
			if u := trimUnit(cleanText(units[c])); col.Unit == "" {
				col.Unit = u
			}
		}
		col.Kind, col.Day, col.Base = d.sample(rows, c)
		d.Columns = append(d.Columns, col)
	}
}

// sample finds the kind of a column from its first cells.
func (d *Dialect) sample(rows [][]string, c int) (kind Kind, day bool, base int64) {
	var n [Label + 1]int
	words := map[string]bool{}
	long := 0
	for _, r := range rows {
		if c >= len(r) || r[c] == "" {
			continue
		}
		k, ok := kindOf([]byte(r[c]), d.Decimal)
		if !ok {
			continue
		}
		n[k]++
		switch k {
		case Label:
			words[r[c]] = true
			if len(r[c]) > 40 {
				long++
			}
		case DateTime:
			if base == 0 {
				base, _, _, _ = ParseDateTime([]byte(r[c]))
			}
		}
	}
	best := Number
	for k := Clock; k <= Label; k++ {
		if n[k] > n[best] {
			best = k
		}
	}
	if best == Label && (long > 0 || len(words) > 64) {
		best = Skip
	}
	return best, best == DateTime, base
}

func allEmpty(rows [][]string, c int) bool {
	for _, r := range rows {
		if c < len(r) && r[c] != "" {
			return false
		}
	}
	return true
}

func numericShare(r []string, decimal byte) float64 {
	num, full := 0, 0
	for _, c := range r {
		if c == "" {
			continue
		}
		full++
		if k, ok := kindOf([]byte(c), decimal); ok && k != Label {
			num++
		}
	}
	if full == 0 {
		return 0
	}
	return float64(num) / float64(full)
}

// unitShare is the share of non-empty cells that are units; at least one must
// be a real unit (not a dash or a number).
func unitShare(r []string) float64 {
	n, full, real := 0, 0, 0
	for _, c := range r {
		c = strings.TrimSpace(cleanText(c))
		if c == "" {
			continue
		}
		full++
		if u, ok := unit.Lookup(trimUnit(c)); ok {
			n++
			if u.Quantity != unit.None {
				real++
			}
		} else if strings.HasPrefix(c, "[") && strings.HasSuffix(c, "]") {
			n, real = n+1, real+1 // an unknown unit in brackets is a unit still
		}
	}
	if full == 0 || real == 0 {
		return 0
	}
	return float64(n) / float64(full)
}

// firstData returns the first row of two neighbours that look like data.
func firstData(rows [][]string, fields int, decimal byte) int {
	most := fields + 1 // rows that leave out trailing blanks may be the usual ones
	for _, r := range rows {
		if len(r) > most && numericShare(r, decimal) >= 0.8 {
			most = len(r)
		}
	}
	like := func(r []string) bool {
		return len(r) >= max(1, fields-1) && len(r) <= most && numericShare(r, decimal) >= 0.5
	}
	// Rows of fewer cells than usual happen where trailing blanks are left out.
	loose := func(r []string) bool { return len(r) <= fields+1 && len(r) > 1 && numericShare(r, decimal) >= 0.6 }
	for j, r := range rows {
		if like(r) && (j+1 >= len(rows) || like(rows[j+1]) || loose(rows[j+1])) {
			return j
		}
	}
	for j, r := range rows {
		if like(r) {
			return j
		}
	}
	return -1
}

// findHeader returns the row of names above the data, -1 if there is none.
func (d *Dialect) findHeader(rows [][]string, data, fields int) int {
	best, bestScore := -1, 0.0
	for j := data - 1; j >= 0 && j >= data-6; j-- {
		r := rows[j]
		words := 0
		for _, c := range r {
			if c == "" {
				continue
			}
			if k, ok := kindOf([]byte(c), d.Decimal); ok && k == Label {
				words++
			}
		}
		if words == 0 || len(r) < min(2, fields) {
			continue
		}
		// Nearly as many names as columns, and not a row of units.
		score := float64(words) / float64(max(fields, len(r)))
		if unitShare(r) > 0.5 {
			score *= 0.4
		}
		if score > bestScore+1e-9 && score > 0.2 {
			best, bestScore = j, score
		}
	}
	return best
}

// commentHeader finds names in the last comment line before the data.
func (d *Dialect) commentHeader(lines []textLine, body []int, data, fields int) ([]string, int) {
	if d.Comment == "" {
		return nil, 0
	}
	for i := body[data] - 1; i >= 0; i-- {
		l := lines[i].text
		if !bytes.HasPrefix(l, []byte(d.Comment)) {
			continue
		}
		r := splitLine(bytes.TrimSpace(bytes.TrimLeft(l, d.Comment)), d.Delimiter)
		if len(r) == fields && fields > 1 && unitShare(r) < 0.6 {
			return r, lines[i].line
		}
	}
	return nil, 0
}

// preamble keeps "key: value" lines above the header.
func (d *Dialect) preamble(lines []textLine, body []int, header, data int) {
	end := header
	if end < 0 {
		end = data
	}
	last := lines[body[end]].line
	for _, l := range lines {
		if l.line >= last || len(d.Preamble) > 200 {
			break
		}
		s := strings.TrimSpace(cleanText(strings.TrimLeft(string(l.text), d.Comment)))
		for _, sep := range []string{string(d.Delimiter), ":", "=", ";", ","} {
			k, v, ok := strings.Cut(s, sep)
			k = strings.Trim(k, " \"\t")
			if !ok || k == "" || len(k) > 60 {
				continue
			}
			v = strings.Trim(v, " \"\t"+string(d.Delimiter))
			d.Preamble[strings.ToLower(k)] = strings.ReplaceAll(v, "\"", "")
			break
		}
	}
}

// noData explains a table without rows of numbers.
func (d *Dialect) noData(lines []textLine, body []int) error {
	i := body[0]
	if n := namesAlone(lines, body); n > 2 || n == 2 && bytes.ContainsAny(lines[i].text, "[(") {
		last := lines[body[len(body)-1]]
		return &NoTable{Line: last.line, Text: say.T("header of {n} {n|column|columns}, but no row of data", n), Mend: say.T("the recording is empty: take the file from the logger again"), Source: Shorten(lines[i].text)}
	}
	return &NoTable{Line: lines[i].line, Text: say.T("no rows of numbers found"), Mend: say.T("give a delimited table (comma, semicolon, tab or bar), a CAN log, NMEA, GPX or Parquet"), Source: Shorten(lines[i].text)}
}

// namesAlone counts the names of a header that stands alone or with its units: at
// most three lines of as many cells each, by a delimiter that is no blank.
func namesAlone(lines []textLine, body []int) int {
	if len(body) > 3 {
		return 0
	}
	best := 0
	for _, delim := range []byte{',', ';', '\t', '|'} {
		first := splitLine(lines[body[0]].text, delim)
		names := 0
		for _, c := range first {
			if strings.TrimSpace(c) != "" {
				names++
			}
		}
		for _, j := range body[1:] {
			if len(splitLine(lines[j].text, delim)) != len(first) {
				names = 0
			}
		}
		best = max(best, names)
	}
	return best
}

// cleanText makes valid UTF-8 of a cell: what is not is taken as Latin-1 (the
// Windows variant), for only header cells matter and a degree sign is the usual
// guest.
func cleanText(s string) string {
	if utf8.ValidString(s) {
		return strings.TrimPrefix(s, "\ufeff")
	}
	var b strings.Builder
	for i := 0; i < len(s); i++ {
		b.WriteRune(cp1252(s[i]))
	}
	return b.String()
}
