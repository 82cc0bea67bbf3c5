package trace

import (
	"cmp"
	"math"
	"slices"

	"nodespan/vision/cores"
	"nodespan/vision/scale"
	"nodespan/vision/wood"
)

// A tracker follows bands of wood in a field, several suppositions at a time,
// since at a crossing the next few centimetres tell which way a cane went.
type tracker struct {
	f    *field
	m    *scale.Map
	par  Params
	odds float64 // what the recognised wood mostly has
}

// A guess is one supposition of where the cane went.
type guess struct {
	x, y, angle float64
	slow        float64 // its direction over a longer stretch
	width       float64
	own         float64 // evidence of this place alone
	total       float64 // of the whole way, less what bends and jumps cost
	hidden      float64 // mm since it was last seen
	from        *guess
}

// evidence says how much speaks for a band of width w cells at distance u: 1
// for wood between two bands of ground, about 0 for wood amid wood, less than 0
// for ground. What is known as another cane's wood says next to nothing.
func (t *tracker) evidence(c *crossCut, u, w float64) (value, free float64) {
	core := max(0.4*w, 0.5)
	in, free := c.over(u-core, u+core)
	if free < 0.05 {
		return -t.par.HiddenCost, 0
	}
	q := max(1.5, 0.35*w)
	edge := func(u, outward float64) float64 {
		a, b := u+outward*0.4, u+outward*(0.4+q)
		out, f := c.over(min(a, b), max(a, b))
		return max(0, min(1, (in-out)/(1.5*t.odds))) * min(f, free)
	}
	like := max(-1, min(1, in/t.odds)) * free
	sides := edge(u-w/2, -1) + edge(u+w/2, 1)
	return 0.45*like + 0.35*sides - 0.3*free - t.par.HiddenCost, free
}

// start finds the band at a seed.
func (t *tracker) start(s wood.Seed) (guess, bool) {
	x, y := s.X, s.Y
	mm := t.m.At(x, y)
	if !(mm > 0) || x < 2 || y < 2 || x > float64(t.f.w-3) || y > float64(t.f.h-3) {
		return guess{}, false
	}
	minW, maxW := max(t.par.MinWidthMM/mm, 1.2), t.par.MaxStrandMM/mm
	var best guess
	var c crossCut
	try := func(a, u, w float64, turned float64) bool {
		v, free := t.evidence(&c, u, w)
		v -= 0.02 * math.Abs(turned)
		if free <= 0.8 || v <= best.own {
			return false
		}
		best = guess{x: x - u*math.Sin(a), y: y + u*math.Cos(a), angle: a, slow: a, width: w, own: v}
		return true
	}
	for k, turn := range []float64{0, -0.12, 0.12} {
		if k > 0 && best.own < 0.5*t.par.MinStart {
			break // nothing here that a better direction would make clear
		}
		a := s.Angle + turn
		t.f.cut(&c, x, y, a, t.par.StartMM/mm, int(maxW)+4)
		bu, bw := 0.0, 0.0
		for w := minW; w <= maxW; w *= 1.3 {
			for u := -3.0; u <= 3; u++ {
				if try(a, u, w, turn) {
					bu, bw = u, w
				}
			}
		}
		if bw == 0 {
			continue
		}
		// Finer about the best.
		for _, k := range [...]float64{1 / 1.14, 1, 1.14} {
			for _, d := range [...]float64{-0.5, 0, 0.5} {
				if w := bw * k; w >= minW && w <= maxW {
					try(a, bu+d, w, turn)
				}
			}
		}
	}
	return best, best.own > t.par.MinStart
}

// mostSteps bounds one way: no cane is nine metres long.
const mostSteps = 1499

// run follows one way from a start, whose own step isn't among those it gives.
func (t *tracker) run(from guess, back bool) []step {
	if back {
		from.angle += math.Pi
		from.slow += math.Pi
	}
	from.total = 0
	root := &from
	beam := []*guess{root}
	top := root
	var next []*guess
	var c crossCut
	for range mostSteps {
		next = next[:0]
		for _, g := range beam {
			next = t.children(&c, g, next)
		}
		if len(next) == 0 {
			break
		}
		beam = t.keep(next, beam[:0])
		if beam[0].total > top.total {
			top = beam[0]
		}
		if beam[0].total < top.total-t.par.GiveUp {
			break
		}
	}
	var out []step
	for g := top; g != root; g = g.from {
		out = append(out, step{x: g.x, y: g.y, angle: g.angle, width: g.width, score: max(0, g.own), seen: g.hidden == 0})
	}
	slices.Reverse(out)
	for len(out) > 0 && !out[len(out)-1].seen {
		out = out[:len(out)-1]
	}
	return out
}

