package web

import (
	"context"
	"fmt"
	"html/template"
	"math"
	"net/http"
	"strconv"

	"cornerwright/internal/book"
	"cornerwright/internal/draw"
	"cornerwright/internal/paper"
	"cornerwright/internal/rehearsal"
	"cornerwright/internal/say"
	"cornerwright/internal/setting"
	"cornerwright/internal/verdict"
)

func (s *server) stepOf(r *http.Request) (book.Step, error) {
	n, err := strconv.Atoi(r.PathValue("step"))
	if err != nil {
		return book.Step{}, &book.Error{Kind: book.ErrNotFound, Text: say.T("{x} is no step number", fmt.Sprintf("%q", r.PathValue("step"))), Mend: say.T("choose a step on the page of the day")}
	}
	return s.book.Step(n)
}

type stepPage struct {
	Step       book.Step
	Setting    *setting.Setting
	Cells, Map template.HTML
	Rehearsal  *rehearsal.Rehearsal
	Record     say.Text // how earlier rehearsals fared
	Uses       []say.Text
	Cautions   []say.Text
	Passed     int
	Remark     *book.Remark
	Next       []move // what may become of it
	Trouble    say.Text
	Mend       say.Text
	Reason     string // typed, and not taken
	Who        string
}

// move is one button of a step.
type move struct{ To, Words string }

// moves that a step may make, by its state; the book has the last word.
var moves = map[string][]move{
	book.Proposed: {{book.Loaded, "It is loaded in the bike"}, {book.Reverted, "Drop it"}},
	book.Loaded:   {{book.Kept, "Keep"}, {book.Reverted, "Revert"}, {book.Repeated, "Repeat the run"}},
	book.Repeated: {{book.Loaded, "It is loaded again"}, {book.Kept, "Keep"}, {book.Reverted, "Revert"}},
	book.Kept:     {{book.Reverted, "Revert after all"}},
	book.Reverted: {{book.Loaded, "Load it again"}},
}

// step shows what is changed, where it acts, what guards say and what it would
// have done.
func (s *server) step(r *http.Request) (page, error) {
	st, err := s.stepOf(r)
	if err != nil {
		return page{}, err
	}
	k, err := s.book.Bike(st.Bike)
	if err != nil {
		return page{}, err
	}
	from, err := s.book.Sheet(st.From)
	if err != nil {
		return page{}, err
	}
	to, err := s.book.Sheet(st.To)
	if err != nil {
		return page{}, err
	}
	d := stepPage{Step: st, Setting: k.Bike.Setting(st.Setting), Next: moves[st.State], Who: youOf(r).Name}
	d.Cautions = paper.Cautions(d.Setting, k.Bike.Slots.Reference)
	for _, g := range st.Guards {
		if g.Pass {
			d.Passed++
		}
	}
	if st.Remark > 0 {
		if m, err := s.book.Remark(st.Remark); err == nil {
			d.Remark = &m
		}
	}
	old, now := from.Slots[st.Slot][st.Setting], to.Slots[st.Slot][st.Setting]
	opt := draw.CellsOptions{Width: 150, New: now, Decimals: -1}
	if st.Run > 0 {
		if d.Rehearsal, err = s.rehearsalOf(r.Context(), st.ID, st.Run); err != nil {
			return page{}, err
		}
		if d.Record, err = s.recordOf(r.Context(), st.Setting); err != nil {
			return page{}, err
		}
		opt.Dwell = paper.Dwell(d.Rehearsal.Footprint, old)
		d.Uses = paper.UseLines(d.Rehearsal.Footprint, 8)
		if x, err := s.book.Run(strconv.Itoa(st.Run)); err == nil && x.Circuit != "" {
			if c, err := s.book.Circuit(x.Circuit); err == nil {
				m := draw.NewSVG(120, 84)
				mo := draw.MapOptions{Width: 120, Height: 84}
				for _, u := range d.Rehearsal.Footprint.Uses {
					if t := c.Turn(u.Turn); t != nil {
						a, b := t.Entry, t.Exit
						mo.Uses = append(mo.Uses, draw.Use{From: a, To: b, Share: u.Share, Title: string(say.T("turn {turn} {phase}: {dwell} s a lap", t.Label(), say.Key(phaseName(u.Phase)), draw.Number(u.Dwell, 2)))})
					}
				}
				draw.Map(m, c, mo)
				d.Map = m.HTML("map", say.T("Where the changed cells are used"), say.T("the line is thicker where they are used longer"))
			}
		}
	}
	if d.Setting != nil {
		svg := draw.NewSVG(150, 90)
		h := draw.Cells(svg, *d.Setting, old, opt)
		svg.Resize(150, h)
		d.Cells = svg.HTML("cells", say.T("Values of {setting} in slot {slot}", st.Setting, st.Slot), say.T("changed cells are framed: old, arrow, new; a bar under a cell shows the time spent there"))
	}
	if st.Run > 0 && (st.State == book.Proposed || st.State == book.Loaded || st.State == book.Repeated) {
		// The plan and the sheet, which has it too, are what is opened next. Where it
		// cannot be made they say why.
		_, _ = recall(r.Context(), s, fmt.Sprintf("ahead %d", st.ID), func(ctx context.Context) (bool, error) {
			return true, s.book.PlanAhead(ctx, book.PlanOf(st.Step, st.Run))
		})
	}
	return page{Title: say.T("Step {1} · {2}", st.ID, st.Setting), Name: "step", Body: d}, nil
}

type planPage struct {
	Step  book.Step
	Plan  *verdict.Plan
	Lines []say.Text
	Why   say.Text
}

