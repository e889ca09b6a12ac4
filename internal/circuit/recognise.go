package circuit

import (
	"fmt"
	"math"

	"cornerwright/internal/recording"
	"cornerwright/internal/say"
)

// Recognise finds the known circuit that a recording was ridden on: same place,
// same direction, same layout. It returns nil where none fits, and says why in
// either case.
func Recognise(rec *recording.Recording, known []*Circuit) (*Circuit, say.Text) {
	why := say.T("no circuit is known yet")
	var best *Circuit
	bestFit := 0.0
	for _, c := range known {
		frame := c.Frame
		f := readFixes(rec, &frame)
		if len(f.t) == 0 {
			if why == say.T("no circuit is known yet") || best == nil {
				why = say.T("no fix lies within reach of {name}", c.Name)
			}
			continue
		}
		fit, text := c.fits(&f)
		if fit > bestFit {
			best, bestFit, why = c, fit, text
		} else if best == nil {
			why = text
		}
	}
	if bestFit < 0.8 {
		return nil, why
	}
	return best, why
}

const (
	onLine     = 10.0 // m from the line within which a fix lies on it: track width and a GPS offset
	layoutCell = 30.0 // m
	layoutLong = 60.0 // m of the line left out that make another layout
)

// fits tells what share of the moving fixes lies on the line in its direction,
// and whether the whole line was ridden: a chicane or a loop that is used or not
// makes another layout, however short, since every lap passes it or leaves it.
func (c *Circuit) fits(f *fixes) (float64, say.Text) {
	stride := 1 + len(f.t)/3000
	n, on, near, back := 0, 0, 0, 0
	cells := max(8, int(c.Line.Length/layoutCell))
	here, beside := make([]int, cells), make([]int, cells)
	away := 0 // moving fixes off the line
	for i := 0; i < len(f.t); i += stride {
		if f.v[i] < 12 {
			continue
		}
		n++
		s, off, ok := c.Line.Project(f.x[i], f.y[i], f.h[i], math.Pi/4)
		k := int(s/c.Line.Length*float64(cells)) % cells
		switch {
		case ok && math.Abs(off) < onLine:
			on++
			near++
			here[k]++
			continue
		case ok && math.Abs(off) < 40:
			beside[k]++
		}
		away++
		if _, o, _ := c.Line.Project(f.x[i], f.y[i], f.h[i], math.Pi); math.Abs(o) < 14 {
			near++
			if _, o2, ok2 := c.Line.Project(f.x[i], f.y[i], f.h[i]+math.Pi, math.Pi/4); ok2 && math.Abs(o2) < 14 {
				back++
			}
		}
	}
	if n < 30 {
		return 0, say.T("too few moving fixes to recognise a circuit")
	}
	share := float64(on) / float64(n)
	ridden := 0
	for _, k := range here {
		if k > 0 {
			ridden++
		}
	}
	cover := float64(ridden) / float64(cells)
	switch {
	case share > 0.8 && cover > 0.85:
		if from, long := leftOut(here, beside, float64(on)/float64(cells), away); long > 0 {
			return 0, say.T("the fixes lie on {name} but leave it from {from} m for {long} m on every lap: another layout", c.Name, fmt.Sprintf("%.0f", float64(from)*c.Line.Length/float64(cells)), fmt.Sprintf("%.0f", float64(long)*c.Line.Length/float64(cells)))
		}
		return share * cover, say.T("{share} % of the fixes lie on {name}", fmt.Sprintf("%.0f", 100*share), c.Name)
	case share > 0.8:
		return 0, say.T("the fixes lie on {name} but leave {cover} % of it out: another layout", c.Name, fmt.Sprintf("%.0f", 100*(1-cover)))
	case float64(back) > 0.6*float64(n) && share < 0.3:
		return 0, say.T("ridden the other way round than {name}", c.Name)
	case float64(near) > 0.4*float64(n):
		return 0, say.T("only {share} % of the fixes lie on {name}: another layout", fmt.Sprintf("%.0f", 100*share), c.Name)
	}
	return 0, say.T("{share} % of the fixes lie on {name}", fmt.Sprintf("%.0f", 100*share), c.Name)
}

