// Package paper sets the change sheet, the debrief sheet and the day report as
// HTML and as PDF: black and white legible, vector, fonts embedded, the same
// bytes for the same content.
//
// Each kind of paper is one struct with words ready to set; builders make it
// from the domain's values. HTML and PDF are two layouts of the same struct.
package paper

import (
	"fmt"
	"slices"
	"sort"
	"strings"
	"time"

	"cornerwright/internal/bike"
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
		return []say.Text{say.T("Where the cells are used cannot be said: {why}.", f.Cannot)}
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
