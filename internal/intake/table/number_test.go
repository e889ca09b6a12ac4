package table

import (
	"fmt"
	"math"
	"math/big"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"testing"
)

// readColumn parses one cell a line as a block does, through the fast path and
// the column's common power of ten.
func readColumn(cells []string, decimal byte) ([]float64, *Block) {
	d := &Dialect{Delimiter: ';', Decimal: decimal, Columns: []Column{{Header: "a", Index: 1, Kind: Number}, {Header: "b", Index: 2, Kind: Number}}}
	p := newParser(d)
	var blk Block
	var text strings.Builder
	for _, c := range cells {
		text.WriteString(c + ";7\n")
	}
	p.parse([]byte(text.String()), &blk, 1, 0)
	return blk.Cols[0].Values(nil), &blk
}

// checkColumn holds a block of numbers against strconv, bit for bit; a negative
// zero is read as zero.
func checkColumn(t *testing.T, cells []string) {
	t.Helper()
	for _, decimal := range []byte{'.', ','} {
		in := cells
		if decimal == ',' {
			in = make([]string, len(cells))
			for i, c := range cells {
				in[i] = strings.ReplaceAll(c, ".", ",")
			}
		}
		got, blk := readColumn(in, decimal)
		if blk.Rows != len(cells) {
			t.Fatalf("%d rows, want %d", blk.Rows, len(cells))
		}
		for i, c := range cells {
			want, err := strconv.ParseFloat(c, 64)
			if err != nil {
				t.Fatalf("strconv refuses %q: %v", c, err)
			}
			if want == 0 {
				want = 0 // minus zero
			}
			if math.Float64bits(got[i]) != math.Float64bits(want) {
				t.Fatalf("decimal %q: %q reads as %b, strconv says %b (of %d cells)", decimal, in[i], got[i], want, len(cells))
			}
		}
	}
}

func digits(r *rand.Rand, n int) string {
	var b strings.Builder
	for range n {
		b.WriteByte(byte('0' + r.IntN(10)))
	}
	return b.String()
}

// kinds of number, each a generator; between them they reach every branch of the
// fast path, its limits of digits and powers, and what it hands to strconv.
var kinds = map[string]func(r *rand.Rand) string{
	"logger":        func(r *rand.Rand) string { return strconv.FormatFloat(r.NormFloat64()*100, 'f', r.IntN(8), 64) },
	"same decimals": func(r *rand.Rand) string { return strconv.FormatFloat(r.Float64()*400, 'f', 2, 64) },
	"integers":      func(r *rand.Rand) string { return strconv.FormatInt(int64(r.Uint64()>>uint(r.IntN(63))), 10) },
	"up to 25 digits": func(r *rand.Rand) string {
		n := 1 + r.IntN(25)
		k := r.IntN(n + 1)
		return digits(r, n-k) + "." + digits(r, k) + "0"
	},
	"fifteen to nineteen": func(r *rand.Rand) string {
		s := string(rune('1'+r.IntN(9))) + digits(r, 13+r.IntN(6))
		k := r.IntN(len(s))
		return s[:k] + "." + s[k:]
	},
	"leading zeros": func(r *rand.Rand) string {
		return strings.Repeat("0", r.IntN(30)) + digits(r, 1+r.IntN(8)) + "." + strings.Repeat("0", r.IntN(25)) + digits(r, 1+r.IntN(6))
	},
	"exponents": func(r *rand.Rand) string {
		return digits(r, 1+r.IntN(18)) + "." + digits(r, r.IntN(18)) + []string{"e", "E"}[r.IntN(2)] + strconv.Itoa(r.IntN(600)-300-18)
	},
	"shortest of any float": func(r *rand.Rand) string { return anyFloat(r, 'g') },
	"all digits of any float": func(r *rand.Rand) string {
		for {
			if s := anyFloat(r, 'f'); len(s) < 350 {
				return s
			}
		}
	},
	"halfway": func(r *rand.Rand) string {
		// Exactly between two neighbours, or one unit of the last digit off.
		f := math.Ldexp(float64(1<<52|r.Uint64()>>12), r.IntN(60)-50)
		x := new(big.Float).SetPrec(2000).SetFloat64(f)
		y := new(big.Float).SetPrec(2000).SetFloat64(math.Nextafter(f, math.Inf(1)))
		s := x.Add(x, y).Quo(x, big.NewFloat(2)).Text('f', -1)
		if !strings.Contains(s, ".") {
			s += "."
		}
		return s + []string{"", "0", "00000000000000000001"}[r.IntN(3)]
	},
	"near halfway, few digits": func(r *rand.Rand) string {
		return strconv.FormatUint(1<<53+uint64(r.IntN(4000)), 10) + []string{"", ".0", ".5", ".4", ".6"}[r.IntN(5)]
	},
	"subnormal": func(r *rand.Rand) string {
		return strconv.FormatFloat(math.Float64frombits(r.Uint64()>>uint(12+r.IntN(52))), 'e', r.IntN(20), 64)
	},
	"bare points": func(r *rand.Rand) string {
		return []string{digits(r, 1+r.IntN(5)) + ".", "." + digits(r, 1+r.IntN(5))}[r.IntN(2)]
	},
}