// leftOut finds the longest stretch of cells that no lap rode (or nearly none),
// while enough fixes lie off the line to have been elsewhere meanwhile: a hole in
// the GPS leaves none. usual is the fixes of a cell.
func leftOut(here, beside []int, usual float64, away int) (from, long int) {
	n := len(here)
	least := int(math.Ceil(layoutLong / layoutCell))
	for a := range n {
		k, elsewhere := 0, 0
		for k < n && float64(here[(a+k)%n]) < 0.2*usual+0.01 {
			elsewhere += beside[(a+k)%n]
			k++
		}
		// Beside it, or so far away that no place of the line is near.
		enough := float64(elsewhere) > 0.3*usual*float64(k) || float64(away) > 0.7*usual*float64(k)
		if k >= least && k > long && k < n && enough {
			from, long = a, k
		}
	}
	return from, long
}

// Refine joins the line of a further run, located on c, into a new version of
// the circuit: the line moves by the mean of both, weighted by laps, while s of
// the old version keeps its meaning to within the projection (Reproject). Laps
// is the number of timed laps behind c.
func (c *Circuit) Refine(l *Located, laps int) *Circuit {
	n := 0
	for _, lap := range l.Laps {
		if lap.Kind == TimedLap {
			n++
		}
	}
	if n == 0 || l.Circuit == nil {
		return c
	}
	p := l.Position
	m := len(c.Line.X)
	sum, count := make([]float64, m), make([]float64, m)
	for _, lap := range l.Laps {
		if lap.Kind != TimedLap {
			continue
		}
		for i := p.Index(lap.Start); i < p.Index(lap.End); i++ {
			k, _, _ := c.Line.cell(p.S[i])
			sum[k] += p.Offset[i]
			count[k]++
		}
	}
	shift := make([]float64, m)
	last := 0.0
	for i := range shift {
		if count[i] > 0 {
			last = sum[i] / count[i]
		}
		shift[i] = last
	}
	shift = smoothRing(shift, 15/c.Line.Step)
	w := float64(n) / float64(n+max(1, laps))
	pts := make([]point, m)
	for i := range pts {
		x, y, h, _ := c.Line.At(float64(i) * c.Line.Step)
		sin, cos := math.Sincos(h)
		pts[i] = point{p: float64(i) * c.Line.Step, x: x + w*shift[i]*cos, y: y - w*shift[i]*sin, w: 4, v: bendSpeed}
	}
	line, _ := fitLine(pts, c.Line.Length)
	out := *c
	out.Version++
	out.Line = line
	scale := line.Length / c.Line.Length
	for _, list := range []*[]Turn{&out.Turns, &out.Found} {
		*list = cloneTurns(*list)
		for i := range *list {
			t := &(*list)[i]
			t.From, t.To, t.Entry, t.Apex, t.Exit = t.From*scale, t.To*scale, t.Entry*scale, t.Apex*scale, t.Exit*scale
			for k := range t.Apexes {
				t.Apexes[k] *= scale
			}
		}
	}
	out.Notes = append(append([]say.Text(nil), c.Notes...), say.T("version {version}: refined with {n} laps", out.Version, n))
	return &out
}

// Reproject carries a place s (m) on the line of an older version to this one.
func (c *Circuit) Reproject(s float64, old *Circuit) float64 {
	x, y, h, _ := old.Line.At(s)
	if old.Frame != c.Frame {
		lat, lon := old.Frame.LatLon(x, y)
		x, y = newPlane(c.Frame).at(lat, lon)
	}
	// The gate may have been moved between the two versions.
	gx, gy, gh, _ := old.Line.At(0)
	if old.Frame != c.Frame {
		lat, lon := old.Frame.LatLon(gx, gy)
		gx, gy = newPlane(c.Frame).at(lat, lon)
	}
	moved, _, _ := c.Line.Project(gx, gy, gh, math.Pi/3)
	want := moved + s*c.Line.Length/old.Line.Length
	best, at := math.Inf(1), want
	for d := -40.0; d <= 40; d += 0.25 {
		px, py, ph, _ := c.Line.At(want + d)
		if e := math.Hypot(px-x, py-y); e < best && math.Abs(wrapPi(ph-h)) < math.Pi/3 {
			best, at = e, want+d
		}
	}
	return c.Wrap(at)
}
