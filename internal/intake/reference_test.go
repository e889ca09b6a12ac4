package intake

import (
	"encoding/hex"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"testing"

	"go.einride.tech/can"
	"go.einride.tech/can/pkg/descriptor"

	"cornerwright/internal/recording"
)

// Worked examples of NMEA 0183. The first two stand in public notes on GPS
// receivers; the others in the tests of the Debian package
// golang-github-adrianmo-go-nmea-dev 1.7.0 (MIT), whose expected fields these
// are; positions held against pynmea2 and nmea-simple.
func TestNMEAWorkedExamples(t *testing.T) {
	none := math.NaN()
	for _, c := range []struct {
		sentence                            string
		lat, lon, alt, speed, course, unix0 float64
	}{
		{"$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47", 48.1173, 11.516666667, 545.4, none, none, none},
		{"$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A", 48.1173, 11.516666667, none, 11.523555556, 84.4, 764426119},
		{"$GPRMC,220516,A,5133.82,N,00042.24,W,173.8,231.8,130694,004.2,W*70", 51.563666667, -0.704, none, 89.410444444, 231.8, 771545116},
		{"$GPRMC,235236,A,3925.9479,N,11945.9211,W,44.7,153.6,250905,15.2,E,A*0C", 39.432465, -119.765351667, none, 22.995666667, 153.6, 1127692356},
		{"$GPGGA,034225.077,3356.4650,S,15124.5567,E,1,03,9.7,-25.0,M,21.0,M,,0000*51", -33.941083333, 151.409278333, -25, none, none, none},
		{"$GNRMC,142754.0,A,4302.539570,N,07920.379823,W,0.0,,070617,0.0,E,A*21", 43.042326167, -79.339663717, none, 0, none, 1496845674},
		{"$GNGGA,203415.000,6325.6138,N,01021.4290,E,1,8,2.42,72.5,M,41.5,M,,*7C", 63.426896667, 10.35715, 72.5, none, none, none},
		{"$GPGNS,224749.00,3333.4268304,N,11153.3538273,W,D,19,0.6,406.110,-26.294,6.0,0138,S*6A", 33.55711384, -111.889230455, 406.11, none, none, none},
	} {
		sen, why := parseSentence([]byte(c.sentence))
		if why != "" || !sen.summed {
			t.Errorf("%s: %s", c.sentence, why)
			continue
		}
		n := &nmea{curT: nan, last: nan, other: map[string]int{}}
		if !n.take(sen) {
			t.Errorf("%s: not used", c.sentence)
		}
		check := func(what string, got, want, tol float64) {
			t.Helper()
			if got != got != (want != want) || math.Abs(got-want) > tol {
				t.Errorf("%s: %s %.9f, want %.9f", c.sentence, what, got, want)
			}
		}
		check("latitude", n.cur[nmLat], c.lat, 1e-9)
		check("longitude", n.cur[nmLon], c.lon, 1e-9)
		check("altitude", n.cur[nmAlt], c.alt, 0)
		check("speed", n.cur[nmSpeed]*1852/3600, c.speed, 1e-9)
		check("course", n.cur[nmCourse], c.course, 0)
		if c.unix0 == c.unix0 {
			check("time", float64(n.date.Unix())+n.curT, c.unix0, 0)
		}
	}
	for _, bad := range []string{"$GPRMC,235236,A,3925.9479,N,11945.9211,W,44.7,153.6,250905,15.2,E,A*0A", "$GPRMC,1*", "$GP*00", "no sentence"} {
		if _, why := parseSentence([]byte(bad)); why == "" {
			t.Errorf("%q was taken", bad)
		}
	}
	// VTG says 2.550 knots and 4.724 km/h: 2.550 knots are 4.7226.
	sen, _ := parseSentence([]byte("$GPVTG,220.86,T,,M,2.550,N,4.724,K,A*34"))
	n := &nmea{cur: make([]float64, nmCount)}
	n.take(sen)
	if kmh := n.cur[nmSpeed] * 1.852; math.Abs(kmh-4.724) > 0.002 || n.cur[nmCourse] != 220.86 {
		t.Errorf("VTG: %v km/h, course %v", kmh, n.cur[nmCourse])
	}
	sen, _ = parseSentence([]byte("$GPZDA,172809.456,12,07,1996,00,00*57"))
	n = &nmea{curT: nan, last: nan}
	n.take(sen)
	if got := float64(n.date.Unix()) + n.curT; math.Abs(got-837192489.456) > 1e-3 {
		t.Errorf("ZDA: Unix %v, want 1996-07-12T17:28:09.456Z", got)
	}
	// Two-digit years turn at 1980, the start of GPS time.
	for text, year := range map[string]int{"010180": 1980, "311279": 2079, "230394": 1994, "080326": 2026} {
		if d, ok := nmeaDate(text); !ok || d.Year() != year {
			t.Errorf("date %s is in %d, want %d", text, d.Year(), year)
		}
	}
}

