package caliper

import (
	"iter"
	"math"
)

// rims looks for wood outside of the edges' course that neither its colour nor
// a single place gives away: the shaded rim of a sunlit cane, which may pass
// through the very colour of the ground. Over a long stretch, with every
// section stretched to one width, the ground's texture fades and the rim, which
// runs along with the cane, stays. It gives how far outside of each edge the
// outermost change lies that is significant there, px. odds gives a station's
// log odds of wood at a distance across: what looks like another piece running
// alongside is no rim.
func rims(sections []*section, odds func(i int, v float64) float64, left, right []float64, sigma float64, per int, par Params) (moreLeft, moreRight []float64) {
	n := len(sections)
	var mid, shareL, shareR []float64 // of blocks of sections
	if n > 0 && per >= 4 {
		for from, to := range stretches(n, per) {
			if to-from < 8 {
				continue
			}
			mid = append(mid, float64(from+to-1)/2)
			shareL = append(shareL, rim(sections[from:to], odds, from, left, right, -1, sigma, par))
			shareR = append(shareR, rim(sections[from:to], odds, from, left, right, 1, sigma, par))
		}
	}
	if len(mid) == 0 {
		return make([]float64, n), make([]float64, n)
	}
	moreLeft, moreRight = between(mid, middling(shareL), n), between(mid, middling(shareR), n)
	for i := range left {
		w := right[i] - left[i]
		moreLeft[i] *= w
		moreRight[i] *= w
	}
	return moreLeft, moreRight
}

// stretches divides n stations evenly into stretches of about per: where each
// begins and ends.
func stretches(n, per int) iter.Seq2[int, int] {
	return func(yield func(from, to int) bool) {
		blocks := max(1, (n+per/2)/per)
		for k := range blocks {
			if !yield(k*n/blocks, (k+1)*n/blocks) {
				return
			}
		}
	}
}

// middling takes each value's median with its neighbours: what shows on one
// stretch alone isn't the cane's.
func middling(v []float64) []float64 {
	out := make([]float64, len(v))
	for i := range v {
		a, b, c := v[max(0, i-1)], v[i], v[min(len(v)-1, i+1)]
		out[i] = max(min(a, b), min(max(a, b), c))
	}
	return out
}

// rim gives by how much of the width the edge on one side (-1 left, 1 right)
// lies farther out.
func rim(ss []*section, odds func(i int, v float64) float64, from int, left, right []float64, side, sigma float64, par Params) float64 {
	width := 0.0
	for i := range ss {
		width += (right[from+i] - left[from+i]) / float64(len(ss))
	}
	if width < 2 {
		return 0
	}
	// Distances from the course of the edge, outward positive, in px of the
	// mean width.
	const step = 0.5
	reach, tail := max(par.RimShare*width, par.RimPx), max(0.35*width, 5)
	inward := 0.3 * width
	m := int((reach + tail + inward) / step)
	d := make([]float64, m)
	mean := make([][3]float64, m)
	count := make([]float64, m)
	woody := make([]float64, m)
	var ground colours
	for k := range d {
		d[k] = -inward + float64(k)*step
	}
	used := 0.0
	for i, s := range ss {
		w := right[from+i] - left[from+i]
		edge := right[from+i]
		if side < 0 {
			edge = left[from+i]
		}
		if len(s.v) < 4 {
			continue
		}
		used++
		for k := range d {
			v := edge + side*d[k]*w/width
			y, ok := s.at(v)
			if !ok {
				continue
			}
			for c := range 3 {
				mean[k][c] += y[c]
			}
			count[k]++
			woody[k] += odds(from+i, v)
			if d[k] > reach+2*sigma {
				ground.add(y)
			}
		}
	}
	for k := range d {
		if count[k] < 0.5*used || count[k] == 0 {
			d = d[:k]
			break
		}
		for c := range 3 {
			mean[k][c] /= count[k]
		}
		woody[k] /= count[k]
	}
	if len(d) < 8 || ground.n < 40 {
		return 0
	}
	// The mean's own scatter: that of the ground over the number of places
	// that are independent of each other along the stretch.
	g, cov := ground.moments()
	independent := max(1, used/par.RimGrain)
	for p := range 3 {
		for q := range 3 {
			cov[p][q] /= independent
		}
		cov[p][p] += par.RimFloor * par.RimFloor
	}
	inv, ok := invert(cov)
	if !ok {
		return 0
	}
	run := max(1, int(math.Round((1.1*sigma+0.3)/step)))
	z := make([]float64, len(d))
	best := 0.0
	for k := run; k+run < len(d); k++ {
		z[k] = deviations(inv, mean[k-run], mean[k+run])
		if d[k] < reach {
			best = max(best, z[k])
		}
	}
	if out := shadedRim(d, mean, woody, g, inv, max(par.ShadeShare*width, par.ShadePx), sigma, par); out > 0 {
		return out / width
	}
	limit := max(par.RimZ, par.RimPart*best)
	for k := len(d) - run - 1; k >= run; k-- {
		if d[k] > reach || z[k] < limit || z[k] < z[k-1] || z[k] < z[min(k+1, len(d)-1)] {
			continue
		}
		if d[k] < 0.6 {
			return 0 // the course itself
		}
		// Only wood may lie between, and none that is known as wood already:
		// that would be another piece.
		another := false
		for j := range d {
			another = another || d[j] > 0.8 && d[j] < d[k]-0.3 && woody[j] > par.RimWoody
		}
		if !another {
			return d[k] / width
		}
	}
	return 0
}

