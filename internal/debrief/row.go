package debrief

import (
	"fmt"
	"math"
	"strings"

	"cornerwright/internal/circuit"
	"cornerwright/internal/ride"
	"cornerwright/internal/say"
)

// row is one line of the knowledge table: a symptom at a phase, what in the
// recording would show it, and what could be done about it. A row is data; its
// functions look, they decide nothing that the table does not say.
type row struct {
	id       string
	says     []Complaint     // complaints that it can explain, the most usual first
	phases   []circuit.Phase // phases it speaks of; empty: any
	lean     string          // "full", "picking-up", "upright", "" any
	needs    []need
	test     func(*look, *ride.Pass) sight
	measures func(*look) []Measure
	yes      func(*look, tally) say.Text // what the data show, present tense, no numbers without unit
	no       say.Text                    // what they do not show
	mind     say.Text                    // what would change the mind
	propose  func(*look) []Proposal
	safety   bool
	weight   float64 // 1 unless told: prefers one row to another where both show
	// unasked tells whether the row may speak up by itself, and from which share
	// of laps on; 0 is never.
	unasked float64
	cost    func(*look) float64 // s per lap at stake
	show    func(*look, *ride.Pass) (from, to float64)
}

func list(m ...Measure) []Measure {
	out := m[:0]
	for _, x := range m {
		if x.N > 0 && !math.IsNaN(x.Value) {
			out = append(out, x)
		}
	}
	return out
}

func (l *look) m(name string, label say.Text, unit string, f func(*ride.Pass) float64) Measure {
	m, _ := l.measure(name, label, unit, f)
	return m
}

// capital is name at the beginning of a sentence.
func (l *look) capital() say.Text {
	if l.turn == 0 {
		return say.T("The whole lap")
	}
	if t := l.turnOf[l.turn]; t != nil && t.Name != "" {
		return say.T("Turn {turn} ({name})", l.turn, t.Name)
	}
	return say.T("Turn {turn}", l.turn)
}

// name is "turn 4", or with the turn's own name.
func (l *look) name() say.Text {
	if l.turn == 0 {
		return say.T("the whole lap")
	}
	if t := l.turnOf[l.turn]; t != nil && t.Name != "" {
		return say.T("turn {turn} ({name})", l.turn, t.Name)
	}
	return say.T("turn {turn}", l.turn)
}

func (l *look) d(p *ride.Pass) *drive { return l.drive(l.key(p)) }

// The measures that several rows share. Units as in the name.
func (l *look) cutMeasures(class int) []Measure {
	f := func(p *ride.Pass) float64 { return l.d(p).class[class] }
	return list(
		l.m("cut_time", say.T("time in which torque was cut"), "s", f),
		l.m("cut_area", say.T("cut time weighted with its depth"), "s", func(p *ride.Pass) float64 { return l.d(p).area }),
		l.m("cut_peak", say.T("deepest cut"), "pct", func(p *ride.Pass) float64 { return 100 * l.d(p).peak }),
		l.m("slip_cut", say.T("slip while cut"), "pct", func(p *ride.Pass) float64 { return 100 * l.d(p).slipCut }),
		l.m("slip_peak", say.T("greatest slip"), "pct", func(p *ride.Pass) float64 {
			if !l.d(p).slipKnown {
				return math.NaN()
			}
			return 100 * l.d(p).slipPeak
		}),
		l.m("max_lean", say.T("greatest lean"), "deg", func(p *ride.Pass) float64 { return p.MaxLean / degree }),
	)
}

func num(x float64, decimals int) string {
	s := fmt.Sprintf("%.*f", decimals, x)
	if strings.Trim(s, "-0.") == "" {
		s = strings.TrimPrefix(s, "-")
	}
	return s
}

// mainGear is the gear most used with a closed throttle going into the turn, 0
// if unknown.
func (l *look) mainGear() int {
	g, known := l.mainGears[l.turn]
	if !known {
		g = l.findMainGear()
		l.mainGears[l.turn] = g
	}
	return g
}

func (l *look) findMainGear() int {
	var n [1 << 7]int
	gears, grip := l.r.Signals.Gear, l.r.Signals.Grip
	for _, p := range l.passesOf() {
		l.samples(l.key(p), anywhere, func(i int, ph circuit.Phase) {
			if i < len(gears) && gears[i] > 0 && val(grip, i) < 0.03 && ph != circuit.PhaseBrake {
				n[gears[i]]++
			}
		})
	}
	best := 0
	for g, k := range n {
		if k > n[best] {
			best = g
		}
	}
	if best == 0 {
		for _, p := range l.passesOf() {
			if p.MinGear > 0 {
				return p.MinGear
			}
		}
	}
	return best
}

// surplus is the greatest surplus of the downshifts of a pass as a share of the
// engine speed needed, with its shift; NaN if there is none.
func (l *look) surplus(p *ride.Pass, sign float64) (share float64, sh *ride.Shift) {
	share = math.NaN()
	for _, e := range l.has(ride.Blip, l.key(p), nil) {
		s := e.Shift
		if s == nil || math.IsNaN(s.Surplus) || !(s.Needed > 1000) {
			continue
		}
		if x := s.Surplus / s.Needed; math.IsNaN(share) || sign*x > sign*share {
			share, sh = x, s
		}
	}
	return share, sh
}

// Surplus of engine speed at clutch home that is felt as a push, and that drags:
// shares of the speed needed (common practice), and never less than 400 rpm.
const (
	overBlip  = 0.045
	underBlip = -0.05
	leastRPM  = 400.0
)

func isOver(x float64, s *ride.Shift) bool {
	return s != nil && x > overBlip && s.Surplus > leastRPM
}

func isUnder(x float64, s *ride.Shift) bool {
	return s != nil && x < underBlip && s.Surplus < -leastRPM
}

// closed calls f for every closed-throttle sample of the phases of a pass.
func (l *look) closed(p *ride.Pass, phases []circuit.Phase, f func(i int)) {
	l.samples(l.key(p), phases, func(i int, _ circuit.Phase) {
		if val(l.r.Signals.Grip, i) < 0.03 {
			f(i)
		}
	})
}
