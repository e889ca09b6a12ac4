package circuit

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"strings"

	"github.com/pelletier/go-toml/v2"

	"cornerwright/internal/say"
	"cornerwright/internal/unit"
)

// FileError is a mistake in a circuit file with its place.
type FileError struct {
	File         string
	Line, Column int
	Text, Mend   say.Text
}

func (e *FileError) Error() string {
	return fmt.Sprintf("%s:%d:%d: %s\n\tmend: %s", e.File, e.Line, e.Column, e.Text, e.Mend)
}

// ParseFile reads a circuit file. Wrong keys and types are errors with line and
// column.
func ParseFile(name string, data []byte) (*Edits, error) {
	var e Edits
	d := toml.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	if err := d.Decode(&e); err != nil {
		return nil, fileError(name, err)
	}
	if strings.TrimSpace(e.Name) == "" {
		return nil, &FileError{name, 1, 1, say.T("the circuit has no name"), say.T(`add name = "..." as the first line`)}
	}
	if err := placed(name, data); err != nil {
		return nil, err
	}
	if g := e.Gate; g != nil && (math.Abs(g.LatDeg) > 90 || math.Abs(g.LonDeg) > 180 || g.LatDeg == 0 && g.LonDeg == 0) {
		return nil, &FileError{name, lineOf(data, "[gate]"), 1, say.T("the gate lies at {latdeg}, {londeg} degrees, which is no place", fmt.Sprintf("%g", g.LatDeg), fmt.Sprintf("%g", g.LonDeg)),
			say.T("give lat_deg (-90 to 90) and lon_deg (-180 to 180)")}
	}
	return &e, nil
}

var circuitKeys = []string{"name", "gate", "turn", "merge", "split", "lat_deg", "lon_deg", "heading_deg", "half_width_m",
	"apex_m", "number", "kink", "drop", "from_m", "to_m", "at_m", "order"}

func fileError(name string, err error) error {
	var miss *toml.StrictMissingError
	if errors.As(err, &miss) && len(miss.Errors) > 0 {
		row, col := miss.Errors[0].Position()
		key := strings.Join(miss.Errors[0].Key(), ".")
		last := key[strings.LastIndex(key, ".")+1:]
		return &FileError{name, row, col, say.T("there is no key {key}", fmt.Sprintf("%q", key)), say.T("the nearest key is {last}", fmt.Sprintf("%q", unit.NearestWithin(last, circuitKeys, len(last)+20)))}
	}
	var de *toml.DecodeError
	if errors.As(err, &de) {
		row, col := de.Position()
		return &FileError{name, row, col, say.WrongType(strings.TrimPrefix(de.Error(), "toml: ")), say.T("see the example in docs/using.md")}
	}
	return &FileError{name, 1, 1, say.Of(err), say.T("see the example in docs/using.md")}
}

// placed refuses an edit that does not say where: a place left out would read
// as the gate.
func placed(name string, data []byte) error {
	var all map[string]any
	if err := toml.Unmarshal(data, &all); err != nil {
		return fileError(name, err)
	}
	for _, t := range []struct {
		table string
		keys  []string
	}{{"turn", []string{"apex_m"}}, {"merge", []string{"from_m", "to_m"}}, {"split", []string{"at_m"}}} {
		list, _ := all[t.table].([]any)
		for i, x := range list {
			m, _ := x.(map[string]any)
			for _, k := range t.keys {
				if _, ok := m[k]; !ok {
					return &FileError{name, LineOfEdit(data, t.table, i), 1, say.T("[[{table}]] does not say where: {k} is missing", t.table, k),
						say.T("give the place in metres from the gate, as cornerwright turns last shows it")}
				}
			}
		}
	}
	return nil
}

// LineOfEdit is the line, from 1, of the table with index i, from 0, of its
// kind ("turn", "merge", "split") in a circuit file; 1 where it is not found.
func LineOfEdit(data []byte, table string, i int) int {
	n := 0
	for l := range bytes.Lines(data) {
		n++
		if bytes.HasPrefix(bytes.TrimSpace(l), []byte("[["+table+"]]")) {
			if i == 0 {
				return n
			}
			i--
		}
	}
	return 1
}

func lineOf(data []byte, word string) int {
	i := bytes.Index(data, []byte(word))
	if i < 0 {
		return 1
	}
	return bytes.Count(data[:i], []byte("\n")) + 1
}

// GateAt converts the gate of a file, nil if it has none.
func (e *Edits) GateAt() *GateAt {
	if e == nil || e.Gate == nil {
		return nil
	}
	d := math.Pi / 180
	return &GateAt{e.Gate.LatDeg * d, e.Gate.LonDeg * d, e.Gate.HeadingDeg * d}
}

// TOML writes the circuit as a file that ParseFile reads: gate and turns, ready
// to be edited.
func (c *Circuit) TOML() []byte {
	var b bytes.Buffer
	lat, lon, h := c.Gate()
	fmt.Fprintf(&b, "name = %s\n\n[gate]\nlat_deg = %.7f\nlon_deg = %.7f\nheading_deg = %.2f\nhalf_width_m = %.0f\n", say.Quote(c.Name), lat*180/math.Pi, lon*180/math.Pi, h*180/math.Pi, c.HalfWidth)
	for _, t := range c.Turns {
		fmt.Fprintf(&b, "\n[[turn]] # %s, %.0f m radius\napex_m = %.0f\nnumber = %d\n", t.Direction, t.MinRadius, t.Apex, t.Number)
		if t.Name != "" {
			fmt.Fprintf(&b, "name = %s\n", say.Quote(t.Name))
		}
		if t.Kink {
			b.WriteString("kink = true\n")
		}
	}
	return b.Bytes()
}

// Gate gives the start gate: position and heading clockwise from north, rad,
// heading in [0, 2 pi).
func (c *Circuit) Gate() (lat, lon, heading float64) {
	x, y, h, _ := c.Line.At(0)
	lat, lon = c.Frame.LatLon(x, y)
	return lat, lon, compass(h)
}
