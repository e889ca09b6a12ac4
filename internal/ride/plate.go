package ride

import (
	"math"

	"cornerwright/internal/signal"
)

// fullRange brings the plate (in place) to the grip's own scale, where one is a
// straight line of the other: sensors seldom read nought at the stop and 100 at
// the other, and a few per cent matter at small openings. Where a map lies between
// them that is no straight line it is left as logged.
func (w *work) fullRange(plate, grip []float64) {
	const bins = 20
	var cells [bins][]float64
	hold := w.samples(0.1)
	for i := hold; i+hold < w.n; i++ {
		g := grip[i]
		if g < 0.05 || w.shifting[i] || math.Abs(grip[i+hold]-grip[i-hold]) > 0.4 {
			continue
		}
		// As if the grip stood in the middle of its bin.
		j := min(bins-1, int(g*bins))
		cells[j] = append(cells[j], plate[i]-g)
	}
	var x, y []float64
	for j := range cells {
		if len(cells[j]) >= 25 {
			m := (float64(j) + 0.5) / bins
			x, y = append(x, m), append(y, m+quick(cells[j], 0.85)) // cuts lie below
		}
	}
	if len(x) < 6 {
		return
	}
	a, b := straightThrough(x, y)
	var off, same []float64
	for i := range x {
		off = append(off, math.Abs(y[i]-a-b*x[i]))
		same = append(same, math.Abs(y[i]-x[i]))
	}
	if quick(same, 0.8) < 0.015 {
		return // one to one already, within what scatter and lag leave
	}
	if b < 0.5 || b > 1.5 || math.Abs(a) > 0.15 || quick(off, 0.8) > 0.006 {
		return
	}
	for i := range plate {
		plate[i] = (plate[i] - a) / b
	}
}

// straightThrough is the straight line a + b x by the median of slopes (P. K. Sen,
// Journal of the American Statistical Association 63, 1968).
func straightThrough(x, y []float64) (a, b float64) {
	var slopes, rest []float64
	for i := range x {
		for j := range i {
			slopes = append(slopes, (y[i]-y[j])/(x[i]-x[j]))
		}
	}
	b = quick(slopes, 0.5)
	for i := range x {
		rest = append(rest, y[i]-b*x[i])
	}
	return quick(rest, 0.5), b
}

