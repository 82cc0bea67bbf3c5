package caliper

import (
	"math"
	"slices"
)

// A coarse section is averaged over a long piece of the cane, so that what
// isn't parallel to it fades. From a row of them the course of both edges is
// decided before any edge is read finely.
type coarse struct {
	from, to int       // stations
	edges    []edge    // candidates, from left to right
	width    float64   // with which the cane was followed here, px
	pairs    []pairing // of candidates
	most     float64   // widest that a cane can be here, px
}

// An edge is a place of sharp change across.
type edge struct {
	v float64 // px from the followed centre
	z float64 // change over what the ground's texture does by chance
	s float64 // how much that counts, 0 to 1
}

type pairing struct {
	a, b   float64
	cost   float64
	before int
}

// count turns a significance into a vote: nothing below what chance does,
// growing slowly beyond.
func (par Params) count(z float64) float64 {
	if z < par.MinEdgeZ {
		return 0
	}
	return min(math.Log(z/par.MinEdgeZ)/math.Log(5)+0.25, 1)
}

// course finds, for each station, where the left and the right edge run, px
// from the followed centre. widthTol is how far the width may differ from the
// given one, as a logarithm.
//
// Each coarse section proposes pairs of edges. A pair's cost is low when both
// its edges are significant and no significant edge is left unexplained just
// outside of it: what lies inside may be shade and bark, what lies outside
// should be ground. Over the length of the cane the cheapest sequence is taken
// in which both edges move slowly (Viterbi's dynamic programming). Grass makes
// edges too, but not at the same place in one section after another.
func course(at func(int) *section, width []float64, sigma, stationMM, stationPx, widthTol float64, par Params) (left, right []float64, ok bool) {
	n := len(width)
	per := max(4, int(math.Round(par.CourseMM/stationMM)))
	var cs []*coarse
	var raw []*section
	for from := 0; from < n; from += per {
		to := min(from+per, n)
		if to-from < per/2 && len(cs) > 0 {
			break
		}
		c := &coarse{from: from, to: to, width: width[(from+to)/2], most: par.MaxWidthMM * stationPx / stationMM}
		var s *section
		// Every other station is enough for a mean.
		cnt := 0.0
		for i := from; i < to; i += 2 {
			t := at(i)
			if s == nil {
				s = t
				cnt = 1
				continue
			}
			if len(t.v) != len(s.v) {
				continue
			}
			for k := range s.y {
				for ch := range 3 {
					s.y[k][ch] += t.y[k][ch]
				}
			}
			cnt++
		}
		for k := range s.y {
			for ch := range 3 {
				s.y[k][ch] /= cnt
			}
		}
		cs, raw = append(cs, c), append(raw, s)
	}
	for k, c := range cs {
		// Texture of the ground here and in the neighbouring sections.
		var t texture
		for j := max(0, k-2); j <= min(len(cs)-1, k+2); j++ {
			// Only the outermost strips: nearer by there may be wood still.
			v := raw[j].v
			half := v[len(v)-1]
			strip := max(6, 0.35*(half-cs[j].width/2))
			t.add(raw[j], -half+strip+2, half-strip-2)
		}
		w := t.whiten()
		s := &section{v: raw[k].v, y: slices.Clone(raw[k].y)}
		w.apply(s)
		c.edges = s.sharp(sigma, par)
		c.pair(widthTol, par)
	}
	if len(cs) == 0 {
		return nil, nil, false
	}
	pairs := make([][]pairing, len(cs))
	widths, mid := make([]float64, len(cs)), make([]float64, len(cs))
	for k, c := range cs {
		pairs[k], widths[k], mid[k] = c.pairs, c.width, float64(c.from+c.to-1)/2
	}
	as, bs := chain(pairs, widths, par)
	return between(mid, as, n), between(mid, bs, n), true
}

// sharp lists the places of sharp change of a whitened section.
func (s *section) sharp(sigma float64, par Params) []edge {
	n := len(s.v)
	if n < 8 {
		return nil
	}
	step := s.v[1] - s.v[0]
	// The difference between the means of short runs on both sides, as long
	// as the blur is wide.
	run := max(1, int(math.Round((1.2*sigma+0.4)/step)))
	mag := make([]float64, n)
	for i := range s.v {
		if i-run < 0 || i+run >= n {
			continue
		}
		for c := range 3 {
			d := 0.0
			for k := 1; k <= run; k++ {
				d += s.y[i+k][c] - s.y[i-k][c]
			}
			d /= float64(run)
			mag[i] += d * d
		}
		mag[i] = math.Sqrt(mag[i])
	}
	var out []edge
	for i := run + 1; i < n-run-1; i++ {
		if mag[i] < par.MinEdgeZ || mag[i] < mag[i-1] || mag[i] <= mag[i+1] {
			continue
		}
		off := 0.0
		if d := mag[i-1] - 2*mag[i] + mag[i+1]; d < 0 {
			off = 0.5 * (mag[i-1] - mag[i+1]) / d
		}
		out = append(out, edge{v: s.v[i] + off*step, z: mag[i], s: par.count(mag[i])})
	}
	return out
}

// pair makes the pairs of candidates that can be the cane's edges.
func (c *coarse) pair(tol float64, par Params) {
	w := c.width
	// The followed width is always a candidate, at the price of having no
	// edge to show.
	c.pairs = append(c.pairs, pairing{a: -w / 2, b: w / 2, cost: 0.9})
	for i, a := range c.edges {
		for _, b := range c.edges[i+1:] {
			d := b.v - a.v
			if d < 0.6*w || d > c.most || a.v > 0.45*w || b.v < -0.45*w || math.Abs(a.v+b.v) > max(1.1*w, 0.9*d) {
				continue
			}
			l := math.Log(d/w) / tol
			cost := -a.s - b.s + min(0.2*l*l, 0.9)
			reach := 0.4*d + 3.5
			for _, e := range c.edges {
				if e.v < a.v-0.8 && e.v > a.v-reach || e.v > b.v+0.8 && e.v < b.v+reach {
					// A faint step beside two strong ones is the ground's own.
					cost += par.Unexplained * e.s * min(1, e.z/(par.FaintShare*min(a.z, b.z)))
				}
			}
			c.pairs = append(c.pairs, pairing{a: a.v, b: b.v, cost: cost})
		}
	}
	c.pairs = cheapest(c.pairs)
}
