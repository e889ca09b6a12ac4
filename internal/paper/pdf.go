package paper

import (
	"bytes"
	"fmt"
	"math"
	"strconv"
	"time"

	"codeberg.org/go-pdf/fpdf"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goitalic"
	"golang.org/x/image/font/gofont/gomono"
	"golang.org/x/image/font/gofont/goregular"

	"cornerwright/internal/draw"
	"cornerwright/internal/say"
)

// Size is a sheet of paper in mm.
type Size struct {
	Name string
	W, H float64
}

// The sizes of paper.
var (
	A4     = Size{"A4", 210, 297}
	Letter = Size{"Letter", 215.9, 279.4}
)

// SizeNamed returns the size with a name, A4 where the name is empty.
func SizeNamed(name string) (Size, error) {
	switch name {
	case "", "A4", "a4":
		return A4, nil
	case "Letter", "letter":
		return Letter, nil
	}
	return Size{}, say.Error("paper size {name} is not known", strconv.Quote(name))
}

const (
	margin = 13.0
	body   = 3.25 // mm, size of running text: 9.2 pt
	lead   = 1.38 // line height over size
)

// pdf is a draw.Canvas on fpdf and the text layout on top of it. Everything is
// vector, fonts are embedded, and the bytes depend on the content alone.
type pdf struct {
	f     *fpdf.Fpdf
	size  Size
	y     float64
	dx    float64 // origin of the canvas
	dy    float64
	foot  string
	pages int
}

func newPDF(size Size, title, foot string, date time.Time) *pdf {
	f := fpdf.NewCustom(&fpdf.InitType{OrientationStr: "P", UnitStr: "mm", Size: fpdf.SizeType{Wd: size.W, Ht: size.H}})
	if date.IsZero() {
		date = time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)
	}
	f.SetCreationDate(date.UTC())
	f.SetModificationDate(date.UTC())
	f.SetCatalogSort(true)
	f.SetProducer("cornerwright", true)
	f.SetTitle(title, true)
	f.SetLang("en")
	f.SetAutoPageBreak(false, 0)
	f.SetMargins(0, 0, 0)
	// fpdf writes into the font it cuts down: each document gets its own copy.
	f.AddUTF8FontFromBytes("go", "", bytes.Clone(goregular.TTF))
	f.AddUTF8FontFromBytes("go", "B", bytes.Clone(gobold.TTF))
	f.AddUTF8FontFromBytes("go", "I", bytes.Clone(goitalic.TTF))
	f.AddUTF8FontFromBytes("gomono", "", bytes.Clone(gomono.TTF))
	p := &pdf{f: f, size: size, foot: foot}
	p.page()
	return p
}

func (p *pdf) page() {
	p.f.AddPage()
	p.pages++
	p.y = margin
	p.dx, p.dy = 0, 0
	p.Text(draw.Point{X: margin, Y: p.size.H - 6}, draw.Fit(p, p.foot, p.size.W-2*margin-18, draw.Text{Size: 2.5}), draw.Text{Size: 2.5, Ink: draw.Soft})
	p.Text(draw.Point{X: p.size.W - margin, Y: p.size.H - 6}, fmt.Sprintf("page %d", p.pages), draw.Text{Size: 2.5, Ink: draw.Soft, Anchor: draw.End})
}

// need starts a new page where less than h mm are left.
func (p *pdf) need(h float64) {
	if p.y+h > p.size.H-11 {
		p.page()
	}
}

func (p *pdf) width() float64 { return p.size.W - 2*margin }

func (p *pdf) bytes() ([]byte, error) {
	var b bytes.Buffer
	if err := p.f.Output(&b); err != nil {
		return nil, fmt.Errorf("paper: %w", err)
	}
	return b.Bytes(), nil
}

// grey per ink: paper is black and white, and must survive a bad copier.
var grey = [...]int{draw.Dark: 0, draw.Soft: 70, draw.Faint: 150, draw.Accent: 0, draw.Warn: 0, draw.Paper: 255, draw.Wash: 236, draw.Shade: 214, draw.Clear: 255, draw.Black: 0, draw.White: 255, draw.None: 0}

func (p *pdf) style(pen draw.Pen, fill draw.Ink) string {
	s := ""
	if fill != draw.None && fill != draw.Clear {
		g := grey[fill]
		p.f.SetFillColor(g, g, g)
		s = "F"
	}
	if pen.Ink != draw.None && pen.Width > 0 {
		g := grey[pen.Ink]
		p.f.SetDrawColor(g, g, g)
		p.f.SetLineWidth(pen.Width)
		p.f.SetDashPattern(pen.Dash, 0)
		p.f.SetLineCapStyle("butt")
		if len(pen.Dash) == 0 {
			p.f.SetLineCapStyle("round")
		}
		p.f.SetLineJoinStyle("round")
		s += "D"
	}
	return s
}

