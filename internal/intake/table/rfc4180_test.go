package table

import (
	"encoding/csv"
	"math"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"
)

// cellsOf cuts a whole text in records of cells as the readers do.
func cellsOf(text string) [][]string {
	var out [][]string
	b := []byte(text)
	if len(b) > 0 && b[len(b)-1] != '\n' {
		b = append(b, '\n')
	}
	for pos := 0; pos < len(b); {
		end, _ := recordEnd(b, pos)
		if end < 0 {
			end = len(b) - 1
		}
		out = append(out, splitLine([]byte(strings.TrimSuffix(string(b[pos:end]), "\r")), ','))
		pos = end + 1
	}
	return out
}

// Grammar of RFC 4180, section 2, by its seven rules, and what it leaves open.
func TestRFC4180(t *testing.T) {
	for _, c := range []struct {
		rule, text string
		want       [][]string
	}{
		{"1: records end in CR LF", "aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n", [][]string{{"aaa", "bbb", "ccc"}, {"zzz", "yyy", "xxx"}}},
		{"2: the last may lack it", "aaa,bbb,ccc\r\nzzz,yyy,xxx", [][]string{{"aaa", "bbb", "ccc"}, {"zzz", "yyy", "xxx"}}},
		{"4: an empty field between commas", "a,,c\r\n", [][]string{{"a", "", "c"}}},
		{"5: fields may be quoted", "\"aaa\",\"bbb\",\"ccc\"\r\nzzz,yyy,xxx", [][]string{{"aaa", "bbb", "ccc"}, {"zzz", "yyy", "xxx"}}},
		{"6: line breaks, quotes and commas inside quotes", "\"aaa\",\"b\r\nbb\",\"ccc\"\r\nzzz,yyy,xxx", [][]string{{"aaa", "b\r\nbb", "ccc"}, {"zzz", "yyy", "xxx"}}},
		{"6: a comma", "a,\"b,c\",d", [][]string{{"a", "b,c", "d"}}},
		{"7: a quote is doubled", "\"aaa\",\"b\"\"bb\",\"ccc\"", [][]string{{"aaa", "b\"bb", "ccc"}}},
		{"7: he said", "a,\"he said \"\"x\"\"\",z", [][]string{{"a", "he said \"x\"", "z"}}},
		{"line feed alone", "a,b\n1,2\n", [][]string{{"a", "b"}, {"1", "2"}}},
		{"empty quotes", "\"\",b", [][]string{{"", "b"}}},
		// Rule 4 makes blanks part of the field; a table of numbers trims them, a
		// quoted cell keeps them.
		{"4: blanks are trimmed here", "a, b ,c", [][]string{{"a", "b", "c"}}},
		{"4: quoted blanks stay", "a,\" b \",c", [][]string{{"a", " b ", "c"}}},
		// Not RFC 4180: a quote inside a bare field is kept as it stands.
		{"5: a bare quote stands for itself", "a\"b,c", [][]string{{"a\"b", "c"}}},
	} {
		if got := cellsOf(c.text); !reflect.DeepEqual(got, c.want) {
			t.Errorf("%s: %q cuts to %q, want %q", c.rule, c.text, got, c.want)
		}
	}
}

// Whatever encoding/csv writes is cut to the same cells again.
func TestCellsAgainstEncodingCSV(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 5))
	pieces := []string{"a", "12.5", "\"", ",", "\n", "x y", "é", "", "'", ";", "\"\""}
	for range 500 {
		var want [][]string
		for range 1 + r.IntN(5) {
			row := make([]string, 1+r.IntN(5))
			for i := range row {
				for range r.IntN(4) {
					row[i] += pieces[r.IntN(len(pieces))]
				}
				row[i] = strings.Trim(row[i], " ") // a bare cell's blanks are trimmed
			}
			if len(row) == 1 && row[0] == "" {
				row[0] = "x" // a lone empty cell is a blank line
			}
			want = append(want, row)
		}
		var b strings.Builder
		w := csv.NewWriter(&b)
		if err := w.WriteAll(want); err != nil {
			t.Fatal(err)
		}
		if got := cellsOf(b.String()); !reflect.DeepEqual(got, want) {
			t.Fatalf("%q cuts to %q, want %q", b.String(), got, want)
		}
	}
}

