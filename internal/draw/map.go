package draw

import (
	"math"
	"strconv"

	"cornerwright/internal/circuit"
	"cornerwright/internal/say"
)

// Flag is a remark on the map: a pennant at a place with the rider's words.
type Flag struct {
	S      float64 // m from the gate
	Number string  // short, in the pennant
	Words  string
	Href   string
}

// Use is a stretch of the lap where a step's cells are used; Share 0..1 of the
// step's whole use makes the line thicker.
type Use struct {
	From, To float64 // m from the gate; From > To runs over the gate
	Share    float64
	Title    string
}

// MapOptions choose what a map shows.
type MapOptions struct {
	Width, Height float64 // mm
	Flags         []Flag
	Uses          []Use
	Emphasis      map[int]bool // turns whose number is set bold
	TurnHref      func(turn int) string
	Plain         bool // no scale bar and north mark
}

// Map draws the circuit as one line with turn numbers outside it.
func Map(c Canvas, ct *circuit.Circuit, o MapOptions) {
	p, ok := Project(ct, o.Width, o.Height)
	if !ok {
		c.Text(Point{o.Width / 2, o.Height / 2}, string(say.T("no circuit line")), Text{Size: 3.2, Ink: Soft, Anchor: Middle})
		return
	}
	pts := p.pts
	c.Path(pts, true, Pen{Ink: Faint, Width: 1.7}, None)
	for _, u := range o.Uses {
		seg := p.Stretch(u.From, u.To)
		w := 1.3 + 3.2*math.Sqrt(math.Max(0, math.Min(1, u.Share)))
		draw := func() { c.Path(seg, false, Pen{Ink: Accent, Width: w}, None) }
		if u.Title != "" {
			c.Titled(u.Title, draw)
		} else {
			draw()
		}
	}
	c.Path(pts, true, Pen{Ink: Dark, Width: 0.5}, None)

	pl := &placer{w: o.Width, h: o.Height, line: pts}
	gate(c, p, pl)
	size := math.Max(2.9, math.Min(4.2, o.Width/28))
	for _, t := range ct.Turns {
		label := strconv.Itoa(t.Number)
		ts := Text{Size: size, Ink: Dark, Anchor: Middle, Bold: o.Emphasis[t.Number], Halo: true}
		w := c.Width(label, ts)
		at, dir := p.At(t.Apex)
		// Outside of the bend is the side away from its centre.
		side := -1.0
		if t.Direction == circuit.Left {
			side = 1
		}
		n := Point{-dir.Y * side, dir.X * side}
		best := pl.best(at, n, w, size)
		pl.taken = append(pl.taken, best)
		text := func() {
			c.Text(Point{best.x + w/2, best.y + size*0.82}, label, ts)
		}
		name := string(say.T("Turn {label}", t.Label()))
		if o.TurnHref != nil {
			c.Link(o.TurnHref(t.Number), name, func() {
				// A wide unseen disc makes the number easy to hit with a glove.
				c.Circle(Point{best.x + w/2, best.y + size/2}, size*1.25, Pen{}, Clear)
				text()
			})
		} else {
			c.Titled(name, text)
		}
	}
	for _, f := range o.Flags {
		flag(c, p, pl, f, size)
	}
	if !o.Plain {
		scaleBar(c, p, o)
	}
}

// Projection places the circuit line on a canvas.
type Projection struct {
	ct     *circuit.Circuit
	pts    []Point
	Scale  float64 // mm per m
	ox, oy float64
}

// Project fits the line into w by h mm, with a margin for the numbers; north is
// up. ok is false for an empty line.
func Project(ct *circuit.Circuit, w, h float64) (Projection, bool) {
	if ct == nil || len(ct.Line.X) < 3 || len(ct.Line.X) != len(ct.Line.Y) {
		return Projection{}, false
	}
	x0, x1, ok1 := span(0, ct.Line.X)
	y0, y1, ok2 := span(0, ct.Line.Y)
	if !ok1 || !ok2 {
		return Projection{}, false
	}
	m := math.Max(7, math.Min(w, h)*0.09)
	k := math.Min((w-2*m)/(x1-x0), (h-2*m)/(y1-y0))
	p := Projection{ct: ct, Scale: k}
	p.ox = (w-k*(x1-x0))/2 - k*x0
	p.oy = (h-k*(y1-y0))/2 + k*y1
	p.pts = make([]Point, len(ct.Line.X))
	for i := range p.pts {
		p.pts[i] = p.XY(ct.Line.X[i], ct.Line.Y[i])
	}
	return p, true
}

