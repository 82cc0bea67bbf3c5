package stance

import (
	"math"

	"nodespan/assess"
	"nodespan/vision/scale"
)

type vec [3]float64

func (a vec) plus(b vec, k float64) vec { return vec{a[0] + k*b[0], a[1] + k*b[1], a[2] + k*b[2]} }
func (a vec) dot(b vec) float64         { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }
func (a vec) norm() float64             { return math.Sqrt(a.dot(a)) }
func (a vec) cross(b vec) vec {
	return vec{a[1]*b[2] - a[2]*b[1], a[2]*b[0] - a[0]*b[2], a[0]*b[1] - a[1]*b[0]}
}

// camera is a pinhole with one radial term, x_d = x_u (1 + k1 r_u^2), at a pose.
type camera struct {
	f, k1  float64
	middle assess.Point
	at     scale.Pose
}

// turn takes a direction of the card's frame to the camera's.
func (c camera) turn(p vec) vec {
	var q vec
	for i := range 3 {
		q[i] = c.at.R[i][0]*p[0] + c.at.R[i][1]*p[1] + c.at.R[i][2]*p[2]
	}
	return q
}

// back takes a direction of the camera's frame to the card's.
func (c camera) back(q vec) vec {
	var p vec
	for i := range 3 {
		p[i] = c.at.R[0][i]*q[0] + c.at.R[1][i]*q[1] + c.at.R[2][i]*q[2]
	}
	return p
}

// project gives the pixel of a point of the card's frame.
func (c camera) project(p vec) assess.Point {
	q := c.turn(p).plus(c.at.T, 1)
	u, v := q[0]/q[2], q[1]/q[2]
	k := 1 + c.k1*math.Min(u*u+v*v, 2)
	return assess.Point{c.middle[0] + c.f*u*k, c.middle[1] + c.f*v*k}
}

// direction gives the direction of a pixel in the camera's frame, 1 ahead.
func (c camera) direction(px assess.Point) vec {
	xd, yd := (px[0]-c.middle[0])/c.f, (px[1]-c.middle[1])/c.f
	u, v := xd, yd
	if c.k1 != 0 {
		for range 4 {
			k := 1 / (1 + c.k1*math.Min(u*u+v*v, 2))
			u, v = xd*k, yd*k
		}
	}
	return vec{u, v, 1}
}

// sight is a pixel's line of sight in the card's frame: at the depth d it is
// at on + d*per.
type sight struct{ on, per vec }

func (c camera) sight(px assess.Point) sight {
	from, dir := vec(c.at.Centre()), c.back(c.direction(px))
	per := vec{}.plus(dir, 1/dir[2])
	return sight{from.plus(per, -from[2]), per}
}

func (s sight) at(d float64) vec { return s.on.plus(s.per, d) }

// depth is where a line of sight of the one camera meets the plane through
// the other's lens and two of its pixels: the depth, how far along from p to
// q (0 to 1) that lies, and by how many pixels it moves across the line from p
// to q for each mm. ok is false where it nowhere does.
func (c camera) depth(s sight, p, q assess.Point) (d, along, pxPerMM float64, ok bool) {
	a, b := c.direction(p), c.direction(q)
	line := a.cross(b)
	q0, qv := c.turn(s.on).plus(c.at.T, 1), c.turn(s.per)
	den := line.dot(qv)
	if den == 0 {
		return 0, 0, 0, false
	}
	d = -line.dot(q0) / den
	at := q0.plus(qv, d)
	if at[2] < 50 {
		return 0, 0, 0, false
	}
	dx, dy := b[0]-a[0], b[1]-a[1]
	along = ((at[0]/at[2]-a[0])*dx + (at[1]/at[2]-a[1])*dy) / (dx*dx + dy*dy)
	pxPerMM = c.f * math.Abs(den) / (at[2] * math.Hypot(line[0], line[1]))
	return d, along, pxPerMM, true
}

// across gives millimetres per pixel for the thickness of a round cane whose
// line runs through px in direction (dx, dy) and lies at the depth d: the
// distance of its axis from the plane through the lens and a line beside it in
// the picture. How the cane leans doesn't matter to that.
func (c camera) across(px assess.Point, dx, dy, d float64) float64 {
	n := math.Hypot(dx, dy)
	if n == 0 {
		return 0
	}
	dx, dy = dx/n, dy/n
	axis := c.turn(c.sight(px).at(d)).plus(c.at.T, 1)
	const beside = 5.0 // px
	sum := 0.0
	for _, k := range []float64{-beside, beside} {
		a, b := c.direction(assess.Point{px[0] - k*dy, px[1] + k*dx}), c.direction(assess.Point{px[0] - k*dy + dx, px[1] + k*dx + dy})
		plane := a.cross(b)
		sum += math.Abs(plane.dot(axis)) / plane.norm()
	}
	return sum / 2 / beside
}
