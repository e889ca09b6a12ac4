package web

import (
	"context"
	"fmt"
	"html/template"
	"net/http"
	"strconv"
	"strings"

	"cornerwright/internal/book"
	"cornerwright/internal/debrief"
	"cornerwright/internal/draw"
	"cornerwright/internal/paper"
	"cornerwright/internal/rehearsal"
	"cornerwright/internal/say"
	"cornerwright/internal/setting"
)

type proposePage struct {
	Run       book.Run
	Ref       string
	Title     say.Text
	Step      setting.Step
	From      int // sheet the step starts from
	Setting   *setting.Setting
	Settings  []setting.Setting
	Cells     template.HTML
	Guards    []setting.GuardResult
	Open      int
	Rehearsal *rehearsal.Rehearsal
	Uses      []say.Text
	Cautions  []say.Text
	Expect    say.Text
	Watch     say.Text
	NeedsSay  bool
	Stale     say.Text // why it cannot be made from the sheet of today
	Measures  []book.MeasureInfo
	Trouble   say.Text
	Mend      say.Text
	// What was typed.
	Change, Reason, Author, Surface, Tyre, Air, Why string
	Overrule                                        map[string]string
}

// proposal finds a proposal of a run's debrief by finding and place ("r1.2").
func (s *server) proposal(ctx context.Context, run int, ref, overrule string) (debrief.Proposal, debrief.Finding, error) {
	id, nth, _ := strings.Cut(ref, ".")
	n, err := strconv.Atoi(nth)
	if err != nil {
		n = 1
	}
	res, err := s.book.Debrief(ctx, run, debrief.Options{Run: run, Overrule: overrule})
	if err != nil {
		return debrief.Proposal{}, debrief.Finding{}, err
	}
	for _, f := range append(append([]debrief.Finding{}, res.Findings...), res.Unasked...) {
		if f.ID == id && n >= 1 && n <= len(f.Proposals) && f.Proposals[n-1].Kind == debrief.ChangeSetting {
			return f.Proposals[n-1], f, nil
		}
	}
	return debrief.Proposal{}, debrief.Finding{}, &book.Error{Kind: book.ErrNotFound, Text: say.T("the debrief of run {run} has no step {ref} any more", run, fmt.Sprintf("%q", ref)), Mend: say.T("go back to the run: remarks made since may have changed what is proposed")}
}

// propose shows a step before it is recorded: cells, guards, rehearsal.
func (s *server) propose(r *http.Request) (page, error) {
	d, err := s.proposeBody(r, r.URL.Query().Get("change"))
	if err != nil {
		return page{}, err
	}
	return page{Title: say.T("Propose a step"), Name: "propose", Body: d}, nil
}

func (s *server) proposeBody(r *http.Request, change string) (*proposePage, error) {
	ctx := r.Context()
	x, err := s.runOf(r)
	if err != nil {
		return nil, err
	}
	k, err := s.book.Bike(x.Bike)
	if err != nil {
		return nil, err
	}
	sheet, err := s.book.CurrentSheet(k.Name)
	if err != nil {
		return nil, err
	}
	d := &proposePage{Run: x, Ref: r.PathValue("ref"), From: sheet.Number, Settings: k.Bike.Settings, Measures: book.Measures(), Change: change, Overrule: map[string]string{}}
	d.Tyre = ""
	if d.Ref == "own" {
		if change == "" {
			return d, nil
		}
		c, err := setting.ParseChange(change, k.Bike.Setting)
		if err == nil {
			d.Step, err = c.Propose(k.Bike.Setting(c.Setting), sheet.Sheet)
		}
		if err != nil {
			d.Trouble, d.Mend = say.Of(err), say.T(`write it like "B:slip-target[45..50, 80..110] +1" or "B:engine-brake[2] +10"`)
			return d, nil
		}
		d.Title = say.Plain(change)
	} else {
		p, f, err := s.proposal(ctx, x.Number, d.Ref, "")
		if err != nil {
			return nil, err
		}
		d.Step, d.Title, d.Expect, d.Watch, d.NeedsSay = p.Step, p.Title, p.Expect, p.Watch, p.NeedsSay
		d.Step.Finding, d.Step.Remark = f.ID, f.Remark
		if d.Step.Reason == "" {
			d.Step.Reason = p.Why.String()
		}
		if d.Step.Primary.Turn == 0 {
			d.Step.Primary.Turn = f.Turn
		}
		d.Cautions = p.Cautions
	}
	if d.Step.Primary.Measure == "" {
		d.Step.Primary.Measure, d.Step.Primary.Expect = "segment", "less"
	}
	d.Step.Run, d.Step.Bike, d.Reason = x.Number, k.Name, d.Step.Reason
	d.Setting = k.Bike.Setting(d.Step.Setting)
	if d.Setting == nil {
		return nil, &book.Error{Kind: book.ErrNotFound, Text: say.T("{name} has no setting {setting}", k.Name, fmt.Sprintf("%q", d.Step.Setting)), Mend: say.T("add the newest bike file")}
	}
	d.Cautions = cautions(paper.Cautions(d.Setting, k.Bike.Slots.Reference), d.Cautions)
	if d.Rehearsal, err = s.book.RehearseStep(ctx, d.Step, x.Number); err != nil {
		if text, mend, ok := trouble(err); ok {
			d.Trouble, d.Mend = text, mend
			return d, nil
		}
		return nil, err
	}
	d.Uses = paper.UseLines(d.Rehearsal.Footprint, 8)
	if next, err := setting.Apply(sheet.Sheet, d.Step); err != nil {
		// The proposal was worked out on the values of its own day; it is never
		// shown as if it fitted those of today.
		d.Stale = say.Of(err)
	} else {
		old := sheet.Values(d.Step.Slot, d.Step.Setting)
		svg := draw.NewSVG(150, 90)
		h := draw.Cells(svg, *d.Setting, old, draw.CellsOptions{Width: 150, New: next.Values(d.Step.Slot, d.Step.Setting), Decimals: -1, Dwell: paper.Dwell(d.Rehearsal.Footprint, old)})
		svg.Resize(150, h)
		d.Cells = svg.HTML("cells", say.T("Values of {setting} in slot {slot}", d.Step.Setting, d.Step.Slot), d.Title)
	}
	return d, nil
}