// Path implements draw.Canvas.
func (p *pdf) Path(pts []draw.Point, closed bool, pen draw.Pen, fill draw.Ink) {
	s := p.style(pen, fill)
	if s == "" {
		return
	}
	up, any := true, false
	for _, q := range pts {
		if math.IsNaN(q.X) || math.IsNaN(q.Y) {
			up = true
			continue
		}
		if up {
			p.f.MoveTo(p.dx+q.X, p.dy+q.Y)
		} else {
			p.f.LineTo(p.dx+q.X, p.dy+q.Y)
			any = true
		}
		up = false
	}
	if closed && any {
		p.f.ClosePath()
	}
	p.f.DrawPath(s)
}

// Rect implements draw.Canvas.
func (p *pdf) Rect(x, y, w, h float64, pen draw.Pen, fill draw.Ink) {
	if s := p.style(pen, fill); s != "" {
		p.f.Rect(p.dx+x, p.dy+y, w, h, s)
	}
}

// Circle implements draw.Canvas.
func (p *pdf) Circle(c draw.Point, r float64, pen draw.Pen, fill draw.Ink) {
	if s := p.style(pen, fill); s != "" {
		p.f.Circle(p.dx+c.X, p.dy+c.Y, r, s)
	}
}

func (p *pdf) font(t draw.Text) {
	fam, st := "go", ""
	switch {
	case t.Mono:
		fam = "gomono"
	case t.Bold:
		st = "B"
	case t.Italic:
		st = "I"
	}
	p.f.SetFont(fam, st, t.Size*72/25.4)
}

// plain replaces what the embedded fonts do not hold and fpdf cannot place, so
// that no character is lost without a sign.
func plain(s string) string {
	s = say.Text(s).String() // paper is English
	out := make([]rune, 0, len(s))
	for _, r := range s {
		switch {
		case r == '\u00a0' || r == '\u202f' || r == '\u2009':
			r = ' '
		case r < ' ' && r != '\n':
			r = ' '
		case r > 0xffff: // outside what a PDF text of this kind can address
			r = '\u25a1'
		}
		out = append(out, r)
	}
	return string(out)
}

// Text implements draw.Canvas.
func (p *pdf) Text(at draw.Point, s string, t draw.Text) {
	s = plain(s)
	if s == "" || math.IsNaN(at.X) || math.IsNaN(at.Y) {
		return
	}
	p.font(t)
	x, y := p.dx+at.X, p.dy+at.Y
	w := p.f.GetStringWidth(s)
	ox := 0.0
	switch t.Anchor {
	case draw.Middle:
		ox = -w / 2
	case draw.End:
		ox = -w
	}
	if t.Halo {
		p.f.SetFillColor(255, 255, 255)
		if t.Angle == 0 {
			p.f.Rect(x+ox-0.2, y-t.Size*0.76, w+0.4, t.Size*0.8, "F")
		}
	}
	g := grey[t.Ink]
	p.f.SetTextColor(g, g, g)
	if t.Angle != 0 {
		p.f.TransformBegin()
		p.f.TransformRotate(t.Angle, x, y)
		p.f.Text(x+ox, y, s)
		p.f.TransformEnd()
		return
	}
	p.f.Text(x+ox, y, s)
}

// Width implements draw.Canvas.
func (p *pdf) Width(s string, t draw.Text) float64 {
	p.font(t)
	return p.f.GetStringWidth(plain(s))
}

// Link implements draw.Canvas: paper has none.
func (p *pdf) Link(_, _ string, f func()) { f() }

// Titled implements draw.Canvas: paper has none.
func (p *pdf) Titled(_ string, f func()) { f() }

// at draws with the canvas origin moved.
func (p *pdf) at(x, y float64, f func()) {
	ox, oy := p.dx, p.dy
	p.dx, p.dy = x, y
	f()
	p.dx, p.dy = ox, oy
}

// para sets wrapped text at x, w wide, and moves down.
func (p *pdf) para(x, w float64, s string, t draw.Text) {
	if t.Size == 0 {
		t.Size = body
	}
	if t.Ink == draw.None {
		t.Ink = draw.Dark
	}
	for _, l := range draw.Wrap(p, s, w, t) {
		p.need(t.Size * lead)
		p.Text(draw.Point{X: x, Y: p.y + t.Size}, l, t)
		p.y += t.Size * lead
	}
}

// tall is the height para would use.
func (p *pdf) tall(w float64, s string, t draw.Text) float64 {
	if t.Size == 0 {
		t.Size = body
	}
	return float64(len(draw.Wrap(p, s, w, t))) * t.Size * lead
}

