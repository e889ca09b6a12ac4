package draw

import (
	"encoding/xml"
	"fmt"
	"io"
	"math"
	"strings"
	"testing"

	"cornerwright/internal/circuit"
	"cornerwright/internal/say"
	"cornerwright/internal/setting"
)

// recorder is a Canvas that keeps the calls.
type recorder struct {
	paths []struct {
		p   []Point
		pen Pen
	}
	rects []struct {
		x, y, w, h float64
		pen        Pen
		fill       Ink
	}
	circles []Point
	texts   []struct {
		at Point
		s  string
		t  Text
	}
	links, titles []string
}

func (r *recorder) Path(p []Point, closed bool, pen Pen, fill Ink) {
	r.paths = append(r.paths, struct {
		p   []Point
		pen Pen
	}{append([]Point(nil), p...), pen})
}
func (r *recorder) Rect(x, y, w, h float64, pen Pen, fill Ink) {
	r.rects = append(r.rects, struct {
		x, y, w, h float64
		pen        Pen
		fill       Ink
	}{x, y, w, h, pen, fill})
}
func (r *recorder) Circle(c Point, _ float64, _ Pen, fill Ink) {
	if fill != Clear {
		r.circles = append(r.circles, c)
	}
}
func (r *recorder) Text(at Point, s string, t Text) {
	r.texts = append(r.texts, struct {
		at Point
		s  string
		t  Text
	}{at, say.Text(s).String(), t})
}
func (r *recorder) Width(s string, t Text) float64 { return 0.6 * t.Size * float64(len([]rune(s))) }
func (r *recorder) Link(href, _ string, f func())  { r.links = append(r.links, href); f() }
func (r *recorder) Titled(s string, f func())      { r.titles = append(r.titles, s); f() }

func (r *recorder) says(s string) (Point, bool) {
	for _, t := range r.texts {
		if t.s == s {
			return t.at, true
		}
	}
	return Point{}, false
}

// round is a circular lap ridden clockwise, gate in the north.
func round(turns int) *circuit.Circuit {
	const n, r = 720, 300.0
	c := &circuit.Circuit{Line: circuit.Line{X: make([]float64, n), Y: make([]float64, n), Length: 2 * math.Pi * r, Step: 2 * math.Pi * r / n}}
	for i := range n {
		a := 2 * math.Pi * float64(i) / n
		c.Line.X[i], c.Line.Y[i] = r*math.Sin(a), r*math.Cos(a)
	}
	for k := range turns {
		c.Turns = append(c.Turns, circuit.Turn{Number: k + 1, Direction: circuit.Right, Apex: (float64(k) + 0.5) / float64(turns) * c.Line.Length})
	}
	return c
}

func TestMapPutsTurnNumbersOutsideTheLine(t *testing.T) {
	r := &recorder{}
	c := round(9)
	Map(r, c, MapOptions{Width: 120, Height: 120, TurnHref: func(n int) string { return fmt.Sprintf("/t/%d", n) }})
	p, _ := Project(c, 120, 120)
	edge, _ := p.At(0)
	radius := math.Hypot(edge.X-60, edge.Y-60)
	for k := 1; k <= 9; k++ {
		at, ok := r.says(fmt.Sprint(k))
		if !ok {
			t.Fatalf("no number for turn %d", k)
		}
		if d := math.Hypot(at.X-60, at.Y-60); d < radius {
			t.Errorf("turn %d: number at %.1f mm from the middle, inside the line (%.1f)", k, d, radius)
		}
		apex, _ := p.At(c.Turns[k-1].Apex)
		if d := math.Hypot(at.X-apex.X, at.Y-apex.Y); d > 14 {
			t.Errorf("turn %d: number %.1f mm away from its apex", k, d)
		}
	}
	if len(r.links) != 9 {
		t.Errorf("%d links, want 9", len(r.links))
	}
}

func TestFootprintIsTheLineMadeThicker(t *testing.T) {
	r := &recorder{}
	Map(r, round(4), MapOptions{Width: 100, Height: 100, Uses: []Use{{From: 100, To: 200, Share: 0.7}, {From: 1800, To: 60, Share: 0.1}}})
	var w []float64
	for _, p := range r.paths {
		if p.pen.Ink == Accent {
			w = append(w, p.pen.Width)
			for i := 1; i < len(p.p); i++ {
				if math.Hypot(p.p[i].X-p.p[i-1].X, p.p[i].Y-p.p[i-1].Y) > 2 {
					t.Error("a footprint over the gate jumps across the map")
				}
			}
		}
	}
	if len(w) != 2 || !(w[0] > w[1] && w[1] > 0.5) {
		t.Errorf("widths %v: more use must be thicker, and both thicker than the line", w)
	}
}

