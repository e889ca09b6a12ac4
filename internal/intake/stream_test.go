package intake_test

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"

	"github.com/parquet-go/parquet-go"

	"cornerwright/internal/intake"
)

// importText imports a text and reads the Parquet file back with the library,
// by column: NaN for nulls.
func importText(t *testing.T, text string) (map[string][]float64, *intake.Imported, int) {
	t.Helper()
	var file bytes.Buffer
	got, err := intake.Import("t.csv", strings.NewReader(text), int64(len(text)), func() (io.Writer, error) { file.Reset(); return &file, nil }, intake.Options{Workers: 2})
	if err != nil {
		t.Fatal(err)
	}
	f, err := parquet.OpenFile(bytes.NewReader(file.Bytes()), int64(file.Len()))
	if err != nil {
		t.Fatal(err)
	}
	if f.NumRows() != int64(got.Rows) {
		t.Fatalf("%d rows in the file, %d were read", f.NumRows(), got.Rows)
	}
	cols := map[string][]float64{}
	for _, leaf := range f.Root().Columns() {
		scale := 0
		if lt := leaf.Type().LogicalType(); lt != nil {
			// "DECIMAL(18,3)"
			fmt.Sscanf(lt.String(), "DECIMAL(18,%d)", &scale)
		}
		pages := leaf.Pages()
		for {
			p, err := pages.ReadPage()
			if err == io.EOF {
				break
			}
			if err != nil {
				t.Fatal(err)
			}
			v := make([]parquet.Value, p.NumValues())
			if n, err := p.Values().ReadValues(v); n != len(v) || err != nil && err != io.EOF {
				t.Fatal(n, err)
			}
			for _, x := range v {
				switch {
				case x.IsNull():
					cols[leaf.Name()] = append(cols[leaf.Name()], math.NaN())
				case x.Kind() == parquet.Double:
					cols[leaf.Name()] = append(cols[leaf.Name()], x.Double())
				default:
					cols[leaf.Name()] = append(cols[leaf.Name()], float64(x.Int64())/math.Pow10(scale))
				}
			}
			parquet.Release(p)
		}
		pages.Close()
	}
	return cols, got, file.Len()
}

