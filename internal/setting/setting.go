// Package setting holds what can be adjusted on a bike: settings, values,
// slots, sheets, steps, differences and guards.
package setting

import "cornerwright/internal/say"

// Kind of a setting.
type Kind string

const (
	Scalar Kind = "scalar"
	List   Kind = "list" // one value per gear
	Grid   Kind = "grid" // two axes, interpolated bilinearly, held at the edges
)

// Axis is one axis of a grid. Points are strictly increasing in Unit.
type Axis struct {
	Channel string // "lean", "speed", "rpm", "grip", ...
	Unit    string
	Points  []float64
}

// Setting is one adjustable thing, as the bike file declares it. Values are in
// Unit, never in SI: what is typed into a bike must read as it is printed.
type Setting struct {
	ID          string
	Unit        string
	Kind        Kind
	Rows        Axis   // grid only
	Columns     Axis   // grid only
	By          string // list only: "gear"
	Range       [2]float64
	LargestStep float64 // greatest change of any cell in one step
	More        string  // what a larger value does, in words
	Acts        string  // what it acts on, for the knowledge table: "slip-target", "engine-brake", "blip", "wheelie-limit", "torque-limit", "throttle-map", ... ; defaults to ID
}

// Values of one setting in one slot: 1x1 for a scalar, 1 x gears for a list,
// rows x columns for a grid.
type Values [][]float64

// Clone returns a deep copy.
func (v Values) Clone() Values {
	o := make(Values, len(v))
	for i := range v {
		o[i] = append([]float64(nil), v[i]...)
	}
	return o
}

// Sheet is the complete set of setting values of a bike at one moment. It is
// immutable once numbered.
type Sheet struct {
	Number int
	Bike   string
	Slots  map[string]map[string]Values // slot letter -> setting id -> values
	Note   string
	Parent int // number of the sheet it came from; 0 for the first
}

// Cell is one changed cell: row and column count from 0 (list: column = gear-1).
type Cell struct {
	Row, Column int
	Old, New    float64
}

// Primary is what the step is judged by, declared before the run.
type Primary struct {
	Turn    int
	Measure string  // "segment", "exit", "entry", "cut", ...
	Expect  string  // "less" or "more": the direction hoped for
	Matters float64 // smallest difference that matters, in the measure's unit
}

// Step is one bounded change from a sheet to the next.
type Step struct {
	ID        int
	Bike      string
	From      int // sheet
	To        int // sheet, once taken
	Slot      string
	Setting   string
	Cells     []Cell
	Reason    string // in words
	Remark    int    // id of the remark it answers, 0 for none
	Finding   string // id of the finding it answers
	Run       int    // run it was derived from
	Primary   Primary
	Overrules []Overrule
	State     string // "proposed", "loaded", "kept", "reverted", "repeated"
}

// Overrule records a guard put aside by name.
type Overrule struct{ Guard, Who, Reason string }

// GuardResult is one guard's answer to a step.
type GuardResult struct {
	Guard  string // id: "range", "largest-step", ...
	Pass   bool
	Hard   bool     // cannot be overruled (reference slot)
	Reason say.Text // in words, for pass and fail
	Mend   say.Text
}
