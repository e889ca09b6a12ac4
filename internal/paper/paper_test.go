package paper

import (
	"bytes"
	"compress/zlib"
	"flag"
	"io"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"cornerwright/internal/bike"
	"cornerwright/internal/circuit"
	"cornerwright/internal/debrief"
	"cornerwright/internal/draw"
	"cornerwright/internal/rehearsal"
	"cornerwright/internal/say"
	"cornerwright/internal/setting"
)

var update = flag.Bool("update", false, "write the golden files anew")

// artefacts is where pictures for looking at go; git ignores it.
const artefacts = "../../artefacts"

func keep(t *testing.T, name string, b []byte) {
	t.Helper()
	if os.Getenv("CORNERWRIGHT_ARTEFACTS") == "" {
		return
	}
	if err := os.MkdirAll(artefacts, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(artefacts, name), b, 0o644); err != nil {
		t.Fatal(err)
	}
}

func demoBike() *bike.Bike {
	grid := setting.Values{{6, 6, 5, 5, 4}, {7, 7, 6, 5, 5}, {8, 8, 7, 6, 5}, {8, 8, 7, 6, 5}, {7, 7, 6, 5, 5}, {6, 6, 5, 5, 4}}
	return &bike.Bike{Name: "Heron 998", Slots: bike.Slots{Reference: "A", Trial: "B"},
		Settings: []setting.Setting{
			{ID: "slip-target", Unit: "%", Kind: setting.Grid,
				Rows:    setting.Axis{Channel: "lean", Unit: "deg", Points: []float64{0, 15, 30, 40, 48, 56}},
				Columns: setting.Axis{Channel: "speed", Unit: "km/h", Points: []float64{60, 100, 140, 180, 230}},
				Range:   [2]float64{1, 20}, LargestStep: 1, More: "freer"},
			{ID: "engine-brake", Unit: "%", Kind: setting.List, By: "gear", Range: [2]float64{20, 100}, LargestStep: 10},
		},
		First: map[string]map[string]setting.Values{
			"A": {"slip-target": grid.Clone(), "engine-brake": {{50, 50, 60, 60, 70, 70}}},
			"B": {"slip-target": grid.Clone(), "engine-brake": {{50, 50, 60, 60, 70, 70}}},
		}}
}

func input() Input {
	b := demoBike()
	from := setting.NewSheet(b.Name, b.First)
	from.Number = 1
	f := rehearsal.Footprint{Setting: "slip-target", Laps: 9}
	for i := range 6 {
		for j := range 5 {
			f.Cells = append(f.Cells, rehearsal.CellUse{Row: i, Column: j, Dwell: math.Max(0, 1.4-0.5*math.Abs(float64(i)-3)-0.4*math.Abs(float64(j)-1.5)), Laps: 9})
		}
	}
	f.Uses = []rehearsal.Use{{Turn: 5, Phase: circuit.PhasePickup, Dwell: 0.62, Share: 0.41, Laps: 9}, {Turn: 2, Phase: circuit.PhasePickup, Dwell: 0.31, Share: 0.2, Laps: 8}}
	return Input{Bike: b, From: from,
		Step: setting.Step{ID: 3, From: 1, To: 2, Slot: "B", Setting: "slip-target",
			Cells:     []setting.Cell{{Row: 3, Column: 1, Old: 8, New: 9}, {Row: 3, Column: 2, Old: 7, New: 8}, {Row: 4, Column: 1, Old: 7, New: 8}, {Row: 4, Column: 2, Old: 6, New: 7}},
			Reason:    "The controller cuts 0.6 s a lap in turn 5 while the bike is picked up, on 7 of 9 laps, with less slip than the target allows elsewhere.",
			Overrules: []setting.Overrule{{Guard: "weather-noted", Who: "M. Okafor", Reason: "dry all day, seen by all"}},
			Primary:   setting.Primary{Turn: 5, Measure: "exit", Expect: "less", Matters: 0.03}},
		Guards: []setting.GuardResult{{Guard: "range", Pass: true, Reason: "all within 1 to 20 %"}, {Guard: "largest-step", Pass: true, Reason: "1 of 1 %"},
			{Guard: "weather-noted", Reason: "nobody noted the weather", Mend: "note it with the run"}},
		Rehearsal: &rehearsal.Rehearsal{Footprint: f, Cautions: []string{"more slip at 40 to 48 deg of lean is to be expected in turn 2 as well"}},
		Remark:    "out of five it holds me back until I'm nearly upright",
		Finding:   "agrees, 7 of 9 laps: torque is cut for 0.58 s (0.44 to 0.71) while picking up",
		Expect:    "0.2 to 0.4 s less cut in turn 5",
		Facts:     []Fact{{"circuit", "Larkmoor"}, {"day", "14 May 2026"}, {"rider", "Jo Venn"}, {"run", "3"}},
		Date:      time.Date(2026, 5, 14, 11, 20, 0, 0, time.UTC)}
}

