package demo

import (
	"bytes"
	"strconv"
	"strings"
	"testing"
)

func TestDialects(t *testing.T) {
	o := DefaultOptions(1, 2)
	o.Laps = 1
	r := Ride(o)
	for _, d := range []Dialect{
		Plain,
		{Delimiter: ";", Comma: true, CRLF: true},
		{Delimiter: "\t", UnitRow: true, Preamble: []string{"first words", "second"}},
		{Delimiter: ",", Clock: "ms", Repeat: true},
	} {
		var b bytes.Buffer
		if err := r.WriteText(&b, d); err != nil {
			t.Fatal(err)
		}
		text := strings.ReplaceAll(b.String(), "\r\n", "\n")
		lines := strings.Split(strings.TrimSuffix(text, "\n"), "\n")[len(d.Preamble):]
		first := 1
		if d.UnitRow {
			first = 2
		}
		want := len(r.Channels) + 1
		if n := len(lines) - first; n != len(r.Channel("rpm").Time) {
			t.Errorf("%+v: %d rows for %d samples", d, n, len(r.Channel("rpm").Time))
		}
		for i, l := range lines {
			f := strings.Split(l, d.Delimiter)
			if len(f) != want {
				t.Fatalf("%+v line %d: %d fields, want %d", d, i+1, len(f), want)
			}
			if i < first {
				continue
			}
			for k, c := range r.Channels {
				if c.Name != "front_speed" {
					continue
				}
				v, err := strconv.ParseFloat(strings.Replace(f[k+1], ",", ".", 1), 64)
				if d := v - c.Value[i-first]; err != nil || d > 1e-9 || d < -1e-9 {
					t.Fatalf("line %d: %q for %g (%v)", i+1, f[k+1], c.Value[i-first], err)
				}
			}
		}
	}
	var b bytes.Buffer
	if err := r.WriteText(&b, Dialect{Delimiter: ",", CutOff: true}); err != nil {
		t.Fatal(err)
	}
	if strings.HasSuffix(b.String(), "\n") {
		t.Error("a file that is cut off ends with a whole line")
	}
}

func TestAppendFixed(t *testing.T) {
	for _, q := range []struct {
		v    float64
		d    int
		want string
	}{{1.005, 1, "1.0"}, {-0.04, 1, "0.0"}, {-0.06, 1, "-0.1"}, {12, 0, "12"}, {-12.5678, 3, "-12.568"}, {0.05, 2, "0.05"}, {48.1234567, 7, "48.1234567"}} {
		if got := string(appendFixed(nil, q.v, q.d, '.')); got != q.want {
			t.Errorf("%g to %d decimals: %s, want %s", q.v, q.d, got, q.want)
		}
	}
}
