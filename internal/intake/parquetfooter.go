package intake

import (
	"encoding/binary"
	"errors"
	"io"

	"github.com/parquet-go/parquet-go"

	"cornerwright/internal/say"
)

// A Parquet file ends in its footer: table of contents, its length, "PAR1". A
// file cut off or damaged there still has its data; and as far as the footer
// itself can be read, the row groups it lists can be. What follows finds it
// anew and writes a sound one with those. The layout is that of parquet.thrift
// in the public description of the format (FileMetaData: 1 version, 2 schema, 3
// num_rows, 4 row_groups, 5 key-values, ...), in Thrift's compact protocol.

// maxFooter bounds how far from the end a lost footer is looked for.
const maxFooter = 8 << 20

// reopenParquet opens a file whose footer is damaged as far as it can be; nil if
// nothing of it can be used. text tells what was found.
func reopenParquet(name string, r io.ReaderAt, size int64) (f *parquet.File, text say.Text) {
	from := max(4, size-maxFooter)
	if size < 16 {
		return nil, ""
	}
	tail := make([]byte, size-from)
	if n, err := r.ReadAt(tail, from); err != nil && err != io.EOF || n < len(tail) {
		return nil, ""
	}
	for i := 0; i+3 < len(tail); i++ {
		// Version 1 or 2 as the first field, a list of structures as the second.
		if tail[i] != 0x15 || tail[i+1] != 0x02 && tail[i+1] != 0x04 || tail[i+2] != 0x19 || tail[i+3]&0x0f != 0x0c {
			continue
		}
		ft := readFooter(tail[i:], from+int64(i))
		if ft == nil {
			continue
		}
		sound := ft.encode()
		end := from + int64(i)
		whole := &joined{r, end, sound}
		f, err := openParquet(name, whole, end+int64(len(sound)))
		if err != nil {
			continue
		}
		text = say.T("the end of the Parquet file, its table of contents, is damaged or cut off: {n} {n|row group|row groups} with {rows} rows found again", len(ft.groups), ft.rows)
		if ft.listed > len(ft.groups) {
			text += say.T(", {lost} of {listed} lost", ft.listed-len(ft.groups), ft.listed)
		}
		return f, text
	}
	return nil, ""
}

// joined is the start of a file with another end.
type joined struct {
	r   io.ReaderAt
	cut int64
	end []byte
}

func (j *joined) ReadAt(p []byte, off int64) (int, error) {
	n := 0
	if off < j.cut {
		m := min(int64(len(p)), j.cut-off)
		k, err := j.r.ReadAt(p[:m], off)
		if int64(k) < m {
			return k, err
		}
		n = k
	}
	if n < len(p) {
		i := off + int64(n) - j.cut
		if i >= int64(len(j.end)) {
			return n, io.EOF
		}
		k := copy(p[n:], j.end[i:])
		if n += k; n < len(p) {
			return n, io.EOF
		}
	}
	return n, nil
}

// footer is what could be read of one.
type footer struct {
	version byte
	schema  []byte // list, with its head
	leaves  int
	groups  [][]byte
	listed  int
	rows    int64
	rest    []byte // fields behind the row groups, where all of them are sound
}

// readFooter reads a footer as far as it is sound; nil without a schema and one
// row group whose data lie before at.
func readFooter(b []byte, at int64) (ft *footer) {
	defer func() {
		if p := recover(); p != nil { // beyond the bytes: thrift's reader says so
			if e, ok := p.(error); !ok || !errors.Is(e, errThrift) {
				panic(p)
			}
			if ft != nil && len(ft.groups) == 0 {
				ft = nil
			}
		}
	}()
	t := &thrift{b: b, at: 2}
	ft = &footer{version: b[1]}
	if t.byte() != 0x19 {
		return nil
	}
	start := t.at
	n, kind := t.list()
	if n < 2 || n > 1<<20 || kind != 12 {
		return nil
	}
	for range n {
		children := int64(0)
		t.structure(func(id, kind int) bool {
			if id == 5 && kind == 5 {
				children = t.zigzag()
				return true
			}
			return false
		})
		if children == 0 {
			ft.leaves++
		}
	}
	ft.schema = b[start:t.at]
	if t.byte() != 0x16 { // num_rows
		return nil
	}
	stated := t.zigzag()
	if t.byte() != 0x19 { // row_groups
		return nil
	}
	ft.listed, kind = t.list()
	if ft.listed < 1 || ft.listed > 1<<20 || kind != 12 || stated < 0 {
		return nil
	}
	for range ft.listed {
		start := t.at
		rows, ok := t.rowGroup(ft.leaves, at)
		if !ok {
			break
		}
		ft.groups = append(ft.groups, b[start:t.at])
		ft.rows += rows
	}
	if len(ft.groups) == 0 {
		return nil
	}
	if len(ft.groups) == ft.listed {
		start := t.at
		t.fieldsFrom(4, func(int, int) bool { return false })
		ft.rest = b[start : t.at-1]
	}
	return ft
}

