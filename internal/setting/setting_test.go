package setting

import (
	"errors"
	"math"
	"strings"
	"testing"
	"testing/quick"
)

// grid is the slip-target grid that the tests share.
func grid() *Setting {
	return &Setting{ID: "slip-target", Unit: "%", Kind: Grid, Range: [2]float64{1, 20}, LargestStep: 1,
		Rows:    Axis{Channel: "lean", Unit: "deg", Points: []float64{0, 15, 30, 40, 48, 56}},
		Columns: Axis{Channel: "speed", Unit: "km/h", Points: []float64{60, 100, 140, 180, 230}}}
}

func gridValues() Values {
	return Values{
		{12, 11.5, 11, 10.5, 10}, {10.5, 10, 9.5, 9, 8.5}, {8.5, 8, 7.5, 7, 6.5},
		{7, 6.5, 6, 5.5, 5.5}, {5.5, 5.5, 5, 5, 4.5}, {5, 4.5, 4.5, 4, 4},
	}
}

func engineBrake() *Setting {
	return &Setting{ID: "engine-brake", Unit: "%", Kind: List, By: "gear", Range: [2]float64{20, 100}, LargestStep: 10}
}

func sheetOf() Sheet {
	return NewSheet("Heron", map[string]map[string]Values{
		"A": {"slip-target": gridValues(), "engine-brake": {{50, 50, 60, 60, 70, 70}}},
		"B": {"slip-target": gridValues(), "engine-brake": {{50, 50, 60, 60, 70, 70}}},
	})
}

// Bilinear interpolation on the unit square: f(x,y) = f00(1-x)(1-y) + f10 x(1-y)
// + f01 (1-x)y + f11 xy (any numerical-analysis text).
func TestValueInterpolates(t *testing.T) {
	s, v := grid(), gridValues()
	for _, c := range []struct{ lean, speed, want float64 }{
		{40, 140, 6},    // on a point
		{44, 140, 5.5},  // half-way between rows
		{40, 120, 6.25}, // half-way between columns
		{44, 120, (6.5 + 6 + 5.5 + 5) / 4},
		{-10, 10, 12},   // held at the corner
		{80, 400, 4},    // held at the other
		{52, 300, 4.25}, // held in speed, between rows
	} {
		if got := s.Value(v, c.lean, c.speed); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("value at %g deg, %g km/h = %g, want %g", c.lean, c.speed, got, c.want)
		}
	}
	if got := engineBrake().Value(Values{{50, 55}}, 0, 2); got != 55 {
		t.Errorf("list in gear 2 = %g, want 55", got)
	}
}

func TestWeightsSumToOneAndReproduce(t *testing.T) {
	s, v := grid(), gridValues()
	check := func(a, b float64) bool {
		lean, speed := math.Mod(math.Abs(a), 90), math.Mod(math.Abs(b), 350)
		sum, val := 0.0, 0.0
		for _, w := range s.Weights(lean, speed) {
			sum += w.W
			val += w.W * v[w.Row][w.Column]
		}
		return math.Abs(sum-1) < 1e-12 && math.Abs(val-s.Value(v, lean, speed)) < 1e-12
	}
	if err := quick.Check(check, nil); err != nil {
		t.Error(err)
	}
}

func TestAxisFromSI(t *testing.T) {
	for _, c := range []struct {
		unit     string
		si, want float64
	}{{"deg", math.Pi / 4, 45}, {"km/h", 10, 36}, {"mph", 0.44704, 1}, {"%", 0.05, 5}, {"bar", 2e5, 2}, {"rad", 1, 1}} {
		if got := (Axis{Unit: c.unit}).FromSI(c.si); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("%g SI in %s = %g, want %g", c.si, c.unit, got, c.want)
		}
	}
	if !math.IsNaN((Axis{Unit: "furlong"}).FromSI(1)) {
		t.Error("an unknown unit must give no number")
	}
}

