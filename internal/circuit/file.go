package circuit

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"sort"
	"strings"

	"github.com/pelletier/go-toml/v2"
)

// Edits are a person's word on a circuit: they stand above what is learnt and
// survive learning anew. Turn places are told in metres from the gate or by an
// apex near them.
type Edits struct {
	Name string     `toml:"name"`
	Gate *GateEdit  `toml:"gate"`
	Turn []TurnEdit `toml:"turn"`
	Cut  []CutEdit  `toml:"merge"`
	Add  []SplitAt  `toml:"split"`
}

// GateEdit is a start gate in degrees.
type GateEdit struct {
	LatDeg     float64 `toml:"lat_deg"`
	LonDeg     float64 `toml:"lon_deg"`
	HeadingDeg float64 `toml:"heading_deg"`
	HalfWidthM float64 `toml:"half_width_m"`
}

// TurnEdit renames or renumbers the learnt turn whose apex is nearest to ApexM.
type TurnEdit struct {
	ApexM  float64 `toml:"apex_m"`
	Number int     `toml:"number"`
	Name   string  `toml:"name"`
	Kink   *bool   `toml:"kink"`
	Drop   bool    `toml:"drop"`
}

// CutEdit merges all turns with an apex between two places into one.
type CutEdit struct {
	FromM float64 `toml:"from_m"`
	ToM   float64 `toml:"to_m"`
}

// SplitAt splits the turn that holds a place.
type SplitAt struct {
	AtM float64 `toml:"at_m"`
}

// FileError is a mistake in a circuit file with its place.
type FileError struct {
	File         string
	Line, Column int
	Text, Mend   string
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
		return nil, &FileError{name, 1, 1, "the circuit has no name", `add name = "..." as the first line`}
	}
	if g := e.Gate; g != nil && (math.Abs(g.LatDeg) > 90 || math.Abs(g.LonDeg) > 180 || g.LatDeg == 0 && g.LonDeg == 0) {
		return nil, &FileError{name, lineOf(data, "[gate]"), 1, fmt.Sprintf("the gate lies at %g, %g degrees, which is no place", g.LatDeg, g.LonDeg),
			"give lat_deg (-90 to 90) and lon_deg (-180 to 180)"}
	}
	return &e, nil
}

var circuitKeys = []string{"name", "gate", "turn", "merge", "split", "lat_deg", "lon_deg", "heading_deg", "half_width_m",
	"apex_m", "number", "kink", "drop", "from_m", "to_m", "at_m"}

func fileError(name string, err error) error {
	var miss *toml.StrictMissingError
	if errors.As(err, &miss) && len(miss.Errors) > 0 {
		row, col := miss.Errors[0].Position()
		key := strings.Join(miss.Errors[0].Key(), ".")
		last := key[strings.LastIndex(key, ".")+1:]
		return &FileError{name, row, col, fmt.Sprintf("there is no key %q", key), fmt.Sprintf("the nearest key is %q", nearestKey(last, circuitKeys))}
	}
	var de *toml.DecodeError
	if errors.As(err, &de) {
		row, col := de.Position()
		return &FileError{name, row, col, strings.TrimPrefix(de.Error(), "toml: "), "see the example in docs/using.md"}
	}
	return &FileError{name, 1, 1, err.Error(), "see the example in docs/using.md"}
}

// nearestKey is the key with the fewest single-letter edits to have it.
func nearestKey(have string, keys []string) string {
	best, at := math.MaxInt, ""
	for _, k := range keys {
		if d := editDistance(have, k); d < best {
			best, at = d, k
		}
	}
	return at
}

