package paper

import (
	"time"

	"cornerwright/internal/draw"
	"cornerwright/internal/say"
)

// RunLine is one run of a day, in words.
type RunLine struct{ Run, Laps, Best, Median, Conditions, Changed string }

// VerdictLine is one verdict of a day.
type VerdictLine struct{ Title, Text string }

// DayReport is a meeting or day on paper: runs in order, what changed between
// them, the verdicts, the remarks, and what is open.
type DayReport struct {
	Title    string
	Lead     string
	Date     time.Time
	Facts    []Fact
	Runs     []RunLine
	Verdicts []VerdictLine
	Effects  []draw.IntervalRow // the primaries, drawn on one axis
	Unit     string             // of Effects
	Remarks  []string
	Open     []string
}

// HTML sets the report as a page of its own; see ChangeSheet.HTML for href.
func (d *DayReport) HTML(href string) ([]byte, error) {
	f := newFrame(d.Title, href, d)
	if len(d.Effects) > 0 {
		v := draw.NewSVG(180, 40)
		h := draw.Intervals(v, d.Effects, d.axis(180))
		v.Resize(180, h)
		f.Intervals = v.HTML("intervals", say.T("Effects of the day's steps"), "")
	}
	return render("day", f)
}

func (d *DayReport) axis(w float64) draw.IntervalOptions {
	return draw.IntervalOptions{Width: w, Unit: d.Unit, Less: "trial less", More: "trial more"}
}

// PDF sets the report.
func (d *DayReport) PDF(size Size) ([]byte, error) {
	p := newPDF(size, d.Title, d.Title, d.Date)
	p.para(margin, p.width(), d.Title, draw.Text{Size: 6, Bold: true})
	p.para(margin, p.width(), d.Lead, draw.Text{Size: 3.6})
	p.y += 1.2
	p.rule(0.6)
	p.y += 2
	p.facts(d.Facts, 4)
	p.head("Runs in order")
	var rows [][]string
	for _, r := range d.Runs {
		rows = append(rows, []string{r.Run, r.Laps, r.Best, r.Median, r.Conditions, r.Changed})
	}
	if len(rows) == 0 {
		p.para(margin, p.width(), "No run yet.", draw.Text{})
	} else {
		p.table([]string{"run", "laps", "best", "median", "tyre, weather", "what changed before it"}, rows, []float64{1, 0.7, 1.1, 1.1, 2, 3.4})
	}
	if len(d.Verdicts) > 0 {
		p.head("Verdicts")
		for _, v := range d.Verdicts {
			p.para(margin, p.width(), v.Title, draw.Text{Bold: true})
			p.para(margin, p.width(), v.Text, draw.Text{})
			p.y += 1
		}
		if len(d.Effects) > 0 {
			p.need(16 + 7.4*float64(len(d.Effects)))
			h := 0.0
			p.at(margin, p.y+1, func() { h = draw.Intervals(p, d.Effects, d.axis(p.width())) })
			p.y += h + 2
		}
	}
	if len(d.Remarks) > 0 {
		p.head("Remarks")
		p.bullets(d.Remarks, "·")
	}
	p.head("Open")
	if len(d.Open) == 0 {
		p.para(margin, p.width(), "Nothing is open.", draw.Text{})
	}
	p.bullets(d.Open, "·")
	return p.bytes()
}
