package paper

import (
	"fmt"
	"math"
	"time"

	"cornerwright/internal/circuit"
	"cornerwright/internal/debrief"
	"cornerwright/internal/draw"
	"cornerwright/internal/say"
)

// RemarkLine is one remark with its finding, in words.
type RemarkLine struct{ Where, Words, Stance, Laps, Text, Do string }

// DebriefSheet is one run on paper: map, laps, remarks with findings, the next
// step and its plan.
type DebriefSheet struct {
	Title    string
	Lead     string
	Date     time.Time
	Facts    []Fact
	Circuit  *circuit.Circuit
	Flags    []draw.Flag
	Laps     []draw.LapDot
	Remarks  []RemarkLine
	Unasked  []RemarkLine
	Notes    []string
	Next     []string
	Cautions []string
	Plan     []string
}

// Where says a place in words: "turn 5 pick-up".
func Where(turn int, ph circuit.Phase) say.Text {
	s := say.T("whole lap")
	if turn > 0 {
		s = say.T("turn {turn}", turn)
	}
	if ph != "" {
		s += " " + say.Key(phase(string(ph)))
	}
	return s
}

// Line puts a finding on one line of a sheet; words are the rider's, "" for an
// unasked finding.
func Line(f debrief.Finding, words string) RemarkLine {
	l := RemarkLine{Where: Where(f.Turn, f.Phase).String(), Words: words, Stance: string(f.Stance), Text: f.Text.String()}
	if f.Of > 0 {
		l.Laps = f.Laps.String()
		if l.Laps == "" {
			l.Laps = fmt.Sprintf("%d of %d", f.Seen, f.Of)
		}
		l.Laps += " laps:"
	}
	if len(f.Proposals) > 0 {
		l.Do = f.Proposals[0].Title.String()
		if f.Proposals[0].NeedsSay {
			l.Do += " (only with the engineer's say)"
		}
	}
	if l.Do == "" {
		l.Do = "–"
	}
	return l
}

// NewDebriefSheet joins a debrief's result with the remarks' own words.
func NewDebriefSheet(r *debrief.Result, remarks []debrief.Remark, c *circuit.Circuit, laps []circuit.Lap, trial string) *DebriefSheet {
	s := &DebriefSheet{Circuit: c, Laps: LapDots(laps, trial)}
	words := map[int]string{}
	for _, m := range remarks {
		w := m.Words
		if w == "" {
			w = string(m.Says)
		}
		words[m.ID] = w
	}
	if r == nil {
		return s
	}
	s.Notes = say.Strings(r.Notes)
	next := -1
	all := append(append([]debrief.Finding(nil), r.Findings...), r.Unasked...)
	for i, f := range all {
		if f.ID == r.Next && r.Next != "" {
			next = i
		}
	}
	for i, f := range r.Findings {
		s.Remarks = append(s.Remarks, Line(f, words[f.Remark]))
		if c != nil && f.Turn > 0 {
			if at, ok := PlaceOf(c, f.Turn, f.Phase); ok {
				s.Flags = append(s.Flags, draw.Flag{S: at, Number: fmt.Sprint(i + 1), Words: words[f.Remark]})
			}
		}
	}
	for _, f := range r.Unasked {
		s.Unasked = append(s.Unasked, Line(f, ""))
	}
	if next >= 0 {
		f := all[next]
		s.Next = append(s.Next, "Take first: "+Where(f.Turn, f.Phase).String()+". "+sentence(r.Why.String()))
		if len(f.Proposals) > 0 {
			p := f.Proposals[0]
			s.Next = append(s.Next, sentence(p.Title.String()))
			for _, x := range say.Strings([]say.Text{p.Why, p.Expect, p.Watch}) {
				if x != "" {
					s.Next = append(s.Next, sentence(x))
				}
			}
			s.Cautions = merge(say.Strings(p.Cautions))
		}
	} else {
		why := "Change nothing: no finding carries a step."
		if r.Why != "" {
			why = sentence(r.Why.String())
		}
		s.Next = append(s.Next, why)
	}
	return s
}

// PlaceOf a phase of a turn on the line, in m from the gate.
func PlaceOf(c *circuit.Circuit, turn int, ph circuit.Phase) (float64, bool) {
	for _, t := range c.Turns {
		if t.Number != turn {
			continue
		}
		l := c.Line.Length
		mid := func(a, b, f float64) float64 {
			d := math.Mod(b-a, l)
			if d < 0 {
				d += l
			}
			return math.Mod(a+f*d, l)
		}
		switch ph {
		case circuit.PhaseBrake:
			return mid(t.From, t.Entry, 0.75), true
		case circuit.PhaseEntry:
			return mid(t.Entry, t.Apex, 0.4), true
		case circuit.PhasePickup:
			return mid(t.Apex, t.Exit, 0.5), true
		case circuit.PhaseDrive:
			return t.Exit, true
		}
		return t.Apex, true
	}
	return 0, false
}