// deviations is how far two colours lie apart in standard deviations, inv being
// the inverse of their covariance (P. C. Mahalanobis, 1936).
func deviations(inv [3][3]float64, a, b [3]float64) float64 {
	s := 0.0
	for p := range 3 {
		for q := range 3 {
			s += (a[p] - b[p]) * inv[p][q] * (a[q] - b[q])
		}
	}
	return math.Sqrt(max(0, s))
}

// shadedRim finds a shaded rim that is no wider than the blur, so that no edge of
// its own shows: going outward over a plain edge, the colour passes straight
// from the wood's to the ground's; over a rim it passes by a third colour, that
// of wood in the shade. Its outer edge lies where the colour is half way from
// that to the ground's. d are the distances outward, mean the colours there, g
// the ground's, inv the inverse of their covariance. It returns 0 when there is
// none.
func shadedRim(d []float64, mean [][3]float64, woody []float64, g [3]float64, inv [3][3]float64, reach, sigma float64, par Params) float64 {
	inside := -max(1.2*sigma, 0.8)
	var w [3]float64
	near := math.Inf(1)
	for k := range d {
		if o := math.Abs(d[k] - inside); o < near {
			near, w = o, mean[k]
		}
	}
	dot := func(a, b [3]float64) float64 { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }
	less := func(a, b [3]float64) [3]float64 { return [3]float64{a[0] - b[0], a[1] - b[1], a[2] - b[2]} }
	axis := less(w, g)
	step := math.Sqrt(dot(axis, axis))
	if step == 0 {
		return 0
	}
	best, at := 0.0, -1
	for k := range d {
		if d[k] < 0.3 || d[k] > reach {
			continue
		}
		if woody[k] > par.RimWoody {
			break // another piece
		}
		v := less(mean[k], g)
		along := dot(v, axis) / step
		beside := math.Sqrt(max(0, dot(v, v)-along*along))
		// What lies on the way back from the ground may be sharpening.
		if off := beside + 0.5*max(0, -along); off > best {
			best, at = off, k
		}
	}
	if at < 0 || best < par.ShadePart*step {
		return 0
	}
	if deviations(inv, mean[at], g) < par.RimZ {
		return 0
	}
	c := less(mean[at], g)
	full := dot(c, c)
	for k := at + 1; k < len(d); k++ {
		a, b := dot(less(mean[k-1], g), c)/full, dot(less(mean[k], g), c)/full
		if a >= 0.5 && b < 0.5 {
			if out := d[k-1] + (a-0.5)/(a-b)*(d[k]-d[k-1]); out <= reach && out > 0.6 {
				return out
			}
			return 0
		}
	}
	return 0
}
