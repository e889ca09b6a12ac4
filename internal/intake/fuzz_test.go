package intake

import (
	"bytes"
	"errors"
	"math"
	"os"
	"runtime"
	"strings"
	"testing"

	"cornerwright/internal/demo"
)

// seeds are real shapes of every text format, short and broken ones among them.
func seeds() [][]byte {
	o := demo.DefaultOptions(1, 3)
	o.Laps = 1
	r := demo.Ride(o)
	out := [][]byte{
		{}, []byte("\n\n"), []byte("a,b\n1,2\n"), {0, 1, 2, 3}, []byte("PAR1"), []byte("PAR1xxxxPAR1"), {0x1f, 0x8b, 8, 0}, []byte("PK\x03\x04"), {0x28, 0xb5, 0x2f, 0xfd},
		[]byte("Time [s],Latitude [deg],Longitude [deg],GPS speed [km/h]\n0,48,11,100\n0.1,48.00002,11,100\n0.2,48.00004,11,101\n"),
		[]byte("zeit;breite;laenge;v_vorn\n0,0;48,1;11,2;120,5\n0,1;48,1;11,2;\"1\n20\"\n"),
		[]byte("$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A\n$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47\n"),
		[]byte("(1613749650.388103) can1 0AD#A6553BCF3F1AF52A\n(1436509053.850870) can0 12345678#DEADBEEF\n"),
		[]byte(`<?xml version="1.0"?><gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg><trkpt lat="48" lon="11"><ele>3</ele><time>2024-02-29T00:00:00Z</time></trkpt></trkseg></trk></gpx>`),
	}
	for _, d := range []demo.Dialect{demo.Plain, {Delimiter: ";", Comma: true, UnitRow: true, CRLF: true}, {Delimiter: "\t", Repeat: true}} {
		var b bytes.Buffer
		if err := r.WriteText(&b, d); err == nil {
			out = append(out, b.Bytes()[:min(b.Len(), 4000)])
		}
	}
	return out
}

// sound holds a reading to its promise: no panic, no endless loop, no memory out
// of proportion (10 KB may not take 100 MB, garbage counted), and what comes out
// is sound: a result or an error with words and a mend, clocks that go forward,
// no value that is no number, marks in order.
func sound(t *testing.T, data []byte, opts Options) {
	t.Helper()
	if len(data) > 20<<10 {
		return
	}
	opts.Workers = 1
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	res, err := Read("x", data, opts)
	runtime.ReadMemStats(&after)
	if grown := after.TotalAlloc - before.TotalAlloc; grown > max(100<<20, uint64(len(data))*10<<10) {
		t.Fatalf("%d bytes took %d MB", len(data), grown>>20)
	}
	if err != nil {
		var e *Error
		if !errors.As(err, &e) || e.Text == "" || e.Mend == "" {
			t.Fatalf("an error without words or mend: %v", err)
		}
		return
	}
	if len(res.Recordings) == 0 {
		t.Fatal("neither a recording nor an error")
	}
	for _, r := range res.Recordings {
		for _, c := range r.Channels {
			if len(c.Time) != len(c.Value) {
				t.Fatalf("%s: %d instants, %d values", c.Name, len(c.Time), len(c.Value))
			}
			for i := range c.Time {
				if i > 0 && !(c.Time[i] > c.Time[i-1]) {
					t.Fatalf("%s: the clock does not go forward at %d", c.Name, i)
				}
				if c.Value[i] != c.Value[i] || math.IsInf(c.Value[i], 0) {
					t.Fatalf("%s: value %v at %d", c.Name, c.Value[i], i)
				}
			}
			for i := 1; i < len(c.Marks); i++ {
				if c.Marks[i].From < c.Marks[i-1].From {
					t.Fatalf("%s: marks out of order", c.Name)
				}
			}
		}
	}
	if _, err := ParseColumnMap("x.toml", []byte(res.Map)); err != nil {
		t.Fatalf("the printed map cannot be read: %v\n%s", err, res.Map)
	}
}

// corpusSeeds adds the corpus files of some folders.
func corpusSeeds(f *testing.F, dirs ...string) {
	for _, name := range corpusFiles(f) {
		for _, d := range dirs {
			if strings.HasPrefix(name, d+"/") {
				if data, _ := corpusInput(f, name); len(data) < 12<<10 {
					f.Add(data)
				}
			}
		}
	}
}

func fuzzFolders(f *testing.F, dirs ...string) {
	corpusSeeds(f, dirs...)
	f.Fuzz(func(t *testing.T, data []byte) { sound(t, data, Options{}) })
}

// FuzzRead: any bytes, of any format, through detection.
func FuzzRead(f *testing.F) {
	for _, s := range seeds() {
		f.Add(s)
	}
	fuzzFolders(f, "text", "nmea", "gpx", "junk")
}

func FuzzText(f *testing.F)    { fuzzFolders(f, "text") }
func FuzzNMEA(f *testing.F)    { fuzzFolders(f, "nmea") }
func FuzzGPX(f *testing.F)     { fuzzFolders(f, "gpx") }
func FuzzParquet(f *testing.F) { fuzzFolders(f, "parquet") }
func FuzzPacked(f *testing.F)  { fuzzFolders(f, "packed") }

// FuzzCAN: any log with any database.
func FuzzCAN(f *testing.F) {
	bus, err := os.ReadFile("testdata/can/bus.dbc")
	if err != nil {
		f.Fatal(err)
	}
	for _, name := range corpusFiles(f) {
		if strings.HasPrefix(name, "can/") {
			data, opt := corpusInput(f, name)
			if opt.Database == nil {
				opt.Database = bus
			}
			f.Add(data, opt.Database)
		}
	}
	f.Fuzz(func(t *testing.T, data, db []byte) {
		if len(db) < 20<<10 {
			sound(t, data, Options{Database: db})
		}
	})
}

// FuzzMapped: any table with any column map.
func FuzzMapped(f *testing.F) {
	for _, name := range corpusFiles(f) {
		if m, err := os.ReadFile("testdata/" + name + ".toml"); err == nil {
			data, _ := corpusInput(f, name)
			f.Add(data, m)
		}
	}
	f.Fuzz(func(t *testing.T, data, text []byte) {
		if m, err := ParseColumnMap("x.toml", text); err == nil {
			sound(t, data, Options{Map: m})
		}
	})
}

// FuzzColumnMap: no column map, however odd, may do worse than an error.
func FuzzColumnMap(f *testing.F) {
	for _, s := range []string{"", "rate_hz = 100\n", "[[column]]\nfrom = \"a\"\nchannel = \"rpm\"\nunit = \"1/min\"\n", "[[column]]\nindex = 3\nchannel = \"ignore\"\n", "decimal = \";\"", "[[column]]\nunit = \"furlong\"\n"} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		m, err := ParseColumnMap("m.toml", data)
		if err == nil && m == nil {
			t.Fatal("neither a map nor an error")
		}
	})
}
