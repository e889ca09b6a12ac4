package verdict

import (
	"math"
	"math/bits"
)

// Slow laps are told from others by weighing every set of suspects against every
// other, after Box and Tiao (1968): the laps are those of the model with a share
// of slow ones among them, and the effect is the mean over what could be slow,
// each set by its probability. A lap that is as likely slow as not so counts half.
// That one slot scatters more than the other is weighed with it, so that the wide
// laps of a nervous setting are not all taken for slow ones.
//
// The choices below were set on simulated runs with seeds of their own;
// docs/figures-verdict.md has what they keep.
const (
	slowShare    = 0.08 // of laps, before they are looked at
	slowFrom     = 3.0  // lap sd above the fit where slow laps begin,
	slowReach    = 8.0  // how far the even part of their density reaches,
	slowThin     = 10.0 // and from where it thins out
	unlikeSides  = 0.2  // chance that the slots scatter unlike,
	unlikeRange  = 2.8  // by up to fourfold either way, in log
	suspectFew   = 3.0  // robust sd above the fit from which a lap is a suspect: with 5
	suspectMany  = 0.8  // degrees of freedom or fewer, and with 7 or more
	mostSuspects = 6
	leftBehind   = 0.45 // lap sd that every lap set aside more on one side may have left there
)

// sdMargin does the same for the lap sd, which a plan takes its bound from.
func sdMargin(df float64) float64 { return 1.02 + 0.28/df }

// unlikeWide is how much wider the effect is, at most, where the slots scatter
// unlike: fewer degrees of freedom than the laps have (Welch 1947), and wide laps
// that were taken for slow ones.
const unlikeWide = 0.12

// bendMargin is what one there-and-back needs besides, where unlike scatter and the
// shape of the drift look alike and are not counted twice: the more, the surer it is
// that no lap is slow, as what slow laps could be widens by itself.
const bendMargin, bendClean = 0.04, 0.45

// enough runs from 0 at 5 degrees of freedom to 1 at 7.
func enough(df float64) float64 { return math.Max(0, math.Min(1, (df-5)/2)) }

// slowMargin widens the standard error for what the weighing takes too much from
// the scatter of clean laps, the more the fewer there are; with very few next to
// nothing is weighed.
func slowMargin(df float64) float64 { return 1.015 + enough(df)*(0.115/df-0.005) }

// slowDensity is the density of slow laps at u lap sd above the fit: even from
// slowFrom on, blurred by the scatter of a lap, thinning out far away.
func slowDensity(u float64) float64 {
	g := 0.5 * math.Erfc((slowFrom-u)/math.Sqrt2) / slowReach
	if u > slowThin {
		g *= slowThin / u * slowThin / u
	}
	return g
}

// logSlow is the log density, in units of sd, of a slow lap that is off by r, bad
// as for suspect.
func logSlow(r, bad, sd float64) float64 {
	g := 0.0
	switch {
	case !(sd > 0):
	case bad == 0:
		g = slowDensity(math.Abs(r)/sd) / 2
	default:
		g = slowDensity(r * bad / sd)
	}
	return math.Log(g + 1e-300)
}

// part is the fit without one set of suspects.
type part struct {
	mask      int // of m.suspects
	weight    float64
	value, sd float64
	v         float64 // contrast' (X'X)^-1 contrast
	unlike    float64 // chance that the slots scatter unlike, if this set is slow
}

// suspect finds the laps that stand above a robust fit with the setting in it,
// worst first. bad is +1 where large values are bad laps, -1 where small ones
// are, 0 for both. Half of the laps exactly on the fit leave none. It uses m.tmp
// for how far each lap is off.
func (m *rows) suspect(bad float64) (ok bool) {
	m.suspects = m.suspects[:0]
	scale, ok := m.robust()
	if !ok || !(scale > 0) {
		return ok
	}
	from := scale * (suspectFew + (suspectMany-suspectFew)*enough(float64(m.n-m.p)))
	for i, r := range m.res[:m.n] {
		if m.tmp[i] = r * bad; bad == 0 {
			m.tmp[i] = math.Abs(r)
		}
		if m.tmp[i] > from {
			m.suspects = append(m.suspects, i)
		}
	}
	s := m.suspects
	for i := 1; i < len(s); i++ {
		for j := i; j > 0 && m.tmp[s[j]] > m.tmp[s[j-1]]; j-- {
			s[j], s[j-1] = s[j-1], s[j]
		}
	}
	m.suspects = s[:min(len(s), mostSuspects, m.mostSlow()+1)]
	return true
}

