package unit

import (
	"errors"
	"math"
	"testing"
)

// Factors as in NIST SP 811 and GNU Units 2.22; tolerance 1e-12 relative.
func TestFactorsAgainstPublishedTables(t *testing.T) {
	for _, c := range []struct {
		unit string
		x    float64
		si   float64
	}{
		{"inch", 1, 0.0254}, {"ft", 1, 0.3048}, {"mile", 1, 1609.344},
		{"mph", 1, 0.44704}, {"knot", 1, 0.514444444444444},
		{"lb", 1, 0.45359237}, {"lbf", 1, 4.4482216152605}, {"kgf", 1, 9.80665},
		{"lbf ft", 1, 1.3558179483314004}, {"lbf in", 1, 0.1129848290276167}, {"kgf m", 1, 9.80665},
		{"psi", 1, 6894.757293168}, {"bar", 1, 100000}, {"atm", 1, 101325},
		{"inHg", 1, 3386.388640341}, {"mmHg", 1, 133.322387415},
		{"hp", 1, 745.69987158227}, {"PS", 1, 735.49875},
		{"rpm", 1, 0.10471975511966}, {"g", 1, 9.80665},
		{"°F", 100, 37.777777777778 + 273.15}, {"°F", 77, 25 + 273.15}, {"°F", -40, -40 + 273.15},
		{"°C", 25, 298.15}, {"km/h", 36, 10}, {"%", 50, 0.5}, {"deg", 180, math.Pi},
		{"deg/s", 180, math.Pi}, {"kPa", 1, 1000}, {"mbar", 1, 100}, {"ms", 1, 0.001},
	} {
		u, err := Parse(c.unit)
		if err != nil {
			t.Errorf("Parse(%q): %v", c.unit, err)
			continue
		}
		got := u.ToSI(c.x)
		if math.Abs(got-c.si) > 2e-12*math.Abs(c.si) {
			t.Errorf("%g %s = %.16g SI, want %.16g", c.x, c.unit, got, c.si)
		}
		if back := u.FromSI(got); math.Abs(back-c.x) > 1e-12*math.Max(1, math.Abs(c.x)+math.Abs(u.Shift)) {
			t.Errorf("%g %s there and back = %.16g", c.x, c.unit, back)
		}
	}
	kw, hp, ps := Must("kW"), Must("hp"), Must("PS")
	if got := hp.FromSI(kw.ToSI(1)); math.Abs(got-1.34102208959503) > 1e-12 {
		t.Errorf("1 kW = %.15g hp", got)
	}
	if got := ps.FromSI(kw.ToSI(1)); math.Abs(got-1.3596216173039) > 1e-12 {
		t.Errorf("1 kW = %.15g metric hp", got)
	}
}

func TestSpellings(t *testing.T) {
	for text, want := range map[string]string{
		"[km/h]": "km/h", "KPH": "km/h", "kmh": "km/h", "Km/H": "km/h", " ( mph ) ": "mph", "kts": "kn", "m/s": "m/s", "m.s-1": "m/s",
		"°": "°", "Deg": "°", "grad": "°", "º": "°", "deg/s": "°/s", "°/s": "°/s", "dps": "°/s", "rad/s": "rad/s",
		"U/min": "1/min", "tr/min": "1/min", "giri/min": "1/min", "1/min": "1/min", "RPM": "1/min", "min⁻¹": "1/min",
		"degC": "°C", "C": "°C", "°C": "°C", "ºC": "°C", "F": "°F", "K": "K",
		"Bar": "bar", "BAR": "bar", "PSI": "psi", "kpa": "kPa", "hPa": "hPa", "mbar": "hPa", "MPa": "MPa", "mPa": "mPa",
		"m/s²": "m/s2", "m/s^2": "m/s2", "G": "g", "g": "g", "Nm": "N m", "N·m": "N m", "ft-lb": "lbf ft",
		"%": "%", "Prozent": "%", "": "", "-": "", "mV": "mV", "V": "V", "ms": "ms", "µs": "µs", "μs": "µs", "MS": "ms",
		"mm": "mm", "Zoll": "in", "\"": "in", "lambda": "ratio", "λ": "ratio", "Hz": "Hz", "l/h": "l/h",
	} {
		u, err := Parse(text)
		if err != nil {
			t.Errorf("Parse(%q): %v", text, err)
			continue
		}
		w := Must(want)
		if u != w {
			t.Errorf("Parse(%q) = %+v, want %+v", text, u, w)
		}
	}
}

func TestUnknownNamesNearest(t *testing.T) {
	for text, near := range map[string]string{"kmm/h": "km/h", "bra": "bar", "degg": "deg", "m/s3": "m/s"} {
		_, err := Parse(text)
		var ue *UnknownError
		if !errors.As(err, &ue) {
			t.Errorf("Parse(%q) err = %v, want *UnknownError", text, err)
			continue
		}
		if ue.Nearest == "" || Must(ue.Nearest) != Must(near) && text != "m/s3" {
			t.Errorf("Parse(%q) nearest = %q, want %q", text, ue.Nearest, near)
		}
	}
	if _, err := Parse("zorkmids"); err == nil || err.(*UnknownError).Nearest != "" {
		t.Errorf("zorkmids: %v", err)
	}
}

// Every entry of the table is reachable by its symbol, and no symbol means two
// units.
func TestSymbolsReachTheirUnit(t *testing.T) {
	for _, en := range table {
		for _, s := range en.spellings {
			if _, err := Parse(s); err != nil {
				t.Errorf("spelling %q of %q: %v", s, en.u.Symbol, err)
			}
		}
		if u, err := Parse(en.u.Symbol); err != nil || u != en.u {
			t.Errorf("symbol %q parses to %+v, %v; want %+v", en.u.Symbol, u, err, en.u)
		}
	}
}

func TestShow(t *testing.T) {
	for _, c := range []struct{ got, want string }{
		{Show(10, Must("km/h"), 1), "36.0\u00a0km/h"},
		{Show(-1e-9, Must("km/h"), 1), "0.0\u00a0km/h"},
		{Show(math.Pi/4, Must("deg"), 1), "45.0°"},
		{Show(math.NaN(), Must("s"), 1), "unknown\u00a0s"},
		{Show(298.15, Must("°C"), 1), "25.0\u00a0°C"},
		{ShowDelta(5, Must("°F"), 1), "+9.0\u00a0°F"},
		{ShowDelta(-0.084, Must("s"), 2), "-0.08\u00a0s"},
		{ShowDelta(0.0001, Must("s"), 2), "0.00\u00a0s"},
		{ShowInterval(0.04, 0.12, Must("s")), "0.040 to 0.120\u00a0s"},
	} {
		if c.got != c.want {
			t.Errorf("got %q, want %q", c.got, c.want)
		}
	}
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{"km/h", "[°C]", "", "m/s²", "((", "\xff", "1e-7deg"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		u, err := Parse(s)
		if err != nil {
			return
		}
		x := u.FromSI(u.ToSI(12.5))
		if math.Abs(x-12.5) > 1e-9*math.Max(1, math.Abs(u.Shift)) {
			t.Fatalf("%q: 12.5 there and back is %g", s, x)
		}
	})
}
