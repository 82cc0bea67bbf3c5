package truth

import (
	"math"

	"nodespan/assess"
)

// axis is a true cane's centre line, ready for projections.
type axis struct {
	c      *Cane
	lo, hi [2]float64
}

func newAxis(c *Cane) axis {
	a := axis{c: c, lo: [2]float64{math.Inf(1), math.Inf(1)}, hi: [2]float64{math.Inf(-1), math.Inf(-1)}}
	for _, p := range c.LinePx {
		for k := range p {
			a.lo[k], a.hi[k] = math.Min(a.lo[k], p[k]), math.Max(a.hi[k], p[k])
		}
	}
	return a
}

// nearest gives the distance in px from p to a polyline, and where on it the
// nearest place lies: the segment and how far along it.
func nearest(line [][2]float64, p [2]float64) (dist float64, seg int, f float64) {
	best := math.Inf(1)
	for i := 0; i+1 < len(line); i++ {
		a, b := line[i], line[i+1]
		dx, dy := b[0]-a[0], b[1]-a[1]
		t := 0.0
		if l2 := dx*dx + dy*dy; l2 > 0 {
			t = math.Max(0, math.Min(1, ((p[0]-a[0])*dx+(p[1]-a[1])*dy)/l2))
		}
		ex, ey := p[0]-a[0]-t*dx, p[1]-a[1]-t*dy
		if d := ex*ex + ey*ey; d < best {
			best, seg, f = d, i, t
		}
	}
	return math.Sqrt(best), seg, f
}

// project gives the distance from p to the centre line, px, and the true mm
// along it.
func (a axis) project(p [2]float64) (dist, mm float64) {
	d, i, f := nearest(a.c.LinePx, p)
	if math.IsInf(d, 1) {
		return d, 0
	}
	return d, a.c.LineMM[i] + (a.c.LineMM[i+1]-a.c.LineMM[i])*f
}

// at interpolates one of the cane's lists at mm along it; beyond the ends it
// gives the end's value.
func (a axis) at(list []float64, mm float64) float64 {
	s := a.c.LineMM
	if len(s) == 0 {
		return 0
	}
	for i := 1; i < len(s); i++ {
		if mm <= s[i] {
			f := 0.0
			if d := s[i] - s[i-1]; d > 0 {
				f = math.Max(0, (mm-s[i-1])/d)
			}
			return list[i-1] + (list[i]-list[i-1])*f
		}
	}
	return list[len(list)-1]
}

// widthPx is the cane's true width in the picture at mm along it.
func (a axis) widthPx(mm float64) float64 {
	s := a.at(a.c.LineMMPerPx, mm)
	if s <= 0 {
		return 0
	}
	return a.at(a.c.LineDiameterMM, mm) / s
}

// far tells whether a reported line lies wholly off the cane's bounding box.
func (a axis) far(line [][2]float64, margin float64) bool {
	lo, hi := [2]float64{math.Inf(1), math.Inf(1)}, [2]float64{math.Inf(-1), math.Inf(-1)}
	for _, p := range line {
		for k := range p {
			lo[k], hi[k] = math.Min(lo[k], p[k]), math.Max(hi[k], p[k])
		}
	}
	for k := range lo {
		if hi[k] < a.lo[k]-margin || lo[k] > a.hi[k]+margin {
			return true
		}
	}
	return false
}

// resample gives points about step px apart along a reported line.
func resample(line []assess.Point, step float64) [][2]float64 {
	if len(line) < 2 {
		return nil
	}
	s := make([]float64, len(line))
	for i := 1; i < len(line); i++ {
		s[i] = s[i-1] + math.Hypot(line[i][0]-line[i-1][0], line[i][1]-line[i-1][1])
	}
	total := s[len(s)-1]
	if !(total > 0) || math.IsInf(total, 1) {
		return nil
	}
	n := max(int(total/step)+1, 2)
	out := make([][2]float64, 0, n)
	k := 0
	for i := 0; i < n; i++ {
		at := total * float64(i) / float64(n-1)
		for k+2 < len(s) && s[k+1] < at {
			k++
		}
		f := 0.0
		if d := s[k+1] - s[k]; d > 0 {
			f = math.Max(0, math.Min(1, (at-s[k])/d))
		}
		out = append(out, [2]float64{line[k][0] + (line[k+1][0]-line[k][0])*f, line[k][1] + (line[k+1][1]-line[k][1])*f})
	}
	return out
}
