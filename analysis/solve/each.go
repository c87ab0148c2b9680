package solve

import (
	"runtime"
	"sync"
	"sync/atomic"
)

// Each calls f for 0 … n−1 from as many goroutines as there are cores, and
// returns when all are done. f(i) writes only what is its own: the result is the
// same on any number of cores.
func Each(n int, f func(i int)) {
	var taken atomic.Int64
	var wg sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), n) {
		wg.Go(func() {
			for i := int(taken.Add(1)) - 1; i < n; i = int(taken.Add(1)) - 1 {
				f(i)
			}
		})
	}
	wg.Wait()
}
