package table

import (
	"bytes"
	"strings"

	"cornerwright/internal/say"
)

// HeadSize is how much of the text Sniff likes to see.
const HeadSize = 256 << 10

// NoTable says why a text is no table.
type NoTable struct {
	Line, Column int
	Text, Mend   say.Text
	Source       string
}

func (e *NoTable) Error() string { return e.Text.String() }

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
		return nil, &NoTable{Line: 1, Text: say.T("no complete line of text"), Mend: say.T("give a table with a header row and data rows")}
	}
	d.Comment = sniffComment(lines)
	body := make([]int, 0, len(lines)) // lines that are neither blank nor comment
	for i, l := range lines {
		if len(bytes.TrimSpace(l.text)) > 0 && !(d.Comment != "" && bytes.HasPrefix(l.text, []byte(d.Comment))) {
			body = append(body, i)
		}
	}
	if len(body) == 0 {
		return nil, &NoTable{Line: 1, Text: say.T("only blank lines and comments"), Mend: say.T("give a table with a header row and data rows"), Source: Shorten(lines[0].text)}
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
			return &NoTable{Line: over.HeaderRow, Text: say.T("the map says the header stands on line {headerrow}, but data start on line {line}", over.HeaderRow, lines[body[data]].line), Mend: say.T("set header_line to the line of the column names, or leave it out")}
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
