package circuit

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"cornerwright/internal/say"
)

// The functions below are what a person does to a circuit by hand. Each takes
// the edits that stand so far (nil for none), and returns the circuit as it is
// then and the edits that make it so, or an error that says what is wrong and
// leaves both as they were. Neither the receiver nor e is changed. The edits pin
// the gate, so that their places mean the same after the circuit is learnt anew:
// pass them as Options.Edits, with Options.Gate = edits.GateAt(), and the turns
// come out merged, split, named and numbered as before.
//
//	var e *circuit.Edits                      // or ParseFile of what is stored
//	c, e, err = c.Merge(e, 4, 5)              // turns 4 and 5 are one: a chicane
//	c, e, err = c.Split(e, 7, 1480)           // turn 7 is two bends, parting at 1480 m
//	c, e, err = c.Rename(e, 4, "Old Mill")    // its name on screen and paper
//	c, e, err = c.Renumber(e, 6, 7, true)     // 6 becomes 7, and those after it count on
//	c, e, err = c.MarkKink(e, 3, true)        // taken flat: no brake point expected
//	c, e, err = c.Drop(e, 9)                  // no turn at all
//	c, e, err = c.MoveGate(e, 120)            // s = 0 is where 120 m was
//	e.TOML()                                  // to store; ParseFile reads it back
//	for i, text := range e.List() { ... }     // in words, in order
//	e = e.Without(i); err = c.Apply(e)        // take one back

// Merge makes one turn of those numbered first to last, in riding order (over
// the gate where first comes after last).
func (c *Circuit) Merge(e *Edits, first, last int) (*Circuit, *Edits, error) {
	a, b := c.Turn(first), c.Turn(last)
	if a == nil || b == nil {
		return nil, nil, c.noTurn(first, last)
	}
	if a == b {
		return nil, nil, say.Error("turn {first} cannot be merged with itself: name the first and the last of the turns to join", first)
	}
	return c.with(e, func(n *Edits, order int) {
		n.Cut = append(n.Cut, CutEdit{FromM: a.Apex, ToM: b.Apex, Order: order})
	})
}

// Split parts the turn of that number at place at (m from the gate), which must
// lie between its entry and its exit. Both parts lose the turn's name.
func (c *Circuit) Split(e *Edits, number int, at float64) (*Circuit, *Edits, error) {
	t := c.Turn(number)
	if t == nil {
		return nil, nil, c.noTurn(number)
	}
	length := c.Wrap(t.Exit - t.Entry)
	if x := c.Wrap(at - t.Entry); x < splitRoom || x > length-splitRoom {
		return nil, nil, say.Error("turn {t} bends from {entry} m to {exit} m: a split must lie between, at least {splitroom} m from either end, not at {at} m", t.Label(), fmt.Sprintf("%.0f", t.Entry), fmt.Sprintf("%.0f", t.Exit), fmt.Sprintf("%.0f", splitRoom), fmt.Sprintf("%.0f", at))
	}
	return c.with(e, func(n *Edits, order int) { n.Add = append(n.Add, SplitAt{AtM: at, Order: order}) })
}

// Rename gives the turn of that number a name.
func (c *Circuit) Rename(e *Edits, number int, name string) (*Circuit, *Edits, error) {
	if name == "" {
		return nil, nil, say.Error("turn {number}: the name is empty", number)
	}
	return c.turnEdit(e, number, func(t *TurnEdit) { t.Name = name })
}

// Renumber gives a turn another number. With following, the turns after it count
// on from there; without, they keep theirs.
func (c *Circuit) Renumber(e *Edits, number, to int, following bool) (*Circuit, *Edits, error) {
	if to < 1 {
		return nil, nil, say.Error("a turn cannot have the number {to}: numbers count from 1", to)
	}
	t := c.Turn(number)
	if t == nil {
		return nil, nil, c.noTurn(number)
	}
	next := slices.IndexFunc(c.Turns, func(x Turn) bool { return x.Number == number }) + 1
	return c.with(e, func(n *Edits, order int) {
		if following { // numbers given before to those that follow would stand against it
			for k := next; k < len(c.Turns); k++ {
				for i := range n.Turn {
					if math.Abs(math.Remainder(n.Turn[i].ApexM-c.Turns[k].Apex, c.Line.Length)) < editSlack {
						n.Turn[i].Number = 0
					}
				}
			}
		}
		n.Turn = append(n.Turn, TurnEdit{ApexM: t.Apex, Number: to, Order: order})
		if !following && next < len(c.Turns) {
			n.Turn = append(n.Turn, TurnEdit{ApexM: c.Turns[next].Apex, Number: c.Turns[next].Number, Order: order})
		}
	})
}

// MarkKink tells that a turn is taken (almost) flat, or that it is not.
func (c *Circuit) MarkKink(e *Edits, number int, kink bool) (*Circuit, *Edits, error) {
	return c.turnEdit(e, number, func(t *TurnEdit) { t.Kink = &kink })
}

// Drop strikes a turn that is none: its window goes to the turn before.
func (c *Circuit) Drop(e *Edits, number int) (*Circuit, *Edits, error) {
	if len(c.Turns) == 1 {
		return nil, nil, say.Error("turn {number} is the only one", number)
	}
	return c.turnEdit(e, number, func(t *TurnEdit) { t.Drop = true })
}