func loop() *circuit.Circuit {
	n := 1200
	c := &circuit.Circuit{Name: "Larkmoor", Line: circuit.Line{X: make([]float64, n), Y: make([]float64, n)}}
	for i := range n {
		a := 2 * math.Pi * float64(i) / float64(n)
		r := 420 + 150*math.Cos(2*a) + 70*math.Sin(3*a) + 40*math.Cos(5*a)
		c.Line.X[i], c.Line.Y[i] = r*math.Sin(a)*1.35, r*math.Cos(a)
	}
	for i := range n {
		j := (i + 1) % n
		c.Line.Length += math.Hypot(c.Line.X[j]-c.Line.X[i], c.Line.Y[j]-c.Line.Y[i])
	}
	c.Line.Step = c.Line.Length / float64(n)
	for k := range 9 {
		s := (float64(k) + 0.6) / 9 * c.Line.Length
		d := circuit.Right
		if k%3 == 2 {
			d = circuit.Left
		}
		c.Turns = append(c.Turns, circuit.Turn{Number: k + 1, Direction: d, From: s - 150, Entry: s - 50, Apex: s, Exit: s + 60, To: s + 200})
	}
	return c
}

func debriefSheet() *DebriefSheet {
	r := &debrief.Result{Run: 1, Laps: 9, Next: "r1", Why: "it costs the most and one bounded change answers it",
		Notes: []say.Text{"Lean comes from gyros and path; the rear tyre's crown radius is identified within 2 mm."},
		Findings: []debrief.Finding{
			{ID: "r1", Remark: 1, Turn: 5, Phase: circuit.PhasePickup, Stance: debrief.Agrees, Seen: 7, Of: 9, Laps: "7 of 9", Text: "Torque is cut for 0.58 s (0.44 to 0.71) while picking up.",
				Proposals: []debrief.Proposal{{Kind: debrief.ChangeSetting, Title: "slip-target, slot B: +1 % in 4 cells (40..48 deg x 100..140 km/h)", Why: "the cut sits in these cells", Expect: "less cut in turn 5", Watch: "slip in turn 2", Cautions: []say.Text{"warm tyres"}}}},
			{ID: "r2", Remark: 2, Turn: 2, Phase: circuit.PhaseEntry, Stance: debrief.Contradicts, Seen: 1, Of: 9, Laps: "1 of 9", Text: "The rear wheel is not pushed on after the downshift.", Proposals: []debrief.Proposal{{Kind: debrief.Nothing, Title: "change nothing"}}},
		},
		Unasked: []debrief.Finding{{ID: "u1", Turn: 7, Phase: circuit.PhaseBrake, Seen: 9, Of: 9, Text: "Downshift 4 to 3 is blipped 900 1/min too high.", Proposals: []debrief.Proposal{{Kind: debrief.Technique, Title: "less blip by hand into turn 7"}}}},
	}
	var laps []circuit.Lap
	for i := range 12 {
		k, slot := circuit.TimedLap, "A"
		if i == 0 {
			k = circuit.OutLap
		}
		if i > 6 {
			slot = "B"
		}
		laps = append(laps, circuit.Lap{Number: i + 1, Kind: k, Start: 0, End: 95.2 + 0.3*math.Sin(float64(i)*2), Slot: slot})
	}
	s := NewDebriefSheet(r, []debrief.Remark{{ID: 1, Words: "out of five it holds me back"}, {ID: 2, Words: "pushes me on into two"}}, loop(), laps, "B")
	s.Title, s.Lead = "Debrief · run 1", "Larkmoor, 14 May 2026, Heron 998"
	s.Facts = []Fact{{"laps", "11 timed"}, {"best", "1:34.901"}, {"tyre", "rear, 8 laps old"}, {"weather", "22 °C, dry"}}
	s.Date = time.Date(2026, 5, 14, 11, 20, 0, 0, time.UTC)
	return s
}

