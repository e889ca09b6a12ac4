package intake

import (
	"fmt"
	"math"

	"cornerwright/internal/recording"
	"cornerwright/internal/say"
	"cornerwright/internal/signal"
)

// gpsGroup are the channels that one fix brings.
var gpsGroup = []string{recording.Latitude, recording.Longitude, recording.Altitude, recording.GPSSpeed, recording.GPSHeading}

// thinHeld finds channels that the logger repeated on every row between their
// own samples, and keeps the true samples alone: a held value is no
// measurement, and as one it would make staircases of derivatives and false
// certainty of averages.
func (s *source) thinHeld(clock []float64) {
	if s.rows < 100 {
		return
	}
	done := map[*column]bool{}
	s.thinGPS(clock, done)
	type hold struct{ period, phase int }
	holds := make([]hold, len(s.cols))
	signal.Each(len(s.cols), func(k int) {
		c := s.cols[k]
		if done[c] || c == s.clock || c.info.Channel == "" || c.at != nil || len(c.values) != s.rows {
			return
		}
		if d, ok := recording.Of(c.info.Channel); ok && d.State {
			return
		}
		holds[k].period, holds[k].phase = holdPeriod(c.values)
	})
	for k, c := range s.cols {
		p, phase := holds[k].period, holds[k].phase
		if p < 2 {
			continue
		}
		c.keep(func(i int) bool { return i%p == phase })
		s.problem(recording.Note, s.headerLine, c.Index, c.info.Channel, say.T("column {header} repeats each value on {p} rows: one sample of each is kept", fmt.Sprintf("%q", c.Header), p), say.T("nothing to do"))
	}
}

// thinGPS keeps the rows on which a new fix came. While the bike stands, a fix
// may equal the one before; such fixes are kept at the receiver's own interval.
// Where the wheels turn and the position stands, reception was lost.
func (s *source) thinGPS(clock []float64, done map[*column]bool) {
	var group []*column
	var lat *column
	for _, ch := range gpsGroup {
		for _, c := range s.cols {
			if c.info.Channel == ch && c.at == nil && len(c.values) == s.rows {
				group = append(group, c)
				if ch == recording.Latitude {
					lat = c
				}
			}
		}
	}
	if lat == nil || len(group) < 2 {
		return
	}
	// Rows on which any of position, speed and heading changes.
	change := make([]bool, s.rows)
	n := 0
	for i := 1; i < s.rows; i++ {
		for _, c := range group {
			if c.values[i] != c.values[i-1] {
				change[i] = true
				n++
				break
			}
		}
	}
	if n < 20 {
		return
	}
	// The receiver's interval in rows: the median distance between changes.
	var hist [400]int
	last := 0
	for i := 1; i < s.rows; i++ {
		if change[i] {
			if d := i - last; last > 0 && d < len(hist) {
				hist[d]++
			}
			last = i
		}
	}
	total, p := 0, 0
	for _, h := range hist {
		total += h
	}
	for d, acc := 0, 0; d < len(hist); d++ {
		if acc += hist[d]; 2*acc >= total {
			p = d
			break
		}
	}
	if p < 2 || 20*hist[1] > total {
		return
	}
	var wheel *column
	for _, c := range s.cols {
		if (c.info.Channel == recording.FrontSpeed || c.info.Channel == recording.RearSpeed) && c.at == nil && len(c.values) == s.rows {
			wheel = c
			break
		}
	}
	keepRow := make([]bool, s.rows)
	keepRow[0] = true
	last = 0
	outages, outLine, longest := 0, 0, 0.0
	fill := func(a, b int) { // between the fixes at rows a and b nothing changed
		if b-a < p+p/2+1 {
			return
		}
		moving := wheel != nil && wheel.spec.si(wheel.values[(a+b)/2]) > 3
		if moving {
			if sec := clock[b] - clock[a]; sec > 0.5 {
				outages++
				longest = math.Max(longest, sec)
				if outLine == 0 {
					outLine = s.line(a)
				}
			}
			return
		}
		for r := a + p; r < b-p/2; r += p {
			keepRow[r] = true
		}
	}
	for i := 1; i < s.rows; i++ {
		if change[i] {
			fill(last, i)
			keepRow[i] = true
			last = i
		}
	}
	fill(last, s.rows-1)
	for _, c := range group {
		c.keep(func(i int) bool { return keepRow[i] })
		done[c] = true
	}
	rate := 1 / (float64(p) * medianStep(clock))
	s.problem(recording.Note, s.headerLine, lat.Index, recording.Latitude, say.T("GPS columns repeat each fix on about {p} rows: the true fixes are kept, {rate} a second", p, num(rate)), say.T("nothing to do"))
	if outages > 0 {
		s.problem(recording.Warning, outLine, lat.Index, recording.Latitude, say.T("GPS position stands still while the wheels turn, {outages} {outages|time|times}, up to {longest} s: taken as lost reception", outages, num(longest)), say.T("nothing to do: position is carried by the wheels there"))
	}
}

// holdPeriod finds the number of rows on which each value is repeated, and the
// row (modulo the period) on which new ones come; 1 if values are not held.
func holdPeriod(v []float64) (p, phase int) {
	changes := 0
	for i := 1; i < len(v); i++ {
		if v[i] != v[i-1] {
			// Most channels change on nearly every row, which soon shows.
			if changes++; 3*changes > 2*len(v) {
				return 1, 0
			}
		}
	}
	if changes < 20 {
		return 1, 0
	}
	at := make([]int, 0, changes)
	for i := 1; i < len(v); i++ {
		if v[i] != v[i-1] {
			at = append(at, i)
		}
	}
	for _, p := range []int{200, 100, 50, 40, 25, 20, 10, 8, 5, 4, 3, 2} {
		if len(v) < 10*p {
			continue
		}
		count := make([]int, p)
		for _, i := range at {
			count[i%p]++
		}
		best := 0
		for r, n := range count {
			if n > count[best] {
				best = r
			}
		}
		if 50*count[best] >= 49*len(at) {
			return p, best
		}
	}
	return 1, 0
}
