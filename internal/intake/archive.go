package intake

import (
	"archive/zip"
	"bytes"
	"compress/flate"
	"encoding/binary"
	"errors"
	"io"
	"strings"

	"cornerwright/internal/recording"
	"cornerwright/internal/say"
)

// maxMembers bounds the files of an archive that are read.
const maxMembers = 1000

// member is one file of an archive.
type member struct {
	name   string
	packed int64 // bytes it takes packed, 0 where it is not
	open   func() (io.ReadCloser, error)
}

// readZip reads every recording in an archive. One whose table of contents is
// damaged or cut off is read member by member, from the front.
func readZip(name string, r io.ReaderAt, size int64, opts Options, depth int) (*Result, error) {
	z, err := zip.NewReader(r, size)
	if err != nil {
		return salvageZip(name, r, size, opts, depth, err)
	}
	var list []member
	for _, f := range z.File {
		// Office documents are zip archives too: ECMA-376 part 2 (content types), and
		// ISO/IEC 26300 (the type stands first, not packed).
		if f.Name == "[Content_Types].xml" || f.Name == "mimetype" {
			return nil, &Error{File: name, Text: say.T("this is no recording: an office document, a workbook perhaps"), Mend: say.T("save the sheet with the recording as delimited text (CSV) and give that")}
		}
		m := member{name: f.Name, packed: int64(f.CompressedSize64), open: f.Open}
		if f.Flags&1 != 0 {
			m.open = func() (io.ReadCloser, error) {
				return nil, &Error{Text: say.T("it is locked with a password"), Mend: say.T("unpack it and add what is inside")}
			}
		}
		if !f.FileInfo().IsDir() {
			list = append(list, m)
		}
	}
	return readMembers(name, list, opts, depth)
}

// hidden tells files that systems leave in archives and folders.
func hidden(path string) bool {
	base := path[strings.LastIndexByte(path, '/')+1:]
	return base == "" || strings.HasPrefix(base, ".") || strings.HasPrefix(path, "__MACOSX/") || base == "Thumbs.db" || base == "desktop.ini"
}

// readMembers reads many files as one: each recording among them, with the
// signal database that lies beside them if the caller gives none. What is no
// recording is told and left.
func readMembers(name string, list []member, opts Options, depth int) (*Result, error) {
	total := &Result{}
	var left []recording.Problem
	leave := func(m member, text say.Text) {
		left = append(left, recording.Problem{Severity: recording.Note, Text: say.T("{name} is no recording: {text}", m.name, text), Mend: say.T("nothing to do unless it should be one")})
	}
	kept := list[:0:0]
	for _, m := range list {
		if hidden(m.name) {
			continue
		}
		if db := databaseOf(m); db != nil {
			if opts.Database == nil {
				opts.Database = db
				left = append(left, recording.Problem{Severity: recording.Note, Text: say.T("{name} is taken as the signal database of the bus", m.name), Mend: say.T("if that is wrong, give the right one")})
			} else {
				leave(m, say.T("a signal database, but another is in use"))
			}
			continue
		}
		kept = append(kept, m)
	}
	if len(kept) > maxMembers {
		total.Problems = append(total.Problems, recording.Problem{Severity: recording.Fault, Text: say.T("{kept} files: only the first {maxmembers} are read", len(kept), maxMembers), Mend: say.T("add the others in parts")})
		kept = kept[:maxMembers]
	}
	var first *Error
	for _, m := range kept {
		res, err := readMember(name, m, opts, depth)
		if err == nil {
			total.add(res)
			continue
		}
		var e *Error
		if !errors.As(err, &e) {
			e = &Error{File: name + "/" + m.name, Text: say.Of(err), Mend: say.T("copy it from the logger again")}
		}
		if first == nil {
			first = e
		}
		text := e.Text
		if e.Line > 0 {
			text = say.T("{text} (line {line})", text, e.Line)
		}
		leave(m, text)
	}
	total.Problems = append(total.Problems, left...)
	switch {
	case len(total.Recordings) > 0:
		return total, nil
	case first == nil:
		return nil, &Error{File: name, Text: say.T("no file in it that could be a recording"), Mend: say.T("copy the recording from the logger again")}
	case len(kept) == 1:
		if first.File == "" {
			first.File = name + "/" + kept[0].name
		}
		return nil, first
	}
	return nil, &Error{File: name, Text: say.T("none of its {kept} files is a recording; {name}: {text}", len(kept), kept[0].name, first.Text), Mend: first.Mend, Source: first.Source}
}

