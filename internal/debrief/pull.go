package debrief

import (
	"math"

	"cornerwright/internal/circuit"
	"cornerwright/internal/inference"
	"cornerwright/internal/ride"
)

// pull compares the straight after a turn with the other straights of the run
// at the same gear and speed, full throttle, upright, nothing cut: the mean
// difference of acceleration on this lap, m/s2, negative where something drags.
// NaN where too little of it is shared.
func (l *look) pull(p *ride.Pass) float64 {
	l.pullTable()
	if x, ok := l.pulls[l.key(p)]; ok {
		return x
	}
	return math.NaN()
}

type bin struct{ gear, speed int }

// pullTable computes the comparison for all passes at once. The reference of a
// bin is the median over the other turns' means, so one odd straight does not
// pull it.
func (s *scene) pullTable() {
	if s.pulls != nil {
		return
	}
	s.pulls = map[key]float64{}
	g := &s.r.Signals
	if g.Grip == nil || g.Gear == nil || g.Accel == nil || s.r.Position == nil {
		return
	}
	// What the engine gives grows with the plate, and no two hands open alike: the
	// force asked for is compared, acceleration and air drag together, for each
	// part of plate.
	plate := g.Throttle
	if plate == nil {
		plate = g.Grip
	}
	air := 0.5 * 1.2 * s.b.Air.DragArea / math.Max(s.b.Mass.Total+25, 150)
	type sum struct{ a, n, plate float64 }
	byPass := map[key]map[bin]sum{}
	byTurn := map[int]map[bin]sum{}
	full := fullGrip(g.Grip)
	for k := range s.stretches {
		if len(s.passes[k.turn]) == 0 || !s.timed(k) {
			continue
		}
		busy := s.shifting(k)
		m := map[bin]sum{}
		s.samples(k, onDrive, func(i int, _ circuit.Phase) {
			if g.Grip[i] < full || g.Gear[i] <= 0 || val(g.Cut, i) > 0.01 || math.Abs(val(g.Lean, i)) > 10*degree || busy(i) {
				return
			}
			if i < len(g.Airborne) && g.Airborne[i] || val(g.FrontBrake, i) > 0.5e5 {
				return
			}
			b := bin{int(g.Gear[i]), int(s.r.Position.Speed[i] / 2)}
			x := m[b]
			v := s.r.Position.Speed[i]
			x.a += (g.Accel[i] + air*v*v) / math.Max(plate[i], 0.5)
			x.n++
			x.plate += plate[i]
			m[b] = x
		})
		byPass[k] = m
		t := byTurn[k.turn]
		if t == nil {
			t = map[bin]sum{}
			byTurn[k.turn] = t
		}
		for b, x := range m {
			y := t[b]
			y.a += x.a
			y.n += x.n
			y.plate += x.plate
			t[b] = y
		}
	}
	reference := map[int]map[bin]float64{}
	for turn := range byTurn {
		reference[turn] = map[bin]float64{}
		for b := range byTurn[turn] {
			var others []float64
			for o, t := range byTurn {
				if x := t[b]; o != turn && x.n >= 10 {
					others = append(others, x.a/x.n)
				}
			}
			if len(others) > 0 {
				reference[turn][b] = inference.Median(others)
			}
		}
	}
	for k, m := range byPass {
		d, n := 0.0, 0.0
		for b, x := range m {
			if r, ok := reference[k.turn][b]; ok && x.n > 0 {
				d += (x.a - r*x.n) * x.plate / x.n
				n += x.n
			}
		}
		if n*s.dt >= 0.5 {
			s.pulls[k] = d / n
		}
	}
}

func (s *scene) timed(k key) bool {
	for _, p := range s.passes[k.turn] {
		if p.Lap == k.lap {
			return true
		}
	}
	return false
}

// fullGrip is what counts as full throttle: 95 % of the most that was asked.
func fullGrip(x []float64) float64 {
	most := 0.0
	for _, v := range x {
		if v > most {
			most = v
		}
	}
	return 0.95 * most
}
