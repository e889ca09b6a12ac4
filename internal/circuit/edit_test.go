package circuit_test

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"cornerwright/internal/circuit"
	"cornerwright/internal/proving"
)

// Everything a person does on the page, one after the other; then the circuit is
// learnt anew from another day with the stored file alone, and must come out the
// same.
func TestEditsSurviveLearningAnew(t *testing.T) {
	for ci := range 3 {
		found := locate(t, run(ci, 1, nil), nil).Circuit
		c := found
		n := len(c.Turns)
		var e *circuit.Edits
		step := func(what string) func(*circuit.Circuit, *circuit.Edits, error) {
			return func(nc *circuit.Circuit, ne *circuit.Edits, err error) {
				t.Helper()
				if err != nil {
					t.Fatalf("%s: %s: %v", found.Name, what, err)
				}
				c, e = nc, ne
			}
		}
		a, b := *c.Turn(3), *c.Turn(4)
		step("merge")(c.Merge(e, 3, 4))
		if len(c.Turns) != n-1 || c.Turn(3).Entry != a.Entry || c.Turn(3).Exit != b.Exit {
			t.Fatalf("merge: %d turns of %d, %+v", len(c.Turns), n, c.Turn(3))
		}
		long := 0 // the longest bend that is not the merged one
		for i, x := range c.Turns {
			if x.Number != 3 && (long == 0 && i == 0 || c.Wrap(x.Exit-x.Entry) > c.Wrap(c.Turns[long].Exit-c.Turns[long].Entry)) {
				long = i
			}
		}
		x := c.Turns[long]
		step("split")(c.Split(e, x.Number, c.Wrap(x.Entry+0.5*c.Wrap(x.Exit-x.Entry))))
		if len(c.Turns) != n {
			t.Fatalf("split: %d turns", len(c.Turns))
		}
		step("rename")(c.Rename(e, 2, "Old Mill"))
		step("renumber")(c.Renumber(e, n, 20, false))
		step("kink")(c.MarkKink(e, 1, true))
		step("drop")(c.Drop(e, n-1))
		old := c
		step("gate")(c.MoveGate(e, 37))
		if d := math.Abs(math.Remainder(c.Reproject(500, old)-463, c.Line.Length)); d > 0.5 {
			t.Errorf("moving the gate by 37 m carries 500 m to 463 m but for %.2f m", d)
		}
		step("gate back")(c.MoveGate(e, -37))

		file, err := circuit.ParseFile("c.toml", e.TOML())
		if err != nil {
			t.Fatal(err)
		}
		again, err := circuit.Locate(proving.Recording(run(ci, 2, nil)), nil, circuit.Options{Edits: file})
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range again.Problems {
			t.Errorf("%s: %s", found.Name, p.Text)
		}
		same(t, again.Circuit, c, 25)

		// Twice is once, in place too, and all taken back is what was found.
		twice := *c
		if err := twice.Apply(e); err != nil {
			t.Fatal(err)
		}
		same(t, &twice, c, 1e-9)
		all := e
		for len(all.List()) > 0 {
			all = all.Without(len(all.List()) - 1)
		}
		if err := twice.Apply(all); err != nil {
			t.Fatal(err)
		}
		same(t, &twice, found, 2)
	}
}

func same(t *testing.T, got, want *circuit.Circuit, within float64) {
	t.Helper()
	if len(got.Turns) != len(want.Turns) {
		t.Fatalf("%s: %d turns, want %d", want.Name, len(got.Turns), len(want.Turns))
	}
	for i, g := range got.Turns {
		w := want.Turns[i]
		if g.Number != w.Number || g.Name != w.Name || g.Kink != w.Kink || g.Direction != w.Direction {
			t.Errorf("%s: turn %d %q kink %v %s, want %d %q %v %s", want.Name, g.Number, g.Name, g.Kink, g.Direction, w.Number, w.Name, w.Kink, w.Direction)
		}
		if d := math.Abs(math.Remainder(g.Apex-w.Apex, want.Line.Length)); d > within {
			t.Errorf("%s turn %d: apex %.1f m off", want.Name, w.Number, d)
		}
	}
}

