// Package columnfile writes Parquet files of number columns, exact to the last
// bit, row group by row group in bounded memory.
//
// A logger writes short decimals: 31.27, 0.5, 12034. Such a column is kept as
// 64-bit integers with the logical type DECIMAL and one scale for the whole
// file, value = integer / 10^scale, delta-packed (DELTA_BINARY_PACKED) without a
// codec. As integers stay below 2^53 and powers of ten up to 10^22 are exact in
// float64, the quotient is rounded once and equals what a correct reader makes
// of the text. A column that has anything else (exponents, more digits) is kept
// as plain DOUBLE. Every column is optional; blanks are nulls. Every page carries
// a checksum.
//
//	"PAR1"
//	row group 0: column 0 page, column 1 page, ...   (one data page each)
//	row group 1: ...
//	footer: schema, offsets, ranges, key-value pairs (Thrift compact)
//	uint32 length of the footer, little-endian
//	"PAR1"
//
// Names, scales and pairs stand in the footer alone, so that they may be chosen
// after the last row. Source: the Apache Parquet format, version 2.
package columnfile

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"math"
	"sort"

	"github.com/parquet-go/parquet-go/deprecated"
	"github.com/parquet-go/parquet-go/encoding/delta"
	"github.com/parquet-go/parquet-go/encoding/rle"
	"github.com/parquet-go/parquet-go/encoding/thrift"
	"github.com/parquet-go/parquet-go/format"
)

// Blank marks a missing cell among integers.
const Blank = math.MinInt64

// MaxInteger bounds the integers of a DECIMAL column: below it a float64 holds
// them exactly.
const MaxInteger = 1 << 53

// precision is the decimal digits of DECIMAL columns: all that 64 bits hold.
const precision = 18

const magic = "PAR1"

// Column says what one column of the file is.
type Column struct {
	Name  string
	Scale int  // decimals, 0 to 18: value = integer / 10^Scale
	Float bool // float64 instead
}

// chunk is one column of one row group, encoded.
type chunk struct {
	from, to int // in Group.buf
	nulls    int
	lo, hi   [8]byte
	ranged   bool
	float    bool
	set      bool
}

// Group is one row group, encoded. It keeps its buffers: Reset it and fill it
// again. Groups are filled on any goroutine and appended in order.
type Group struct {
	rows   int
	chunks []chunk
	buf    []byte

	ints   []int64
	levels []byte
	page   []byte
	body   []byte
	defs   []byte
	head   bytes.Buffer
	enc    *thrift.Encoder
}

// Reset makes the group an empty one of rows and columns.
func (g *Group) Reset(rows, columns int) {
	g.rows = rows
	g.buf = g.buf[:0]
	if cap(g.chunks) < columns {
		g.chunks = make([]chunk, columns)
	}
	g.chunks = g.chunks[:columns]
	clear(g.chunks)
}

// Ints fills a DECIMAL column: m/10^d with Blank for nulls, each times factor,
// a power of ten that brings it to the file's scale. It returns false, and
// leaves the column unset, where a product is not below MaxInteger.
func (g *Group) Ints(column int, m []int64, factor int64) bool {
	if len(m) != g.rows {
		panic(fmt.Sprintf("columnfile: column of %d rows in a group of %d", len(m), g.rows))
	}
	if cap(g.ints) < len(m) {
		g.ints = make([]int64, len(m))
	}
	v := g.ints[:len(m)]
	n := 0
	lo, hi := int64(math.MaxInt64), int64(math.MinInt64)
	limit := int64(MaxInteger) / factor
	for _, x := range m {
		if x == Blank {
			continue
		}
		lo, hi = min(lo, x), max(hi, x)
		v[n] = x
		n++
	}
	if n > 0 && (hi >= limit || lo <= -limit) {
		return false
	}
	v = v[:n]
	if factor != 1 {
		for i := range v {
			v[i] *= factor
		}
		lo, hi = lo*factor, hi*factor
	}
	c := chunk{nulls: len(m) - n, set: true, ranged: n > 0}
	binary.LittleEndian.PutUint64(c.lo[:], uint64(lo))
	binary.LittleEndian.PutUint64(c.hi[:], uint64(hi))
	if c.nulls > 0 {
		g.level(len(m), func(i int) bool { return m[i] != Blank })
	}
	var e delta.BinaryPackedEncoding
	g.page, _ = e.EncodeInt64(g.page[:0], v)
	g.put(column, c, format.DeltaBinaryPacked)
	return true
}

