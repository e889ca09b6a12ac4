package table

import (
	"bufio"
	"bytes"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
)

// Tables of the corpus read to the numbers that Python's csv module and float()
// read, bit for bit. The numbers were written by testdata/oracle/csv_oracle.py
// under Python 3.
func TestAgainstPython(t *testing.T) {
	f, err := os.Open("../testdata/oracle/csv_oracle.txt")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	sc := bufio.NewScanner(f)
	sc.Buffer(nil, 1<<20)
	files, cells, col := 0, 0, 0
	var name string
	var got [][]float64
	for sc.Scan() {
		line := sc.Text()
		if rest, ok := strings.CutPrefix(line, "== "); ok {
			var rows, cols int
			if _, err := fmt.Sscan(rest, &name, &rows, &cols); err != nil {
				t.Fatal(err)
			}
			got = columnsOf(t, name)
			if len(got) != cols || len(got[0]) != rows {
				t.Fatalf("%s: %d columns of %d rows, Python has %d of %d", name, len(got), len(got[0]), cols, rows)
			}
			files, col = files+1, 0
			continue
		}
		for row, text := range strings.Split(line, ",") {
			want := math.NaN()
			if text != "" {
				if want, err = strconv.ParseFloat(text, 64); err != nil {
					t.Fatal(err)
				}
			}
			if g := got[col][row]; g != want && !(g != g && want != want) {
				t.Errorf("%s row %d column %d: %v, Python reads %v", name, row+1, col+1, g, want)
			}
			cells++
		}
		col++
	}
	if sc.Err() != nil || files < 15 || cells < 5000 {
		t.Fatalf("%d files, %d cells: %v", files, cells, sc.Err())
	}
}

func columnsOf(t *testing.T, name string) [][]float64 {
	t.Helper()
	b, err := os.ReadFile("../testdata/text/" + name)
	if err != nil {
		t.Fatal(err)
	}
	b = bytes.TrimPrefix(b, []byte("\xef\xbb\xbf"))
	d, err := Sniff(b, true, Overrides{})
	if err != nil {
		t.Fatal(name, err)
	}
	out := make([][]float64, len(d.Columns))
	if err := Scan(bytes.NewReader(b), d, 2, func(blk *Block) error {
		for i := range blk.Cols {
			out[i] = blk.Cols[i].Values(out[i])
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	return out
}