// LapDots prepares laps for the lap chart: timed laps of the trial slot filled,
// others hollow; out, in and broken laps without a time.
func LapDots(laps []circuit.Lap, trial string) []draw.LapDot {
	var out []draw.LapDot
	for _, l := range laps {
		d := draw.LapDot{Number: l.Number, Time: math.NaN(), Slot: l.Slot}
		if l.Kind == circuit.TimedLap {
			d.Time = l.Time()
		}
		if trial != "" && l.Slot == trial {
			d.Look = draw.Trial
		}
		d.Title = string(say.T("lap {lap}, {kind}, {time}", l.Number, say.Key(string(l.Kind)), draw.LapTime(d.Time, 3)))
		out = append(out, d)
	}
	return out
}

func (s *DebriefSheet) mapSize() (w, h float64) { return 92, 74 }

// HTML sets the sheet as a page of its own; see ChangeSheet.HTML for href.
func (s *DebriefSheet) HTML(href string) ([]byte, error) {
	f := newFrame(s.Title, href, s)
	v := draw.NewSVG(150, 96)
	draw.Map(v, s.Circuit, draw.MapOptions{Width: 150, Height: 96, Flags: s.Flags})
	f.Map = v.HTML("map", say.T("Circuit map"), say.T("{n} remarks are flagged", len(s.Flags)))
	v = draw.NewSVG(180, 48)
	h := draw.Laps(v, s.Laps, 180)
	v.Resize(180, h)
	f.LapsChart = v.HTML("laps", say.T("Lap times in riding order"), "")
	return render("debrief", f)
}

// PDF sets the sheet; it is meant to fit one page and runs on where it does not.
func (s *DebriefSheet) PDF(size Size) ([]byte, error) {
	p := newPDF(size, s.Title, s.Title+" · "+s.Lead, s.Date)
	p.para(margin, p.width(), s.Title, draw.Text{Size: 6, Bold: true})
	p.para(margin, p.width(), s.Lead, draw.Text{Size: 3.6})
	p.y += 1.2
	p.rule(0.6)
	p.y += 2
	mw, mh := s.mapSize()
	y := p.y
	p.at(margin, y, func() { draw.Map(p, s.Circuit, draw.MapOptions{Width: mw, Height: mh, Flags: s.Flags}) })
	x, w := margin+mw+4, p.width()-mw-4
	h := 40.0
	p.at(x, y, func() { h = draw.Laps(p, s.Laps, w) })
	p.y = y + h + 1
	fw := w / 2
	for i := 0; i < len(s.Facts); i += 2 {
		yy := p.y
		low := yy
		for k := i; k < min(i+2, len(s.Facts)); k++ {
			p.y = yy
			fx := x + float64(k-i)*fw
			p.Text(draw.Point{X: fx, Y: p.y + 2.4}, s.Facts[k].Name, draw.Text{Size: 2.4, Ink: draw.Soft})
			p.y += 2.8
			p.para(fx, fw-2, s.Facts[k].Value, draw.Text{Size: 2.9})
			low = math.Max(low, p.y)
		}
		p.y = low + 0.4
	}
	p.y = math.Max(p.y, y+mh) + 1
	for _, n := range s.Notes {
		p.para(margin, p.width(), n, draw.Text{Size: 2.8, Ink: draw.Soft})
	}
	p.head("What the rider said, what the data say")
	var rows [][]string
	for i, r := range s.Remarks {
		words := r.Words
		if words != "" {
			words = "“" + words + "”"
		}
		rows = append(rows, []string{fmt.Sprintf("%d", i+1), r.Where, words, r.Stance, join(r.Laps, r.Text), r.Do})
	}
	if len(rows) == 0 {
		p.para(margin, p.width(), "No remark was made.", draw.Text{})
	} else {
		p.table([]string{"", "where", "rider", "stance", "data", "what to do"}, rows, []float64{0.35, 1.1, 2, 1, 3.6, 2.4})
	}
	if len(s.Unasked) > 0 {
		p.head("What nobody mentioned")
		rows = nil
		for _, r := range s.Unasked {
			rows = append(rows, []string{r.Where, join(r.Laps, r.Text), r.Do})
		}
		p.table([]string{"where", "data", "what to do"}, rows, []float64{1.3, 5, 3})
	}
	p.head("Next")
	for _, n := range s.Next {
		p.para(margin, p.width(), n, draw.Text{})
	}
	if len(s.Cautions) > 0 {
		p.y += 1
		p.bullets(s.Cautions, "!")
	}
	if len(s.Plan) > 0 {
		p.head("Plan of the next run")
		for _, l := range s.Plan {
			p.para(margin, p.width(), l, draw.Text{Size: 2.9})
		}
	}
	return p.bytes()
}

func join(a, b string) string {
	if a == "" {
		return b
	}
	return a + " " + b
}
