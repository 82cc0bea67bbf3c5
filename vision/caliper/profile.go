package caliper

import (
	"context"
	"math"
	"slices"

	"nodespan/assess"
	"nodespan/vision/photo"
	"nodespan/vision/scale"
	"nodespan/vision/trace"
)

// A Station is one place of the profile.
type Station struct {
	Px          assess.Point // on the refined centre line
	Angle       float64      // of the cane, radians
	AlongMM     float64      // from the base
	Left, Right float64      // distance of the edges from the centre line, px; Left is on the left looking from base to tip in the picture
	Sigma       float64      // blur of the edges, px
	Inner       float64      // brightness of the wood's middle, linear light; 0 outside of the picture
	// Across is the wood's brightness at five places from edge to edge, left to
	// right, as the logarithm to base 2 of linear light; Red the same of red over
	// blue in the middle. Both are 0 outside of the picture.
	Across [5]float64
	Red    float64
	// Crossed: another piece of wood lies here, in front or behind.
	Crossed    bool
	DiameterMM float64
	U          float64 // standard uncertainty of DiameterMM from this reading alone; 0: no reading
	// LeftRead and RightRead tell which edges were read, each by itself.
	LeftRead, RightRead bool
	// Told: the shaded edge is told by how wide the sunlit part is.
	Told    bool
	MMPerPx float64 // across, of a cylinder at this place
}

// A Profile is one cane's thickness from base to tip.
type Profile struct {
	Stations []Station
	Sigma    float64 // median blur, px
}

// Measure reads the profile of one line by itself: Lay, LightOf and Read, which
// know more when they are asked for all lines of a photo. The error is only for a
// context that ended.
func Measure(ctx context.Context, p *photo.Photo, m *scale.Map, line *trace.Line, like Likelihood, foreign func(x, y float64) bool, par Params) (*Profile, error) {
	c, err := Lay(ctx, p, m, line, like, foreign, par)
	if err != nil {
		return nil, err
	}
	return c.Read(ctx, LightOf([]*Course{c}))
}

// Read reads the edges along a course finely. light is that of the photo. The
// error is only for a context that ended.
func (c *Course) Read(ctx context.Context, light Light) (*Profile, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	out := &Profile{Stations: make([]Station, len(c.pts))}
	if len(c.left) == 0 {
		return out, nil
	}
	par := c.par
	dark := light.allow(c)
	left, right := make([]float64, len(c.pts)), make([]float64, len(c.pts))
	for i := range c.pts {
		left[i], right[i] = c.left[i]-dark.left[i], c.right[i]+dark.right[i]
	}
	outerL, outerR := slices.Clone(left), slices.Clone(right)
	fits, blur := c.edges(left, right, c.blur, true)
	if slices.Max(dark.left)+slices.Max(dark.right) > 0 {
		// Where the rim's outer edge can't be read, that of the lit part may: it
		// swells and shrinks as the whole does.
		litL, litR := slices.Clone(c.left), slices.Clone(c.right)
		part, _ := c.edges(litL, litR, blur, false)
		settle(part, litL, litR, par.Settle)
		for i := range fits {
			if dark.told[i] {
				// What is read on the shaded side is the ground's texture. The rim
				// is counted from the lit part's own edge.
				if dark.left[i] > 0 {
					fits[i].okA = false
					fits[i].b += c.right[i] + dark.lit[i] - right[i]
				} else {
					fits[i].okB = false
					fits[i].a += c.left[i] - dark.lit[i] - left[i]
				}
			}
			fits[i].fill(&part[i], dark.left[i] > 0, outerL[i]-litL[i], dark.right[i] > 0, outerR[i]-litR[i], par)
		}
	}
	out.Sigma = blur
	for i := range c.pts {
		out.Stations[i].Px, out.Stations[i].Angle = c.pts[i], angleAt(c.pts, i)
	}
	dropJumps(fits, par)
	c.stations(out, fits, dark.told, blur)
	dropBelowStep(out.Stations, par)
	dropOff(out.Stations, par)
	return out, nil
}