func TestApplyLeavesTheOldSheet(t *testing.T) {
	a := sheetOf()
	a.Number = 4
	step := Step{Slot: "B", Setting: "engine-brake", Cells: []Cell{{0, 1, 50, 60}}, To: 5}
	b, err := Apply(a, step)
	if err != nil {
		t.Fatal(err)
	}
	if b.Number != 5 || b.Parent != 4 {
		t.Errorf("new sheet is %d from %d, want 5 from 4", b.Number, b.Parent)
	}
	if got := a.Slots["B"]["engine-brake"][0][1]; got != 50 {
		t.Errorf("the old sheet now holds %g", got)
	}
	d := Diff(a, b)
	if len(d) != 1 || d[0] != (Difference{"B", "engine-brake", 0, 1, 50, 60}) {
		t.Errorf("difference = %+v", d)
	}
	if a.Checksum("A") != b.Checksum("A") {
		t.Error("the reference slot's fingerprint changed")
	}
	if a.Checksum("B") == b.Checksum("B") {
		t.Error("the trial slot's fingerprint did not change")
	}
	back, err := Apply(b, Step{Slot: "B", Setting: "engine-brake", Cells: []Cell{{0, 1, 60, 50}}})
	if err != nil || len(Diff(a, back)) != 0 {
		t.Errorf("there and back: %v, %v", err, Diff(a, back))
	}
	h := History([]Sheet{a, b, back}, "B", "engine-brake", 0, 1)
	if len(h) != 3 || h[1].Value != 60 || h[1].Sheet != 5 {
		t.Errorf("history = %+v", h)
	}
}

func TestApplyRefuses(t *testing.T) {
	for name, c := range map[string]struct {
		step Step
		want string
	}{
		"slot":        {Step{Slot: "C", Setting: "engine-brake", Cells: []Cell{{0, 1, 50, 60}}}, `no slot "C"`},
		"setting":     {Step{Slot: "B", Setting: "brake", Cells: []Cell{{0, 1, 50, 60}}}, `no setting "brake"`},
		"cell":        {Step{Slot: "B", Setting: "engine-brake", Cells: []Cell{{0, 9, 50, 60}}}, "no row 1, column 10"},
		"other sheet": {Step{Slot: "B", Setting: "engine-brake", Cells: []Cell{{0, 1, 40, 60}}}, "make the step anew"},
		"twice":       {Step{Slot: "B", Setting: "engine-brake", Cells: []Cell{{0, 1, 50, 60}, {0, 1, 50, 70}}}, "changed twice"},
		"empty":       {Step{Slot: "B", Setting: "engine-brake"}, "changes no cell"},
		"no number":   {Step{Slot: "B", Setting: "engine-brake", Cells: []Cell{{0, 1, 50, math.NaN()}}}, "no number"},
	} {
		if _, err := Apply(sheetOf(), c.step); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", name, err, c.want)
		}
	}
}

func TestChecksumIsOfTheNumbers(t *testing.T) {
	a, b := Values{{1, 2}, {3, 0}}, Values{{1.0, 2.0}, {3, math.Copysign(0, -1)}}
	if checksum(a) != checksum(b) {
		t.Error("the same numbers differ")
	}
	if checksum(a) == checksum(Values{{1, 2, 3, 0}}) {
		t.Error("another shape is the same")
	}
}

func TestTableRoundTrip(t *testing.T) {
	for _, s := range []*Setting{grid(), engineBrake(), {ID: "wheel-lift", Unit: "deg", Kind: Scalar, Range: [2]float64{0.5, 12}}} {
		v := map[Kind]Values{Grid: gridValues(), List: {{50, 50, 60, 60, 70, 70}}, Scalar: {{4}}}[s.Kind]
		text := FormatTable(s, v)
		got, err := ParseTable(s, 6, text)
		if err != nil {
			t.Errorf("%s: %v\n%s", s.ID, err, text)
			continue
		}
		if checksum(got) != checksum(v) {
			t.Errorf("%s: got %v, want %v", s.ID, got, v)
		}
	}
}

