package draw

import (
	"html"
	"html/template"
	"math"
	"strconv"
	"strings"

	"cornerwright/internal/say"
)

// SVG is a Canvas that writes an SVG element. Colours are presentation
// attributes (a strict content policy allows those, but no style attributes)
// and every stroke also carries a class by its ink (k-dark, k-accent, ...) so
// that a page's style sheet can recolour it.
type SVG struct {
	w, h float64
	b    strings.Builder
	fine int
}

// NewSVG returns an empty picture of w by h mm.
func NewSVG(w, h float64) *SVG { return &SVG{w: w, h: h, fine: 2} }

// Size of the picture in mm.
func (s *SVG) Size() (w, h float64) { return s.w, s.h }

// Resize changes the height once a figure knows it.
func (s *SVG) Resize(w, h float64) { s.w, s.h = w, h }

var hex = [...]string{None: "none", Dark: "#1d1b18", Soft: "#5c564c", Faint: "#cdc5b4",
	Accent: "#0b5d7a", Warn: "#8a4b00", Paper: "#fbf9f3", Wash: "#efe9db", Shade: "#dfd6c2", Clear: "none", Black: "#000", White: "#fff"}

var class = [...]string{None: "", Dark: "dark", Soft: "soft", Faint: "faint", Accent: "accent",
	Warn: "warn", Paper: "paper", Wash: "wash", Shade: "shade", Clear: "clear", Black: "black", White: "white"}

func (s *SVG) num(v float64) {
	p := math.Pow(10, float64(s.fine))
	r := math.Round(v*p) / p
	if r == 0 {
		r = 0
	}
	var buf [32]byte
	s.b.Write(strconv.AppendFloat(buf[:0], r, 'f', -1, 64))
}

func (s *SVG) attr(name string, v float64) {
	s.b.WriteByte(' ')
	s.b.WriteString(name)
	s.b.WriteString(`="`)
	s.num(v)
	s.b.WriteByte('"')
}

func (s *SVG) paint(pen Pen, fill Ink) {
	cls := ""
	if pen.Ink != None && pen.Width > 0 {
		cls = "k-" + class[pen.Ink]
	}
	if fill != None {
		if cls != "" {
			cls += " "
		}
		cls += "f-" + class[fill]
	}
	if cls != "" {
		s.b.WriteString(` class="` + cls + `"`)
	}
	s.b.WriteString(` fill="` + hex[fill] + `"`)
	if fill == Clear {
		s.b.WriteString(` pointer-events="all"`)
	}
	if pen.Ink != None && pen.Width > 0 {
		s.b.WriteString(` stroke="` + hex[pen.Ink] + `"`)
		s.attr("stroke-width", pen.Width)
		if len(pen.Dash) > 0 {
			s.b.WriteString(` stroke-dasharray="`)
			for i, d := range pen.Dash {
				if i > 0 {
					s.b.WriteByte(' ')
				}
				s.num(d)
			}
			s.b.WriteByte('"')
		}
	}
}

// Path implements Canvas.
func (s *SVG) Path(p []Point, closed bool, pen Pen, fill Ink) {
	if len(p) == 0 {
		return
	}
	s.b.WriteString(`<path d="`)
	up := true
	var last Point
	for _, q := range p {
		if !finite(q.X, q.Y) {
			up = true
			continue
		}
		if !up && math.Abs(q.X-last.X) < 0.02 && math.Abs(q.Y-last.Y) < 0.02 {
			continue // finer than the paper
		}
		if up {
			s.b.WriteByte('M')
		} else {
			s.b.WriteByte('L')
		}
		s.num(q.X)
		s.b.WriteByte(' ')
		s.num(q.Y)
		up, last = false, q
	}
	if closed {
		s.b.WriteByte('Z')
	}
	s.b.WriteByte('"')
	s.paint(pen, fill)
	s.b.WriteString(` stroke-linejoin="round" stroke-linecap="round"/>`)
}

// Rect implements Canvas.
func (s *SVG) Rect(x, y, w, h float64, pen Pen, fill Ink) {
	s.b.WriteString("<rect")
	s.attr("x", x)
	s.attr("y", y)
	s.attr("width", math.Max(w, 0))
	s.attr("height", math.Max(h, 0))
	s.paint(pen, fill)
	s.b.WriteString("/>")
}

// Circle implements Canvas.
func (s *SVG) Circle(c Point, r float64, pen Pen, fill Ink) {
	s.b.WriteString("<circle")
	s.attr("cx", c.X)
	s.attr("cy", c.Y)
	s.attr("r", r)
	s.paint(pen, fill)
	s.b.WriteString("/>")
}