// Floats fills a DOUBLE column; NaN stands for null. Every other value keeps its
// bits, the sign of a zero included.
func (g *Group) Floats(column int, v []float64) {
	if len(v) != g.rows {
		panic(fmt.Sprintf("columnfile: column of %d rows in a group of %d", len(v), g.rows))
	}
	g.page = g.page[:0]
	n := 0
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, x := range v {
		if x != x {
			continue
		}
		n++
		lo, hi = math.Min(lo, x), math.Max(hi, x)
		g.page = binary.LittleEndian.AppendUint64(g.page, math.Float64bits(x))
	}
	c := chunk{nulls: len(v) - n, set: true, float: true, ranged: n > 0}
	// A range that ends in a zero covers both zeros (the format's rule).
	if lo == 0 {
		lo = math.Copysign(0, -1)
	}
	if hi == 0 {
		hi = 0
	}
	binary.LittleEndian.PutUint64(c.lo[:], math.Float64bits(lo))
	binary.LittleEndian.PutUint64(c.hi[:], math.Float64bits(hi))
	if c.nulls > 0 {
		g.level(len(v), func(i int) bool { return v[i] == v[i] })
	}
	g.put(column, c, format.Plain)
}

// level notes which rows hold a value.
func (g *Group) level(rows int, there func(int) bool) {
	if cap(g.levels) < rows {
		g.levels = make([]byte, rows)
	}
	g.levels = g.levels[:rows]
	for i := range g.levels {
		g.levels[i] = 0
		if there(i) {
			g.levels[i] = 1
		}
	}
}

// put frames g.page as a column's one data page.
func (g *Group) put(column int, c chunk, how format.Encoding) {
	e := rle.Encoding{BitWidth: 1}
	if c.nulls == 0 {
		// All there: one run of ones.
		g.defs = append(binary.AppendUvarint(g.defs[:0], uint64(g.rows)<<1), 1)
	} else {
		g.defs, _ = e.EncodeLevels(g.defs[:0], g.levels)
	}
	g.body = binary.LittleEndian.AppendUint32(g.body[:0], uint32(len(g.defs)))
	g.body = append(append(g.body, g.defs...), g.page...)
	size := len(g.body)
	if g.enc == nil {
		p := thrift.CompactProtocol{}
		g.enc = thrift.NewEncoder(p.NewWriter(&g.head))
	}
	g.head.Reset()
	h := format.PageHeader{Type: format.DataPage, UncompressedPageSize: int32(size), CompressedPageSize: int32(size), CRC: int32(crc32.ChecksumIEEE(g.body))}
	h.DataPageHeader = thrift.New(format.DataPageHeader{NumValues: int32(g.rows), Encoding: how, DefinitionLevelEncoding: format.RLE, RepetitionLevelEncoding: format.RLE})
	if err := g.enc.Encode(&h); err != nil {
		panic(err) // a bytes.Buffer takes everything
	}
	c.from = len(g.buf)
	g.buf = append(g.buf, g.head.Bytes()...)
	g.buf = append(g.buf, g.body...)
	c.to = len(g.buf)
	g.chunks[column] = c
}

// Writer writes one file. Errors of the underlying writer stick.
type Writer struct {
	w      io.Writer
	at     int64
	rows   int64
	groups []format.RowGroup
	err    error
}

// NewWriter begins a file.
func NewWriter(w io.Writer) *Writer {
	f := &Writer{w: w}
	f.write([]byte(magic))
	return f
}

func (f *Writer) write(b []byte) {
	if f.err != nil {
		return
	}
	n, err := f.w.Write(b)
	f.at += int64(n)
	f.err = err
}

