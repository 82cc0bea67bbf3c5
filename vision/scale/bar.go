package scale

import (
	"cmp"
	"image"
	"math"
	"slices"

	"gocv.io/x/gocv"

	"nodespan/assess"
)

// A block is a dark rectangle that may be one of the bar's.
type block struct {
	x, y        float64 // centre
	long, short float64 // sides
	ux, uy      float64 // unit direction of the short side, along the bar
	touched     bool
}

// bar looks for the scale bar at one picture size.
func (f *finder) bar(shrink int) (*Map, assess.Reason) {
	blocks := f.blocks(shrink)
	slices.SortFunc(blocks, func(a, b block) int { return cmp.Compare(b.long*b.short, a.long*a.short) })
	var reason assess.Reason
	for i := range blocks {
		if blocks[i].touched {
			continue
		}
		chain := f.chain(blocks, i)
		if len(chain) < 5 {
			continue
		}
		for _, k := range chain {
			blocks[k].touched = true
		}
		m, why := f.barFrom(blocks, chain)
		if m != nil {
			return m, ""
		}
		if why != "" {
			reason = why
		}
	}
	return nil, reason
}

// blocks finds dark rectangles with about the proportions of a bar's block.
func (f *finder) blocks(shrink int) []block {
	g := f.grey(shrink)
	bin := gocv.NewMat()
	defer bin.Close()
	gocv.AdaptiveThreshold(g, &bin, 255, gocv.AdaptiveThresholdMean, gocv.ThresholdBinaryInv, 61, 12)
	inner := gocv.FindContours(bin, gocv.RetrievalList, gocv.ChainApproxNone)
	defer inner.Close()
	ratio := f.par.BarHeightMM / f.par.BlockMM
	var out []block
	s := float64(shrink)
	for i := range inner.Size() {
		c := inner.At(i)
		if c.Size() < 12 || c.Size() > 800 {
			continue
		}
		area := gocv.ContourArea(c)
		if area < 20 {
			continue
		}
		r := gocv.MinAreaRect(c)
		// MinAreaRect's own fields are rounded; its corner points serve.
		if len(r.Points) != 4 {
			continue
		}
		b, ok := fromQuad(r.Points)
		if !ok || area < 0.7*(b.long)*(b.short) {
			continue
		}
		// The contour runs through the outermost dark pixels' centres.
		b.long++
		b.short++
		if q := b.long / b.short; q < ratio*0.65 || q > ratio*1.6 {
			continue
		}
		b.x, b.y = (b.x+0.5)*s-0.5, (b.y+0.5)*s-0.5
		b.long, b.short = b.long*s, b.short*s
		out = append(out, b)
		if len(out) > 4000 {
			break
		}
	}
	return out
}

func fromQuad(q []image.Point) (block, bool) {
	ax, ay := float64(q[1].X-q[0].X), float64(q[1].Y-q[0].Y)
	bx, by := float64(q[2].X-q[1].X), float64(q[2].Y-q[1].Y)
	la, lb := math.Hypot(ax, ay), math.Hypot(bx, by)
	if la < 2 || lb < 2 {
		return block{}, false
	}
	b := block{}
	for _, p := range q {
		b.x += float64(p.X) / 4
		b.y += float64(p.Y) / 4
	}
	if la < lb {
		b.short, b.long, b.ux, b.uy = la, lb, ax/la, ay/la
	} else {
		b.short, b.long, b.ux, b.uy = lb, la, bx/lb, by/lb
	}
	return b, true
}

// chain follows equal blocks along the bar from a seed, both ways.
func (f *finder) chain(blocks []block, seed int) []int {
	s := blocks[seed]
	pitch := 2 * s.short
	out := []int{seed}
	for _, dir := range []float64{1, -1} {
		at := seed
		stepX, stepY := dir*pitch*s.ux, dir*pitch*s.uy
		for range f.par.BarBlocks {
			b := blocks[at]
			best, next := 0.35*pitch, -1
			for i := range blocks {
				c := &blocks[i]
				if i == at || c.long < 0.6*s.long || c.long > 1.6*s.long || slices.Contains(out, i) {
					continue
				}
				d := math.Hypot(c.x-b.x-stepX, c.y-b.y-stepY)
				if d < best {
					best, next = d, i
				}
			}
			if next < 0 {
				break
			}
			stepX, stepY = blocks[next].x-b.x, blocks[next].y-b.y
			if dir > 0 {
				out = append(out, next)
			} else {
				out = append([]int{next}, out...)
			}
			at = next
		}
	}
	return out
}