// edges reads both edges at every station near their courses left and right,
// which it corrects by what it reads, and gives the blur that explains them:
// sigma, or near it when that may be chosen.
func (c *Course) edges(left, right []float64, sigma float64, choose bool) ([]edgeFit, float64) {
	par := c.par
	fits := make([]edgeFit, len(c.pts))
	reach := int(math.Round(par.StretchMM / (c.stationPx * c.mm)))
	// Twice: on a thin or blurred cane the first reading corrects where wood
	// and ground were taken from, and how near the other edge is felt.
	for round := range 2 {
		free := make([][2]bool, len(c.pts))
		for i := range c.pts {
			free[i] = [2]bool{c.clear(i, left[i], 1), c.clear(i, right[i], -1)}
		}
		cons := contrasts(c.sections, left, right, free, sigma, reach, par)
		if round == 0 && choose {
			sigma = sharpness(c.sections, cons, left, right, sigma, par)
		}
		for i, s := range c.sections {
			w := right[i] - left[i]
			var l, r reading
			if free[i][0] {
				l = s.find(&cons[i][0], left[i], 1, w, sigma, par)
			}
			if free[i][1] {
				r = s.find(&cons[i][1], right[i], -1, w, sigma, par)
			}
			fits[i] = edgeFit{a: l.v, b: r.v, u: math.Hypot(l.u, r.u), okA: l.ok, okB: r.ok, ok: l.ok && r.ok && r.v-l.v > 0.4*w}
		}
		if round == 0 {
			settle(fits, left, right, par.Settle)
		}
	}
	return fits, sigma
}

// clear tells whether no other wood lies about an edge at v; sign is 1 for the
// left edge and -1 for the right one.
func (c *Course) clear(i int, v, sign float64) bool {
	if c.foreign == nil {
		return true
	}
	a := angleAt(c.pts, i)
	for _, d := range []float64{-2, 1, 2.5, 4} {
		if o := v - sign*d; c.foreign(c.pts[i][0]-o*math.Sin(a), c.pts[i][1]+o*math.Cos(a)) {
			return false
		}
	}
	return true
}

// stations turns edges into diameters, about a centre line that is refined by
// them.
func (c *Course) stations(out *Profile, fits []edgeFit, told []bool, blur float64) {
	off := make([]float64, len(fits))
	good := make([]bool, len(fits))
	for i, f := range fits {
		off[i], good[i] = (f.a+f.b)/2, f.ok
	}
	off = smooth(off, good, c.par.Middle)
	for i := range fits {
		s := &out.Stations[i]
		n := assess.Point{-math.Sin(s.Angle), math.Cos(s.Angle)}
		s.Px = assess.Point{c.pts[i][0] + off[i]*n[0], c.pts[i][1] + off[i]*n[1]}
	}
	shoulder, known := c.m.Shoulder()
	if !known {
		shoulder = c.par.Shoulder
	}
	along := 0.0
	for i := range out.Stations {
		s, f := &out.Stations[i], fits[i]
		if i > 0 {
			along += c.m.Distance(out.Stations[i-1].Px, s.Px)
		}
		s.AlongMM = along
		s.Sigma = blur
		s.Inner = c.sections[i].middle(off[i], 0.3*c.width[i])
		s.Across, s.Red = c.sections[i].across(off[i], c.width[i])
		s.Crossed = c.foreign != nil && c.foreign(s.Px[0], s.Px[1])
		s.MMPerPx = c.m.Diameter(s.Px[0], s.Px[1], math.Cos(s.Angle), math.Sin(s.Angle))
		s.LeftRead, s.RightRead, s.Told = f.okA, f.okB, told[i]
		if f.okA {
			s.Left = off[i] - f.a
		}
		if f.okB {
			s.Right = f.b - off[i]
		}
		if !f.ok {
			continue
		}
		// In the picture y runs down, so that the normal (-sin, cos) points to
		// the right of somebody who walks from base to tip.
		if shoulder > 0 && !told[i] {
			gl, wl, wr, gr := c.sections[i].beside(f.a, f.b, blur)
			s.Left += blur * scale.Outward(gl, wl, shoulder)
			s.Right += blur * scale.Outward(gr, wr, shoulder)
		}
		s.DiameterMM = (s.Left + s.Right) * s.MMPerPx
		s.U = max(f.u*s.MMPerPx, 0.02)
	}
}

