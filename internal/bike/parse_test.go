package bike

import (
	"errors"
	"reflect"
	"strings"
	"testing"

	"cornerwright/internal/setting"
)

const heron = `name = "Heron 998"
[mass]
total_kg = 262            # bike, fuel and rider
centre_height_m = 0.66
wheelbase_m = 1.43
centre_to_rear_m = 0.69
[tyre.front]
marking = "120/70 ZR17"
circumference_m = 1.880
crown_radius_m = 0.060
[tyre.rear]
marking = "200/60 ZR17"
circumference_m = 2.010
crown_radius_m = 0.098
[drive]
primary = 1.63
gears = [2.60, 2.13, 1.79, 1.56, 1.41, 1.31]
front_sprocket = 16
rear_sprocket = 43
limiter_rpm = 14300
[air]
drag_area_m2 = 0.32
rolling_coefficient = 0.02
[slots]
reference = "A"
trial = "B"
[[setting]]
id = "slip-target"
unit = "%"
rows = { channel = "lean", unit = "deg", points = [0, 30, 56] }
columns = { channel = "speed", unit = "km/h", points = [60, 140] }
range = [1.0, 20.0]
largest_step = 1.0
more = "freer, and less margin"
[setting.values]
A = [[12, 11], [8, 7.5], [5, 4]]
B = [[12, 11], [8, 7.5], [5, 4]]
[[setting]]
id = "engine-brake"
unit = "%"
by = "gear"
range = [20, 100]
largest_step = 10
more = "more engine braking"
[setting.values]
A = [50, 50, 60, 60, 70, 70]
B = [50, 50, 60, 60, 70, 70]
[[setting]]
id = "blip"
unit = "%"
range = [50, 150]
largest_step = 10
more = "more blip"
acts = "blip"
[setting.values]
A = 100
B = 110
`

func TestParse(t *testing.T) {
	b, err := Parse("heron.toml", []byte(heron))
	if err != nil {
		t.Fatal(err)
	}
	if b.Name != "Heron 998" || b.Mass.Total != 262 || b.Rear.Circumference != 2.010 || b.Drive.RearSprocket != 43 || b.Slots.Trial != "B" {
		t.Errorf("bike read wrong: %+v", b)
	}
	if len(b.Settings) != 3 || b.Settings[0].Kind != setting.Grid || b.Settings[1].Kind != setting.List || b.Settings[2].Kind != setting.Scalar {
		t.Errorf("settings read wrong: %+v", b.Settings)
	}
	if got := b.First["A"]["slip-target"][1][1]; got != 7.5 {
		t.Errorf("slip-target A row 2 column 2 = %v, want 7.5", got)
	}
	if got := b.First["B"]["blip"][0][0]; got != 110 {
		t.Errorf("blip B = %v, want 110", got)
	}
}

func TestRoundTrip(t *testing.T) {
	b, err := Parse("heron.toml", []byte(heron+"\n[limits]\npit_speed_kmh = 60\ncoolant_warning_degc = 100.5\n[suspension]\nfork_travel_m = 0.125\n[gps]\nantenna_height_m = 0.9\n"))
	if err != nil {
		t.Fatal(err)
	}
	b.Settings[0].More = "quotes \" and \\ and\ttabs, ü"
	c, err := Parse("again.toml", b.TOML())
	if err != nil {
		t.Fatalf("%v\n%s", err, b.TOML())
	}
	c.Source = b.Source
	if !reflect.DeepEqual(b, c) {
		t.Errorf("round trip differs:\n%+v\n%+v", b, c)
	}
}

