package trace

import (
	"math"
	"slices"
	"sync"

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

// atOnce is how many ribbons are followed at a time, from seeds at least apart
// px from each other or across each other. Both are fixed, so that what is found
// doesn't depend on the number of processors.
const atOnce, apart = 8, 60

func ribbons(p *photo.Photo, m *scale.Map, seeds []wood.Seed, par Params) []ribbon {
	f := &follower{c: newCanvas(p), par: par, mmpx: m.At}
	cov := newCover(p.Width, p.Height)
	var out []ribbon
	var batch, waiting []wood.Seed
	offer := func(s wood.Seed) {
		switch {
		case cov.at(s.X, s.Y, s.Angle) != 0:
		case len(batch) == atOnce || slices.ContainsFunc(batch, func(o wood.Seed) bool {
			return math.Hypot(o.X-s.X, o.Y-s.Y) < apart && math.Abs(math.Sin(o.Angle-s.Angle)) < 0.5
		}):
			waiting = append(waiting, s)
		default:
			batch = append(batch, s)
		}
	}
	for len(seeds) > 0 || len(waiting) > 0 {
		batch = batch[:0]
		before := waiting
		waiting = nil
		for _, s := range before {
			offer(s)
		}
		for len(seeds) > 0 && len(batch) < atOnce && len(waiting) < 8*atOnce {
			offer(seeds[0])
			seeds = seeds[1:]
		}
		firsts, rs := make([]step, len(batch)), make([]ribbon, len(batch))
		var wg sync.WaitGroup
		for i, s := range batch {
			wg.Go(func() {
				if st, ok := f.start(s.X, s.Y, s.Angle, s.Width); ok && cov.at(st.x, st.y, st.angle) == 0 {
					firsts[i], rs[i] = st, bothWays(st, f.run)
				}
			})
		}
		wg.Wait()
		for i := range rs {
			r, st := &rs[i], firsts[i]
			if len(r.steps) == 0 || cov.at(st.x, st.y, st.angle) != 0 {
				continue
			}
			px, seen := r.length()
			if px*m.At(st.x, st.y) < par.MinLengthMM || seen < 0.6 {
				cov.mark(&ribbon{steps: []step{st}}, tried)
				continue
			}
			if cov.holds(r) {
				cov.mark(r.about(st, 5), tried) // beside what is followed already
				continue
			}
			out = append(out, *r)
			cov.mark(r, int32(len(out)))
		}
	}
	return out
}
