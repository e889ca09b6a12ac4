package debrief

import (
	"cornerwright/internal/circuit"
	"cornerwright/internal/say"
	"cornerwright/internal/setting"
)

// Stance of the data towards a remark.
type Stance string

const (
	Agrees      Stance = "agrees"
	Partly      Stance = "partly"
	Contradicts Stance = "contradicts"
	CannotTell  Stance = "cannot tell"
	Unasked     Stance = "" // a finding that nobody remarked on has none
)

// Measure is one number of a finding. Lo..Hi is the spread of the middle four
// fifths of the laps, or a 95 % interval where Name ends in "_mean".
type Measure struct {
	Name   string   // cut_time, slip_peak, surplus, decel, ...
	Label  say.Text // in words: "time cut while picking up"
	Value  float64
	Lo, Hi float64
	N      int    // laps
	Unit   string // s, pct, rpm, mps2, deg, kmh, m, mm, hz, "" for a count
}

// Instant is a moment that shows a finding best.
type Instant struct {
	Lap, Turn  int
	Start, End float64 // s, recording clock
	Words      say.Text
}

// Kind of a proposal.
type Kind string

const (
	ChangeSetting Kind = "setting"
	Technique     Kind = "technique"
	Inspect       Kind = "inspect" // look at or measure something before changing anything
	Nothing       Kind = "nothing" // change nothing
)

// Proposal is one thing that could be done about a finding.
type Proposal struct {
	Kind     Kind
	Step     setting.Step // only for ChangeSetting: proposed, not yet numbered
	Title    say.Text     // one line: "slip-target, slot B: +1 % in 4 cells (40..48 deg x 100..140 km/h)"
	Why      say.Text
	Expect   say.Text
	Watch    say.Text
	Cautions []say.Text
	Score    float64 // smaller stands first: how indirectly it acts, and how large it is
	NeedsSay bool    // only with the engineer's say: the data do not carry it
}

// Finding is what the data say about one remark, or a thing nobody mentioned.
type Finding struct {
	ID        string // "r3" for remark 3 (with "-t5" where a remark names several turns), "u1.." unasked
	Remark    int    // id of the remark; 0 for unasked
	Turn      int    // 0: the whole lap
	Phase     circuit.Phase
	Says      Complaint
	Cause     string // id of the row of the knowledge table that the evidence supports best; "" for none
	Stance    Stance
	Text      say.Text
	Measures  []Measure
	Seen, Of  int      // laps on which the evidence was seen, of laps that could show it
	Laps      say.Text // "7 of 9"
	Evidence  []Instant
	Change    say.Text // what would change the mind
	Proposals []Proposal
	Cost      float64 // s per lap at stake, 0 where none is claimed; ranks unasked findings
	Safety    bool    // outranks everything
}

// Result of a debrief.
type Result struct {
	Run      int
	Laps     int        // timed laps looked at
	Findings []Finding  // in the order of the remarks, joint remarks turn by turn
	Unasked  []Finding  // ranked, at most Options.Unasked
	Next     string     // id of the finding to take first; "" for none
	Why      say.Text   // why that one
	Notes    []say.Text // what weakens all of it: lean source, tyre radii, few laps
}

// Options of a debrief. The zero value is the usual.
type Options struct {
	Run     int
	Unasked int // most unasked findings; 0 means 5, negative none
	// Overrule lets proposals be made where the data contradict the remark; the
	// engineer's name, kept with the proposal. Empty: none are made.
	Overrule string
}