func TestParseTableTakesWhatPeoplePaste(t *testing.T) {
	small := &Setting{ID: "slip-target", Unit: "%", Kind: Grid, Range: [2]float64{1, 20},
		Rows: Axis{"lean", "deg", []float64{0, 30}}, Columns: Axis{"speed", "km/h", []float64{60, 100, 140}}}
	want := checksum(Values{{12, 11.5, 11}, {8.5, 8, 7.5}})
	for name, text := range map[string]string{
		"bare tabs":       "12\t11.5\t11\n8.5\t8\t7.5\n",
		"decimal commas":  "12,0;11,5;11,0\n8,5;8,0;7,5",
		"commas in tabs":  "12,0\t11,5\t11,0\r\n8,5\t8,0\t7,5\r\n",
		"blanks":          "  12 11,5 11\n 8,5 8 7,5",
		"comma separated": "12, 11.5, 11\n8.5, 8, 7.5",
		"axes":            "lean [deg] \\ speed [km/h]\t60\t100\t140\n0\t12\t11.5\t11\n30\t8.5\t8\t7.5",
		"upright bars":    "| lean | 60 | 100 | 140 |\n|---|---|---|---|\n| 0 | 12 | 11.5 | 11 |\n| 30 | 8.5 | 8 | 7.5 |",
		"units":           "12 %\t11.5 %\t11 %\n8.5%\t8%\t7.5%",
		"comment":         "# from the bike\n\n12\t11.5\t11\n8.5\t8\t7.5",
	} {
		v, err := ParseTable(small, 0, text)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if checksum(v) != want {
			t.Errorf("%s: got %v", name, v)
		}
	}
}

func TestParseTableSaysWhereAndHow(t *testing.T) {
	small := &Setting{ID: "slip-target", Unit: "%", Kind: Grid, Range: [2]float64{1, 20},
		Rows: Axis{"lean", "deg", []float64{0, 30}}, Columns: Axis{"speed", "km/h", []float64{60, 100, 140}}}
	for name, c := range map[string]struct {
		text         string
		line, column int
		what, mend   string
	}{
		"hole":           {"12\t\t11\n8.5\t8\t7.5", 1, 4, "hole at lean 0 deg, speed 100 km/h", "copy the bike's present value"},
		"dash":           {"12\t11\t11\n8.5\t-\t7.5", 2, 5, "hole at lean 30 deg, speed 100 km/h", "every cell"},
		"short row":      {"12 11 11\n8.5 8", 2, 6, "2 values found", "needs"},
		"long row":       {"12\t11\t11\t10\t9\n8.5\t8\t7.5", 1, 10, "5 values found", "every cell"},
		"missing row":    {"12\t11\t11", 1, 1, "1 rows of values", "one row for each lean point"},
		"share":          {"0.12\t11\t11\n8.5\t8\t7.5", 1, 1, "outside the range", "perhaps 12 % is meant"},
		"unit of a cell": {"12\t11 mm\t11\n8.5\t8\t7.5", 1, 4, "wrong unit", "give the value in %"},
		"unit of axis":   {"lean [rad] \\ speed [km/h]\t60\t100\t140\n0\t12\t11.5\t11\n30\t8.5\t8\t7.5", 1, 1, "lean axis is in rad", "in deg"},
		"other points":   {"lean\t60\t110\t140\n0\t12\t11.5\t11\n30\t8.5\t8\t7.5", 1, 9, "column 2 is for speed", "order"},
		"word":           {"12\televen\t11\n8.5\t8\t7.5", 1, 4, "not a number", "12.5 or 12,5"},
		"empty":          {"\n\n", 1, 1, "empty", "2 rows of 3"},
		"row point":      {"0\t12\t11.5\t11\n35\t8.5\t8\t7.5", 2, 1, "row 2 is for lean", "order"},
	} {
		_, err := ParseTable(small, 0, c.text)
		var e *TableError
		if !errors.As(err, &e) {
			t.Errorf("%s: error is %v", name, err)
			continue
		}
		if e.Line != c.line || e.Column != c.column || !strings.Contains(e.Text, c.what) && !strings.Contains(e.Mend, c.what) || !strings.Contains(e.Mend+e.Text, c.mend) {
			t.Errorf("%s: got %v, want %d:%d with %q and %q", name, e, c.line, c.column, c.what, c.mend)
		}
	}
}

