package paper

import (
	"math"

	"cornerwright/internal/book"
	"cornerwright/internal/draw"
	"cornerwright/internal/say"
	"cornerwright/internal/verdict"
)

// Evidence draws what several meetings say about settings, one chart under the
// other on one sheet, as SVG for a page. Charts of one unit stand on one scale.
func Evidence(es []book.Evidence) string {
	const width, left = 180.0, 4.0
	svg := draw.NewSVG(width, 20)
	most := map[string]float64{}
	for _, e := range es {
		for _, m := range e.Meetings {
			i := verdict.MeetingInterval(m)
			for _, v := range []float64{i.Lo, i.Hi} {
				if !math.IsNaN(v) && !math.IsInf(v, 0) {
					most[e.Unit] = max(most[e.Unit], math.Abs(v))
				}
			}
		}
	}
	y := 6.0
	for _, e := range es {
		svg.Text(draw.Point{X: left, Y: y}, string(e.Title()), draw.Text{Size: 3.6, Ink: draw.Dark, Bold: true})
		o := draw.IntervalOptions{Width: width - left, Unit: e.Unit, Less: string(say.T("less")), More: string(say.T("more")), Most: most[e.Unit]}
		switch {
		case e.Unit == "s" && e.Better == verdict.Lower:
			o.Less, o.More = string(say.T("faster")), string(say.T("slower"))
		case e.Better == verdict.Lower:
			o.Less, o.More = string(say.T("better")), string(say.T("worse"))
		case e.Better == verdict.Higher:
			o.Less, o.More = string(say.T("worse")), string(say.T("better"))
		}
		y += 3 + draw.Season(draw.Shifted(svg, left/2, y+3), e.Season, 0, o) + 6
	}
	svg.Resize(width, y)
	return string(svg.HTML("season", say.T("Trials of a season"), say.T("the interval of each meeting, and of all together")))
}
