package unit

import (
	"math"
	"strconv"
	"strings"
)

// space is a no-break space: a number and its unit stay on one line.
const space = "\u00a0"

// Show formats an SI value in unit u with a fixed number of decimals and the
// unit's symbol, as "182.4 km/h"; angles and ratios carry no space ("52.3°",
// "12 %" keeps it). NaN and infinities are shown as "unknown" and "∞". It never
// prints a negative zero.
func Show(si float64, u Unit, decimals int) string {
	return withUnit(Number(u.FromSI(si), decimals), u)
}

// ShowDelta is Show for a difference of two values, with its sign always
// printed: "+0.08 s".
func ShowDelta(d float64, u Unit, decimals int) string {
	x := u.DeltaFromSI(d)
	s := Number(x, decimals)
	if x > 0 && s != Number(0, decimals) && !strings.HasPrefix(s, "∞") && s != "unknown" {
		s = "+" + s
	}
	return withUnit(s, u)
}

// ShowInterval formats an interval of SI values with decimals that fit its
// width, as "0.04 to 0.12 s".
func ShowInterval(lo, hi float64, u Unit) string {
	a, b := u.FromSI(lo), u.FromSI(hi)
	d := Decimals(math.Abs(b-a) / 4)
	return Number(a, d) + " to " + withUnit(Number(b, d), u)
}

// Decimals returns how many decimals a number with the given standard error
// deserves, 0 to 9.
func Decimals(se float64) int {
	if !(se > 0) || math.IsInf(se, 0) {
		return 3
	}
	l := math.Floor(math.Log10(se))
	d := -int(l)
	if se/math.Pow(10, l) < 3 {
		d++
	}
	return min(max(d, 0), 9)
}

// Number formats a plain number with fixed decimals; never "-0".
func Number(x float64, decimals int) string {
	switch {
	case math.IsNaN(x):
		return "unknown"
	case math.IsInf(x, 1):
		return "∞"
	case math.IsInf(x, -1):
		return "−∞"
	}
	s := strconv.FormatFloat(x, 'f', decimals, 64)
	if s[0] == '-' && strings.Trim(s, "-0.") == "" {
		s = s[1:]
	}
	return s
}

func withUnit(number string, u Unit) string {
	switch u.Symbol {
	case "", "ratio":
		return number
	case "°":
		return number + "°"
	}
	return number + space + u.Symbol
}

// Auto returns decimals that suit a value of the unit when nothing is known of
// its error: what people of the trade write down (common practice).
func (u Unit) Auto() int {
	switch u.Symbol {
	case "km/h", "mph", "kn", "m/s", "°", "°/s", "bar", "°C", "°F", "mm", "%", "m", "kW", "PS", "hp", "N m":
		return 1
	case "1/min", "psi", "kPa", "Pa", "N", "hPa", "":
		return 0
	case "s":
		return 3
	case "g", "m/s2", "V", "rad", "rad/s":
		return 2
	case "ratio":
		return 3
	}
	return 2
}
