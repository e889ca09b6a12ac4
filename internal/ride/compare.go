package ride

import (
	"fmt"
	"math"
	"sort"
)

// TorqueDifference is what configuration B gives over A within a range of
// engine speed.
type TorqueDifference struct {
	From, To  float64  // 1/min
	Crank     Interval // N.m at the crank, B less A, mean over the range; N is laps of both
	Share     Interval // as a share of A's torque
	RearTeeth float64  // rear sprocket teeth that would change wheel torque as much (within the range only)
	LapsA     int
	LapsB     int
	Bins      []TorqueBin // difference by bin, with pointwise intervals
	Wind      [2]Interval // m/s towards east and north, B less A, as the straights tell it; not OK where they cannot
	PerKg     float64     // N.m that one kilogram more on B, unknown to the bike file, would take off the difference
	Notes     []string
}

// What two runs do not tell of themselves (one standard deviation each).
const (
	windChange  = 1.5   // m/s by axis, mean wind of one run against the other's (from memory)
	torqueShare = 0.005 // of the difference: losses of gears and chain lie between 6 and 8 % (from memory)
	// scaleShare is by how much the speed scale and the rear tyre's radius of two
	// runs may differ unseen, as a share: a quarter of a tenth of a bar (from memory).
	scaleShare = 3e-4
	leastAir   = 0.003 // of the torque: what differences of the air below it do is not worth telling
)

// oneRadius brings the pulls of B to the radius of A's rear tyre, where the runs
// find radii that their standard errors do not hold apart: the same tyre then
// has the same error in both, and it falls out.
func oneRadius(a, b []Pull) []Pull {
	if len(a) == 0 || len(b) == 0 || !(a[0].Radius > 0) || !(b[0].Radius > 0) {
		return b
	}
	k := a[0].Radius / b[0].Radius
	if se := math.Hypot(a[0].RadiusSE, b[0].RadiusSE); math.Abs(k-1) > 3*math.Max(se, scaleShare) {
		return b
	}
	out := append([]Pull(nil), b...)
	for i := range out {
		out[i].Torque *= k
	}
	return out
}

// stratum is a place where both runs pulled: the same engine speed in the same
// gear out of the same turn, so that grade and most of the drag fall out.
type stratum struct {
	turn, gear int
	rpm        float64
}

// pullRow is one pull less what its stratum has in common: columns are run B,
// and wind of B towards east and north.
type pullRow struct {
	lap  int // laps of both runs, numbered
	turn int
	bin  float64
	w    float64 // s
	x    [3]float64
	y    float64 // N.m
}

// CompareTorque compares full-throttle torque of two runs within a range of
// engine speed (1/min). Only what both runs rode enters, stratum by stratum. A
// lap is the unit of repetition: its scatter is found by leaving out one lap
// after the other (J. W. Tukey, Annals of Mathematical Statistics 29, 1958), and
// that of the turns likewise. What
// all laps of a run share is in the interval too: a change of the mean wind
// between the runs is an unknown of the fit, told by straights of different
// heading and held at 0 +- 1.5 m/s by axis where they do not tell; the radius
// of the rear tyre and the speed scale; the share of torque that losses and mass leave open. Fuel
// and slipstream are not in it, and the notes say what they are worth.
func CompareTorque(a, b []Pull, from, to float64, teeth int) TorqueDifference {
	d := TorqueDifference{From: from, To: to}
	b = oneRadius(a, b)
	rows, laps := pullRows(a, b, from, to, &d)
	if d.LapsA < 3 || d.LapsB < 3 {
		d.Crank = Interval{N: d.LapsA + d.LapsB, Why: fmt.Sprintf("%d and %d laps at full throttle in the same places; three of each are needed", d.LapsA, d.LapsB)}
		d.Notes = append(d.Notes, d.Crank.Why)
		return d
	}
	var meanA, sec, kg float64
	for _, p := range a {
		if inRange(p, from, to) {
			meanA += p.Torque * p.Seconds
			kg += p.PerKilogram * p.Seconds
			sec += p.Seconds
		}
	}
	meanA /= sec
	d.PerKg = kg / sec
	full := fitPulls(rows, laps, math.NaN(), nil)
	scale := scaleShare * meanA
	d.Crank = full.interval(scale, d.LapsA+d.LapsB)
	for k := range d.Wind {
		se := math.Sqrt(full.cov[k+1])
		d.Wind[k] = Interval{Value: full.coef[k+1], Lo: full.coef[k+1] - full.t*se, Hi: full.coef[k+1] + full.t*se, N: d.Crank.N, OK: full.told[k]}
		if !full.told[k] {
			d.Wind[k].Why = "full throttle on too few headings to tell wind from torque"
		}
	}
	d.Share = Interval{Value: d.Crank.Value / meanA, Lo: d.Crank.Lo / meanA, Hi: d.Crank.Hi / meanA, N: d.Crank.N, OK: true}
	if teeth > 0 {
		d.RearTeeth = d.Share.Value * float64(teeth)
	}
	bins := map[float64]bool{}
	for _, r := range rows {
		bins[r.bin] = true
	}
	for rpm := range bins {
		// Wind as the whole range tells it.
		f := fitPulls(rows, laps, rpm, full)
		t := Interval{N: d.Crank.N, Why: "fewer than three laps of each run at this engine speed"}
		if f != nil {
			t = f.interval(scale, d.Crank.N)
		}
		d.Bins = append(d.Bins, TorqueBin{RPM: rpm, Torque: t})
	}
	sort.Slice(d.Bins, func(i, j int) bool { return d.Bins[i].RPM < d.Bins[j].RPM })
	d.Notes = append(d.Notes, fmt.Sprintf("fuel load and slipstream of the two runs are not known and are not in the interval: each kilogram is worth %.2f N.m", d.PerKg))
	if x := airShare(a, b); math.Abs(x) > leastAir {
		more := "more"
		if x < 0 {
			more = "less"
		}
		d.Notes = append(d.Notes, fmt.Sprintf("an engine gives %.1f %% %s in the air of the second run (ISO 1585, from air temperature and height): about %.1f N.m, which is in the difference", 100*math.Abs(x), more, math.Abs(x*meanA)))
	}
	if !d.Wind[0].OK || !d.Wind[1].OK {
		d.Notes = append(d.Notes, fmt.Sprintf("the straights do not tell a change of wind from torque: %.1f m/s either way is allowed for", windChange))
	}
	return d
}

