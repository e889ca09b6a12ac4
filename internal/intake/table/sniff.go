package table

import (
	"bytes"
	"fmt"
	"strings"
	"unicode/utf8"

	"cornerwright/internal/unit"
)

// HeadSize is how much of the text Sniff likes to see.
const HeadSize = 256 << 10

// NoTable says why a text is no table.
type NoTable struct {
	Line, Column int
	Text, Mend   string
	Source       string
}

func (e *NoTable) Error() string { return e.Text }

// Overrides state what the caller knows of the dialect; zero fields are
// sniffed.
type Overrides struct {
	Delimiter byte
	Decimal   byte
	HeaderRow int // line of the header, from 1
	NoHeader  bool
}

// Sniff finds the dialect from the head of a text. Encoding must have been
// undone already (see Decode); whole says that head is all there is.
func Sniff(head []byte, whole bool, over Overrides) (*Dialect, error) {
	d := &Dialect{LineEnd: '\n', Preamble: map[string]string{}}
	if bytes.IndexByte(head, '\n') < 0 && bytes.IndexByte(head, '\r') >= 0 {
		d.LineEnd = '\r'
		head = bytes.ReplaceAll(head, []byte{'\r'}, []byte{'\n'})
	}
	lines := cutLines(head, whole)
	if len(lines) == 0 {
		return nil, &NoTable{Line: 1, Text: "no complete line of text", Mend: "give a table with a header row and data rows"}
	}
	d.Comment = sniffComment(lines)
	body := make([]int, 0, len(lines)) // lines that are neither blank nor comment
	for i, l := range lines {
		if len(bytes.TrimSpace(l.text)) > 0 && !(d.Comment != "" && bytes.HasPrefix(l.text, []byte(d.Comment))) {
			body = append(body, i)
		}
	}
	if len(body) == 0 {
		return nil, &NoTable{Line: 1, Text: "only blank lines and comments", Mend: "give a table with a header row and data rows", Source: Shorten(lines[0].text)}
	}
	best := chooseDelimiter(lines, body, over)
	d.Delimiter, d.Decimal = best.delim, best.decimal
	if err := d.layout(lines, body, best, over); err != nil {
		return nil, err
	}
	return d, nil
}

type textLine struct {
	text   []byte
	line   int // number, from 1
	offset int
}

// maxSniffLines bounds the lines looked at.
const maxSniffLines = 2000

// cutLines cuts records at line ends outside quotes; the last, incomplete one
// is left out unless the text is whole.
func cutLines(head []byte, whole bool) []textLine {
	var out []textLine
	line, pos := 1, 0
	for pos < len(head) && len(out) < maxSniffLines {
		end, extra := recordEnd(head, pos)
		if end < 0 {
			if whole {
				out = append(out, textLine{bytes.TrimRight(head[pos:], "\r"), line, pos})
			}
			break
		}
		out = append(out, textLine{bytes.TrimRight(head[pos:end], "\r"), line, pos})
		line += 1 + extra
		pos = end + 1
	}
	return out
}

// recordEnd finds the '\n' that ends the record at pos, outside quotes; -1 if
// there is none. A quote opens only at the start of a cell.
func recordEnd(b []byte, pos int) (end, lines int) {
	nl := bytes.IndexByte(b[pos:], '\n')
	if nl < 0 {
		return -1, 0
	}
	if bytes.IndexByte(b[pos:pos+nl], '"') < 0 {
		return pos + nl, 0
	}
	atStart := true
	for i := pos; i < len(b); i++ {
		switch c := b[i]; {
		case c == '\n':
			return i, lines
		case c == '"' && atStart:
			_, next, l, ok := quoted(b, i)
			if ok {
				lines += l
				i = next - 1
			}
			atStart = false
		case c == ' ' && atStart:
		default:
			atStart = c == ',' || c == ';' || c == '\t' || c == '|'
		}
	}
	return -1, 0
}

// sniffComment finds a comment prefix used by lines before or among the data.
func sniffComment(lines []textLine) string {
	for _, prefix := range []string{"#", "//", "%", "!"} {
		n, first := 0, -1
		for i, l := range lines {
			if bytes.HasPrefix(l.text, []byte(prefix)) {
				n++
				if first < 0 {
					first = i
				}
			}
		}
		if n > 0 && (2*n < len(lines)+2 || n == len(lines) && prefix == "#") {
			return prefix
		}
	}
	return ""
}

type shape struct {
	delim, decimal byte
	fields         int     // usual number of cells
	score          float64 // share of lines and cells that fit
}