// children adds the suppositions that go on from g.
func (t *tracker) children(c *crossCut, g *guess, out []*guess) []*guess {
	mm := t.m.At(g.x, g.y)
	if !(mm > 0) {
		return out
	}
	st := max(t.par.StepMM/mm, 3)
	dir := g.angle
	if g.hidden > 0 {
		dir = g.slow
	}
	px, py := g.x+st*math.Cos(dir), g.y+st*math.Sin(dir)
	if px < 1 || py < 1 || px > float64(t.f.w-2) || py > float64(t.f.h-2) || g.hidden > t.par.HiddenMM {
		return out
	}
	reach := 0.8 + 0.22*st + 0.08*g.width + 0.05*g.hidden/mm
	q := max(1.5, 0.4*g.width)
	t.f.cut(c, px, py, dir, max(t.par.CutMM/mm, 4), int(0.65*g.width+reach+q)+2)
	type place struct{ u, w, own, gain, free float64 }
	var best [3]place
	for i := range best {
		best[i].gain = math.Inf(-1)
	}
	put := func(p place) {
		// Only the best of places that lie together.
		for i := range best {
			if !math.IsInf(best[i].gain, -1) && math.Abs(best[i].u-p.u) < 1.1 {
				if p.gain > best[i].gain {
					best[i] = p
					for i > 0 && best[i].gain > best[i-1].gain {
						best[i], best[i-1] = best[i-1], best[i]
						i--
					}
				}
				return
			}
		}
		for i := range best {
			if p.gain > best[i].gain {
				copy(best[i+1:], best[i:len(best)-1])
				best[i] = p
				return
			}
		}
	}
	maxW := t.par.MaxStrandMM * 1.15 / mm
	for u := 0.0; u <= reach; u += 0.5 {
		for _, s := range [...]float64{1, -1} {
			if u == 0 && s < 0 || g.width > maxW {
				continue
			}
			own, free := t.evidence(c, s*u, g.width)
			put(place{s * u, g.width, own, own - t.par.BendCost*(u/reach)*(u/reach), free})
		}
	}
	// Whether it is wider or narrower there, only at the best places.
	for _, p := range best {
		for _, k := range [...]float64{0.9, 1.11} {
			if w := g.width * k; !math.IsInf(p.gain, -1) && w >= 1 && w <= maxW {
				own, free := t.evidence(c, p.u, w)
				put(place{p.u, w, own, own - t.par.WidthCost - t.par.BendCost*(p.u/reach)*(p.u/reach), free})
			}
		}
	}
	for _, b := range best {
		if math.IsInf(b.gain, -1) || b.gain < best[0].gain-0.6 {
			continue
		}
		k := &guess{own: b.own, total: g.total + b.gain, from: g, width: g.width, angle: dir, slow: g.slow}
		k.x, k.y = px-b.u*math.Sin(dir), py+b.u*math.Cos(dir)
		if b.own > t.par.MinShow && b.free > 0.5 {
			turn := math.Atan2(b.u, st)
			k.angle = dir + 0.4*turn
			k.slow = g.slow + 0.15*math.Remainder(math.Atan2(k.y-g.y, k.x-g.x)-g.slow, 2*math.Pi)
			k.width = g.width + 0.2*(b.w-g.width)
		} else {
			k.x, k.y = px, py
			k.hidden = g.hidden + st*mm
		}
		out = append(out, k)
	}
	return out
}

// keep chooses the suppositions to go on with: the best, each at another place,
// and only those that agree with the best one on where the cane was some
// centimetres ago.
func (t *tracker) keep(all, out []*guess) []*guess {
	slices.SortStableFunc(all, func(a, b *guess) int { return cmp.Compare(b.total, a.total) })
	back := func(g *guess) *guess {
		for range t.par.AheadSteps {
			if g.from == nil {
				break
			}
			g = g.from
		}
		return g
	}
	root := back(all[0])
	for _, g := range all {
		if len(out) == t.par.Suppositions {
			break
		}
		if slices.ContainsFunc(out, func(o *guess) bool {
			return math.Hypot(o.x-g.x, o.y-g.y) < 1.2 && math.Abs(math.Remainder(o.angle-g.angle, 2*math.Pi)) < 0.12
		}) || len(out) > 0 && back(g) != root {
			continue
		}
		out = append(out, g)
	}
	return out
}

