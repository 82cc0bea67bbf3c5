package trace

import (
	"math"
	"slices"

	"nodespan/vision/photo"
	"nodespan/vision/scale"
	"nodespan/vision/wood"
)

// cover remembers which places are taken by ribbons already followed.
type cover struct {
	w, h  int
	id    []int32
	angle []float32
}

const coverCell = 3

// tried marks places from which nothing new was found.
const tried = math.MaxInt32

func newCover(w, h int) *cover {
	c := &cover{w: w/coverCell + 1, h: h/coverCell + 1}
	c.id = make([]int32, c.w*c.h)
	c.angle = make([]float32, c.w*c.h)
	return c
}

func (c *cover) mark(r *ribbon, id int32) {
	for _, s := range r.steps {
		if !s.seen {
			continue
		}
		half := 0.5*s.width + 2
		dx, dy := math.Cos(s.angle), math.Sin(s.angle)
		for v := -half; v <= half; v += coverCell * 0.7 {
			for t := -8.0; t <= 8; t += coverCell * 0.7 {
				i, j := int(s.x+t*dx-v*dy)/coverCell, int(s.y+t*dy+v*dx)/coverCell
				if i >= 0 && j >= 0 && i < c.w && j < c.h {
					c.id[j*c.w+i] = id
					c.angle[j*c.w+i] = float32(s.angle)
				}
			}
		}
	}
}

func (c *cover) at(x, y, angle float64) int32 {
	i, j := int(x)/coverCell, int(y)/coverCell
	if i < 0 || j < 0 || i >= c.w || j >= c.h || c.id[j*c.w+i] == 0 {
		return 0
	}
	if math.Abs(math.Sin(float64(c.angle[j*c.w+i])-angle)) > 0.3 {
		return 0
	}
	return c.id[j*c.w+i]
}

// holds tells whether a ribbon runs mostly on ribbons that are marked already:
// the same wood again.
func (c *cover) holds(r *ribbon) bool {
	taken := 0
	for _, q := range r.steps {
		if q.seen && c.at(q.x, q.y, q.angle) != 0 {
			taken++
		}
	}
	return float64(taken) > 0.5*float64(len(r.steps))
}

// about is the stretch of a ribbon so many steps to both sides of one.
func (r *ribbon) about(st step, reach int) *ribbon {
	i := slices.Index(r.steps, st)
	return &ribbon{steps: r.steps[max(0, i-reach):min(len(r.steps), i+reach+1)]}
}

func ribbons(p *photo.Photo, m *scale.Map, seeds []wood.Seed, par Params) []ribbon {
	f := &follower{c: newCanvas(p), par: par, mmpx: m.At}
	cov := newCover(p.Width, p.Height)
	var out []ribbon
	for _, s := range seeds {
		if cov.at(s.X, s.Y, s.Angle) != 0 {
			continue
		}
		st, ok := f.start(s.X, s.Y, s.Angle, s.Width)
		if !ok || cov.at(st.x, st.y, st.angle) != 0 {
			continue
		}
		r := bothWays(st, f.run)
		px, seen := r.length()
		if px*m.At(st.x, st.y) < par.MinLengthMM || seen < 0.6 {
			cov.mark(&ribbon{steps: []step{st}}, tried)
			continue
		}
		if cov.holds(&r) {
			cov.mark(r.about(st, 5), tried) // beside what is followed already
			continue
		}
		out = append(out, r)
		cov.mark(&r, int32(len(out)))
	}
	return out
}
