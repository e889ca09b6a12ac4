package web

import (
	"errors"
	"fmt"
	"html/template"
	"io"
	"math"
	"net/http"
	"strconv"

	"cornerwright/internal/book"
	"cornerwright/internal/draw"
	"cornerwright/internal/paper"
	"cornerwright/internal/rehearsal"
	"cornerwright/internal/setting"
	"cornerwright/internal/verdict"
)

func (s *server) stepOf(r *http.Request) (book.Step, error) {
	n, err := strconv.Atoi(r.PathValue("step"))
	if err != nil {
		return book.Step{}, &book.Error{Kind: book.ErrNotFound, Text: fmt.Sprintf("%q is no step number", r.PathValue("step")), Mend: "choose a step on the page of the day"}
	}
	return s.book.Step(n)
}

type stepPage struct {
	Step       book.Step
	Setting    *setting.Setting
	Cells, Map template.HTML
	Rehearsal  *rehearsal.Rehearsal
	Uses       []string
	Cautions   []string
	Passed     int
	Remark     *book.Remark
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
	d := stepPage{Step: st, Setting: k.Bike.Setting(st.Setting)}
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
		if d.Rehearsal, err = s.book.Rehearse(r.Context(), st.ID, st.Run); err != nil {
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
						mo.Uses = append(mo.Uses, draw.Use{From: a, To: b, Share: u.Share, Title: fmt.Sprintf("turn %s %s: %.2f s a lap", t.Label(), u.Phase, u.Dwell)})
					}
				}
				draw.Map(m, c, mo)
				d.Map = m.HTML("map", "Where the changed cells are used", "the line is thicker where they are used longer")
			}
		}
	}
	if d.Setting != nil {
		svg := draw.NewSVG(150, 90)
		h := draw.Cells(svg, *d.Setting, old, opt)
		svg.Resize(150, h)
		d.Cells = svg.HTML("cells", "Values of "+st.Setting+" in slot "+st.Slot, "changed cells are framed: old, arrow, new; a bar under a cell shows the time spent there")
	}
	return page{Title: fmt.Sprintf("Step %d · %s", st.ID, st.Setting), Name: "step", Body: d}, nil
}

type verdictPage struct {
	Step    book.Step
	V       *verdict.Verdict
	Picture template.HTML
	All     []verdict.Effect
}

// verdict shows the answer after the next run: intervals by turn on one scale.
func (s *server) verdict(r *http.Request) (page, error) {
	st, err := s.stepOf(r)
	if err != nil {
		return page{}, err
	}
	v, err := s.book.Verdict(r.Context(), book.VerdictRequest{Step: st.ID})
	if err != nil {
		return page{}, err
	}
	d := verdictPage{Step: st, V: v}
	d.All = append(append([]verdict.Effect{v.Primary}, v.Declared...), v.Watch...)
	var rows []draw.IntervalRow
	for i, e := range d.All {
		if e.Unit != v.Primary.Unit || i > 0 && e.Measure != v.Primary.Measure {
			continue
		}
		name := fmt.Sprintf("turn %d", e.Turn)
		if e.Turn == 0 {
			name = "lap"
		}
		if math.IsNaN(e.Value) {
			continue
		}
		rows = append(rows, draw.IntervalRow{Name: name, Value: e.Value, Lo: e.Lo, Hi: e.Hi, Matters: e.Matters, Answer: helpers["answer"].(func(any) string)(e.Answer), Primary: i == 0})
	}
	svg := draw.NewSVG(170, 80)
	h := draw.Intervals(svg, rows, draw.IntervalOptions{Width: 170, Unit: v.Primary.Unit, Less: "trial quicker", More: "trial slower", Decimals: 2})
	svg.Resize(170, h)
	d.Picture = svg.HTML("intervals", "Differences by turn", "trial minus reference with 95 % intervals; the band is the difference that does not matter")
	return page{Title: fmt.Sprintf("Verdict on step %d", st.ID), Name: "verdict", Body: d}, nil
}

func (s *server) sheetHTML(w http.ResponseWriter, r *http.Request) {
	s.document(w, r, "text/html; charset=utf-8", "", func(st book.Step) ([]byte, error) {
		c, err := paper.OfStep(r.Context(), s.book, st)
		if err != nil {
			return nil, err
		}
		return c.HTML("/paper.css")
	})
}

func (s *server) sheetPDF(w http.ResponseWriter, r *http.Request) {
	s.document(w, r, "application/pdf", "step-%d.pdf", func(st book.Step) ([]byte, error) {
		c, err := paper.OfStep(r.Context(), s.book, st)
		if err != nil {
			return nil, err
		}
		size, err := paper.SizeNamed(paperSize(r))
		if err != nil {
			return nil, err
		}
		return c.PDF(size)
	})
}

func paperSize(r *http.Request) string {
	if v := r.URL.Query().Get("size"); v != "" {
		return v
	}
	return "A4"
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
			if size, err = paper.SizeNamed(paperSize(r)); err == nil {
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

type addPage struct {
	Bikes          []book.BikeRecord
	Trouble, Mend  string
	Bike, Tyre, As string
}

func (s *server) addForm(r *http.Request) (page, error) {
	k, err := s.book.Bikes()
	return page{Title: "Add a recording", Name: "add", Body: addPage{Bikes: k}}, err
}

// add takes one recording as an upload.
func (s *server) add(w http.ResponseWriter, r *http.Request) (string, *page, error) {
	r.Body = http.MaxBytesReader(w, r.Body, maxUpload)
	if err := r.ParseMultipartForm(32 << 20); err != nil {
		var big *http.MaxBytesError
		if errors.As(err, &big) {
			return "", nil, &book.Error{Kind: book.ErrInvalid, Text: "the file is larger than 2 GiB", Mend: "split the recording in the logger"}
		}
		return "", nil, errForm
	}
	defer r.MultipartForm.RemoveAll()
	if !s.signed(r.FormValue("token")) {
		return "", nil, errForm
	}
	d := addPage{Bike: r.FormValue("bike"), Tyre: r.FormValue("tyre"), As: r.FormValue("note")}
	again := func(text, mend string) (string, *page, error) {
		k, err := s.book.Bikes()
		d.Bikes, d.Trouble, d.Mend = k, text, mend
		return "", &page{Title: "Add a recording", Name: "add", Body: d}, err
	}
	f, head, err := r.FormFile("recording")
	if err != nil {
		return again("no file was chosen", "choose the recording that the logger wrote")
	}
	defer f.Close()
	data, err := io.ReadAll(f)
	if err != nil {
		return "", nil, err
	}
	res, err := s.book.Add(r.Context(), book.AddRequest{Name: head.Filename, Data: data, Bike: d.Bike, Tyre: d.Tyre, Note: d.As})
	if err != nil {
		var e *book.Error
		if errors.As(err, &e) {
			text := e.Text
			if e.Line > 0 {
				text = fmt.Sprintf("%s, line %d: %s", e.File, e.Line, e.Text)
			}
			return again(text, e.Mend)
		}
		return "", nil, err
	}
	if len(res.Runs) == 0 {
		return "/", nil, nil
	}
	return fmt.Sprintf("/run/%d", res.Runs[0].Number), nil, nil
}
