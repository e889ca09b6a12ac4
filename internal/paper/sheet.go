// Package paper sets the change sheet, the debrief sheet and the day report as
// HTML and as PDF: black and white legible, vector, fonts embedded, the same
// bytes for the same content.
//
// Each kind of paper is one struct with words ready to set; builders make it
// from the domain's values. HTML and PDF are two layouts of the same struct.
package paper

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"
	"time"

	"cornerwright/internal/bike"
	"cornerwright/internal/draw"
	"cornerwright/internal/rehearsal"
	"cornerwright/internal/say"
	"cornerwright/internal/setting"
	"cornerwright/internal/verdict"
)

// Fact is a label and its value.
type Fact struct{ Name, Value string }

// ChangeSheet is what the licensed technician is handed: one step, in one slot,
// with the reference slot left as it is.
type ChangeSheet struct {
	Title     string
	Date      time.Time // of the step; sets the document's date too
	Facts     []Fact    // circuit, meeting, bike, rider, sheets, step
	Setting   setting.Setting
	Slot      string
	Reference string
	Old, New  setting.Values
	Changed   []string // one a cell, in words: "40 deg x 100 km/h: 8 → 9 %"
	Reason    string
	Remark    string // the rider's words
	Finding   string
	Expect    string
	JudgedBy  string
	Dwell     [][]float64 // s a lap, from the footprint; nil where there is none
	Use       []string    // where on the lap the cells are used
	Cautions  []string
	Guards    []setting.GuardResult
	Overrules []setting.Overrule
	Plan      []string // lines of the plan's card
	Table     string   // values to type from
	// Sums of the values as text, to be compared with the sheet the bike was
	// read back to: reference slot, trial slot before and after.
	ReferenceSum, TrialSumOld, TrialSumNew string
	OldNumber, NewNumber                   int
	Others                                 []string // settings of the slot that stay as they are
}

// Input of a change sheet. Only Bike, Step and From are needed.
type Input struct {
	Bike      *bike.Bike
	From      setting.Sheet
	To        setting.Sheet // zero: the step applied to From
	Step      setting.Step
	Guards    []setting.GuardResult
	Rehearsal *rehearsal.Rehearsal
	Plan      *verdict.Plan
	Remark    string // the rider's words
	Finding   string
	Expect    string
	Cautions  []string // beside those that the setting asks for
	Facts     []Fact   // circuit, meeting, rider, run
	Date      time.Time
}

// safety lists what a setting acts on that touches traction, engine braking,
// wheel lift or brakes. A setting that is not in the list of harmless ones is
// taken as one that does.
var harmless = map[string]bool{"gearing": true, "shift-light": true, "pit-speed": true, "dash": true}

// Cautions that stand wherever such a change is decided.
func Cautions(s *setting.Setting, reference string) []say.Text {
	if s != nil && harmless[s.ActsOn()] {
		return nil
	}
	return []say.Text{
		say.T("Closed circuit only. One step at a time."),
		say.T("Warm tyres first; build up over several laps before riding at the pace of the reference."),
		say.T("The reference slot {slot} stays unchanged: go back to it with the bar switch at any doubt.", reference),
		say.T("Values are loaded only by those licensed and equipped for it, with the manufacturer's own equipment. This sheet changes nothing on the bike by itself."),
		say.T("The manufacturer's limits, the circuit's rules and local law come first."),
	}
}

