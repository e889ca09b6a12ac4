package web

import (
	"html/template"
	"math"
	"sort"

	"cornerwright/internal/circuit"
	"cornerwright/internal/draw"
	"cornerwright/internal/ride"
	"cornerwright/internal/say"
	"cornerwright/internal/unit"
)

// quantity is one small panel of the evidence at a turn.
type quantity struct {
	name, unit string
	from, to   float64 // fixed scale, so that turns can be compared by eye
	get        func(v *ride.Ride) []float64
	mul        float64
}

var quantities = []quantity{
	{"speed", "km/h", 0, 300, func(v *ride.Ride) []float64 { return v.Position.Speed }, 3.6},
	{"lean", "°", -62, 62, func(v *ride.Ride) []float64 { return v.Signals.Lean }, 180 / math.Pi},
	{"throttle", "%", 0, 100, func(v *ride.Ride) []float64 { return v.Signals.Throttle }, 100},
	{"rear slip", "%", -8, 14, func(v *ride.Ride) []float64 { return v.Signals.RearSlip }, 100},
	{"cut", "%", 0, 60, func(v *ride.Ride) []float64 { return v.Signals.Cut }, 100},
}

const (
	evidencePoints = 44  // places a lap's line is drawn at: a small panel holds no more
	evidenceLaps   = 10  // pale lines behind the strong ones
	evidenceAfter  = 120 // m shown after the bend, where pick-up and drive pay
)

