package trace

import (
	"math"
	"slices"

	"nodespan/vision/photo"
)

// A canvas samples the photo.
type canvas struct {
	pix  []uint8
	w, h int
}

func newCanvas(p *photo.Photo) *canvas { return &canvas{pix: p.Pix(), w: p.Width, h: p.Height} }

func (c *canvas) inside(x, y float64) bool {
	return x >= 0 && y >= 0 && x < float64(c.w-1) && y < float64(c.h-1)
}

// A section is the mean of many parallel cross-sections: colour against the
// distance across.
type section struct {
	half    int          // samples to each side of the middle
	colour  [][3]float64 // at distance (i-half) px
	mag     []float64    // length of the derivative across
	clutter float64      // typical mag: what chance gives here
	sum     []int32      // of the samples at each distance, and how many
	sorted  []float64
	at, of  []float64 // places of edges, and their mag
	pairs   []band
}

// fixed is one pixel in the whole numbers in which places are stepped along.
const fixed = 1 << 16

// cut averages cross-sections over length px around (x, y), along angle. Each
// sample is the nearest pixel's: over the rows, which meet the pixels at other
// places each, that averages as interpolating would. The slices of s are used
// again by its next cut.
func (c *canvas) cut(s *section, x, y, angle, length float64, half int) {
	n := 2*half + 1
	s.half = half
	s.sum = slices.Grow(s.sum[:0], 4*n)[:4*n]
	clear(s.sum)
	dx, dy := math.Cos(angle), math.Sin(angle)
	nx, ny := -dy, dx
	rows := max(3, int(length/2))
	reach := float64(half) + 1
	within := c.inside(x-(reach+length/2), y-(reach+length/2)) && c.inside(x+reach+length/2, y+reach+length/2)
	stepX, stepY := int(nx*fixed), int(ny*fixed)
	for k := range rows {
		t := (float64(k)/float64(rows-1) - 0.5) * length
		px := int((x + t*dx - float64(half)*nx + 0.5) * fixed)
		py := int((y + t*dy - float64(half)*ny + 0.5) * fixed)
		for i := 0; i < 4*n; i += 4 {
			a, b := px>>16, py>>16
			px, py = px+stepX, py+stepY
			if !within && (a < 0 || b < 0 || a >= c.w || b >= c.h) {
				continue
			}
			q, o := c.pix[3*(b*c.w+a):], s.sum[i:i+4:i+4]
			o[0] += int32(q[0])
			o[1] += int32(q[1])
			o[2] += int32(q[2])
			o[3]++
		}
	}
	s.colour = slices.Grow(s.colour[:0], n)[:n]
	for i := range s.colour {
		if k := float64(s.sum[4*i+3]); k > 0 {
			for ch := range 3 {
				s.colour[i][ch] = float64(s.sum[4*i+ch]) / k
			}
		} else if i > 0 {
			s.colour[i] = s.colour[i-1]
		} else {
			s.colour[i] = [3]float64{}
		}
	}
	s.slopes()
}

// slopes makes the section's gradient and clutter of its colours.
func (s *section) slopes() {
	s.mag = slices.Grow(s.mag[:0], len(s.colour))[:len(s.colour)]
	clear(s.mag)
	for i := 1; i+1 < len(s.colour); i++ {
		sum := 0.0
		for ch := range 3 {
			d := (s.colour[i+1][ch] - s.colour[i-1][ch]) / 2
			sum += d * d
		}
		s.mag[i] = math.Sqrt(sum)
	}
	s.sorted = append(s.sorted[:0], s.mag[1:len(s.mag)-1]...)
	slices.Sort(s.sorted)
	s.clutter = s.sorted[len(s.sorted)*45/100] + 0.35
}

// mean is the mean colour within reach px of a place across.
func (s *section) mean(mid, reach float64) (c [3]float64) {
	lo := max(0, int(math.Ceil(mid-reach))+s.half)
	hi := min(len(s.colour)-1, int(math.Floor(mid+reach))+s.half)
	if hi < lo {
		lo = max(0, min(len(s.colour)-1, int(math.Round(mid))+s.half))
		hi = lo
	}
	for i := lo; i <= hi; i++ {
		for ch := range c {
			c[ch] += s.colour[i][ch] / float64(hi-lo+1)
		}
	}
	return c
}

// A band is a pair of edges in a section.
type band struct {
	mid, width float64 // px across from the section's middle
	score      float64 // weaker edge over clutter
	edge       float64 // weaker edge, grey levels per px
}

// bands lists the pairs of edges between minW and maxW px apart. The list is
// used again by the next call.
func (s *section) bands(minW, maxW, minEdge float64) []band {
	at, mag := s.at[:0], s.of[:0]
	for i := 2; i+2 < len(s.mag); i++ {
		m := s.mag[i]
		if m < minEdge || m < s.mag[i-1] || m <= s.mag[i+1] {
			continue
		}
		a, b := s.mag[i-1], s.mag[i+1]
		off := 0.0
		if d := a - 2*m + b; d < 0 {
			off = 0.5 * (a - b) / d
		}
		at = append(at, float64(i-s.half)+off)
		mag = append(mag, m)
	}
	s.at, s.of = at, mag
	out := s.pairs[:0]
	for i := range at {
		for j := i + 1; j < len(at); j++ {
			w := at[j] - at[i]
			if w < minW {
				continue
			}
			if w > maxW {
				break
			}
			weak := min(mag[i], mag[j])
			score := weak / s.clutter
			// An edge inside that is stronger than the weaker of the two
			// speaks for a narrower band.
			for k := i + 1; k < j; k++ {
				if mag[k] > weak {
					score *= max(0.35, 1-0.5*(mag[k]-weak)/weak)
				}
			}
			out = append(out, band{mid: (at[i] + at[j]) / 2, width: w, score: score, edge: weak})
		}
	}
	s.pairs = out
	return out
}
