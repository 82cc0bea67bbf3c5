package trace

import (
	"cmp"
	"math"
	"runtime"
	"slices"
	"sync"

	"nodespan/vision/scale"
	"nodespan/vision/wood"
)

// A strand follower goes by how much each place looks like the wood that was
// recognised: a cane is a band of wood between two bands of ground. Where other
// wood lies against it, one edge or none can be seen; then it goes on as it
// came, with the width that it had.
type strander struct {
	like *wood.Likeness
	par  Params
	mmpx func(x, y float64) float64
	odds [256]float64 // of a likeness' value, bounded
}

// oddsCut is the mean log odds across a place, over a length along it.
type oddsCut struct {
	half int
	f    []float64 // at distance i-half px
	sum  []float64 // running integral
}

func (s *strander) cut(x, y, angle, length float64, half int) *oddsCut {
	c := &oddsCut{half: half, f: make([]float64, 2*half+1), sum: make([]float64, 2*half+2)}
	dx, dy := math.Cos(angle), math.Sin(angle)
	rows := max(3, int(length/1.6))
	w, h := s.like.W, s.like.H
	// The nearest pixel is near enough: many rows are averaged.
	for k := range rows {
		t := (float64(k)/float64(rows-1) - 0.5) * length
		px, py := x+t*dx+float64(half)*dy+0.5, y+t*dy-float64(half)*dx+0.5
		for i := range c.f {
			if px >= 0 && py >= 0 {
				if a, b := int(px), int(py); a < w && b < h {
					c.f[i] += s.odds[s.like.V[b*w+a]]
				}
			}
			px, py = px-dy, py+dx
		}
	}
	for i := range c.f {
		c.f[i] /= float64(rows)
		c.sum[i+1] = c.sum[i] + c.f[i]
	}
	return c
}

// mean is the mean log odds between two distances across.
func (c *oddsCut) mean(a, b float64) float64 {
	at := func(v float64) float64 {
		v = max(0, min(float64(len(c.f)), v+float64(c.half)+0.5))
		i := min(int(v), len(c.f)-1)
		return c.sum[i] + (v-float64(i))*c.f[i]
	}
	if b-a < 1e-6 {
		return 0
	}
	return (at(b) - at(a)) / (b - a)
}

// edges lists where the log odds turn from ground to wood (up) or back.
func (c *oddsCut) edges() (up, down []float64) {
	d := make([]float64, len(c.f))
	for i := 1; i+1 < len(c.f); i++ {
		d[i] = c.f[i+1] - c.f[i-1]
	}
	for i := 1; i+1 < len(d); i++ {
		m := math.Abs(d[i])
		if m < 0.25 || m < math.Abs(d[i-1]) || m <= math.Abs(d[i+1]) {
			continue
		}
		off := 0.0
		a, b := math.Abs(d[i-1]), math.Abs(d[i+1])
		if q := a - 2*m + b; q < 0 {
			off = max(-0.5, min(0.5, 0.5*(a-b)/q))
		}
		v := float64(i-c.half) + off
		if d[i] > 0 {
			up = append(up, v)
		} else {
			down = append(down, v)
		}
	}
	return up, down
}

// shows says how clearly an edge at v shows, 0 to 1: wood within reach on the
// side that sign points to (1 right), ground on the other.
func (c *oddsCut) shows(v, sign, reach float64, par Params) float64 {
	var in, out float64
	if sign > 0 {
		in, out = c.mean(v, v+reach), c.mean(v-reach, v)
	} else {
		in, out = c.mean(v-reach, v), c.mean(v, v+reach)
	}
	return max(0, min(1, (in-out)/par.MostOdds-0.15)) * max(0, min(1, 1+in))
}

// promising tells whether anything near a place looks like wood.
func (s *strander) promising(x, y float64) bool {
	for j := -4; j <= 4; j += 4 {
		for i := -4; i <= 4; i += 4 {
			a, b := int(x)+i, int(y)+j
			if a >= 0 && b >= 0 && a < s.like.W && b < s.like.H && s.odds[s.like.V[b*s.like.W+a]] > 0 {
				return true
			}
		}
	}
	return false
}

// start looks for a cane that shows both its edges at a seed.
func (s *strander) start(x, y, angle float64) (step, bool) {
	mm := s.mmpx(x, y)
	if !(mm > 0) {
		return step{}, false
	}
	half := int(1.6*s.par.MaxStrandMM/mm) + 6
	c := s.cut(x, y, angle, max(2.2*s.par.WindowMM/mm, 24), half)
	up, down := c.edges()
	minW, maxW := max(s.par.MinWidthMM/mm, 2.2), s.par.MaxStrandMM/mm
	best, score := step{}, 0.0
	for _, a := range up {
		for _, b := range down {
			w := b - a
			if w < minW || w > maxW || a > 3 || b < -3 {
				continue
			}
			reach := 0.4*w + 2
			e := min(c.shows(a, 1, reach, s.par), c.shows(b, -1, reach, s.par))
			// All between must be wood.
			e *= max(0, min(1, 0.5+c.mean(a, b)/s.par.MostOdds))
			if e > score {
				m := (a + b) / 2
				score = e
				best = step{x: x - m*math.Sin(angle), y: y + m*math.Cos(angle), angle: angle, width: w, score: e, seen: true}
			}
		}
	}
	return best, score > s.par.MinStart
}