func FuzzParseTable(f *testing.F) {
	f.Add("12\t11\t11\n8.5\t8\t7.5")
	f.Add("lean [deg] \\ speed [km/h]\t60\t100\t140\n0\t12\t11.5\t11\n30\t8.5\t8\t7.5")
	f.Add("|a|b|\n;;,,\t-")
	small := &Setting{ID: "x", Unit: "%", Kind: Grid, Range: [2]float64{1, 20},
		Rows: Axis{"lean", "deg", []float64{0, 30}}, Columns: Axis{"speed", "km/h", []float64{60, 100, 140}}}
	f.Fuzz(func(t *testing.T, text string) {
		v, err := ParseTable(small, 6, text)
		if err == nil {
			if bad := small.Check(v, 6); len(bad) > 0 {
				t.Fatalf("accepted %q: %v", text, bad)
			}
			again, err := ParseTable(small, 6, FormatTable(small, v))
			if err != nil {
				t.Fatalf("printed table is not read: %v", err)
			}
			_ = again
		}
		_, _ = ParseTable(engineBrake(), 6, text)
	})
}

func TestParseChange(t *testing.T) {
	find := func(id string) *Setting {
		for _, s := range []*Setting{grid(), engineBrake(), {ID: "wheel-lift", Unit: "deg", Kind: Scalar, Range: [2]float64{0.5, 12}}} {
			if s.ID == id {
				return s
			}
		}
		return nil
	}
	for text, want := range map[string]string{
		"B:slip-target[40..48, 100..140] +1":   "4 by 1",
		"B:slip-target[40-48 deg, 100] +0,5 %": "2 by 0.5",
		"B:slip-target[*, 230]-1":              "6 by -1",
		"B:engine-brake[2] +10 %":              "1 by 10",
		"B:engine-brake[2..4]=55":              "3 to",
	} {
		c, err := ParseChange(text, find)
		if err != nil {
			t.Errorf("%s: %v", text, err)
			continue
		}
		step, err := c.Propose(find(c.Setting), sheetOf())
		if err != nil {
			t.Errorf("%s: %v", text, err)
			continue
		}
		n, _, _ := strings.Cut(want, " ")
		if got := len(step.Cells); Number(float64(got)) != n {
			t.Errorf("%s changes %d cells, want %s: %+v", text, got, want, step.Cells)
		}
		if !c.Exact && math.Abs(step.Cells[0].New-step.Cells[0].Old-c.By) > 1e-9 {
			t.Errorf("%s: %+v", text, step.Cells[0])
		}
	}
	for text, want := range map[string]string{
		"slip-target[45,110]+1":           "the slot is missing",
		"B:slip-targe[45,110]+1":          `no setting "slip-targe"`,
		"B:engine-brake[2] +10 deg":       "in %, not in deg",
		"B:engine-brake[x] +10":           "not a gear",
		"B:slip-target[45 +1":             "not closed",
		"B:slip-target[45..50] +1":        "rows (lean) and columns (speed)",
		"B:slip-target[45..50, 80] +rich": "not an amount",
	} {
		if _, err := ParseChange(text, find); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v, want %q", text, err, want)
		}
	}
	c, err := ParseChange("B:slip-target[41..47, 100] +1", find)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := c.Propose(grid(), sheetOf()); err == nil || !strings.Contains(err.Error(), "the points are 0, 15, 30") {
		t.Errorf("a stretch between two points: %v", err)
	}
	c = Change{Slot: "B", Setting: "slip-target", Rows: &Band{48, 48}, Columns: &Band{140, 140}, By: 1, Taper: true}
	cells, err := c.Cells(grid(), gridValues())
	if err != nil || len(cells) != 5 {
		t.Errorf("tapered: %d cells, %v", len(cells), err)
	}
}

func TestNumber(t *testing.T) {
	for x, want := range map[float64]string{7.000000000000001: "7", 0.1: "0.1", -2.5: "-2.5", 14300: "14300", 0: "0", 1e-7: "0.0000001"} {
		if got := Number(x); got != want {
			t.Errorf("Number(%v) = %q, want %q", x, got, want)
		}
	}
}

// checksum tells values apart as the checksum of a slot does.
func checksum(v Values) string {
	return Sheet{Slots: map[string]map[string]Values{"A": {"x": v}}}.Checksum("A")
}