// barFrom holds a chain of blocks against the printed bar and fits the scale.
func (f *finder) barFrom(blocks []block, chain []int) (*Map, assess.Reason) {
	want := f.par.BarBlocks / 2
	if len(chain) > want {
		return nil, "" // goes on where the bar ends: a fence, a grille, another ruler
	}
	a, z := blocks[chain[0]], blocks[chain[len(chain)-1]]
	length := math.Hypot(z.x-a.x, z.y-a.y)
	ux, uy := (z.x-a.x)/length, (z.y-a.y)/length
	vx, vy := -uy, ux
	pitch := length / float64(len(chain)-1)
	height := pitch * f.par.BarHeightMM / (2 * f.par.BlockMM)
	// The blocks must have the print's proportions: as high as they should be
	// for their pitch.
	var hs []float64
	for _, k := range chain {
		hs = append(hs, blocks[k].long)
	}
	slices.Sort(hs)
	if r := hs[len(hs)/2] / height; r < 0.75 || r > 1.3 {
		return nil, ""
	}
	// Sub-pixel positions of the blocks' sides along the bar's middle, in
	// linear light, averaged over the blocks' height.
	edges := f.barEdges(a, ux, uy, vx, vy, length, pitch, height)
	if len(edges) != 2*len(chain) {
		return nil, assess.ReferencePartly
	}
	if len(chain) < want {
		return nil, assess.ReferencePartly
	}
	if !f.whiteAround(a, z, ux, uy, vx, vy, pitch, height) {
		return nil, ""
	}
	if pitch < 2*f.par.MinSquarePx*f.par.BlockMM/f.par.SquareMM {
		return nil, assess.ReferenceTooSmall
	}
	// Along the bar: t = (p x + q) / (1 + r x), with x in mm from the middle.
	// The perspective term is held towards 0 by how far a photo from the front
	// can be turned (6 degrees, one standard deviation).
	n := len(edges)
	mid := (edges[0] + edges[n-1]) / 2
	xs := make([]float64, n)
	for i := range xs {
		xs[i] = (float64(i) - float64(n-1)/2) * f.par.BlockMM
	}
	p, q, r, rms, rU := fitProjective(xs, edges, mid, f)
	cx, cy := a.x+ux*q, a.y+uy*q
	// Across the bar the scale at its middle is taken as that along it:
	// foreshortening by a tilt of 10 degrees is 1.5 %, and is in RelativeU.
	h := Homography{
		ux*p + cx*r, vx * p, cx,
		uy*p + cy*r, vy * p, cy,
		r, 0, 1,
	}
	half := float64(n-1) / 2 * f.par.BlockMM
	m := newMap("bar", h, rms, nil, half, f.par.BarHeightMM/2, f)
	m.RelativeU = math.Hypot(f.par.PrintU, 0.006)
	m.RelativeU = math.Hypot(m.RelativeU, rU)
	var blurs []float64
	for _, e := range edges {
		if s, _, _, _, _ := f.edgeBlur(a.x+ux*e, a.y+uy*e, ux, uy, vx, vy, 0.22*pitch, 0.25*height); s > 0 {
			blurs = append(blurs, s)
		}
	}
	if len(blurs) > 4 {
		slices.Sort(blurs)
		m.blur[0] = blurs[len(blurs)/2]
		m.evenBlur()
	}
	return m, ""
}

// barEdges gives the positions along the bar, in pixels from block a's centre,
// of every change between dark and white, at the half level in linear light.
func (f *finder) barEdges(a block, ux, uy, vx, vy, length, pitch, height float64) []float64 {
	const step = 0.25
	from, to := -0.5*pitch, length+0.5*pitch
	n := int((to - from) / step)
	prof := make([]float64, n)
	for i := range prof {
		t := from + float64(i)*step
		for k := -8; k <= 8; k++ {
			v := float64(k) / 8 * 0.3 * height
			prof[i] += f.linearAt(a.x+ux*t+vx*v, a.y+uy*t+vy*v) / 17
		}
	}
	// Each block's half level lies between its own darkest and the white next
	// to it, so that a shadow across the bar does no harm.
	var out []float64
	win := int(pitch / 2 / step)
	prev := 0.0
	for i := range prof {
		lo, hi := prof[i], prof[i]
		for j := max(0, i-win); j <= min(n-1, i+win); j++ {
			lo, hi = min(lo, prof[j]), max(hi, prof[j])
		}
		cur := prof[i] - (lo+hi)/2
		if hi-lo < 0.02 {
			cur = math.Copysign(1e-9, prev)
		}
		if i > 0 && (cur < 0) != (prev < 0) {
			out = append(out, from+(float64(i-1)+prev/(prev-cur))*step)
		}
		prev = cur
	}
	return out
}