// Every case replaces one piece of a good file; the error must name the place
// of the damage and the mend.
func TestParseErrors(t *testing.T) {
	cases := []struct {
		name, old, new string
		line, column   int
		text, mend     string
	}{
		{"misspelt key", "total_kg = 262", "total_kgs = 262", 3, 1, `unknown key "total_kgs"`, `write "total_kg"`},
		{"wrong unit in key", "total_kg = 262", "total_lb = 578", 3, 1, `unknown key "total_lb"`, `write "total_kg"`},
		{"missing key", "primary = 1.63\n", "", 15, 2, `key "primary" is missing`, "primary = 1.63"},
		{"unknown table", "[air]", "[wind]", 21, 2, `unknown key "wind"`, "known here"},
		{"text for number", "total_kg = 262", `total_kg = "262"`, 3, 12, "not a number", "without quotes"},
		{"number for text", `name = "Heron 998"`, "name = 998", 1, 8, "not a text", "quotes"},
		{"millimetres", "circumference_m = 1.880", "circumference_m = 1880", 9, 19, "out of range", "write 1.88"},
		{"ragged grid", "[8, 7.5], [5, 4]]\nB", "[8], [5, 4]]\nB", 36, 17, "row 2 of slip-target in slot A has 1 values", "write 2 values"},
		{"row missing", "[8, 7.5], [5, 4]]\nB", "[8, 7.5]]\nB", 36, 7, "2 rows", "write 3 rows"},
		{"out of range", "A = [[12, 11]", "A = [[22, 11]", 36, 7, "22", "range 1 to 20"},
		{"points", "points = [0, 30, 56]", "points = [0, 56, 30]", 30, 59, "do not increase", "small to large"},
		{"gear count", "A = [50, 50, 60, 60, 70, 70]", "A = [50, 50, 60]", 46, 6, "3 values", "6 gears"},
		{"gear order", "gears = [2.60, 2.13", "gears = [2.13, 2.60", 17, 16, "not less than", "from first gear"},
		{"axis channel", `channel = "lean"`, `channel = "laen"`, 30, 20, `"laen"`, `write "lean"`},
		{"axis unit", `unit = "deg"`, `unit = "grad"`, 30, 35, `"grad"`, "deg"},
		{"slot missing", "B = 110\n", "", 55, 10, `slot "B" are missing`, "add B"},
		{"slot letter", "B = 110", "b = 110", 57, 1, `slot "b"`, "capital"},
		{"same slots", `trial = "B"`, `trial = "A"`, 26, 9, "both slot", "another letter"},
		{"range order", "range = [50, 150]", "range = [150, 50]", 51, 10, "two numbers", "least"},
		{"id twice", `id = "blip"`, `id = "engine-brake"`, 49, 6, "already", "its own"},
		{"one axis", "columns = {", "acts = \"x\"\n#", 27, 3, "one axis only", "both rows and columns"},
		{"broken toml", "[mass]", "[mass", 2, 6, "", ""},
		{"doubled key", "wheelbase_m = 1.43", "total_kg = 300", 5, 1, "", ""},
		{"not a number", "total_kg = 262", "total_kg = nan", 3, 12, "out of range", "60 to 700"},
		{"empty name", `"Heron 998"`, `" "`, 1, 8, "empty", "name"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			if strings.Count(heron, c.old) == 0 {
				t.Fatalf("case does not apply: %q", c.old)
			}
			_, err := Parse("heron.toml", []byte(strings.Replace(heron, c.old, c.new, 1)))
			var e *Error
			if !errors.As(err, &e) {
				t.Fatalf("no *Error: %v", err)
			}
			if e.Line != c.line || e.Column != c.column {
				t.Errorf("place %d:%d, want %d:%d (%v)", e.Line, e.Column, c.line, c.column, e)
			}
			if !strings.Contains(e.Text.String(), c.text) || !strings.Contains(e.Mend.String(), c.mend) {
				t.Errorf("got %q / %q, want %q / %q", e.Text, e.Mend, c.text, c.mend)
			}
		})
	}
}

// Several faults are told at once, in the order of the file.
func TestParseAllErrors(t *testing.T) {
	src := strings.NewReplacer("total_kg = 262", "total_kgs = 262", "primary = 1.63", "primary = -1", "B = 110", "B = 500").Replace(heron)
	_, err := Parse("x.toml", []byte(src))
	var e *Error
	if !errors.As(err, &e) || len(e.Also) != 2 {
		t.Fatalf("want three errors, got %v", err)
	}
	if !(e.Line < e.Also[0].Line && e.Also[0].Line < e.Also[1].Line) {
		t.Errorf("not in order: %v", err)
	}
}

// A bike of which little is known is still a bike.
func TestParseLittle(t *testing.T) {
	b, err := Parse("x.toml", []byte("name = \"Only a name\"\n"))
	if err != nil || b.Name != "Only a name" {
		t.Fatalf("%v %v", b, err)
	}
	if _, err := Parse("x.toml", nil); err == nil {
		t.Error("an empty file was taken for a bike")
	}
}

func FuzzParse(f *testing.F) {
	f.Add([]byte(heron))
	f.Add([]byte("name = 1"))
	f.Add([]byte("[[setting]]\nid='x'"))
	f.Add([]byte("setting = 1\nname='x'"))
	f.Add([]byte("a.b.c = [1,[2,{x=1}]]"))
	f.Add([]byte("[a]\n[[a.b]]\n[a.b.c]\nd=1"))
	f.Fuzz(func(t *testing.T, src []byte) {
		b, err := Parse("f", src)
		if err != nil {
			return
		}
		c, err := Parse("g", b.TOML())
		if err != nil {
			t.Fatalf("written file does not parse: %v\n%s", err, b.TOML())
		}
		c.Source = b.Source
		if !reflect.DeepEqual(b, c) {
			t.Fatalf("round trip differs")
		}
	})
}