// encode writes a sound footer with its length and the last four bytes.
func (ft *footer) encode() []byte {
	b := []byte{0x15, ft.version, 0x19}
	b = append(b, ft.schema...)
	b = append(b, 0x16)
	b = binary.AppendUvarint(b, uint64(ft.rows)<<1)
	b = append(b, 0x19)
	if n := len(ft.groups); n < 15 {
		b = append(b, byte(n)<<4|0x0c)
	} else {
		b = append(b, 0xfc)
		b = binary.AppendUvarint(b, uint64(n))
	}
	for _, g := range ft.groups {
		b = append(b, g...)
	}
	b = append(b, ft.rest...)
	b = append(b, 0)
	b = binary.LittleEndian.AppendUint32(b, uint32(len(b)))
	return append(b, "PAR1"...)
}

// thrift reads the compact protocol. It panics with errThrift beyond its bytes
// or its bounds.
type thrift struct {
	b     []byte
	at    int
	depth int
}

var errThrift = say.Error("no sound footer")

func (t *thrift) byte() byte {
	if t.at >= len(t.b) {
		panic(errThrift)
	}
	t.at++
	return t.b[t.at-1]
}

func (t *thrift) uvarint() uint64 {
	x, n := binary.Uvarint(t.b[min(t.at, len(t.b)):])
	if n <= 0 {
		panic(errThrift)
	}
	t.at += n
	return x
}

func (t *thrift) zigzag() int64 {
	x := t.uvarint()
	return int64(x>>1) ^ -int64(x&1)
}

// list reads the head of a list: how many of which kind.
func (t *thrift) list() (n, kind int) {
	h := t.byte()
	n, kind = int(h>>4), int(h&0x0f)
	if n == 15 {
		x := t.uvarint()
		if x > uint64(len(t.b)) {
			panic(errThrift)
		}
		n = int(x)
	}
	return n, kind
}

// structure reads a structure; field is asked first and returns whether it read
// the field itself.
func (t *thrift) structure(field func(id, kind int) bool) { t.fieldsFrom(0, field) }

// fieldsFrom reads the fields of a structure after the one numbered id.
func (t *thrift) fieldsFrom(id int, field func(id, kind int) bool) {
	if t.depth++; t.depth > 32 {
		panic(errThrift)
	}
	for {
		h := t.byte()
		if h == 0 {
			break
		}
		if d := int(h >> 4); d > 0 {
			id += d
		} else {
			id = int(t.zigzag())
		}
		if !field(id, int(h&0x0f)) {
			t.skip(int(h & 0x0f))
		}
	}
	t.depth--
}

// skip passes over a value.
func (t *thrift) skip(kind int) {
	switch kind {
	case 1, 2: // true, false: in the field's head
	case 3:
		t.byte()
	case 4, 5, 6:
		t.uvarint()
	case 7:
		t.bytes(8)
	case 8:
		t.bytes(t.uvarint())
	case 9, 10:
		n, k := t.list()
		for range n {
			if k == 1 || k == 2 {
				t.byte()
			} else {
				t.skip(k)
			}
		}
	case 12:
		t.structure(func(int, int) bool { return false })
	default:
		panic(errThrift)
	}
}

