package intake_test

import (
	"bytes"
	"math"
	"reflect"
	"testing"

	"cornerwright/internal/demo"
	"cornerwright/internal/intake"
	"cornerwright/internal/recording"
)

// A column file gives back the recording bit for bit, whole or by channel.
func TestColumnsRoundTrip(t *testing.T) {
	for _, d := range []demo.Dialect{demo.Plain, {Delimiter: ";", Comma: true, UnitRow: true, Repeat: true, Clock: "ms", Jump: true}} {
		o := demo.DefaultOptions(1, 2)
		o.Laps = 1
		var text, cols bytes.Buffer
		if err := demo.Ride(o).WriteText(&text, d); err != nil {
			t.Fatal(err)
		}
		res, err := intake.Read("run.csv", text.Bytes(), intake.Options{})
		if err != nil {
			t.Fatal(err)
		}
		if err := intake.WriteColumns(&cols, res, 0); err != nil {
			t.Fatal(err)
		}
		t.Logf("text %d bytes, columns %d (%.1f %%)", text.Len(), cols.Len(), 100*float64(cols.Len())/float64(text.Len()))
		a := res.Recordings[0]
		b, err := intake.ReadColumns("run.parquet", bytes.NewReader(cols.Bytes()), int64(cols.Len()))
		if err != nil {
			t.Fatal(err)
		}
		if len(a.Channels) != len(b.Channels) {
			t.Fatalf("%d channels, want %d", len(b.Channels), len(a.Channels))
		}
		for i, c := range a.Channels {
			same(t, c, b.Channels[i])
		}
		if !reflect.DeepEqual(a.Problems, b.Problems) || !a.Epoch.Equal(b.Epoch) || a.Rows != b.Rows || a.Hash != b.Hash || len(a.Clock) != len(b.Clock) {
			t.Error("problems, epoch, rows, hash or clock marks differ")
		}
		some, err := intake.ReadColumns("run.parquet", bytes.NewReader(cols.Bytes()), int64(cols.Len()), recording.RPM, recording.Latitude)
		if err != nil || len(some.Channels) != 2 {
			t.Fatalf("selected channels: %v, %v", some, err)
		}
		same(t, a.Channel(recording.RPM), some.Channel(recording.RPM))
	}
}

func same(t *testing.T, a, b *recording.Channel) {
	t.Helper()
	if a.Name != b.Name || a.From != b.From || a.Unit != b.Unit || a.Step != b.Step || a.Known != b.Known || len(a.Value) != len(b.Value) || !reflect.DeepEqual(a.Marks, b.Marks) {
		t.Errorf("%s: differs in its description, samples (%d, %d) or marks", a.Name, len(a.Value), len(b.Value))
		return
	}
	for i := range a.Value {
		if math.Float64bits(a.Value[i]) != math.Float64bits(b.Value[i]) || math.Float64bits(a.Time[i]) != math.Float64bits(b.Time[i]) {
			t.Errorf("%s sample %d: (%v, %v), want (%v, %v)", a.Name, i, b.Time[i], b.Value[i], a.Time[i], a.Value[i])
			return
		}
	}
}
