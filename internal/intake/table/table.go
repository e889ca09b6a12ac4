// Package table reads delimited text to columns: RFC 4180 and its relatives.
//
// The work is split in three. Sniff looks at the head of the text and states
// its Dialect: encoding, delimiter, decimal sign, preamble, header, unit row
// and the kind of each column. Scan then cuts the text in blocks of whole rows,
// parses them in parallel and hands them on in order, in bounded memory. A
// Block holds each column as decimals, integers with a common power of ten, for
// that is what a logger writes; float64(m)/10^k is then correctly rounded (see
// number.go), and the same integers go to storage without loss.
//
// One bad line does not stop the file: it is kept as an Issue among the rows.
package table

import (
	"math"

	"cornerwright/internal/say"
	"cornerwright/internal/unit"
)

// Kind is what the cells of a column hold.
type Kind uint8

const (
	Number   Kind = iota // decimal numbers
	Clock                // time of day or duration, h:mm:ss.fff, read as seconds
	DateTime             // ISO 8601 and its relatives, read as Unix seconds less Base
	Degrees              // latitude or longitude with hemisphere or minutes, read as degrees
	Label                // words; values are indexes into Labels
	Skip                 // free text: counted, not kept
)

func (k Kind) String() string {
	return [...]string{"number", "clock", "date-time", "position", "label", "text"}[k]
}

// Column describes one column of the text.
type Column struct {
	Header string // name as the file has it, without its unit
	Cell   string // the header cell as it stands
	Unit   string // unit as the file has it, "" if it does not say
	Index  int    // place in the row, from 1
	Kind   Kind
	Base   int64              // whole seconds to add to a DateTime value
	Words  map[string]float64 // words that stand for numbers in a Number column ("N" in a gear column)
	Day    bool               // DateTime: the cells carry a date
}

// Dialect is how a text is written.
type Dialect struct {
	Encoding  string // "utf-8", "utf-16le", "utf-16be", "latin-1"
	BOM       int    // bytes of byte-order mark
	Delimiter byte   // ',' ';' '\t' '|' or ' ' (a run of blanks)
	Decimal   byte   // '.' or ','
	LineEnd   byte   // '\n', or '\r' where it ends lines alone
	Comment   string // prefix of comment lines, "" if none
	Columns   []Column
	Header    string            // header line as it stands, to know its repeats
	Line      int               // line of the header, from 1; 0 if there is none
	DataLine  int               // first line of data
	Offset    int               // byte offset of the first data line in the decoded text
	Preamble  map[string]string // "key: value" lines before the header, keys folded
	Short     bool              // rows may lack trailing fields
	Quoted    bool              // quotes occur in the sampled rows
	UnitRow   int               // line of the unit row, 0 if none
}

// Severity as in package recording; repeated here so that this package needs
// no room but unit.
type Severity string

const (
	Note    Severity = "note"
	Warning Severity = "warning"
	Fault   Severity = "fault"
)

// Issue is one thing wrong with the text.
type Issue struct {
	Severity     Severity
	Line, Column int
	Text, Mend   say.Text
	Source       string // the line itself, shortened
}

// Blank marks a missing cell in ColumnBlock.Mant.
const Blank = math.MinInt64

// maxMant bounds mantissas: below it float64(m) is exact.
const maxMant = 1 << 53

// ColumnBlock is a column's cells in one block. Either Mant and Decimals hold
// them, value m/10^Decimals, or, where a cell does not fit (exponents, more
// than 15 digits), Float does, with NaN for blanks.
type ColumnBlock struct {
	Mant     []int64
	Decimals int
	Float    []float64
	Blanks   int

	labels map[string]int // Label columns: word to index in block
	words  []string
	bad    int // cells that could not be read
	badAt  int // line of the first
	badTxt string
	cellU  string // unit found inside cells
}

// Block is a run of rows.
type Block struct {
	Rows                int
	Cols                []ColumnBlock
	Issues              []Issue
	Breaks              []Break // where lines and rows part, rows counted in the block
	Restart             []int   // rows (in the block) before which the header stood again
	LostAt              []int   // rows (in the block) before which rows could not be read
	Lines               int     // lines in the block
	Bytes               int     // decoded bytes of the block
	LostRows, LostBytes int
	Seq                 int // place among the blocks, from 0
	Extra               any // what the work of ScanWith keeps with the block's buffers

	line int // first line number
	row  int // first row number in the file
}

// Break says that from row Row on, row r stands on line r-Row+Line.
type Break struct{ Row, Line int }

// Values appends the column's cells as float64, NaN for blanks, to dst.
func (c *ColumnBlock) Values(dst []float64) []float64 {
	if c.Float != nil {
		return append(dst, c.Float...)
	}
	n := len(dst)
	if cap(dst)-n < len(c.Mant) {
		grown := make([]float64, n, max(2*cap(dst), n+len(c.Mant)))
		copy(grown, dst)
		dst = grown
	}
	out := dst[n : n+len(c.Mant)]
	div := pow10[c.Decimals]
	for i, m := range c.Mant {
		if m == Blank {
			out[i] = math.NaN()
		} else {
			out[i] = float64(m) / div
		}
	}
	return dst[: n+len(c.Mant) : cap(dst)]
}

// Labels returns the words of a label column in this block, by index.
func (c *ColumnBlock) Labels() []string { return c.words }

// Known tells whether a text is a unit.
func knownUnit(s string) bool {
	_, ok := unit.Lookup(s)
	return ok
}

var nan = math.NaN()

// Bad tells how many cells could not be read, where the first stands and what
// it says, and the unit found inside cells.
func (c *ColumnBlock) Bad() (n, line int, text, unit string) {
	return c.bad, c.badAt, c.badTxt, c.cellU
}
