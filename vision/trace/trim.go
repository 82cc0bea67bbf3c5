package trace

import (
	"slices"
)

// trim cuts off a ribbon's ends where it looks clearly less like the
// recognised wood than it mostly does: there it has run into old wood or the
// ground.
func (r *ribbon) trim(odds func(x, y float64) float64, share float64) {
	n := len(r.steps)
	if n < 8 {
		return
	}
	f := make([]float64, n)
	for i, s := range r.steps {
		f[i] = odds(s.x, s.y)
	}
	sorted := slices.Clone(f)
	slices.Sort(sorted)
	limit := share * sorted[n/2]
	good := func(i, dir int) bool {
		sum, c := 0.0, 0.0
		for k := range 4 {
			if j := i + dir*k; j >= 0 && j < n {
				sum, c = sum+f[j], c+1
			}
		}
		return sum/c >= limit && r.steps[i].seen
	}
	lo, hi := 0, n-1
	for lo < n && !good(lo, 1) {
		lo++
	}
	for hi > lo && !good(hi, -1) {
		hi--
	}
	if hi-lo >= 4 {
		r.steps = r.steps[lo : hi+1]
	}
}