// mostSlow is how many laps can be slow at most.
func (m *rows) mostSlow() int { return m.n / 3 }

// side tells on which side of the contrast a lap stands.
func (m *rows) side(i int) int {
	s := 0.0
	for j, c := range m.contrast[:m.p] {
		s += c * m.x[i*m.p+j]
	}
	return b2i(s > 0)
}

// setAside weighs what laps could be slow, leaves the weights for blended, and
// clears keep for laps that are more likely slow than not. floor is the smallest
// residual standard deviation that the measuring error allows. It returns how
// many were set aside; ok is false when the laps do not carry the model.
func (m *rows) setAside(bad, floor float64) (out int, ok bool) {
	m.parts = m.parts[:0]
	for i := range m.n {
		m.keep[i] = true
	}
	if m.n <= m.p || !m.suspect(bad) {
		return 0, false
	}
	if len(m.suspects) == 0 {
		return 0, true
	}
	m.weigh(bad, floor)
	for b, i := range m.suspects {
		slow := 0.0
		for _, q := range m.parts {
			if q.mask>>b&1 == 1 {
				slow += q.weight
			}
		}
		if slow > 0.5 {
			m.keep[i] = false
			out++
		}
	}
	return out, len(m.parts) > 0
}

// weigh fits without each set of suspects and gives it its probability, with
// vague priors for coefficients and scale. The density of slow laps is counted in
// lap sd, so that every set has the same power of its sum of squares.
func (m *rows) weigh(bad, floor float64) {
	m.parts = m.parts[:0]
	n, p := m.n, m.p
	df := float64(n - p)
	var sideDF [2]float64 // the fit presses as much to zero on either side
	for i := range n {
		sideDF[m.side(i)]++
	}
	sideDF[0] -= float64(p) / 2
	sideDF[1] -= float64(p) / 2
	odds := math.Log(slowShare / (1 - slowShare) * math.Sqrt(2*math.Pi))
	top, whole := math.Inf(-1), 0.0
	for mask := range 1 << len(m.suspects) {
		gone := bits.OnesCount(uint(mask))
		if gone > m.mostSlow() || n-gone <= p {
			continue
		}
		for b, i := range m.suspects {
			m.keep[i] = mask>>b&1 == 0
		}
		v, ok := m.solve(m.xw, m.yw, nil, m.compact())
		if !ok {
			continue
		}
		q := part{mask: mask, value: m.effect(), v: v, weight: float64(gone) * odds}
		for j := range p {
			q.weight -= math.Log(m.mat[j*p+j])
		}
		m.residuals()
		var ss, kept [2]float64
		for i, r := range m.res[:n] {
			if m.keep[i] {
				s := m.side(i)
				ss[s] += r * r
				kept[s]++
			}
		}
		if mask == 0 {
			whole = ss[0] + ss[1]
		}
		// Nothing is nearer to a fit than rounding lets it be.
		all := math.Max(ss[0]+ss[1], math.Max(1e-26*whole, float64(n-gone-p)*floor*floor))
		q.sd = math.Sqrt(all / float64(n-gone-p))
		alike, unlike := logScale(df, all), math.Inf(-1)
		var sd [2]float64
		if min(kept[0], kept[1]) > 0 && min(sideDF[0], sideDF[1]) > 1 {
			unlike = math.Log(unlikeSides/(1-unlikeSides)/unlikeRange) - math.Ln2
			for s := range 2 {
				x := math.Max(ss[s], 1e-3*all)
				unlike += logScale(sideDF[s], x)
				sd[s] = math.Sqrt(x / math.Max(0.5, kept[s]-float64(p)/2))
			}
		}
		for b, i := range m.suspects {
			if mask>>b&1 == 1 {
				alike += logSlow(m.res[i], bad, q.sd)
				unlike += logSlow(m.res[i], bad, sd[m.side(i)])
			}
		}
		hi := math.Max(alike, unlike)
		both := math.Exp(alike-hi) + math.Exp(unlike-hi)
		q.unlike = math.Exp(unlike-hi) / both
		q.weight += hi + math.Log(both)
		top = math.Max(top, q.weight)
		m.parts = append(m.parts, q)
	}
	for i := range n {
		m.keep[i] = true
	}
	sum := 0.0
	for i := range m.parts {
		m.parts[i].weight = math.Exp(m.parts[i].weight - top)
		sum += m.parts[i].weight
	}
	for i := range m.parts {
		m.parts[i].weight /= sum
	}
}

