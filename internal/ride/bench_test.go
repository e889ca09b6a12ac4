package ride

import (
	"fmt"
	"testing"
	"time"

	"cornerwright/internal/bike"
	"cornerwright/internal/circuit"
	"cornerwright/internal/demo"
	"cornerwright/internal/proving"
	"cornerwright/internal/recording"
)

// cpuTime is what this process has taken of processors so far; nil where the
// system does not tell. On a machine that does other work it tells what an
// analysis costs from what it waited for.
var cpuTime func() time.Duration

// Everything beyond position, by length of the recording at 100 samples a second.
func BenchmarkBeyondPosition(b *testing.B) {
	for _, minutes := range []int{20, 60, 240} {
		b.Run(fmt.Sprintf("%dmin", minutes), func(b *testing.B) {
			o := demo.DefaultOptions(0, 101)
			o.Laps = minutes * 60 / 117
			run := demo.Ride(o)
			rec := proving.Recording(run)
			bk, err := bike.Parse("demo.toml", run.Bike.TOML())
			if err != nil {
				b.Fatal(err)
			}
			for _, c := range []struct {
				name string
				drop []string
			}{{"all", nil}, {"no cut", []string{"cut"}}, {"no cut no plate", []string{"cut", "throttle"}}} {
				b.Run(c.name, func(b *testing.B) { beyondPosition(b, without(rec, c.drop...), bk) })
			}
		})
	}
}

// beyondPosition times Continue; the least processor time of a run is told
// beside what passed, and how long the recording is.
func beyondPosition(b *testing.B, rec *recording.Recording, bk *bike.Bike) {
	loc, err := circuit.Locate(rec, nil, circuit.Options{})
	if err != nil {
		b.Fatal(err)
	}
	least := time.Duration(1 << 62)
	for b.Loop() {
		var from time.Duration
		if cpuTime != nil {
			from = cpuTime()
		}
		if _, err := Continue(rec, bk, loc, Options{}); err != nil {
			b.Fatal(err)
		}
		if cpuTime != nil {
			least = min(least, cpuTime()-from)
		}
	}
	if cpuTime != nil {
		b.ReportMetric(float64(least)/1e6, "cpu-ms/least")
	}
	t := loc.Position.Time
	b.ReportMetric((t[len(t)-1]-t[0])/60, "minutes")
}

// without is the recording less the named channels.
func without(rec *recording.Recording, names ...string) *recording.Recording {
	out := *rec
	out.Channels = nil
	for _, c := range rec.Channels {
		drop := false
		for _, n := range names {
			drop = drop || c.Name == n
		}
		if !drop {
			out.Channels = append(out.Channels, c)
		}
	}
	return &out
}