// chooseDelimiter tries each delimiter and both decimal signs on the last two
// thirds of the sampled lines, where the data are.
func chooseDelimiter(lines []textLine, body []int, over Overrides) shape {
	sample := body
	if len(sample) > 6 {
		sample = sample[len(sample)/3:]
	}
	if len(sample) > 60 {
		sample = sample[len(sample)-60:]
	}
	best := shape{delim: ',', decimal: '.', fields: 1, score: -1}
	quotes := false
	for _, i := range sample {
		quotes = quotes || bytes.IndexByte(lines[i].text, '"') >= 0
	}
	for _, delim := range []byte{',', ';', '\t', '|', ' '} {
		if over.Delimiter != 0 && delim != over.Delimiter {
			continue
		}
		rows := make([][]string, 0, len(sample))
		counts := map[int]int{}
		for _, i := range sample {
			r := splitLine(lines[i].text, delim)
			rows = append(rows, r)
			counts[len(r)]++
		}
		fields, most := 0, 0
		for f, n := range counts {
			if n > most || n == most && f > fields {
				fields, most = f, n
			}
		}
		for _, decimal := range []byte{'.', ','} {
			// A decimal comma between commas stands in quotes.
			if decimal == delim && !quotes || over.Decimal != 0 && decimal != over.Decimal {
				continue
			}
			num, full, odd := 0, 0, 0
			for _, r := range rows {
				for _, c := range r {
					if c == "" {
						continue
					}
					full++
					switch k, _ := kindOf([]byte(c), decimal); k {
					case Number:
						num++
						// The other sign alone in a number speaks against this one:
						// 1.234 is read either way, but 1.2345 only as a point.
						if misread(c, decimal) {
							odd++
						}
					case Clock, DateTime, Degrees:
						num++
					}
				}
			}
			if full == 0 {
				continue
			}
			s := shape{delim, decimal, fields, 0}
			fit := float64(most) / float64(len(rows))
			s.score = fit * (float64(num) - 0.9*float64(odd)) / float64(full)
			if fields == 1 {
				s.score *= 0.3
			}
			if delim == ' ' {
				s.score *= 0.9
			}
			// On a tie the one that cuts finer is right.
			if s.score > best.score+1e-9 || s.score > best.score-1e-9 && fields > best.fields {
				best = s
			}
		}
	}
	if best.score < 0 {
		best.score = 0
	}
	return best
}

// misread tells whether a cell taken for a number has the other decimal sign in
// a place no thousands separator would stand.
func misread(c string, decimal byte) bool {
	other := byte(',')
	if decimal == ',' {
		other = '.'
	}
	return strings.IndexByte(c, other) >= 0
}

// layout finds header, unit row, preamble and the columns.
func (d *Dialect) layout(lines []textLine, body []int, sh shape, over Overrides) error {
	rows := make([][]string, len(body))
	for j, i := range body {
		rows[j] = splitLine(lines[i].text, d.Delimiter)
	}
	// A row may end in a delimiter: then the last cell is always empty.
	data := firstData(rows, sh.fields, d.Decimal)
	if over.HeaderRow > 0 {
		for j, i := range body {
			if lines[i].line > over.HeaderRow && data >= 0 && j < data && numericShare(rows[j], d.Decimal) >= 0.5 {
				data = j
			}
		}
	}
	if data < 0 {
		return d.noData(lines, body)
	}
	header := d.findHeader(rows, data, sh.fields)
	if over.NoHeader {
		header = -1
	}
	if over.HeaderRow > 0 {
		header = -1
		for j, i := range body {
			if lines[i].line == over.HeaderRow {
				header = j
			}
		}
		if header < 0 || header >= data {
			return &NoTable{Line: over.HeaderRow, Text: fmt.Sprintf("the map says the header stands on line %d, but data start on line %d", over.HeaderRow, lines[body[data]].line), Mend: "set header_line to the line of the column names, or leave it out"}
		}
	}
	d.DataLine = lines[body[data]].line
	d.Offset = lines[body[data]].offset
	var names, units []string
	if header >= 0 {
		names = rows[header]
		d.Line = lines[body[header]].line
		d.Header = string(lines[body[header]].text)
		for j := header + 1; j < data; j++ {
			if unitShare(rows[j]) > 0.5 && len(rows[j]) <= sh.fields+1 {
				units = rows[j]
				d.UnitRow = lines[body[j]].line
				break
			}
		}
		if units == nil && header > 0 && unitShare(rows[header-1]) > 0.6 && len(rows[header-1]) >= sh.fields-1 && len(rows[header-1]) > 1 {
			units = rows[header-1]
			d.UnitRow = lines[body[header-1]].line
		}
	} else if h, line := d.commentHeader(lines, body, data, sh.fields); h != nil {
		names, d.Line = h, line
	}
	d.preamble(lines, body, header, data)
	n := sh.fields
	if len(names) > n && len(rows) > 0 {
		n = len(names)
	}
	// Trailing delimiter in header or rows.
	for n > 1 && allEmpty(rows[data:], n-1) && (len(names) < n || names[n-1] == "") {
		n--
	}
	d.columns(rows[data:], names, units, n)
	short := 0
	for _, r := range rows[data:] {
		if len(r) < n {
			short++
		}
	}
	// The last sampled row may be cut by the file's end; one short row says little.
	d.Short = short > 1 && 20*short > len(rows)-data
	for _, i := range body[data:] {
		if bytes.IndexByte(lines[i].text, '"') >= 0 {
			d.Quoted = true
			break
		}
	}
	return nil
}

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
		return &NoTable{Line: last.line, Text: fmt.Sprintf("header of %s, but no row of data", count(n, "column")), Mend: "the recording is empty: take the file from the logger again", Source: Shorten(lines[i].text)}
	}
	return &NoTable{Line: lines[i].line, Text: "no rows of numbers found", Mend: "give a delimited table (comma, semicolon, tab or bar), a CAN log, NMEA, GPX or Parquet", Source: Shorten(lines[i].text)}
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