func dayReport() *DayReport {
	return &DayReport{Title: "Day report · Larkmoor, 14 May 2026", Lead: "Heron 998, Jo Venn; 3 runs", Date: time.Date(2026, 5, 14, 18, 0, 0, 0, time.UTC),
		Facts:    []Fact{{"best lap", "1:34.901"}},
		Runs:     []RunLine{{"1", "9", "1:34.901", "1:35.220", "rear new, dry", "–"}, {"3", "16", "1:34.512", "1:34.980", "rear 25 laps, dry", "step 3: slip-target, slot B"}},
		Verdicts: []VerdictLine{{"Step 3: better", "Turn 5 exit is 0.09 s (0.05 to 0.13) faster with slot B, 8 against 8 laps."}},
		Effects:  []draw.IntervalRow{{Name: "step 3, turn 5 exit", Value: -0.09, Lo: -0.13, Hi: -0.05, Matters: 0.03, Answer: "better", Primary: true}},
		Unit:     "s", Remarks: []string{"run 1, turn 5 pick-up: “holds me back”"}, Open: []string{"Step 4 is loaded and has no verdict yet."}}
}

// pdfText returns the drawing commands of all pages.
func pdfText(t *testing.T, b []byte) string {
	t.Helper()
	var all strings.Builder
	for _, m := range regexp.MustCompile(`(?s)stream\r?\n(.*?)endstream`).FindAllSubmatch(b, -1) {
		z, err := zlib.NewReader(bytes.NewReader(m[1]))
		if err != nil {
			continue
		}
		s, _ := io.ReadAll(z)
		if !bytes.HasPrefix(s, []byte{0, 1, 0, 0}) {
			all.Write(s)
		}
	}
	return all.String()
}

func TestPapersAreDeterministicVectorAndEmbedFonts(t *testing.T) {
	make3 := func(s Size) map[string][]byte {
		c, err := NewChangeSheet(input())
		if err != nil {
			t.Fatal(err)
		}
		out := map[string][]byte{}
		for name, f := range map[string]func(Size) ([]byte, error){"change": c.PDF, "debrief": debriefSheet().PDF, "day": dayReport().PDF} {
			b, err := f(s)
			if err != nil {
				t.Fatal(err)
			}
			out[name] = b
		}
		return out
	}
	for _, s := range []Size{A4, Letter} {
		one, two := make3(s), make3(s)
		for name, b := range one {
			// What is drawn must be the same each time; a checksum inside the embedded
			// font, which the library writes, is not always.
			if pdfText(t, b) != pdfText(t, two[name]) {
				t.Errorf("%s %s: two renderings differ", name, s.Name)
			}
			if !bytes.HasPrefix(b, []byte("%PDF-")) || bytes.Contains(b, []byte("/Subtype /Image")) {
				t.Errorf("%s: not a PDF, or it holds a raster picture", name)
			}
			if !bytes.Contains(b, []byte("/FontFile2")) {
				t.Errorf("%s: no font is embedded", name)
			}
			// No colour: PDF colour operators with three unlike components.
			for _, m := range regexp.MustCompile(`(?m)^([\d.]+) ([\d.]+) ([\d.]+) (rg|RG)`).FindAllStringSubmatch(pdfText(t, b), -1) {
				if m[1] != m[2] || m[2] != m[3] {
					t.Errorf("%s: colour %v on a black and white paper", name, m[0])
				}
			}
			keep(t, name+"-"+s.Name+".pdf", b)
		}
	}
}

