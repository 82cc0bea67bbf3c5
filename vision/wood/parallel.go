package wood

import (
	"runtime"
	"sync"
)

// parallelRows calls f for every row from 0 to n-1, over all cores.
func parallelRows(n int, f func(y int)) {
	workers := min(runtime.GOMAXPROCS(0), max(n, 1))
	var wg sync.WaitGroup
	for k := range workers {
		wg.Go(func() {
			for y := n * k / workers; y < n*(k+1)/workers; y++ {
				f(y)
			}
		})
	}
	wg.Wait()
}
