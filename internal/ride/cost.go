package ride

import (
	"math"
	"slices"

	"cornerwright/internal/inference"
	"cornerwright/internal/signal"
)

// What a cost in seconds leaves open, one standard deviation each.
const (
	costForce = 0.12          // of the force taken: engine, losses, cut as logged
	costHand  = 0.5           // how far the hand follows what the rear tyre bears, 0 not at all, 1 wholly
	costDoubt = 0.3           // of that
	costLean  = 1.5 * degree  // of the most that the rider leans
	costFloor = 2e-3          // s, of an episode
	degree    = math.Pi / 180 // rad
)

// cost estimates what each cut cost in seconds: the drive without it, beside the
// drive that was ridden, from where the cut begins to the end of the turn's window
// or the next brakes. At each
// place the bike without the cut is faster by dv:
//
//   - while the cut lasts it gains the work of the force that was taken,
//     Fe c/(1-c), with Fe the force of the engine at the tyre (rotating masses
//     included);
//   - a bike that drives harder loads its rear tyre more, and the hand that feels
//     its way opens further: half of that is taken, none and all are allowed for;
//   - while the hand is not fully open, the place and not the speed decides how
//     hard the bike may drive: the gain of kinetic energy stays, less drag;
//   - at full throttle it drives at equal power, so a faster bike gains less;
//   - it never leans further than the rider does on this run.
//
// The time lost is the integral of dv/(v+dv) over the time ridden. What the tyre
// could not have carried is taken out of the low end, not of the estimate: beyond
// the slip that the rest of the run shows to be of use, more torque may only
// have spun.
func (w *work) cost() {
	s := &w.r.Signals
	if s.Force == nil || s.Cut == nil {
		return
	}
	lean := make([]float64, 0, w.n/7+1)
	for i := 0; i < w.n; i += 7 {
		if w.speed[i] > 10 {
			lean = append(lean, math.Abs(s.Lean[i]))
		}
	}
	if len(lean) == 0 {
		return
	}
	sortFloats(lean)
	most := quantile(lean, 0.997)
	brake := brakeStarts(w.braking)
	signal.Each(len(w.r.Episodes), func(k int) {
		e := &w.r.Episodes[k]
		if e.Kind != Cut {
			return
		}
		a, b := w.index(e.Start), w.index(e.End)
		end := -1
		if j, _ := slices.BinarySearch(brake, b+1); j < len(brake) {
			end = brake[j]
		}
		// The pass's window ends before the next turn's brakes: what is lost there is
		// in this turn's time, the rest in the next one's.
		if w.r.Circuit != nil && end >= 0 {
			if p := w.passAt(e.Start, e.Turn); p != nil {
				end = max(b, min(end, w.index(p.End)))
			}
		}
		c := drive{w: w, a: a, b: b, end: end, force: 1, hand: costHand, lean: most}
		if end < 0 {
			c.end = b
			_, e.DeltaV = c.lost()
			e.Cost = Interval{Why: "the recording ends before the next brakes"}
			return
		}
		t, dv := c.lost()
		e.DeltaV = dv
		// One doubt at a time; they are unlike, so their squares add. What a run has
		// wrong here it has wrong on every lap: the mean over laps is no better. The
		// interval is one of 90 %.
		var up, down float64
		for _, alter := range []func(c *drive){
			func(c *drive) { c.force = 1 + costForce },
			func(c *drive) { c.force = 1 - costForce },
			func(c *drive) { c.hand += costDoubt },
			func(c *drive) { c.hand -= costDoubt },
			func(c *drive) { c.lean += costLean },
			func(c *drive) { c.lean -= costLean },
			func(c *drive) { c.usable = true },
			func(c *drive) { c.power = true },
			func(c *drive) { c.place = true },
		} {
			d := c
			alter(&d)
			x, _ := d.lost()
			if x > t {
				up += sq(x - t)
			} else {
				down += sq(x - t)
			}
		}
		e.Cost = Interval{Value: t, Lo: math.Max(0, t-inference.NormalQuantile(0.95)*math.Sqrt(down)-costFloor), Hi: t + inference.NormalQuantile(0.95)*math.Sqrt(up) + costFloor, N: 1, OK: true}
	})
}

