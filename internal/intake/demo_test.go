package intake_test

import (
	"bytes"
	"testing"

	"cornerwright/internal/demo"
	"cornerwright/internal/intake"
	"cornerwright/internal/recording"
)

// Every dialect of the demo's day reads to its channels without a fault, and to
// the values that were written.
func TestDemoDialects(t *testing.T) {
	o := demo.DefaultOptions(0, 1)
	o.Laps = 2
	run := demo.Ride(o)
	for name, d := range map[string]demo.Dialect{
		"plain":     demo.Plain,
		"semicolon": {Delimiter: ";", Comma: true, UnitRow: true, CRLF: true, Preamble: []string{"Logger;7", "Datum;2026-03-08"}},
		"tab":       {Delimiter: "\t", Repeat: true},
		"ms":        {Delimiter: ",", Clock: "ms", CutOff: true},
		"jump":      {Delimiter: ",", Jump: true},
	} {
		t.Run(name, func(t *testing.T) {
			var b bytes.Buffer
			if err := run.WriteText(&b, d); err != nil {
				t.Fatal(err)
			}
			res, err := intake.Read(name+".csv", b.Bytes(), intake.Options{})
			if err != nil {
				t.Fatal(err)
			}
			rec := res.Recordings[0]
			for _, p := range res.Problems {
				t.Log(intake.PrintProblem(name, p))
			}
			for _, c := range rec.Channels {
				if !c.Known {
					t.Errorf("column %q is not known", c.From)
				}
				t.Logf("%-12s %-22s %8.2f Hz %6d marks %d", c.Name, c.From, c.Rate(), len(c.Value), len(c.Marks))
			}
			if lat := rec.Channel(recording.Latitude); lat == nil || lat.Rate() < 5 || lat.Rate() > 30 {
				t.Errorf("GPS rate %v", lat.Rate())
			}
		})
	}
}
