package paper

import (
	"fmt"
	"math"
	"strings"

	"cornerwright/internal/draw"
	"cornerwright/internal/setting"
)

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
