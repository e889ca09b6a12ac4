// Package demo is the invented world that the analysis is tested on: circuits,
// a superbike, a rider and a day at the track, simulated with known truth.
//
// It imports nothing of this module, so that no error of the analysis can hide
// in the truth that the analysis is scored against. Everything is deterministic
// from a seed.
//
// Units are SI inside Circuit, Bike and Truth: metres, seconds, radians,
// newtons. Lean, curvature, offset and turn direction are positive to the
// right. A Channel of a Run holds values in its own Unit, as a logger writes
// them; raw yaw rate is positive to the left and pitch rate positive nose down
// (ISO 8855).
package demo

// Channel is one logged column: canonical name, the header as written in the
// file, the unit of Value, the decimals written and the channel's own clock.
type Channel struct {
	Name     string // canonical name of design.md, or its own
	Header   string
	Unit     string
	Decimals int
	Time     []float64 // s on the recording's clock; may be shared, read only
	Value    []float64 // in Unit
}

// Run is one simulated recording with its truth.
type Run struct {
	Options  Options
	Circuit  Circuit
	Bike     Bike
	Channels []Channel
	Truth    Truth
}

// Channel returns the channel with the canonical name, nil if it was left out.
func (r *Run) Channel(name string) *Channel {
	for i := range r.Channels {
		if r.Channels[i].Name == name {
			return &r.Channels[i]
		}
	}
	return nil
}
