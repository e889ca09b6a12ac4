// Package draw makes the pictures: circuit maps, turn strips, small multiples,
// heat tables of cells, intervals and lap charts.
//
// It works in three layers. Scales and ticks are pure numbers (scale.go). The
// figures place strokes and words on a Canvas in millimetres, y downwards
// (map.go, strip.go, ...). A backend writes them: SVG here, PDF in package
// paper. The same figure therefore looks the same on the page and on paper.
//
// Shape comes before colour: reference laps are hollow and thin, trial laps
// filled and solid, the median thick, struck laps dashed. A figure uses ink, one
// accent and one hue for warnings, and says nothing by hue alone.
package draw

import (
	"math"

	"cornerwright/internal/say"
)

// Point is a place on the canvas: millimetres to the right and down.
type Point struct{ X, Y float64 }

// Ink names a colour by its role; the backend picks the colour for page, dark
// page or paper.
type Ink uint8

// The inks. None draws nothing.
const (
	None   Ink = iota
	Dark       // text and main strokes
	Soft       // secondary text and axes
	Faint      // hairlines and grids
	Accent     // the trial, and what can be acted on
	Warn       // remarks and cautions
	Paper      // the ground
	Wash       // a light band behind ink
	Shade      // a stronger band behind ink
	Clear      // not seen, but felt by a finger
	Black      // black and white in every theme
	White
)

// Pen strokes a path. Width in mm; Dash in mm, nil for a solid line.
type Pen struct {
	Ink   Ink
	Width float64
	Dash  []float64
}

// Anchor is the place of a text relative to its point.
type Anchor uint8

// Anchors along the line of text.
const (
	Start Anchor = iota
	Middle
	End
)

// Text is how words are set. Size is the height of an em in mm; Angle turns the
// text counter-clockwise, in degrees.
type Text struct {
	Size   float64
	Ink    Ink
	Anchor Anchor
	Bold   bool
	Italic bool
	Mono   bool
	Angle  float64
	// Halo draws the ground's colour behind the letters so that they can be
	// read over lines.
	Halo bool
}

// Words of figures are strings that may hold texts of package say, made to
// strings as they are: a page says them in its language (Said), paper in English.

// Canvas is what figures are drawn on. Text is placed with its baseline at the
// point. A path breaks where a coordinate is NaN.
type Canvas interface {
	Path(p []Point, closed bool, pen Pen, fill Ink)
	Rect(x, y, w, h float64, pen Pen, fill Ink)
	Circle(c Point, r float64, pen Pen, fill Ink)
	Text(at Point, s string, t Text)
	// Width of a text as set, in mm.
	Width(s string, t Text) float64
	// Link makes what f draws a link where the backend has links; label is
	// read out in its place.
	Link(href, label string, f func())
	// Titled gives what f draws a title that is shown on pointing at it.
	Titled(title string, f func())
}

// Look tells how a set of laps is drawn.
type Look uint8

// Looks of lap sets.
const (
	Reference Look = iota // hollow, thin
	Trial                 // filled, solid
	Median                // thick
	Struck                // dashed
	Chosen                // the lap that is talked about
)

// Pen of a line in a look.
func (l Look) Pen() Pen {
	switch l {
	case Trial:
		return Pen{Ink: Accent, Width: 0.35}
	case Median:
		return Pen{Ink: Dark, Width: 0.8}
	case Struck:
		return Pen{Ink: Soft, Width: 0.25, Dash: []float64{1.2, 0.9}}
	case Chosen:
		return Pen{Ink: Dark, Width: 0.5}
	}
	return Pen{Ink: Soft, Width: 0.2}
}

// Mark draws the lap mark of a look: a hollow ring for the reference, a filled
// square for the trial, a cross for a struck lap, a filled disc for a chosen or
// median one. r is half its size.
func Mark(c Canvas, at Point, r float64, l Look) {
	if math.IsNaN(at.X) || math.IsNaN(at.Y) {
		return
	}
	switch l {
	case Trial:
		c.Rect(at.X-r*0.88, at.Y-r*0.88, 1.76*r, 1.76*r, Pen{Ink: Accent, Width: 0.2}, Accent)
	case Struck:
		p := Pen{Ink: Soft, Width: 0.3}
		c.Path([]Point{{at.X - r, at.Y - r}, {at.X + r, at.Y + r}}, false, p, None)
		c.Path([]Point{{at.X - r, at.Y + r}, {at.X + r, at.Y - r}}, false, p, None)
	case Median, Chosen:
		c.Circle(at, r, Pen{Ink: Dark, Width: 0.2}, Dark)
	default:
		c.Circle(at, r, Pen{Ink: Dark, Width: 0.25}, Paper)
	}
}

func line(c Canvas, x1, y1, x2, y2 float64, p Pen) {
	c.Path([]Point{{x1, y1}, {x2, y2}}, false, p, None)
}

func finite(v ...float64) bool {
	for _, x := range v {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return false
		}
	}
	return true
}

// Fit shortens s with an ellipsis until it is at most w wide.
func Fit(c Canvas, s string, w float64, t Text) string {
	if c.Width(s, t) <= w || say.Marked(s) {
		return s // a text of the catalogue is never cut: its translation is another
	}
	r := []rune(s)
	for len(r) > 1 {
		r = r[:len(r)-1]
		if u := string(r) + "…"; c.Width(u, t) <= w {
			return u
		}
	}
	return string(r)
}

// Wrap breaks s into lines at most w wide, at spaces; a word that is too long
// by itself is broken.
func Wrap(c Canvas, s string, w float64, t Text) []string {
	var out []string
	for _, para := range splitLines(s) {
		cur := ""
		for _, word := range fields(para) {
			try := word
			if cur != "" {
				try = cur + " " + word
			}
			if c.Width(try, t) <= w {
				cur = try
				continue
			}
			if cur != "" {
				out = append(out, cur)
			}
			for c.Width(word, t) > w && len([]rune(word)) > 1 {
				r := []rune(word)
				n := len(r) - 1
				for n > 1 && c.Width(string(r[:n]), t) > w {
					n--
				}
				out = append(out, string(r[:n]))
				word = string(r[n:])
			}
			cur = word
		}
		out = append(out, cur)
	}
	return out
}

func splitLines(s string) []string {
	var out []string
	start := 0
	for i := 0; i < len(s); i++ {
		if s[i] == '\n' {
			out = append(out, s[start:i])
			start = i + 1
		}
	}
	return append(out, s[start:])
}

func fields(s string) []string {
	var out []string
	start := -1
	for i := 0; i <= len(s); i++ {
		if i == len(s) || s[i] == ' ' || s[i] == '\t' || s[i] == '\r' {
			if start >= 0 {
				out = append(out, s[start:i])
				start = -1
			}
		} else if start < 0 {
			start = i
		}
	}
	return out
}
