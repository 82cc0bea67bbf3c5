package trace

import (
	"math"
	"slices"

	"nodespan/vision/wood"
)

// A field is the likeness to wood, on which canes are followed, and which places
// are already known to be some cane's wood.
type field struct {
	w, h int
	odds [256]float32 // log odds of wood that a value stands for, bounded
	like []uint8
	// v has the log odds in whole numbers, or taken.
	v       []int16
	claimed []int // places that are taken
}

const (
	// perOdds is how many whole numbers of a field's v a unit of log odds has.
	perOdds = 256
	// taken marks a place that is some cane's.
	taken = math.MinInt16
)

// newField makes the field; log odds count as at most most.
func newField(like *wood.Likeness, most float64) *field {
	f := &field{w: like.W, h: like.H, like: like.Values(), v: make([]int16, like.W*like.H)}
	var whole [256]int16
	for i := range f.odds {
		f.odds[i] = float32(max(-most, min(most, like.Odds(uint8(i)))))
		whole[i] = int16(math.Round(perOdds * float64(f.odds[i])))
	}
	for i, q := range f.like {
		f.v[i] = whole[q]
	}
	return f
}

// release gives all that was claimed back.
func (f *field) release() {
	for _, k := range f.claimed {
		f.v[k] = int16(math.Round(perOdds * float64(f.odds[f.like[k]])))
	}
	f.claimed = f.claimed[:0]
}

// A crossCut is what lies across an expected direction, averaged along it: the
// log odds of what is nobody's yet, and how much of it is.
type crossCut struct {
	half int
	// Running integrals over the distance across, of the odds of what is
	// nobody's and of how much that is.
	sum, free []float64
	raw       []int32 // the odds' sum at each distance, and how many they are
}

// cut averages rows of length cells along angle about a place; half is how many
// cells it reaches to each side. Each sample is the nearest cell's. Its slices
// are used again by the next cut of c.
func (f *field) cut(c *crossCut, x, y, angle, length float64, half int) {
	n := 2*half + 1
	c.half = half
	c.raw = slices.Grow(c.raw[:0], 2*n)[:2*n]
	clear(c.raw)
	dx, dy := math.Cos(angle), math.Sin(angle)
	rows := max(3, int(length))
	reach := float64(half) + length/2 + 2
	within := x > reach && y > reach && x < float64(f.w)-reach && y < float64(f.h)-reach
	stepX, stepY := int(-dy*fixed), int(dx*fixed)
	for r := range rows {
		t := (float64(r)/float64(rows-1) - 0.5) * length
		px := int((x + t*dx + float64(half)*dy + 0.5) * fixed)
		py := int((y + t*dy - float64(half)*dx + 0.5) * fixed)
		for i := 0; i < 2*n; i += 2 {
			a, b := px>>16, py>>16
			px, py = px+stepX, py+stepY
			if !within && (a < 0 || b < 0 || a >= f.w || b >= f.h) {
				continue
			}
			if q := f.v[b*f.w+a]; q != taken {
				o := c.raw[i : i+2 : i+2]
				o[0] += int32(q)
				o[1]++
			}
		}
	}
	c.sum, c.free = slices.Grow(c.sum[:0], n+1)[:n+1], slices.Grow(c.free[:0], n+1)[:n+1]
	c.sum[0], c.free[0] = 0, 0
	per := 1 / float64(rows)
	for i := range n {
		c.sum[i+1] = c.sum[i] + float64(c.raw[2*i])*(per/perOdds)
		c.free[i+1] = c.free[i] + float64(c.raw[2*i+1])*per
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
func (f *field) claim(t []step) {
	for i, s := range t {
		if !s.seen {
			continue
		}
		r := 0.5*s.width + 0.3
		reach := 0.0
		if i+1 < len(t) {
			reach = math.Hypot(t[i+1].x-s.x, t[i+1].y-s.y)
		}
		dx, dy := math.Cos(s.angle), math.Sin(s.angle)
		for t := 0.0; t <= reach; t += 0.6 {
			for v := -r; v <= r; v += 0.6 {
				a, b := int(math.Round(s.x+t*dx-v*dy)), int(math.Round(s.y+t*dy+v*dx))
				if a >= 0 && b >= 0 && a < f.w && b < f.h && f.v[b*f.w+a] != taken {
					f.v[b*f.w+a] = taken
					f.claimed = append(f.claimed, b*f.w+a)
				}
			}
		}
	}
}
