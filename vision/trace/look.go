package trace

import (
	"cmp"
	"math"
	"slices"

	"nodespan/assess"
	"nodespan/vision/photo"
	"nodespan/vision/scale"
)

const (
	inAir       = "starts in the air"
	notWood     = "not wood-coloured"
	shadow      = "a shadow"
	belowWire   = "below the wire"
	bridged     = "mostly bridged"
	oldWood     = "old wood"
	tooStraight = "too straight for wood"
)

// whiteOf is the colour of the reference's white in linear light, red green
// blue: what a neutral surface looks like in this light and to this camera.
// Without a card it is neutral.
func whiteOf(p *photo.Photo, m *scale.Map) [3]float64 {
	if m.Kind == "marks" {
		return [3]float64{1, 1, 1}
	}
	type sample struct {
		sum float64
		c   [3]float64
	}
	var ss []sample
	a, b, c, d := m.Outline[0], m.Outline[1], m.Outline[2], m.Outline[3]
	for i := 1; i < 40; i++ {
		for j := 1; j < 40; j++ {
			u, v := float64(i)/40, float64(j)/40
			x := (1-v)*((1-u)*a[0]+u*b[0]) + v*((1-u)*d[0]+u*c[0])
			y := (1-v)*((1-u)*a[1]+u*b[1]) + v*((1-u)*d[1]+u*c[1])
			if q, ok := linearColour(p, x, y); ok {
				ss = append(ss, sample{q[0] + q[1] + q[2], q})
			}
		}
	}
	if len(ss) < 50 {
		return [3]float64{1, 1, 1}
	}
	slices.SortFunc(ss, func(a, b sample) int { return cmp.Compare(a.sum, b.sum) })
	return ss[len(ss)*8/10].c
}

// linearColour is the colour of the pixel at a place, red green blue.
func linearColour(p *photo.Photo, x, y float64) (c [3]float64, ok bool) {
	i, j := int(x+0.5), int(y+0.5)
	if i < 0 || j < 0 || i >= p.Width || j >= p.Height {
		return c, false
	}
	k := 3 * (j*p.Width + i)
	pix := p.Pix()
	return [3]float64{float64(photo.Linear[pix[k+2]]), float64(photo.Linear[pix[k+1]]), float64(photo.Linear[pix[k]])}, true
}

// looksLike says what a line looks like if not like wood: a shadow, or a strip
// of ground between two other things.
func looksLike(p *photo.Photo, m *scale.Map, l *Line, white [3]float64, par Params) string {
	var in, out [3]float64
	n := 0.0
	var reds []float64
	for i := 1; i+1 < len(l.Points); i++ {
		if !l.Seen[i] {
			continue
		}
		q := l.Points[i]
		dx, dy := l.Points[i+1][0]-l.Points[i-1][0], l.Points[i+1][1]-l.Points[i-1][1]
		d := math.Hypot(dx, dy)
		if d == 0 {
			continue
		}
		nx, ny := -dy/d, dx/d
		w := l.Width[i]
		var here [3]float64
		k := 0.0
		for _, f := range []float64{-0.2, 0, 0.2} {
			if c, ok := linearColour(p, q[0]+f*w*nx, q[1]+f*w*ny); ok {
				for ch := range 3 {
					here[ch] += c[ch]
				}
				k++
			}
		}
		a, ok1 := linearColour(p, q[0]+(w*0.5+3)*nx, q[1]+(w*0.5+3)*ny)
		b, ok2 := linearColour(p, q[0]-(w*0.5+3)*nx, q[1]-(w*0.5+3)*ny)
		if k == 0 || !ok1 || !ok2 {
			continue
		}
		for ch := range 3 {
			in[ch] += here[ch] / k
			out[ch] += (a[ch] + b[ch]) / 2
		}
		reds = append(reds, (here[0]+0.003)/(here[2]+0.003)*white[2]/white[0])
		n++
	}
	if n < 5 {
		return ""
	}
	slices.Sort(reds)
	// In the shade of a blue sheet even wood is blue; then it is redder at
	// least than what is beside it.
	around := (out[0]/n + 0.003) / (out[2]/n + 0.003) * white[2] / white[0]
	if red := reds[len(reds)/2]; red < par.MinRed && red < par.MinRed*around {
		return notWood
	}
	// A shadow is lit by the sky alone, which is bluer than the sun: it takes more
	// of the ground's red than of its blue. Wood in its own shade is browner.
	var r [3]float64
	for ch := range 3 {
		r[ch] = (in[ch] + 0.002*n) / (out[ch] + 0.002*n)
	}
	if r[0] < 0.8 && r[1] < 0.8 && r[2] < 0.85 && r[0] < par.ShadowBlue*r[2] && r[0] < par.ShadowGreen*r[1] {
		return shadow
	}
	return ""
}

