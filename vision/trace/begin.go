package trace

import (
	"cmp"
	"slices"
)

// sortBegins puts the best places to start from first; among equals the order
// in which they were proposed holds.
func sortBegins[T any](from []T, key func(T) (score float64, order int)) {
	slices.SortFunc(from, func(a, b T) int {
		sa, oa := key(a)
		sb, ob := key(b)
		return cmp.Or(cmp.Compare(sb, sa), cmp.Compare(oa, ob))
	})
}