// Append writes a row group. Every column of it must have been filled.
func (f *Writer) Append(g *Group) error {
	if f.err != nil {
		return f.err
	}
	if g.rows == 0 {
		return nil
	}
	if n := len(f.groups); n > 0 && len(f.groups[0].Columns) != len(g.chunks) || n >= math.MaxInt16 {
		return errors.New("columnfile: row groups differ in their columns, or are too many")
	}
	start := f.at
	rg := format.RowGroup{NumRows: int64(g.rows), FileOffset: start, TotalByteSize: int64(len(g.buf)), TotalCompressedSize: int64(len(g.buf)), Ordinal: int16(len(f.groups))}
	rg.Columns = make([]format.ColumnChunk, len(g.chunks))
	bounds := make([]byte, 16*len(g.chunks)) // one piece of memory for all ranges
	for i, c := range g.chunks {
		if !c.set {
			return fmt.Errorf("columnfile: column %d of a row group is not filled", i+1)
		}
		m := &rg.Columns[i].MetaData
		m.Type, m.Encoding = format.Int64, encodingsInt
		if c.float {
			m.Type, m.Encoding = format.Double, encodingsFloat
		}
		m.Codec = format.Uncompressed
		m.NumValues = int64(g.rows)
		m.TotalCompressedSize = int64(c.to - c.from)
		m.TotalUncompressedSize = m.TotalCompressedSize
		m.DataPageOffset = start + int64(c.from)
		m.Statistics.NullCount = int64(c.nulls)
		if c.ranged {
			b := bounds[16*i : 16*i+16]
			copy(b, c.lo[:])
			copy(b[8:], c.hi[:])
			m.Statistics.MinValue, m.Statistics.MaxValue = b[:8], b[8:]
		}
	}
	f.groups = append(f.groups, rg)
	f.rows += int64(g.rows)
	f.write(g.buf)
	return f.err
}

var (
	encodingsInt   = []format.Encoding{format.RLE, format.DeltaBinaryPacked}
	encodingsFloat = []format.Encoding{format.RLE, format.Plain}
)

// Close writes the footer: one Column for each column of the groups, and pairs.
// It does not close the underlying writer.
func (f *Writer) Close(cols []Column, pairs map[string]string) error {
	if f.err != nil {
		return f.err
	}
	root := format.SchemaElement{Name: "recording", NumChildren: thrift.New(int32(len(cols)))}
	meta := format.FileMetaData{Version: 2, NumRows: f.rows, CreatedBy: "cornerwright version 1"}
	meta.Schema = append(meta.Schema, root)
	seen := map[string]bool{}
	for i, c := range cols {
		if c.Name == "" || seen[c.Name] {
			return fmt.Errorf("columnfile: column %d has no name of its own (%q)", i+1, c.Name)
		}
		seen[c.Name] = true
		e := format.SchemaElement{Name: c.Name, RepetitionType: thrift.New(format.Optional), Type: thrift.New(format.Double)}
		if !c.Float {
			e.Type = thrift.New(format.Int64)
			e.ConvertedType = thrift.New(deprecated.Decimal)
			e.Scale, e.Precision = thrift.New(int32(c.Scale)), thrift.New(int32(precision))
			e.LogicalType.Value = &format.DecimalType{Scale: int32(c.Scale), Precision: precision}
		}
		meta.Schema = append(meta.Schema, e)
		meta.ColumnOrders = append(meta.ColumnOrders, format.ColumnOrder{Value: &format.TypeDefinedOrder{}})
	}
	for i := range f.groups {
		g := &f.groups[i]
		if len(g.Columns) != len(cols) {
			return fmt.Errorf("columnfile: %d columns are named, the rows have %d", len(cols), len(g.Columns))
		}
		for j := range g.Columns {
			m := &g.Columns[j].MetaData
			if (m.Type == format.Double) != cols[j].Float {
				return fmt.Errorf("columnfile: column %q is not of one kind in all row groups", cols[j].Name)
			}
			m.PathInSchema = []string{cols[j].Name}
		}
	}
	meta.RowGroups = f.groups
	keys := make([]string, 0, len(pairs))
	for k := range pairs {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	for _, k := range keys {
		meta.KeyValueMetadata = append(meta.KeyValueMetadata, format.KeyValue{Key: k, Value: pairs[k]})
	}
	foot, err := thrift.Marshal(&thrift.CompactProtocol{}, &meta)
	if err != nil {
		return fmt.Errorf("columnfile: %w", err)
	}
	f.write(foot)
	f.write(binary.LittleEndian.AppendUint32(nil, uint32(len(foot))))
	f.write([]byte(magic))
	return f.err
}
