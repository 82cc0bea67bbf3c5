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
	DiameterMM  float64
	U           float64 // standard uncertainty of DiameterMM from this reading alone; 0: no reading
}

// A Profile is one cane's thickness from base to tip.
type Profile struct {
	Stations []Station
	Sigma    float64 // median blur, px
}

// Measure reads the profile of one line. The error is only for a context that
// ended.
func Measure(ctx context.Context, p *photo.Photo, m *scale.Map, line *trace.Line, par Params) (*Profile, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	pts, seen, width := resample(line, m, par)
	if len(pts) < 4 {
		return &Profile{}, nil
	}
	out := &Profile{Stations: make([]Station, len(pts))}
	fits := make([]edgeFit, len(pts))
	across := angleAt(pts, len(pts)/2) + math.Pi/2
	blur := m.Blur(math.Cos(across), math.Sin(across))
	if blur == 0 {
		blur = 1
	}
	mid := pts[len(pts)/2]
	mm := m.At(mid[0], mid[1])
	stationPx := max(par.StepMM/mm, 1.5)
	var left, right []float64
	// Twice: the second time about the middle that the first has found, and
	// held to the width that prevails along the cane: where wood and ground
	// look alike for a while, the edges don't jump to the nearest bark.
	for _, tol := range []float64{par.WidthTol, par.TaperTol} {
		wide := func(i int) *section {
			return cross(p, pts[i], angleAt(pts, i), width[i], max(0.6*width[i], 11, 8/mm), max(par.AlongMM/mm, 3))
		}
		var ok bool
		left, right, ok = course(wide, width, blur, stationPx*mm, stationPx, tol, par)
		if !ok {
			return out, nil
		}
		angles := make([]float64, len(pts))
		for i := range pts {
			angles[i] = angleAt(pts, i)
		}
		for i := range pts {
			c := (left[i] + right[i]) / 2
			pts[i] = assess.Point{pts[i][0] - c*math.Sin(angles[i]), pts[i][1] + c*math.Cos(angles[i])}
			width[i] = right[i] - left[i]
		}
		prevail(width, int(120/(stationPx*mm)))
		if tol == par.TaperTol {
			for i := range pts {
				w := right[i] - left[i]
				left[i], right[i] = -w/2, w/2
			}
		}
	}
	at := func(i int) *section {
		return cross(p, pts[i], angleAt(pts, i), width[i], max(0.6*width[i], 8), max(par.AlongMM/mm, 3))
	}
	// The ground beside the cane, stretch by stretch.
	const stretch = 40
	white := make([]whitener, len(pts)/stretch+1)
	for k := range white {
		var t texture
		for i := k * stretch; i < min((k+1)*stretch, len(pts)); i += 4 {
			t.add(at(i), -width[i]/2, width[i]/2)
		}
		white[k] = t.whiten()
	}
	plain := at
	at = func(i int) *section {
		s := plain(i)
		white[i/stretch].apply(s)
		return s
	}
	out.Sigma = blur
	lit := settle(at, seen, left, right, blur, par)
	sh := newShading(lit)
	// Colour is smeared farther than brightness (chroma subsampling in ISO
	// 10918-1 files), and a thin cane is all edge: there the blur is fitted.
	var sigmas []float64
	for i := 0; i < len(pts); i += 6 {
		if seen[i] {
			if f := at(i).fit(sh, left[i], right[i], blur, true, 8, par); f.ok && f.sigma < 2.5*blur {
				sigmas = append(sigmas, f.sigma)
			}
		}
	}
	if len(sigmas) > 4 {
		slices.Sort(sigmas)
		blur = max(0.8*blur, sigmas[len(sigmas)/2])
		out.Sigma = blur
	}
	for i := range pts {
		s := &out.Stations[i]
		s.Px, s.Angle = pts[i], angleAt(pts, i)
		sec := at(i)
		f := sec.fit(sh, left[i], right[i], blur, false, 5, par)
		sec.discount(f)
		fits[i] = sec.fit(sh, f.a, f.b, blur, false, 5, par)
		// An edge is read near its course or not at all.
		most := max(0.3*(right[i]-left[i]), 2)
		if !seen[i] || math.Abs(fits[i].a-left[i]) > most || math.Abs(fits[i].b-right[i]) > most {
			fits[i].ok = false
		}
	}
	dropJumps(fits, par)
	// Refine the centre line from the edges, smoothly.
	off := make([]float64, len(pts))
	good := make([]bool, len(pts))
	for i, f := range fits {
		off[i], good[i] = (f.a+f.b)/2, f.ok
	}
	off = smooth(off, good, 2)
	for i := range pts {
		s := &out.Stations[i]
		n := assess.Point{-math.Sin(s.Angle), math.Cos(s.Angle)}
		s.Px = assess.Point{pts[i][0] + off[i]*n[0], pts[i][1] + off[i]*n[1]}
	}
	along := 0.0
	for i := range out.Stations {
		s, f := &out.Stations[i], fits[i]
		if i > 0 {
			along += m.Distance(out.Stations[i-1].Px, s.Px)
		}
		s.AlongMM = along
		s.Sigma = f.sigma
		s.Inner = plain(i).middle(off[i], 0.3*width[i])
		if !f.ok {
			continue
		}
		// In the picture y runs down, so that the normal (-sin, cos) points to
		// the right of somebody who walks from base to tip.
		s.Left, s.Right = off[i]-f.a, f.b-off[i]
		if par.Shoulder > 0 {
			gl, wl, wr, gr := plain(i).beside(f.a, f.b, blur)
			s.Left += blur * outward(gl, wl, par.Shoulder)
			s.Right += blur * outward(gr, wr, par.Shoulder)
		}
		k := m.Diameter(s.Px[0], s.Px[1], math.Cos(s.Angle), math.Sin(s.Angle))
		s.DiameterMM = (s.Left + s.Right) * k
		s.U = max(f.u*k, 0.02)
	}
	return out, nil
}

// cross samples the cross-section at a place, averaged along the cane.
func cross(p *photo.Photo, at assess.Point, angle, width, beside, along float64) *section {
	pix, w, h := p.Pix(), p.Width, p.Height
	half := 0.5*width + beside
	step := max(0.5, width/40)
	n := int(2*half/step) + 1
	s := &section{v: make([]float64, 0, n), y: make([][3]float64, 0, n), w: make([]float64, 0, n)}
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
		// What is far out matters less: there other things begin.
		out := max(0, math.Abs(v)-0.75*width-3) / (0.3*width + 3)
		s.v, s.y, s.w = append(s.v, v), append(s.y, sum), append(s.w, 1/(1+out*out))
	}
	return s
}

// resample puts points at even distances along a line, with the width that it
// was followed with and whether it was seen there.
func resample(l *trace.Line, m *scale.Map, par Params) (pts []assess.Point, seen []bool, width []float64) {
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
			seen = append(seen, l.Seen[i-1] && l.Seen[i])
			width = append(width, w[i-1]+t*(w[i]-w[i-1]))
		}
		left -= d
	}
	return pts, seen, width
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

// prevail replaces each width by the running median within reach stations.
func prevail(width []float64, reach int) {
	src := slices.Clone(width)
	buf := make([]float64, 0, 2*reach+1)
	for i := range width {
		buf = append(buf[:0], src[max(0, i-reach):min(len(src), i+reach+1)]...)
		slices.Sort(buf)
		width[i] = buf[len(buf)/2]
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
