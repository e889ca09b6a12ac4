package columnfile_test

import (
	"bytes"
	"io"
	"math"
	"testing"

	"github.com/parquet-go/parquet-go"

	"cornerwright/internal/intake/columnfile"
)

// What is written is what the library reads: integers of all sizes, nulls, the
// bits of floats with the sign of a zero, over several row groups.
func TestRoundTrip(t *testing.T) {
	ints := []int64{0, -1, columnfile.Blank, 1<<53 - 1, -(1<<53 - 1), 42, columnfile.Blank}
	floats := []float64{math.Copysign(0, -1), 0, math.NaN(), math.SmallestNonzeroFloat64, -math.MaxFloat64, math.Inf(1), 0.1}
	var file bytes.Buffer
	w := columnfile.NewWriter(&file)
	var g columnfile.Group
	for range 3 {
		g.Reset(len(ints), 2)
		if !g.Ints(0, ints, 1) {
			t.Fatal("refused")
		}
		g.Floats(1, floats)
		if err := w.Append(&g); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close([]columnfile.Column{{Name: "a", Scale: 3}, {Name: "b", Float: true}}, map[string]string{"k": "v"}); err != nil {
		t.Fatal(err)
	}
	f, err := parquet.OpenFile(bytes.NewReader(file.Bytes()), int64(file.Len()))
	if err != nil {
		t.Fatal(err)
	}
	if v, _ := f.Lookup("k"); v != "v" || f.NumRows() != 21 || f.Root().Column("a").Type().String() != "DECIMAL(18,3)" {
		t.Errorf("%q, %d rows, %s", v, f.NumRows(), f.Root().Column("a").Type())
	}
	for col, name := range []string{"a", "b"} {
		row := 0
		pages := f.Root().Column(name).Pages()
		for {
			p, err := pages.ReadPage()
			if err == io.EOF {
				break
			}
			if err != nil {
				t.Fatal(err)
			}
			v := make([]parquet.Value, p.NumValues())
			if n, err := p.Values().ReadValues(v); n != len(ints) || err != nil && err != io.EOF {
				t.Fatal(n, err)
			}
			for _, x := range v {
				i := row % len(ints)
				switch {
				case col == 0 && (x.IsNull() != (ints[i] == columnfile.Blank) || !x.IsNull() && x.Int64() != ints[i]):
					t.Errorf("a, row %d: %v, want %d", row, x, ints[i])
				case col == 1 && (x.IsNull() != (floats[i] != floats[i]) || !x.IsNull() && math.Float64bits(x.Double()) != math.Float64bits(floats[i])):
					t.Errorf("b, row %d: %v, want %v", row, x, floats[i])
				}
				row++
			}
		}
		pages.Close()
		if row != 21 {
			t.Errorf("%s: %d rows", name, row)
		}
	}
}

// Integers that a float64 does not hold exactly are refused, and so is a damaged
// page when it is read.
func TestRefuses(t *testing.T) {
	var g columnfile.Group
	g.Reset(1, 1)
	for _, c := range []struct {
		m, factor int64
		ok        bool
	}{{1<<53 - 1, 1, true}, {1 << 53, 1, false}, {-(1 << 53), 1, false}, {1 << 50, 10, false}, {math.MaxInt64, 1000, false}} {
		if got := g.Ints(0, []int64{c.m}, c.factor); got != c.ok {
			t.Errorf("%d times %d: %v", c.m, c.factor, got)
		}
	}
	var file bytes.Buffer
	w := columnfile.NewWriter(&file)
	m := make([]int64, 1000)
	for i := range m {
		m[i] = int64(i * i % 977)
	}
	g.Reset(len(m), 1)
	g.Ints(0, m, 1)
	if err := w.Append(&g); err != nil {
		t.Fatal(err)
	}
	if err := w.Close([]columnfile.Column{{Name: "a"}}, nil); err != nil {
		t.Fatal(err)
	}
	data := file.Bytes()
	data[600] ^= 4
	f, err := parquet.OpenFile(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.Root().Column("a").Pages().ReadPage(); err == nil {
		t.Error("a damaged page was read")
	}
}