// settle moves the course of both edges to the running median of what was read.
func settle(fits []edgeFit, left, right []float64, reach int) {
	move := func(course []float64, get func(f edgeFit) (float64, bool)) {
		off := make([]float64, len(course))
		for i := range course {
			var near []float64
			for k := max(0, i-reach); k <= min(len(course)-1, i+reach); k++ {
				if v, ok := get(fits[k]); ok {
					near = append(near, v-course[k])
				}
			}
			if len(near) > reach/2 {
				slices.Sort(near)
				off[i] = near[len(near)/2]
			}
		}
		for i := range course {
			course[i] += off[i]
		}
	}
	move(left, func(f edgeFit) (float64, bool) { return f.a, f.okA })
	move(right, func(f edgeFit) (float64, bool) { return f.b, f.okB })
	for i := range left {
		if right[i]-left[i] < 1.5 {
			m := (left[i] + right[i]) / 2
			left[i], right[i] = m-0.75, m+0.75
		}
	}
}

// An edgeFit is where both edges lie at one station.
type edgeFit struct {
	a, b         float64 // px across
	u            float64 // standard uncertainty of b-a, px
	okA, okB, ok bool    // the left, the right, both
}

// fill takes an edge that couldn't be read from that of the lit part, which lies
// inside of a shaded rim; outerLeft and outerRight are by how much the
// rim's outer edge lies beside the lit part's, px.
func (f *edgeFit) fill(lit *edgeFit, rimLeft bool, outerLeft float64, rimRight bool, outerRight float64, par Params) {
	filled := false
	if !f.okA && lit.okA && rimLeft {
		f.a, f.okA, filled = lit.a+outerLeft, true, true
	}
	if !f.okB && lit.okB && rimRight {
		f.b, f.okB, filled = lit.b+outerRight, true, true
	}
	if filled {
		f.u = math.Hypot(lit.u, par.RimU)
		f.ok = f.okA && f.okB && f.b-f.a > 1.5
	}
}

// section is a cross-section: three channels at distances v, px.
type section struct {
	v []float64
	y [][3]float64
}

// at interpolates the section at a distance, px; false beyond its ends. It has two
// samples at least.
func (s *section) at(v float64) (y [3]float64, ok bool) {
	f := (v - s.v[0]) / (s.v[1] - s.v[0])
	j := int(math.Floor(f))
	if j < 0 || j+1 >= len(s.v) {
		return y, false
	}
	t := f - float64(j)
	for c := range y {
		y[c] = s.y[j][c]*(1-t) + s.y[j+1][c]*t
	}
	return y, true
}

// contrasts works out, for every station and both sides, how wood and ground
// are told apart over a stretch about it; free tells where nothing else lies on
// the left and on the right edge.
func contrasts(ss []*section, left, right []float64, free [][2]bool, sigma float64, reach int, par Params) [][2]contrast {
	n := len(ss)
	per := max(2, reach/3)
	blocks := (n + per - 1) / per
	type gathered struct{ ground, wood [2]colours }
	gs := make([]gathered, blocks)
	for i, s := range ss {
		w := right[i] - left[i]
		g := &gs[i/per]
		if free[i][0] {
			gatherSide(s, left[i], 1, w, sigma, &g.ground[0], &g.wood[0])
		}
		if free[i][1] {
			gatherSide(s, right[i], -1, w, sigma, &g.ground[1], &g.wood[1])
		}
	}
	out := make([][2]contrast, n)
	for k := range blocks {
		var c [2]contrast
		mid := min((k*per + per/2), n-1)
		w := right[mid] - left[mid]
		for side := range 2 {
			var ground, wood colours
			for j := max(0, k-1); j <= min(blocks-1, k+1); j++ {
				ground.merge(&gs[j].ground[side])
				wood.merge(&gs[j].wood[side])
			}
			c[side] = tell(&ground, &wood, par.Chroma*max(0, 1-w/par.ChromaPx))
		}
		for i := k * per; i < min((k+1)*per, n); i++ {
			out[i] = c
		}
	}
	return out
}