// XY places a point of the circuit's frame (m east, north).
func (p Projection) XY(x, y float64) Point { return Point{p.ox + p.Scale*x, p.oy - p.Scale*y} }

// At returns the place of s and the unit direction of riding there.
func (p Projection) At(s float64) (at, dir Point) {
	n := len(p.pts)
	step := p.ct.Line.Step
	if step <= 0 {
		step = p.ct.Line.Length / float64(n)
	}
	f := math.Mod(s/step, float64(n))
	if f < 0 {
		f += float64(n)
	}
	if !finite(f) {
		f = 0
	}
	i := int(f) % n
	j := (i + 1) % n
	r := f - math.Floor(f)
	a, b := p.pts[i], p.pts[j]
	at = Point{a.X + r*(b.X-a.X), a.Y + r*(b.Y-a.Y)}
	d := math.Hypot(b.X-a.X, b.Y-a.Y)
	if d == 0 {
		return at, Point{1, 0}
	}
	return at, Point{(b.X - a.X) / d, (b.Y - a.Y) / d}
}

// Stretch returns the line from one place to another, in riding direction.
func (p Projection) Stretch(from, to float64) []Point {
	l := p.ct.Line.Length
	if l <= 0 || !finite(from, to) {
		return nil
	}
	d := math.Mod(to-from, l)
	if d < 0 {
		d += l
	}
	n := int(math.Ceil(d/math.Max(p.ct.Line.Step, l/4000))) + 1
	out := make([]Point, 0, n+1)
	for i := 0; i <= n; i++ {
		a, _ := p.At(from + d*float64(i)/float64(n))
		out = append(out, a)
	}
	return out
}

func gate(c Canvas, p Projection, pl *placer) {
	at, d := p.At(0)
	n := Point{-d.Y, d.X}
	line(c, at.X-2.6*n.X, at.Y-2.6*n.Y, at.X+2.6*n.X, at.Y+2.6*n.Y, Pen{Ink: Dark, Width: 0.7})
	// An arrow beside the line tells the riding direction.
	q := Point{at.X + 3.4*n.X, at.Y + 3.4*n.Y}
	tip := Point{q.X + 5*d.X, q.Y + 5*d.Y}
	line(c, q.X, q.Y, tip.X, tip.Y, Pen{Ink: Dark, Width: 0.35})
	c.Path([]Point{tip,
		{tip.X - 1.7*d.X + 0.8*n.X, tip.Y - 1.7*d.Y + 0.8*n.Y},
		{tip.X - 1.7*d.X - 0.8*n.X, tip.Y - 1.7*d.Y - 0.8*n.Y}}, true, Pen{}, Dark)
	pl.taken = append(pl.taken, box{math.Min(q.X, tip.X) - 1, math.Min(q.Y, tip.Y) - 1, math.Abs(tip.X-q.X) + 2, math.Abs(tip.Y-q.Y) + 2})
}

func scaleBar(c Canvas, p Projection, o MapOptions) {
	if p.Scale <= 0 {
		return
	}
	m := 100.0
	for _, k := range []float64{50, 100, 200, 500, 1000, 2000} {
		if k*p.Scale <= 26 {
			m = k
		}
	}
	w := m * p.Scale
	x, y := 2.0, o.Height-2.2
	line(c, x, y, x+w, y, Pen{Ink: Soft, Width: 0.3})
	line(c, x, y-1, x, y, Pen{Ink: Soft, Width: 0.3})
	line(c, x+w, y-1, x+w, y, Pen{Ink: Soft, Width: 0.3})
	c.Text(Point{x + w + 1.2, y + 0.6}, Number(m, 0)+" m", Text{Size: 2.6, Ink: Soft})
	nx, ny := o.Width-3.5, o.Height-2.2
	line(c, nx, ny, nx, ny-6, Pen{Ink: Soft, Width: 0.3})
	c.Path([]Point{{nx, ny - 7}, {nx - 0.8, ny - 5.2}, {nx + 0.8, ny - 5.2}}, true, Pen{}, Soft)
	c.Text(Point{nx - 1.4, ny - 0.2}, "N", Text{Size: 2.6, Ink: Soft, Anchor: End})
}

// box is a rectangle that is in use.
type box struct{ x, y, w, h float64 }

func (b box) overlap(o box) float64 {
	w := math.Min(b.x+b.w, o.x+o.w) - math.Max(b.x, o.x)
	h := math.Min(b.y+b.h, o.y+o.h) - math.Max(b.y, o.y)
	if w <= 0 || h <= 0 {
		return 0
	}
	return w * h
}

