package circuit

import "math"

const (
	habitCell  = 10.0 // m
	habitWidth = 35.0 // m, standard deviation of the mean along the line
	habitDoubt = 2.0  // laps' worth of trust in the odometer as it is
)

// habit learns what the odometer gets wrong at the same place on every lap: the
// front tyre slips as it is braked and driven, the wheel grows with speed and
// shrinks with load, and a bike is braked and leaned alike at a place lap by lap.
// The smoother takes the odometer's errors for a random walk and lags behind one
// that repeats; the mean over laps of what the fixes leave along the track shows
// it. Fewer than three laps cannot tell a habit from chance.
func (j *joint) habit() {
	l := &j.line
	n := int(math.Max(8, math.Round(l.Length/habitCell)))
	if !j.d.wheel || j.trust.along > 0 { // GPS speed shows it on every lap anew
		return
	}
	sum, count, weight := make([]float64, n), make([]float64, n), make([]float64, n)
	last := make([]int, n)
	for i := range last {
		last[i] = math.MinInt
	}
	for i := range j.rows {
		r, e := &j.rows[i], &j.sm.x[i]
		if r.w < 0.5 || r.bad || j.f.v[i] < slowLane/2 {
			continue
		}
		k := int(l.wrap(j.s[i]) / l.Length * float64(n))
		if k >= n {
			k = n - 1
		}
		sum[k] += r.w * (r.tx*(r.rx-e[iCX]) + r.ty*(r.ry-e[iCY]) - e[iDS])
		weight[k] += r.w
		if lap := int(math.Floor(j.s[i] / l.Length)); lap != last[k] {
			last[k] = lap
			count[k]++
		}
	}
	sd := habitWidth / (l.Length / float64(n))
	sum, weight = smoothRing(sum, sd), smoothRing(weight, sd)
	m := make([]float64, n)
	for k := range m {
		if count[k] >= 3 && weight[k] > 0 {
			m[k] = sum[k] / weight[k] * count[k] / (count[k] + habitDoubt)
		}
	}
	// A place further on by m(s): the odometer reads short by its slope.
	cell := l.Length / float64(n)
	slope := make([]float64, n)
	for k := range slope {
		slope[k] = math.Max(-0.01, math.Min(0.01, (m[(k+1)%n]-m[(k+n-1)%n])/(2*cell)))
	}
	if len(j.habits) != n {
		j.habits = resampleRing(j.habits, n)
	}
	for k := range slope {
		j.habits[k] += slope[k]
	}
	j.applyHabit(slope)
}

// applyHabit corrects the odometer by a relative error by place. S at the fixes
// keeps its meaning; only the way between them changes.
func (j *joint) applyHabit(slope []float64) {
	n := len(slope)
	if n == 0 || j.grid == nil {
		return
	}
	scale := float64(n) / j.line.Length
	for i, s := range j.grid {
		u := j.line.wrap(s)*scale - 0.5
		if u < 0 {
			u += float64(n)
		}
		k := int(u)
		f := u - float64(k)
		j.d.v[i] *= 1 + slope[k%n] + f*(slope[(k+1)%n]-slope[k%n])
	}
	j.d.integrate()
}

// resampleRing carries a closed series to n samples.
func resampleRing(x []float64, n int) []float64 {
	out := make([]float64, n)
	if len(x) == 0 {
		return out
	}
	for k := range out {
		u := float64(k) * float64(len(x)) / float64(n)
		i := int(u)
		f := u - float64(i)
		out[k] = x[i%len(x)] + f*(x[(i+1)%len(x)]-x[i%len(x)])
	}
	return out
}