// sharpness picks the blur that explains the cane's edges best, near that
// which was read on the reference: a cane may stand out of focus, and colour
// is smeared farther than brightness where the file keeps less of it (chroma
// subsampling, ISO 10918-1).
func sharpness(ss []*section, cons [][2]contrast, left, right []float64, sigma float64, par Params) float64 {
	best, at := math.Inf(1), sigma
	for _, f := range []float64{0.8, 1, 1.25, 1.6, 2} {
		sum, n := 0.0, 0.0
		for i := 0; i < len(ss); i += max(1, len(ss)/40) {
			w := right[i] - left[i]
			for side, e := range []float64{left[i], right[i]} {
				r := ss[i].find(&cons[i][side], e, 1-2*float64(side), w, f*sigma, par)
				if r.loss > 0 {
					sum, n = sum+min(r.loss, 4), n+1
				}
			}
		}
		if n > 10 && sum/n < best {
			best, at = sum/n, f*sigma
		}
	}
	return at
}

// cross samples the cross-section at a place, averaged along the cane.
func cross(p *photo.Photo, at assess.Point, angle, width, beside, along float64) *section {
	pix, w, h := p.Pix(), p.Width, p.Height
	half := 0.5*width + beside
	step := max(0.5, width/40)
	n := int(2*half/step) + 1
	s := &section{v: make([]float64, 0, n), y: make([][3]float64, 0, n)}
	dx, dy := math.Cos(angle), math.Sin(angle)
	rows := max(3, int(math.Ceil(along)))
	for i := range n {
		v := -half + float64(i)*step
		var sum [3]float64
		cnt := 0.0
		for k := range rows {
			t := (float64(k)/float64(rows-1) - 0.5) * along
			x, y := at[0]+t*dx-v*dy, at[1]+t*dy+v*dx
			if !(x >= 0 && y >= 0 && x < float64(w-1) && y < float64(h-1)) {
				continue
			}
			xi, yi := int(x), int(y)
			fx, fy := float32(x-float64(xi)), float32(y-float64(yi))
			o := 3 * (yi*w + xi)
			d := o + 3*w
			for c := range 3 {
				top := photo.Linear[pix[o+c]]*(1-fx) + photo.Linear[pix[o+3+c]]*fx
				bot := photo.Linear[pix[d+c]]*(1-fx) + photo.Linear[pix[d+3+c]]*fx
				sum[c] += float64(top*(1-fy) + bot*fy)
			}
			cnt++
		}
		if cnt == 0 {
			continue
		}
		for c := range 3 {
			sum[c] /= cnt
		}
		s.v, s.y = append(s.v, v), append(s.y, sum)
	}
	return s
}

// resample puts points at even distances along a line, with the width that it
// was followed with.
func resample(l *trace.Line, m *scale.Map, par Params) (pts []assess.Point, width []float64) {
	px := smoothLine(l)
	w := fillWidth(l)
	mid := px[len(px)/2]
	step := max(par.StepMM/m.At(mid[0], mid[1]), 1.5)
	left := 0.0
	for i := 1; i < len(px); i++ {
		a, b := px[i-1], px[i]
		d := math.Hypot(b[0]-a[0], b[1]-a[1])
		for ; left <= d && d > 0; left += step {
			t := left / d
			pts = append(pts, assess.Point{a[0] + t*(b[0]-a[0]), a[1] + t*(b[1]-a[1])})
			width = append(width, w[i-1]+t*(w[i]-w[i-1]))
		}
		left -= d
	}
	return pts, width
}

// smoothLine takes the jitter of single steps out of a followed line.
func smoothLine(l *trace.Line) []assess.Point {
	out := make([]assess.Point, len(l.Points))
	for i := range l.Points {
		var x, y, n float64
		for k := -1; k <= 1; k++ {
			if j := i + k; j >= 0 && j < len(l.Points) {
				w := 2.0 - math.Abs(float64(k))
				if i+k < 0 || i-k < 0 || i-k >= len(l.Points) {
					continue // keep the ends in place
				}
				x, y, n = x+w*l.Points[j][0], y+w*l.Points[j][1], n+w
			}
		}
		out[i] = assess.Point{x / n, y / n}
	}
	return out
}

