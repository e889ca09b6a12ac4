package ride

import (
	"fmt"
	"math"
	"sort"

	"cornerwright/internal/bike"
	"cornerwright/internal/signal"
)

// pullBin is the width of an engine speed bin, 1/min.
const pullBin = 500.0

// Pull is full throttle in one gear through one bin of engine speed on one
// lap's way out of one turn.
type Pull struct {
	Lap, Turn, Gear int
	RPM             float64 // 1/min, lower edge of the bin
	Torque          float64 // N.m at the crank, mean
	Seconds         float64
}

// pulls collects full throttle, upright, gripping, unshifted and uncut.
func (w *work) pulls() {
	s := &w.r.Signals
	switch {
	case s.Force == nil, s.Gear == nil, s.RPM == nil, s.Grip == nil, len(w.b.Drive.Gears) == 0:
		w.cannot("engine torque", "it needs mass, drag area and ratios in the bike file, and engine speed, gear and grip in the recording", "give and log them")
		return
	case w.r.Circuit == nil:
		return
	}
	full := 0.97 * w.full
	a := make([]float64, w.n)
	tmp := make([]float64, w.n)
	signal.LowPassInto(tmp, w.speed, 6, w.rate, &w.sc)
	signal.DerivativeInto(a, tmp, w.dt)
	type key struct{ lap, turn, gear, bin int }
	type cell struct {
		sum float64
		n   int
	}
	cells := map[key]*cell{}
	for i := 0; i < w.n; i++ {
		if s.Grip[i] < full || w.shifting[i] || w.braking[i] || s.Airborne[i] || math.Abs(s.Lean[i]) > 12*math.Pi/180 || w.speed[i] < 12 || s.Gear[i] == 0 {
			continue
		}
		if s.RearSlip != nil && !(s.RearSlip[i] < 0.06) {
			continue
		}
		if s.Cut != nil && s.Cut[i] > 0.02 {
			continue
		}
		if lim := w.b.Drive.LimiterRPM; lim > 0 && s.RPM[i] > lim-300 {
			continue
		}
		g := int(s.Gear[i])
		k := key{int(w.lap[i]), w.r.Circuit.TurnAt(w.pos.S[i]), g, int(s.RPM[i] / pullBin)}
		c := cells[k]
		if c == nil {
			c = &cell{}
			cells[k] = c
		}
		r := bike.Rolling(w.rearRadius, w.rearCrown, s.Lean[i])
		c.sum += w.b.CrankTorque(w.b.RearForce(a[i], w.speed[i], 0), a[i]/r, r, g)
		c.n++
	}
	for k, c := range cells {
		if c.n < 3 {
			continue
		}
		w.r.Pulls = append(w.r.Pulls, Pull{Lap: k.lap, Turn: k.turn, Gear: k.gear, RPM: float64(k.bin) * pullBin, Torque: c.sum / float64(c.n), Seconds: float64(c.n) * w.dt})
	}
	sort.Slice(w.r.Pulls, func(i, j int) bool {
		a, b := w.r.Pulls[i], w.r.Pulls[j]
		switch {
		case a.Lap != b.Lap:
			return a.Lap < b.Lap
		case a.Turn != b.Turn:
			return a.Turn < b.Turn
		case a.Gear != b.Gear:
			return a.Gear < b.Gear
		}
		return a.RPM < b.RPM
	})
}

// TorqueBin is torque against engine speed with its interval over laps.
type TorqueBin struct {
	RPM    float64  // 1/min, lower edge of a 500/min bin
	Torque Interval // N.m at the crank
}

// TorqueCurve gives mean crank torque by engine speed over all gears and turns.
func TorqueCurve(pulls []Pull) []TorqueBin {
	byBin := map[float64]map[int][]Pull{}
	for _, p := range pulls {
		if byBin[p.RPM] == nil {
			byBin[p.RPM] = map[int][]Pull{}
		}
		byBin[p.RPM][p.Lap] = append(byBin[p.RPM][p.Lap], p)
	}
	var out []TorqueBin
	for rpm, laps := range byBin {
		var x []float64
		for _, ps := range laps {
			m, t := 0.0, 0.0
			for _, p := range ps {
				m += p.Torque * p.Seconds
				t += p.Seconds
			}
			x = append(x, m/t)
		}
		sortFloats(x)
		out = append(out, TorqueBin{RPM: rpm, Torque: meanOf(x)})
	}
	sort.Slice(out, func(i, j int) bool { return out[i].RPM < out[j].RPM })
	return out
}

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
	Notes     []string
}