// Text implements Canvas.
func (s *SVG) Text(at Point, txt string, t Text) {
	if !finite(at.X, at.Y) {
		return
	}
	s.b.WriteString("<text")
	s.attr("x", at.X)
	s.attr("y", at.Y)
	s.attr("font-size", t.Size)
	cls := "t f-" + class[t.Ink]
	if t.Mono {
		cls += " m"
	}
	if t.Halo {
		cls += " halo"
	}
	s.b.WriteString(` class="` + cls + `" fill="` + hex[t.Ink] + `"`)
	switch t.Anchor {
	case Middle:
		s.b.WriteString(` text-anchor="middle"`)
	case End:
		s.b.WriteString(` text-anchor="end"`)
	}
	if t.Bold {
		s.b.WriteString(` font-weight="700"`)
	}
	if t.Italic {
		s.b.WriteString(` font-style="italic"`)
	}
	if t.Halo {
		s.b.WriteString(` paint-order="stroke" stroke="` + hex[Paper] + `" stroke-linejoin="round"`)
		s.attr("stroke-width", t.Size*0.28)
	}
	if t.Angle != 0 {
		s.b.WriteString(` transform="rotate(`)
		s.num(-t.Angle)
		s.b.WriteByte(' ')
		s.num(at.X)
		s.b.WriteByte(' ')
		s.num(at.Y)
		s.b.WriteString(`)"`)
	}
	s.b.WriteByte('>')
	s.b.WriteString(html.EscapeString(txt))
	s.b.WriteString("</text>")
}

// Width implements Canvas. Page fonts are the reader's own, so this is an
// estimate from the advance widths of a common sans-serif face, on the wide side.
func (s *SVG) Width(txt string, t Text) float64 {
	txt = say.Text(txt).String()
	if t.Mono {
		return 0.62 * t.Size * float64(len([]rune(txt)))
	}
	w := 0.0
	for _, r := range txt {
		switch {
		case r == ' ' || r == '.' || r == ',' || r == ':' || r == ';' || r == '\'' || r == '|' || r == 'i' || r == 'l' || r == 'j' || r == 'I' || r == 't' || r == 'f' || r == 'r' || r == '(' || r == ')':
			w += 0.36
		case r == 'm' || r == 'w' || r == 'M' || r == 'W' || r == '%' || r == '→' || r == '…':
			w += 0.92
		case r >= 'A' && r <= 'Z' || r > 127:
			w += 0.68
		default:
			w += 0.575
		}
	}
	if t.Bold {
		w *= 1.07
	}
	return w * t.Size
}

// Link implements Canvas. Only local paths and fragments become links.
func (s *SVG) Link(href, label string, f func()) {
	if !strings.HasPrefix(href, "/") && !strings.HasPrefix(href, "#") || strings.HasPrefix(href, "//") {
		f()
		return
	}
	s.b.WriteString(`<a href="` + html.EscapeString(href) + `" aria-label="` + html.EscapeString(label) + `">`)
	f()
	s.b.WriteString("</a>")
}

// Titled implements Canvas.
func (s *SVG) Titled(title string, f func()) {
	s.b.WriteString("<g><title>" + html.EscapeString(title) + "</title>")
	f()
	s.b.WriteString("</g>")
}

// HTML returns the whole element, with a text alternative: name says what the
// picture is, description what it shows. Size on the page is left to the style
// sheet by class; the picture's own width in mm is its natural size.
func (s *SVG) HTML(class string, name, description say.Text) template.HTML {
	var o strings.Builder
	role := "img"
	if strings.Contains(s.b.String(), "<a ") {
		role = "group" // links inside an image would be hidden from readers
	}
	o.WriteString(`<svg xmlns="http://www.w3.org/2000/svg" class="fig ` + html.EscapeString(class) + `" role="` + role + `" viewBox="0 0 `)
	o.WriteString(strconv.FormatFloat(math.Round(s.w*100)/100, 'f', -1, 64) + " " + strconv.FormatFloat(math.Round(s.h*100)/100, 'f', -1, 64))
	o.WriteString(`" width="` + strconv.FormatFloat(math.Round(s.w*3.7795), 'f', -1, 64) + `" height="` + strconv.FormatFloat(math.Round(s.h*3.7795), 'f', -1, 64) + `"`)
	label := name
	if description != "" {
		label = say.T("{picture}. {shows}", name, description)
	}
	o.WriteString(` aria-label="` + html.EscapeString(string(label)) + `" font-family="system-ui, 'Go', 'DejaVu Sans', sans-serif">`)
	o.WriteString(s.b.String())
	o.WriteString("</svg>")
	return template.HTML(o.String()) //nolint:gosec // every string written above is escaped
}

// Said puts the texts of the catalogue that stand in drawn pictures into a
// language, escaped as the words around them are.
func Said(page []byte, l say.Language) []byte {
	return say.Replace(page, func(t string) string {
		return html.EscapeString(say.Text(html.UnescapeString(t)).In(l))
	})
}