func TestEditMistakes(t *testing.T) {
	c := locate(t, run(0, 1, nil), nil).Circuit
	n := len(c.Turns)
	for _, x := range []struct {
		name, want string
		do         func() (*circuit.Circuit, *circuit.Edits, error)
	}{
		{"no such turn", "there is no turn 99", func() (*circuit.Circuit, *circuit.Edits, error) { return c.Merge(nil, 1, 99) }},
		{"itself", "with itself", func() (*circuit.Circuit, *circuit.Edits, error) { return c.Merge(nil, 2, 2) }},
		{"outside", "a split must lie between", func() (*circuit.Circuit, *circuit.Edits, error) { return c.Split(nil, 1, c.Turn(1).Exit+20) }},
		{"number taken", "two turns have the number 3", func() (*circuit.Circuit, *circuit.Edits, error) { return c.Renumber(nil, 1, 3, false) }},
		{"number zero", "count from 1", func() (*circuit.Circuit, *circuit.Edits, error) { return c.Renumber(nil, 1, 0, true) }},
		{"no name", "empty", func() (*circuit.Circuit, *circuit.Edits, error) { return c.Rename(nil, 1, "") }},
		{"gate too far", "cannot be moved", func() (*circuit.Circuit, *circuit.Edits, error) { return c.MoveGate(nil, 1e6) }},
	} {
		nc, ne, err := x.do()
		if err == nil || nc != nil || ne != nil || !strings.Contains(err.Error(), x.want) {
			t.Errorf("%s: %v", x.name, err)
		}
	}
	if len(c.Turns) != n || c.Found != nil {
		t.Error("a mistake changed the circuit")
	}
	if err := c.Apply(&circuit.Edits{Cut: []circuit.CutEdit{{FromM: c.Turn(1).Apex + 20, ToM: c.Turn(1).Apex + 21}}}); err == nil || !strings.Contains(err.Error(), "nothing to merge") {
		t.Errorf("merge of nothing: %v", err)
	}
	for _, x := range []struct {
		e    circuit.Edits
		want string
	}{
		{circuit.Edits{Turn: []circuit.TurnEdit{{ApexM: c.Turn(1).Apex, Name: "Quarry"}, {ApexM: c.Line.Length + 400}}}, "outside the lap"},
		{circuit.Edits{Add: []circuit.SplitAt{{AtM: -400}}}, "outside the lap"},
		{circuit.Edits{Cut: []circuit.CutEdit{{FromM: c.Turn(3).Apex, ToM: c.Turn(2).Apex}}}, "exchange the two"},
	} {
		var ee *circuit.EditError
		if err := c.Apply(&x.e); !errors.As(err, &ee) || !strings.Contains(err.Error(), x.want) || len(x.e.Turn) > 0 && ee.Index != 1 {
			t.Errorf("%+v: %v", x.e, err)
		}
	}
	for text, line := range map[string]int{"name = \"X\"\n[[turn]]\nname = \"A\"\n": 2, "name = \"X\"\n[[turn]]\napex_m = 3\n\n[[turn]]\nnumber = 2\n": 5, "name = \"X\"\n[[merge]]\nfrom_m = 2\n": 2} {
		var fe *circuit.FileError
		if _, err := circuit.ParseFile("x.toml", []byte(text)); !errors.As(err, &fe) || fe.Line != line || !strings.Contains(fe.Text.String(), "does not say where") {
			t.Errorf("%q: %v", text, err)
		}
	}
	if err := c.Apply(&circuit.Edits{Gate: &circuit.GateEdit{LatDeg: 10, LonDeg: 10}}); err == nil || !strings.Contains(err.Error(), "gate") {
		t.Errorf("gate elsewhere: %v", err)
	}
}

// Numbering on from a turn leaves none out and none twice.
func TestRenumberFollowing(t *testing.T) {
	c := locate(t, run(1, 1, nil), nil).Circuit
	c2, e, err := c.Renumber(nil, 3, 4, true)
	if err != nil {
		t.Fatal(err)
	}
	got := ""
	for _, x := range c2.Turns {
		got += fmt.Sprint(x.Number, " ")
	}
	if !strings.HasPrefix(got, "1 2 4 5 6 ") {
		t.Errorf("numbers %s", got)
	}
	c3, _, err := c2.Renumber(e, 4, 3, true)
	if err != nil {
		t.Fatal(err)
	}
	same(t, c3, c, 1e-9)
}