// cautions are the standing ones, and of a proposal's own only what these do not
// say already: a list that says everything twice is not read.
func cautions(standing, own []say.Text) []say.Text {
	general := map[say.Text]bool{}
	for _, c := range rehearsal.Cautions {
		general[say.Key(c)] = true
	}
	for _, c := range own {
		if !general[c] {
			standing = append(standing, c)
		}
	}
	return standing
}

// takeStep records the step, or shows it again with what stands in the way and
// everything that was typed.
func (s *server) takeStep(w http.ResponseWriter, r *http.Request) (string, *page, error) {
	if err := s.form(w, r); err != nil {
		return "", nil, err
	}
	d, err := s.proposeBody(r, field(r, "change"))
	if err != nil {
		return "", nil, err
	}
	d.Reason, d.Author, d.Surface, d.Tyre, d.Air, d.Why = field(r, "reason"), field(r, "author"), field(r, "surface"), field(r, "tyre"), field(r, "air"), field(r, "why")
	again := func(text, mend say.Text) (string, *page, error) {
		d.Trouble, d.Mend = text, mend
		return "", &page{Title: say.T("Propose a step"), Name: "propose", Body: d}, nil
	}
	if d.Trouble != "" || d.Setting == nil {
		if d.Trouble == "" {
			d.Trouble, d.Mend = say.T("no change is given"), say.T(`write it like "B:slip-target[45..50, 80..110] +1"`)
		}
		return again(d.Trouble, d.Mend)
	}
	if m := field(r, "measure"); m != "" {
		if m != d.Step.Primary.Measure {
			d.Step.Primary.Matters = 0
		}
		d.Step.Primary.Measure = m
	}
	if e := field(r, "expect"); e == "less" || e == "more" {
		d.Step.Primary.Expect = e
	}
	if n, err := strconv.Atoi(field(r, "turn")); err == nil {
		d.Step.Primary.Turn = n
	}
	if m := field(r, "matters"); m != "" {
		v, err := strconv.ParseFloat(strings.ReplaceAll(m, ",", "."), 64)
		if err != nil || v < 0 {
			return again(say.T("{m} is no difference", fmt.Sprintf("%q", m)), say.T("write a number such as 0.05"))
		}
		d.Step.Primary.Matters = v
	}
	if d.Author == "" {
		return again(say.T("nobody stands for the step"), say.T("write the engineer's name"))
	}
	if d.NeedsSay {
		p, _, err := s.proposal(r.Context(), d.Run.Number, d.Ref, d.Author)
		if err != nil {
			return "", nil, err
		}
		d.Step.Cells = p.Step.Cells
	}
	// The sheet that the person saw; somebody else may have moved on since.
	if seen, err := strconv.Atoi(field(r, "from")); err != nil || seen != d.From {
		return again(say.T("the bike is on sheet {from} by now, this was made from sheet {r}", d.From, field(r, "from")), say.T("look at the values below, they are the new ones; nothing was recorded and what you typed is kept"))
	}
	for k, v := range r.PostForm {
		if g, ok := strings.CutPrefix(k, "overrule-"); ok && len(v) > 0 && strings.TrimSpace(v[0]) != "" {
			d.Overrule[g] = strings.TrimSpace(v[0])
			d.Step.Overrules = append(d.Step.Overrules, setting.Overrule{Guard: g, Who: d.Author, Reason: d.Overrule[g]})
		}
	}
	d.Step.Reason = d.Reason
	got, err := s.book.NewStep(r.Context(), d.Step, book.StepOptions{Author: d.Author, Why: d.Why, Conditions: book.Conditions{Surface: d.Surface, Tyre: d.Tyre, Air: d.Air}})
	if err == nil {
		return fmt.Sprintf("/step/%d", got.ID), nil, nil
	}
	d.Guards = got.Guards
	for _, g := range d.Guards {
		if !g.Pass {
			d.Open++
		}
	}
	text, mend, ok := trouble(err)
	if !ok {
		return "", nil, err
	}
	return again(text, mend)
}

