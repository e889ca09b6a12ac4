package unit

import "math"

// Definitions used below, all exact: NIST SP 811 (2008), appendix B.
const (
	inch    = 0.0254
	foot    = 0.3048
	mile    = 1609.344
	pound   = 0.45359237
	gravity = 9.80665 // standard acceleration of free fall, m/s2
	lbf     = pound * gravity
)

// entry is one unit with its spellings; the first spelling of a unit is its
// symbol. Spellings in exactOnly are told apart by case.
type entry struct {
	u         Unit
	spellings []string
}

func e(q Quantity, mul, div, shift float64, spellings ...string) entry {
	return entry{Unit{Symbol: spellings[0], Quantity: q, Mul: mul, Div: div, Shift: shift}, spellings}
}

var table = []entry{
	e(None, 1, 1, 0, "", "-", "--", "1", "n/a", "none", "bool", "boolean", "on/off", "enum", "state", "status", "count", "counts", "cnt", "#", "no", "num", "number", "nr", "integer", "int", "raw", "index", "id", "bit", "bits", "flag", "text", "gear"),
	e(Ratio, 1, 100, 0, "%", "pct", "percent", "per cent", "prozent", "pour cent", "pourcent", "por ciento", "percento", "per cento", "perc"),
	e(Ratio, 1, 1000, 0, "‰", "permille", "promille", "per mille"),
	e(Ratio, 1, 1, 0, "ratio", "fraction", "frac", "0-1", "0..1", "lambda", "λ", "la", "unity", "norm"),
	e(Ratio, 1, 14.7, 0, "AFR", "afr", "air/fuel", "air-fuel ratio"), // to lambda, for petrol (common practice)

	e(Time, 1, 1, 0, "s", "sec", "secs", "second", "seconds", "sek", "sekunden", "sekunde", "seconde", "secondes", "secondi", "segundo", "segundos"),
	e(Time, 1, 1e3, 0, "ms", "msec", "millisecond", "milliseconds", "millis", "millisekunden", "milisegundos", "millisecondi"),
	e(Time, 1, 1e6, 0, "µs", "us", "usec", "microsecond", "microseconds", "micros"),
	e(Time, 1, 1e9, 0, "ns", "nsec", "nanosecond", "nanoseconds"),
	e(Time, 60, 1, 0, "min", "mins", "minute", "minutes", "minuten", "minuti", "minutos"),
	e(Time, 3600, 1, 0, "h", "hr", "hrs", "hour", "hours", "std", "stunden", "heure", "heures", "ora", "ore", "horas"),

	e(Length, 1, 1, 0, "m", "meter", "meters", "metre", "metres", "metri", "metros"),
	e(Length, 1000, 1, 0, "km", "kilometer", "kilometre", "kilometers", "kilometres"),
	e(Length, 1, 100, 0, "cm", "centimeter", "centimetre"),
	e(Length, 1, 1000, 0, "mm", "millimeter", "millimetre", "millimeters", "millimetres"),
	e(Length, 1, 1e6, 0, "µm", "um", "micron"),
	e(Length, inch, 1, 0, "in", "inch", "inches", "\"", "zoll", "pouce", "pouces", "pollici"),
	e(Length, foot, 1, 0, "ft", "foot", "feet", "'"),
	e(Length, 3*foot, 1, 0, "yd", "yard", "yards"),
	e(Length, mile, 1, 0, "mi", "mile", "miles"),
	e(Length, 1852, 1, 0, "nmi", "nautical mile", "nautical miles"),

	e(Speed, 1, 1, 0, "m/s", "mps", "m/sec", "ms-1", "m s-1", "meter/s", "metre/s"),
	e(Speed, 1, 3.6, 0, "km/h", "kph", "kmh", "kmph", "km/hr", "kmh-1", "kmt", "km/std", "kilometers/h"),
	e(Speed, 0.44704, 1, 0, "mph", "mi/h", "miles/h", "miles/hr", "mile/h", "mi/hr"),
	e(Speed, 1852, 3600, 0, "kn", "knot", "knots", "kt", "kts", "knoten", "nmi/h"),
	e(Speed, foot, 1, 0, "ft/s", "fps", "feet/s"),
	e(Speed, 1, 1000, 0, "mm/s", "mm/sec"),
	e(Speed, 1, 100, 0, "cm/s", "cm/sec"),
	e(Speed, inch, 1, 0, "in/s", "inch/s"),

	e(Acceleration, 1, 1, 0, "m/s2", "m/s/s", "ms-2", "mps2", "m s-2", "m/s^2", "m/sec2"),
	e(Acceleration, gravity, 1, 0, "g", "gn", "gee", "g-force", "gforce", "g's", "gs"),
	e(Acceleration, gravity, 1000, 0, "mg", "milli-g", "millig"),
	e(Acceleration, foot, 1, 0, "ft/s2", "ft/s/s"),

	e(Angle, 1, 1, 0, "rad", "radian", "radians", "radiant"),
	e(Angle, 1, 1000, 0, "mrad", "milliradian"),
	e(Angle, math.Pi, 180, 0, "°", "deg", "degree", "degrees", "grad", "grad°", "gradi", "grados", "degre", "degres", "degré", "degrés", "deg°", "winkelgrad"),
	e(Angle, math.Pi, 200, 0, "gon"),
	e(Angle, math.Pi, 180*60, 0, "arcmin"),
	e(Angle, math.Pi, 180*1e7, 0, "1e-7°", "1e-7deg", "deg1e-7", "dege7", "deg*1e7", "degx1e7", "1e7deg"),
	e(Angle, 2*math.Pi, 1, 0, "rev", "revolution", "revolutions", "turn", "turns"),

	e(AngularRate, 1, 1, 0, "rad/s", "rads", "rad/sec", "rps(rad)", "rad s-1", "radians/s"),
	e(AngularRate, math.Pi, 180, 0, "°/s", "deg/s", "dps", "deg/sec", "degs", "degree/s", "degrees/s", "grad/s", "gradi/s", "grados/s", "°s-1"),
	e(AngularRate, 2*math.Pi, 60, 0, "1/min", "rpm", "r/min", "rev/min", "revs/min", "u/min", "umin", "1/minute", "min-1", "/min", "tr/min", "trmin", "t/min", "giri/min", "giri/1'", "giri", "ot/min", "obr/min", "upm", "u/m", "v/min", "vpm", "rev", "revs", "rotations/min", "rpm/1"),
	e(AngularRate, 2000*math.Pi, 60, 0, "1000/min", "krpm", "rpm*1000", "rpmx1000", "x1000rpm", "1000rpm", "kr/min"),
	e(AngularRate, 2*math.Pi, 1, 0, "1/s", "rps", "rev/s", "u/s", "r/s"),

	e(AngularAccel, 1, 1, 0, "rad/s2", "rad/s/s"),
	e(AngularAccel, math.Pi, 180, 0, "°/s2", "deg/s2", "deg/s/s"),

	e(Frequency, 1, 1, 0, "Hz", "hertz"),
	e(Frequency, 1000, 1, 0, "kHz"),

	e(Pressure, 1, 1, 0, "Pa", "pascal", "n/m2"),
	e(Pressure, 100, 1, 0, "hPa", "mbar", "millibar", "mb"),
	e(Pressure, 1000, 1, 0, "kPa", "kilopascal"),
	e(Pressure, 1e6, 1, 0, "MPa", "n/mm2", "megapascal"),
	e(Pressure, 1e5, 1, 0, "bar", "bars", "barg", "bar(g)", "bara"),
	e(Pressure, lbf, inch*inch, 0, "psi", "psig", "psia", "lbf/in2", "lb/in2", "lbs/in2", "pound/in2"),
	e(Pressure, 101325, 1, 0, "atm"),
	e(Pressure, 98066.5, 1, 0, "kgf/cm2", "kg/cm2", "kp/cm2", "at"),
	e(Pressure, 3386.388640341, 1, 0, "inHg", "in hg", "\"hg"), // conventional inch of mercury
	e(Pressure, 133.322387415, 1, 0, "mmHg", "mm hg"),          // conventional millimetre of mercury
	e(Pressure, 101325, 760, 0, "torr"),

	e(Temperature, 1, 1, 0, "K", "kelvin", "°k", "degk"),
	e(Temperature, 1, 1, 273.15, "°C", "c", "degc", "deg c", "celsius", "grad c", "gradc", "degreec", "degrees c", "degreescelsius", "oc", "℃", "centigrade"),
	e(Temperature, 5, 9, 459.67, "°F", "f", "degf", "deg f", "fahrenheit", "degrees f", "degreef", "of", "℉"),

	e(Mass, 1, 1, 0, "kg", "kilogram", "kilograms", "kilo"),
	e(Mass, 1, 1000, 0, "gram", "grams", "gramm"),
	e(Mass, pound, 1, 0, "lb", "lbs", "pound", "pounds", "lbm"),

	e(Force, 1, 1, 0, "N", "newton"),
	e(Force, 10, 1, 0, "daN", "dan"),
	e(Force, 1000, 1, 0, "kN", "kilonewton"),
	e(Force, lbf, 1, 0, "lbf", "pound-force"),
	e(Force, gravity, 1, 0, "kgf", "kp", "kilopond"),

	e(Torque, 1, 1, 0, "N m", "nm", "n-m", "newton metre", "newtonmeter", "newton-meter"),
	e(Torque, 10, 1, 0, "daN m", "danm"),
	e(Torque, lbf*foot, 1, 0, "lbf ft", "lb-ft", "lbft", "ft-lb", "ftlb", "ftlbf", "ft lbf", "ft-lbf", "lbf-ft", "lb ft", "ft lb", "lbs-ft", "ft-lbs", "ftlbs"),
	e(Torque, lbf*inch, 1, 0, "lbf in", "in-lb", "inlb", "lb-in", "lbin", "inlbf", "in-lbf", "lbf-in"),
	e(Torque, gravity, 1, 0, "kgf m", "kgm", "kg-m", "kgf-m", "mkg", "kpm"),

	e(Power, 1, 1, 0, "W", "watt", "watts"),
	e(Power, 1000, 1, 0, "kW", "kilowatt"),
	e(Power, lbf*foot*550, 1, 0, "hp", "bhp", "horsepower", "whp"),
	e(Power, 75*gravity, 1, 0, "PS", "cv", "ch", "metric hp", "hp(m)", "pk", "hk"),

	e(Voltage, 1, 1, 0, "V", "volt", "volts"),
	e(Voltage, 1, 1000, 0, "mV", "millivolt", "millivolts"),
	e(Current, 1, 1, 0, "A", "amp", "amps", "ampere"),
	e(Current, 1, 1000, 0, "mA", "milliamp"),
	e(Resistance, 1, 1, 0, "ohm", "ohms"),
	e(Resistance, 1000, 1, 0, "kohm"),

	e(Volume, 1, 1, 0, "m3"),
	e(Volume, 1, 1000, 0, "l", "liter", "litre", "litres", "liters", "litri", "ltr"),
	e(Volume, 1, 1e6, 0, "ml", "cm3", "cc", "ccm"),
	e(VolumeFlow, 1, 3.6e6, 0, "l/h", "l/hr", "ltr/h"),
	e(VolumeFlow, 1, 6e4, 0, "l/min", "lpm"),
	e(VolumeFlow, 1, 6e7, 0, "ml/min", "cc/min"),
	e(MassFlow, 1, 1, 0, "kg/s"),
	e(MassFlow, 1, 3600, 0, "kg/h", "kg/hr"),
	e(MassFlow, 1, 1000, 0, "g/s"),
	e(Density, 1, 1, 0, "kg/m3"),

	e(SpringRate, 1, 1, 0, "N/m"),
	e(SpringRate, 1000, 1, 0, "N/mm"),
	e(SpringRate, lbf, inch, 0, "lbf/in", "lb/in", "lbs/in"),
	e(Stiffness, 1, 1, 0, "N m/rad", "nm/rad"),
	e(MomentOfInertia, 1, 1, 0, "kg m2", "kgm2"),
	e(Curvature, 1, 1, 0, "1/m"),
}

