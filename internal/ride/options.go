package ride

import (
	"slices"

	"cornerwright/internal/circuit"
)

// Options steer Analyse. The zero value is the common case.
type Options struct {
	Circuit  circuit.Options
	PitSpeed float64 // m/s, limit of the pit lane at this meeting; 0: the bike file's, or no watch
	Slots    []string
}

func sortFloats(x []float64) { slices.Sort(x) }
