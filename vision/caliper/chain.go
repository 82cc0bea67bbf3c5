package caliper

import (
	"cmp"
	"math"
	"slices"
)

// mostPairs is how many pairs of edges a place of the course keeps.
const mostPairs = 40

// cheapest keeps the cheapest pairs of a place, cheapest first.
func cheapest(pairs []pairing) []pairing {
	slices.SortFunc(pairs, func(p, q pairing) int { return cmp.Compare(p.cost, q.cost) })
	return pairs[:min(len(pairs), mostPairs)]
}

// chain takes one pair of edges from each place along the cane, so that the
// pairs cost least and both edges move slowly (Viterbi's dynamic programming),
// and gives the left and the right edges. No place may be without a pair; the
// pairs' costs become those of the chains that end there.
func chain(places [][]pairing, width []float64, par Params) (left, right []float64) {
	for k := 1; k < len(places); k++ {
		here, past := places[k], places[k-1]
		tol := par.CourseTol*width[k] + 0.6
		for i := range here {
			best, from := math.Inf(1), 0
			for j := range past {
				da, db := (here[i].a-past[j].a)/tol, (here[i].b-past[j].b)/tol
				// Where the followed centre wanders, both edges shift together;
				// that costs less than a change of width.
				both, diff := (da+db)/2, db-da
				cost := past[j].cost + min(0.15*both*both+0.5*diff*diff, 1.6)
				if cost < best {
					best, from = cost, j
				}
			}
			here[i].cost += best
			here[i].before = from
		}
	}
	last := places[len(places)-1]
	at := 0
	for i := range last {
		if last[i].cost < last[at].cost {
			at = i
		}
	}
	left, right = make([]float64, len(places)), make([]float64, len(places))
	for k := len(places) - 1; k >= 0; k-- {
		p := places[k][at]
		left[k], right[k] = p.a, p.b
		at = p.before
	}
	return left, right
}