func readMember(name string, m member, opts Options, depth int) (*Result, error) {
	rc, err := m.open()
	if err != nil {
		return nil, err
	}
	defer rc.Close()
	return openStream(name+"/"+m.name, rc, m.packed*maxExpand+1<<20, opts, depth+1)
}

// databaseOf returns the bytes of a member that is a signal database (DBC), by
// its content; nil for anything else.
func databaseOf(m member) []byte {
	rc, err := m.open()
	if err != nil {
		return nil
	}
	defer rc.Close()
	head := make([]byte, 4<<10)
	n, _ := io.ReadFull(rc, head)
	if head = head[:n]; !looksDBC(head) {
		return nil
	}
	rest, _ := io.ReadAll(io.LimitReader(rc, 64<<20))
	return append(head, rest...)
}

// looksDBC tells whether a text starts as signal databases do.
func looksDBC(b []byte) bool {
	b = bytes.TrimLeft(bytes.TrimPrefix(b, []byte("\xef\xbb\xbf")), " \t\r\n")
	return bytes.HasPrefix(b, []byte("VERSION \"")) || bytes.HasPrefix(b, []byte("NS_")) && bytes.Contains(b, []byte("BU_"))
}

// salvageZip reads the members of an archive without its table of contents,
// which stands at the end and is what a stick pulled too early lacks. Each
// member begins with a header of its own ("local file header", section 4.3.7 of
// the public description of the format, APPNOTE.TXT).
func salvageZip(name string, r io.ReaderAt, size int64, opts Options, depth int, cause error) (*Result, error) {
	damaged := &Error{File: name, Text: say.T("damaged zip file: {why}", strings.TrimPrefix(cause.Error(), "zip: ")), Mend: say.T("copy it from the logger again, or unpack it and add the files one by one")}
	var list []member
	for pos := int64(0); pos+30 <= size && len(list) < maxMembers; {
		var h [30]byte
		if _, err := r.ReadAt(h[:], pos); err != nil || string(h[:4]) != "PK\x03\x04" {
			break
		}
		flags, method := binary.LittleEndian.Uint16(h[6:]), binary.LittleEndian.Uint16(h[8:])
		packed := int64(binary.LittleEndian.Uint32(h[18:]))
		nameLen, extra := int64(binary.LittleEndian.Uint16(h[26:])), int64(binary.LittleEndian.Uint16(h[28:]))
		start := pos + 30 + nameLen + extra
		if start > size || flags&1 != 0 || method != 8 && (method != 0 || flags&8 != 0) {
			break
		}
		inner := make([]byte, nameLen)
		if _, err := r.ReadAt(inner, pos+30); err != nil {
			break
		}
		if flags&8 != 0 { // the length stands behind the data: they tell their own end
			cr := &counted{r: io.NewSectionReader(r, start, size-start)}
			n, err := io.Copy(io.Discard, io.LimitReader(flate.NewReader(cr), size*maxExpand+1<<20))
			_ = n
			packed = cr.n
			if err != nil {
				packed = size - start
			}
		}
		end := min(start+packed, size)
		list = append(list, member{name: string(inner), packed: end - start, open: func() (io.ReadCloser, error) {
			body := io.NewSectionReader(r, start, end-start)
			if method == 0 {
				return io.NopCloser(body), nil
			}
			return flate.NewReader(body), nil
		}})
		pos = end
		if flags&8 != 0 { // signature, sum and two lengths, 12 to 24 bytes
			var after [28]byte
			k, _ := r.ReadAt(after[:], pos)
			if next := bytes.Index(after[:k], []byte("PK\x03\x04")); next >= 0 {
				pos += int64(next)
			}
		}
	}
	if len(list) == 0 {
		return nil, damaged
	}
	res, err := readMembers(name, list, opts, depth)
	if err != nil {
		return nil, damaged
	}
	res.Problems = append(res.Problems, recording.Problem{Severity: recording.Fault, Text: say.T("the archive is damaged ({why}): {list} {list|file|files} read from its front, what stood behind is lost", strings.TrimPrefix(cause.Error(), "zip: "), len(list)), Mend: say.T("copy it from the logger again if you can")})
	return res, nil
}

// counted counts the bytes that are read, one at a time where asked so.
type counted struct {
	r   io.Reader
	n   int64
	one [1]byte
}

func (c *counted) Read(p []byte) (int, error) {
	n, err := c.r.Read(p)
	c.n += int64(n)
	return n, err
}

// ReadByte makes the decompressor take no byte more than it needs.
func (c *counted) ReadByte() (byte, error) {
	n, err := io.ReadFull(c.r, c.one[:])
	c.n += int64(n)
	return c.one[0], err
}