// fillWidth gives a running median of the followed widths, filled where the
// line was bridged.
func fillWidth(l *trace.Line) []float64 {
	out := make([]float64, len(l.Width))
	for i := range out {
		var ws []float64
		for r := 6; len(ws) < 3 && r < 400; r *= 2 {
			ws = ws[:0]
			for j := max(0, i-r); j <= min(len(out)-1, i+r); j++ {
				if l.Seen[j] {
					ws = append(ws, l.Width[j])
				}
			}
		}
		if len(ws) == 0 {
			out[i] = 8
			continue
		}
		slices.Sort(ws)
		out[i] = ws[len(ws)/2]
	}
	return out
}

func angleAt(p []assess.Point, i int) float64 {
	const reach = 4
	a, b := p[max(0, i-reach)], p[min(len(p)-1, i+reach)]
	return math.Atan2(b[1]-a[1], b[0]-a[0])
}

// taper replaces the widths, px, by the even taper that most of them agree on;
// stations are stationMM apart, one px is mm.
func taper(width []float64, stationMM, mm float64) {
	st := make([]Station, len(width))
	for i, w := range width {
		st[i] = Station{AlongMM: float64(i) * stationMM, DiameterMM: w * mm, U: 1}
	}
	if t := Tapering(st); t.ok {
		for i := range width {
			width[i] = max((t.at+t.slope*(float64(i)*stationMM-t.mid))/mm, 1.5)
		}
	}
}

// dropOff takes out readings where, over a stretch, they stand apart from the
// even taper that most of the cane agrees on: there the edges of something
// else were read.
func dropOff(st []Station, par Params) {
	t := Tapering(st)
	if !t.ok {
		return
	}
	bad := make([]bool, len(st))
	for i, s := range st {
		if s.U == 0 {
			continue
		}
		var near []float64
		for j := max(0, i-par.OffReach); j <= min(len(st)-1, i+par.OffReach); j++ {
			if st[j].U > 0 {
				near = append(near, st[j].DiameterMM)
			}
		}
		slices.Sort(near)
		want := t.at + t.slope*(s.AlongMM-t.mid)
		off := near[len(near)/2] - want
		bad[i] = math.Abs(off) > par.OffTaper*want+par.OffMM
	}
	for i := range st {
		if bad[i] {
			st[i].U, st[i].DiameterMM = 0, 0
		}
	}
}

// dropJumps takes out readings that stand apart from their neighbourhood.
func dropJumps(fits []edgeFit, par Params) {
	const reach = 14
	bad := make([]bool, len(fits))
	for i, f := range fits {
		if !f.ok {
			continue
		}
		var w []float64
		for j := max(0, i-reach); j <= min(len(fits)-1, i+reach); j++ {
			if fits[j].ok {
				w = append(w, fits[j].b-fits[j].a)
			}
		}
		slices.Sort(w)
		med := w[len(w)/2]
		bad[i] = len(w) < 4 || math.Abs(f.b-f.a-med) > par.Jump*med
	}
	for i := range fits {
		fits[i].ok = fits[i].ok && !bad[i]
	}
}

// smooth is a weighted running mean over the readings that are there.
func smooth(v []float64, ok []bool, reach int) []float64 {
	out := make([]float64, len(v))
	for i := range v {
		for r := reach; r < len(v); r *= 2 {
			s, n := 0.0, 0.0
			for j := max(0, i-r); j <= min(len(v)-1, i+r); j++ {
				if ok[j] {
					w := 1 - math.Abs(float64(j-i))/float64(r+1)
					s, n = s+w*v[j], n+w
				}
			}
			if n > 0 {
				out[i] = s / n
				break
			}
		}
	}
	return out
}

// evenly gives even distances to both sides of the middle, px.
func evenly(half, step float64) []float64 {
	n := int(half / step)
	out := make([]float64, 2*n+1)
	for i := range out {
		out[i] = float64(i-n) * step
	}
	return out
}

// oddsAt samples the log odds across a place.
func oddsAt(like Likelihood, foreign func(x, y float64) bool, at assess.Point, angle float64, v []float64) []float64 {
	out := make([]float64, len(v))
	s, c := math.Sin(angle), math.Cos(angle)
	for i, d := range v {
		x, y := at[0]-d*s, at[1]+d*c
		if foreign == nil || !foreign(x, y) {
			out[i] = like.At(x, y) // else it could be either
		}
	}
	return out
}
