package signal

import (
	"runtime"
	"sync"
	"sync/atomic"
)

// Pieces calls f for the stretches [from, to) of 0..n, side by side where there
// is more than one processor and enough to do. f may write to its own stretch
// alone; what it computes does not depend on how n is cut.
func Pieces(n int, f func(from, to int)) {
	const least = 8192 // below it starting another goroutine costs what it saves
	k := max(1, min(runtime.GOMAXPROCS(0), n/least))
	var rest sync.WaitGroup
	for i := 1; i < k; i++ {
		rest.Go(func() { f(i*n/k, (i+1)*n/k) })
	}
	f(0, n/k)
	rest.Wait()
}

// Each calls f for 0..n-1, in any order and side by side where there is more
// than one processor.
func Each(n int, f func(k int)) {
	var next atomic.Int64
	var all sync.WaitGroup
	for range min(n, runtime.GOMAXPROCS(0)) {
		all.Go(func() {
			for k := int(next.Add(1)) - 1; k < n; k = int(next.Add(1)) - 1 {
				f(k)
			}
		})
	}
	all.Wait()
}