type spelling struct {
	text, folded string
	symbol       bool
}

var (
	exact     = map[string]Unit{}
	folded    = map[string]Unit{}
	spellings []spelling
)

func init() {
	for _, en := range table {
		for i, s := range en.spellings {
			if _, dup := exact[s]; !dup {
				exact[s] = en.u
			}
			f := fold(s)
			// The first unit that claims a folded spelling keeps it; the table's
			// order therefore decides "rev" (a turn) against "rev" (per minute).
			if _, dup := folded[f]; !dup {
				folded[f] = en.u
			}
			if f != "" {
				spellings = append(spellings, spelling{s, f, i == 0})
			}
		}
	}
	// Where case alone tells two units apart.
	milliPascal := Unit{Symbol: "mPa", Quantity: Pressure, Mul: 1, Div: 1000}
	exact["mPa"] = milliPascal
	exact["MW"] = Unit{Symbol: "MW", Quantity: Power, Mul: 1e6, Div: 1}
	exact["mW"] = Unit{Symbol: "mW", Quantity: Power, Mul: 1, Div: 1000}
	exact["MV"] = Unit{Symbol: "MV", Quantity: Voltage, Mul: 1e6, Div: 1}
	exact["mN"] = Unit{Symbol: "mN", Quantity: Force, Mul: 1, Div: 1000}
	exact["MS"] = folded["ms"]
	exact["Mi"] = folded["mi"]
	exact["NM"] = folded["nm"]
	exact["G"] = folded["g"]
	exact["S"] = folded["s"]
	exact["M"] = folded["m"]
}