// Lines of a CAN text log as can-utils (log2long) and go.einride.tech/can read
// them.
func TestCANWorkedExamples(t *testing.T) {
	for _, c := range []struct {
		line                        string
		id                          uint32
		extended, remote, fault, fd bool
		data                        string
	}{
		{"(1613749650.388103) can1 0AD#A6553BCF3F1AF52A", 0x0AD, false, false, false, false, "a6553bcf3f1af52a"},
		{"(1436509053.850870) can0 12345678#DEADBEEF", 0x12345678, true, false, false, false, "deadbeef"},
		{"(1436509053.850870) can0 00000123#", 0x123, true, false, false, false, ""},
		{"(1436509053.850870) can0 123#R5", 0x123, false, true, false, false, ""},
		{"(1436509053.850870) can0 123##1112233", 0x123, false, false, false, true, "112233"},
		{"(1436509053.850870) can0 20000004#0000000000000000", 0x20000004, false, false, true, false, "0000000000000000"},
	} {
		var f frame
		if why := parseFrame([]byte(c.line), &f); why != "" {
			t.Errorf("%s: %s", c.line, why)
			continue
		}
		if f.id != c.id || f.extended != c.extended || f.remote != c.remote || f.fault != c.fault || f.fd != c.fd || hex.EncodeToString(f.data) != c.data {
			t.Errorf("%s reads as %+v", c.line, f)
		}
		// A second opinion where the library reads the form.
		if word := strings.Fields(c.line)[2]; !c.fd && !c.fault && !c.remote {
			var o can.Frame
			if err := o.UnmarshalString(word); err != nil || o.ID != f.id || o.IsExtended != f.extended || hex.EncodeToString(o.Data[:o.Length]) != c.data {
				t.Errorf("%s: the library reads %v, %v", c.line, o, err)
			}
		}
	}
	for _, bad := range []string{"(1.0) can0 foo#", "(1.0) can0 0D23#F031", "(1.0) can0 62E#104400000000000000", "(1.0) can0 62E#1", "(x) can0 1#", "can0 123#00", "(1.0) can0", "(1.0) can0 FFF#00", "(1.0) can0 123##"} {
		var f frame
		if why := parseFrame([]byte(bad), &f); why == "" {
			t.Errorf("%q was taken: %+v", bad, f)
		}
	}
}