// plan shows how many laps, in which slot and order, would show the effect.
func (s *server) plan(r *http.Request) (page, error) {
	st, err := s.stepOf(r)
	if err != nil {
		return page{}, err
	}
	d := planPage{Step: st}
	q := book.PlanOf(st.Step, st.Run)
	if v, err := strconv.ParseFloat(r.URL.Query().Get("effect"), 64); err == nil && v > 0 {
		q.Effect = v
	}
	if st.Run == 0 {
		d.Why = say.T("the step was not derived from a run, so the rider's scatter is not known")
	} else if d.Plan, err = s.book.Plan(r.Context(), q); err != nil {
		d.Why = say.Of(err)
	} else {
		d.Lines = d.Plan.Lines
	}
	return page{Title: say.T("Plan for step {1}", st.ID), Name: "plan", Body: d}, nil
}

type verdictPage struct {
	Step    book.Step
	V       *verdict.Verdict
	Picture template.HTML
	All     []verdict.Effect
	Next    []move
	// Keeping or taking back a step changes what is ridden next.
	Cautions []say.Text
}

// verdict shows the answer after the next run: intervals by turn on one scale.
func (s *server) verdict(r *http.Request) (page, error) {
	st, err := s.stepOf(r)
	if err != nil {
		return page{}, err
	}
	v, err := s.verdictOf(r.Context(), st.ID)
	if err != nil {
		return page{}, err
	}
	d := verdictPage{Step: st, V: v, Next: moves[st.State]}
	if k, err := s.book.Bike(st.Bike); err == nil {
		d.Cautions = paper.Cautions(k.Bike.Setting(st.Setting), k.Bike.Slots.Reference)
	}
	d.All = append(append([]verdict.Effect{v.Primary}, v.Declared...), v.Watch...)
	var rows []draw.IntervalRow
	for i, e := range d.All {
		if e.Unit != v.Primary.Unit || i > 0 && e.Measure != v.Primary.Measure {
			continue
		}
		name := say.T("turn {turn}", e.Turn)
		if e.Turn == 0 {
			name = say.T("lap")
		}
		if math.IsNaN(e.Value) {
			continue
		}
		rows = append(rows, draw.IntervalRow{Name: string(name), Value: e.Value, Lo: e.Lo, Hi: e.Hi, Matters: e.Matters, Answer: string(say.Key(spaced(e.Answer))), Primary: i == 0})
	}
	less, more := say.T("trial less"), say.T("trial more")
	if v.Primary.Unit == "s" {
		less, more = say.T("trial quicker"), say.T("trial slower")
	}
	svg := draw.NewSVG(210, 80)
	h := draw.Intervals(svg, rows, draw.IntervalOptions{Width: 210, Unit: v.Primary.Unit, Less: string(less), More: string(more), Decimals: 2})
	svg.Resize(210, h)
	d.Picture = svg.HTML("intervals", say.T("Differences by turn"), say.T("trial minus reference with 95 % intervals; the band is the difference that does not matter"))
	return page{Title: say.T("Verdict on step {1}", st.ID), Name: "verdict", Body: d}, nil
}

func (s *server) sheetHTML(w http.ResponseWriter, r *http.Request) {
	s.document(w, r, "text/html; charset=utf-8", "", func(st book.Step) ([]byte, error) {
		c, err := paper.OfStep(r.Context(), s.book, st, s.rehearsalOf)
		if err != nil {
			return nil, err
		}
		return c.HTML("/assets/paper.css")
	})
}

func (s *server) sheetPDF(w http.ResponseWriter, r *http.Request) {
	s.document(w, r, "application/pdf", "step-%d.pdf", func(st book.Step) ([]byte, error) {
		c, err := paper.OfStep(r.Context(), s.book, st, s.rehearsalOf)
		if err != nil {
			return nil, err
		}
		size, err := paperSize(r)
		if err != nil {
			return nil, err
		}
		return c.PDF(size)
	})
}

// paperSize is the size that a request asks for, A4 where it asks for none.
func paperSize(r *http.Request) (paper.Size, error) {
	size, err := paper.SizeNamed(r.URL.Query().Get("size"))
	if err != nil {
		return size, &book.Error{Kind: book.ErrInvalid, Text: say.Of(err), Mend: say.T("take size=A4 or size=Letter")}
	}
	return size, nil
}

func (s *server) document(w http.ResponseWriter, r *http.Request, kind, name string, f func(book.Step) ([]byte, error)) {
	st, err := s.stepOf(r)
	var data []byte
	if err == nil {
		data, err = f(st)
	}
	if err != nil {
		s.fail(w, r, err)
		return
	}
	w.Header().Set("Content-Type", kind)
	if name != "" {
		w.Header().Set("Content-Disposition", fmt.Sprintf("inline; filename=%q", fmt.Sprintf(name, st.ID)))
	}
	w.Write(data)
}

func (s *server) debriefPDF(w http.ResponseWriter, r *http.Request) {
	x, err := s.runOf(r)
	var data []byte
	if err == nil {
		var d *paper.DebriefSheet
		if d, err = paper.OfRun(r.Context(), s.book, x); err == nil {
			var size paper.Size
			if size, err = paperSize(r); err == nil {
				data, err = d.PDF(size)
			}
		}
	}
	if err != nil {
		s.fail(w, r, err)
		return
	}
	w.Header().Set("Content-Type", "application/pdf")
	w.Header().Set("Content-Disposition", fmt.Sprintf("inline; filename=\"debrief-run-%d.pdf\"", x.Number))
	w.Write(data)
}
