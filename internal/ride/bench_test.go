package ride

import (
	"fmt"
	"testing"

	"cornerwright/internal/bike"
	"cornerwright/internal/circuit"
	"cornerwright/internal/demo"
	"cornerwright/internal/proving"
)

// Everything beyond position, by length of the recording at 100 samples a second.
func BenchmarkBeyondPosition(b *testing.B) {
	for _, minutes := range []int{20, 60, 240} {
		o := demo.DefaultOptions(0, 101)
		o.Laps = minutes * 60 / 100
		run := demo.Ride(o)
		rec := proving.Recording(run)
		bk, err := bike.Parse("demo.toml", run.Bike.TOML())
		if err != nil {
			b.Fatal(err)
		}
		for _, drop := range []string{"", "cut", "cut and plate"} {
			sub := *rec
			sub.Channels = nil
			for _, c := range rec.Channels {
				if (drop != "" && c.Name == "cut") || (drop == "cut and plate" && c.Name == "throttle") {
					continue
				}
				sub.Channels = append(sub.Channels, c)
			}
			loc, err := circuit.Locate(&sub, nil, circuit.Options{})
			if err != nil {
				b.Fatal(err)
			}
			name := "all"
			if drop != "" {
				name = "without " + drop
			}
			b.Run(fmt.Sprintf("%.0fmin/%s", loc.Position.Time[len(loc.Position.Time)-1]/60, name), func(b *testing.B) {
				for b.Loop() {
					if _, err := Continue(&sub, bk, loc, Options{}); err != nil {
						b.Fatal(err)
					}
				}
			})
		}
	}
}
