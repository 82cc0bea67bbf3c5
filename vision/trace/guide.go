package trace

import (
	"cmp"
	"context"
	"math"
	"slices"

	"nodespan/assess"
	"nodespan/vision/photo"
	"nodespan/vision/scale"
)

// Guide follows one cane between two places that a person tapped, base first.
//
// Between the taps, cross-sections are taken at even steps over a corridor
// about their connecting line. Each section proposes ribbons; the path of
// least cost through them, from tap to tip, is the cane (dynamic programming;
// sections without a fitting ribbon are bridged at a price). The error is an
// assess.Error of code EInvalid that says why nothing could be followed.
func Guide(ctx context.Context, p *photo.Photo, m *scale.Map, base, tip assess.Point, par Params) (*Line, error) {
	for _, q := range []assess.Point{base, tip} {
		if !(q[0] >= 0 && q[1] >= 0 && q[0] < float64(p.Width) && q[1] < float64(p.Height)) {
			return nil, assess.Errorf(assess.EInvalid, "the tap at %.0f, %.0f lies outside the photo: tap base and tip on the picture", q[0], q[1])
		}
	}
	length := math.Hypot(tip[0]-base[0], tip[1]-base[1])
	mm := m.At((base[0]+tip[0])/2, (base[1]+tip[1])/2)
	if length*mm < 40 {
		return nil, assess.Errorf(assess.EInvalid, "base and tip are only %.0f mm apart: tap the two ends of the cane", length*mm)
	}
	angle := math.Atan2(tip[1]-base[1], tip[0]-base[0])
	c := newCanvas(p)
	step := max(par.StepMM/mm, 5)
	n := int(length/step) + 1
	half := int(0.13*length) + int(24/mm)
	half = min(half, int(160/mm))
	type node struct {
		u, width, cost float64
		row, from      int
	}
	var nodes []node
	rows := make([][]int, n)
	var s section
	for r := range n {
		if r%32 == 0 && ctx.Err() != nil {
			return nil, ctx.Err()
		}
		t := length * float64(r) / float64(n-1)
		// Near the taps the cane can't be far from the line.
		reach := min(float64(half), 8/mm+0.35*min(t, length-t))
		c.cut(&s, base[0]+t*math.Cos(angle), base[1]+t*math.Sin(angle), angle, max(0.7*par.WindowMM/mm, 10), int(reach+12/mm))
		bs := s.bands(max(par.MinWidthMM/mm, 2), par.MaxWidthMM/mm, par.MinEdge*0.6)
		bs = slices.DeleteFunc(bs, func(b band) bool { return math.Abs(b.mid) > reach })
		slices.SortFunc(bs, func(a, b band) int { return cmp.Compare(b.score, a.score) })
		for _, b := range bs[:min(len(bs), 30)] {
			rows[r] = append(rows[r], len(nodes))
			nodes = append(nodes, node{u: b.mid, width: b.width, cost: math.Inf(1), row: r, from: -1})
			k := &nodes[len(nodes)-1]
			own := -math.Log(1+min(b.score, 8)/par.MinContrast) + 0.35
			if r < 8 {
				k.cost = own + 0.5*float64(r) + math.Pow(b.mid*mm/8, 2)
			}
			for back := 1; back <= 10 && back <= r; back++ {
				for _, j := range rows[r-back] {
					q := nodes[j]
					slope := (b.mid - q.u) / (step * float64(back))
					w := math.Log(b.width / q.width)
					v := q.cost + own + 0.55*float64(back-1) + 8*slope*slope + 5*w*w
					if v < k.cost {
						k.cost, k.from = v, j
					}
				}
			}
		}
	}
	best, at := math.Inf(1), -1
	for r := max(0, n-8); r < n; r++ {
		for _, j := range rows[r] {
			q := nodes[j]
			if v := q.cost + 0.5*float64(n-1-r) + math.Pow(q.u*mm/8, 2); v < best {
				best, at = v, j
			}
		}
	}
	var path []node
	for at >= 0 {
		path = append(path, nodes[at])
		at = nodes[at].from
	}
	if len(path) < 4 || len(path)*4 < n {
		return nil, assess.Errorf(assess.EInvalid, "no cane can be followed between the two taps: tap nearer to its middle line, or measure it by hand")
	}
	slices.Reverse(path)
	l := &Line{Guided: true}
	for i, q := range path {
		if i > 0 {
			// Bridged rows.
			for r := path[i-1].row + 1; r < q.row; r++ {
				f := float64(r-path[i-1].row) / float64(q.row-path[i-1].row)
				l.push(base, angle, length*float64(r)/float64(n-1), path[i-1].u+f*(q.u-path[i-1].u), math.NaN(), q.row-path[i-1].row < 4)
			}
		}
		l.push(base, angle, length*float64(q.row)/float64(n-1), q.u, q.width, true)
	}
	for i := range l.Width {
		if math.IsNaN(l.Width[i]) && l.Seen[i] {
			l.Width[i] = l.Width[i-1]
		}
	}
	return l, nil
}

func (l *Line) push(base assess.Point, angle, t, u, width float64, seen bool) {
	l.Points = append(l.Points, assess.Point{base[0] + t*math.Cos(angle) - u*math.Sin(angle), base[1] + t*math.Sin(angle) + u*math.Cos(angle)})
	l.Width = append(l.Width, width)
	l.Seen = append(l.Seen, seen)
}