// whiteAround tells whether the margin about the whole bar is white and the
// print ends where it should.
func (f *finder) whiteAround(a, z block, ux, uy, vx, vy, pitch, height float64) bool {
	good, all := 0, 0
	check := func(x, y, dark float64) {
		all++
		if g := f.greyAt(x, y); g > dark+25 {
			good++
		}
	}
	darkA, darkZ := f.greyAt(a.x, a.y), f.greyAt(z.x, z.y)
	for _, v := range []float64{-0.3, 0, 0.3} {
		// The half pitch beyond a block is the bar's white block or its margin;
		// one pitch beyond the end must be white still (margin and white block).
		check(a.x-ux*pitch*0.5+vx*v*height, a.y-uy*pitch*0.5+vy*v*height, darkA)
		check(z.x+ux*pitch*0.5+vx*v*height, z.y+uy*pitch*0.5+vy*v*height, darkZ)
	}
	n := math.Hypot(z.x-a.x, z.y-a.y) / pitch
	for i := 0; i <= int(math.Round(2*n)); i++ {
		t := float64(i) * pitch / 2
		for _, v := range []float64{-0.72, 0.72} {
			check(a.x+ux*t+vx*v*height, a.y+uy*t+vy*v*height, max(darkA, darkZ))
		}
	}
	return good >= all*85/100
}

// fitProjective fits t = (p x + q) / (1 + r x) to the edges by Gauss-Newton,
// with a prior on r. It returns also the root mean square residual in pixels
// and the relative uncertainty of p.
func fitProjective(xs, ts []float64, mid float64, f *finder) (p, q, r, rms, relU float64) {
	n := len(xs)
	p, q = (ts[n-1]-ts[0])/(xs[n-1]-xs[0]), mid
	const edgeU = 0.15 // px, one edge
	focal := f.photo.FocalPx
	if focal == 0 {
		focal = float64(max(f.photo.Width, f.photo.Height)) / 2 / math.Tan(supposedHFOV/2*math.Pi/180)
	}
	// r = sin(turn) / distance, and distance = focal / p.
	rU := math.Sin(6*math.Pi/180) * p / focal
	for range 10 {
		var a [3][3]float64
		var g [3]float64
		for i, x := range xs {
			w := 1 + r*x
			t := (p*x + q) / w
			d := [3]float64{x / w, 1 / w, -t * x / w}
			e := (ts[i] - t) / (edgeU * edgeU)
			for k := range 3 {
				g[k] += d[k] * e
				for l := range 3 {
					a[k][l] += d[k] * d[l] / (edgeU * edgeU)
				}
			}
		}
		a[2][2] += 1 / (rU * rU)
		g[2] -= r / (rU * rU)
		s, ok := solve3(a, g)
		if !ok {
			break
		}
		p, q, r = p+s[0], q+s[1], r+s[2]
	}
	for i, x := range xs {
		e := ts[i] - (p*x+q)/(1+r*x)
		rms += e * e / float64(n)
	}
	rms = math.Sqrt(rms)
	return p, q, r, rms, max(rms, 0.05) / math.Sqrt(float64(n)) / (p * (xs[n-1] - xs[0]) / 3.5)
}

// solve3 solves a small symmetric system by Cramer's rule.
func solve3(a [3][3]float64, b [3]float64) (x [3]float64, ok bool) {
	det := func(m [3][3]float64) float64 {
		return m[0][0]*(m[1][1]*m[2][2]-m[1][2]*m[2][1]) - m[0][1]*(m[1][0]*m[2][2]-m[1][2]*m[2][0]) + m[0][2]*(m[1][0]*m[2][1]-m[1][1]*m[2][0])
	}
	d := det(a)
	if d == 0 {
		return x, false
	}
	for k := range 3 {
		m := a
		for i := range 3 {
			m[i][k] = b[i]
		}
		x[k] = det(m) / d
	}
	return x, true
}