// CompareTorque compares full-throttle torque of two runs within a range of
// engine speed. Only what both runs rode enters: the same bin in the same gear
// out of the same turn, so that grade and most of the drag fall out. A lap is
// the unit of repetition. Wind, fuel and tow do not fall out; the notes say so.
func CompareTorque(a, b []Pull, from, to float64, teeth int) TorqueDifference {
	d := TorqueDifference{From: from, To: to}
	type stratum struct {
		turn, gear int
		rpm        float64
	}
	type side struct{ sum, sec float64 }
	sums := map[stratum]*[2]side{}
	add := func(ps []Pull, k int) {
		for _, p := range ps {
			if p.RPM+pullBin/2 < from || p.RPM+pullBin/2 > to {
				continue
			}
			s := stratum{p.Turn, p.Gear, p.RPM}
			if sums[s] == nil {
				sums[s] = &[2]side{}
			}
			sums[s][k].sum += p.Torque * p.Seconds
			sums[s][k].sec += p.Seconds
		}
	}
	add(a, 0)
	add(b, 1)
	// Lap means of what a lap has over the mean of both runs in each stratum.
	lapMeans := func(ps []Pull, k int, bin float64) []float64 {
		type acc struct{ sum, sec float64 }
		laps := map[int]*acc{}
		for _, p := range ps {
			s := sums[stratum{p.Turn, p.Gear, p.RPM}]
			if s == nil || s[0].sec == 0 || s[1].sec == 0 || (bin >= 0 && p.RPM != bin) || p.RPM+pullBin/2 < from || p.RPM+pullBin/2 > to {
				continue
			}
			mid := 0.5 * (s[0].sum/s[0].sec + s[1].sum/s[1].sec)
			if laps[p.Lap] == nil {
				laps[p.Lap] = &acc{}
			}
			laps[p.Lap].sum += (p.Torque - mid) * p.Seconds
			laps[p.Lap].sec += p.Seconds
		}
		var all []float64
		var longest float64
		for _, l := range laps {
			longest = math.Max(longest, l.sec)
		}
		for _, l := range laps {
			if l.sec > 0.3*longest {
				all = append(all, l.sum/l.sec)
			}
		}
		sortFloats(all)
		return all
	}
	xa, xb := lapMeans(a, 0, -1), lapMeans(b, 1, -1)
	d.LapsA, d.LapsB = len(xa), len(xb)
	d.Crank = welch(xa, xb)
	mean, sec := 0.0, 0.0
	bins := map[float64]bool{}
	for k, s := range sums {
		if s[0].sec > 0 && s[1].sec > 0 {
			mean += s[0].sum
			sec += s[0].sec
			bins[k.rpm] = true
		}
	}
	if sec > 0 && mean > 0 {
		m := mean / sec
		d.Share = Interval{Value: d.Crank.Value / m, Lo: d.Crank.Lo / m, Hi: d.Crank.Hi / m, N: d.Crank.N, OK: d.Crank.OK, Why: d.Crank.Why}
		if teeth > 0 {
			d.RearTeeth = d.Share.Value * float64(teeth)
		}
	}
	for rpm := range bins {
		d.Bins = append(d.Bins, TorqueBin{RPM: rpm, Torque: welch(lapMeans(a, 0, rpm), lapMeans(b, 1, rpm))})
	}
	sort.Slice(d.Bins, func(i, j int) bool { return d.Bins[i].RPM < d.Bins[j].RPM })
	d.Notes = append(d.Notes, "wind, fuel load and slipstream of the two runs are not known and are not in the interval")
	if !d.Crank.OK {
		d.Notes = append(d.Notes, d.Crank.Why)
	}
	return d
}

// welch is the difference of means, second less first, with its 95 % interval
// (B. L. Welch, Biometrika 34, 1947).
func welch(a, b []float64) Interval {
	na, nb := float64(len(a)), float64(len(b))
	if len(a) < 3 || len(b) < 3 {
		return Interval{N: len(a) + len(b), Why: fmt.Sprintf("%d and %d laps at full throttle in the same places; three of each are needed", len(a), len(b))}
	}
	ma, va := meanVar(a)
	mb, vb := meanVar(b)
	sa, sb := va/na, vb/nb
	se := math.Sqrt(sa + sb)
	df := (sa + sb) * (sa + sb) / (sa*sa/(na-1) + sb*sb/(nb-1))
	if !(df >= 1) {
		df = na + nb - 2
	}
	half := studentFor(df) * se
	return Interval{Value: mb - ma, Lo: mb - ma - half, Hi: mb - ma + half, N: len(a) + len(b), OK: true}
}

func meanVar(x []float64) (m, v float64) {
	for _, a := range x {
		m += a
	}
	m /= float64(len(x))
	for _, a := range x {
		v += (a - m) * (a - m)
	}
	return m, v / float64(len(x)-1)
}