// logScale is the log of the normal likelihood of a sum of squares with its scale
// integrated out.
func logScale(df, ss float64) float64 {
	g, _ := math.Lgamma(df / 2)
	return g - df/2*math.Log(ss/2)
}

// blended is the effect as the mean over the sets of laps that could be slow, with
// the lap sd, and its standard error with what they disagree by. Each is as wide
// for correlation as the most likely set is, and its degrees of freedom are that
// one's.
//
// Laps set aside tell that others of their kind stayed in, not quite slow enough
// to be seen; where one side lost more, that goes into the standard error too.
func (m *rows) blended(floor float64, rhos ...float64) (f fitted, ok bool) {
	if f, ok = m.guarded(floor, rhos...); !ok {
		return f, false
	}
	if len(m.parts) > 1 {
		v, _ := m.solve(m.xw, m.yw, nil, m.compact())
		wide := f.unit / v
		f.value = 0
		for _, q := range m.parts {
			f.value += q.weight * q.value
		}
		s, lap := 0.0, 0.0
		for _, q := range m.parts {
			sd, d := math.Max(q.sd, floor), q.value-f.value
			w := 1 + unlikeWide*q.unlike*float64(1-b2i(m.bend))
			s += q.weight * (w*w*sd*sd*q.v*wide + d*d)
			lap += q.weight * sd * sd
		}
		f.se, f.sd = math.Sqrt(s), math.Sqrt(lap)
	}
	f.se = math.Hypot(f.se, f.sd*m.leftBehind())
	f.se *= slowMargin(f.df)
	if m.bend {
		f.se *= 1 + bendMargin*(m.cleanChance()-bendClean)
	}
	f.sd *= sdMargin(f.df)
	return f, true
}

// leftBehind is the bias, in lap sd, that laps like those set aside may have left
// in the effect; 0 where both sides lost as many.
func (m *rows) leftBehind() float64 {
	var kept, out [2]float64
	for i := range m.n {
		if m.keep[i] {
			kept[m.side(i)]++
		} else {
			out[m.side(i)]++
		}
	}
	if kept[0] == 0 || kept[1] == 0 {
		return 0
	}
	return leftBehind * math.Abs(out[1]/kept[1]-out[0]/kept[0])
}

// method is the whole estimate within runs on the values in y: weigh slow laps,
// fit, widen for correlation. It is what plans and simulations repeat.
func (m *rows) method(bad, floor float64, rhos []float64) (f fitted, out int, ok bool) {
	if out, ok = m.setAside(bad, floor); !ok {
		return f, out, false
	}
	f, ok = m.blended(floor, rhos...)
	return f, out, ok && f.df >= 1
}

// cleanChance is the chance that no lap is slow.
func (m *rows) cleanChance() float64 {
	if len(m.parts) == 0 {
		return 1
	}
	for _, q := range m.parts {
		if q.mask == 0 {
			return q.weight
		}
	}
	return 0
}