// run follows from a step in direction sign (1 along its angle, -1 against).
func (s *strander) run(from step, sign float64) []step {
	angle := from.angle
	if sign < 0 {
		angle += math.Pi
	}
	x, y, width := from.x, from.y, from.width
	recent := []step{{x: x, y: y, angle: angle, width: width, seen: true}}
	const short, long = 8, 18
	var out []step
	missed, hidden := 0.0, 0.0
	for range 4000 {
		mm := s.mmpx(x, y)
		if !(mm > 0) {
			break
		}
		st := max(s.par.StepMM/mm, 5)
		px, py := x+st*math.Cos(angle), y+st*math.Sin(angle)
		if px < 2 || py < 2 || px > float64(s.like.W-3) || py > float64(s.like.H-3) {
			break
		}
		c := s.cut(px, py, angle, max(s.par.WindowMM/mm, 12), int(1.5*width)+10)
		up, down := c.edges()
		reach := 0.35*width + 1.5
		offU := 0.8 + 0.14*st + 0.06*width + 0.04*(missed+hidden)/mm
		type choice struct{ u, w, value, edges float64 }
		best := choice{w: width}
		weigh := func(u, w, ea, eb float64) {
			du, dw := u/offU, math.Log(w/width)/0.16
			v := (ea + eb) * math.Exp(-0.5*(du*du+dw*dw))
			if v > best.value {
				best = choice{u, w, v, ea + eb}
			}
		}
		for _, a := range up {
			ea := c.shows(a, 1, reach, s.par)
			weigh(a+width/2, width, ea, 0)
			for _, b := range down {
				if w := b - a; w > 0.6*width && w < 1.6*width+1.5 && w > 1.5 {
					weigh((a+b)/2, w, ea, c.shows(b, -1, reach, s.par))
				}
			}
		}
		for _, b := range down {
			weigh(b-width/2, width, 0, c.shows(b, -1, reach, s.par))
		}
		inside := c.mean(best.u-0.4*width, best.u+0.4*width)
		n := step{angle: angle, width: width}
		switch {
		case best.value > s.par.MinShow && inside > -0.5:
			n.x, n.y = px-best.u*math.Sin(angle), py+best.u*math.Cos(angle)
			// What is wood all the way across counts more than what has
			// something else in it.
			n.score = best.value * max(0, c.mean(best.u-0.45*best.w, best.u+0.45*best.w)) / s.par.MostOdds
			n.seen, n.width = true, best.w
			if best.edges > 1.2 {
				width += 0.07 * max(-0.2*width, min(0.2*width, best.w-width))
			}
			missed, hidden = 0, 0
			recent = append(recent, n)
			if len(recent) > long {
				recent = recent[1:]
			}
			if len(recent) >= 3 {
				angle = direction(recent[max(0, len(recent)-short):], angle)
			}
		default:
			n.x, n.y = px, py
			if missed+hidden == 0 && len(recent) >= 8 {
				angle = direction(recent, angle)
			}
			if inside > 0.3 {
				hidden += st * mm // wood against wood
			} else {
				missed += st * mm
			}
		}
		out = append(out, n)
		x, y = n.x, n.y
		if missed > s.par.GapMM || hidden > s.par.HiddenMM {
			break
		}
	}
	for len(out) > 0 && !out[len(out)-1].seen {
		out = out[:len(out)-1]
	}
	return out
}

// strands follows all canes that a likeness shows, clearest places first.
func strands(like *wood.Likeness, m *scale.Map, seeds []wood.Seed, par Params) []ribbon {
	s := &strander{like: like, par: par, mmpx: m.At}
	for v := range s.odds {
		s.odds[v] = max(-par.MostOdds, min(par.MostOdds, like.Odds(uint8(v))))
	}
	from := make([]step, len(seeds))
	var wg sync.WaitGroup
	cores := runtime.GOMAXPROCS(0)
	for c := range cores {
		wg.Go(func() {
			for i := c; i < len(seeds); i += cores {
				q := seeds[i]
				if !s.promising(q.X, q.Y) {
					continue
				}
				if st, ok := s.start(q.X, q.Y, q.Angle); ok {
					from[i] = st
				}
			}
		})
	}
	wg.Wait()
	from = slices.DeleteFunc(from, func(b step) bool { return !b.seen })
	slices.SortStableFunc(from, func(a, b step) int { return cmp.Compare(b.score, a.score) })
	cov := newCover(like.W, like.H)
	var out []ribbon
	for _, b := range from {
		if cov.at(b.x, b.y, b.angle) != 0 {
			continue
		}
		r := bothWays(b, s.run)
		r.trim(func(x, y float64) float64 {
			return s.cut(x, y, b.angle, 3, 1).mean(-1.5, 1.5)
		}, par.TrimShare)
		px, seen := r.length()
		if px*m.At(b.x, b.y) < par.MinLengthMM || seen < 0.5 {
			continue
		}
		if cov.holds(&r) {
			continue
		}
		out = append(out, r)
		cov.mark(&r, int32(len(out)))
	}
	return out
}