// evidence draws the laps through one turn as a row of small panels, one a
// quantity, all turns on the same scales: every lap pale, the middle lap of each
// slot strong, the phase that is talked about as a band.
func evidence(v *ride.Ride, t circuit.Turn, phase circuit.Phase, trial string, marks map[int]string, y You) template.HTML {
	pos, c := v.Position, v.Circuit
	if pos == nil || pos.Lost || c == nil {
		return ""
	}
	var ps []*ride.Pass
	for i := range v.Passes {
		if p := &v.Passes[i]; p.Turn == t.Number && p.Timed && p.Whole && !math.IsNaN(p.Segment) && marks[p.Lap] == "" {
			ps = append(ps, p)
		}
	}
	if len(ps) == 0 {
		return ""
	}
	sort.SliceStable(ps, func(i, j int) bool { return ps[i].Segment < ps[j].Segment })
	bySlot := map[string][]*ride.Pass{}
	for _, p := range ps {
		bySlot[p.Slot] = append(bySlot[p.Slot], p)
	}
	middle := map[*ride.Pass]bool{}
	for _, l := range bySlot {
		middle[l[len(l)/2]] = true
	}
	L := c.Line.Length
	start := func(p *ride.Pass) float64 { // unwrapped place of the window's start
		s := pos.S[pos.Index(p.Start)]
		return math.Round((s-t.From)/L)*L + t.From
	}
	// From the earliest brake point, or the bend, to a way past the exit.
	from := c.Wrap(t.Entry - t.From)
	for _, p := range ps {
		if s := pos.S[pos.Index(p.Brake)] - start(p); !math.IsNaN(p.Brake) && s > 0 {
			from = math.Min(from, s)
		}
	}
	from = math.Max(0, from-30)
	to := math.Min(c.Wrap(t.To-t.From), c.Wrap(t.Exit-t.From)+evidenceAfter)
	if to-from < 20 {
		return ""
	}
	step := (to - from) / (evidencePoints - 1)
	type drawn struct {
		p  *ride.Pass
		at []float64
		a  int
	}
	var laps []drawn
	pale := 0
	for _, strong := range []bool{false, true} {
		for _, p := range ps {
			if middle[p] != strong || !strong && pale >= evidenceLaps {
				continue
			}
			if !strong {
				pale++
			}
			a, b := pos.Index(p.Start), pos.Index(p.End)
			if b <= a {
				continue
			}
			d := drawn{p, make([]float64, evidencePoints), a}
			places(d.at, pos.S[a:b+1], start(p)+from, step)
			laps = append(laps, d)
		}
	}
	// The phase of the middle lap is the band.
	m := ps[len(ps)/2]
	edge := []float64{m.Brake, m.TurnIn, m.Mid, m.Pickup, m.DriveOn, m.End}
	bandFrom, bandTo := math.NaN(), math.NaN()
	for i, ph := range circuit.Phases {
		if ph == phase && !math.IsNaN(edge[i]) && !math.IsNaN(edge[i+1]) {
			bandFrom, bandTo = pos.S[pos.Index(edge[i])]-start(m), pos.S[pos.Index(edge[i+1])]-start(m)
		}
	}
	const w, h, gap, top = 34.0, 17.0, 4.0, 4.6
	var use []quantity
	for _, q := range quantities {
		if q.get(v) != nil {
			use = append(use, q)
		}
	}
	width := float64(len(use))*(w+gap) - gap
	svg := draw.NewSVG(width, top+h+3.4)
	for k, q := range use {
		x0 := float64(k) * (w + gap)
		mul, name := q.mul, q.unit
		if f, u := y.Convert(1, q.unit); q.unit == "km/h" {
			mul, name = q.mul*f, unit.Shown(u)
		}
		lo, hi := q.from, q.to*mul/q.mul
		x := draw.Scale{From: from, To: to, Lo: x0, Hi: x0 + w}
		sc := draw.Scale{From: lo, To: hi, Lo: top + h, Hi: top}
		if bandTo > from && bandFrom < to {
			a, b := x.At(math.Max(from, bandFrom)), x.At(math.Min(to, bandTo))
			svg.Rect(a, top, b-a, h, draw.Pen{}, draw.Shade)
			if k == 0 && b-a > 1 {
				svg.Text(draw.Point{X: math.Max(x0, math.Min((a+b)/2, x0+w)), Y: top + h + 2.9}, string(say.Key(phaseName(phase))), draw.Text{Size: 2.5, Ink: draw.Soft, Anchor: draw.Middle})
			}
		}
		svg.Text(draw.Point{X: x0, Y: top - 1.2}, string(say.Key(q.name)), draw.Text{Size: 2.8, Bold: true, Ink: draw.Dark})
		svg.Text(draw.Point{X: x0 + w, Y: top - 1.2}, draw.Number(hi, 0)+" "+name, draw.Text{Size: 2.4, Ink: draw.Soft, Anchor: draw.End})
		base := sc.At(math.Max(lo, 0))
		svg.Path([]draw.Point{{X: x0, Y: base}, {X: x0 + w, Y: base}}, false, draw.Pen{Ink: draw.Faint, Width: 0.2}, draw.None)
		ch := q.get(v)
		for _, d := range laps {
			var line []draw.Point
			for i, f := range d.at {
				val := math.NaN()
				if !math.IsNaN(f) {
					val = between(ch, d.a, f) * mul
				}
				if math.IsNaN(val) {
					line = append(line, draw.Point{X: math.NaN(), Y: math.NaN()})
					continue
				}
				line = append(line, draw.Point{X: x.At(from + float64(i)*step), Y: sc.At(math.Max(lo, math.Min(hi, val)))})
			}
			pen := draw.Pen{Ink: draw.Soft, Width: 0.1}
			switch {
			case middle[d.p] && d.p.Slot == trial:
				pen = draw.Pen{Ink: draw.Accent, Width: 0.6}
			case middle[d.p]:
				pen = draw.Pen{Ink: draw.Dark, Width: 0.35}
			}
			if !middle[d.p] {
				svg.Path(line, false, pen, draw.None)
				continue
			}
			svg.Titled(string(say.T("lap {lap}, slot {slot}, the middle of its slot: {segment} s through the turn", d.p.Lap, d.p.Slot, draw.Number(d.p.Segment, 3))), func() { svg.Path(line, false, pen, draw.None) })
		}
	}
	return svg.HTML("evidence", say.T("Laps through turn {t}", t.Label()), say.T("speed, lean, throttle, rear slip and cut along the turn: every lap pale, the middle lap of the reference slot thin and dark, of the trial slot thick; the band is the phase"))
}

