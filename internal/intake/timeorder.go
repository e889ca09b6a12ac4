package intake

import (
	"sort"
)

// shuffled tells how often the time steps back in rows that merely stand in another
// order: sorted, no instant is there twice and hardly any is missing. A second
// recording behind the first, or a clock that was set back, repeats instants or
// leaves the hole that it jumped over. 0 where the rows are in order, are but
// singly late, or cannot be put in order beyond doubt.
func shuffled(t []float64, dt float64) int {
	back, far := 0, 0
	for i := 1; i < len(t); i++ {
		switch d := t[i-1] - t[i]; {
		case d != d:
			return 0
		case d > 64*dt:
			far++
			fallthrough
		case d > 0:
			back++
		}
	}
	if far == 0 && back < len(t)/2 {
		return 0 // late rows, one by one
	}
	x := append([]float64(nil), t...)
	sort.Float64s(x)
	even := 0
	for i := 1; i < len(x); i++ {
		d := x[i] - x[i-1]
		if d < 0.3*dt {
			return 0
		}
		if d < 1.7*dt {
			even++
		}
	}
	if float64(even) < 0.999*float64(len(x)-1) {
		return 0
	}
	return back
}

// order puts the rows in the order of their instants t and returns those.
func (s *source) order(t []float64) []float64 {
	rows := make([]int, len(t))
	for i := range rows {
		rows[i] = i
	}
	sort.SliceStable(rows, func(a, b int) bool { return t[rows[a]] < t[rows[b]] })
	to := make([]int32, len(t))
	out := make([]float64, len(t))
	for n, i := range rows {
		to[i], out[n] = int32(n), t[i]
	}
	for _, col := range s.cols {
		col.renumber(to, true)
	}
	old := s.line
	s.line = func(r int) int { return old(rows[r]) }
	// What was known of places between rows is void.
	s.restarts, s.segments, s.lostAt = nil, nil, nil
	return out
}

// placed is a row with its instant.
type placed struct {
	row int
	at  float64
}

// belated tells whether a row whose stamp lies before the last one is merely
// written late: the stamps soon go on beyond the last, and it stands alone or
// there is a hole where it belongs. t and clock begin at the row and at the
// clock's present run.
func belated(t []float64, off, last, dt float64, clock []float64) bool {
	v := t[0] + off
	if last-v > 64*dt {
		return false
	}
	catch := 0
	for k := 1; k < len(t) && k <= 32; k++ {
		if t[k]+off > last {
			catch = k
			break
		}
	}
	if catch == 0 {
		return false
	}
	j := sort.SearchFloat64s(clock, v)
	if j == 0 || j >= len(clock) || clock[j] == v {
		return catch == 1 && (j >= len(clock) || clock[j] != v)
	}
	return catch == 1 || clock[j]-clock[j-1] > 1.2*dt
}

// merge puts late rows among those kept, by time; of equal instants the first
// stays.
func merge(kept []int, clock []float64, late []placed) ([]int, []float64) {
	all := make([]placed, 0, len(kept)+len(late))
	for n, i := range kept {
		all = append(all, placed{i, clock[n]})
	}
	all = append(all, late...)
	sort.SliceStable(all, func(a, b int) bool { return all[a].at < all[b].at })
	kept, clock = kept[:0], clock[:0]
	for _, p := range all {
		if n := len(clock); n > 0 && p.at == clock[n-1] {
			continue
		}
		kept, clock = append(kept, p.row), append(clock, p.at)
	}
	return kept, clock
}