func anyFloat(r *rand.Rand, format byte) string {
	for {
		f := math.Float64frombits(r.Uint64())
		if !math.IsNaN(f) && !math.IsInf(f, 0) {
			return strconv.FormatFloat(math.Abs(f), format, -1, 64)
		}
	}
}

// The exact fast path agrees with strconv, bit for bit, on every kind of number,
// alone in its block and mixed with others: about 49,000 cells by default, each
// with either decimal sign, fifty times as many with CORNERWRIGHT_FULL=1.
func TestNumbersAgainstStrconv(t *testing.T) {
	blocks := 100
	if os.Getenv("CORNERWRIGHT_FULL") == "1" {
		blocks = 5000
	}
	names := make([]string, 0, len(kinds))
	for name := range kinds {
		names = append(names, name)
	}
	one := func(r *rand.Rand, name string) string {
		s := strings.TrimPrefix(kinds[name](r), "-")
		switch r.IntN(4) {
		case 0:
			return "-" + s
		case 1:
			if r.IntN(4) == 0 {
				return "+" + s
			}
		}
		return s
	}
	for name := range kinds {
		t.Run(name, func(t *testing.T) {
			r := rand.New(rand.NewPCG(uint64(len(name)), 7))
			for range blocks {
				cells := make([]string, 1+r.IntN(60))
				for i := range cells {
					cells[i] = one(r, name)
				}
				checkColumn(t, cells)
			}
		})
	}
	t.Run("mixed", func(t *testing.T) {
		r := rand.New(rand.NewPCG(1, 7))
		for range 3 * blocks {
			cells := make([]string, 1+r.IntN(60))
			for i := range cells {
				cells[i] = one(r, names[r.IntN(len(names))])
			}
			checkColumn(t, cells)
		}
	})
}

// Known hard cases. The first six: from memory, of the papers of Clinger (1990)
// and of the test files of several C libraries.
func TestHardNumbers(t *testing.T) {
	for _, c := range []string{
		"9007199254740993", "9007199254740992.5", "1.00000000000000011102230246251565404236316680908203125",
		"1.00000000000000011102230246251565404236316680908203124", "2.2250738585072011e-308", "6.631236846766476e-316",
		"4.9406564584124654e-324", "2.4703282292062328e-324", "2.4703282292062327e-324", "1.7976931348623157e308", "8.5e-22", "0.000000000000000000001", "1e22", "1e23", "123456789012345678",
		"999999999999999", "9999999999999999", "0.1", "0.30000000000000004", "00000000000000000000000000000.1", "-0", "-0.000", "5e-324",
	} {
		checkColumn(t, []string{c})
		checkColumn(t, []string{"1", c, "0.25", c, "1e5"})
	}
}

// What is no number reads as a blank or is told as bad, and never as a wrong
// number.
func TestNoNumbers(t *testing.T) {
	for c, bad := range map[string]bool{"": false, "NaN": false, "-": false, "n/a": false, "inf": false, "-Infinity": false,
		"1e400": true, "0x1p3": true, "1_000": true, "1.2.3": true, "--1": true, "1-": true, "1e": true, "e5": true, "abc": true, "1 2": true, "٣": true} {
		v, blk := readColumn([]string{c}, '.')
		if len(v) != 1 || v[0] == v[0] {
			t.Errorf("%q reads as %v", c, v)
		}
		if n, _, _, _ := blk.Cols[0].Bad(); (n == 1) != bad {
			t.Errorf("%q: %d bad cells, want bad %v", c, n, bad)
		}
	}
}

// FuzzNumber: any text that strconv takes as a plain decimal reads to the same
// bits; one that reads otherwise is grouped or worded, and no plain decimal.
func FuzzNumber(f *testing.F) {
	for _, s := range []string{"1", "-0.5", "1e5", "12345678901234567890.123", "0.1e-3", "+7.", ".5", "9007199254740993", "1,234.5", "4.9e-324"} {
		f.Add(s, uint8(2))
	}
	f.Fuzz(func(t *testing.T, s string, k uint8) {
		if len(s) > 300 || strings.Trim(s, "0123456789.eE+-") != "" {
			return
		}
		want, err := strconv.ParseFloat(s, 64)
		if err != nil {
			return
		}
		if want == 0 {
			want = 0
		}
		other := strconv.FormatFloat(float64(k)/8, 'f', int(k%7), 64)
		got, blk := readColumn([]string{other, s, other}, '.')
		if blk.Rows != 3 || math.Float64bits(got[1]) != math.Float64bits(want) {
			t.Fatalf("%q reads as %v, want %v", s, got, want)
		}
		if o, _ := strconv.ParseFloat(other, 64); got[0] != o || got[2] != o {
			t.Fatalf("%q beside %q reads as %v, %v", other, s, got[0], got[2])
		}
	})
}

func ExampleScan() {
	text := "time,speed\n0.0,27.5\n0.1,27.75\n"
	d, err := Sniff([]byte(text), true, Overrides{})
	if err != nil {
		fmt.Println(err)
		return
	}
	err = Scan(strings.NewReader(text), d, 1, func(b *Block) error {
		for i := range b.Cols {
			fmt.Println(d.Columns[i].Header, b.Cols[i].Values(nil))
		}
		return nil
	})
	if err != nil {
		fmt.Println(err)
	}
	// Output:
	// time [0 0.1]
	// speed [27.5 27.75]
}
