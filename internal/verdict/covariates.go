package verdict

import (
	"math"

	"cornerwright/internal/say"
)

// Covariate is something besides lap number and slot that can move a measure
// from lap to lap, as Lap.Covariates has it.
type Covariate struct {
	Name  string // key of Lap.Covariates
	Words string // for people; Name when empty
	Unit  string
	Least float64 // laps must differ by this much before it is worth a degree of freedom
}

func (c Covariate) words() say.Text {
	if c.Words != "" {
		return say.Key(c.Words)
	}
	return say.Key(c.Name)
}

// The limits of what is admitted. A covariate that run and lap number tell but
// for keepShare of its variance has its drift in the model already. One that went
// partly with the slot is admitted at its price in width, as leaving it out would
// give the setting what is its own; beyond dearest the two are not told apart.
const (
	keepShare = 0.3
	dearest   = 4.0 // variance of the effect with the covariate over that without
	leastDF   = 6   // degrees of freedom left over
)

// leftOut is a covariate that is known, at least on some laps, and not used.
type leftOut struct {
	Covariate
	why say.Text
}

// admit chooses the covariates before any value is looked at: known on every
// lap, varying, not told by run, lap number and slot already, and with degrees
// of freedom left over. What no lap knows is not spoken of.
func (q *Question) admit(l *layout, used []Lap, base int) (covs []Covariate, left []leftOut) {
	for _, c := range q.Covariates {
		known, lo, hi := 0, math.Inf(1), math.Inf(-1)
		for _, p := range used {
			if v, ok := p.covariate(c.Name); ok {
				known++
				lo, hi = math.Min(lo, v), math.Max(hi, v)
			}
		}
		var why say.Text
		switch {
		case known == 0:
			continue
		case known < len(used):
			why = say.T("known on {known} of {laps}", known, count(len(used), "lap"))
		case !(hi-lo >= c.Least) || hi == lo:
			why = say.T("laps differ by less than {least}", quantity(c.Least, c.Least, c.Unit))
		case len(used)-base-len(covs)-1 < leastDF:
			why = say.T("{laps} are too few to carry it", count(len(used), "lap"))
		case l.design == ReplicatedRuns:
			// The slope has an error that both runs of a side share, so that their
			// scatter does not show it.
			why = say.T("whole runs are compared by their means")
		default:
			why = q.refuseCovariate(l, used, append(covs[:len(covs):len(covs)], c))
		}
		if why == "" {
			covs = append(covs, c)
		} else {
			left = append(left, leftOut{c, why})
		}
	}
	return covs, left
}

// covariate returns a finite covariate of a lap.
func (p Lap) covariate(name string) (float64, bool) {
	v, ok := p.Covariates[name]
	return v, ok && !math.IsNaN(v) && !math.IsInf(v, 0)
}

// refuseCovariate tells why the last of covs does not join the others, "" when
// it does.
func (q *Question) refuseCovariate(l *layout, used []Lap, covs []Covariate) say.Text {
	plain := *q
	plain.Covariates = nil
	var m rows
	m.buildFrom(&plain, l, used)
	// The earlier covariates are columns, the last one is what they explain; then
	// it is a column itself, and the effect has its price.
	k := len(covs)
	join := func(k int) *rows {
		w := &rows{}
		w.reset(m.n, m.p+k)
		w.contrast = m.contrast
		for i, p := range used {
			copy(w.x[i*w.p:], m.x[i*m.p:i*m.p+m.p])
			for j, c := range covs[:k] {
				mean, sd := moments(used, c.Name)
				w.x[i*w.p+m.p+j] = (p.Covariates[c.Name] - mean) / sd
			}
			mean, sd := moments(used, covs[len(covs)-1].Name)
			w.y[i] = (p.Covariates[covs[len(covs)-1].Name] - mean) / sd
		}
		return w
	}
	without, with := join(k-1), join(k)
	v0, ok := without.solve(without.x, without.y, nil, without.n)
	if !ok {
		return say.T("the design does not carry it")
	}
	without.residuals()
	own := 0.0
	for _, r := range without.res[:without.n] {
		own += r * r
	}
	v1, ok := with.solve(with.x, with.y, nil, with.n)
	price := v1 / v0
	if !ok {
		price = math.Inf(1)
	}
	// Partial regression: without the slot in the model as much more of the
	// covariate would be left as the effect gets dearer by it.
	if l.within() && ok {
		own *= price
	}
	switch {
	case own < keepShare*float64(without.n):
		return say.T("run and lap number tell it already")
	case price > dearest:
		return wentWithSlot
	}
	return ""
}