// moveStep moves a step on. The form carries the state its reader saw: where
// somebody was quicker, nothing is done and the page says so.
func (s *server) moveStep(w http.ResponseWriter, r *http.Request) (string, *page, error) {
	if err := s.form(w, r); err != nil {
		return "", nil, err
	}
	st, err := s.stepOf(r)
	if err != nil {
		return "", nil, err
	}
	reason, who := field(r, "reason"), field(r, "who")
	if _, err = s.book.SetStepState(st.ID, field(r, "from"), field(r, "to"), who, reason, 0); err == nil {
		return fmt.Sprintf("/step/%d", st.ID), nil, nil
	}
	text, mend, ok := trouble(err)
	if !ok {
		return "", nil, err
	}
	p, perr := s.step(r)
	if perr != nil {
		return "", nil, perr
	}
	d := p.Body.(stepPage)
	d.Trouble, d.Mend, d.Reason, d.Who = text, mend, reason, who
	p.Body = d
	return "", &p, nil
}

// markLap strikes a lap with a word, or puts it back in.
func (s *server) markLap(w http.ResponseWriter, r *http.Request) (string, *page, error) {
	if err := s.form(w, r); err != nil {
		return "", nil, err
	}
	x, err := s.runOf(r)
	if err != nil {
		return "", nil, err
	}
	n, err := strconv.Atoi(field(r, "lap"))
	if err != nil {
		return "", nil, &book.Error{Kind: book.ErrInvalid, Text: say.T("{r} is no lap", fmt.Sprintf("%q", field(r, "lap"))), Mend: say.T("choose a lap of the list")}
	}
	return fmt.Sprintf("/run/%d#laps", x.Number), nil, s.book.MarkLap(x.Number, n, field(r, "word"), field(r, "who"))
}

// strikeRemark takes a remark back, or puts it back in; nothing is lost.
func (s *server) strikeRemark(w http.ResponseWriter, r *http.Request) (string, *page, error) {
	if err := s.form(w, r); err != nil {
		return "", nil, err
	}
	n, err := strconv.Atoi(r.PathValue("remark"))
	if err != nil {
		return "", nil, &book.Error{Kind: book.ErrNotFound, Text: say.T("there is no such remark"), Mend: say.T("go back to the run")}
	}
	m, err := s.book.Remark(n)
	if err != nil {
		return "", nil, err
	}
	return fmt.Sprintf("/run/%d#said", m.Run), nil, s.book.StrikeRemark(n, field(r, "struck") != "no", field(r, "who"))
}

// annotate changes what was told about a run; earlier words are kept.
func (s *server) annotate(w http.ResponseWriter, r *http.Request) (string, *page, error) {
	if err := s.form(w, r); err != nil {
		return "", nil, err
	}
	x, err := s.runOf(r)
	if err != nil {
		return "", nil, err
	}
	now := map[string]string{"tyre": x.Tyre, "weather": x.Weather, "note": x.Note}
	for _, f := range []string{"tyre", "weather", "note"} {
		if v, given := r.PostForm[f]; given && strings.TrimSpace(v[0]) != now[f] {
			if err := s.book.Annotate(x.Number, f, strings.TrimSpace(v[0]), field(r, "who")); err != nil {
				return "", nil, err
			}
		}
	}
	return fmt.Sprintf("/run/%d", x.Number), nil, nil
}
