package trace

import (
	"math"
	"slices"
)

// An end is one end of a ribbon: its place, the direction in which the ribbon
// would go on, and its width there.
type end struct {
	x, y, angle, width float64
}

// ending gives the first or last end of a ribbon, from the steps near it.
func (r *ribbon) ending(last bool) end {
	var tail []step
	for i := range r.steps {
		s := r.steps[i]
		if last {
			s = r.steps[len(r.steps)-1-i]
		}
		if s.seen {
			tail = append(tail, s)
		}
		if len(tail) == 8 {
			break
		}
	}
	slices.Reverse(tail) // oldest first, so that the newest weigh most
	e := end{x: tail[len(tail)-1].x, y: tail[len(tail)-1].y, angle: tail[0].angle}
	if !last {
		e.angle += math.Pi
	}
	if len(tail) >= 3 {
		e.angle = direction(tail, e.angle)
	}
	ws := make([]float64, len(tail))
	for i, s := range tail {
		ws[i] = s.width
	}
	slices.Sort(ws)
	e.width = ws[len(ws)/2]
	return e
}

// reversed gives the ribbon the other way round.
func (r *ribbon) reversed() ribbon {
	out := ribbon{steps: slices.Clone(r.steps)}
	slices.Reverse(out.steps)
	for i := range out.steps {
		out.steps[i].angle += math.Pi
	}
	return out
}

// joinCost says how badly two ends fit as one ribbon going on from a to b
// (b's direction pointing out of b's ribbon, towards a); infinite when not.
func (par Params) joinCost(a, b end, mm float64) float64 {
	gx, gy := b.x-a.x, b.y-a.y
	gap := math.Hypot(gx, gy)
	if gap*mm > 3*par.GapMM {
		return math.Inf(1)
	}
	turn := math.Abs(math.Remainder(a.angle-(b.angle+math.Pi), 2*math.Pi))
	most := 0.32
	if gap < 2*max(a.width, b.width) {
		most = 0.45 // the last steps before a stop are the least sure of their way
	}
	if turn > most {
		return math.Inf(1)
	}
	ratio := a.width / b.width
	if ratio < 0.5 || ratio > 2 {
		return math.Inf(1)
	}
	// How far each end's line misses the other end, sideways.
	missA := math.Abs(-gx*math.Sin(a.angle) + gy*math.Cos(a.angle))
	missB := math.Abs(gx*math.Sin(b.angle) - gy*math.Cos(b.angle))
	along := gx*math.Cos(a.angle) + gy*math.Sin(a.angle)
	if along < -3*a.width-20 {
		return math.Inf(1)
	}
	most = 0.45*max(a.width, b.width) + 0.1*gap + 1.5
	if missA > most || missB > most {
		return math.Inf(1)
	}
	return gap*mm/par.GapMM + 4*turn + 2*math.Abs(math.Log(ratio)) + (missA+missB)/most
}

// join puts ribbons together that go on from each other, best fit first.
func join(rs []ribbon, par Params, mmpx func(x, y float64) float64) []ribbon {
	type pair struct {
		i, j       int
		iEnd, jEnd bool
		cost       float64
	}
	rs = slices.Clone(rs)
	for range 400 {
		best := pair{cost: 4}
		ends := make([][2]end, len(rs))
		for i := range rs {
			ends[i] = [2]end{rs[i].ending(false), rs[i].ending(true)}
		}
		for i := range rs {
			for j := i + 1; j < len(rs); j++ {
				for _, ie := range []bool{false, true} {
					for _, je := range []bool{false, true} {
						a, b := ends[i][bit(ie)], ends[j][bit(je)]
						if c := par.joinCost(a, b, mmpx(a.x, a.y)); c < best.cost {
							best = pair{i, j, ie, je, c}
						}
					}
				}
			}
		}
		if best.cost >= 4 {
			break
		}
		a, b := rs[best.i], rs[best.j]
		if !best.iEnd {
			a = a.reversed()
		}
		if best.jEnd {
			b = b.reversed()
		}
		merged := weld(a, b)
		rs[best.i] = merged
		rs = slices.Delete(rs, best.j, best.j+1)
	}
	return rs
}

func bit(b bool) int {
	if b {
		return 1
	}
	return 0
}

// weld puts b behind a. Where they overlap, b's part is dropped; where there
// is a gap, unseen steps bridge it.
func weld(a, b ribbon) ribbon {
	last := a.steps[len(a.steps)-1]
	k := 0
	for k < len(b.steps)-1 {
		s := b.steps[k]
		if (s.x-last.x)*math.Cos(last.angle)+(s.y-last.y)*math.Sin(last.angle) > 2 {
			break
		}
		k++
	}
	out := ribbon{steps: slices.Clone(a.steps)}
	next := b.steps[k]
	gap := math.Hypot(next.x-last.x, next.y-last.y)
	n := int(gap / 9)
	for i := 1; i < n; i++ {
		t := float64(i) / float64(n)
		out.steps = append(out.steps, step{x: last.x + t*(next.x-last.x), y: last.y + t*(next.y-last.y),
			angle: math.Atan2(next.y-last.y, next.x-last.x), width: last.width + t*(next.width-last.width)})
	}
	out.steps = append(out.steps, b.steps[k:]...)
	return out
}