func TestNorthIsUpAndEastIsRight(t *testing.T) {
	p, ok := Project(round(1), 100, 100)
	if !ok {
		t.Fatal("no projection")
	}
	north, _ := p.At(0)
	east, dir := p.At(300 * math.Pi / 2)
	if !(north.Y < 50 && math.Abs(north.X-50) < 0.1 && east.X > 50 && math.Abs(east.Y-50) < 0.1 && dir.Y > 0.99) {
		t.Errorf("north %v, east %v, riding %v", north, east, dir)
	}
}

func TestCellsFrameOnlyWhatChanges(t *testing.T) {
	s := setting.Setting{ID: "slip-target", Unit: "%", Kind: setting.Grid, Rows: setting.Axis{Channel: "lean", Unit: "deg", Points: []float64{0, 40}},
		Columns: setting.Axis{Channel: "speed", Unit: "km/h", Points: []float64{60, 100, 140}}}
	old := setting.Values{{8, 8.5, 9}, {5, 5, 6}}
	now := old.Clone()
	now[1][2] = 6.5
	r := &recorder{}
	Cells(r, s, old, CellsOptions{Width: 120, New: now, Decimals: -1, Dwell: [][]float64{{0, 1, 2}, {0, 0, 4}}})
	frames := 0
	for _, q := range r.rects {
		if q.fill == None && q.pen.Width > 0.5 {
			frames++
		}
	}
	if frames != 1 {
		t.Errorf("%d frames, want 1", frames)
	}
	if _, ok := r.says("6.0 → 6.5"); !ok {
		t.Error("the changed cell does not say old, arrow, new with one count of decimals")
	}
	if _, ok := r.says("8.5"); !ok {
		t.Error("an unchanged cell lost its value")
	}
	var bars []float64
	for _, q := range r.rects {
		if q.fill == Soft {
			bars = append(bars, q.w)
		}
	}
	if len(bars) != 3 || math.Abs(bars[2]/bars[0]-4) > 1e-9 {
		t.Errorf("bars %v: three, in proportion to the time", bars)
	}
	Cells(&recorder{}, s, setting.Values{{1}, {}}, CellsOptions{Width: 50, New: setting.Values{{2}}, Dwell: [][]float64{{math.NaN()}}, Decimals: -1})
}

func TestIntervalsShareOneAxis(t *testing.T) {
	r := &recorder{}
	rows := []IntervalRow{{Name: "turn 5", Value: -0.09, Lo: -0.13, Hi: -0.05, Matters: 0.03, Answer: "better", Primary: true},
		{Name: "turn 2", Value: 0.09, Lo: 0.05, Hi: 0.13, Matters: 0.03}, {Name: "turn 3", Value: math.NaN(), Lo: math.NaN(), Hi: math.NaN()}}
	Intervals(r, rows, IntervalOptions{Width: 150, Unit: "s", Less: "quicker", More: "slower"})
	zero, _ := r.says("0.00")
	if _, ok := r.says("withheld"); !ok {
		t.Error("a row without a value must say so")
	}
	if len(r.circles) != 1 {
		t.Fatalf("%d hollow marks, want one", len(r.circles))
	}
	trial := r.rects[len(r.rects)-1]
	if l, h := zero.X-(trial.x+trial.w/2), r.circles[0].X-zero.X; math.Abs(l-h) > 1e-9 || l <= 0 {
		t.Errorf("equal effects lie %.3f and %.3f mm from zero", l, h)
	}
}

func TestStripBreaksAtGapsAndKeepsInside(t *testing.T) {
	r := &recorder{}
	x := []float64{0, 1, 2, 3, 4}
	Strip(r, []Band{{circuit.PhaseBrake, 0, 2}, {circuit.PhaseEntry, 2, 4}}, []Panel{{Name: "speed", Unit: "km/h", Series: []Series{{X: x, Y: []float64{100, math.NaN(), 90, 300, -50}, Look: Trial}}, From: 0, To: 200}, {Name: "cut"}},
		StripOptions{Width: 120})
	if _, ok := r.says("brake"); !ok {
		t.Error("a phase has no name")
	}
	if _, ok := r.says("cut: not recorded"); !ok {
		t.Error("a missing channel is not told")
	}
	for _, p := range r.paths {
		if p.pen.Ink != Accent {
			continue
		}
		if !math.IsNaN(p.p[1].Y) {
			t.Error("a gap was bridged")
		}
		for _, q := range p.p {
			if q.Y < 6.5-0.01 || q.Y > 6.5+17+0.01 {
				t.Errorf("value drawn outside its panel at %v", q)
			}
		}
	}
}

