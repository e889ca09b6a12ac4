package book

import (
	"context"
	"fmt"
	"math"
	"os"
	"reflect"
	"testing"

	"cornerwright/internal/debrief"
	"cornerwright/internal/ride"
)

// differ says where two values differ, unexported fields included; NaN equals
// NaN, and an empty list a missing one.
func differ(path string, a, b reflect.Value) string {
	switch a.Kind() {
	case reflect.Float64:
		if math.Float64bits(a.Float()) != math.Float64bits(b.Float()) && !(a.Float() != a.Float() && b.Float() != b.Float()) {
			return fmt.Sprintf("%s: %v, want %v", path, b.Float(), a.Float())
		}
	case reflect.Pointer:
		if a.IsNil() != b.IsNil() {
			return path + ": one is nil"
		}
		if !a.IsNil() {
			return differ(path, a.Elem(), b.Elem())
		}
	case reflect.Struct:
		for i := range a.NumField() {
			if d := differ(path+"."+a.Type().Field(i).Name, a.Field(i), b.Field(i)); d != "" {
				return d
			}
		}
	case reflect.Slice, reflect.Array:
		if a.Len() != b.Len() {
			return fmt.Sprintf("%s: %d elements, want %d", path, b.Len(), a.Len())
		}
		for i := range a.Len() {
			if d := differ(fmt.Sprintf("%s[%d]", path, i), a.Index(i), b.Index(i)); d != "" {
				return d
			}
		}
	case reflect.Map:
		if fmt.Sprint(a) != fmt.Sprint(b) {
			return path + ": maps differ"
		}
	default:
		if fmt.Sprint(a) != fmt.Sprint(b) {
			return fmt.Sprintf("%s: %v, want %v", path, b, a)
		}
	}
	return ""
}

// A ride read back is the ride that was kept, to the last bit, and so is what
// is said of it; and adding a run leaves nothing to compute for its debrief.
func TestRideFile(t *testing.T) {
	b := newTestBook(t, 0)
	r := must[Run](t)(b.Run("1"))
	want, err := b.Ride(bg, 1)
	if err != nil {
		t.Fatal(err)
	}
	c, err := b.Circuit(r.Circuit)
	if err != nil {
		t.Fatal(err)
	}
	got, err := b.readRide(r, c)
	if err != nil {
		t.Fatalf("adding left no ride to read: %v", err)
	}
	a, z := *want, *got
	a.Circuit, z.Circuit = nil, nil
	if d := differ("ride", reflect.ValueOf(a), reflect.ValueOf(z)); d != "" {
		t.Error(d)
	}
	say := func() string {
		d, err := b.Debrief(bg, 1, debrief.Options{})
		if err != nil {
			t.Fatal(err)
		}
		return fmt.Sprintf("%+v", *d)
	}
	before := say()
	b.rides.clear()
	if after := say(); after != before {
		t.Error("the debrief of a ride read back differs")
	}

	// Computed anew it is the same ride; a file that rests on something else or
	// is damaged is not read.
	os.Remove(b.ridePath(r))
	b.rides.clear()
	if after := say(); after != before {
		t.Error("the debrief of a ride computed anew differs")
	}
	if _, err := b.readRide(r, c); err != nil {
		t.Errorf("a ride computed anew is kept: %v", err)
	}
	other := *c
	other.Version++
	if _, err := b.readRide(r, &other); err == nil {
		t.Error("a ride on another line was read")
	}
	data, err := os.ReadFile(b.ridePath(r))
	if err != nil {
		t.Fatal(err)
	}
	for i := 10; i < len(data); i += len(data) / 7 {
		hurt := append([]byte{}, data...)
		hurt[i] ^= 0x40
		os.WriteFile(b.ridePath(r), hurt, 0o644)
		b.rides.clear()
		if after := say(); after != before {
			t.Errorf("byte %d of %d damaged: the debrief differs", i, len(data))
		}
	}
}

// Whoever hears that a run came in finds its analysis in memory: the first page
// of a run makes nothing that the adding has made.
func TestAddedRunIsInMemoryWhenItIsHeardOf(t *testing.T) {
	b := newTestBook(t)
	news, stop := b.Subscribe()
	defer stop()
	there := make(chan bool)
	go func() {
		for range news {
			runs, err := b.Runs(RunFilter{})
			if err == nil && len(runs) > 0 {
				there <- b.rides.get(rideKey{runs[0].Number, runs[0].Line}) != nil
				return
			}
		}
	}()
	res := addRun(t, b, 0)
	if !<-there {
		t.Error("the run was told of before its analysis could be had")
	}
	if x := must[*ride.Ride](t)(b.Ride(context.Background(), res.Runs[0].Number)); x != b.rides.get(rideKey{res.Runs[0].Number, res.Runs[0].Line}) {
		t.Error("the run was analysed twice")
	}
}
