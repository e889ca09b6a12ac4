package intake

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"fmt"
	"io"
	"regexp"
	"unicode/utf16"
	"unicode/utf8"

	"github.com/klauspost/compress/zstd"

	"cornerwright/internal/say"
)

// maxExpand bounds how far a compressed input may grow: recordings of text
// shrink ten to twentyfold, so two hundredfold is no recording but a trap.
const maxExpand = 200

// unwrap undoes compression. ok is false where there is none.
func unwrap(name string, head []byte, r io.ReaderAt, size int64, opts Options, depth int) (res *Result, ok bool, err error) {
	limit := size*maxExpand + 1<<20
	switch {
	case bytes.HasPrefix(head, []byte{0x1f, 0x8b}):
		zr, e := gzip.NewReader(bufio.NewReaderSize(io.NewSectionReader(r, 0, size), 1<<18))
		if e != nil {
			return nil, true, &Error{File: name, Text: say.T("damaged gzip file: {why}", e), Mend: say.T("copy it from the logger again")}
		}
		res, err = openStream(name, zr, limit, opts, depth+1)
	case bytes.HasPrefix(head, []byte{0x28, 0xb5, 0x2f, 0xfd}):
		zr, e := zstd.NewReader(io.NewSectionReader(r, 0, size), zstd.WithDecoderMaxMemory(64<<20), zstd.WithDecoderLowmem(true), zstd.WithDecoderConcurrency(1))
		if e != nil {
			return nil, true, &Error{File: name, Text: say.T("damaged zstd file: {why}", e), Mend: say.T("copy it from the logger again")}
		}
		defer zr.Close()
		res, err = openStream(name, zr, limit, opts, depth+1)
	case bytes.HasPrefix(head, []byte("PK\x03\x04")), bytes.HasPrefix(head, []byte("PK\x05\x06")):
		res, err = readZip(name, r, size, opts, depth)
	default:
		return nil, false, nil
	}
	return res, true, err
}

// openStream reads a decompressed stream of any kind but those that need to
// jump, which are gathered in memory first.
func openStream(name string, r io.Reader, limit int64, opts Options, depth int) (*Result, error) {
	lr := &guarded{r: r, left: limit}
	head := make([]byte, 64<<10)
	n, err := io.ReadFull(lr, head)
	head = head[:n]
	if n == 0 {
		if err != nil && err != io.EOF {
			return nil, &Error{File: name, Text: say.T("damaged compressed file: {why}", err), Mend: say.T("copy it from the logger again")}
		}
		return nil, &Error{File: name, Text: say.T("the compressed file holds nothing"), Mend: say.T("copy the recording from the logger again")}
	}
	rest := io.MultiReader(bytes.NewReader(head), lr)
	packed := bytes.HasPrefix(head, []byte{0x1f, 0x8b}) || bytes.HasPrefix(head, []byte("PK\x03\x04")) || bytes.HasPrefix(head, []byte{0x28, 0xb5, 0x2f, 0xfd})
	if packed && depth >= 3 {
		return nil, &Error{File: name, Text: say.T("packed more than three times over"), Mend: say.T("unpack it and add what is inside")}
	}
	if isParquet(head) || packed {
		all, e := io.ReadAll(rest)
		if e != nil && len(all) == 0 {
			return nil, &Error{File: name, Text: say.T("damaged compressed file: {why}", e), Mend: say.T("copy it from the logger again")}
		}
		return open(name, bytes.NewReader(all), int64(len(all)), opts, depth)
	}
	return openPlain(name, head, rest, nil, limit, opts)
}

var errCut = say.Error("the compressed data end too early")

var errTooBig = say.Error("it unpacks to more than 200 times its size")

// guarded ends a stream that grows beyond its limit.
type guarded struct {
	r    io.Reader
	left int64
}

func (g *guarded) Read(p []byte) (int, error) {
	if g.left <= 0 {
		return 0, errTooBig
	}
	if int64(len(p)) > g.left {
		p = p[:g.left]
	}
	n, err := g.r.Read(p)
	g.left -= int64(n)
	if err == io.ErrUnexpectedEOF { // no reader further on may take it for its own
		err = errCut
	}
	return n, err
}

// decode undoes UTF-16 and byte-order marks. enc names an encoding worth
// telling.
func decode(head []byte, r io.Reader) (text io.Reader, enc string) {
	skip := func(n int) { io.CopyN(io.Discard, r, int64(n)) }
	switch {
	case bytes.HasPrefix(head, []byte{0xef, 0xbb, 0xbf}):
		skip(3)
		return r, ""
	case bytes.HasPrefix(head, []byte{0xff, 0xfe}):
		skip(2)
		return &utf16Reader{r: bufio.NewReaderSize(r, 1<<16)}, "UTF-16"
	case bytes.HasPrefix(head, []byte{0xfe, 0xff}):
		skip(2)
		return &utf16Reader{r: bufio.NewReaderSize(r, 1<<16), big: true}, "UTF-16"
	}
	// UTF-16 without its mark: every other byte of mostly Latin text is zero.
	if n := min(len(head), 512) &^ 1; n >= 16 {
		var zero [2]int
		for i := range n {
			if head[i] == 0 {
				zero[i&1]++
			}
		}
		if zero[1] > n/2*8/10 && zero[0] < n/20 {
			return &utf16Reader{r: bufio.NewReaderSize(r, 1<<16)}, "UTF-16 without a mark"
		}
		if zero[0] > n/2*8/10 && zero[1] < n/20 {
			return &utf16Reader{r: bufio.NewReaderSize(r, 1<<16), big: true}, "UTF-16 without a mark"
		}
	}
	return r, ""
}