func TestChangeSheetSaysWhatMustBeSaid(t *testing.T) {
	c, err := NewChangeSheet(input())
	if err != nil {
		t.Fatal(err)
	}
	h, err := c.HTML("")
	if err != nil {
		t.Fatal(err)
	}
	keep(t, "change.html", h)
	ref := input().From.Checksum("A")
	for _, want := range []string{"Closed circuit only", "One step at a time", "Warm tyres", "manufacturer", "licensed", "local law",
		"Reference slot A: unchanged, checksum " + ref, "technician", "engineer", "rider: understood", "8 → 9", "M. Okafor", "dry all day",
		"out of five it holds me back", "slip-target, slot B: 4 values changed", "engine-brake"} {
		if !strings.Contains(string(h), want) {
			t.Errorf("the sheet does not say %q", want)
		}
	}
	if c.TrialSumOld == c.TrialSumNew {
		t.Error("the trial slot's checksum did not change with its values")
	}
	if got := strings.Count(string(h), `stroke-width="0.6"`); got != 4 {
		t.Errorf("%d framed cells, want 4", got)
	}
}

func TestChangeSheetRefuses(t *testing.T) {
	cases := []struct {
		name string
		mod  func(*Input)
		want string
	}{
		{"no bike", func(i *Input) { i.Bike = nil }, "no bike"},
		{"unknown setting", func(i *Input) { i.Step.Setting = "wings" }, `no setting "wings"`},
		{"stale step", func(i *Input) { i.Step.Cells[0].Old = 5 }, "make the step anew"},
		{"reference touched", func(i *Input) { i.Step.Slot = "A" }, "reference slot A would change"},
	}
	for _, c := range cases {
		in := input()
		c.mod(&in)
		_, err := NewChangeSheet(in)
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: got %v, want an error with %q", c.name, err, c.want)
		}
	}
}

func TestMarkupIsText(t *testing.T) {
	in := input()
	evil := `<script>alert(1)</script>"'&`
	in.Remark, in.Step.Reason, in.Facts[0].Value = evil, evil, evil
	in.Bike.Name = evil
	in.From.Bike = evil
	c, err := NewChangeSheet(in)
	if err != nil {
		t.Fatal(err)
	}
	h, err := c.HTML("")
	if err != nil {
		t.Fatal(err)
	}
	d := debriefSheet()
	d.Flags[0].Words = evil
	d.Remarks[0].Words = evil
	h2, err := d.HTML("")
	if err != nil {
		t.Fatal(err)
	}
	for _, b := range [][]byte{h, h2} {
		if bytes.Contains(b, []byte("<script")) {
			t.Error("markup in a person's words came through as markup")
		}
	}
	if _, err := c.PDF(A4); err != nil {
		t.Error(err)
	}
}

// The golden files hold what people read, with numbers rounded by the layout.
func TestGolden(t *testing.T) {
	c, err := NewChangeSheet(input())
	if err != nil {
		t.Fatal(err)
	}
	for name, f := range map[string]func(string) ([]byte, error){"change": c.HTML, "debrief": debriefSheet().HTML, "day": dayReport().HTML} {
		got, err := f("paper.css")
		if err != nil {
			t.Fatal(err)
		}
		path := filepath.Join("testdata", name+".html")
		if *update {
			if err := os.MkdirAll("testdata", 0o755); err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(path, got, 0o644); err != nil {
				t.Fatal(err)
			}
			continue
		}
		want, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(got, want) {
			t.Errorf("%s differs from %s; look at it, then run go test -update", name, path)
		}
	}
}

func TestLongAndForeignText(t *testing.T) {
	in := input()
	in.Remark = strings.Repeat("Übersteuern am Ausgang, žádný grip, Καμπή, поворот. ", 40)
	in.Step.Reason = strings.Repeat("x", 700)
	c, err := NewChangeSheet(in)
	if err != nil {
		t.Fatal(err)
	}
	b, err := c.PDF(Letter)
	if err != nil {
		t.Fatal(err)
	}
	if n := bytes.Count(b, []byte("/Type /Page\n")); n < 2 {
		t.Errorf("%d pages; long text must run on to the next", n)
	}
}

func BenchmarkChangeSheetPDF(b *testing.B) {
	c, err := NewChangeSheet(input())
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if _, err := c.PDF(A4); err != nil {
			b.Fatal(err)
		}
	}
}