func (p *pdf) rule(width float64) {
	p.Path([]draw.Point{{X: margin, Y: p.y}, {X: p.size.W - margin, Y: p.y}}, false, draw.Pen{Ink: draw.Dark, Width: width}, draw.None)
}

// head is a small heading with a hairline over it.
func (p *pdf) head(s string) {
	p.need(24) // a heading takes some of its text along
	p.y += 2.6
	p.rule(0.2)
	p.y += 1.4
	p.para(margin, p.width(), s, draw.Text{Size: 3.5, Bold: true})
	p.y += 0.5
}

// facts sets label and value pairs in columns.
func (p *pdf) facts(list []Fact, cols int) {
	w := p.width() / float64(cols)
	for i := 0; i < len(list); i += cols {
		row := list[i:min(i+cols, len(list))]
		most := 0.0
		for _, f := range row {
			most = math.Max(most, p.tall(w-3, f.Value, draw.Text{Size: body})+3.6)
		}
		p.need(most)
		y := p.y
		for k, f := range row {
			x := margin + float64(k)*w
			p.Text(draw.Point{X: x, Y: y + 2.6}, f.Name, draw.Text{Size: 2.6, Ink: draw.Soft})
			p.y = y + 3.4
			p.para(x, w-3, f.Value, draw.Text{})
		}
		p.y = y + most + 0.8
	}
}

// boxed frames what f writes, indented.
func (p *pdf) bullets(list []string, mark string) {
	for _, s := range list {
		h := p.tall(p.width()-5, s, draw.Text{})
		p.need(math.Min(h, 30))
		p.Text(draw.Point{X: margin + 0.6, Y: p.y + body}, mark, draw.Text{Size: body, Ink: draw.Dark, Bold: true})
		p.para(margin+5, p.width()-5, s, draw.Text{})
		p.y += 0.5
	}
}

// table sets rows under a header; widths are shares of the text width. Long
// cells wrap.
func (p *pdf) table(head []string, rows [][]string, shares []float64) {
	total := 0.0
	for _, s := range shares {
		total += s
	}
	const fs = 2.9
	x := make([]float64, len(shares))
	w := make([]float64, len(shares))
	at := margin
	for i, s := range shares {
		x[i], w[i] = at, p.width()*s/total
		at += w[i]
	}
	header := func() {
		for i, h := range head {
			p.Text(draw.Point{X: x[i], Y: p.y + fs}, draw.Fit(p, h, w[i]-1, draw.Text{Size: 2.6}), draw.Text{Size: 2.6, Ink: draw.Soft})
		}
		p.y += fs * lead
		p.rule(0.3)
		p.y += 0.6
	}
	p.need(14)
	header()
	for _, r := range rows {
		h := fs * lead
		lines := make([][]string, len(r))
		for i, c := range r {
			if i < len(w) {
				lines[i] = draw.Wrap(p, c, w[i]-2, draw.Text{Size: fs})
				h = math.Max(h, float64(len(lines[i]))*fs*lead)
			}
		}
		if p.y+h > p.size.H-11 {
			p.page()
			header()
		}
		for i := range lines {
			for k, l := range lines[i] {
				p.Text(draw.Point{X: x[i], Y: p.y + fs + float64(k)*fs*lead}, l, draw.Text{Size: fs, Ink: draw.Dark})
			}
		}
		p.y += h + 0.5
		p.Path([]draw.Point{{X: margin, Y: p.y}, {X: p.size.W - margin, Y: p.y}}, false, draw.Pen{Ink: draw.Faint, Width: 0.15}, draw.None)
		p.y += 0.7
	}
}

// boxes are the places to sign.
func (p *pdf) boxes(who []string) {
	p.need(24)
	p.y += 3
	w := (p.width() - 4*float64(len(who)-1)) / float64(len(who))
	for i, s := range who {
		x := margin + float64(i)*(w+4)
		p.Rect(x, p.y, w, 19, draw.Pen{Ink: draw.Dark, Width: 0.3}, draw.None)
		p.Text(draw.Point{X: x + 1.5, Y: p.y + 3.4}, s, draw.Text{Size: 2.7, Ink: draw.Soft})
		p.Path([]draw.Point{{X: x + 1.5, Y: p.y + 13.6}, {X: x + w - 1.5, Y: p.y + 13.6}}, false, draw.Pen{Ink: draw.Faint, Width: 0.2}, draw.None)
		p.Text(draw.Point{X: x + 1.5, Y: p.y + 17.2}, "name, date, time", draw.Text{Size: 2.5, Ink: draw.Soft})
	}
	p.y += 21
}
