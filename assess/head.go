package assess

import "math"

// FromHeadMM is how far from the head a cane arises, mm on the wire plane;
// false where the head, the scale or the cane's line isn't known.
func FromHeadMM(m *Measurement, c *Cane) (float64, bool) {
	if m.Head == nil || len(c.CentreLine) == 0 || m.Reference == nil || m.Reference.PxToMM == [9]float64{} {
		return 0, false
	}
	head, ok := m.Reference.ToMM(*m.Head)
	base, also := m.Reference.ToMM(c.CentreLine[0])
	if !ok || !also {
		return 0, false
	}
	return math.Hypot(base[0]-head[0], base[1]-head[1]), true
}
