package web

import (
	"fmt"
	"html/template"
	"net/http"
	"strconv"

	"cornerwright/internal/book"
	"cornerwright/internal/circuit"
	"cornerwright/internal/debrief"
	"cornerwright/internal/draw"
	"cornerwright/internal/paper"
)

type phonePage struct {
	Run      book.Run
	Runs     []book.Run
	Map      template.HTML
	Turns    []circuit.Turn
	Turn     int  // chosen; 0 for the whole lap
	Chosen   bool // a turn or the whole lap was chosen
	Says     *debrief.Word
	Groups   []wordGroup
	Said     []phoneRow
	Verdicts []string // of the step under trial, in the rider's words
	Key      string
	Saved    bool
	Typed    map[string]string
	Trouble  string
	Ask      []debrief.Question
}

// phoneRow is one remark with its finding; the newest is shown open.
type phoneRow struct {
	findingRow
	Fresh bool
}

// phoneHome goes to the newest run.
func (s *server) phoneHome(w http.ResponseWriter, r *http.Request) {
	runs, err := s.book.Runs(book.RunFilter{Limit: 1})
	if err != nil {
		s.fail(w, r, err)
		return
	}
	if len(runs) == 0 {
		s.render(w, r, http.StatusOK, page{Title: "No run yet", Name: "waiting"})
		return
	}
	http.Redirect(w, r, fmt.Sprintf("/phone/%d", runs[0].Number), http.StatusSeeOther)
}

// phone is the rider's page: tap a turn, tap what it did, tap how much.
func (s *server) phone(r *http.Request) (page, error) {
	x, err := s.runOf(r)
	if err != nil {
		return page{}, err
	}
	d := phonePage{Run: x, Key: newKey(), Typed: map[string]string{}, Saved: r.URL.Query().Has("said"), Groups: wordGroups()}
	if d.Runs, err = s.book.Runs(book.RunFilter{Limit: 6}); err != nil {
		return page{}, err
	}
	title := fmt.Sprintf("Run %d", x.Number)
	if x.Circuit == "" {
		return page{Title: title, Name: "phone", Script: "phone.js", Body: d}, nil
	}
	c, err := s.book.Circuit(x.Circuit)
	if err != nil {
		return page{}, err
	}
	d.Turns = c.Turns
	if t := r.FormValue("turn"); t != "" {
		if n, err := strconv.Atoi(t); err == nil && (n == 0 || c.Turn(n) != nil) {
			d.Turn, d.Chosen = n, true
		}
	}
	if w := debrief.Lookup(debrief.Complaint(r.FormValue("says"))); w != nil && d.Chosen {
		d.Says = w
	}
	res, err := s.debriefOf(r.Context(), x.Number, debrief.Options{Run: x.Number, Unasked: -1})
	if err != nil {
		return page{}, err
	}
	rs, err := s.book.Remarks(x.Number)
	if err != nil {
		return page{}, err
	}
	by := map[int]*book.Remark{}
	for i := range rs {
		by[rs[i].ID] = &rs[i]
	}
	opt := draw.MapOptions{Width: 92, Height: 72, Plain: true, Emphasis: map[int]bool{d.Turn: true},
		TurnHref: func(t int) string { return fmt.Sprintf("/phone/%d?turn=%d#what", x.Number, t) }}
	newest := 0
	for _, f := range res.Findings {
		d.Said = append(d.Said, phoneRow{findingRow: findingRow{Finding: f, Where: paper.Where(f.Turn, f.Phase), Remark: by[f.Remark]}})
		if f.Remark > newest {
			newest = f.Remark
		}
		if at, ok := paper.PlaceOf(c, f.Turn, f.Phase); ok {
			opt.Flags = append(opt.Flags, draw.Flag{S: at, Number: strconv.Itoa(f.Remark)})
		}
	}
	for i := range d.Said {
		d.Said[i].Fresh = d.Said[i].Finding.Remark == newest
	}
	m := draw.NewSVG(92, 72)
	draw.Map(m, c, opt)
	d.Map = m.HTML("map", "Map of "+c.Name+": tap a turn", "the turns stand as buttons below it too")
	if x.Step > 0 {
		// A step that was not ridden enough has no verdict; the page does without.
		if v, err := s.verdictOf(r.Context(), x.Step); err == nil && v.Rider != "" {
			d.Verdicts = append(d.Verdicts, v.Rider)
		}
	}
	return page{Title: title, Name: "phone", Script: "phone.js", Body: d}, nil
}