func editDistance(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := 1; i <= len(a); i++ {
		diag := row[0]
		row[0] = i
		for j := 1; j <= len(b); j++ {
			cost := diag
			if a[i-1] != b[j-1] {
				cost++
			}
			diag = row[j]
			row[j] = min(cost, row[j]+1, row[j-1]+1)
		}
	}
	return row[len(b)]
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

// Apply carries the edits of turns out on a circuit. An edit whose place is
// nowhere near a turn is an error that names it.
func (c *Circuit) Apply(e *Edits) error {
	if e == nil {
		return nil
	}
	if e.Name != "" {
		c.Name = e.Name
	}
	if e.Gate != nil && e.Gate.HalfWidthM > 0 {
		c.HalfWidth = e.Gate.HalfWidthM
	}
	for _, m := range e.Cut {
		if err := c.mergeTurns(m.FromM, m.ToM); err != nil {
			return err
		}
	}
	for _, s := range e.Add {
		if err := c.splitTurn(s.AtM); err != nil {
			return err
		}
	}
	for _, t := range e.Turn {
		i := c.nearestTurn(t.ApexM)
		if i < 0 {
			return fmt.Errorf("no turn lies within 60 m of %.0f m: give the apex as `turns` shows it", t.ApexM)
		}
		if t.Drop {
			c.Turns = append(c.Turns[:i], c.Turns[i+1:]...)
			continue
		}
		if t.Name != "" {
			c.Turns[i].Name = t.Name
		}
		if t.Kink != nil {
			c.Turns[i].Kink = *t.Kink
		}
		if t.Number > 0 {
			c.Turns[i].Number = t.Number
		}
	}
	seen := map[int]bool{}
	for i := range c.Turns {
		if seen[c.Turns[i].Number] {
			return fmt.Errorf("two turns have the number %d: give each its own", c.Turns[i].Number)
		}
		seen[c.Turns[i].Number] = true
	}
	for i := range c.Turns {
		c.Turns[i].To = c.Turns[(i+1)%len(c.Turns)].From
	}
	return nil
}

func (c *Circuit) nearestTurn(s float64) int {
	best, at := 60.0, -1
	for i, t := range c.Turns {
		if d := math.Abs(math.Remainder(t.Apex-s, c.Line.Length)); d < best {
			best, at = d, i
		}
	}
	return at
}

func (c *Circuit) mergeTurns(from, to float64) error {
	var in []int
	for i, t := range c.Turns {
		if c.Wrap(t.Apex-from) <= c.Wrap(to-from) {
			in = append(in, i)
		}
	}
	if len(in) < 2 {
		return fmt.Errorf("fewer than two turns have their apex between %.0f m and %.0f m: nothing to merge", from, to)
	}
	sort.Slice(in, func(a, b int) bool {
		return c.Wrap(c.Turns[in[a]].Apex-from) < c.Wrap(c.Turns[in[b]].Apex-from)
	})
	t := c.Turns[in[0]]
	for _, i := range in[1:] {
		o := c.Turns[i]
		t.Exit, t.To = o.Exit, o.To
		t.Apexes = append(t.Apexes, o.Apexes...)
		if o.MinRadius < t.MinRadius {
			t.MinRadius, t.Apex, t.Direction = o.MinRadius, o.Apex, o.Direction
		}
		t.Kink = t.Kink && o.Kink
	}
	drop := map[int]bool{}
	for _, i := range in[1:] {
		drop[i] = true
	}
	first := in[0]
	var out []Turn
	for i, o := range c.Turns {
		switch {
		case i == first:
			out = append(out, t)
		case !drop[i]:
			out = append(out, o)
		}
	}
	c.Turns = out
	for i := range c.Turns {
		c.Turns[i].Number = i + 1
	}
	return nil
}

func (c *Circuit) splitTurn(at float64) error {
	for i, t := range c.Turns {
		if !(c.Wrap(at-t.Entry) < c.Wrap(t.Exit-t.Entry)) {
			continue
		}
		a, b := t, t
		a.Exit, a.To, b.Entry, b.From = at, at, at, at
		a.Name, b.Name = "", ""
		a.measure(&c.Line)
		b.measure(&c.Line)
		c.Turns = append(c.Turns[:i], append([]Turn{a, b}, c.Turns[i+1:]...)...)
		for k := range c.Turns {
			c.Turns[k].Number = k + 1
		}
		return nil
	}
	return fmt.Errorf("no bend holds %.0f m: a split must lie between a turn's entry and exit", at)
}

// measure finds apex and radius anew between entry and exit.
func (t *Turn) measure(l *Line) {
	sign := 1.0
	if t.Direction == Left {
		sign = -1
	}
	best := 0.0
	for d := 0.0; d <= l.wrap(t.Exit-t.Entry); d += l.Step {
		if k := l.kappaAt(t.Entry+d) * sign; k > best {
			best, t.Apex = k, l.wrap(t.Entry+d)
		}
	}
	t.Apexes = []float64{t.Apex}
	if best > 0 {
		t.MinRadius = 1 / best
	}
}

// TOML writes the circuit as a file that ParseFile reads: gate and turns, ready
// to be edited.
func (c *Circuit) TOML() []byte {
	var b bytes.Buffer
	lat, lon, h := c.Gate()
	fmt.Fprintf(&b, "name = %q\n\n[gate]\nlat_deg = %.7f\nlon_deg = %.7f\nheading_deg = %.2f\nhalf_width_m = %.0f\n", c.Name, lat*180/math.Pi, lon*180/math.Pi, h*180/math.Pi, c.HalfWidth)
	for _, t := range c.Turns {
		fmt.Fprintf(&b, "\n[[turn]] # %s, %.0f m radius\napex_m = %.0f\nnumber = %d\n", t.Direction, t.MinRadius, t.Apex, t.Number)
		if t.Name != "" {
			fmt.Fprintf(&b, "name = %q\n", t.Name)
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
	h = math.Mod(h, 2*math.Pi)
	if h < 0 {
		h += 2 * math.Pi
	}
	return lat, lon, h
}
