package scale

import (
	"math"
)

type vec [3]float64

func (a vec) add(b vec, k float64) vec { return vec{a[0] + k*b[0], a[1] + k*b[1], a[2] + k*b[2]} }
func (a vec) norm() float64            { return math.Sqrt(a[0]*a[0] + a[1]*a[1] + a[2]*a[2]) }
func (a vec) unit() vec                { n := a.norm(); return vec{a[0] / n, a[1] / n, a[2] / n} }
func (a vec) dot(b vec) float64        { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }
func (a vec) times(k float64) vec      { return vec{}.add(a, k) }
func (a vec) cross(b vec) vec {
	return vec{a[1]*b[2] - a[2]*b[1], a[2]*b[0] - a[0]*b[2], a[0]*b[1] - a[1]*b[0]}
}

// beside is what of a direction stands upright on a unit one, of unit length.
func (a vec) beside(x vec) vec { return a.add(x, -a.dot(x)).unit() }

// Diameter gives millimetres per pixel for the thickness of a round cane whose
// axis passes the place (x, y) of the photo in direction (dx, dy), with the
// axis in the wire plane.
//
// It isn't the plane's own scale: a flat thing that is seen askew is
// foreshortened and a round cane is not. The cane's half width is laid
// perpendicular to both its axis and the line of sight, and projected. At 30
// degrees off the picture's axis the difference is 15 %.
func (m *Map) Diameter(x, y, dx, dy float64) float64 {
	if m.Kind == "marks" {
		return m.Along(x, y, -dy, dx)
	}
	f, cx, cy := m.FocalPx, m.cx, m.cy
	r1, r2, t := m.frame()
	s := (r1.norm() + r2.norm()) / 2
	u, v := m.PxToMM.Apply(x, y)
	p := vec{}.add(r1, u/s).add(r2, v/s).add(t, 1/s)
	a, b, c, d := m.PxToMM.Jacobian(x, y)
	axis := vec{}.add(r1, a*dx+b*dy).add(r2, c*dx+d*dy).unit()
	across := axis.cross(p).unit()
	const half = 5.0 // mm
	project := func(q vec) (float64, float64) { return f*q[0]/q[2] + cx, f*q[1]/q[2] + cy }
	x0, y0 := project(p.add(across, -half))
	x1, y1 := project(p.add(across, half))
	n := math.Hypot(dx, dy)
	return 2 * half / math.Abs((x1-x0)*-dy/n+(y1-y0)*dx/n)
}
