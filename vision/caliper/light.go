package caliper

import (
	"math"
	"slices"
)

// A Light is the side from which all canes of a photo are lit: the sun is the
// same for all of them. Under a cloudy sky, or with the sun behind the camera,
// neither side is darker, and a rim in the shade can't be.
type Light struct {
	// From is the direction of the light along the picture's rows: 1 where it
	// comes from the right, -1 from the left, 0 from neither or where canes
	// disagree.
	From float64
}

// LightOf compares the brightness of the canes' right and left parts.
func LightOf(cs []*Course) Light {
	var all []float64
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
			all, par = append(all, d[len(d)/2]), c.par
		}
	}
	if len(all) == 0 {
		return Light{}
	}
	sum, size := 0.0, 0.0
	for _, a := range all {
		sum, size = sum+a, size+math.Abs(a)
	}
	if size < par.LitMore*float64(len(all)) || math.Abs(sum) < par.LitAlike*size {
		return Light{}
	}
	return Light{From: math.Copysign(1, sum)}
}

// toRight is how far to the right in the picture the cane's right side faces, -1
// to 1: the normal of the edge that is on the right of somebody who walks
// from base to tip.
func (c *Course) toRight(i int) float64 { return -math.Sin(angleAt(c.pts, i)) }

// allow gives the rims that can be shade in this light, px: those on the side
// that the light doesn't reach.
func (l Light) allow(c *Course) (left, right []float64) {
	left, right = make([]float64, len(c.pts)), make([]float64, len(c.pts))
	for i := range c.pts {
		away := -l.From * c.toRight(i) // of the right side
		if away > sideways {
			right[i] = c.rimR[i]
		}
		if away < -sideways {
			left[i] = c.rimL[i]
		}
	}
	return left, right
}

// sideways is how much an edge must face away from the light for a rim to be in
// the shade: level canes have an upper and a lower side, and which of these is
// lit isn't known from the rows.
const sideways = 0.3