func phaseName(p circuit.Phase) string {
	if p == "pickup" {
		return "pick-up"
	}
	return string(p)
}

// slotSpread sums the timed laps of one slot up.
type slotSpread struct {
	Slot           string
	Laps           int
	Median, Lo, Hi float64 // s; Lo to Hi holds the middle half
	Best           float64
}

// spread draws how the lap times of each slot lie, and sums them up; struck laps
// are left out of the sums and drawn as crosses.
func spread(laps []circuit.Lap, marks map[int]string, trial string) (template.HTML, []slotSpread) {
	by := map[string][]circuit.Lap{}
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, l := range laps {
		if l.Kind == circuit.TimedLap {
			by[l.Slot] = append(by[l.Slot], l)
			lo, hi = math.Min(lo, l.Time()), math.Max(hi, l.Time())
		}
	}
	var slots []string
	for q := range by {
		slots = append(slots, q)
	}
	sort.Strings(slots)
	if len(slots) == 0 {
		return "", nil
	}
	const w, left, row = 150.0, 14.0, 9.0
	m := math.Max(0.05, 0.05*(hi-lo))
	x := draw.Scale{From: lo - m, To: hi + m, Lo: left, Hi: w - 3}
	svg := draw.NewSVG(w, row*float64(len(slots))+7)
	bottom := row*float64(len(slots)) + 1
	at, _ := draw.Ticks(lo-m, hi+m, 6)
	for _, v := range at {
		svg.Path([]draw.Point{{X: x.At(v), Y: 1}, {X: x.At(v), Y: bottom}}, false, draw.Pen{Ink: draw.Faint, Width: 0.2}, draw.None)
		svg.Text(draw.Point{X: x.At(v), Y: bottom + 4}, draw.LapTime(v, 1), draw.Text{Size: 2.6, Ink: draw.Soft, Anchor: draw.Middle})
	}
	var out []slotSpread
	for k, q := range slots {
		y := row*float64(k) + row/2 + 0.5
		name := string(say.T("laps"))
		if q != "" {
			name = string(say.T("slot {slot}", q))
		}
		svg.Text(draw.Point{X: 0, Y: y + 0.9}, name, draw.Text{Size: 2.8, Bold: true, Ink: draw.Dark})
		var ts []float64
		for _, l := range by[q] {
			if marks[l.Number] == "" {
				ts = append(ts, l.Time())
			}
		}
		sort.Float64s(ts)
		if n := len(ts); n > 0 {
			s := slotSpread{q, n, median(ts), ts[n/4], ts[n-1-n/4], ts[0]}
			out = append(out, s)
			svg.Rect(x.At(s.Lo), y-2.6, math.Max(0.3, x.At(s.Hi)-x.At(s.Lo)), 5.2, draw.Pen{}, draw.Wash)
			svg.Path([]draw.Point{{X: x.At(s.Median), Y: y - 3.4}, {X: x.At(s.Median), Y: y + 3.4}}, false, draw.Pen{Ink: draw.Dark, Width: 0.7}, draw.None)
		}
		for i, l := range by[q] {
			look := draw.Reference
			if q == trial && trial != "" && len(slots) > 1 {
				look = draw.Trial
			}
			if marks[l.Number] != "" {
				look = draw.Struck
			}
			svg.Titled(string(say.T("lap {lap}: {time}", l.Number, draw.LapTime(l.Time(), 3))), func() {
				draw.Mark(svg, draw.Point{X: x.At(l.Time()), Y: y - 1.2 + 1.2*float64(i%3)}, 0.9, look)
			})
		}
	}
	return svg.HTML("spread", say.T("How the lap times lie"), say.T("one mark a lap; the band holds the middle half, the stroke is the median")), out
}
