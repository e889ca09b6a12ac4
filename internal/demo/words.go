package demo

// Word is how a dialect names one channel: its header, its unit, what a value
// in the channel's own unit is multiplied by, and the decimals written.
type Word struct {
	Header, Unit string
	Factor       float64
	Decimals     int
}

// Wording renames channels by their canonical name; what it does not hold keeps
// the simulator's own words.
type Wording map[string]Word

// German is a file as a workshop that speaks German would have it.
var German = Wording{
	"latitude": {"Breitengrad", "Grad", 1, 7}, "longitude": {"Längengrad", "Grad", 1, 7},
	"gps_speed": {"Geschwindigkeit GPS", "km/h", 1, 2}, "gps_heading": {"Kurs", "Grad", 1, 2},
	"altitude": {"Höhe", "m", 1, 1}, "front_speed": {"Radgeschwindigkeit vorn", "km/h", 1, 2},
	"rear_speed": {"Radgeschwindigkeit hinten", "km/h", 1, 2}, "rpm": {"Motordrehzahl", "1/min", 1, 0},
	"gear": {"Gang", "", 1, 0}, "grip": {"Gasgriff", "%", 1, 1}, "throttle": {"Drosselklappe", "%", 1, 1},
	"cut": {"Momentenreduktion", "%", 1, 1}, "front_brake": {"Bremsdruck vorn", "bar", 1, 2},
	"rear_brake": {"Bremsdruck hinten", "bar", 1, 2}, "clutch": {"Kupplungsschalter", "", 1, 0},
	"lean": {"Schräglage", "Grad", 1, 2}, "fork": {"Gabelweg", "mm", 1, 2}, "shock": {"Federbeinweg", "mm", 1, 2},
	"accel_x": {"Längsbeschleunigung", "g", 1, 3}, "accel_y": {"Querbeschleunigung", "g", 1, 3},
	"slot": {"Schalterstellung", "", 1, 0}, "air_temp": {"Lufttemperatur", "°C", 1, 1},
}

// Short is a file of short names in SI units.
var Short = Wording{
	"latitude": {"Lat", "deg", 1, 7}, "longitude": {"Lon", "deg", 1, 7},
	"gps_speed": {"Ground speed", "m/s", 1 / 3.6, 3}, "gps_heading": {"Course", "deg", 1, 2}, "altitude": {"Alt", "m", 1, 1},
	"front_speed": {"Speed front", "m/s", 1 / 3.6, 3}, "rear_speed": {"Speed rear", "m/s", 1 / 3.6, 3},
	"rpm": {"RPM", "rpm", 1, 0}, "grip": {"Throttle grip", "%", 1, 1}, "throttle": {"Throttle position", "%", 1, 1},
	"cut": {"Torque cut", "%", 1, 1}, "front_brake": {"Brake front", "kPa", 100, 0}, "rear_brake": {"Brake rear", "kPa", 100, 0},
	"accel_x": {"Acc x", "m/s2", gravity, 2}, "accel_y": {"Acc y", "m/s2", gravity, 2}, "accel_z": {"Acc z", "m/s2", gravity, 2},
	"slot": {"Slot", "", 1, 0}, "coolant": {"Water temp", "degC", 1, 1},
}

// in gives the channel as a wording has it.
func (c Channel) in(words Wording) Channel {
	w, ok := words[c.Name]
	if !ok {
		return c
	}
	c.Header, c.Unit, c.Decimals = w.Header, w.Unit, w.Decimals
	if w.Factor != 1 {
		v := make([]float64, len(c.Value))
		for i, x := range c.Value {
			v[i] = x * w.Factor
		}
		c.Value = v
	}
	return c
}
