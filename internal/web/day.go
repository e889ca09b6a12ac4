package web

import (
	"context"
	"fmt"
	"net/http"
	"sort"
	"strconv"
	"strings"

	"cornerwright/internal/book"
	"cornerwright/internal/draw"
	"cornerwright/internal/paper"
	"cornerwright/internal/say"
)

type dayRow struct {
	book.Run
	Changed  say.Text
	Remarks  int
	TyreLaps int // timed laps on this tyre up to the end of the run
}

type dayStep struct {
	book.Step
	Answer string   // of its newest verdict, in words; "" where there is none yet
	Open   say.Text // what is to be done about it, "" for nothing
}

type dayPage struct {
	Meeting  *book.Meeting
	Meetings []book.Meeting
	Rows     []dayRow
	Steps    []dayStep
	Bikes    []book.BikeRecord
	Open     []say.Text
	You      string
}

// day shows the newest meeting, or the one that is asked for.
func (s *server) day(r *http.Request) (page, error) {
	all, err := s.book.Meetings()
	if err != nil {
		return page{}, err
	}
	bikes, err := s.book.Bikes()
	if err != nil {
		return page{}, err
	}
	d := dayPage{Meetings: all, Bikes: bikes}
	id := r.PathValue("meeting")
	for i := range all {
		if all[i].ID == id || id == "" && i == 0 {
			d.Meeting = &all[i]
		}
	}
	if id != "" && d.Meeting == nil {
		return page{}, &book.Error{Kind: book.ErrNotFound, Text: say.T("there is no meeting {id}", fmt.Sprintf("%q", id)), Mend: say.T("choose one on the page of the day")}
	}
	title := say.T("The day")
	if d.Meeting != nil {
		title = meetingName(*d.Meeting, youOf(r))
		if err := s.fillDay(r.Context(), &d); err != nil {
			return page{}, err
		}
	}
	return page{Title: title, Name: "day", Body: d}, nil
}

func meetingName(m book.Meeting, y You) say.Text {
	if m.Name != "" {
		return say.Plain(m.Name)
	}
	if m.Circuit == "" {
		return say.T("No circuit, {day}", say.Key(y.day(m.Day)))
	}
	return say.T("{circuit}, {day}", m.Circuit, say.Key(y.day(m.Day)))
}

func (s *server) fillDay(ctx context.Context, d *dayPage) error {
	runs, err := s.book.Runs(book.RunFilter{Meeting: d.Meeting.ID})
	if err != nil {
		return err
	}
	sort.SliceStable(runs, func(i, j int) bool {
		a, b := runs[i], runs[j]
		if !a.Started.IsZero() && !b.Started.IsZero() && !a.Started.Equal(b.Started) {
			return a.Started.Before(b.Started)
		}
		return a.Number < b.Number
	})
	in := map[int]bool{}
	tyre := map[string]int{}
	said := 0
	for i, x := range runs {
		in[x.Number] = true
		row := dayRow{Run: x}
		var ch []say.Text
		if x.Step > 0 {
			ch = append(ch, say.T("step {step} under trial", x.Step))
		}
		if i > 0 {
			p := runs[i-1]
			for _, c := range []struct{ name, was, is string }{{"bike", p.Bike, x.Bike}, {"tyre", p.Tyre, x.Tyre}, {"weather", p.Weather, x.Weather}, {"slot", p.Slot, x.Slot}} {
				if c.is != c.was && c.is != "" {
					ch = append(ch, say.T("{what}: {value}", say.Key(c.name), c.is))
				}
			}
			if x.Sheet != p.Sheet && x.Sheet > 0 {
				ch = append(ch, say.T("sheet {sheet}", x.Sheet))
			}
		}
		row.Changed = say.Join(ch, "; ")
		if x.Tyre != "" {
			tyre[x.Bike+"\x00"+x.Tyre] += x.Laps
			row.TyreLaps = tyre[x.Bike+"\x00"+x.Tyre]
		}
		rs, err := s.book.Remarks(x.Number)
		if err != nil {
			return err
		}
		for _, m := range rs {
			if !m.Struck {
				row.Remarks++
			}
		}
		said += row.Remarks
		d.Rows = append(d.Rows, row)
	}
	steps, err := s.book.Steps("")
	if err != nil {
		return err
	}
	for _, st := range steps {
		if st.Run != 0 && !in[st.Run] {
			continue
		}
		q := dayStep{Step: st}
		if st.State != book.Proposed {
			// A step that was not ridden enough has no answer yet.
			if v, err := s.verdictOf(ctx, st.ID); err == nil {
				q.Answer = string(v.Primary.Answer)
			}
		}
		switch st.State {
		case book.Proposed:
			q.Open = say.T("hand over the change sheet; say so when it is loaded")
		case book.Loaded, book.Repeated:
			q.Open = say.T("ride it, add the run, read the verdict, then keep, revert or repeat")
		}
		if q.Open != "" {
			d.Open = append(d.Open, say.T("Step {step} ({setting}, slot {slot}) is {state}: {what}.", st.ID, st.Setting, st.Slot, say.Key(st.State), q.Open))
		}
		d.Steps = append(d.Steps, q)
	}
	if len(runs) > 0 && said == 0 {
		d.Open = append(d.Open, say.T("No rider has said anything about these runs yet."))
	}
	return nil
}