// Bits of signals, start|length@order sign: tests of go.einride.tech/can
// (data_test.go) and of cantools (messages 496 and others), as named.
func TestSignalWorkedExamples(t *testing.T) {
	type want struct {
		place string
		raw   float64
	}
	for _, c := range []struct {
		source, data string
		signals      []want
	}{
		{"einride/can and by hand", "123456789ABCDEF0", []want{{"0|16@1+", 13330}, {"4|12@1+", 833}, {"8|16@1+", 22068}, {"12|12@1+", 1379}, {"20|10@1+", 901}, {"20|10@1-", -123},
			{"7|16@0+", 4660}, {"3|12@0+", 564}, {"15|16@0+", 13398}, {"11|12@0+", 1110}, {"21|10@0+", 359}}},
		{"einride/can data_test.go", "3FF70DC40C93FFFF", []want{{"7|3@0+", 1}, {"4|1@0-", -1}, {"3|12@0-", -9}, {"23|16@0-", 3524}, {"39|16@0-", 3219}, {"55|16@0-", -1}}},
		{"einride/can data_test.go", "40230112", []want{{"24|8@1+", 0x12}, {"8|8@1+", 0x23}, {"4|16@1+", 0x1234 & 0xffff}}},
		{"einride/can data_test.go", "8001", []want{{"7|2@1+", 3}, {"7|2@1-", -1}}},
		{"cantools, message 496", "C006E00000000000", []want{{"0|12@0-", 55}, {"6|6@0+", 32}, {"7|1@0+", 1}}},
		{"cantools", "0100200000000000", []want{{"0|12@0-", -2047}}},
		{"cantools", "FBFFFFFF01000000", []want{{"0|33@1-", -5}}},
		{"cantools", "FFFFFFFD80000000", []want{{"7|33@0-", -5}}},
		{"cantools", "B0B44A55870181F7", []want{{"1|7@1-", -40}, {"0|8@0-", 90}, {"17|9@1-", 165}, {"26|8@1-", -43}, {"39|3@0-", -4}, {"34|3@1-", 1}, {"40|10@0-", -253}, {"62|7@0-", -9}}},
		{"layout of message 400, einride/can example.dbc", "00409C", []want{{"8|16@1+", 40000}}},
	} {
		data, err := hex.DecodeString(c.data)
		if err != nil {
			t.Fatal(err)
		}
		for _, w := range c.signals {
			s := busSignal{factor: 1}
			var order int
			var sign string
			if _, err := fmt.Sscanf(w.place, "%d|%d@%d%1s", &s.start, &s.size, &order, &sign); err != nil {
				t.Fatal(w.place, err)
			}
			s.motorola, s.signed = order == 0, sign == "-"
			if got, ok := s.value(data); !ok || got != w.raw {
				t.Errorf("%s in %s (%s) is %v, %v; want %v", w.place, c.data, c.source, got, ok, w.raw)
			}
		}
	}
	// IEEE 754 floats, Intel: cantools.
	d, _ := hex.DecodeString("75931804562E60C0")
	if v, ok := (&busSignal{size: 64, float: true, factor: 1}).value(d); !ok || math.Abs(v+129.448) > 1e-9 {
		t.Errorf("64-bit float is %v", v)
	}
	d, _ = hex.DecodeString("0000803F")
	if v, ok := (&busSignal{size: 32, float: true, factor: 1}).value(d); !ok || v != 1 {
		t.Errorf("32-bit float is %v", v)
	}
	if _, ok := (&busSignal{size: 16, start: 8, factor: 1}).value([]byte{1, 2}); ok {
		t.Error("a signal beyond its data has a value")
	}
}

// Every signal of any place, order and sign reads as the CAN library reads it.
func TestSignalsAgainstLibrary(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 9))
	for range 20000 {
		var data can.Data
		for i := range data {
			data[i] = byte(r.Uint32())
		}
		s := busSignal{start: r.IntN(64), size: 1 + r.IntN(64), motorola: r.IntN(2) == 0, signed: r.IntN(2) == 0, factor: 1}
		if s.size == 1 {
			s.signed = false // one bit has no sign there
		}
		if _, ok := s.raw(data[:]); !ok {
			continue
		}
		var want float64
		if o := (descriptor.Signal{Start: uint8(s.start), Length: uint8(s.size), IsBigEndian: s.motorola, IsSigned: s.signed}); s.signed {
			want = float64(o.UnmarshalSigned(data))
		} else {
			want = float64(o.UnmarshalUnsigned(data))
		}
		if got, ok := s.value(data[:]); !ok || got != want {
			t.Fatalf("%d|%d motorola %v signed %v in %X is %v, the library says %v", s.start, s.size, s.motorola, s.signed, data, got, want)
		}
	}
}

