package verdict

import (
	"math"
	"sort"
)

// side of a lap.
const (
	sideRef   = 0
	sideTrial = 1
	sideNone  = 2 // another slot, or unknown
)

// layout is what the laps of a question have in common: which laps count, on
// which side, in which order. It does not look at values.
type layout struct {
	design   Design
	runs     []int           // run IDs that take part, in order of time
	runAt    map[int]int     // run ID to index in runs
	runSide  []int           // for whole-run designs
	returns  int             // slots ridden again
	switches float64         // share of neighbouring laps with a switch between
	settle   map[[2]int]bool // run, lap: set aside to settle
	bend     bool            // drift has a bend in the model
	days     int
}

// sideOf tells on which side of the question a slot stands.
func (q *Question) sideOf(slot string) int {
	switch slot {
	case q.Reference:
		return sideRef
	case q.Trial:
		return sideTrial
	}
	return sideNone
}

// sorted returns the laps in order of run (time) and lap number.
func (q *Question) sorted(laps []Lap) []Lap {
	order := map[int]int{}
	for _, r := range q.Runs {
		order[r.ID] = r.Order
	}
	s := append([]Lap(nil), laps...)
	sort.SliceStable(s, func(i, j int) bool {
		a, b := s[i], s[j]
		if order[a.Run] != order[b.Run] {
			return order[a.Run] < order[b.Run]
		}
		if a.Run != b.Run {
			return a.Run < b.Run
		}
		if a.Number != b.Number {
			return a.Number < b.Number
		}
		if a.Slot != b.Slot {
			return a.Slot < b.Slot
		}
		return a.Value < b.Value
	})
	return s
}

// recognise finds the design from the slots of the kept laps.
func (q *Question) recognise(laps []Lap) layout {
	l := layout{runAt: map[int]int{}, settle: map[[2]int]bool{}}
	// Laps to settle are counted from the laps as ridden, struck or not.
	if q.Settle > 0 {
		last, run, since := "", 0, 0
		first := true
		for _, p := range laps {
			switch {
			case first || p.Run != run:
				since = q.Settle // the first block of a run has no switch before it
			case p.Slot != last:
				since = 0
			}
			if since < q.Settle {
				l.settle[[2]int{p.Run, p.Number}] = true
			}
			since++
			first, last, run = false, p.Slot, p.Run
		}
	}
	type seq struct {
		run    int
		sides  []int
		blocks int
		n      [2]int
	}
	var seqs []seq
	for _, p := range laps {
		if p.Mark != "" || math.IsNaN(p.Value) || l.settle[[2]int{p.Run, p.Number}] {
			continue
		}
		s := q.sideOf(p.Slot)
		if s == sideNone {
			continue
		}
		if len(seqs) == 0 || seqs[len(seqs)-1].run != p.Run {
			seqs = append(seqs, seq{run: p.Run})
		}
		c := &seqs[len(seqs)-1]
		if len(c.sides) == 0 || c.sides[len(c.sides)-1] != s {
			c.blocks++
		}
		c.sides = append(c.sides, s)
		c.n[s]++
	}
	mixed := 0
	for _, s := range seqs {
		if s.n[0] > 0 && s.n[1] > 0 {
			mixed++
		}
	}
	if mixed > 0 {
		l.bend = true
		singles, pairs, sw, days := true, 0, 0, map[string]bool{}
		for _, s := range seqs {
			if s.n[0] == 0 || s.n[1] == 0 {
				continue // takes no part: it would compare runs, not slots
			}
			l.runAt[s.run] = len(l.runs)
			l.runs = append(l.runs, s.run)
			days[q.dayOf(s.run)] = true
			l.returns += max(0, s.blocks-2)
			pairs += len(s.sides) - 1
			sw += s.blocks - 1
			if s.blocks != len(s.sides) {
				singles = false
			}
			if s.blocks > 3 {
				l.bend = false
			}
		}
		l.switches = float64(sw) / float64(max(1, pairs))
		l.days = len(days)
		switch {
		case singles && l.returns >= 2 && sw >= 3:
			l.design, l.bend = Alternating, false
		case l.returns >= 2:
			l.design = Interleaved
			if l.days >= 3 {
				l.design = SeveralDays
			}
		case l.returns == 1:
			l.design = ThereAndBack
		default:
			l.design, l.bend = OneSwitch, false
		}
		return l
	}
	var n [2]int
	for _, s := range seqs {
		side := sideRef
		if s.n[1] > 0 {
			side = sideTrial
		}
		n[side]++
		l.runAt[s.run] = len(l.runs)
		l.runs = append(l.runs, s.run)
		l.runSide = append(l.runSide, side)
	}
	switch {
	case n[0] >= 2 && n[1] >= 2:
		l.design = ReplicatedRuns
	case len(l.runs) == 3 && l.runSide[0] == l.runSide[2] && l.runSide[0] != l.runSide[1]:
		l.design = RunThereAndBack
	default:
		l.design = RunAgainstRun
	}
	return l
}

