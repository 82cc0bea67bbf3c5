package scale

import (
	"math"
	"slices"
)

// A lattice is a set of corners with their integer coordinates.
type lattice struct {
	at map[[2]int]int // grid coordinate to index of the corner
}

func (l *lattice) bounds() (i0, i1, j0, j1 int) {
	first := true
	for k := range l.at {
		if first {
			i0, i1, j0, j1 = k[0], k[0], k[1], k[1]
			first = false
		}
		i0, i1 = min(i0, k[0]), max(i1, k[0])
		j0, j1 = min(j0, k[1]), max(j1, k[1])
	}
	return
}

// cells is a coarse grid over the picture for finding corners near a place.
type cells struct {
	w, h  int     // cells
	first []int32 // of each cell, where its corners begin in at; one more at the end
	at    []int32
	cs    []corner
}

// cellPx is the side of a cell, px.
const cellPx = 24

func newCells(cs []corner, w, h int) *cells {
	c := &cells{w: w/cellPx + 1, h: h/cellPx + 1, cs: cs, at: make([]int32, len(cs))}
	c.first = make([]int32, c.w*c.h+1)
	cell := func(p corner) int { return int(p.y)/cellPx*c.w + int(p.x)/cellPx }
	for _, p := range cs {
		c.first[cell(p)+1]++
	}
	for i := range c.w * c.h {
		c.first[i+1] += c.first[i]
	}
	next := slices.Clone(c.first)
	for i, p := range cs {
		k := cell(p)
		c.at[next[k]] = int32(i)
		next[k]++
	}
	return c
}

// each calls f with every corner within r of (x, y).
func (c *cells) each(x, y, r float64, f func(i int, d float64)) {
	x0, x1 := max(0, int((x-r)/cellPx)), min(c.w-1, int((x+r)/cellPx))
	for gy := max(0, int((y-r)/cellPx)); gy <= min(c.h-1, int((y+r)/cellPx)); gy++ {
		if x0 > x1 {
			return
		}
		for _, i := range c.at[c.first[gy*c.w+x0]:c.first[gy*c.w+x1+1]] {
			dx, dy := c.cs[i].x-x, c.cs[i].y-y
			if d := dx*dx + dy*dy; d <= r*r {
				f(int(i), math.Sqrt(d))
			}
		}
	}
}

func angleBetween(a, b float64) float64 {
	d := math.Abs(math.Mod(a-b, math.Pi))
	return min(d, math.Pi-d)
}

// opposite tells whether two corners have the same pair of axes and opposite
// polarity, as neighbours on a checkerboard do.
func opposite(a, b corner) bool {
	const tol = 0.35
	return angleBetween(a.axis[0], b.axis[1]) < tol && angleBetween(a.axis[1], b.axis[0]) < tol
}

func alike(a, b corner) bool {
	const tol = 0.35
	return angleBetween(a.axis[0], b.axis[0]) < tol && angleBetween(a.axis[1], b.axis[1]) < tol
}

// grow builds the largest lattice from one seed corner. maxStep is the largest
// distance between neighbours.
func grow(c *cells, seed int, maxStep float64) *lattice {
	s := c.cs[seed]
	// The first step along each axis is to the nearest corner of opposite
	// polarity in that direction.
	var step [2][2]float64
	for k := range 2 {
		dx, dy := math.Cos(s.axis[k]), math.Sin(s.axis[k])
		best := math.Inf(1)
		c.each(s.x, s.y, maxStep, func(i int, d float64) {
			if i == seed || d < 3 || d >= best || !opposite(s, c.cs[i]) {
				return
			}
			px, py := c.cs[i].x-s.x, c.cs[i].y-s.y
			along, across := px*dx+py*dy, math.Abs(-px*dy+py*dx)
			if across > 0.2*math.Abs(along) {
				return
			}
			best = d
			sign := 1.0
			if along < 0 {
				sign = -1
			}
			step[k] = [2]float64{sign * px, sign * py}
		})
		if math.IsInf(best, 1) {
			return nil
		}
	}
	if r := math.Hypot(step[0][0], step[0][1]) / math.Hypot(step[1][0], step[1][1]); r < 0.4 || r > 2.5 {
		return nil
	}
	l := &lattice{at: map[[2]int]int{{0, 0}: seed}}
	used := map[int]bool{seed: true}
	queue := [][2]int{{0, 0}}
	for len(queue) > 0 && len(l.at) < 400 {
		g := queue[0]
		queue = queue[1:]
		p := c.cs[l.at[g]]
		for k := range 2 {
			for _, sg := range []int{-1, 1} {
				n := g
				n[k] += sg
				if _, ok := l.at[n]; ok {
					continue
				}
				v := step[k]
				// The local step, from the neighbour on the other side, follows
				// perspective; the seed's step serves where there is none.
				back := g
				back[k] -= sg
				if b, ok := l.at[back]; ok {
					q := c.cs[b]
					v = [2]float64{float64(sg) * (p.x - q.x), float64(sg) * (p.y - q.y)}
				}
				x, y := p.x+float64(sg)*v[0], p.y+float64(sg)*v[1]
				tol := 0.28 * math.Hypot(v[0], v[1])
				best, at := tol, -1
				even := (n[0]+n[1])%2 == 0
				c.each(x, y, tol, func(i int, d float64) {
					if used[i] || d >= best {
						return
					}
					if even && alike(s, c.cs[i]) || !even && opposite(s, c.cs[i]) {
						best, at = d, i
					}
				})
				if at >= 0 {
					l.at[n] = at
					used[at] = true
					queue = append(queue, n)
				}
			}
		}
	}
	return l
}
