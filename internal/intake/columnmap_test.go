package intake

import (
	"errors"
	"math"
	"strings"
	"testing"

	"cornerwright/internal/recording"
)

// The map that a reading prints can be given back as it stands: every table of
// the corpus then reads to the same channels and values, without a new doubt.
func TestPrintedMapRoundTrips(t *testing.T) {
	n := 0
	for _, name := range corpusFiles(t) {
		if !strings.HasPrefix(name, "text/") && !strings.HasPrefix(name, "can/") && !strings.HasPrefix(name, "parquet/") {
			continue
		}
		data, opt := corpusInput(t, name)
		first, err := Read(name, data, opt)
		if err != nil {
			continue
		}
		n++
		m, err := ParseColumnMap(name+".toml", []byte(first.Map))
		if err != nil {
			t.Errorf("%s: the printed map cannot be read: %v\n%s", name, err, first.Map)
			continue
		}
		opt.Map = m
		second, err := Read(name, data, opt)
		if err != nil {
			t.Errorf("%s with its printed map: %v\n%s", name, err, first.Map)
			continue
		}
		a, b := first.Recordings[0], second.Recordings[0]
		if len(a.Channels) != len(b.Channels) {
			t.Errorf("%s: %d channels, with its printed map %d\n%s", name, len(a.Channels), len(b.Channels), first.Map)
			continue
		}
		for i, c := range a.Channels {
			d := b.Channels[i]
			if c.Name != d.Name || c.Unit != d.Unit || len(c.Value) != len(d.Value) {
				t.Errorf("%s: %s in %s becomes %s in %s", name, c.Name, c.Unit, d.Name, d.Unit)
				continue
			}
			for j := range c.Value {
				if math.Abs(c.Value[j]-d.Value[j]) > 1e-12*math.Abs(c.Value[j]) || c.Time[j] != d.Time[j] {
					t.Errorf("%s: %s sample %d is %v at %v, with its printed map %v at %v", name, c.Name, j, c.Value[j], c.Time[j], d.Value[j], d.Time[j])
					break
				}
			}
		}
		if len(warnings(second)) > len(warnings(first)) {
			t.Errorf("%s: the printed map brings doubts: %v", name, warnings(second))
		}
	}
	if n < 60 {
		t.Errorf("only %d tables were tried", n)
	}
}

func warnings(r *Result) (out []string) {
	for _, p := range r.Problems {
		if p.Severity != recording.Note {
			out = append(out, p.Text.String())
		}
	}
	return out
}

// Each wrong line of a column map is told with its place and what was probably
// meant.
func TestColumnMapErrors(t *testing.T) {
	for _, c := range []struct {
		text      string
		line, col int
		says      string
	}{
		{"rate_hz = -5\n", 0, 0, "no sample rate"},
		{"rate_h = 100\n", 1, 1, `did you mean "rate_hz"?`},
		{"decimal = \";\"\n", 0, 0, `decimal = ","`},
		{"delimiter = \"x\"\n", 0, 0, "delimiter"},
		{"[[column]]\nchannel = \"rpm\"\n", 1, 1, "names no column"},
		{"[[column]]\nfrom = \"a\"\nchanel = \"rpm\"\n", 3, 1, `did you mean "channel"?`},
		{"[[column]]\nfrom = \"a\"\nchannel = \"front_spead\"\n", 3, 1, `did you mean channel = "front_speed"?`},
		{"[[column]]\nfrom = \"a\"\n\n[[column]]\nfrom = \"b\"\nunit = \"kmm/h\"\n", 6, 1, `did you mean unit = "km/h"?`},
		{"[[column]]\nindex = -1\n", 2, 1, "columns count from 1"},
		{"[[column]\nfrom = \"a\"\n", 1, 9, ""},
		{"[[column]]\nfrom = 7\n", 2, 8, ""},
		{"[[column]]\nfrom = \"a\"\nfrom = \"b\"\n", 3, 1, ""},
	} {
		_, err := ParseColumnMap("m.toml", []byte(c.text))
		var e *Error
		if !errors.As(err, &e) {
			t.Errorf("%q: %v", c.text, err)
			continue
		}
		if e.Line != c.line || c.line > 0 && e.Column != c.col || !strings.Contains((e.Text+" "+e.Mend).String(), c.says) || e.Mend == "" {
			t.Errorf("%q: %d:%d %s / %s; want %d:%d %s", c.text, e.Line, e.Column, e.Text, e.Mend, c.line, c.col, c.says)
		}
	}
}