// Date-times of RFC 3339, section 5.8, and the epochs beside them; Unix seconds
// by arithmetic (POSIX: leap seconds do not count).
func TestDateTimes(t *testing.T) {
	for text, want := range map[string]float64{
		"1985-04-12T23:20:50.52Z":      482196050.52,
		"1996-12-19T16:39:57-08:00":    851042397,
		"1996-12-20T00:39:57Z":         851042397,
		"1990-12-31T23:59:60Z":         662688000, // a leap second: the next second's start
		"1990-12-31T15:59:60-08:00":    662688000,
		"1937-01-01T12:00:27.87+00:20": -1041337172.13,
		"1980-01-06T00:00:00Z":         315964800, // start of GPS time
		"2024-02-29T00:00:00Z":         1709164800,
		// Relatives that ISO 8601 allows or loggers write.
		"1985-04-12 23:20:50.52":      482196050.52,
		"1985-04-12T23:20:50,52Z":     482196050.52,
		"19850412T232050Z":            482196050,
		"1985-04-12t23:20:50z":        482196050,
		"12.04.1985 23:20:50":         482196050,
		"1985/04/12 23:20:50":         482196050,
		"1985-04-12T23:20:50+0000":    482196050,
		"1985-04-12T23:20:50 UTC":     482196050,
		"1985-04-12T23:20:50.123456Z": 482196050.123456,
	} {
		sec, frac, k, ok := ParseDateTime([]byte(text))
		if got := float64(sec) + float64(frac)/pow10[k]; !ok || math.Abs(got-want) > 1e-6 {
			t.Errorf("%s = %.6f, %v; want %.6f", text, got, ok, want)
		}
	}
	for _, text := range []string{"2023-02-29T00:00:00Z", "2026-13-01T00:00:00Z", "2026-01-01T24:00:00Z", "2026-01-01T10:60:00Z", "2026-01-01T10:00:61Z",
		"2026-01-01T10:00:00+25:00", "2026-01-01", "10:00:00", "2026-01-01T10:00:00.Z", "2026-01-01T10:00:00Zx", "yesterday at ten"} {
		if _, _, _, ok := ParseDateTime([]byte(text)); ok {
			t.Errorf("%s was taken for a date-time", text)
		}
	}
}

func TestClocks(t *testing.T) {
	for text, want := range map[string]float64{"0:00.0": 0, "1:02.5": 62.5, "1:02:03.25": 3723.25, "10:15:30,5": 36930.5, "-0:01.5": -1.5, "90:00": 5400, "23:59:60": 86400, "12:34:56:789": 45296.789} {
		m, k, ok := parseClock([]byte(text))
		if got := float64(m) / pow10[k]; !ok || got != want {
			t.Errorf("%s = %v, %v; want %v", text, got, ok, want)
		}
	}
	for _, text := range []string{"", ":", "1:", "1:60.0", "1:61:00", "1:2:3:4:5", "a:bc", "1.5", "1:00.x"} {
		if _, _, ok := parseClock([]byte(text)); ok {
			t.Errorf("%q was taken for a clock", text)
		}
	}
}

// Positions in degrees, minutes and seconds: 48 degrees 7.038 minutes north and
// the like are the public worked example of the GGA sentence.
func TestDegrees(t *testing.T) {
	for text, want := range map[string]float64{
		"4807.038N": 48.1173, "01131.000E": 11.516666666667, "5133.82 N": 51.563666666667, "00042.24W": -0.704, "N4807.038": 48.1173,
		"48°07.038'N": 48.1173, "48°07'02.28\"N": 48.1173, "48° 7' 2.28\" N": 48.1173, "-0°42'14.4\"": -0.704, "48.1173° N": 48.1173, "33.5°S": -33.5, "11°31′E": 11.516666666667,
		"48 07.038 N": 48.1173,
	} {
		if got, ok := ParseDegrees([]byte(text)); !ok || math.Abs(got-want) > 1e-9 {
			t.Errorf("%s = %.9f, %v; want %.9f", text, got, ok, want)
		}
	}
	for _, text := range []string{"48.1173", "48.1173°", "S12", "E5", "91.0N", "181.0E", "4867.0N", "-48.5N", "48°61'N", "12 s", "N", "", "48.1.1N", "1 2 3 4 N", "12 N"} {
		if got, ok := ParseDegrees([]byte(text)); ok {
			t.Errorf("%q was taken for the position %v", text, got)
		}
	}
}