// plateCut is 1 - plate/(map of grip): the map is learnt from the run as the
// upper part of plate over grip, by gear and grip, and the lag of the plate by
// the least scatter of its rate against the grip's.
func (w *work) plateCut() []float64 {
	s := &w.r.Signals
	grip, plate, demand, slack := w.mem.take(), w.mem.take(), w.mem.take(), w.mem.zeros()
	defer w.mem.back(grip, plate, demand, slack)
	signal.LowPassInto(grip, s.Grip, 12, w.rate, &w.sc)
	signal.LowPassInto(plate, s.Throttle, 12, w.rate, &w.sc)
	lag := w.plateLag(grip, plate)
	for i := range demand {
		demand[i] = signal.At(grip, 0, 1, float64(i)-lag)
	}
	w.fullRange(plate, demand)
	// What lag and its error may hide: a quickly moving grip forgives more.
	for i := 1; i < w.n-1; i++ {
		slack[i] = 0.001 + 0.004*math.Abs(demand[i+1]-demand[i-1])/(2*w.dt)
	}
	// Share of the demanded torque that the plate lets through, infinite where there
	// is none to speak of. A plate's share is
	// not torque's share: the torque of a nearly open plate hardly changes. The
	// run's own torque over plate and engine speed turns one into the other;
	// where it cannot be fitted, the usual curve of a butterfly does.
	usual := func(p float64) float64 { return 1 - math.Exp(-2.6*p) }
	torqueOf := func(i int, p float64) float64 { return usual(p) }
	least := 0.0
	if torque := w.crankTorque(); torque != nil {
		out := w.notDriven(plate)
		defer w.mem.put(out)
		defer w.mem.back(torque)
		if m := w.fitTorque(torque, plate, out, false); m != nil && m.sigma < 12 {
			torqueOf = func(i int, p float64) float64 {
				if s.Gear[i] == 0 {
					return usual(p)
				}
				return m.engine(i, p)
			}
			least = 14 // N.m: hardly any drive, nothing to be cut
		}
	}
	top := w.fullShares(demand, plate, torqueOf)
	share := func(i int, add float64) float64 {
		want := torqueOf(i, demand[i])
		if want < least {
			return math.Inf(1)
		}
		if c := top.at(w, i); c < 1 {
			want = math.Min(want, c*torqueOf(i, 1))
		}
		got := torqueOf(i, plate[i]+add) / want
		// However flat the fitted throttle, a plate that closes takes at least half of
		// what the usual one would: a fit that saw only open and closed may call
		// everything between open.
		if p := plate[i] + add; p < demand[i] && top.at(w, i) > 0.97 {
			got = math.Min(got, 0.5+0.5*usual(p)/usual(demand[i]))
		}
		return got
	}
	through := w.mem.take()
	defer w.mem.back(through)
	const bins = 20
	var cells [10][bins + 1][]float64
	for i := range through {
		if demand[i] < 0.04 {
			through[i] = math.Inf(1) // nothing to be cut
			continue
		}
		through[i] = share(i, slack[i])
		if i%2 == 0 && !w.shifting[i] && !s.Airborne[i] && slack[i] < 0.0025 {
			j := min(bins, int(demand[i]*bins))
			v := share(i, 0)
			if math.IsInf(v, 1) {
				continue
			}
			cells[w.gearIndex(i)][j] = append(cells[w.gearIndex(i)][j], v)
			cells[9][j] = append(cells[9][j], v)
		}
	}
	// The map of the bike is the upper part of what gets through, by grip; by gear
	// too, where a cap of a gear holds every pass down at the top.
	var curve [10][bins + 1]float64
	for k := range cells {
		for j := range cells[k] {
			curve[k][j] = math.NaN()
			if c := cells[k][j]; len(c) >= 25 {
				curve[k][j] = quick(c, 0.85)
			}
		}
	}
	straight(curve[9][:])
	at := func(k, j int) float64 {
		all := curve[9][j]
		// Below the top a gear has no map of its own: one whose every pass is cut
		// must not hide it. A cap of torque shows at the top only.
		if v := curve[k][j]; !math.IsNaN(v) && j >= bins-5 {
			return math.Min(v, 1.02)
		}
		for d := 1; d <= bins && math.IsNaN(all); d++ {
			for _, m := range [2]int{j - d, j + d} {
				if m >= 0 && m <= bins && !math.IsNaN(curve[9][m]) {
					all = curve[9][m]
				}
			}
		}
		if math.IsNaN(all) {
			return 1
		}
		return all
	}
	// What the plate shows now was decided lag ago.
	late := int(math.Round(lag))
	out := make([]float64, w.n)
	for o := range out {
		i := o + late
		if i >= w.n {
			break
		}
		if w.shifting[i] && s.Clutch != nil && s.Clutch[i] > 0.2 {
			continue
		}
		g := demand[i]
		if g < 0.04 {
			continue
		}
		k := w.gearIndex(i)
		u := g*bins - 0.5
		j := int(math.Max(0, math.Floor(u)))
		f := math.Max(0, math.Min(1, u-float64(j)))
		j1 := min(bins, j+1)
		j = min(bins, j)
		if want := at(k, j)*(1-f) + at(k, j1)*f; want > 0.1 {
			out[o] = math.Max(0, math.Min(1, 1-through[i]/want))
		}
	}
	return out
}

// fullShares is the share of the engine's torque that the open grip is given, by
// gear and five hundred revolutions: bikes cap the torque of the low gears, and a
// grip that asks for more than the cap is not cut.
type fullShares [9][40]float64