func (q *Question) dayOf(run int) string {
	for _, r := range q.Runs {
		if r.ID == run {
			return r.Day
		}
	}
	return ""
}

// within tells whether the setting changed inside runs.
func (l layout) within() bool { return l.runSide == nil }

// build fills the rows for the laps of one measure. used holds the laps in the
// order of the rows; covs are the covariates that were admitted.
func (m *rows) build(q *Question, l *layout, laps []Lap) (used []Lap, covs []Covariate) {
	for _, p := range laps {
		if _, in := l.runAt[p.Run]; !in || q.sideOf(p.Slot) == sideNone || math.IsNaN(p.Value) || math.IsInf(p.Value, 0) ||
			p.Mark != "" || l.settle[[2]int{p.Run, p.Number}] {
			continue
		}
		used = append(used, p)
	}
	return used, m.buildFrom(q, l, used)
}

func (m *rows) buildFrom(q *Question, l *layout, used []Lap) (covs []Covariate) {
	nRuns := len(l.runs)
	perRun := make([]int, nRuns)
	for _, p := range used {
		perRun[l.runAt[p.Run]]++
	}
	lines := 1
	if l.within() && nRuns > 1 && nRuns <= maxRuns/2 {
		// A drift line of its own for every run, once the laps carry it.
		lines = nRuns
		for _, k := range perRun {
			if k < 6 {
				lines = 1
			}
		}
	}
	base := nRuns + lines
	if l.within() {
		base++
	}
	if l.bend {
		base++
	}
	covs, _ = q.admit(l, used, base)
	p := base + len(covs)
	m.reset(len(used), p)
	m.bend = l.bend
	// Lap numbers are centred on each run's own middle and scaled, so that the
	// normal equations stay well conditioned.
	lo, hi := make([]float64, nRuns), make([]float64, nRuns)
	for r := range nRuns {
		lo[r], hi[r] = math.Inf(1), math.Inf(-1)
	}
	for _, p := range used {
		r := l.runAt[p.Run]
		lo[r], hi[r] = math.Min(lo[r], float64(p.Number)), math.Max(hi[r], float64(p.Number))
	}
	span := 1.0
	for r := range nRuns {
		span = math.Max(span, (hi[r]-lo[r])/2)
	}
	mid := func(r int) float64 { return (lo[r] + hi[r]) / 2 }
	if !l.within() {
		// Between runs the laps are compared at the same lap number.
		all := 0.0
		for _, p := range used {
			all += float64(p.Number)
		}
		all /= float64(max(1, len(used)))
		mid = func(int) float64 { return all }
	}
	var centre, scale [maxCoef]float64
	for k, c := range covs {
		centre[k], scale[k] = moments(used, c.Name)
	}
	for i, lap := range used {
		x := m.x[i*p : i*p+p]
		for j := range x {
			x[j] = 0
		}
		r := l.runAt[lap.Run]
		m.run[i], m.at[i], m.y[i] = r, float64(lap.Number), lap.Value
		x[r] = 1
		j := nRuns
		if l.within() {
			x[j] = float64(q.sideOf(lap.Slot)) - 0.5
			j++
		}
		u := (float64(lap.Number) - mid(r)) / span
		if lines == 1 {
			x[j] = u
		} else {
			x[j+r] = u
		}
		j += lines
		if l.bend {
			x[j] = u * u
			j++
		}
		for k, c := range covs {
			x[j+k] = (lap.Covariates[c.Name] - centre[k]) / scale[k]
		}
	}
	if l.within() {
		m.contrast[nRuns] = 1
	} else {
		var n [2]float64
		for r, s := range l.runSide {
			if perRun[r] > 0 {
				n[s]++
			}
		}
		for r, s := range l.runSide {
			if perRun[r] == 0 {
				continue
			}
			if s == sideTrial {
				m.contrast[r] = 1 / n[1]
			} else {
				m.contrast[r] = -1 / n[0]
			}
		}
	}
	return covs
}