func (t *thrift) bytes(n uint64) {
	if n > uint64(len(t.b)-t.at) {
		panic(errThrift)
	}
	t.at += int(n)
}

// rowGroup reads one row group and tells whether it is sound: a chunk for each
// leaf, whose pages lie before end.
func (t *thrift) rowGroup(leaves int, end int64) (rows int64, ok bool) {
	ok = true
	chunks := 0
	t.structure(func(id, kind int) bool {
		switch {
		case id == 1 && kind == 9:
			n, k := t.list()
			if n != leaves || k != 12 {
				panic(errThrift)
			}
			for range n {
				chunks++
				var offset, dictionary, size int64 = -1, -1, -1
				t.structure(func(id, kind int) bool {
					if id != 3 || kind != 12 {
						return false
					}
					t.structure(func(id, kind int) bool {
						switch {
						case kind != 6:
							return false
						case id == 7:
							size = t.zigzag()
						case id == 9:
							offset = t.zigzag()
						case id == 11:
							dictionary = t.zigzag()
						default:
							return false
						}
						return true
					})
					return true
				})
				first := offset
				if dictionary > 0 && dictionary < first {
					first = dictionary
				}
				ok = ok && first >= 4 && size >= 0 && size <= end && first+size <= end
			}
			return true
		case id == 3 && kind == 6:
			rows = t.zigzag()
			return true
		}
		return false
	})
	return rows, ok && chunks == leaves && rows > 0 && rows <= 1<<31
}

// maxPage bounds how many bytes a byte of a page may unpack to.
const maxPage = 1000

// checkPages walks the page headers of a column in one row group before the
// library reads them: it believes their sizes and allocates what they claim.
func checkPages(f *parquet.File, group, col int) error {
	g := &f.Metadata().RowGroups[group]
	md := &g.Columns[col].MetaData
	pos := md.DataPageOffset
	if d := md.DictionaryPageOffset; d > 0 && d < pos {
		pos = d
	}
	end := pos + md.TotalCompressedSize
	if pos < 4 || end < pos || end > f.Size() || md.NumValues != g.NumRows {
		return errPage
	}
	buf := make([]byte, 512)
	for values := int64(0); values < md.NumValues; {
		var h pageHeader
		for { // statistics may make a header long
			b := buf[:min(int64(len(buf)), end-pos)]
			if n, err := f.ReadAt(b, pos); n < len(b) {
				return err
			}
			if h.read(b) {
				break
			}
			if len(b) < len(buf) || len(buf) > 1<<20 {
				return errPage
			}
			buf = make([]byte, 16*len(buf))
		}
		pos += h.length
		if h.packed < 0 || h.plain < 0 || h.packed > end-pos || h.plain > h.packed*maxPage+4096 || h.count < 0 || h.count > md.NumValues {
			return errPage
		}
		if pos += h.packed; h.dictionary {
			continue
		}
		if values += h.count; h.count == 0 {
			return errPage
		}
	}
	return nil
}

// pageHeader is what stands before a page.
type pageHeader struct {
	length, packed, plain, count int64
	dictionary                   bool
}

// read tells whether b holds a whole header.
func (h *pageHeader) read(b []byte) (ok bool) {
	defer func() {
		if p := recover(); p != nil {
			if e, is := p.(error); !is || !errors.Is(e, errThrift) {
				panic(p)
			}
			ok = false
		}
	}()
	*h = pageHeader{packed: -1, plain: -1}
	t := &thrift{b: b}
	t.structure(func(id, kind int) bool {
		switch {
		case id == 2 && kind == 5:
			h.plain = t.zigzag()
		case id == 3 && kind == 5:
			h.packed = t.zigzag()
		case (id == 5 || id == 7 || id == 8) && kind == 12: // data, dictionary, data of version 2
			h.dictionary = id == 7
			t.structure(func(id, kind int) bool {
				if id == 1 && kind == 5 {
					h.count = t.zigzag()
					return true
				}
				return false
			})
		default:
			return false
		}
		return true
	})
	h.length = int64(t.at)
	return true
}

var errPage = say.Error("a page of it claims what cannot be")
