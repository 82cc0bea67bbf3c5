package trace

import (
	"math"

	"nodespan/vision/photo"
	"nodespan/vision/scale"
	"nodespan/vision/wood"
)

// A field is the likeness to wood on a grid about a millimetre wide, on which
// canes are followed, and whose wood each place is already known to be.
type field struct {
	w, h int
	k    float64   // px of the photo to a cell's side
	v    []float32 // log odds of wood, bounded
	own  []uint16  // whose wood, 0: nobody's yet
}

// Cell is how many pixels of the photo make the side of a cell of the grid on
// which recognised wood is followed.
func (par Params) Cell(m *scale.Map) int {
	return max(1, int(par.CellMM/m.At(m.Centre[0], m.Centre[1])))
}

// newField makes the field with cells of k px to a side.
func newField(like *wood.Likeness, k int, most float64) *field {
	f := &field{w: like.W / k, h: like.H / k, k: float64(k)}
	f.v = make([]float32, f.w*f.h)
	f.own = make([]uint16, f.w*f.h)
	var odds [256]float32
	for i := range odds {
		odds[i] = float32(max(-most, min(most, like.Odds(uint8(i)))))
	}
	share := 1 / float32(k*k)
	for y := range f.h {
		row := f.v[y*f.w : (y+1)*f.w]
		for j := range k {
			src := like.V[(y*k+j)*like.W:]
			for x := range row {
				for _, q := range src[x*k : x*k+k] {
					row[x] += odds[q] * share
				}
			}
		}
	}
	return f
}

// cells turns a place of the photo into one of the field.
func (f *field) cells(x, y float64) (float64, float64) {
	o := (f.k - 1) / 2
	return (x - o) / f.k, (y - o) / f.k
}

// photo turns a place of the field into one of the photo.
func (f *field) photo(x, y float64) (float64, float64) {
	return photo.Whole(x, f.k), photo.Whole(y, f.k)
}

// A crossCut is what lies across an expected direction, averaged along it: the
// log odds of what is nobody's yet, and how much of it is.
type crossCut struct {
	half int
	// Running integrals over the distance across, of the odds of what is
	// nobody's and of how much that is.
	sum, free []float64
}

// cut averages rows of length cells along angle about a place; half is how many
// cells it reaches to each side. Its slices are used again by the next cut of c.
func (f *field) cut(c *crossCut, x, y, angle, length float64, half int) {
	n := 2*half + 1
	c.half = half
	c.sum, c.free = c.sum[:0], c.free[:0]
	for range n + 1 {
		c.sum, c.free = append(c.sum, 0), append(c.free, 0)
	}
	dx, dy := math.Cos(angle), math.Sin(angle)
	rows := max(3, int(length))
	for r := range rows {
		t := (float64(r)/float64(rows-1) - 0.5) * length
		px, py := x+t*dx+float64(half)*dy, y+t*dy-float64(half)*dx
		for i := range n {
			if px >= 0 && py >= 0 && px < float64(f.w-1) && py < float64(f.h-1) {
				a, b := int(px), int(py)
				fx, fy := float32(px-float64(a)), float32(py-float64(b))
				k := b*f.w + a
				if f.own[k] == 0 && f.own[k+1] == 0 && f.own[k+f.w] == 0 && f.own[k+f.w+1] == 0 {
					top := f.v[k] + fx*(f.v[k+1]-f.v[k])
					low := f.v[k+f.w] + fx*(f.v[k+f.w+1]-f.v[k+f.w])
					c.sum[i+1] += float64(top + fy*(low-top))
					c.free[i+1]++
				}
			}
			px, py = px-dy, py+dx
		}
	}
	for i := range n {
		c.sum[i+1] = c.sum[i] + c.sum[i+1]/float64(rows)
		c.free[i+1] = c.free[i] + c.free[i+1]/float64(rows)
	}
}

// at is a running integral's value at a distance across, interpolated.
func (c *crossCut) at(v []float64, u float64) float64 {
	u = max(0, min(float64(len(v)-1), u+float64(c.half)+0.5))
	i := min(int(u), len(v)-2)
	return v[i] + (u-float64(i))*(v[i+1]-v[i])
}

// over gives the mean log odds between two distances across of what is
// nobody's, and which share of the stretch that is.
func (c *crossCut) over(a, b float64) (odds, free float64) {
	f := c.at(c.free, b) - c.at(c.free, a)
	if f < 1e-6 {
		return 0, 0
	}
	return (c.at(c.sum, b) - c.at(c.sum, a)) / f, f / (b - a)
}

// claim makes a track's wood its own.
func (f *field) claim(t []step, id uint16) {
	for i, s := range t {
		if !s.seen {
			continue
		}
		x, y := f.cells(s.x, s.y)
		r := 0.5*s.width/f.k + 0.3
		reach := 0.0
		if i+1 < len(t) {
			reach = math.Hypot(t[i+1].x-s.x, t[i+1].y-s.y) / f.k
		}
		dx, dy := math.Cos(s.angle), math.Sin(s.angle)
		for t := 0.0; t <= reach; t += 0.6 {
			for v := -r; v <= r; v += 0.6 {
				a, b := int(math.Round(x+t*dx-v*dy)), int(math.Round(y+t*dy+v*dx))
				if a >= 0 && b >= 0 && a < f.w && b < f.h {
					f.own[b*f.w+a] = id
				}
			}
		}
	}
}
