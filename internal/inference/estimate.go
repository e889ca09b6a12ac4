// Package inference holds what small samples allow to be said: estimates with
// intervals, tests that are exact where they can be, corrections for many
// looks, power, equivalence and the combination of several days.
//
// Every result that is meant for a person is an Estimate: the value never
// travels without its interval, its confidence, the number of independent
// repeats behind it and its warnings. n counts independent repeats (laps,
// runs, meetings), never rows of a recording.
//
// All functions are pure and deterministic: methods that draw random numbers
// are seeded from the data they are given, so that the same laps always give
// the same answer. Inputs are never modified.
//
// A programmer's mistake (slices of unlike length) panics; data that cannot
// carry an answer yield NaN with a warning, or an error that says what is
// missing.
package inference

import "math"

// Estimate is a value with its interval. Lo and Hi bound the two-sided interval
// at confidence Level (0.95 = 95 %); they may be infinite, and are NaN where
// the data give no interval at all. Value, Lo, Hi and SE share one unit.
type Estimate struct {
	Value    float64
	Lo, Hi   float64
	Level    float64
	N        int     // independent repeats behind the value
	SE       float64 // standard error
	DF       float64 // degrees of freedom of SE; +Inf where it is known
	Warnings []string
}

// Known tells whether the estimate has a finite value and a finite interval.
func (e Estimate) Known() bool {
	return !math.IsNaN(e.Value) && !math.IsNaN(e.Lo+e.Hi) && !math.IsInf(e.Lo, 0) && !math.IsInf(e.Hi, 0)
}

// Half returns half the width of the interval.
func (e Estimate) Half() float64 { return (e.Hi - e.Lo) / 2 }

// FromT builds the t interval value +- t((1+level)/2, df) se. df may be +Inf.
func FromT(value, se, df, level float64, n int) Estimate {
	e := Estimate{Value: value, SE: se, DF: df, Level: level, N: n, Lo: math.NaN(), Hi: math.NaN()}
	if df <= 0 || math.IsNaN(df) || math.IsNaN(se) {
		e.Warnings = append(e.Warnings, "no degrees of freedom left: more laps are needed for an interval")
		return e
	}
	h := TQuantile((1+level)/2, df) * se
	e.Lo, e.Hi = value-h, value+h
	return e
}
