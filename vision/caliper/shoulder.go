package caliper

import "math"

// A camera doesn't stop at the sRGB curve: it rolls highlights off, so that a
// bright sky of several times a sheet of paper's luminance still fits under
// 255. Where such a sky meets a cane, half the picture's values isn't half the
// light, and the sky seems to eat into the wood by up to a pixel on each side.
//
// outward gives by how much an edge must be put outward, in standard deviations
// of the blur, when highlights are compressed as v = L (1 - s v v): ground and
// wood are the levels on both sides, v, linear after the sRGB curve (IEC
// 61966-2-1). The curve does hardly anything in the lower half and has no end
// at the top. Of the one-parameter curves that roll off at all (E. Reinhard et
// al., ACM Trans. Graph. 21(3), 2002, discuss them) this one put the edges of
// canes of known place before five skies and a white sheet where they were.
func outward(ground, wood, s float64) float64 {
	light := func(v float64) float64 { v = max(0, v); return v / max(1-s*v*v, 1.0/8) }
	g, w := light(ground), light(wood)
	if math.Abs(g-w) < 0.01 {
		return 0
	}
	share := (light((ground+wood)/2) - w) / (g - w) // of ground, at the half level
	share = max(0.05, min(0.95, share))
	return -math.Sqrt2 * math.Erfinv(2*share-1)
}

// beside gives the levels of ground and wood next to both edges of a plain
// section, mean of the channels.
func (s *section) beside(a, b, sigma float64) (groundL, woodL, woodR, groundR float64) {
	level := func(from, to float64) float64 {
		sum, n := 0.0, 0.0
		for i, v := range s.v {
			if v >= from && v <= to {
				sum += (s.y[i][0] + s.y[i][1] + s.y[i][2]) / 3
				n++
			}
		}
		if n == 0 {
			return 0
		}
		return sum / n
	}
	away := 1.8*sigma + 0.5
	in := min(away, 0.35*(b-a))
	mid := (a + b) / 2
	return level(a-away-3, a-away), level(a+in, max(mid, a+in+0.6)), level(min(mid, b-in-0.6), b-in), level(b+away, b+away+3)
}

// middle is the mean level within reach of a place across.
func (s *section) middle(v, reach float64) float64 {
	sum, n := 0.0, 0.0
	for i, x := range s.v {
		if x >= v-max(reach, 0.8) && x <= v+max(reach, 0.8) {
			sum += (s.y[i][0] + s.y[i][1] + s.y[i][2]) / 3
			n++
		}
	}
	if n == 0 {
		return 0
	}
	return sum / n
}
