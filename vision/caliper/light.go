package caliper

import (
	"math"
	"slices"
)

// A Light says from which side the canes of a photo are lit: the sun is the same
// for all of them. Under a cloudy sky neither side is darker, and a rim in the
// shade can't be. The camera looks at each cane from another direction, up to 35
// degrees apart, so that with the sun before or behind it canes may be lit from
// the left on one side of the photo and from the right on the other: what they
// are lit by changes evenly along the picture's rows.
type Light struct {
	mid, half float64 // columns of the picture: middle of the canes, and how far they reach
	more      float64 // how much brighter the right side is than the left at mid, powers of two
	slope     float64 // how much that changes over half
	least     float64 // less isn't counted

	// turn is how far to the right the sun stands of straight behind the camera,
	// radians, as the canes tell whose both edges were seen; it is known where turned
	// is set.
	turn   float64
	turned bool
}

// LightOf compares the brightness of the canes' right and left parts.
func LightOf(cs []*Course) Light {
	var at, more []float64
	par := Params{}
	for _, c := range cs {
		var d []float64
		for i, s := range c.sections {
			if len(c.left) == 0 || c.foreign != nil && c.foreign(c.pts[i][0], c.pts[i][1]) {
				continue
			}
			l, r := c.left[i]-c.rimL[i], c.right[i]+c.rimR[i]
			if q, _ := s.across((l+r)/2, r-l); q != [5]float64{} {
				d = append(d, c.toRight(i)*(q[3]+q[4]-q[0]-q[1])/2)
			}
		}
		if len(d) > 20 {
			slices.Sort(d)
			at, more, par = append(at, c.pts[len(c.pts)/2][0]), append(more, d[len(d)/2]), c.par
		}
	}
	if len(at) == 0 {
		return Light{}
	}
	l := Light{mid: (slices.Max(at) + slices.Min(at)) / 2, half: max((slices.Max(at)-slices.Min(at))/2, 1), least: par.LitMore}
	// Least squares, the slope held near 0 as if one more cane at each end had
	// shown none.
	n, sx, sxx, sy, sxy := 0.0, 0.0, par.LitHold, 0.0, 0.0
	for i, a := range more {
		x := (at[i] - l.mid) / l.half
		n, sx, sxx, sy, sxy = n+1, sx+x, sxx+x*x, sy+a, sxy+a*x
	}
	l.slope = (n*sxy - sx*sy) / (n*sxx - sx*sx)
	l.more = (sy - l.slope*sx) / n
	sum, size := 0.0, 0.0
	for i, a := range more {
		sum, size = sum+a*math.Copysign(1, l.at(at[i])), size+math.Abs(a)
	}
	if size < par.LitMore*n || sum < par.LitAlike*size {
		return Light{}
	}
	l.sun(cs, par.CrescentFew)
	return l
}

// at gives how much brighter the right side of a cane at a column is.
func (l Light) at(x float64) float64 {
	if l.half == 0 {
		return 0
	}
	return l.more + l.slope*(x-l.mid)/l.half
}

// From is the direction of the light on a cane at a column of the picture: 1 where
// it comes from the right, -1 from the left, 0 where that can't be told.
func (l Light) From(x float64) float64 {
	if a := l.at(x); a != 0 && math.Abs(a) >= l.least {
		return math.Copysign(1, a)
	}
	return 0
}

// toRight is how far to the right in the picture the cane's right side faces, -1
// to 1: the normal of the edge that is on the right of somebody who walks
// from base to tip.
func (c *Course) toRight(i int) float64 { return -math.Sin(angleAt(c.pts, i)) }

// A shade is what of a cane lies beyond the sunlit part that its course took in.
type shade struct {
	left, right []float64 // rims outside of the course, px
	// told: the rim is told by how wide the lit part is and not by an edge of
	// its own; lit is how far outside of the course that part's own edge lies.
	told []bool
	lit  []float64
}

// allow gives the rims that can be shade in this light: those on the side that
// the light doesn't reach.
func (l Light) allow(c *Course) shade {
	out := shade{left: make([]float64, len(c.pts)), right: make([]float64, len(c.pts)), told: make([]bool, len(c.pts))}
	for i, q := range c.pts {
		away := -l.From(q[0]) * c.toRight(i) // of the right side
		if away > sideways {
			out.right[i] = c.rimR[i]
		}
		if away < -sideways {
			out.left[i] = c.rimL[i]
		}
	}
	ask := l.shaded(c)
	for i := range out.told {
		w := c.right[i] - c.left[i]
		for _, s := range []struct{ rim, ask []float64 }{{out.left, ask.left}, {out.right, ask.right}} {
			if c.par.missed(s.rim[i], s.ask[i], w) {
				s.rim[i], out.told[i] = s.ask[i], true
			}
		}
	}
	out.lit = ask.lit
	return out
}

// sideways is how much an edge must face away from the light for a rim to be in
// the shade: level canes have an upper and a lower side, and which of these is
// lit isn't known from the rows.
const sideways = 0.3