// NewChangeSheet builds the sheet. It errs where the step does not fit the
// sheet it starts from.
func NewChangeSheet(in Input) (*ChangeSheet, error) {
	if in.Bike == nil {
		return nil, fmt.Errorf("change sheet: no bike given")
	}
	s := in.Bike.Setting(in.Step.Setting)
	if s == nil {
		return nil, fmt.Errorf("change sheet: bike %q has no setting %q", in.Bike.Name, in.Step.Setting)
	}
	to := in.To
	if to.Slots == nil {
		var err error
		if to, err = setting.Apply(in.From, in.Step); err != nil {
			return nil, fmt.Errorf("change sheet: %w", err)
		}
	}
	ref := in.Bike.Slots.Reference
	c := &ChangeSheet{
		Title: fmt.Sprintf("Change sheet · step %d", in.Step.ID), Date: in.Date, Setting: *s,
		Slot: in.Step.Slot, Reference: ref,
		Old: in.From.Values(in.Step.Slot, s.ID), New: to.Values(in.Step.Slot, s.ID),
		Reason: in.Step.Reason, Remark: in.Remark, Finding: in.Finding, Expect: in.Expect,
		Guards: in.Guards, Overrules: in.Step.Overrules,
		ReferenceSum: in.From.Checksum(ref), TrialSumOld: in.From.Checksum(in.Step.Slot), TrialSumNew: to.Checksum(in.Step.Slot),
		OldNumber: in.From.Number, NewNumber: to.Number,
	}
	if in.Step.ID == 0 {
		c.Title = "Change sheet · proposal"
	}
	if c.Old == nil || c.New == nil {
		return nil, fmt.Errorf("change sheet: slot %s has no values of %s", in.Step.Slot, s.ID)
	}
	if a, b := in.From.Checksum(ref), to.Checksum(ref); a != b {
		return nil, fmt.Errorf("change sheet: the reference slot %s would change (%s to %s); a step may touch the trial slot only", ref, a, b)
	}
	c.Table = setting.FormatTable(s, c.New)
	for _, x := range in.Step.Cells {
		c.Changed = append(c.Changed, fmt.Sprintf("%s: %s → %s %s", s.CellName(x.Row, x.Column), setting.Number(x.Old), setting.Number(x.New), s.Unit))
	}
	c.Facts = append(c.Facts, Fact{"bike", in.Bike.Name})
	c.Facts = append(c.Facts, in.Facts...)
	c.Facts = append(c.Facts,
		Fact{"sheets", fmt.Sprintf("from no. %d to no. %s", in.From.Number, orDash(to.Number))},
		Fact{"slot to load", in.Step.Slot + " (trial)"},
		Fact{"slot to leave", ref + " (reference)"},
		Fact{"setting", s.ID + ", " + s.Unit})
	if in.Step.Primary.Measure != "" {
		c.JudgedBy = judged(in.Step.Primary)
	}
	if r := in.Rehearsal; r != nil {
		c.Dwell = Dwell(r.Footprint, c.Old)
		c.Use = say.Strings(UseLines(r.Footprint, 8))
		own := say.Strings(Cautions(s, ref))
		for _, x := range r.Cautions {
			// The rehearsal's general cautions say what the sheet's own say already.
			if len(own) > 0 && slices.Contains(rehearsal.Cautions, x) {
				continue
			}
			c.Cautions = append(c.Cautions, sentence(x))
		}
	}
	if in.Plan != nil {
		c.Plan = say.Strings(in.Plan.Lines)
	}
	c.Cautions = merge(say.Strings(Cautions(s, ref)), c.Cautions, in.Cautions)
	var ids []string
	for id := range to.Slots[in.Step.Slot] {
		if id != s.ID {
			ids = append(ids, id)
		}
	}
	sort.Strings(ids)
	c.Others = ids
	return c, nil
}

func judged(p setting.Primary) string {
	where := "the whole lap"
	if p.Turn > 0 {
		where = fmt.Sprintf("turn %d", p.Turn)
	}
	s := fmt.Sprintf("%s at %s", p.Measure, where)
	if p.Expect != "" {
		s += ", hoped to be " + p.Expect
	}
	if p.Matters > 0 {
		s += fmt.Sprintf("; differences below %s do not matter", setting.Number(p.Matters))
	}
	return s
}

func orDash(n int) string {
	if n == 0 {
		return "–"
	}
	return fmt.Sprint(n)
}