// utf16Reader turns UTF-16 to UTF-8.
type utf16Reader struct {
	r    *bufio.Reader
	big  bool
	rest []byte
	buf  [4096]byte
	hi   rune
	err  error
}

func (u *utf16Reader) Read(p []byte) (int, error) {
	for len(u.rest) == 0 {
		if u.err != nil {
			return 0, u.err
		}
		n, err := io.ReadFull(u.r, u.buf[:])
		u.err = err
		if err == io.ErrUnexpectedEOF {
			u.err = io.EOF
		}
		out := make([]byte, 0, n*2)
		for i := 0; i+1 < n; i += 2 {
			c := rune(u.buf[i]) | rune(u.buf[i+1])<<8
			if u.big {
				c = rune(u.buf[i])<<8 | rune(u.buf[i+1])
			}
			if u.hi != 0 {
				c, u.hi = utf16.DecodeRune(u.hi, c), 0
			} else if utf16.IsSurrogate(c) {
				u.hi = c
				continue
			}
			out = utf8.AppendRune(out, c)
		}
		u.rest = out
	}
	n := copy(p, u.rest)
	u.rest = u.rest[n:]
	return n, nil
}

// kindOfText tells a CAN log, NMEA, GPX, or binary data from a table by the
// first lines.
func kindOfText(b []byte) string {
	if magicOf(b) != "" || mostlyBinary(b[:min(len(b), 4096)]) {
		return "binary"
	}
	trim := bytes.TrimLeft(b, "\ufeff \t\r\n")
	if bytes.HasPrefix(trim, []byte("<")) {
		if bytes.Contains(trim[:min(len(trim), 4096)], []byte("<gpx")) {
			return "gpx"
		}
		return "markup"
	}
	if bytes.HasPrefix(trim, []byte("{")) || bytes.HasPrefix(trim, []byte("[{")) || bytes.HasPrefix(trim, []byte("[[")) && !settingLine.MatchString(firstLine(trim)) {
		return "json"
	}
	can, nmea, toml, lines := 0, 0, 0, 0
	for l := range bytes.Lines(trim) {
		l = bytes.TrimSpace(l)
		if len(l) == 0 || l[0] == '#' {
			continue
		}
		if lines++; lines > 40 {
			break
		}
		if _, ok := splitCAN(l); ok {
			can++
		}
		if settingLine.Match(l) {
			toml++
		}
		if looksNMEA(l) {
			nmea++
		}
	}
	switch {
	case lines > 0 && 2*can >= lines:
		return "can"
	case lines > 0 && 3*nmea >= lines && nmea > 0:
		return "nmea"
	case toml >= min(lines, 40) && lines > 1:
		return "toml"
	}
	return "table"
}

// settingLine is a line of a TOML file: a table's name, a key with its value, or
// a row of a list.
var settingLine = regexp.MustCompile(`^(\[\[?[A-Za-z0-9_.-]+\]\]?|[A-Za-z0-9_-]+ = [^;]*|\[[-0-9., ]*\],?|\])( *#.*)?$`)

// mostlyBinary tells whether a text is none: its first line holds control
// bytes, or more than half of its lines do. A bad block in the middle of a
// table leaves a table.
func mostlyBinary(b []byte) bool {
	lines, odd, first := 0, 0, true
	for l := range bytes.FieldsFuncSeq(b, func(r rune) bool { return r == '\n' || r == '\r' }) {
		n := 0
		for _, c := range l {
			if c < 9 || c > 13 && c < 32 && c != 27 {
				n++
			}
		}
		if first && 50*n > len(l) {
			return true
		}
		first = false
		lines++
		if 50*n > len(l) {
			odd++
		}
	}
	return 2*odd > lines
}

// magicOf names what starts with known bytes; "" if nothing known does.
func magicOf(head []byte) say.Text {
	for _, m := range []struct {
		magic string
		what  say.Text
	}{{"\x89PNG", say.T("a picture")}, {"\xff\xd8\xff", say.T("a picture")}, {"%PDF", say.T("a PDF document")}, {"\x7fELF", say.T("a program")}, {"SQLite format 3", say.T("a database")}, {"\xd0\xcf\x11\xe0", say.T("an old office document")}, {"BZh", say.T("a bzip2 archive: unpack it first")}, {"7z\xbc\xaf", say.T("a 7z archive: unpack it first")}, {"\xfd7zXZ", say.T("an xz archive: unpack it first")}, {"Rar!", say.T("a rar archive: unpack it first")}, {"MDF ", say.T("a measurement file in a binary form that is not read")}} {
		if bytes.HasPrefix(head, []byte(m.magic)) {
			return m.what
		}
	}
	return ""
}

func binaryWhat(head []byte) say.Text {
	if what := magicOf(head); what != "" {
		return what
	}
	n := min(len(head), 8)
	return say.T("binary data, starting with {x}", fmt.Sprintf("% x", head[:n]))
}