// nearAny tells whether a place lies within reach mm of one of the lines.
func nearAny(m *scale.Map, q assess.Point, ls []Line, reach float64) bool {
	for i := range ls {
		for _, p := range ls[i].Points {
			if m.Distance(p, q) < reach {
				return true
			}
		}
	}
	return false
}

// OnceEach gives the indices, in order, of the lines that are left when those
// are dropped that mostly run inside of a better one. Better is what was seen
// for longer and more clearly; guided lines come before all others, and those
// that were followed with the wood's colour known before those without.
func OnceEach(ls []Line) []int {
	score := func(l *Line) float64 {
		n := 0.0
		for _, s := range l.Seen {
			if s {
				n++
			}
		}
		switch {
		case l.Guided:
			return 1e9 + n
		case l.Learned:
			return 1e6 + l.Clear
		}
		return n * math.Sqrt(max(l.MedianWidth(), 1))
	}
	order := make([]int, len(ls))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(score(&ls[b]), score(&ls[a])) })
	var kept []int
	for _, i := range order {
		if !slices.ContainsFunc(kept, func(k int) bool { return ls[i].inside(&ls[k]) > 0.4 }) {
			kept = append(kept, i)
		}
	}
	slices.Sort(kept)
	return kept
}

// inside is the share of a line's points that lie on another line's wood and
// run along with it, not merely across it.
func (l *Line) inside(o *Line) float64 {
	usual := o.MedianWidth()
	// Most lines of a photo are nowhere near: their boxes tell.
	widest := usual
	for _, w := range o.Width {
		if w > widest {
			widest = w
		}
	}
	lo, hi := box(o.Points)
	margin := 0.55*widest + 1.5
	n := 0
	for i, q := range l.Points {
		if q[0] < lo[0]-margin || q[1] < lo[1]-margin || q[0] > hi[0]+margin || q[1] > hi[1]+margin {
			continue
		}
		a, b := l.Points[max(0, i-1)], l.Points[min(len(l.Points)-1, i+1)]
		lx, ly := b[0]-a[0], b[1]-a[1]
		for j := 1; j < len(o.Points); j++ {
			a, b := o.Points[j-1], o.Points[j]
			w := o.Width[j]
			if !(w > 0) {
				w = usual
			}
			reach := 0.55*w + 1.5
			dx, dy := b[0]-a[0], b[1]-a[1]
			px, py := q[0]-a[0], q[1]-a[1]
			if far := reach + math.Abs(dx) + math.Abs(dy); px > far || px < -far || py > far || py < -far {
				continue
			}
			d2 := dx*dx + dy*dy
			if d2 == 0 {
				continue
			}
			t := max(0, min(1, (px*dx+py*dy)/d2))
			if math.Hypot(px-t*dx, py-t*dy) < reach && math.Abs(lx*dy-ly*dx) < 0.35*math.Hypot(lx, ly)*math.Sqrt(d2) {
				n++
				break
			}
		}
	}
	return float64(n) / float64(len(l.Points))
}

// box is the smallest upright rectangle about points.
func box(ps []assess.Point) (lo, hi assess.Point) {
	lo, hi = ps[0], ps[0]
	for _, p := range ps[1:] {
		for k := range p {
			lo[k], hi[k] = min(lo[k], p[k]), max(hi[k], p[k])
		}
	}
	return lo, hi
}
