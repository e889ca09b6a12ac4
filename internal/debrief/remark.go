// Package debrief joins what the rider said to what the recording shows and to
// one bounded change.
//
// A remark is a claim about a place on the lap. For each remark the rows of the
// knowledge table that speak of its complaint and phase gather evidence from
// the per-pass table, the episodes and the derived channels; the share of laps
// on which the evidence is seen gives the stance. Proposals follow from the row
// that the evidence supports, never from the words alone.
package debrief

import (
	"time"

	"cornerwright/internal/circuit"
	"cornerwright/internal/say"
)

// Complaint is one word of the vocabulary, such as "held-back".
type Complaint string

// Remark is what a rider said about a run, before seeing any data.
type Remark struct {
	ID, Run  int
	Turns    []int         // turn numbers; empty: the whole lap
	Phase    circuit.Phase // "" where not told
	Lean     string        // "full" at full lean, "picking-up", "upright", "" not told
	Says     Complaint
	Strength int    // 1 a little, 2 clearly, 3 badly
	Words    string // own words
	Rider    string
	At       time.Time // when it was said
}

// Reading is free text read as a remark, to be shown and confirmed.
type Reading struct {
	Remarks   []Remark   // one per complaint found; Turns may hold several
	Questions []Question // what must be asked back before it may be used
	Ignored   []string   // words that carried no meaning for the reading
	Echo      string     // the reading in words: "turns 4 and 5, picking up the throttle: held back, at full lean (clearly)"
}

// Question is asked back where a word has two meanings.
type Question struct {
	About   string   // the rider's word
	Ask     say.Text // the question, in words
	Answers []Answer // what can be meant
	Turn    bool     // the turn is asked for
}

// Answer is one meaning of an ambiguous word.
type Answer struct {
	Says  Complaint
	Phase circuit.Phase // "" leaves the phase open
	Words string
}
