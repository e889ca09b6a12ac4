package intake_test

import (
	"bytes"
	"errors"
	"io"
	"math"
	"reflect"
	"strings"
	"testing"

	"cornerwright/internal/circuit"
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
		if err := intake.WriteColumns(&cols, res, 0, nil); err != nil {
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

// One outing of a recording, written alone, is that outing again.
func TestColumnsOfOuting(t *testing.T) {
	o := demo.DefaultOptions(2, 3)
	o.Laps, o.Outings = 2, 2
	var text bytes.Buffer
	if err := demo.Ride(o).WriteText(&text, demo.Plain); err != nil {
		t.Fatal(err)
	}
	res, err := intake.Read("run.csv", text.Bytes(), intake.Options{})
	if err != nil {
		t.Fatal(err)
	}
	parts := circuit.SplitRuns(res.Recordings[0])
	if len(parts) != 2 {
		t.Fatalf("%d outings", len(parts))
	}
	for _, part := range parts {
		var cols bytes.Buffer
		if err := intake.WriteColumns(&cols, res, 0, part); err != nil {
			t.Fatal(err)
		}
		back, err := intake.ReadColumns("run.parquet", bytes.NewReader(cols.Bytes()), int64(cols.Len()))
		if err != nil {
			t.Fatal(err)
		}
		for i, c := range part.Channels {
			same(t, c, back.Channels[i])
		}
		if !reflect.DeepEqual(part.Problems, back.Problems) {
			t.Error("problems differ")
		}
	}
}

// A file of another version, or of another program, is told from a damaged one.
func TestColumnsVersion(t *testing.T) {
	var other bytes.Buffer
	text := "Time [s],a\n0.00,1\n0.01,2\n"
	if _, err := intake.Import("t.csv", strings.NewReader(text), int64(len(text)), func() (io.Writer, error) { return &other, nil }, intake.Options{}); err != nil {
		t.Fatal(err)
	}
	if _, err := intake.ReadColumns("x.parquet", bytes.NewReader(other.Bytes()), int64(other.Len())); !errors.Is(err, intake.ErrColumnsVersion) {
		t.Errorf("another program's file: %v", err)
	}
	if _, err := intake.ReadColumns("x.parquet", bytes.NewReader(other.Bytes()[:20]), 20); err == nil || errors.Is(err, intake.ErrColumnsVersion) {
		t.Errorf("a damaged file: %v", err)
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
