package web

import (
	"context"
	"fmt"
	"html/template"
	"net/http"
	"strconv"

	"cornerwright/internal/book"
	"cornerwright/internal/circuit"
	"cornerwright/internal/debrief"
	"cornerwright/internal/draw"
	"cornerwright/internal/paper"
	"cornerwright/internal/say"
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
	Others   int        // remarks of others on this run
	Verdicts []say.Text // of the step under trial, in the rider's words
	Key      string
	Saved    bool
	Typed    map[string]string
	Trouble  say.Text
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
		s.render(w, r, http.StatusOK, page{Title: say.T("No run yet"), Name: "waiting"})
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
	title := say.T("Run {number}", x.Number)
	if x.Circuit == "" {
		return page{Title: title, Name: "phone", Script: "phone.js", Body: d}, nil
	}
	all, err := s.heardOf(r.Context(), x)
	if err != nil {
		return page{}, err
	}
	c := all.circuit
	d.Turns = c.Turns
	if t := r.FormValue("turn"); t != "" {
		if n, err := strconv.Atoi(t); err == nil && (n == 0 || c.Turn(n) != nil) {
			d.Turn, d.Chosen = n, true
		}
	}
	if w := debrief.Lookup(debrief.Complaint(r.FormValue("says"))); w != nil && d.Chosen {
		d.Says = w
	}
	// Who has a name sees what that name said; the others are counted.
	you, newest := youOf(r).Name, -1
	for _, f := range all.said {
		if you != "" && f.Remark != nil && f.Remark.Rider != "" && f.Remark.Rider != you {
			d.Others++
			continue
		}
		d.Said = append(d.Said, phoneRow{findingRow: f})
		if newest < 0 || f.Finding.Remark > d.Said[newest].Finding.Remark {
			newest = len(d.Said) - 1
		}
	}
	if newest >= 0 {
		d.Said[newest].Fresh = true
	}
	d.Map = s.phoneMap(x, c, d.Turn)
	if x.Step > 0 {
		// A step that was not ridden enough has no verdict; the page does without.
		if v, err := s.verdictOf(r.Context(), x.Step); err == nil && v.Rider != "" {
			d.Verdicts = append(d.Verdicts, v.Rider)
		}
	}
	return page{Title: title, Name: "phone", Script: "phone.js", Body: d}, nil
}

// heardOn is what every phone on a run shows the same.
type heardOn struct {
	circuit *circuit.Circuit
	said    []findingRow
}

func (s *server) heardOf(ctx context.Context, x book.Run) (*heardOn, error) {
	return recall(ctx, s, fmt.Sprintf("phone %d", x.Number), func(ctx context.Context) (*heardOn, error) {
		c, err := s.book.Circuit(x.Circuit)
		if err != nil {
			return nil, err
		}
		res, err := s.debriefOf(ctx, x.Number, debrief.Options{Run: x.Number, Unasked: -1})
		if err != nil {
			return nil, err
		}
		rs, err := s.book.Remarks(x.Number)
		if err != nil {
			return nil, err
		}
		by := map[int]*book.Remark{}
		for i := range rs {
			by[rs[i].ID] = &rs[i]
		}
		out := &heardOn{circuit: c}
		for _, f := range res.Findings {
			out.said = append(out.said, findingRow{Finding: f, Where: paper.Where(f.Turn, f.Phase), Remark: by[f.Remark]})
		}
		return out, nil
	})
}

// phoneMap is the map to tap on. It is the same for all, whatever is said.
func (s *server) phoneMap(x book.Run, c *circuit.Circuit, turn int) template.HTML {
	key := fmt.Sprintf("%d %s %d %d", x.Number, c.Name, c.Version, turn)
	if v, ok := s.memo.maps.Load(key); ok {
		return v.(template.HTML)
	}
	m := draw.NewSVG(92, 72)
	draw.Map(m, c, draw.MapOptions{Width: 92, Height: 72, Plain: true, Emphasis: map[int]bool{turn: true},
		TurnHref: func(t int) string { return fmt.Sprintf("/phone/%d?turn=%d#what", x.Number, t) }})
	pic := m.HTML("map", say.T("Map of {name}: tap a turn", c.Name), say.T("the turns stand as buttons below it too"))
	if s.memo.mapped.Add(1) > maxMaps {
		s.memo.maps.Clear()
		s.memo.mapped.Store(1)
	}
	s.memo.maps.Store(key, pic)
	return pic
}
