package assess

import "math"

// ToMM gives the place of a pixel on the wire plane in the reference's own
// frame, mm (x right, y down, origin at the reference's centre); false when
// the mapping isn't known or the pixel lies on or beyond its horizon.
func (r *Reference) ToMM(p Point) (Point, bool) {
	if r == nil {
		return Point{}, false
	}
	h := r.PxToMM
	// The scale's sign is free; the reference itself lies on the near side of
	// the horizon, so its centre tells which sign the near side has.
	w := h[6]*p[0] + h[7]*p[1] + h[8]
	if c, ok := r.centre(); ok && w*(h[6]*c[0]+h[7]*c[1]+h[8]) <= 0 {
		return Point{}, false
	}
	q := Point{(h[0]*p[0] + h[1]*p[1] + h[2]) / w, (h[3]*p[0] + h[4]*p[1] + h[5]) / w}
	if w == 0 || !finite(q[0]) || !finite(q[1]) {
		return Point{}, false
	}
	return q, true
}

func (r *Reference) centre() (Point, bool) {
	if len(r.Outline) == 0 {
		return Point{}, false
	}
	var c Point
	for _, p := range r.Outline {
		c[0] += p[0] / float64(len(r.Outline))
		c[1] += p[1] / float64(len(r.Outline))
	}
	return c, true
}

// PxAt is the place in the photo that lies along mm from the cane's base on
// its centre line; the nearer end beyond the ends, false without a line.
func (c *Cane) PxAt(along float64) (Point, bool) {
	n := min(len(c.CentreLine), len(c.AlongMM))
	if n == 0 {
		return Point{}, false
	}
	if along <= c.AlongMM[0] {
		return c.CentreLine[0], true
	}
	for i := 1; i < n; i++ {
		a, b := c.AlongMM[i-1], c.AlongMM[i]
		if along <= b && b > a {
			t := (along - a) / (b - a)
			p, q := c.CentreLine[i-1], c.CentreLine[i]
			return Point{p[0] + t*(q[0]-p[0]), p[1] + t*(q[1]-p[1])}, true
		}
	}
	return c.CentreLine[n-1], true
}

// NearestOn gives the place on the cane's centre line that is nearest to a
// pixel, in mm from the base, and how many pixels it's away; false without a
// line. It turns a tap into a node's place.
func (c *Cane) NearestOn(px Point) (along, awayPx float64, ok bool) {
	n := min(len(c.CentreLine), len(c.AlongMM))
	if n == 0 || !finite(px[0]) || !finite(px[1]) {
		return 0, 0, false
	}
	along, awayPx = c.AlongMM[0], math.Hypot(px[0]-c.CentreLine[0][0], px[1]-c.CentreLine[0][1])
	for i := 1; i < n; i++ {
		p, q := c.CentreLine[i-1], c.CentreLine[i]
		dx, dy := q[0]-p[0], q[1]-p[1]
		l2 := dx*dx + dy*dy
		if l2 == 0 {
			continue
		}
		t := ((px[0]-p[0])*dx + (px[1]-p[1])*dy) / l2
		t = math.Max(0, math.Min(1, t))
		if d := math.Hypot(px[0]-p[0]-t*dx, px[1]-p[1]-t*dy); d < awayPx {
			awayPx = d
			along = c.AlongMM[i-1] + t*(c.AlongMM[i]-c.AlongMM[i-1])
		}
	}
	return along, awayPx, true
}

// NodeAt makes a node of a place that a person tapped: on the centre line,
// with full confidence. EInvalid when the tap lies more than withinPx pixels
// off the cane.
func (c *Cane) NodeAt(px Point, withinPx float64, side string) (Node, error) {
	along, away, ok := c.NearestOn(px)
	if !ok || away > withinPx {
		return Node{}, Errorf(EInvalid, "that place isn't on cane %d: tap nearer to its middle line, or zoom in first.", c.ID)
	}
	if side == "" {
		side = "unknown"
	}
	on, _ := c.PxAt(along)
	return Node{Px: on, AlongMM: along, Side: side, Confidence: 1}, nil
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
