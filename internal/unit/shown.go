package unit

// Shown is how people read the unit that a measure of the JSON answers names in
// letters only: pct is %, mps2 is m/s². Other words are returned as they are.
func Shown(key string) string {
	switch key {
	case "pct":
		return "%"
	case "rpm":
		return "1/min"
	case "mps2":
		return "m/s²"
	case "kmh":
		return "km/h"
	case "deg":
		return "°"
	case "hz":
		return "Hz"
	case "n":
		return "N"
	}
	return key
}

// Places is how many decimals a measure in such a unit deserves on paper and
// screen: what no rider feels and no sensor tells is left out.
func Places(key string) int {
	switch key {
	case "rpm", "n", "", "psi", "1/min":
		return 0
	case "pct", "kmh", "km/h", "mph", "deg", "hz", "mps2", "°C", "°F", "m", "mm":
		return 1
	}
	return 2
}
