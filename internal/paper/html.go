package paper

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"strings"

	"cornerwright/internal/draw"
	"cornerwright/internal/say"
	"cornerwright/internal/setting"
)

//go:embed paper.html
var source string

// CSS is the style sheet of all papers as HTML.
//
//go:embed paper.css
var CSS string

var papers = template.Must(template.New("paper").Parse(source))

// frame is what every paper's layout is given beside the paper itself.
type frame struct {
	Title, Href               string
	CSS                       template.CSS
	Doc                       any
	Side                      bool
	OldCells, NewCells        template.HTML
	NewNumber, Others, Passed string
	Standing                  []string
	Typed                     [][]string
	Map, LapsChart, Intervals template.HTML
}

func newFrame(title, href string, doc any) frame {
	return frame{Title: title, Href: href, CSS: template.CSS(CSS), Doc: doc} //nolint:gosec // our own style sheet
}

func render(name string, f frame) ([]byte, error) {
	var b bytes.Buffer
	if err := papers.ExecuteTemplate(&b, name, f); err != nil {
		return nil, fmt.Errorf("paper: %w", err)
	}
	return draw.Said(b.Bytes(), say.English{}), nil
}

// Headline is the change in one line.
func (c *ChangeSheet) Headline() string { return c.headline() }

// HTML sets the sheet as a page of its own. href names the style sheet; with ""
// the style is inside the page, so that a file can be opened alone.
func (c *ChangeSheet) HTML(href string) ([]byte, error) {
	f := newFrame(c.Title, href, c)
	cols := 0
	for _, r := range c.Old {
		cols = max(cols, len(r))
	}
	f.Side = c.Setting.Kind == setting.Grid && cols <= 6
	w := 180.0
	if f.Side {
		w = 90
		s := draw.NewSVG(w, 10)
		h := draw.Cells(s, c.Setting, c.Old, draw.CellsOptions{Width: w, Decimals: -1, Dwell: c.Dwell, Tall: true})
		s.Resize(w, h)
		f.OldCells = s.HTML("cells", say.T("Old values of {setting}", c.Setting.ID), say.T("The same values stand in the change, cell by cell"))
	}
	s := draw.NewSVG(w, 10)
	o := draw.CellsOptions{Width: w, Decimals: -1, New: c.New}
	if !f.Side {
		o.Dwell = c.Dwell
	}
	h := draw.Cells(s, c.Setting, c.Old, o)
	s.Resize(w, h)
	f.NewCells = s.HTML("cells", say.T("New values of {setting}", c.Setting.ID), say.Plain(strings.Join(c.Changed, "; ")))
	f.NewNumber, f.Others = orDash(c.NewNumber), c.othersLine()
	by := map[string]setting.Overrule{}
	for _, o := range c.Overrules {
		by[o.Guard] = o
	}
	var passed []string
	for _, g := range c.Guards {
		o, named := by[g.Guard]
		switch {
		case named:
			f.Standing = append(f.Standing, fmt.Sprintf("OVERRULED %s by %s: %s. (%s)", g.Guard, o.Who, strings.TrimSuffix(o.Reason, "."), g.Reason))
		case g.Pass:
			passed = append(passed, g.Guard)
		default:
			f.Standing = append(f.Standing, fmt.Sprintf("STANDS IN THE WAY %s: %s. %s", g.Guard, g.Reason, g.Mend))
		}
	}
	f.Passed = strings.Join(passed, ", ")
	for _, l := range strings.Split(strings.TrimRight(c.Table, "\n"), "\n") {
		f.Typed = append(f.Typed, strings.Split(l, "\t"))
	}
	return render("change", f)
}
