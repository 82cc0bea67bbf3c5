package render

import (
	"fmt"
	"math"
)

// path rounds a polyline's corners (corner cutting, three times) and gives
// points about step apart.
func (g *grower) path(pts []vec, step float64) []vec { return roundPath(pts, step) }

func roundPath(pts []vec, step float64) []vec {
	for k := 0; k < 3 && len(pts) > 2; k++ {
		out := []vec{pts[0]}
		for i := 0; i+1 < len(pts); i++ {
			out = append(out, pts[i].to(pts[i+1], 0.25), pts[i].to(pts[i+1], 0.75))
		}
		pts = append(out, pts[len(pts)-1])
	}
	out := []vec{pts[0]}
	left := step
	for i := 0; i+1 < len(pts); i++ {
		a, b := pts[i], pts[i+1]
		l := b.sub(a).len()
		for l >= left && l > 0 {
			a = a.to(b, left/l)
			out = append(out, a)
			l -= left
			left = step
		}
		left -= l
	}
	if last := pts[len(pts)-1]; out[len(out)-1].sub(last).len() > step*0.3 || len(out) < 2 {
		out = append(out, last)
	}
	return out
}

// tubeOf makes a tube along pts with a radius by the place along it.
func (g *grower) tubeOf(pts []vec, radius func(s, length float64) float64, m material, tint rgb) *tube {
	t := newTube(pts, radius, m, tint)
	t.seed = g.seed()
	t.shadow = g.back == 0
	return t
}

func newTube(pts []vec, radius func(s, length float64) float64, m material, tint rgb) *tube {
	t := &tube{mat: m, tint: tint, ell: 1, axis: vec{1, 0, 0}, shadow: true}
	s := make([]float64, len(pts))
	for i := 1; i < len(pts); i++ {
		s[i] = s[i-1] + pts[i].sub(pts[i-1]).len()
	}
	for i, p := range pts {
		t.st = append(t.st, station{p: p, s: s[i], r: radius(s[i], s[len(s)-1])})
	}
	return t
}

// addWood puts a tube into the scene and, in the row itself, on the truth's list.
func (g *grower) addWood(t *tube) {
	g.s.tubes = append(g.s.tubes, t)
	if g.back == 0 && t.class != "" {
		t.name = fmt.Sprintf("w%02d", len(g.s.wood))
		g.s.wood = append(g.s.wood, t)
	}
}

// endCap closes a tube's far end with a cut face.
func (g *grower) endCap(t *tube, m material) {
	e := t.st[len(t.st)-1]
	g.s.beads = append(g.s.beads, bead{p: e.p, r: e.r * 0.98, mat: m, tint: rgb{0.34, 0.26, 0.17}, seed: t.seed, id: t.id})
}

// tie loops a band round wood and wire.
func (g *grower) tie(t *tube, s float64) {
	if g.back != 0 {
		return
	}
	c, r := t.at(s), t.radiusAt(s)
	tint := pick(g.r, rgb{0.05, 0.25, 0.08}, rgb{0.05, 0.2, 0.3}, rgb{0.5, 0.5, 0.45}, rgb{0.3, 0.22, 0.12})
	var pts []vec
	for a := 0.0; a < 2.3*math.Pi; a += 0.4 {
		pts = append(pts, c.add(vec{a * 0.5, math.Cos(a) * (r + 1.2), math.Sin(a)*(r+2) - 1}))
	}
	pts = append(pts, c.add(vec{between(g.r, 2, 12), -r - 3, between(g.r, 6, 16)}))
	g.s.tubes = append(g.s.tubes, g.tubeOf(roundPath(pts, 1.5), func(_, _ float64) float64 { return 0.9 }, matTie, tint))
}

// index gives the segment that holds s, and how far along it.
func (t *tube) index(s float64) (int, float64) {
	lo, hi := 0, len(t.st)-1
	for hi-lo > 1 {
		if m := (lo + hi) / 2; t.st[m].s <= s {
			lo = m
		} else {
			hi = m
		}
	}
	d := t.st[hi].s - t.st[lo].s
	if d <= 0 {
		return lo, 0
	}
	return lo, clamp((s-t.st[lo].s)/d, 0, 1)
}

func (t *tube) at(s float64) vec {
	i, f := t.index(s)
	return t.st[i].p.to(t.st[min(i+1, len(t.st)-1)].p, f)
}

func (t *tube) radiusAt(s float64) float64 {
	i, f := t.index(s)
	j := min(i+1, len(t.st)-1)
	return t.st[i].r + (t.st[j].r-t.st[i].r)*f
}

func (t *tube) dirAt(s float64) vec {
	i, _ := t.index(s)
	return t.tangent(i)
}

// tangent is the direction at station i, from its neighbours.
func (t *tube) tangent(i int) vec {
	a, b := max(i-1, 0), min(i+1, len(t.st)-1)
	return t.st[b].p.sub(t.st[a].p).unit()
}

// acrossView gives, for a station seen along view (unit), the direction in
// which its silhouette lies, the direction towards the viewer square to the
// axis, and half the silhouette's width: the support of the elliptic
// cross-section in that direction.
func (t *tube) acrossView(i int, view vec) (side, front vec, half float64) {
	d := t.tangent(i)
	side = d.cross(view)
	if side.len() < 1e-3 { // seen end on
		side = d.cross(vec{0.3, 0.5, 0.8})
	}
	side = side.unit()
	front = side.cross(d)
	if front.dot(view) > 0 {
		front = front.mul(-1)
	}
	return side, front, t.halfWidth(i, d, side)
}

func (t *tube) halfWidth(i int, d, side vec) float64 {
	r := t.st[i].r
	if t.ell == 1 {
		return r
	}
	// Axes with mean r and ratio ell, the major one along t.axis.
	minor := 2 * r / (1 + t.ell)
	major := minor * t.ell
	e1 := t.axis.sub(d.mul(t.axis.dot(d))).unit()
	e2 := d.cross(e1)
	return math.Hypot(major*e1.dot(side), minor*e2.dot(side))
}