func inRange(p Pull, from, to float64) bool {
	return p.RPM+PullBin/2 >= from && p.RPM+PullBin/2 <= to
}

// pullRows takes the mean of its stratum off every pull that both runs have, and
// counts the laps: those with less than a third of the longest one's seconds
// are left out.
func pullRows(a, b []Pull, from, to float64, d *TorqueDifference) (rows []pullRow, laps int) {
	sec := map[stratum]*[2]float64{}
	each := func(f func(p Pull, run int)) {
		for run, ps := range [2][]Pull{a, b} {
			for _, p := range ps {
				if inRange(p, from, to) {
					f(p, run)
				}
			}
		}
	}
	each(func(p Pull, run int) {
		k := stratum{p.Turn, p.Gear, p.RPM}
		if sec[k] == nil {
			sec[k] = &[2]float64{}
		}
		sec[k][run] += p.Seconds
	})
	type lapKey struct{ run, lap int }
	both := func(p Pull) bool { s := sec[stratum{p.Turn, p.Gear, p.RPM}]; return s[0] > 0 && s[1] > 0 }
	time := map[lapKey]float64{}
	longest := 0.0
	each(func(p Pull, run int) {
		if both(p) {
			k := lapKey{run, p.Lap}
			time[k] += p.Seconds
			longest = math.Max(longest, time[k])
		}
	})
	// Strata and laps by number, so that sums do not depend on the order of a map.
	numberOf := map[lapKey]int{}
	type sum struct {
		w, y float64
		x    [3]float64
	}
	means := map[stratum]*sum{}
	var at []stratum
	each(func(p Pull, run int) {
		k := lapKey{run, p.Lap}
		if !both(p) || time[k] < 0.3*longest {
			return
		}
		if _, ok := numberOf[k]; !ok {
			numberOf[k] = laps
			laps++
			if run == 0 {
				d.LapsA++
			} else {
				d.LapsB++
			}
		}
		r := pullRow{lap: numberOf[k], turn: p.Turn, bin: p.RPM, w: p.Seconds, y: p.Torque}
		if run == 1 {
			r.x = [3]float64{1, p.Wind[0], p.Wind[1]}
		}
		s := stratum{p.Turn, p.Gear, p.RPM}
		m := means[s]
		if m == nil {
			m = &sum{}
			means[s] = m
		}
		m.w += r.w
		m.y += r.w * r.y
		for j := range r.x {
			m.x[j] += r.w * r.x[j]
		}
		rows, at = append(rows, r), append(at, s)
	})
	for i := range rows {
		m := means[at[i]]
		rows[i].y -= m.y / m.w
		for j := range rows[i].x {
			rows[i].x[j] -= m.x[j] / m.w
		}
	}
	return rows, laps
}

// pullFit is the difference of two runs with the wind between them.
type pullFit struct {
	coef [3]float64 // N.m, then m/s towards east and north
	cov  [3]float64 // variances
	t    float64    // quantile of the 95 % interval
	told [2]bool    // the data hold the wind, not the prior
	df   float64
}

func (f *pullFit) interval(scale float64, n int) Interval {
	v := f.coef[0]
	half := f.t * math.Sqrt(f.cov[0]+scale*scale+sq(torqueShare*v))
	return Interval{Value: v, Lo: v - half, Hi: v + half, N: n, OK: true}
}

