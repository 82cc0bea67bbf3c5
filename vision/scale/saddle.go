package scale

import (
	"cmp"
	"image"
	"math"
	"slices"

	"gocv.io/x/gocv"
)

// A corner is a candidate inner corner of a checkerboard, in pixels of the
// picture in which it was looked for.
type corner struct {
	x, y     float64
	strength float64
	// axis holds the directions of the two lines that cross here, radians in
	// [0, pi), ordered so that going from axis[0] to axis[1] by increasing
	// angle passes through a dark sector. The order is the corner's polarity.
	axis [2]float64
}

// plane is a picture of one float per pixel.
type plane struct {
	w, h int
	v    []float32
}

func (p *plane) at(x, y float64) float32 {
	if x < 0 || y < 0 || x >= float64(p.w-1) || y >= float64(p.h-1) {
		return -1
	}
	i, j := int(x), int(y)
	fx, fy := float32(x-float64(i)), float32(y-float64(j))
	k := j*p.w + i
	return (p.v[k]*(1-fx)+p.v[k+1]*fx)*(1-fy) + (p.v[k+p.w]*(1-fx)+p.v[k+p.w+1]*fx)*fy
}

// grey gives the picture's brightness at 1/shrink size, smoothed by sigma.
func grey(bgr gocv.Mat, shrink int, sigma float64) *plane {
	g := gocv.NewMat()
	defer g.Close()
	gocv.CvtColor(bgr, &g, gocv.ColorBGRToGray)
	if shrink > 1 {
		s := gocv.NewMat()
		gocv.Resize(g, &s, image.Pt(bgr.Cols()/shrink, bgr.Rows()/shrink), 0, 0, gocv.InterpolationArea)
		g.Close()
		g = s
	}
	f := gocv.NewMat()
	defer f.Close()
	g.ConvertTo(&f, gocv.MatTypeCV32F)
	if sigma > 0 {
		gocv.GaussianBlur(f, &f, image.Pt(0, 0), sigma, sigma, gocv.BorderReplicate)
	}
	v, err := f.DataPtrFloat32()
	if err != nil {
		return &plane{}
	}
	return &plane{w: f.Cols(), h: f.Rows(), v: slices.Clone(v)}
}

// saddles finds brightness saddles: places where the determinant of the
// Hessian is strongly negative, local extrema of it, whose ring is
// checkerboard-like. radius is the ring's radius in pixels.
func saddles(p *plane, radius float64, most int) []corner {
	w, h, v := p.w, p.h, p.v
	if w < 40 || h < 40 {
		return nil
	}
	det := make([]float32, w*h)
	for y := 1; y < h-1; y++ {
		for k := y*w + 1; k < y*w+w-1; k++ {
			xx := v[k-1] + v[k+1] - 2*v[k]
			yy := v[k-w] + v[k+w] - 2*v[k]
			xy := (v[k+w+1] + v[k-w-1] - v[k+w-1] - v[k-w+1]) / 4
			det[k] = xy*xy - xx*yy
		}
	}
	// A weaker saddle than this has a contrast of under some ten grey levels.
	const floor = 0.5
	const reach = 3
	var out []corner
	edge := int(radius) + 2
	for y := edge; y < h-edge; y++ {
	next:
		for x := edge; x < w-edge; x++ {
			k := y*w + x
			d := det[k]
			if d < floor {
				continue
			}
			for j := -reach; j <= reach; j++ {
				for i := -reach; i <= reach; i++ {
					if n := det[k+j*w+i]; n > d || n == d && j*w+i < 0 {
						continue next
					}
				}
			}
			c := corner{x: float64(x), y: float64(y), strength: float64(d)}
			if ring(p, &c, radius) {
				out = append(out, c)
			}
		}
	}
	slices.SortFunc(out, func(a, b corner) int { return cmp.Compare(b.strength, a.strength) })
	if len(out) > most {
		out = out[:most]
	}
	return out
}

// ring tests the circle around a candidate: two bright and two dark arcs,
// alike on opposite sides, none of them narrow. It sets the corner's axes.
func ring(p *plane, c *corner, radius float64) bool {
	const n = 32
	var s [n]float64
	mean := 0.0
	for i := range s {
		a := 2 * math.Pi * float64(i) / n
		s[i] = float64(p.at(c.x+radius*math.Cos(a), c.y+radius*math.Sin(a)))
		mean += s[i] / n
	}
	lo, hi := slices.Min(s[:]), slices.Max(s[:])
	if hi-lo < 18 {
		return false
	}
	mid := (lo + hi) / 2
	var cross []float64 // angle of each change, positive going to bright
	var rising []bool
	for i := range s {
		a, b := s[i]-mid, s[(i+1)%n]-mid
		if (a < 0) != (b < 0) {
			cross = append(cross, 2*math.Pi*(float64(i)+a/(a-b))/n)
			rising = append(rising, a < 0)
		}
	}
	if len(cross) != 4 {
		return false
	}
	for i := range cross {
		gap := math.Mod(cross[(i+1)%4]-cross[i]+2*math.Pi, 2*math.Pi)
		if gap < 0.6 || gap > 2.6 {
			return false
		}
	}
	// Opposite changes must lie on one line through the centre.
	for i := range 2 {
		if d := math.Abs(cross[i+2] - cross[i] - math.Pi); d > 0.5 {
			return false
		}
	}
	diff, norm := 0.0, 0.0
	for i := range n / 2 {
		diff += math.Abs(s[i] - s[i+n/2])
		norm += math.Abs(s[i]-mid) + math.Abs(s[i+n/2]-mid)
	}
	if diff > 0.5*norm {
		return false
	}
	a0 := math.Mod((cross[0]+cross[2]-math.Pi)/2+2*math.Pi, math.Pi)
	a1 := math.Mod((cross[1]+cross[3]-math.Pi)/2+2*math.Pi, math.Pi)
	// Falling at angle cross[0] means that the sector after it is dark.
	if !rising[0] {
		c.axis = [2]float64{a0, a1}
	} else {
		c.axis = [2]float64{a1, a0}
	}
	return true
}