// fullShares learns the caps as the upper part of what an open grip was given.
func (w *work) fullShares(demand, plate []float64, torqueOf func(i int, p float64) float64) *fullShares {
	s := &w.r.Signals
	var f fullShares
	var cells [9][40][]float64
	for i := 0; i < w.n; i += 2 {
		if demand[i] < 0.97*w.full || w.shifting[i] || s.Airborne[i] || s.RPM == nil {
			continue
		}
		if all := torqueOf(i, 1); all > 0 {
			c := &cells[w.gearIndex(i)][rpmIndex(s.RPM[i])]
			*c = append(*c, torqueOf(i, plate[i])/all)
		}
	}
	for g := range cells {
		last := 0.0
		for k := range cells[g] {
			if c := cells[g][k]; len(c) >= 15 {
				last = math.Min(1, quick(c, 0.95))
				f[g][k] = last
			}
		}
		// Engine speeds that were not seen take the nearest below, else above.
		for k := range f[g] {
			if f[g][k] == 0 && k > 0 {
				f[g][k] = f[g][k-1]
			}
		}
		for k := len(f[g]) - 2; k >= 0; k-- {
			if f[g][k] == 0 {
				f[g][k] = f[g][k+1]
			}
		}
	}
	return &f
}

// at is the cap at sample i, 1 where none was learnt, between them in a
// straight line.
func (f *fullShares) at(w *work, i int) float64 {
	if w.r.Signals.RPM == nil {
		return 1
	}
	g := &f[w.gearIndex(i)]
	x := w.r.Signals.RPM[i]/500 - 0.5
	k := min(len(g)-2, max(0, int(x)))
	u := math.Max(0, math.Min(1, x-float64(k)))
	if g[k] == 0 {
		return 1
	}
	return g[k] + u*(g[k+1]-g[k])
}

func rpmIndex(rpm float64) int { return min(39, max(0, int(rpm/500))) }

func (w *work) gearIndex(i int) int {
	if w.r.Signals.Gear == nil {
		return 0
	}
	return min(8, int(w.r.Signals.Gear[i]))
}

// straight sets a map that follows the grip one to one, but for bins whose every
// pass is cut, to one: its median is near one.
func straight(curve []float64) {
	var c []float64
	for _, v := range curve {
		if !math.IsNaN(v) {
			c = append(c, v)
		}
	}
	if len(c) < 5 {
		return
	}
	sortFloats(c)
	if m := quantile(c, 0.7); m < 0.97 || m > 1.03 {
		return
	}
	for j := range curve {
		if j < len(curve)-5 {
			curve[j] = 1
		}
	}
}

// plateLag is by how many samples the plate comes after the grip: the least
// typical difference of their rates, refined by a parabola.
func (w *work) plateLag(grip, plate []float64) float64 {
	most := w.samples(0.15)
	cost := make([]float64, most+1)
	var at []int32
	for i := most + 2; i < w.n-1; i += 2 {
		if grip[i] >= 0.03 && !w.shifting[i] && !w.braking[i] {
			at = append(at, int32(i))
		}
	}
	d := make([]float64, 0, len(at))
	for k := range cost {
		d = d[:0]
		for _, j := range at {
			i := int(j)
			if g := grip[i+1-k] - grip[i-1-k]; math.Abs(g) >= 0.4*2*w.dt {
				d = append(d, math.Abs(plate[i+1]-plate[i-1]-g))
			}
		}
		if len(d) < 100 {
			return 2 * 0.01 / w.dt
		}
		cost[k] = quick(d, 0.4)
	}
	best := 0
	for k := range cost {
		if cost[k] < cost[best] {
			best = k
		}
	}
	lag := float64(best)
	if best > 0 && best < most {
		a, b, c := cost[best-1], cost[best], cost[best+1]
		if den := a - 2*b + c; den > 0 {
			lag += 0.5 * (a - c) / den
		}
	}
	return lag
}
