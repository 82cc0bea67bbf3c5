// Package cores spreads work over the processor's cores.
package cores

import (
	"runtime"
	"sync"
	"sync/atomic"
)

// Each calls do for every number from 0 to n-1, over all cores and in no order,
// and returns when all have returned.
func Each(n int, do func(i int)) {
	var next atomic.Int64
	var wg sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), n) {
		wg.Go(func() {
			for i := int(next.Add(1)) - 1; i < n; i = int(next.Add(1)) - 1 {
				do(i)
			}
		})
	}
	wg.Wait()
}
