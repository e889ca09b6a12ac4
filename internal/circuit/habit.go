package circuit

import (
	"math"

	"cornerwright/internal/signal"
)

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
	if !j.d.wheel {
		return
	}
	if len(j.habits) != n {
		j.habits = resampleRing(j.habits, n)
	}
	if j.trust.along > 0 {
		j.habitOfSpeed(n)
		return
	}
	sum, weight := make([]float64, n), make([]float64, n)
	cells := j.cells(n)
	for i := range j.rows {
		r, e := &j.rows[i], &j.sm.x[i]
		if r.w < 0.5 || r.bad || j.f.v[i] < slowLane/2 {
			continue
		}
		k := cells.of(i)
		sum[k] += r.w * (r.tx*(r.rx-e[iCX]) + r.ty*(r.ry-e[iCY]) - e[iDS])
		weight[k] += r.w
	}
	sd := habitWidth / (l.Length / float64(n))
	sum, weight = smoothRing(sum, sd), smoothRing(weight, sd)
	m := make([]float64, n)
	for k := range m {
		if laps := cells.laps[k]; laps >= 3 && weight[k] > 0 {
			m[k] = sum[k] / weight[k] * laps / (laps + habitDoubt)
		}
	}
	// A place further on by m(s): the odometer reads short by its slope.
	cell := l.Length / float64(n)
	slope := make([]float64, n)
	for k := range slope {
		slope[k] = math.Max(-0.01, math.Min(0.01, (m[(k+1)%n]-m[(k+n-1)%n])/(2*cell)))
	}
	for k := range slope {
		j.habits[k] += slope[k]
	}
	j.applyHabit(slope)
}

// cells parts the line in n places and counts the laps that came by each.
type cells struct {
	j    *joint
	last []int
	laps []float64
}

func (j *joint) cells(n int) *cells {
	c := &cells{j, make([]int, n), make([]float64, n)}
	for i := range c.last {
		c.last[i] = math.MinInt
	}
	return c
}

// of is the place of a fix, which is counted.
func (c *cells) of(i int) int {
	l := &c.j.line
	n := len(c.last)
	k := min(int(l.wrap(c.j.s[i])/l.Length*float64(n)), n-1)
	if lap := int(math.Floor(c.j.s[i] / l.Length)); lap != c.last[k] {
		c.last[k] = lap
		c.laps[k]++
	}
	return k
}

// habitOfSpeed is habit where GPS speed shows the odometer's error on every lap: the
// mean over laps of what the way by GPS speed is longer. It is for the holes, in
// which there is no GPS speed, and leaves less to share out between the two.
func (j *joint) habitOfSpeed(n int) {
	l := &j.line
	more, way := make([]float64, n), make([]float64, n)
	cells := j.cells(n)
	for i := range j.rows {
		r := &j.rows[i]
		if r.gw == 0 || r.bad || j.f.v[i] < slowLane/2 || math.Abs(j.aside[i]) > tuneAside {
			continue
		}
		k := cells.of(i)
		more[k], way[k] = more[k]+r.gd, way[k]+r.do
	}
	sd := habitWidth / (l.Length / float64(n))
	more, way = smoothRing(more, sd), smoothRing(way, sd)
	step := make([]float64, n)
	for k := range step {
		laps := cells.laps[k]
		if laps < 3 || !(way[k] > 0) {
			continue
		}
		// What is shown adds to what was given back already.
		whole := (j.habits[k] + more[k]/way[k]) * laps / (laps + habitDoubt)
		step[k] = math.Max(-0.01, math.Min(0.01, whole)) - j.habits[k]
		j.habits[k] += step[k]
	}
	j.applyHabit(step)
}

// lifts is the variance (m2) that a wheel in the air or locked adds to the odometer
// for every metre of the line, where no GPS speed is there to see it: at the places
// at which it was seen on other laps, once a lap at each is one share of the laps.
func (j *joint) lifts() []float64 {
	l := &j.line
	if len(j.d.put) == 0 || j.grid == nil {
		return nil
	}
	n := int(math.Max(8, math.Round(l.Length/habitCell)))
	out := make([]float64, n)
	ridden := math.Max(1, (j.grid[len(j.grid)-1]-j.grid[0])/l.Length)
	for _, p := range j.d.put {
		k := min(int(l.wrap(j.grid[p.at])/l.Length*float64(n)), n-1)
		out[k] += sq(p.way) / ridden / (l.Length / float64(n))
	}
	return smoothRing(out, habitWidth/(l.Length/float64(n)))
}

// applyHabit corrects the odometer by a relative error by place. S at the fixes
// keeps its meaning; only the way between them changes.
func (j *joint) applyHabit(slope []float64) {
	n := len(slope)
	if n == 0 || j.grid == nil {
		return
	}
	scale := float64(n) / j.line.Length
	signal.Pieces(len(j.grid), func(from, to int) {
		for i := from; i < to; i++ {
			u := j.line.wrap(j.grid[i])*scale - 0.5
			if u < 0 {
				u += float64(n)
			}
			k := int(u)
			f := u - float64(k)
			j.d.v[i] *= 1 + slope[k%n] + f*(slope[(k+1)%n]-slope[k%n])
		}
	})
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
