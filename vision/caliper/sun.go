package caliper

import (
	"math"
	"slices"
)

// sun finds where the sun stands: each cane whose edges were seen tells it by
// how much of it is lit. Canes whose rim was missed, or taken together with
// something beside it, are outvoted. Fewer than few canes don't tell.
func (l *Light) sun(cs []*Course, few int) {
	var turns []float64
	for _, c := range cs {
		var t []float64
		for i := range c.bands {
			// Where less lies in the shade than ever does, a rim was missed.
			if cr, whole, _, ok := l.crescent(c, &c.bands[i]); ok && whole/cr.share > wholeOf(0, cr.limb) {
				k := int(cr.mid)
				t = append(t, l.From(c.pts[k][0])*turnOf(whole/cr.share, cr.limb)-c.view(k))
			}
		}
		if len(t) >= 2 {
			slices.Sort(t)
			turns = append(turns, t[len(t)/2])
		}
	}
	if len(turns) == 0 || len(turns) < few {
		return
	}
	slices.Sort(turns)
	l.turn, l.turned = (turns[(len(turns)-1)/2]+turns[len(turns)/2])/2, true
}

// crescent reads the lit part of one stretch of a cane. whole is the cane's own
// width there with the rim that was seen on the shaded side, over the course's;
// right tells that the course's right side is the shaded one.
func (l *Light) crescent(c *Course, b *band) (cr crescent, whole float64, right, ok bool) {
	k := int(b.mid)
	from := l.From(c.pts[k][0]) * c.toRight(k)
	if math.Abs(from) < upright {
		return crescent{}, 0, false, false
	}
	if cr, ok = b.crescent(from, c.blur); !ok {
		return crescent{}, 0, false, false
	}
	right = from < 0
	rim := c.rimL[k]
	if right {
		rim = c.rimR[k]
	}
	return cr, 1 + cr.edge + rim/(c.right[k]-c.left[k]), right, true
}

// view is how far to the right of the camera's axis the line of sight to a station
// runs, radians.
func (c *Course) view(k int) float64 { return math.Atan((c.pts[k][0] - c.cx) / c.m.FocalPx) }

// shaded gives the rims that the crescents of a cane ask for, and how far outside
// of the course the edges of the lit part lie, px; 0 where nothing is asked for.
func (l *Light) shaded(c *Course) shade {
	n := len(c.pts)
	ask := shade{left: make([]float64, n), right: make([]float64, n), lit: make([]float64, n)}
	if !l.turned {
		return ask
	}
	var mid, rim, edge []float64
	side := 0
	for i := range c.bands {
		if cr, _, r, ok := l.crescent(c, &c.bands[i]); ok {
			k := int(cr.mid)
			turn := l.From(c.pts[k][0]) * (l.turn + c.view(k))
			whole := wholeOf(min(max(turn, 0), mostTurn), cr.limb) * cr.share
			if !cr.dark {
				whole = 0 // a rim would show
			}
			mid, rim, edge = append(mid, cr.mid), append(rim, whole-cr.edge-1), append(edge, cr.edge)
			if r {
				side++
			} else {
				side--
			}
		}
	}
	if len(mid) < 2 || side == 0 {
		return ask
	}
	share, out := between(mid, middling(rim), n), between(mid, middling(edge), n)
	for i := range share {
		w := c.right[i] - c.left[i]
		if side > 0 {
			ask.right[i] = share[i] * w
		} else {
			ask.left[i] = share[i] * w
		}
		ask.lit[i] = out[i] * w
	}
	return ask
}

// upright is how much an edge must face to the side for the light's share to be
// told by the sun's place along the rows alone; mostTurn is the largest turn, beyond
// which hardly anything of a cane is lit.
const (
	upright  = 0.8
	mostTurn = 65 * math.Pi / 180
)

// missed tells whether a shaded rim that the crescent asks for wasn't seen, px.
func (par Params) missed(seen, asked, width float64) bool {
	return asked > max(1, 0.15*width) && asked < max(par.RimShare*width, par.RimPx) && (seen == 0 || math.Abs(seen-asked) > max(1, 0.2*width))
}