// MoveGate puts the start gate at place s (m from the present gate). All places
// change by it: stored results are carried over by Reproject.
func (c *Circuit) MoveGate(e *Edits, s float64) (*Circuit, *Edits, error) {
	if math.IsNaN(s) || math.Abs(s) > c.Line.Length {
		return nil, nil, say.Error("the circuit is {length} m long: the gate cannot be moved by {s} m", fmt.Sprintf("%.0f", c.Line.Length), fmt.Sprintf("%.0f", s))
	}
	n := e.clone()
	x, y, h, _ := c.Line.At(s)
	lat, lon := c.Frame.LatLon(x, y)
	n.Gate = &GateEdit{LatDeg: lat * 180 / math.Pi, LonDeg: lon * 180 / math.Pi, HeadingDeg: compass(h) * 180 / math.Pi, HalfWidthM: c.HalfWidth}
	for i := range n.Cut {
		n.Cut[i].FromM, n.Cut[i].ToM = c.Wrap(n.Cut[i].FromM-s), c.Wrap(n.Cut[i].ToM-s)
	}
	for i := range n.Add {
		n.Add[i].AtM = c.Wrap(n.Add[i].AtM - s)
	}
	for i := range n.Turn {
		n.Turn[i].ApexM = c.Wrap(n.Turn[i].ApexM - s)
	}
	moved := *c
	if moved.Found == nil {
		moved.Found = c.Turns
	}
	moved.shiftOrigin(s)
	moved.Version++
	return moved.applied(n)
}

func (c *Circuit) turnEdit(e *Edits, number int, set func(t *TurnEdit)) (*Circuit, *Edits, error) {
	t := c.Turn(number)
	if t == nil {
		return nil, nil, c.noTurn(number)
	}
	return c.with(e, func(n *Edits, order int) {
		x := TurnEdit{ApexM: t.Apex, Order: order}
		set(&x)
		n.Turn = append(n.Turn, x)
	})
}

// with adds an edit at the end of those that stand.
func (c *Circuit) with(e *Edits, add func(n *Edits, order int)) (*Circuit, *Edits, error) {
	n := e.clone()
	if n.Name == "" {
		n.Name = c.Name
	}
	if n.Gate == nil {
		lat, lon, h := c.Gate()
		n.Gate = &GateEdit{LatDeg: lat * 180 / math.Pi, LonDeg: lon * 180 / math.Pi, HeadingDeg: h * 180 / math.Pi, HalfWidthM: c.HalfWidth}
	}
	order := 0
	for _, op := range n.ops() {
		order = max(order, op.order)
	}
	add(n, order+1)
	return c.applied(n)
}

func (c *Circuit) applied(e *Edits) (*Circuit, *Edits, error) {
	n, errs := c.edited(e)
	if len(errs) > 0 {
		return nil, nil, errs[0]
	}
	return n, e, nil
}

func (c *Circuit) noTurn(numbers ...int) error {
	for _, n := range numbers {
		if c.Turn(n) == nil {
			return say.Error("there is no turn {n} on {name}: it has {turns} turns", n, c.Name, len(c.Turns))
		}
	}
	return nil
}

func (e *Edits) clone() *Edits {
	if e == nil {
		return &Edits{}
	}
	n := *e
	if e.Gate != nil {
		g := *e.Gate
		n.Gate = &g
	}
	n.Turn, n.Cut, n.Add = slices.Clone(e.Turn), slices.Clone(e.Cut), slices.Clone(e.Add)
	return &n
}

// List tells the edits in words, in the order in which they are carried out.
func (e *Edits) List() []say.Text {
	if e == nil {
		return nil
	}
	var out []say.Text
	for _, op := range e.ops() {
		switch op.kind {
		case opMerge:
			m := e.Cut[op.i]
			out = append(out, say.T("turns with their apex from {fromm} m to {tom} m are one", fmt.Sprintf("%.0f", m.FromM), fmt.Sprintf("%.0f", m.ToM)))
		case opSplit:
			out = append(out, say.T("the turn is parted at {atm} m", fmt.Sprintf("%.0f", e.Add[op.i].AtM)))
		case opTurn:
			t := e.Turn[op.i]
			var what []say.Text
			if t.Drop {
				what = append(what, say.T("is none"))
			}
			if t.Name != "" {
				what = append(what, say.T("is called {name}", strconv.Quote(t.Name)))
			}
			if t.Number > 0 {
				what = append(what, say.T("has the number {number}", t.Number))
			}
			if t.Kink != nil && *t.Kink {
				what = append(what, say.T("is a kink"))
			} else if t.Kink != nil {
				what = append(what, say.T("is no kink"))
			}
			out = append(out, say.T("turn at {apexm} m {what}", fmt.Sprintf("%.0f", t.ApexM), say.Join(what, " ")))
		}
	}
	return out
}

// Without is the edits less the one that List shows at i.
func (e *Edits) Without(i int) *Edits {
	n := e.clone()
	ops := n.ops()
	if i < 0 || i >= len(ops) {
		return n
	}
	switch op := ops[i]; op.kind {
	case opMerge:
		n.Cut = slices.Delete(n.Cut, op.i, op.i+1)
	case opSplit:
		n.Add = slices.Delete(n.Add, op.i, op.i+1)
	case opTurn:
		n.Turn = slices.Delete(n.Turn, op.i, op.i+1)
	}
	return n
}

// compass takes a heading into [0, 2 pi).
func compass(h float64) float64 {
	h = math.Mod(h, 2*math.Pi)
	if h < 0 {
		h += 2 * math.Pi
	}
	return h
}
