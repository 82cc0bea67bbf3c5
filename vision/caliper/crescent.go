package caliper

import (
	"math"
	"slices"
)

// A crescent is the part of a sunlit cane that the sun reaches, over a stretch
// of the cane. Its outer edge shows before whatever lies behind, since the wood
// there is brighter than the shaded ground and its colour isn't the ground's.
// Its inner end is where the wood's own brightness falls to half of its peak, and
// that doesn't ask for the ground at all. So it can be read where the shaded rim
// beyond it has the very colour and brightness of the ground.
type crescent struct {
	mid   float64 // station in the middle of the stretch
	share float64 // its width over the course's
	edge  float64 // how far its outer edge lies outside of the course's, in widths
	// limb: its outer edge is the cane's own, since the ground there is bright.
	// Before a dark ground it is where the light has fallen half way to
	// the ground's, which lies inside.
	limb bool
	// dark: beyond its inner end the picture is no brighter than shaded wood for as
	// far as a rim may reach, so that one may go unseen there.
	dark bool
}

// A band is a cane's brightness across, the median over a stretch, from far
// outside of the left edge to far outside of the right one: at bandAt, in widths
// from the left edge.
type band struct {
	mid, width float64 // station in the middle; width, px
	light      [bandLen]float64
}

const bandLen = 81

func bandAt(k int) float64 { return -0.8 + 2.6*float64(k)/(bandLen-1) }

// bands lays the sections of each stretch over each other. The median passes
// over what crosses.
func bands(ss []*section, left, right []float64, per int) []band {
	var out []band
	n := len(ss)
	if per < 8 || n < 8 {
		return nil
	}
	for from, to := range stretches(n, per) {
		one := band{mid: float64(from+to-1) / 2}
		at := make([][]float64, bandLen)
		for i := from; i < to; i++ {
			s := ss[i]
			if len(s.v) < 4 {
				continue
			}
			w := right[i] - left[i]
			one.width += w / float64(to-from)
			for k := range at {
				if y, ok := s.at(left[i] + bandAt(k)*w); ok {
					at[k] = append(at[k], sunny(y))
				}
			}
		}
		for k, v := range at {
			if len(v) < (to-from)/2 || len(v) < 6 {
				one.light[k] = math.NaN()
				continue
			}
			slices.Sort(v)
			one.light[k] = v[len(v)/2]
		}
		out = append(out, one)
	}
	return out
}

// sunny is the brightness in which sunlit wood stands out most: the sun's light
// and the wood are both poor in blue.
func sunny(c [3]float64) float64 { return 0.1*c[0] + 0.4*c[1] + 0.5*c[2] }

// crescent reads a band that is lit from the right (from 1) or left (-1).
func (b *band) crescent(from, sigma float64) (crescent, bool) {
	y := b.light
	if from < 0 {
		slices.Reverse(y[:])
	}
	peak, at := 0.0, -1
	for k := range y {
		if u := bandAt(k); u > 0.05 && u < 0.98 && y[k] > peak {
			peak, at = y[k], k
		}
	}
	if at < 0 || b.width < 2 {
		return crescent{}, false
	}
	// The ground beside the lit edge.
	var beside []float64
	for k := range y {
		if d := (bandAt(k) - 1) * b.width; d > 1.8*sigma+0.8 && d < 1.8*sigma+4 && !math.IsNaN(y[k]) {
			beside = append(beside, y[k])
		}
	}
	if len(beside) == 0 {
		return crescent{}, false
	}
	slices.Sort(beside)
	ground := beside[len(beside)/2]
	edge, limb := 1.0, ground >= bright*peak
	if !limb {
		e, ok := falls(y[:], at, 1, (peak+ground)/2)
		if !ok {
			return crescent{}, false
		}
		edge = e
	}
	inner, ok := falls(y[:], at, -1, peak/2)
	if !ok || inner < -0.5 || edge > 1.4 || edge-inner < 0.3 {
		return crescent{}, false
	}
	cr := crescent{mid: b.mid, share: edge - inner, edge: edge - 1, limb: limb, dark: true}
	for k := range y {
		if u := bandAt(k); u < inner && u > inner-0.5*cr.share-2/b.width && y[k] > bright*peak {
			cr.dark = false
		}
	}
	return cr, true
}

// bright is from which share of the wood's peak on the ground beside the lit edge
// is too bright to tell that edge by brightness.
const bright = 0.7

// falls is where a band falls below a level, going from k by step.
func falls(y []float64, k, step int, level float64) (float64, bool) {
	for ; k+step >= 0 && k+step < len(y); k += step {
		a, b := y[k], y[k+step]
		if math.IsNaN(b) {
			return 0, false
		}
		if a >= level && b < level {
			return bandAt(k) + (a-level)/(a-b)*(bandAt(k+step)-bandAt(k)), true
		}
	}
	return 0, false
}

// skyShare is what the sky gives of the light on the brightest part of a sunlit
// cane: a seventh to a tenth under a clear sky (from memory).
const skyShare = 0.12

// wholeOf is a cylinder's width over that of its crescent when the sun stands
// turn, radians, beside the line of sight, by Lambert's law; 0 is behind the
// camera. limb is as in a crescent.
func wholeOf(turn float64, limb bool) float64 {
	// How far around from the brightest line a share of its light is left.
	around := func(share float64) float64 { return math.Acos((share - skyShare) / (1 - skyShare)) }
	const ground = 0.25 // of the peak: grass and stalks in the cane's lee
	inner := math.Sin(max(turn-around(0.5), -math.Pi/2))
	edge := math.Sin(min(turn+around((1+ground)/2), math.Pi/2))
	if limb {
		edge = 1
	}
	return 2 / (edge - inner)
}

// turnOf is the inverse of wholeOf.
func turnOf(whole float64, limb bool) float64 {
	lo, hi := 0.0, 80*math.Pi/180
	for range 20 {
		if m := (lo + hi) / 2; wholeOf(m, limb) < whole {
			lo = m
		} else {
			hi = m
		}
	}
	return lo
}
