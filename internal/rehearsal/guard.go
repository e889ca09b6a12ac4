package rehearsal

import (
	"cornerwright/internal/bike"
	"cornerwright/internal/ride"
	"cornerwright/internal/setting"
)

// Tyre and weather words of Conditions. Empty means not told, which guards
// treat as unknown.
const (
	Dry = "dry"
	Wet = "wet"

	Warm    = "warm"    // known tyre, at working temperature
	Cold    = "cold"    // known tyre, not yet at temperature
	Worn    = "worn"    // last laps of a worn tyre
	Changed = "changed" // another tyre than the one the radii were identified with
)

// Conditions are what people at the track know and no channel states.
type Conditions struct {
	Surface string // Dry, Wet or "" for not told
	Tyre    string // Warm, Cold, Worn, Changed or "" for not told
	Air     string // weather in words, for the record: "22 C, no wind"; "" for not noted
}

// Earlier is a step taken before, with what became of it.
type Earlier struct {
	Step     setting.Step
	Verified bool // a verdict with an answer stands
}

// GuardContext is all that guards look at. Ride, Reference and Earlier may be
// absent; guards that need them then say so and do not pass.
type GuardContext struct {
	Bike      *bike.Bike
	Sheet     setting.Sheet  // the sheet the step starts from
	Reference *setting.Sheet // the sheet of the day's start; nil: Sheet
	Step      setting.Step
	Ride      *ride.Ride // the run it was derived from; nil if none
	Footprint *Footprint // of Step on Ride; nil: computed
	Earlier   []Earlier  // steps from the same bike, oldest first, not this one
	Now       Conditions
	Why       string // the reason given for a step on top of an unverified one
}

// Guards asks every guard about a step, in a fixed order, and applies the
// step's overrules. A guard passes, fails with the reason and the mend, or was
// put aside by name; the reference slot cannot be put aside.
func Guards(ctx GuardContext) []setting.GuardResult {
	all := guardResults(ctx)
	out, _ := setting.Overruled(all, ctx.Step.Overrules)
	return out
}

// Refused tells whether any guard still stands in the way.
func Refused(results []setting.GuardResult) bool {
	for _, g := range results {
		if !g.Pass {
			return true
		}
	}
	return false
}