func sentence(s string) string {
	s = strings.TrimSpace(s)
	if s == "" {
		return s
	}
	r := []rune(s)
	out := strings.ToUpper(string(r[:1])) + string(r[1:])
	if !strings.HasSuffix(out, ".") {
		out += "."
	}
	return out
}

func merge(lists ...[]string) []string {
	var out []string
	seen := map[string]bool{}
	for _, l := range lists {
		for _, s := range l {
			s = sentence(s)
			if k := strings.ToLower(s); s != "" && !seen[k] {
				seen[k] = true
				out = append(out, s)
			}
		}
	}
	return out
}

// Dwell arranges a footprint's cells as the values are, s a lap.
func Dwell(f rehearsal.Footprint, v setting.Values) [][]float64 {
	if len(f.Cells) == 0 {
		return nil
	}
	out := make([][]float64, len(v))
	for i := range v {
		out[i] = make([]float64, len(v[i]))
	}
	for _, c := range f.Cells {
		if c.Row < len(out) && c.Column < len(out[c.Row]) && c.Row >= 0 && c.Column >= 0 {
			out[c.Row][c.Column] = c.Dwell
		}
	}
	return out
}

// UseLines says where on the lap a footprint lies, most used first.
func UseLines(f rehearsal.Footprint, most int) []say.Text {
	if f.Cannot != "" {
		return []say.Text{say.T("Where the cells are used cannot be said: {why}.", say.Key(f.Cannot))}
	}
	var out []say.Text
	for i, u := range f.Uses {
		if i == most {
			out = append(out, say.T("and {places} places more", len(f.Uses)-most))
			break
		}
		where := say.T("between turns")
		if u.Turn > 0 {
			where = say.T("turn {turn}", u.Turn)
		}
		if u.Phase != "" {
			where += " " + say.Key(phase(string(u.Phase)))
		}
		out = append(out, say.T("{place}: {dwell} s a lap, {share} % of the use, on {laps} of {all} laps", where, fmt.Sprintf("%.2f", u.Dwell), fmt.Sprintf("%.0f", 100*u.Share), u.Laps, f.Laps))
	}
	if len(out) == 0 {
		out = append(out, say.T("The changed cells were not used on the recorded laps."))
	}
	return out
}

func phase(p string) string {
	if p == "pickup" {
		return "pick-up"
	}
	return p
}

