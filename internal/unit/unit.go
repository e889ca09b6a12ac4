// Package unit knows the units of the trade: their spellings, their exact
// relation to SI, and how a number with its unit is shown to a person.
//
// A unit converts by
//
//	si = (x + Shift) * Mul / Div
//
// with Shift in the unit itself, so that affine units (degrees Celsius and
// Fahrenheit) are exact too. The factors are the definitions of NIST SP 811
// (inch 0.0254 m, pound 0.45359237 kg, standard gravity 9.80665 m/s2, ...),
// each exact but those with pi. Mul and Div are kept apart because 1/3.6 is no
// binary fraction: x/3.6 is rounded once, x*(1/3.6) twice.
//
// Bulk samples stay []float64 in SI with one unit per column; a Unit is for
// edges: readers that convert in, printers that convert out.
package unit

import (
	"fmt"
	"math"
	"strings"
)

// Quantity names a kind of physical quantity.
type Quantity string

// Quantities. The comment is the SI unit that values of the quantity have in
// memory.
const (
	None            Quantity = ""                       // no unit: counts, states, labels
	Ratio           Quantity = "ratio"                  // 1
	Time            Quantity = "time"                   // s
	Length          Quantity = "length"                 // m
	Speed           Quantity = "speed"                  // m/s
	Acceleration    Quantity = "acceleration"           // m/s2
	Angle           Quantity = "angle"                  // rad
	AngularRate     Quantity = "angular rate"           // rad/s
	AngularAccel    Quantity = "angular accel"          // rad/s2
	Frequency       Quantity = "frequency"              // 1/s
	Pressure        Quantity = "pressure"               // Pa
	Temperature     Quantity = "temperature"            // K
	Mass            Quantity = "mass"                   // kg
	Force           Quantity = "force"                  // N
	Torque          Quantity = "torque"                 // N m
	Power           Quantity = "power"                  // W
	Voltage         Quantity = "voltage"                // V
	Current         Quantity = "current"                // A
	Resistance      Quantity = "resistance"             // ohm
	Volume          Quantity = "volume"                 // m3
	VolumeFlow      Quantity = "volume flow"            // m3/s
	MassFlow        Quantity = "mass flow"              // kg/s
	Density         Quantity = "density"                // kg/m3
	SpringRate      Quantity = "spring rate"            // N/m
	Stiffness       Quantity = "angular rate of torque" // N m/rad
	MomentOfInertia Quantity = "moment of inertia"      // kg m2
	Curvature       Quantity = "curvature"              // 1/m
)

var siSymbol = map[Quantity]string{
	None: "", Ratio: "1", Time: "s", Length: "m", Speed: "m/s", Acceleration: "m/s2",
	Angle: "rad", AngularRate: "rad/s", AngularAccel: "rad/s2", Frequency: "Hz",
	Pressure: "Pa", Temperature: "K", Mass: "kg", Force: "N", Torque: "N m",
	Power: "W", Voltage: "V", Current: "A", Resistance: "ohm", Volume: "m3",
	VolumeFlow: "m3/s", MassFlow: "kg/s", Density: "kg/m3", SpringRate: "N/m",
	Stiffness: "N m/rad", MomentOfInertia: "kg m2", Curvature: "1/m",
}

// SI returns the symbol of the quantity's unit in memory.
func (q Quantity) SI() string { return siSymbol[q] }

// Unit is one unit of measurement. The zero Unit is "no unit" and converts
// nothing.
type Unit struct {
	Symbol   string // as shown to people: "km/h", "°C"
	Quantity Quantity
	Mul, Div float64 // 0 counts as 1
	Shift    float64 // added before scaling, in this unit
}

func (u Unit) mul() float64 {
	if u.Mul == 0 {
		return 1
	}
	return u.Mul
}

func (u Unit) div() float64 {
	if u.Div == 0 {
		return 1
	}
	return u.Div
}

// ToSI converts a value in this unit to SI.
func (u Unit) ToSI(x float64) float64 { return (x + u.Shift) * u.mul() / u.div() }

// FromSI converts an SI value to this unit.
func (u Unit) FromSI(si float64) float64 { return si*u.div()/u.mul() - u.Shift }

// DeltaFromSI converts a difference of two SI values to this unit: like FromSI
// but without the shift, so 5 K is 9 degrees Fahrenheit.
func (u Unit) DeltaFromSI(d float64) float64 { return d * u.div() / u.mul() }

// DeltaToSI converts a difference in this unit to SI.
func (u Unit) DeltaToSI(d float64) float64 { return d * u.mul() / u.div() }

// IsSI tells whether the unit is the SI unit of its quantity.
func (u Unit) IsSI() bool { return u.mul() == 1 && u.div() == 1 && u.Shift == 0 }

// UnknownError says that a spelling is no known unit.
type UnknownError struct {
	Text    string // as found
	Nearest string // the known spelling next to it, "" if none is near
}