// report puts a meeting on paper.
func (s *server) report(r *http.Request) (*paper.DayReport, error) {
	p, err := s.day(r)
	if err != nil {
		return nil, err
	}
	d := p.Body.(dayPage)
	out := &paper.DayReport{Title: "Day report · " + p.Title.String(), Open: say.Strings(d.Open), Unit: "s"}
	if d.Meeting == nil {
		return nil, &book.Error{Kind: book.ErrNotFound, Text: say.T("there is no run yet"), Mend: say.T("add a recording first")}
	}
	bike := map[string]bool{}
	best, bestRun := 0.0, 0
	for _, x := range d.Rows {
		bike[x.Bike] = true
		if x.Best > 0 && (best == 0 || x.Best < best) {
			best, bestRun = x.Best, x.Number
		}
		if out.Date.IsZero() {
			out.Date = x.Added
		}
		line := paper.RunLine{Run: strconv.Itoa(x.Number), Laps: strconv.Itoa(x.Laps), Best: "–", Median: "–", Changed: x.Changed.String()}
		if x.Best > 0 {
			line.Best = draw.LapTime(x.Best, 3)
		}
		laps, err := s.book.Laps(r.Context(), x.Number)
		if err != nil {
			return nil, err
		}
		var ts []float64
		for _, l := range laps {
			if l.Kind == "timed" {
				ts = append(ts, l.Time())
			}
		}
		if m := median(ts); len(ts) > 0 {
			line.Median = draw.LapTime(m, 3)
		}
		var c []string
		if x.Tyre != "" {
			c = append(c, fmt.Sprintf("%s, %d laps on it", x.Tyre, x.TyreLaps))
		}
		if x.Weather != "" {
			c = append(c, x.Weather)
		}
		line.Conditions = strings.Join(c, "; ")
		out.Runs = append(out.Runs, line)
		rs, err := s.book.Remarks(x.Number)
		if err != nil {
			return nil, err
		}
		for _, m := range rs {
			if !m.Struck {
				out.Remarks = append(out.Remarks, fmt.Sprintf("run %d: “%s”", x.Number, m.Words))
			}
		}
	}
	var names []string
	for b := range bike {
		names = append(names, b)
	}
	sort.Strings(names)
	out.Lead = fmt.Sprintf("%s; %d runs", strings.Join(names, ", "), len(d.Rows))
	if best > 0 {
		out.Facts = append(out.Facts, paper.Fact{Name: "best lap", Value: fmt.Sprintf("%s in run %d", draw.LapTime(best, 3), bestRun)})
	}
	for _, st := range d.Steps {
		if st.State == book.Proposed {
			continue
		}
		v, err := s.verdictOf(r.Context(), st.ID)
		if err != nil {
			continue // a step that was not ridden has none; it stands under what is open
		}
		out.Verdicts = append(out.Verdicts, paper.VerdictLine{Title: fmt.Sprintf("Step %d, %s, slot %s (%s)", st.ID, st.Setting, st.Slot, st.State), Text: v.Rider.String()})
		if v.Primary.Unit == "s" {
			out.Effects = append(out.Effects, draw.IntervalRow{Name: fmt.Sprintf("step %d, turn %d", st.ID, v.Primary.Turn), Value: v.Primary.Value, Lo: v.Primary.Lo, Hi: v.Primary.Hi, Matters: v.Primary.Matters, Answer: spaced(v.Primary.Answer)})
		}
	}
	return out, nil
}

// spaced turns an id into words: "not-enough-laps" reads as "not enough laps".
func spaced(a any) string { return strings.NewReplacer("-", " ", "_", " ").Replace(fmt.Sprint(a)) }