// PDF sets the sheet.
func (c *ChangeSheet) PDF(size Size) ([]byte, error) {
	p := newPDF(size, c.Title, c.footer(), c.Date)
	p.para(margin, p.width(), c.Title, draw.Text{Size: 6.4, Bold: true})
	p.para(margin, p.width(), c.headline(), draw.Text{Size: 3.8})
	p.y += 1.5
	p.rule(0.6)
	p.y += 2
	p.facts(c.Facts, 4)

	h := 6.0
	for _, s := range c.Cautions {
		h += p.tall(p.width()-10, s, draw.Text{Size: 3}) + 0.2
	}
	p.need(h + 2)
	p.y += 1
	top := p.y
	p.y += 1.6
	p.para(margin+3, p.width()-6, "Before loading", draw.Text{Size: 3.1, Bold: true})
	for _, s := range c.Cautions {
		p.Text(draw.Point{X: margin + 3, Y: p.y + 3}, "!", draw.Text{Size: 3, Ink: draw.Dark, Bold: true})
		p.para(margin+6.5, p.width()-10, s, draw.Text{Size: 3})
	}
	p.y += 1.2
	p.Rect(margin, top, p.width(), p.y-top, draw.Pen{Ink: draw.Dark, Width: 0.5}, draw.None)
	p.y += 1

	p.head("Why")
	if c.Remark != "" {
		p.para(margin, p.width(), "Rider: “"+c.Remark+"”", draw.Text{Italic: true})
	}
	if c.Finding != "" {
		p.para(margin, p.width(), "Data: "+c.Finding, draw.Text{})
	}
	p.para(margin, p.width(), c.Reason, draw.Text{})
	if c.Expect != "" {
		p.para(margin, p.width(), "Expected: "+c.Expect, draw.Text{})
	}
	if c.JudgedBy != "" {
		p.para(margin, p.width(), "Judged by "+c.JudgedBy+".", draw.Text{})
	}

	p.valuesPDF(c)

	p.head("Change, cell by cell")
	p.columns(c.Changed, 2)
	if len(c.Use) > 0 {
		p.head("Where the cells are used")
		p.columns(c.Use, 2)
	}
	p.head("Guards")
	p.guards(c.Guards, c.Overrules)
	if len(c.Plan) > 0 {
		p.head("Plan of the next run")
		for _, l := range c.Plan {
			p.para(margin, p.width(), l, draw.Text{Size: 2.9})
		}
	}
	p.need(14 + 5*float64(strings.Count(c.Table, "\n")))
	p.head("Values to type from: " + c.Setting.ID + ", slot " + c.Slot + ", " + c.Setting.Unit)
	p.typed(c)
	p.head("Leave as it is")
	p.para(margin, p.width(), fmt.Sprintf("Reference slot %s: unchanged, checksum %s.", c.Reference, c.ReferenceSum), draw.Text{Bold: true})
	p.para(margin, p.width(), fmt.Sprintf("Slot %s before: checksum %s; after: %s. %s", c.Slot, c.TrialSumOld, c.TrialSumNew, c.othersLine()), draw.Text{})
	p.boxes([]string{"engineer: decided", "rider: understood", "technician: loaded and read back"})
	return p.bytes()
}

func (c *ChangeSheet) headline() string {
	return fmt.Sprintf("%s, slot %s: %s changed. Slot %s stays.", c.Setting.ID, c.Slot, count(len(c.Changed), "value"), c.Reference)
}

func (c *ChangeSheet) othersLine() string {
	if len(c.Others) == 0 {
		return ""
	}
	return "All other settings of the slot stay: " + strings.Join(c.Others, ", ") + "."
}

func (c *ChangeSheet) footer() string {
	return fmt.Sprintf("%s · slot %s · sheet %d to %s · closed circuit only · loaded by licensed persons only", c.Title, c.Slot, c.OldNumber, orDash(c.NewNumber))
}

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// valuesPDF sets old and new side by side where they fit, else one under the
// other; changed cells are framed.
func (p *pdf) valuesPDF(c *ChangeSheet) {
	cols := 0
	for _, r := range c.Old {
		cols = max(cols, len(r))
	}
	side := cols <= 6 && c.Setting.Kind == setting.Grid
	w := p.width()
	if side {
		w = (p.width() - 5) / 2
	}
	probe := draw.NewSVG(w, 10)
	h := draw.Cells(probe, c.Setting, c.Old, draw.CellsOptions{Width: w, Decimals: -1, New: c.New})
	if side {
		p.head("Old and new values, " + c.Setting.Unit)
		p.need(h + 5)
		y := p.y
		p.Text(draw.Point{X: margin, Y: y + 3}, fmt.Sprintf("old, sheet %d", c.OldNumber), draw.Text{Size: 2.9, Ink: draw.Dark})
		p.Text(draw.Point{X: margin + w + 5, Y: y + 3}, fmt.Sprintf("new, sheet %s (changed cells framed)", orDash(c.NewNumber)), draw.Text{Size: 2.9, Ink: draw.Dark, Bold: true})
		p.at(margin, y+4, func() {
			draw.Cells(p, c.Setting, c.Old, draw.CellsOptions{Width: w, Decimals: -1, Dwell: c.Dwell, Tall: true})
		})
		p.at(margin+w+5, y+4, func() {
			h = draw.Cells(p, c.Setting, c.Old, draw.CellsOptions{Width: w, Decimals: -1, New: c.New})
		})
		p.y = y + 4 + h
		if c.Dwell != nil {
			p.para(margin, p.width(), "Bars under the old values: time spent in the cell on the recorded laps.", draw.Text{Size: 2.6, Ink: draw.Soft})
		}
		return
	}
	p.head("Old → new values, " + c.Setting.Unit + " (changed cells framed)")
	p.need(h + 2)
	p.at(margin, p.y, func() {
		h = draw.Cells(p, c.Setting, c.Old, draw.CellsOptions{Width: w, Decimals: -1, New: c.New, Dwell: c.Dwell})
	})
	p.y += h
}