// placer finds free places for labels: clear of the line, of other labels and
// of the edge.
type placer struct {
	w, h  float64
	line  []Point
	taken []box
}

func (pl *placer) cost(b box) float64 {
	cost := 0.0
	if b.x < 0 || b.y < 0 || b.x+b.w > pl.w || b.y+b.h > pl.h {
		cost += 50
	}
	g := box{b.x - 0.9, b.y - 0.9, b.w + 1.8, b.h + 1.8}
	for _, t := range pl.taken {
		cost += 4 * g.overlap(t)
	}
	stride := 1 + len(pl.line)/600
	for i := 0; i < len(pl.line); i += stride {
		q := pl.line[i]
		if q.X > g.x && q.X < g.x+g.w && q.Y > g.y && q.Y < g.y+g.h {
			cost += 6
		}
	}
	return cost
}

func (pl *placer) best(at, n Point, w, h float64) box {
	var best box
	least := math.Inf(1)
	for _, side := range []float64{1, -1} {
		for _, dist := range []float64{4.2, 5.4, 7, 9} {
			for _, turn := range []float64{0, 0.5, -0.5, 0.95, -0.95} {
				cs, sn := math.Cos(turn), math.Sin(turn)
				d := Point{side * (n.X*cs - n.Y*sn), side * (n.X*sn + n.Y*cs)}
				b := box{at.X + d.X*dist - w/2, at.Y + d.Y*dist - h/2, w, h}
				k := pl.cost(b) + 0.25*dist + 0.5*math.Abs(turn)
				if side < 0 {
					k += 3
				}
				if k < least {
					least, best = k, b
				}
			}
		}
	}
	return best
}

func flag(c Canvas, p Projection, pl *placer, f Flag, size float64) {
	at, _ := p.At(f.S)
	num := Text{Size: size * 0.78, Ink: Paper, Anchor: Middle, Bold: true}
	pw, ph := math.Max(c.Width(f.Number, num)+2.4, 4.6), size*1.12
	ts := Text{Size: size * 0.78, Ink: Dark, Italic: true, Halo: true}
	words := ""
	var at2 box
	least, dirs := math.Inf(1), []Point{{1, -1}, {-1, -1}, {1, -1.8}, {-1, -1.8}, {1, 0.9}, {-1, 0.9}}
	try := func(text string) {
		tw := pw
		if text != "" {
			tw += 1.2 + c.Width(text, ts)
		}
		for _, d := range dirs {
			for _, r := range []float64{5.5, 8, 11, 15} {
				x, y := at.X+0.55*d.X*r, at.Y+d.Y*r-ph
				if d.Y > 0 {
					y = at.Y + d.Y*r
				}
				if d.X < 0 {
					x -= tw
				}
				b := box{x, y, tw, ph}
				k := pl.cost(b) + 0.4*r
				if text == "" {
					k += 7 // words on the map are worth some crowding
				}
				if k < least {
					least, at2, words = k, b, text
				}
			}
		}
	}
	if f.Words != "" {
		try(Fit(c, "“"+f.Words+"”", pl.w*0.42, ts))
		try(Fit(c, "“"+f.Words+"”", pl.w*0.24, ts))
	}
	try("")
	pl.taken = append(pl.taken, at2)
	left := at2.x+at2.w/2 < at.X
	px := at2.x
	if left {
		px = at2.x + at2.w - pw
	}
	mid := at2.y + ph/2
	body := func() {
		edge := px
		if left {
			edge = px + pw
		}
		line(c, at.X, at.Y, edge, at2.y+ph, Pen{Ink: Warn, Width: 0.35})
		c.Circle(at, 0.9, Pen{Ink: Warn, Width: 0.3}, Warn)
		c.Path([]Point{{px, at2.y}, {px + pw, at2.y}, {px + pw, at2.y + ph}, {px, at2.y + ph}}, true, Pen{Ink: Warn, Width: 0.3}, Warn)
		c.Text(Point{px + pw/2, mid + size*0.28}, f.Number, num)
		if words != "" {
			w := ts
			x := px + pw + 1.2
			if left {
				w.Anchor = End
				x = px - 1.2
			}
			c.Text(Point{x, mid + size*0.26}, words, w)
		}
	}
	switch {
	case f.Href != "":
		c.Link(f.Href, f.Number+words, body) // what is seen, as WCAG 2.2 (2.5.3) wants it
	case f.Words != "":
		c.Titled(f.Words, body)
	default:
		body()
	}
}
