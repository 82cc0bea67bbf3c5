package cores_test

import (
	"sync/atomic"
	"testing"

	"nodespan/vision/cores"
)

// Every number comes once, also when there are none or fewer than cores.
func TestEach(t *testing.T) {
	for _, n := range []int{0, 1, 2, 3, 1000} {
		seen := make([]atomic.Int32, n)
		cores.Each(n, func(i int) { seen[i].Add(1) })
		for i := range seen {
			if k := seen[i].Load(); k != 1 {
				t.Errorf("of %d: %d came %d times", n, i, k)
			}
		}
	}
}
