package draw

import (
	"cornerwright/internal/say"
	"cornerwright/internal/verdict"
)

// Season draws what several meetings say about one change: a row per meeting
// with its interval, and below them, bold, the mean over meetings. Returns the
// height. matters is the half-width of the band that does not matter, 0 for none.
func Season(c Canvas, s verdict.Season, matters float64, o IntervalOptions) float64 {
	var rows []IntervalRow
	for _, m := range s.Meetings {
		e := verdict.MeetingInterval(m)
		rows = append(rows, IntervalRow{Name: m.Name, Value: m.Value, Lo: e.Lo, Hi: e.Hi, Matters: matters, Answer: string(say.T("{ref} + {trial} laps", m.NRef, m.NTrial))})
	}
	word := string(say.T("all meetings"))
	if s.Disagreeing {
		word = string(say.T("meetings disagree"))
	}
	if len(s.Meetings) > 1 {
		rows = append(rows, IntervalRow{Name: string(say.T("together, {n}", len(s.Meetings))), Value: s.Effect.Value, Lo: s.Effect.Lo, Hi: s.Effect.Hi, Matters: matters, Answer: word, Primary: true})
	}
	return Intervals(c, rows, o)
}

// Shifted draws on c, moved right by dx and down by dy mm.
func Shifted(c Canvas, dx, dy float64) Canvas { return shifted{c, Point{dx, dy}} }

type shifted struct {
	Canvas
	by Point
}

func (s shifted) at(p Point) Point { return Point{p.X + s.by.X, p.Y + s.by.Y} }

func (s shifted) Path(p []Point, closed bool, pen Pen, fill Ink) {
	moved := make([]Point, len(p))
	for i, x := range p {
		moved[i] = s.at(x)
	}
	s.Canvas.Path(moved, closed, pen, fill)
}

func (s shifted) Rect(x, y, w, h float64, pen Pen, fill Ink) {
	s.Canvas.Rect(x+s.by.X, y+s.by.Y, w, h, pen, fill)
}

func (s shifted) Circle(c Point, r float64, pen Pen, fill Ink) {
	s.Canvas.Circle(s.at(c), r, pen, fill)
}

func (s shifted) Text(at Point, txt string, t Text) { s.Canvas.Text(s.at(at), txt, t) }
