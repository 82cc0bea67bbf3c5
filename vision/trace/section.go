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

// add adds the colour at a place, blue green red, to sum; false outside.
func (c *canvas) add(x, y float64, sum *[3]float64) bool {
	if !c.inside(x, y) {
		return false
	}
	i, j := int(x), int(y)
	fx, fy := x-float64(i), y-float64(j)
	k := 3 * (j*c.w + i)
	w00, w10, w01, w11 := (1-fx)*(1-fy), fx*(1-fy), (1-fx)*fy, fx*fy
	d := k + 3*c.w
	for ch := range 3 {
		sum[ch] += w00*float64(c.pix[k+ch]) + w10*float64(c.pix[k+3+ch]) + w01*float64(c.pix[d+ch]) + w11*float64(c.pix[d+3+ch])
	}
	return true
}

// A section is the mean of many parallel cross-sections: colour against the
// distance across.
type section struct {
	half    int          // samples to each side of the middle
	colour  [][3]float64 // at distance (i-half) px
	grad    [][3]float64 // derivative across
	mag     []float64    // its length
	clutter float64      // typical mag: what chance gives here
}

// cut averages cross-sections over length px around (x, y), along angle.
func (c *canvas) cut(x, y, angle, length float64, half int) *section {
	s := &section{half: half, colour: make([][3]float64, 2*half+1)}
	dx, dy := math.Cos(angle), math.Sin(angle)
	nx, ny := -dy, dx
	rows := max(3, int(length/2))
	for i := range s.colour {
		v := float64(i - half)
		n := 0
		for k := range rows {
			t := (float64(k)/float64(rows-1) - 0.5) * length
			if c.add(x+t*dx+v*nx, y+t*dy+v*ny, &s.colour[i]) {
				n++
			}
		}
		if n > 0 {
			for ch := range 3 {
				s.colour[i][ch] /= float64(n)
			}
		} else if i > 0 {
			s.colour[i] = s.colour[i-1]
		}
	}
	s.grad = make([][3]float64, len(s.colour))
	s.mag = make([]float64, len(s.colour))
	for i := 1; i+1 < len(s.colour); i++ {
		for ch := range 3 {
			d := (s.colour[i+1][ch] - s.colour[i-1][ch]) / 2
			s.grad[i][ch] = d
			s.mag[i] += d * d
		}
		s.mag[i] = math.Sqrt(s.mag[i])
	}
	sorted := slices.Clone(s.mag[1 : len(s.mag)-1])
	slices.Sort(sorted)
	s.clutter = sorted[len(sorted)*45/100] + 0.35
	return s
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

// bands lists the pairs of edges between minW and maxW px apart.
func (s *section) bands(minW, maxW, minEdge float64) []band {
	var at []float64
	var mag []float64
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
	var out []band
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
	return out
}
