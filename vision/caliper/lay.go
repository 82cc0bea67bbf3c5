package caliper

import (
	"context"
	"math"

	"nodespan/assess"
	"nodespan/vision/photo"
	"nodespan/vision/scale"
	"nodespan/vision/trace"
)

// A Course is a cane's line with the course of both its edges, decided over the
// whole cane before any edge is read finely. Its Read does that.
type Course struct {
	m        *scale.Map
	par      Params
	foreign  func(x, y float64) bool
	pts      []assess.Point // of the stations, in the middle of the course
	sections []*section     // across there
	width    []float64      // the even taper that the course agrees on, px
	// left and right are the edges' courses, px across; none where no course was
	// found. Where a shaded rim was seen outside of them, rimL and rimR say how
	// wide it is, px.
	left, right, rimL, rimR []float64
	bands                   []band
	cx                      float64 // column of the picture's middle
	blur                    float64 // of the reference's edges in the cane's direction, px
	mm, stationPx           float64 // mm per px at the middle; distance of stations, px
}

// Lay decides the course of one line's edges. like may be nil when nothing is
// known of the wood's colour; foreign tells where other wood lies, whose edges
// aren't this cane's, and may be nil. The error is only for a context that ended.
func Lay(ctx context.Context, p *photo.Photo, m *scale.Map, line *trace.Line, like Likelihood, foreign func(x, y float64) bool, par Params) (*Course, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	pts, width := resample(line, m, par)
	if len(pts) < 4 {
		return &Course{}, nil
	}
	across := angleAt(pts, len(pts)/2) + math.Pi/2
	blur := m.Blur(math.Cos(across), math.Sin(across))
	if blur == 0 {
		blur = 1
	}
	mid := pts[len(pts)/2]
	mm := m.At(mid[0], mid[1])
	stationPx := max(par.StepMM/mm, 1.5)
	c := &Course{m: m, par: par, foreign: foreign, pts: pts, width: width, blur: blur, mm: mm, stationPx: stationPx}
	var left, right []float64
	// Twice: the second time about the middle that the first has found, and
	// held to the even taper of the cane: where wood and ground
	// look alike for a while, the edges don't jump to the nearest bark.
	for _, tol := range []float64{par.WidthTol, par.TaperTol} {
		wide := func(i int) *section {
			return cross(p, pts[i], angleAt(pts, i), width[i], max(0.6*width[i], 11, 8/mm), max(par.AlongMM/mm, 3))
		}
		var ok bool
		if like != nil {
			most := 0.0
			for _, w := range width {
				most = max(most, w)
			}
			v := evenly(1.2*most+max(10, 8/mm), max(0.5, most/40))
			odds := func(i int) []float64 { return oddsAt(like, foreign, pts[i], angleAt(pts, i), v) }
			left, right, ok = likely(v, odds, width, stationPx*mm, stationPx, tol, par)
		} else {
			left, right, ok = course(wide, width, blur, stationPx*mm, stationPx, tol, par)
		}
		if !ok {
			return c, nil
		}
		angles := make([]float64, len(pts))
		for i := range pts {
			angles[i] = angleAt(pts, i)
		}
		for i := range pts {
			c := (left[i] + right[i]) / 2
			pts[i] = assess.Point{pts[i][0] - c*math.Sin(angles[i]), pts[i][1] + c*math.Cos(angles[i])}
			width[i] = right[i] - left[i]
		}
		taper(width, stationPx*mm, mm)
		if tol == par.TaperTol {
			for i := range pts {
				w := right[i] - left[i]
				left[i], right[i] = -w/2, w/2
			}
		}
	}
	c.left, c.right = left, right
	c.rimL, c.rimR = make([]float64, len(pts)), make([]float64, len(pts))
	if like != nil {
		wide := make([]*section, len(pts))
		for i := range pts {
			wide[i] = cross(p, pts[i], angleAt(pts, i), width[i], max(1.1*width[i], 12), max(par.AlongMM/mm, 3))
		}
		odds := func(i int, v float64) float64 {
			a := angleAt(pts, i)
			return like.At(pts[i][0]-v*math.Sin(a), pts[i][1]+v*math.Cos(a))
		}
		c.bands, c.cx = bands(wide, left, right, int(par.CrescentMM/(stationPx*mm))), float64(p.Width)/2
		c.rimL, c.rimR = rims(wide, odds, left, right, blur, int(par.RimMM/(stationPx*mm)), par)
	}
	c.sections = make([]*section, len(pts))
	for i := range pts {
		c.sections[i] = cross(p, pts[i], angleAt(pts, i), width[i], max(0.6*width[i], 8), max(par.AlongMM/mm, 3))
	}
	return c, nil
}
