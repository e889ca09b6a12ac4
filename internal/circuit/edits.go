package circuit

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"slices"
	"sort"

	"cornerwright/internal/say"
)

// Edits are a person's word on a circuit: they stand above what is learnt and
// survive learning anew. Places are metres from the gate (of Gate, if the edits
// hold one, else of the circuit they are applied to); a turn is named by its
// apex. They are a file (ParseFile, TOML) and are made on the page by the
// functions of Circuit that return Edits: Merge, Split, Rename, Renumber,
// MarkKink, Drop, MoveGate.
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

// TurnEdit renames or renumbers the turn whose apex is nearest to ApexM. Turns
// after a numbered one count on from it, up to the next numbered one.
type TurnEdit struct {
	ApexM  float64 `toml:"apex_m"`
	Number int     `toml:"number"`
	Name   string  `toml:"name"`
	Kink   *bool   `toml:"kink"`
	Drop   bool    `toml:"drop"`
	Order  int     `toml:"order"` // edits are carried out in this order; alike: merge, split, turn
}

// CutEdit merges all turns with an apex between two places into one.
type CutEdit struct {
	FromM float64 `toml:"from_m"`
	ToM   float64 `toml:"to_m"`
	Order int     `toml:"order"`
}

// SplitAt splits the turn that holds a place.
type SplitAt struct {
	AtM   float64 `toml:"at_m"`
	Order int     `toml:"order"`
}

// EditError is an edit that fits nowhere on its circuit.
type EditError struct {
	Table string // "turn", "merge" or "split"
	Index int    // place among the edits of its table, from 0
	Err   error
}

func (e *EditError) Error() string { return e.Err.Error() }

func (e *EditError) Unwrap() error { return e.Err }

const (
	editReach = 60.0 // m between an edit's apex and the turn it means
	editSlack = 15.0 // m by which learning anew may move an apex or an end of a bend
	splitRoom = 5.0  // m of bend that either part of a split keeps
	gateSlack = 3.0  // m: a gate nearer than this to where it is stays
)

// Apply carries edits out on a circuit: always anew on the turns as they were
// found (Found), so that applying twice is the same as once and an edit left out
// is taken back. A gate elsewhere moves the origin of s. An edit whose place is
// nowhere near a turn is an error that names it, and then nothing is changed.
func (c *Circuit) Apply(e *Edits) error {
	n, errs := c.edited(e)
	if len(errs) > 0 {
		return errs[0]
	}
	*c = *n
	return nil
}

// edited is the circuit with as many of the edits as fit, and what did not.
func (c *Circuit) edited(e *Edits) (*Circuit, []error) {
	n := *c
	if n.Found == nil {
		n.Found = c.Turns
	}
	n.Found = cloneTurns(n.Found)
	if e == nil {
		n.Turns = cloneTurns(c.Turns)
		return &n, nil
	}
	if e.Name != "" {
		n.Name = e.Name
	}
	var errs []error
	fail := func(err error) {
		if err != nil {
			errs = append(errs, err)
		}
	}
	if e.Gate != nil {
		if e.Gate.HalfWidthM > 0 {
			n.HalfWidth = e.Gate.HalfWidthM
		}
		fail(n.setGate(*e.GateAt()))
	}
	d := desk{c: &n}
	for _, t := range n.Found {
		d.turns = append(d.turns, pinned{Turn: t})
	}
	for _, op := range e.ops() {
		var table string
		var err error
		switch op.kind {
		case opMerge:
			table, err = "merge", d.merge(e.Cut[op.i])
		case opSplit:
			table, err = "split", d.split(e.Add[op.i])
		case opTurn:
			table, err = "turn", d.turn(e.Turn[op.i])
		}
		if err != nil {
			fail(&EditError{table, op.i, err})
		}
	}
	turns, err := d.numbered()
	fail(err)
	n.Turns = turns
	return &n, errs
}

func cloneTurns(t []Turn) []Turn {
	out := slices.Clone(t)
	for i := range out {
		out[i].Apexes = slices.Clone(out[i].Apexes)
	}
	return out
}

// Kinds of operations in the order in which they are carried out where Order
// does not tell.
const (
	opMerge = iota
	opSplit
	opTurn
)

type editOp struct{ order, kind, i int }

func (e *Edits) ops() []editOp {
	var out []editOp
	for i, m := range e.Cut {
		out = append(out, editOp{m.Order, opMerge, i})
	}
	for i, s := range e.Add {
		out = append(out, editOp{s.Order, opSplit, i})
	}
	for i, t := range e.Turn {
		out = append(out, editOp{t.Order, opTurn, i})
	}
	sort.SliceStable(out, func(a, b int) bool { return out[a].order < out[b].order })
	return out
}

