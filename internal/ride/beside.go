package ride

import (
	"sync"

	"cornerwright/internal/signal"
)

// beside runs stages on another goroutine, on a work of their own that shares
// everything found so far: they may read all that the stages in between leave
// alone, and what they find is in the work that the function returned gives,
// once they are done. Their episodes, problems and what cannot be given are then
// added to those of w, as if they had run at that moment.
func (w *work) beside(stages func(v *work)) (joined func() *work) {
	v, r := *w, *w.r
	r.Episodes, r.Problems, r.Cannot = nil, nil, nil
	v.r, v.sc, v.lines = &r, signal.Scratch{}, nil
	// Half of the memory that is free goes with it.
	half := len(w.mem.series) / 2
	v.mem = memory{n: w.n, series: append([][]float64(nil), w.mem.series[half:]...)}
	w.mem.series = w.mem.series[:half]
	var done sync.WaitGroup
	done.Go(func() { stages(&v) })
	return func() *work {
		done.Wait()
		w.r.Episodes = append(w.r.Episodes, r.Episodes...)
		w.r.Problems = append(w.r.Problems, r.Problems...)
		for _, c := range r.Cannot {
			w.cannot(c.What, c.Why, c.Mend)
		}
		w.mem.back(v.mem.series...)
		return &v
	}
}