// drive is the stretch from a cut, samples [a, b), to the next brakes at end.
type drive struct {
	w         *work
	a, b, end int
	force     float64 // factor on the force taken
	hand      float64 // how far the hand follows the load, 0..1
	lean      float64 // rad, the most
	usable    bool    // count only what the tyre surely carried
	power     bool    // equal power all the way
	place     bool    // the place decides all the way
}

// lost is the time in s that the cut cost and the speed in m/s that it had taken
// when it ended.
func (d *drive) lost() (t, dv float64) {
	w := d.w
	s := &w.r.Signals
	full := 0.95 * w.full
	tanMost := math.Tan(d.lean)
	var gain, now float64 // m2/s2 of kinetic energy over mass; m/s
	for i := d.a; i < d.end; i++ {
		v := math.Max(w.speed[i], 3)
		m := w.b.Mass.Total
		gear := 0
		if s.Gear != nil {
			gear = int(s.Gear[i])
		}
		m += w.b.RotatingMass(gear)
		// The engine's force: the tyre's, and what spins up engine and wheel.
		engine := s.Force[i] + (m-w.b.Mass.Total-w.frontMass())*w.accel[i]
		if i < d.b {
			if c := math.Min(0.9, s.Cut[i]); c > 0 && engine > 0 {
				use := d.force
				if d.usable && s.RearSlip != nil {
					use *= carried(s.RearSlip[i])
				}
				if grip := s.Grip; grip == nil || grip[i] < full {
					use *= 1 + d.hand*(w.follow(i, engine/(1-c))-1)
				}
				gain += use * engine * c / (1 - c) / m * v * w.dt
			}
		}
		drop := w.b.Density() * w.b.Air.DragArea * v / m // of drag, 1/s
		open := s.Grip != nil && s.Grip[i] >= full
		if (open || d.power) && !d.place && engine > 0 && i >= d.b {
			drop += engine / m / v
		}
		gain = math.Max(0, gain-drop*now*v*w.dt)
		now = math.Sqrt(v*v+2*gain) - v
		if tan := math.Tan(math.Abs(s.Lean[i])); tan > 0.2 && tan < tanMost {
			if top := v * (math.Sqrt(tanMost/tan) - 1); now > top {
				now = top
				gain = v*now + now*now/2
			}
		} else if tan >= tanMost {
			now, gain = 0, 0
		}
		if i == d.b-1 {
			dv = now
		}
		t += now / (v + now) * w.dt
	}
	return t, dv
}

// follow is by how much force grows where the hand asks a fixed share of what the
// rear tyre bears: force moves load to the rear, h/p of itself, which asks for
// more force: 1/(1 - F/N h/p).
func (w *work) follow(i int, force float64) float64 {
	_, load, _ := w.b.Loads(w.accel[i])
	m := w.b.Mass
	hp := 0.44
	if m.Wheelbase > 0 && m.CentreHeight > 0 {
		hp = m.CentreHeight / m.Wheelbase
	}
	return 1 / (1 - math.Min(0.6, math.Max(0, force/math.Max(load, 300)*hp)))
}

// carried is the share of more torque that a tyre surely turns into drive at a
// slip: all below 6 %, none from 12 % on (from memory, for dry racing tyres).
func carried(slip float64) float64 {
	if math.IsNaN(slip) {
		return 1
	}
	return math.Max(0, math.Min(1, (0.12-slip)/0.06))
}

// frontMass is what the front wheel's inertia adds, kg.
func (w *work) frontMass() float64 {
	return w.b.RearForce(1, 0, 0) - w.b.RearForce(0, 0, 0) - w.b.Mass.Total
}

// brakeStarts lists the samples at which the brakes come on.
func brakeStarts(m []bool) []int {
	var out []int
	stretches(m, func(a, b int) { out = append(out, a) })
	return out
}
