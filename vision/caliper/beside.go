package caliper

import "math"

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

// across gives the brightness of the wood at five places across, and how red its
// middle is, as logarithms to base 2.
func (s *section) across(mid, width float64) (light [5]float64, red float64) {
	if len(s.v) == 0 {
		return light, 0
	}
	const dark = 0.003 // keeps the noise of deep shade from counting
	mean := func(v, reach float64) (c [3]float64, ok bool) {
		n := 0.0
		for i, x := range s.v {
			if x >= v-reach && x <= v+reach {
				for k := range c {
					c[k] += s.y[i][k]
				}
				n++
			}
		}
		for k := range c {
			c[k] /= max(n, 1)
		}
		return c, n > 0
	}
	for k := range light {
		c, ok := mean(mid+(float64(k)-2)*0.18*width, max(0.11*width, 0.5))
		if !ok {
			return [5]float64{}, 0
		}
		light[k] = math.Log2((c[0]+c[1]+c[2])/3 + dark)
	}
	if c, ok := mean(mid, max(0.25*width, 0.6)); ok {
		red = math.Log2((c[2] + dark) / (c[0] + dark))
	}
	return light, red
}