// fitPulls solves for the difference, over all rows or (bin not NaN) one bin
// with the wind of the whole range taken over. nil if fewer than three laps of a
// run are in the bin.
func fitPulls(rows []pullRow, laps int, bin float64, whole *pullFit) *pullFit {
	p := 3
	if whole != nil {
		p = 1
	}
	var all pullSums
	var yy float64
	used := make([]bool, laps)
	side := [2]int{}
	in := rows[:0:0]
	for _, r := range rows {
		if whole != nil {
			if r.bin != bin {
				continue
			}
			r.y -= whole.coef[1]*r.x[1] + whole.coef[2]*r.x[2]
			r.x[1], r.x[2] = 0, 0
		}
		if !used[r.lap] {
			used[r.lap] = true
			side[b01(r.x[0] > 0)]++
		}
		all.add(&r)
		yy += r.w
		in = append(in, r)
	}
	if side[0] < 3 || side[1] < 3 {
		return nil
	}
	solve := func(n pullSums, hold float64) (x [3]float64, ok bool) {
		for i := 1; i < p; i++ {
			n.a[i][i] += hold
		}
		return solve3(n.a, n.b, p)
	}
	f := &pullFit{}
	var ok bool
	if f.coef, ok = solve(all, 1e-9); !ok {
		return nil
	}
	// Variance of a second of pulling, laps correlated within themselves.
	hold := 0.0
	for range 2 {
		resid := make([]float64, laps)
		for _, r := range in {
			resid[r.lap] += r.w * (r.y - f.coef[0]*r.x[0] - f.coef[1]*r.x[1] - f.coef[2]*r.x[2])
		}
		ss := 0.0
		for _, e := range resid {
			ss += e * e
		}
		hold = math.Max(1e-9, ss/yy/sq(windChange))
		f.coef, _ = solve(all, hold)
	}
	// leave gives the variances from leaving out one group of rows after the other.
	leave := func(group func(r *pullRow) int) (v [3]float64, groups int) {
		sums := map[int]*pullSums{}
		var order []int
		for i := range in {
			k := group(&in[i])
			if sums[k] == nil {
				sums[k] = &pullSums{}
				order = append(order, k)
			}
			sums[k].add(&in[i])
		}
		if len(order) < 2 {
			return v, len(order)
		}
		var mean [3]float64
		left := make([][3]float64, 0, len(order))
		for _, k := range order {
			x, ok := solve(all.less(sums[k]), hold)
			if !ok {
				x = f.coef
			}
			left = append(left, x)
			for i := range mean {
				mean[i] += x[i]
			}
		}
		m := float64(len(left))
		for i := range p {
			for _, x := range left {
				v[i] += sq(x[i]-mean[i]/m) * (m - 1) / m
			}
		}
		return v, len(order)
	}
	// Laps scatter, and so do turns: what one of them has different in the two
	// runs, all laps have (A. C. Cameron, J. B. Gelbach, D. L. Miller, Journal of
	// Business and Economic Statistics 29, 2011).
	lap, n := leave(func(r *pullRow) int { return r.lap })
	turn, turns := leave(func(r *pullRow) int { return r.turn })
	cell, _ := leave(func(r *pullRow) int { return r.lap*1000 + r.turn })
	for i := range f.cov {
		f.cov[i] = lap[i]
		if turns > 2 {
			f.cov[i] = math.Max(lap[i], lap[i]+turn[i]-cell[i])
		}
	}
	f.df = math.Max(1, float64(n-2))
	if extra := f.cov[0] - lap[0]; extra > 0 {
		f.df = math.Max(1, sq(f.cov[0])/(sq(lap[0])/f.df+sq(extra)/float64(turns-1)))
	}
	// What the prior pulls the estimate by, for a wind of its own size.
	for j := 1; j < p; j++ {
		var e pullSums
		e.a = all.a
		e.b[j] = hold
		x, _ := solve(e, hold)
		for i := range p {
			f.cov[i] += sq(x[i] * windChange)
		}
		f.told[j-1] = x[j] < 0.3
	}
	f.t = studentFor(f.df)
	return f
}

// pullSums are the normal equations of rows.
type pullSums struct {
	a [3][3]float64
	b [3]float64
}

func (n *pullSums) add(r *pullRow) {
	for i := range r.x {
		for j := range r.x {
			n.a[i][j] += r.w * r.x[i] * r.x[j]
		}
		n.b[i] += r.w * r.x[i] * r.y
	}
}

func (n pullSums) less(o *pullSums) pullSums {
	for i := range n.b {
		for j := range n.b {
			n.a[i][j] -= o.a[i][j]
		}
		n.b[i] -= o.b[i]
	}
	return n
}

func b01(b bool) int {
	if b {
		return 1
	}
	return 0
}

// solve3 solves the leading p x p part of a symmetric system by elimination.
func solve3(a [3][3]float64, b [3]float64, p int) (x [3]float64, ok bool) {
	for i := range p {
		if !(math.Abs(a[i][i]) > 1e-12) {
			return x, false
		}
		for k := i + 1; k < p; k++ {
			f := a[k][i] / a[i][i]
			for j := i; j < p; j++ {
				a[k][j] -= f * a[i][j]
			}
			b[k] -= f * b[i]
		}
	}
	for i := p - 1; i >= 0; i-- {
		x[i] = b[i]
		for j := i + 1; j < p; j++ {
			x[i] -= a[i][j] * x[j]
		}
		x[i] /= a[i][i]
	}
	return x, true
}
