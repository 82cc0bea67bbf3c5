package assess

import (
	"math"
	"slices"
)

// A filling is one way of filling the places: for each an option, or nil.
type filling struct {
	options []*option
	points  float64
}

// fill finds the filling with the most points by branch and bound: place after
// place, the best option first, given up as soon as even the best options of
// all places to come couldn't beat what was found. options[i] are those of
// place i. proven is false when the search was cut off after p.Steps.
//
// Equal points are decided by the canes' numbers, so the result doesn't depend
// on any order.
func (s *stand) fill(options [][]option, p Choosing) (best filling, proven bool) {
	n := len(options)
	order := make([][]*option, n)
	for i := range options {
		for j := range options[i] {
			order[i] = append(order[i], &options[i][j])
		}
		slices.SortStableFunc(order[i], func(a, b *option) int {
			switch {
			case a.points > b.points:
				return -1
			case a.points < b.points:
				return 1
			}
			return s.canes[a.cane].ID - s.canes[b.cane].ID
		})
	}
	// What the places from i on can give at most.
	atMost := make([]float64, n+1)
	for i := n - 1; i >= 0; i-- {
		atMost[i] = atMost[i+1]
		if len(order[i]) > 0 {
			atMost[i] += math.Max(0, order[i][0].points)
		}
	}
	best = filling{options: make([]*option, n), points: math.Inf(-1)}
	now := make([]*option, n)
	taken := make([]bool, len(s.canes))
	steps := 0
	var from func(i int, points float64)
	from = func(i int, points float64) {
		steps++
		// Sums of tenths: what differs by less than half of one is equal.
		if steps > p.Steps || points+atMost[i] <= best.points+0.05 {
			return
		}
		if i == n {
			best.points = points
			copy(best.options, now)
			return
		}
		for _, o := range order[i] {
			if taken[o.cane] {
				continue
			}
			with := points + o.points
			for _, other := range now[:i] {
				if other != nil {
					for _, t := range s.against(other, o, p) {
						with += t.Points
					}
				}
			}
			now[i], taken[o.cane] = o, true
			from(i+1, with)
			now[i], taken[o.cane] = nil, false
		}
		from(i+1, points)
	}
	from(0, 0)
	if math.IsInf(best.points, -1) {
		best.points = 0
	}
	return best, steps <= p.Steps
}
