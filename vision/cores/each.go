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
	EachWith(n, func() struct{} { return struct{}{} }, func(struct{}) {}, func(i int, _ struct{}) { do(i) })
}

// EachWith does the same with something that each core has for itself: made once,
// given to one call after the other, and let go of in the end. Fresh memory often
// costs more than what is computed in it.
func EachWith[T any](n int, made func() T, done func(T), do func(i int, own T)) {
	var next atomic.Int64
	var wg sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), n) {
		wg.Go(func() {
			own := made()
			defer done(own)
			for i := int(next.Add(1)) - 1; i < n; i = int(next.Add(1)) - 1 {
				do(i, own)
			}
		})
	}
	wg.Wait()
}
