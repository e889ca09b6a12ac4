package intake

import (
	"bytes"
	"testing"
)

// A column file of our own, given as a recording, reads to the recording it was
// written from: same channels, instants and values to the last bit. The one that
// is cut in its footer gives the row groups that are left.
func TestOwnColumnFileAsRecording(t *testing.T) {
	for _, name := range []string{"text/gps-repeated.csv", "text/held-values.csv", "text/labels.csv", "text/time-iso.csv", "can/basic.log", "can/every-kind.log", "nmea/rmc-gga.txt", "gpx/track.gpx", "text/clock-steps-back.csv", "text/same-name-twice.csv"} {
		data, opt := corpusInput(t, name)
		res, err := Read(name, data, opt)
		if err != nil {
			t.Fatal(err)
		}
		var own bytes.Buffer
		if err := WriteColumns(&own, res, 0, nil); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		back, err := Read("own.parquet", own.Bytes(), Options{})
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		a, b := res.Recordings[0], back.Recordings[0]
		if len(a.Channels) != len(b.Channels) {
			t.Errorf("%s: %d channels, want %d\n%s", name, len(b.Channels), len(a.Channels), describe(back, nil))
			continue
		}
		for i, c := range a.Channels {
			d := b.Channels[i]
			if c.Name != d.Name || c.Unit != d.Unit || len(c.Value) != len(d.Value) {
				t.Errorf("%s: %s in %s, %d values, becomes %s in %s, %d", name, c.Name, c.Unit, len(c.Value), d.Name, d.Unit, len(d.Value))
				continue
			}
			for j := range c.Value {
				if c.Value[j] != d.Value[j] || c.Time[j] != d.Time[j] {
					t.Errorf("%s: %s sample %d is %v at %v, want %v at %v", name, c.Name, j, d.Value[j], d.Time[j], c.Value[j], c.Time[j])
					break
				}
			}
		}
	}
}