func (e *UnknownError) Error() string {
	if e.Nearest == "" {
		return fmt.Sprintf("unknown unit %q", e.Text)
	}
	return fmt.Sprintf("unknown unit %q; nearest known is %q", e.Text, e.Nearest)
}

// Parse reads a unit as people and loggers spell it: "km/h", "kph", "[bar]",
// "°C", "1/min", "U/min". Brackets and blanks around it are dropped. Case
// counts only where it tells units apart (mPa and MPa, ms and MS do not occur
// together). An empty text, "-" and "1" are the unit of a plain number. An
// unknown spelling gives an *UnknownError.
func Parse(text string) (Unit, error) {
	if u, ok := Lookup(text); ok {
		return u, nil
	}
	return Unit{}, &UnknownError{Text: text, Nearest: nearest(fold(trim(text)))}
}

// Lookup is Parse where a spelling is only tried: it does not look for the
// nearest known one, which costs a hundred times as much.
func Lookup(text string) (Unit, bool) {
	t := trim(text)
	if u, ok := exact[t]; ok {
		return u, true
	}
	u, ok := folded[fold(t)]
	return u, ok
}

// Must is Parse for spellings that are part of the program; it panics on an
// unknown one.
func Must(text string) Unit {
	u, err := Parse(text)
	if err != nil {
		panic(err)
	}
	return u
}

// trim drops blanks and one pair of brackets.
func trim(s string) string {
	s = strings.TrimSpace(s)
	if n := len(s); n >= 2 {
		switch {
		case s[0] == '[' && s[n-1] == ']', s[0] == '(' && s[n-1] == ')',
			s[0] == '{' && s[n-1] == '}', s[0] == '<' && s[n-1] == '>':
			s = strings.TrimSpace(s[1 : n-1])
		}
	}
	return s
}

var folder = strings.NewReplacer(
	" ", "", "\u00a0", "", "\t", "", "_", "", "*", "", "·", "", "⋅", "", "×", "", "^", "",
	"²", "2", "³", "3", "⁻¹", "-1", "⁻²", "-2", "−", "-", "μ", "u", "µ", "u", "º", "°", "˚", "°",
	"∕", "/", "⁄", "/", "ω", "ohm", "Ω", "ohm", "Ω", "ohm", "″", "\"", "′", "'",
)

// fold brings a spelling to the form in which case, blanks and typographic
// variants do not matter. A dot is a multiplication sign or an abbreviation
// mark in a unit and is dropped.
func fold(s string) string {
	return strings.ReplaceAll(folder.Replace(strings.ToLower(s)), ".", "")
}

// nearest returns the known spelling with the least edit distance, "" if none
// is within a third of its length (at least one edit).
func nearest(f string) string {
	if f == "" || len(f) > 64 {
		return ""
	}
	best, bestD, bestSymbol := "", math.MaxInt, false
	for _, e := range spellings {
		d := distance(f, e.folded)
		// Among equals a unit's own symbol goes before its other spellings.
		if d < bestD || d == bestD && e.symbol && !bestSymbol {
			best, bestD, bestSymbol = e.text, d, e.symbol
		}
	}
	// A text of two letters is one edit from many: naming one would be a guess.
	if n := len([]rune(f)); bestD > n/2 || n < 3 && bestD > 0 {
		return ""
	}
	return best
}

// distance is the edit distance with swaps of neighbours (optimal string
// alignment) between two short strings.
func distance(a, b string) int {
	x, y := []rune(a), []rune(b)
	prev2 := make([]int, len(y)+1)
	prev := make([]int, len(y)+1)
	cur := make([]int, len(y)+1)
	for j := range prev {
		prev[j] = j
	}
	for i := 1; i <= len(x); i++ {
		cur[0] = i
		for j := 1; j <= len(y); j++ {
			cost := 1
			if x[i-1] == y[j-1] {
				cost = 0
			}
			cur[j] = min(prev[j]+1, cur[j-1]+1, prev[j-1]+cost)
			if i > 1 && j > 1 && x[i-1] == y[j-2] && x[i-2] == y[j-1] {
				cur[j] = min(cur[j], prev2[j-2]+1)
			}
		}
		prev2, prev, cur = prev, cur, prev2
	}
	return prev[len(y)]
}

// Nearest returns the candidate with the least edit distance to text, "" if
// none is within half its length. Readers use it to name the key somebody
// probably meant.
func Nearest(text string, candidates []string) string {
	return NearestWithin(text, candidates, max(1, len([]rune(text))/2))
}

// NearestWithin returns the candidate with the least edit distance to text, ""
// if none is within so many edits. Case does not count.
func NearestWithin(text string, candidates []string, edits int) string {
	if len(text) > 200 {
		return ""
	}
	best, bestD := "", edits+1
	for _, c := range candidates {
		if d := Distance(text, c); d < bestD {
			best, bestD = c, d
		}
	}
	return best
}

// Distance is the edit distance between two short texts, a swap of neighbours
// counted once.
func Distance(a, b string) int { return distance(strings.ToLower(a), strings.ToLower(b)) }