// The example database that go.einride.tech/can v0.17.0 carries (MIT licence):
// eight messages, one multiplexed, floats, value lists.
func TestLibraryDatabase(t *testing.T) {
	text, err := os.ReadFile("testdata/can/example.dbc")
	if err != nil {
		t.Fatal(err)
	}
	db, err := parseDBC("example.dbc", text)
	if err != nil {
		t.Fatal(err)
	}
	if len(db.order) != 8 {
		t.Errorf("%d messages, want 8", len(db.order))
	}
	at := func(msg uint64, name string) *busSignal {
		for _, s := range db.messages[msg].signals {
			if s.name == name {
				return s
			}
		}
		t.Fatalf("no signal %s in message %d", name, msg)
		return nil
	}
	if s := at(400, "SpeedKph"); s.unit != "km/h" || s.factor != 0.001 {
		t.Errorf("SpeedKph: %+v", s)
	}
	if s := at(200, "NoFiltRight"); !s.multiplexed || s.muxValue != 1 || db.messages[200].mux != at(200, "Mux") {
		t.Errorf("NoFiltRight: %+v", s)
	}
	if s := at(600, "Float32WithRange"); !s.float {
		t.Errorf("Float32WithRange is no float: %+v", s)
	}
	if s := at(100, "Command"); s.words[2] != "Reboot" || len(s.words) != 4 {
		t.Errorf("Command: %v", s.words)
	}
	// A log of it, with the speed of message 400 in its worked example.
	log := "(0000000001.000000) can0 190#00409C\n(0000000001.100000) can0 190#00509C\n(0000000001.200000) can0 0C8#0100000000000000\n"
	res, err := Read("x.log", []byte(log), Options{Database: text, Map: &ColumnMap{Columns: []MapColumn{{From: "SpeedKph", Channel: recording.FrontSpeed}}}})
	if err != nil {
		t.Fatal(err)
	}
	if c := res.Recordings[0].Channel(recording.FrontSpeed); c == nil || len(c.Value) != 2 || math.Abs(c.Value[0]*3.6-40) > 1e-12 {
		t.Errorf("SpeedKph reads as %+v", c)
	}
	if res.Recordings[0].Channel("nofiltleft") == nil && res.Recordings[0].Channel("no_filt_left") == nil {
		t.Errorf("the multiplexed signal is missing")
	}
}

// Facts of the GPX 1.1 schema (http://www.topografix.com/GPX/1/1, gpx.xsd):
// latitudeType -90 to 90 both in, longitudeType -180 in to 180 out, time
// xsd:dateTime, attributes in any order, a new trkseg where reception was lost.
func TestGPXSchema(t *testing.T) {
	doc := func(points string) []byte {
		return []byte(`<?xml version="1.0"?><gpx version="1.1" creator="c" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>` + points + `</trkseg></trk></gpx>`)
	}
	point := func(attrs string, sec int) string {
		return fmt.Sprintf(`<trkpt %s><ele>1</ele><time>2026-03-08T10:00:%02dZ</time></trkpt>`, attrs, sec)
	}
	base := point(`lat="48" lon="11"`, 0) + point(`lat="48" lon="11.0001"`, 1)
	for attrs, in := range map[string]bool{
		`lat="90" lon="0"`: true, `lat="-90" lon="0"`: true, `lat="90.0001" lon="0"`: false, `lat="0" lon="-180"`: true, `lat="0" lon="180"`: false,
		`lon="179.9999" lat="0"`: true, `lat="0"`: false, `lon="0"`: false, `lat="x" lon="0"`: false, `lat="NaN" lon="0"`: false, `lat=" 48 " lon="11"`: true,
	} {
		res, err := Read("x.gpx", doc(base+point(attrs, 2)), Options{})
		if err != nil {
			t.Errorf("%s: %v", attrs, err)
			continue
		}
		if got := res.Rows == 3; got != in {
			t.Errorf("point %s taken: %v, want %v", attrs, got, in)
		}
	}
	for text, sec := range map[string]float64{"2026-03-08T10:00:02Z": 2, "2026-03-08T11:00:02.250+01:00": 2.25, "2026-03-08T04:30:02-05:30": 2} {
		res, err := Read("x.gpx", doc(base+`<trkpt lat="48" lon="11.0002"><time>`+text+`</time></trkpt>`), Options{})
		if err != nil {
			t.Errorf("%s: %v", text, err)
			continue
		}
		c := res.Recordings[0].Channel(recording.Latitude)
		if got := c.Time[len(c.Time)-1]; got != sec {
			t.Errorf("time %s is %v s, want %v", text, got, sec)
		}
	}
	// A speed is no element of 1.1; in extensions it is read, whatever its namespace.
	res, err := Read("x.gpx", doc(base+point(`lat="48" lon="11.0002"`, 2)+`</trkseg><trkseg>`+point(`lat="48" lon="11.0003"`, 3)), Options{})
	if err != nil {
		t.Fatal(err)
	}
	if m := res.Recordings[0].Clock; len(m) != 1 || m[0].Kind != recording.Gap || m[0].From != 2 || m[0].To != 3 {
		t.Errorf("segments are joined: %+v", m)
	}
}