// What is stored equals what strconv reads of the cells, bit for bit, whatever
// the digits do within a column and between blocks. A negative zero counts as
// zero: no quantity here tells them apart. strconv is the oracle: the language's
// own library, correctly rounded.
func TestImportExact(t *testing.T) {
	const rows = 60_000 // two megabytes: several blocks
	rng := rand.New(rand.NewPCG(3, 5))
	digits := func(n int) string {
		var b strings.Builder
		for range n {
			b.WriteByte(byte('0' + rng.IntN(10)))
		}
		return b.String()
	}
	kinds := []struct {
		name string
		cell func(i int) string
		kept string // "decimal" or "float"
	}{
		{"Time [s]", func(i int) string { return fmt.Sprintf("%d.%02d", i/100, i%100) }, "decimal"},
		{"speed", func(i int) string { return strconv.FormatFloat(rng.NormFloat64()*80, 'f', 2, 64) }, "decimal"},
		{"blanks", func(i int) string {
			if i%7 != 0 {
				return ""
			}
			return strconv.FormatFloat(rng.Float64(), 'f', 4, 64)
		}, "decimal"},
		{"not a number", func(i int) string { return []string{"NaN", "1.5", "nan", "-2.25"}[i%4] }, "decimal"},
		{"late sensor", func(i int) string {
			if i < rows/2 {
				return ""
			}
			return strconv.FormatFloat(rng.Float64()*10, 'f', 3, 64)
		}, "decimal"},
		{"digits grow", func(i int) string { return strconv.FormatFloat(rng.Float64()*100, 'f', i*6/rows, 64) }, "decimal"},
		{"digits grow too far", func(i int) string {
			if i < rows/2 {
				return "9" + digits(13)
			}
			return "0." + digits(8)
		}, "float"},
		{"exponent once", func(i int) string {
			if i == rows-10 {
				return "1.5e-7"
			}
			return strconv.FormatFloat(rng.Float64(), 'f', 3, 64)
		}, "float"},
		{"beyond 32 bits", func(i int) string { return strconv.Itoa(4_000_000_000 + i) }, "decimal"},
		{"beyond 53 bits", func(i int) string { return "9" + digits(18) }, "float"},
		{"beyond 64 bits", func(i int) string { return "1" + digits(24) }, "float"},
		{"seventeen digits", func(i int) string { return "0." + digits(17) }, "float"},
		{"signs", func(i int) string { return []string{"-0.0", "+3.5", "-3.5", "0.0"}[i%4] }, "decimal"},
		{"shortest", func(i int) string { return strconv.FormatFloat(rng.NormFloat64(), 'g', -1, 64) }, "float"},
		{"constant", func(i int) string { return "14.2" }, "decimal"},
	}
	var text strings.Builder
	want := make([][]float64, len(kinds))
	for k, c := range kinds {
		if k > 0 {
			text.WriteByte(',')
		}
		text.WriteString(c.name)
	}
	text.WriteByte('\n')
	for i := range rows {
		for k, c := range kinds {
			if k > 0 {
				text.WriteByte(',')
			}
			cell := c.cell(i)
			text.WriteString(cell)
			v, err := strconv.ParseFloat(cell, 64)
			if err != nil {
				v = math.NaN()
			}
			want[k] = append(want[k], v)
		}
		text.WriteByte('\n')
	}
	cols, got, _ := importText(t, text.String())
	if got.Rows != rows || got.LostRows != 0 || len(got.Columns) != len(kinds) {
		t.Fatalf("%d rows, %d lost, %d columns; want %d, 0, %d", got.Rows, got.LostRows, len(got.Columns), rows, len(kinds))
	}
	if got.Passes < 2 {
		t.Errorf("%d pass: digits that change late ask for another", got.Passes)
	}
	for k, c := range kinds {
		v := cols[got.Columns[k].Name]
		if kept := map[bool]string{true: "float", false: "decimal"}[got.Columns[k].Decimals < 0]; kept != c.kept {
			t.Errorf("%s: kept as %s, want %s", c.name, kept, c.kept)
		}
		if len(v) != rows {
			t.Errorf("%s: %d values", c.name, len(v))
			continue
		}
		for i := range v {
			w := want[k][i]
			if math.Float64bits(v[i]) != math.Float64bits(w) && !(v[i] != v[i] && w != w) && !(w == 0 && v[i] == 0 && !math.Signbit(v[i])) {
				t.Errorf("%s row %d: %v, want %v", c.name, i+1, v[i], w)
				break
			}
		}
	}
}

// A usual table takes one pass and at most 15 % of the text.
func TestImportSmall(t *testing.T) {
	var text strings.Builder
	if err := table(&text, 30_000); err != nil {
		t.Fatal(err)
	}
	_, got, size := importText(t, text.String())
	if share := float64(size) / float64(text.Len()); got.Passes != 1 || share > 0.15 {
		t.Errorf("%d passes, %.1f %% of the text; want 1 and at most 15 %%", got.Passes, 100*share)
	}
}

// Words become numbers with a list that says which, the same across blocks.
func TestImportLabels(t *testing.T) {
	var text strings.Builder
	text.WriteString("Time [s],Map,note\n")
	words := []string{"wet", "dry", "race"}
	for i := range 200_000 {
		fmt.Fprintf(&text, "%d.%02d,%s,\n", i/100, i%100, words[i/70_000])
	}
	cols, got, _ := importText(t, text.String())
	c := got.Columns[1]
	if c.Kind != "label" || strings.Join(c.Labels, " ") != "wet dry race" {
		t.Fatalf("%+v", c)
	}
	for i, v := range cols["Map"] {
		if c.Labels[int(v)] != words[i/70_000] {
			t.Fatalf("row %d: %v", i, v)
		}
	}
}
