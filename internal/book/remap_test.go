package book

import (
	"context"
	"errors"
	"strconv"
	"testing"

	"cornerwright/internal/debrief"
	"cornerwright/internal/recording"
)

// A run whose original is read with another column map is another run: its
// channels, results and stored files are those of the new map, what people said
// stays, and what cannot be read so changes nothing.
func TestRemap(t *testing.T) {
	b := newTestBook(t, 0)
	ctx := context.Background()
	all, err := b.Runs(RunFilter{})
	if err != nil || len(all) != 1 {
		t.Fatalf("%d runs, %v", len(all), err)
	}
	n, hash := all[0].Number, all[0].Original
	if _, err := b.AddRemark(debrief.Remark{Run: n, Turns: []int{1}, Says: "spins", Strength: 2, Words: "it spins"}, "me", "k"); err != nil {
		t.Fatal(err)
	}
	head, runs, m, err := b.Columns(hash, 64<<10)
	if err != nil || m != nil || len(runs) != 1 {
		t.Fatalf("%v, map %v, %d runs", err, m, len(runs))
	}
	coolant := 0
	for _, c := range head.Columns {
		if c.Channel == recording.Coolant {
			coolant = c.Index
		}
	}
	whole, _, _, err := b.Columns(hash, 1<<30)
	if err != nil || len(whole.Columns) != len(head.Columns) || coolant == 0 {
		t.Fatalf("%v: %d columns by the head, %d by all of it, coolant is %d", err, len(head.Columns), len(whole.Columns), coolant)
	}
	for i := range whole.Columns {
		if a, b := head.Columns[i], whole.Columns[i]; a.Channel != b.Channel || a.Unit != b.Unit {
			t.Errorf("column %d: %s %s by the head, %s %s by all of it", i+1, a.Channel, a.Unit, b.Channel, b.Unit)
		}
	}
	before, err := b.LastEvent()
	if err != nil {
		t.Fatal(err)
	}
	mapped := "[[column]]\nindex = " + strconv.Itoa(coolant) + "\nchannel = \"ignore\"\n"
	if runs, err = b.Remap(ctx, hash, []byte(mapped), "test"); err != nil || len(runs) != 1 || runs[0].Number != n {
		t.Fatalf("%v: %+v", err, runs)
	}
	rec, err := b.Recording(ctx, n)
	if err != nil {
		t.Fatal(err)
	}
	if rec.Channel(recording.Coolant) != nil {
		t.Error("the column that was left out is still there")
	}
	if after, err := b.LastEvent(); err != nil || after <= before {
		t.Errorf("nobody was told: %d, %d, %v", before, after, err)
	}
	if rs, err := b.Remarks(n); err != nil || len(rs) != 1 {
		t.Errorf("%d remarks, %v", len(rs), err)
	}
	if _, _, m, err = b.Columns(hash, 64<<10); err != nil || m == nil || len(m.Columns) != 1 {
		t.Errorf("the map of the run: %+v, %v", m, err)
	}
	// Without a place there is no run: refused, and all is as it was.
	lat := 0
	for _, c := range head.Columns {
		if c.Channel == recording.Latitude {
			lat = c.Index
		}
	}
	_, err = b.Remap(ctx, hash, []byte("[[column]]\nindex = "+strconv.Itoa(lat)+"\nchannel = \"ignore\"\n"), "test")
	if !errors.Is(err, ErrInvalid) {
		t.Errorf("a map without latitude: %v", err)
	}
	if rec, err := b.Recording(ctx, n); err != nil || !rec.Has(recording.Latitude) || rec.Channel(recording.Coolant) != nil {
		t.Errorf("the run changed: %v", err)
	}
}