// columns sets short lines in columns.
func (p *pdf) columns(list []string, n int) {
	w := p.width()/float64(n) - 2
	for i := 0; i < len(list); i += n {
		h := 0.0
		row := list[i:min(i+n, len(list))]
		for _, s := range row {
			h = math.Max(h, p.tall(w, s, draw.Text{Size: 3}))
		}
		p.need(h)
		y := p.y
		for k, s := range row {
			p.y = y
			p.para(margin+float64(k)*(w+2), w, s, draw.Text{Size: 3})
		}
		p.y = y + h
	}
}

func (p *pdf) guards(list []setting.GuardResult, over []setting.Overrule) {
	by := map[string]setting.Overrule{}
	for _, o := range over {
		by[o.Guard] = o
	}
	passed := []string{}
	for _, g := range list {
		o, named := by[g.Guard]
		switch {
		case g.Pass && !named:
			passed = append(passed, g.Guard)
		case named:
			p.para(margin, p.width(), fmt.Sprintf("OVERRULED %s by %s: %s. (%s)", g.Guard, o.Who, strings.TrimSuffix(o.Reason, "."), g.Reason), draw.Text{Bold: true})
		default:
			p.para(margin, p.width(), fmt.Sprintf("STANDS IN THE WAY %s: %s. %s", g.Guard, g.Reason, g.Mend), draw.Text{Bold: true})
		}
	}
	switch {
	case len(passed) > 0:
		p.para(margin, p.width(), "Passed: "+strings.Join(passed, ", ")+".", draw.Text{Size: 3})
	case len(list) == 0:
		p.para(margin, p.width(), "No guards were asked for this sheet.", draw.Text{Bold: true})
	}
}

// typed sets the values as a table to type from, in the fixed-width face.
func (p *pdf) typed(c *ChangeSheet) {
	lines := strings.Split(strings.TrimRight(c.Table, "\n"), "\n")
	var cells [][]string
	n := 0
	for _, l := range lines {
		f := strings.Split(l, "\t")
		n = max(n, len(f))
		cells = append(cells, f)
	}
	t := draw.Text{Size: 3.1, Ink: draw.Dark, Mono: true}
	first := 0.0
	for _, r := range cells {
		first = math.Max(first, p.Width(r[0], draw.Text{Size: 2.5, Mono: true})+2)
	}
	first = math.Min(first, p.width()*0.4)
	w := math.Min((p.width()-first)/math.Max(1, float64(n-1)), 20)
	p.need(float64(len(cells)) * 5.2)
	for i, r := range cells {
		for j, s := range r {
			tt := t
			x := margin
			if j > 0 {
				x = margin + first + float64(j)*w - 2
				tt.Anchor = draw.End
			} else {
				tt.Size = 2.5
			}
			if i == 0 {
				tt.Ink = draw.Soft
			}
			p.Text(draw.Point{X: x, Y: p.y + 3.6}, s, tt)
		}
		p.y += 5
		p.Path([]draw.Point{{X: margin, Y: p.y}, {X: margin + first + float64(n-1)*w, Y: p.y}}, false, draw.Pen{Ink: draw.Faint, Width: 0.15}, draw.None)
	}
	p.y += 1
}
