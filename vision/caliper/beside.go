package caliper

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