// setGate moves the origin of s to the place of the line nearest to a gate.
func (c *Circuit) setGate(g GateAt) error {
	if len(c.Line.X) == 0 {
		return nil // edits of a circuit that no run has taught yet
	}
	x, y := newPlane(c.Frame).at(g.Lat, g.Lon)
	s, off, ok := c.Line.Project(x, y, g.Heading, math.Pi/3)
	if !ok || math.Abs(off) > 60 {
		return say.Error("the gate does not lie on the circuit in riding direction: nearest is {off} m aside; check lat_deg, lon_deg, heading_deg", fmt.Sprintf("%.0f", math.Abs(off)))
	}
	if math.Abs(math.Remainder(s, c.Line.Length)) < gateSlack {
		return nil
	}
	c.shiftOrigin(s)
	return nil
}

// shiftOrigin puts s = 0 at what was s.
func (c *Circuit) shiftOrigin(s float64) {
	c.Line = c.Line.rotate(s)
	for _, list := range []*[]Turn{&c.Turns, &c.Found} {
		*list = cloneTurns(*list)
		for i := range *list {
			t := &(*list)[i]
			for _, p := range []*float64{&t.From, &t.To, &t.Entry, &t.Apex, &t.Exit} {
				*p = c.Wrap(*p - s)
			}
			for k := range t.Apexes {
				t.Apexes[k] = c.Wrap(t.Apexes[k] - s)
			}
		}
		sort.SliceStable(*list, func(a, b int) bool { return (*list)[a].Apex < (*list)[b].Apex })
	}
	for i := range c.Found {
		c.Found[i].Number = i + 1
	}
}

// pinned is a turn and the number a person gave it, 0 for none.
type pinned struct {
	Turn
	number int
}

// desk is the table on which turns are edited.
type desk struct {
	c     *Circuit
	turns []pinned // by apex
}

// onLap refuses a place that lies beyond the lap: it would be wound round to a
// turn that nobody meant.
func (d *desk) onLap(key string, s float64) error {
	if l := d.c.Line.Length; s < -editSlack || s > l+editSlack {
		return say.Error("{key} = {s} lies outside the lap, which has {l} m", key, fmt.Sprintf("%.0f", s), fmt.Sprintf("%.0f", l))
	}
	return nil
}

// nearest is the turn whose bend holds place s, else the one whose apex is
// nearest within reach; -1 for none. Learning anew moves an apex within its bend.
func (d *desk) nearest(s float64) int {
	best, at := editReach, -1
	for i, t := range d.turns {
		x := math.Abs(math.Remainder(t.Apex-s, d.c.Line.Length))
		if d.c.Wrap(s-t.Entry) < d.c.Wrap(t.Exit-t.Entry) {
			x = 0
		}
		if x < best {
			best, at = x, i
		}
	}
	return at
}

func (d *desk) turn(e TurnEdit) error {
	if err := d.onLap("apex_m", e.ApexM); err != nil {
		return err
	}
	i := d.nearest(e.ApexM)
	if i < 0 {
		return say.Error("no turn lies within {editreach} m of {apexm} m: give the apex as `turns` shows it", fmt.Sprintf("%.0f", editReach), fmt.Sprintf("%.0f", e.ApexM))
	}
	t := &d.turns[i]
	if e.Drop {
		d.turns = slices.Delete(d.turns, i, i+1)
		return nil
	}
	if e.Name != "" {
		t.Name = e.Name
	}
	if e.Kink != nil {
		t.Kink = *e.Kink
	}
	if e.Number > 0 {
		t.number = e.Number
	}
	return nil
}

func (d *desk) merge(e CutEdit) error {
	c := d.c
	if err := errors.Join(d.onLap("from_m", e.FromM), d.onLap("to_m", e.ToM)); err != nil {
		return err
	}
	// What spans more than half of the lap is no turn: the two places are exchanged.
	if c.Wrap(e.ToM-e.FromM) > c.Line.Length/2 {
		return say.Error("from_m = {fromm} to to_m = {tom} goes over the gate and spans more than half of the lap: exchange the two", fmt.Sprintf("%.0f", e.FromM), fmt.Sprintf("%.0f", e.ToM))
	}
	// A turn belongs to it if its apex lies between, or if an end lies well within
	// its bend: learning anew moves the apex of a long one.
	var in []int
	from, span := e.FromM-editSlack, c.Wrap(e.ToM-e.FromM)+2*editSlack
	for i, t := range d.turns {
		length := c.Wrap(t.Exit - t.Entry)
		holds := func(s float64) bool {
			x := c.Wrap(s - t.Entry)
			return x > 0.1*length && x < 0.9*length
		}
		if c.Wrap(t.Apex-from) <= span || holds(e.FromM) || holds(e.ToM) {
			in = append(in, i)
		}
	}
	if len(in) < 2 {
		return say.Error("fewer than two turns have their apex between {fromm} m and {tom} m: nothing to merge", fmt.Sprintf("%.0f", e.FromM), fmt.Sprintf("%.0f", e.ToM))
	}
	sort.Slice(in, func(a, b int) bool {
		return c.Wrap(d.turns[in[a]].Apex-from) < c.Wrap(d.turns[in[b]].Apex-from)
	})
	t := d.turns[in[0]]
	for _, i := range in[1:] {
		o := d.turns[i]
		t.Exit, t.To = o.Exit, o.To
		t.Apexes = append(slices.Clone(t.Apexes), o.Apexes...)
		if o.MinRadius < t.MinRadius {
			t.MinRadius, t.Apex, t.Direction = o.MinRadius, o.Apex, o.Direction
		}
		if t.Name == "" {
			t.Name = o.Name
		}
		t.Kink = t.Kink && o.Kink
	}
	out := d.turns[:0:0]
	for i, o := range d.turns {
		if !slices.Contains(in, i) {
			out = append(out, o)
		}
	}
	d.turns = append(out, t)
	d.sort()
	return nil
}