func TestLooksDifferInShapeNotOnlyInHue(t *testing.T) {
	seen := map[string]Look{}
	for l := Reference; l <= Struck; l++ {
		p := l.Pen()
		k := fmt.Sprint(p.Width, p.Dash)
		if o, dup := seen[k]; dup {
			t.Errorf("looks %d and %d have one shape of line", o, l)
		}
		seen[k] = l
	}
}

func TestTicks(t *testing.T) {
	for _, c := range []struct {
		from, to float64
		max      int
		want     string
	}{
		{0, 10, 5, "[0 5 10] 0"}, {-0.13, 0.13, 5, "[-0.1 -0.05 0 0.05 0.1] 2"}, {92.31, 92.44, 4, "[92.35 92.4] 2"}, {5, 5, 3, "[5] 0"}, {math.NaN(), 1, 3, "[] 0"},
	} {
		at, d := Ticks(c.from, c.to, c.max)
		for i := range at {
			at[i] = math.Round(at[i]*1e9) / 1e9
		}
		if got := fmt.Sprint(at, " ", d); strings.ReplaceAll(got, "  ", " ") != c.want {
			t.Errorf("Ticks(%v, %v, %d) = %s, want %s", c.from, c.to, c.max, got, c.want)
		}
	}
}

func TestNumbersForPeople(t *testing.T) {
	for _, c := range []struct{ got, want string }{
		{Number(-0.0001, 2), "0.00"}, {Number(-1.25, 1), "−1.2"}, {Signed(0.08, 2), "+0.08"}, {Signed(0.001, 2), "0.00"}, {Number(math.NaN(), 2), "–"},
		{LapTime(94.9996, 3), "1:35.000"}, {LapTime(59.9996, 3), "1:00.000"}, {LapTime(61.005, 2), "1:01.01"}, {LapTime(7.5, 1), "7.5"}, {LapTime(-0.3, 1), "−0.3"},
	} {
		if c.got != c.want {
			t.Errorf("got %q, want %q", c.got, c.want)
		}
	}
}

func TestSVGIsWellFormedAndEscapes(t *testing.T) {
	evil := `</text><script>alert("x")</script>&'`
	s := NewSVG(100, 100)
	c := round(3)
	c.Turns[0].Name = evil
	Map(s, c, MapOptions{Width: 100, Height: 100, Flags: []Flag{{S: 10, Number: "1", Words: evil, Href: "javascript:alert(1)"}}, TurnHref: func(int) string { return "//evil.example/" }})
	out := string(Said([]byte(s.HTML("map", say.Plain(evil), say.Plain(evil))), say.English{}))
	if strings.Contains(out, "<script") || strings.Contains(out, "javascript:") || strings.Contains(out, "evil.example") {
		t.Error("markup or a foreign link came through")
	}
	d := xml.NewDecoder(strings.NewReader(out))
	for {
		_, err := d.Token()
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatalf("not well formed: %v", err)
		}
	}
	if strings.Contains(out, "style=") {
		t.Error("a style attribute is refused by the page's content policy")
	}
}

func TestEmptyFiguresSayWhatIsMissing(t *testing.T) {
	for name, f := range map[string]func(Canvas) float64{
		"no circuit line": func(c Canvas) float64 { Map(c, &circuit.Circuit{}, MapOptions{Width: 80, Height: 60}); return 1 },
		"no values":       func(c Canvas) float64 { return Cells(c, setting.Setting{}, nil, CellsOptions{Width: 50}) },
		"no timed lap":    func(c Canvas) float64 { return Laps(c, nil, 80) },
		"no turns yet":    func(c Canvas) float64 { return Multiples(c, nil, MultiplesOptions{Width: 80}) },
		"no lap covers this turn": func(c Canvas) float64 {
			return Strip(c, nil, nil, StripOptions{Width: 80})
		},
	} {
		r := &recorder{}
		if h := f(r); !(h > 0) {
			t.Errorf("%s: height %v", name, h)
		}
		if _, ok := r.says(name); !ok {
			t.Errorf("the empty figure does not say %q", name)
		}
	}
}

func TestMultiplesKeepOneScaleDespiteASpoiltLap(t *testing.T) {
	r := &recorder{}
	v := []float64{5.1, 5.2, 5.0, 5.15, 5.1, 25}
	Multiples(r, []Dots{{Name: "turn 1", Values: v}, {Name: "turn 2", Values: []float64{7.1, 7.2, 7.0, 7.15, 7.1, 7.2}}}, MultiplesOptions{Width: 100, Unit: "s", Decimals: 2, About: true})
	a, b := r.circles[0].Y-r.circles[1].Y, r.circles[6].Y-r.circles[7].Y
	if math.Abs(a-b) > 1e-9 || math.Abs(a) < 1 {
		t.Errorf("the same 0.1 s is %.2f mm and %.2f mm", a, b)
	}
}