// strands follows all canes that a likeness shows.
func strands(like *wood.Likeness, m *scale.Map, seeds []wood.Seed, usual float64, par Params) []ribbon {
	f := newField(like, par.MostOdds)
	t := &tracker{f: f, m: m, par: par, odds: max(1, min(par.MostOdds, usual))}
	from := t.starts(seeds)
	// Twice: first in the order of the clearest places, then in that of the
	// clearest canes, so that what is thin and short can't take a piece of
	// what is long.
	tracks := t.all(from)
	slices.SortStableFunc(tracks, func(a, b track) int { return cmp.Compare(b.r.clear(), a.r.clear()) })
	f.release()
	from = from[:0]
	for _, k := range tracks {
		from = append(from, k.start)
	}
	var out []ribbon
	for _, k := range t.all(from) {
		out = append(out, k.r)
	}
	return out
}

// A track is what was followed from a start.
type track struct {
	start guess
	r     ribbon
}

// starts finds where canes show, clearest first.
func (t *tracker) starts(seeds []wood.Seed) []guess {
	seeds = t.thin(seeds)
	found := make([]guess, len(seeds))
	cores.Each(len(seeds), func(i int) {
		if g, ok := t.start(seeds[i]); ok {
			found[i] = g
		}
	})
	found = slices.DeleteFunc(found, func(g guess) bool { return g.own == 0 })
	slices.SortStableFunc(found, func(a, b guess) int { return cmp.Compare(b.own, a.own) })
	return found
}

// thin leaves, of seeds in this order, those that look at all like wood and
// lie apart from all before them, or point elsewhere.
func (t *tracker) thin(seeds []wood.Seed) []wood.Seed {
	type place struct {
		x, y int
		way  int
		wide float64
	}
	seen := map[place]bool{}
	var out []wood.Seed
	for _, s := range seeds {
		mm := t.m.At(s.X, s.Y)
		if !(mm > 0) {
			continue
		}
		side := t.par.SeedMM / mm
		const ways = 4
		at := place{int(s.X / side), int(s.Y / side), int(s.Angle/math.Pi*ways) % ways, s.Width}
		if !seen[at] && t.promising(s.X, s.Y, s.Angle) {
			seen[at] = true
			out = append(out, s)
		}
	}
	return out
}

// promising tells whether a line along an angle near a place of the field looks
// at all like wood: a look at few cells that saves the long one.
func (t *tracker) promising(x, y, angle float64) bool {
	dx, dy := math.Cos(angle), math.Sin(angle)
	const reach, steps = 3, 4 // cells across to each side, and places along to each end
	for u := -reach; u <= reach; u++ {
		sum := 0.0
		for k := -steps; k <= steps; k++ {
			d := 2 * float64(k)
			a, b := int(x+d*dx-float64(u)*dy+0.5), int(y+d*dy+float64(u)*dx+0.5)
			if a >= 0 && b >= 0 && a < t.f.w && b < t.f.h {
				sum += float64(t.f.odds[t.f.like[b*t.f.w+a]])
			}
		}
		if sum > 0.35*t.odds*(2*steps+1) {
			return true
		}
	}
	return false
}

// at is the mean log odds about a place.
func (t *tracker) at(x, y float64) float64 {
	i, j := int(math.Round(x)), int(math.Round(y))
	sum, n := 0.0, 0.0
	for b := max(0, j-1); b <= min(t.f.h-1, j+1); b++ {
		for a := max(0, i-1); a <= min(t.f.w-1, i+1); a++ {
			sum, n = sum+float64(t.f.odds[t.f.like[b*t.f.w+a]]), n+1
		}
	}
	return sum / max(n, 1)
}

// all follows from each start that nobody has claimed yet.
func (t *tracker) all(from []guess) []track {
	var out []track
	var c crossCut
	for _, g := range from {
		mm := t.m.At(g.x, g.y)
		t.f.cut(&c, g.x, g.y, g.angle, t.par.StartMM/mm, int(g.width)+4)
		v, free := t.evidence(&c, 0, g.width)
		if free < 0.8 || v < t.par.MinStart {
			continue
		}
		first := step{x: g.x, y: g.y, angle: g.angle, width: g.width, score: v, seen: true}
		r := bothWays(first, func(_ step, sign float64) []step { return t.run(g, sign < 0) })
		r.trim(t.at, t.par.TrimShare)
		px, seen := r.length()
		if px*t.m.At(g.x, g.y) < t.par.MinLengthMM || seen < 0.5 {
			continue
		}
		out = append(out, track{g, r})
		t.f.claim(r.steps)
	}
	return out
}

// clear is how clearly a ribbon showed, summed.
func (r *ribbon) clear() float64 {
	s := 0.0
	for _, q := range r.steps {
		s += q.score
	}
	return s
}
