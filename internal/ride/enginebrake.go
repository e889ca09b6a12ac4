package ride

import (
	"cmp"
	"math"
	"slices"

	"cornerwright/internal/say"
)

// engineBrake measures what the closed throttle takes: force at the rear wheel
// by gear, from samples with closed grip, brakes off and the clutch home, half a
// second after anything else happened. The unit of repetition is the lap.
func (w *work) engineBrake() {
	s := &w.r.Signals
	switch {
	case s.Grip == nil:
		w.cannot(say.T("engine braking"), say.T("no grip is logged"), say.T("log grip"))
		return
	case s.Gear == nil:
		w.cannot(say.T("engine braking"), say.T("the gear is not known"), say.T("log gear, or rear wheel speed and engine speed"))
		return
	case s.Force == nil:
		w.cannot(say.T("engine braking"), say.T("mass or drag area is not in the bike file"), say.T("give mass.total_kg and air.drag_area_m2"))
		return
	}
	level := w.levelOf("engine-brake")
	type key struct {
		gear  int
		level float64
	}
	type cell struct {
		force, decel, rpm float64
		n                 int
	}
	sums := map[key]map[int32]*cell{}
	closed := 0
	wait := w.samples(0.25)
	for i := 0; i < w.n; i++ {
		if s.Grip[i] < 0.015 {
			closed++
		} else {
			closed = 0
		}
		if closed < wait || w.braking[i] || w.shifting[i] || s.Airborne[i] || w.speed[i] < 12 || s.Gear[i] == 0 || math.Abs(w.pos.Offset[i]) > 8 {
			continue
		}
		k := key{gear: int(s.Gear[i]), level: math.NaN()}
		if level != nil {
			k.level = level(i)
		} else {
			k.level = 0
		}
		if sums[k] == nil {
			sums[k] = map[int32]*cell{}
		}
		c := sums[k][w.lap[i]]
		if c == nil {
			c = &cell{}
			sums[k][w.lap[i]] = c
		}
		c.force -= s.Force[i]
		c.decel -= w.accel[i]
		if s.RPM != nil {
			c.rpm += s.RPM[i]
		}
		c.n++
	}
	for gear := 1; gear <= 8; gear++ {
		for k, laps := range sums {
			if k.gear != gear {
				continue
			}
			g := GearDrag{Gear: gear}
			if level != nil {
				g.Level = k.level
			}
			var f, d []float64
			var rpm float64
			numbers := make([]int32, 0, len(laps))
			for n := range laps {
				numbers = append(numbers, n)
			}
			slices.Sort(numbers) // sums must not depend on the order of a map
			for _, n := range numbers {
				c := laps[n]
				g.Samples += c.n
				rpm += c.rpm
				if c.n >= w.samples(0.15) {
					f = append(f, c.force/float64(c.n))
					d = append(d, c.decel/float64(c.n))
				}
			}
			g.RPM = rpm / float64(g.Samples)
			g.Force, g.Decel = meanOf(f), meanOf(d)
			w.r.Engine.Gears = append(w.r.Engine.Gears, g)
		}
	}
	slices.SortFunc(w.r.Engine.Gears, func(a, b GearDrag) int {
		return cmp.Or(cmp.Compare(a.Gear, b.Gear), cmp.Compare(a.Level, b.Level))
	})
	if len(w.r.Engine.Gears) == 0 {
		w.r.Engine.Notes = append(w.r.Engine.Notes, "no coasting with closed grip and brakes off: engine braking cannot be told from the brakes")
	}
	if s.FrontBrake == nil {
		w.r.Engine.Notes = append(w.r.Engine.Notes, "no front brake pressure: light braking may be taken for engine braking")
	}
	if s.RearBrake == nil {
		w.r.Engine.Notes = append(w.r.Engine.Notes, "no rear brake pressure: what the rear brake takes is counted as engine braking")
	}
}

// levelOf gives the value, by gear and slot in use, of the setting that acts so;
// nil if the bike file has none.
func (w *work) levelOf(acts string) func(i int) float64 {
	for k := range w.b.Settings {
		st := &w.b.Settings[k]
		if st.Acts != acts || st.By != "gear" {
			continue
		}
		s := &w.r.Signals
		ref := w.b.Slots.Reference
		return func(i int) float64 {
			slot := ref
			if s.Slot != nil && s.Slot[i] >= 0 {
				slot = string(rune('A' + s.Slot[i]))
			}
			v, ok := w.b.First[slot][st.ID]
			if g := int(s.Gear[i]); ok && len(v) > 0 && g >= 1 && g <= len(v[0]) {
				return v[0][g-1]
			}
			return 0
		}
	}
	return nil
}

// meanOf is the mean over laps with its 95 % interval; withheld below three.
func meanOf(x []float64) Interval {
	n := len(x)
	if n == 0 {
		return Interval{Why: "no lap has enough of it"}
	}
	var m float64
	for _, v := range x {
		m += v
	}
	m /= float64(n)
	if n < 3 {
		return Interval{Value: m, Lo: math.Inf(-1), Hi: math.Inf(1), N: n, Why: "fewer than three laps"}
	}
	var ss float64
	for _, v := range x {
		ss += (v - m) * (v - m)
	}
	half := student95(n-1) * math.Sqrt(ss/float64(n-1)/float64(n))
	return Interval{Value: m, Lo: m - half, Hi: m + half, N: n, OK: true}
}