// wentWithSlot is why a covariate stays out that no adjustment can part from the
// setting.
var wentWithSlot = say.T("it went with the slot, so that the two cannot be told apart")

// moments returns the mean and standard deviation (1 if none) of a covariate.
func moments(laps []Lap, name string) (mean, sd float64) {
	for _, p := range laps {
		mean += p.Covariates[name]
	}
	mean /= float64(len(laps))
	for _, p := range laps {
		d := p.Covariates[name] - mean
		sd += d * d
	}
	if sd = math.Sqrt(sd / float64(len(laps))); sd == 0 {
		sd = 1
	}
	return mean, sd
}

// driftConditions says what the primary was adjusted for, what not and why; and
// where whole runs are compared, what differed between the sides and stays in
// the answer.
func (q *Question) driftConditions(l *layout) (c []Condition) {
	plain := *q
	plain.Covariates = nil
	var m rows
	used, _ := m.build(&plain, l, q.sorted(q.Primary.Laps))
	if len(used) == 0 {
		return nil
	}
	covs, left := q.admit(l, used, m.p)
	var in, out []say.Text
	for _, v := range covs {
		lo, hi := math.Inf(1), math.Inf(-1)
		for _, p := range used {
			lo, hi = math.Min(lo, p.Covariates[v.Name]), math.Max(hi, p.Covariates[v.Name])
		}
		d := digits((hi - lo) / 10)
		in = append(in, say.T("{what} ({lo} to {hi})", v.words(), number(lo, d), withUnit(number(hi, d), v.Unit)))
	}
	for _, v := range left {
		a, b, ok := q.sideMeans(used, v.Name)
		if ok = ok && math.Abs(a-b) >= v.Least; ok && (!l.within() || v.why == wentWithSlot) {
			sides := say.T("{what}: reference {reference}, trial {trial} on average", v.words(), quantity(a, v.Least, v.Unit), quantity(b, v.Least, v.Unit))
			if l.within() {
				c = append(c, Condition{v.Name, say.T("{sides}; {why}", sides, v.why), Confounds})
			} else {
				c = append(c, Condition{v.Name, say.T("{sides}; that stays in the answer", sides), Weakens})
			}
			continue
		}
		out = append(out, say.T("{what}: {why}", v.words(), v.why))
	}
	if len(in) > 0 {
		c = append(c, Condition{"adjusted", say.T("adjusted for {list}", say.Join(in, " "+say.T("and")+" ")), Notes})
	}
	if len(out) > 0 {
		c = append(c, Condition{"not-adjusted", say.T("not adjusted for {list}", say.Join(out, "; ")), Notes})
	}
	return c
}

// sideMeans are the means of a covariate over the laps of each side; ok is false
// where a side does not know it.
func (q *Question) sideMeans(laps []Lap, name string) (ref, trial float64, ok bool) {
	var s [2]float64
	var n [2]int
	for _, p := range laps {
		if v, known := p.covariate(name); known {
			k := q.sideOf(p.Slot)
			s[k] += v
			n[k]++
		}
	}
	if n[0] == 0 || n[1] == 0 {
		return 0, 0, false
	}
	return s[0] / float64(n[0]), s[1] / float64(n[1]), true
}
