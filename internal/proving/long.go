package proving

import (
	"fmt"
	"io"
	"math"

	"cornerwright/internal/demo"
)

// WriteLong writes a text recording of so many timed laps with 32 channels at
// 100 rows a second: those of the demo world, a lap marker, and three that no
// analysis asks for. 11 laps last 20 minutes, 35 an hour. filled repeats the last
// value of slow channels where blanks would stand.
func WriteLong(w io.Writer, laps int, filled bool) error {
	o := demo.DefaultOptions(0, 77)
	o.Laps, o.LapMarker = laps, true
	r := demo.Ride(o)
	clock := r.Channel("rpm")
	for i, c := range []demo.Channel{{Name: "oil pressure", Header: "Oil pressure", Unit: "bar", Decimals: 2}, {Name: "battery", Header: "Battery", Unit: "V", Decimals: 2}, {Name: "tyre pressure", Header: "Rear tyre pressure", Unit: "bar", Decimals: 3}} {
		c.Time, c.Value = clock.Time, make([]float64, len(clock.Time))
		for j := range c.Value {
			c.Value[j] = 5 + math.Sin(float64(j)/50)*float64(i+1) + float64(j*7919%101)/1000
		}
		if len(r.Channels) < 32 {
			r.Channels = append(r.Channels, c)
		}
	}
	if len(r.Channels) != 32 {
		return fmt.Errorf("the recording has %d channels", len(r.Channels))
	}
	d := demo.Plain
	d.Repeat = filled
	return r.WriteText(w, d)
}