func (d *desk) split(e SplitAt) error {
	if err := d.onLap("at_m", e.AtM); err != nil {
		return err
	}
	c := d.c
	for i, t := range d.turns {
		length := c.Wrap(t.Exit - t.Entry)
		x := c.Wrap(e.AtM-t.Entry+editSlack) - editSlack
		if x < -editSlack || x > length+editSlack || length < 2*splitRoom {
			continue
		}
		at := c.Wrap(t.Entry + math.Max(splitRoom, math.Min(length-splitRoom, x)))
		a, b := t, t
		a.Exit, a.To, b.Entry, b.From = at, at, at, at
		a.Name, b.Name, b.number = "", "", 0
		kappa := smoothRing(c.Line.Kappa, 6/c.Line.Step)
		a.measure(&c.Line, kappa)
		b.measure(&c.Line, kappa)
		d.turns = append(slices.Delete(d.turns, i, i+1), a, b)
		d.sort()
		return nil
	}
	return say.Error("no bend holds {atm} m: a split must lie between a turn's entry and exit", fmt.Sprintf("%.0f", e.AtM))
}

func (d *desk) sort() {
	sort.SliceStable(d.turns, func(a, b int) bool { return d.turns[a].Apex < d.turns[b].Apex })
}

// numbered counts the turns from the gate, on from each number that a person
// gave, and closes the windows.
func (d *desk) numbered() ([]Turn, error) {
	var out []Turn
	var err error
	next := 1
	seen := map[int]bool{}
	for _, t := range d.turns {
		if t.number > 0 {
			next = t.number
		}
		t.Number = next
		if seen[next] && err == nil {
			err = say.Error("two turns have the number {next}: give each its own", next)
		}
		seen[next] = true
		next++
		out = append(out, t.Turn)
	}
	for i := range out {
		out[i].To = out[(i+1)%len(out)].From
	}
	return out, err
}

// measure finds direction, apex and radius anew between entry and exit.
func (t *Turn) measure(l *Line, kappa []float64) {
	n := len(kappa)
	s := stretch{a: int(l.wrap(t.Entry) / l.Step)}
	s.b = s.a + max(1, int(l.wrap(t.Exit-t.Entry)/l.Step))
	best, at := 0.0, s.a
	for i := s.a; i < s.b; i++ {
		if k := math.Abs(kappa[i%n]); k > best {
			best, at = k, i
		}
	}
	if best == 0 {
		return
	}
	t.Direction, s.sign = Right, 1
	if kappa[at%n] < 0 {
		t.Direction, s.sign = Left, -1
	}
	t.Apex = l.wrap(summit(kappa, at, s, best) * l.Step)
	t.Apexes = []float64{t.Apex}
	t.MinRadius = 1 / best
}

// TOML writes the edits as a file that ParseFile reads.
func (e *Edits) TOML() []byte {
	var b bytes.Buffer
	fmt.Fprintf(&b, "name = %s\n", say.Quote(e.Name))
	if g := e.Gate; g != nil {
		fmt.Fprintf(&b, "\n[gate]\nlat_deg = %.8f\nlon_deg = %.8f\nheading_deg = %.2f\n", g.LatDeg, g.LonDeg, g.HeadingDeg)
		if g.HalfWidthM > 0 {
			fmt.Fprintf(&b, "half_width_m = %g\n", g.HalfWidthM)
		}
	}
	order := func(o int) {
		if o != 0 {
			fmt.Fprintf(&b, "order = %d\n", o)
		}
	}
	for _, m := range e.Cut {
		fmt.Fprintf(&b, "\n[[merge]]\nfrom_m = %.1f\nto_m = %.1f\n", m.FromM, m.ToM)
		order(m.Order)
	}
	for _, s := range e.Add {
		fmt.Fprintf(&b, "\n[[split]]\nat_m = %.1f\n", s.AtM)
		order(s.Order)
	}
	for _, t := range e.Turn {
		fmt.Fprintf(&b, "\n[[turn]]\napex_m = %.1f\n", t.ApexM)
		if t.Number > 0 {
			fmt.Fprintf(&b, "number = %d\n", t.Number)
		}
		if t.Name != "" {
			fmt.Fprintf(&b, "name = %s\n", say.Quote(t.Name))
		}
		if t.Kink != nil {
			fmt.Fprintf(&b, "kink = %t\n", *t.Kink)
		}
		if t.Drop {
			b.WriteString("drop = true\n")
		}
		order(t.Order)
	}
	return b.Bytes()
}
