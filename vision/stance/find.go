package stance

import (
	"cmp"
	"math"
	"slices"

	"nodespan/assess"
	"nodespan/vision/photo"
	"nodespan/vision/scale"
)

// Side is one of the two photos.
type Side struct {
	Map           *scale.Map
	Width, Height int // px
	Canes         []assess.Cane
	Wires         []assess.Wire

	features features
}

// SideOf gives a photo's side with what is seen beyond its canes and wires, by
// which the other photo's pose is held against it. Without that the card
// alone tells where the cameras stood, less surely.
func SideOf(p *photo.Photo, m *scale.Map, canes []assess.Cane, wires []assess.Wire, par Params) Side {
	return Side{Map: m, Width: p.Width, Height: p.Height, Canes: canes, Wires: wires, features: see(p, par)}
}

// Result is what two photos tell together.
type Result struct {
	// Why is empty, or the reason for which the second photo is of no use.
	Why assess.Reason
	// BaseMM is the distance between the two lenses, BaseU its standard
	// uncertainty, DistanceMM that of the first lens from the card's plane.
	BaseMM, BaseU, DistanceMM float64
	// FocalPx is the first photo's focal length as adjusted, K1 the lens's
	// radial distortion.
	FocalPx, K1 float64
	// Pairs is how many places beyond the card were recognised in both photos
	// and fit its poses.
	Pairs int
	// Courses has one entry for each cane of the first photo, nil where the
	// second shows no clear counterpart.
	Courses []*Course

	rig rig
}

// Transfer gives where a cane of the first photo, at its depths, must be seen
// in the second; for drawing.
func (r *Result) Transfer(c *assess.Cane, course *Course) []assess.Point {
	var out []assess.Point
	for i, q := range c.CentreLine {
		if i < len(c.AlongMM) {
			out = append(out, r.rig.b.project(r.rig.a.sight(q).at(course.At(c.AlongMM[i]))))
		}
	}
	return out
}

// Factors is Course.Factors for the second photo: line is a cane of the first as
// Transfer carries it over, along its millimetres in the first, m the second's map.
func (r *Result) Factors(course *Course, m *scale.Map, line []assess.Point, along []float64) []float64 {
	return course.factors(r.rig.b, m, line, along)
}

// Find holds the second photo b against the first, a. It never fails: what
// can't be told has a Reason, or no Course.
func Find(a, b Side, par Params) *Result {
	var best *Result
	pairs := same(a.features, b.features, par.FeatureRatio)
	for k, turn := range turns(a, b) {
		r := find(a, b, turn, pairs, par)
		// A photo that was taken upside down has its card's frame the other way
		// about; that is believed only when it explains much more.
		if best == nil || r.support() > 2*best.support() {
			best = r
		}
		if k == 0 && (r.Why == "" || r.Why == assess.SecondUnscaled) {
			break
		}
	}
	return best
}

func (r *Result) support() float64 {
	s := 0.0
	for _, c := range r.Courses {
		if c != nil && r.Why == "" {
			s += c.score
		}
	}
	return s
}

// turns are the ways in which the second photo's frame of the card may stand
// to the first's, the usual one first.
func turns(a, b Side) [][4]float64 {
	if long(a.Map) != long(b.Map) {
		return [][4]float64{{0, -1, 1, 0}, {0, 1, -1, 0}}
	}
	return [][4]float64{{1, 0, 0, 1}, {-1, 0, 0, -1}}
}

// long tells whether the pattern is wider than high in its frame.
func long(m *scale.Map) bool {
	mm, _, _, ok := m.Corners()
	return !ok || math.Abs(mm[1][0]-mm[0][0]) >= math.Abs(mm[2][1]-mm[1][1])
}

func find(a, b Side, turn [4]float64, pairs [][2]assess.Point, par Params) *Result {
	out := &Result{Courses: make([]*Course, len(a.Canes))}
	pair, ok := adjust(a.Map, b.Map, turn, pairs, par.FeatureU*math.Max(a.features.u, b.features.u), par)
	if !ok {
		out.Why = assess.SecondUnscaled
		return out
	}
	out.rig, out.Pairs = pair, pair.pairs
	from, to := vec(pair.a.at.Centre()), vec(pair.b.at.Centre())
	out.BaseMM, out.DistanceMM = to.plus(from, -1).norm(), -from[2]
	out.FocalPx, out.K1 = pair.a.f, pair.a.k1
	for _, o := range pair.off {
		d := vec(o[1].at.Centre()).plus(vec(o[0].at.Centre()), -1).norm() - out.BaseMM
		out.BaseU = math.Hypot(out.BaseU, d)
	}
	// A step towards the vine shows depth only off the middle: what counts is
	// the shift along the plane.
	if math.Hypot(to[0]-from[0], to[1]-from[1]) < math.Max(par.MinBase*out.DistanceMM, 3*out.BaseU) {
		out.Why = assess.SecondTooNear
		return out
	}
	if apart, ok := pair.wires(a, b); ok && apart > par.MaxWireMM || pair.corners > par.MaxCornersU {
		out.Why = assess.SecondDisagrees
		return out
	}
	could := pair.match(a, b, par, out)
	var ds []float64
	for _, c := range out.Courses {
		if c != nil {
			ds = append(ds, c.MeanMM)
		}
	}
	slices.Sort(ds)
	few := could >= 4 && float64(len(ds)) < par.MinPaired*float64(could)
	if few || len(ds) >= 4 && math.Abs(ds[len(ds)/2]) > par.MaxTogetherMM {
		out.Why = assess.SecondDisagrees
		out.Courses = make([]*Course, len(a.Canes))
	}
	return out
}

// match pairs canes and sets courses; could is how many canes of the first
// photo the second could show, at most as many as it has.
func (r rig) match(a, b Side, par Params, out *Result) (could int) {
	type pairing struct {
		i, j   int
		course *Course
	}
	var all []pairing
	frame := func(p assess.Point) bool {
		return p[0] >= 0 && p[1] >= 0 && p[0] < float64(b.Width) && p[1] < float64(b.Height)
	}
	for i := range a.Canes {
		ps := places(&a.Canes[i], r.a, par)
		shown := 0
		for k := range ps {
			if ps[k].shown = frame(r.b.project(ps[k].sight.at(0))); ps[k].shown {
				shown++
			}
		}
		if float64(shown)*par.StepMM < par.MinMM || len(ps) < 4 {
			continue
		}
		could++
		for j := range b.Canes {
			c := course(meet(ps, b.Canes[j].CentreLine, r.b, par), par)
			if c == nil {
				continue
			}
			c.Other, c.cam, c.distance = j, r.a, out.DistanceMM
			r.judge(c, &a.Canes[i], &b.Canes[j], b.Width, par)
			all = append(all, pairing{i, j, c})
		}
	}
	slices.SortStableFunc(all, func(p, q pairing) int { return cmp.Compare(q.course.score, p.course.score) })
	taken := map[int]bool{}
	done := map[int]bool{}
	for k, p := range all {
		if done[p.i] || taken[p.j] {
			continue
		}
		done[p.i] = true
		taken[p.j] = true
		clear := true
		for _, q := range all[k+1:] {
			if q.i == p.i && !taken[q.j] && q.course.score > par.Rival*p.course.score && math.Abs(q.course.MeanMM-p.course.MeanMM) > 25 {
				clear = false // two of them would do
			}
		}
		if clear && p.course.U <= par.MaxU {
			out.Courses[p.i] = p.course
		}
	}
	return min(could, len(b.Canes))
}

// judge sets a course's mean, its uncertainties and its score.
func (r rig) judge(c *Course, a, b *assess.Cane, width int, par Params) {
	until := 400.0
	if n := len(a.Nodes); n > 8 {
		until = a.Nodes[8].AlongMM
	} else if n > 2 {
		until = math.Max(a.Nodes[n-1].AlongMM, 150)
	}
	var line []assess.Point
	var near []float64
	n, unseen := 0.0, 0.0
	for i, s := range a.AlongMM {
		if s > until {
			break
		}
		n++
		c.MeanMM += c.At(s)
		unseen += math.Max(0, math.Max(c.from-s, s-c.to))
		line, near = append(line, a.CentreLine[i]), append(near, s)
	}
	if n > 0 {
		c.MeanMM /= n
		unseen /= n
	}
	// What the lines leave over, over as many places as count for themselves, and
	// what a whole line is off by.
	per := 0.0
	for _, h := range c.placesHit {
		per += h.perMM / float64(len(c.placesHit))
	}
	scatter := c.U * math.Sqrt(float64(len(c.coef))/math.Max(float64(len(c.coef)), c.spanMM/par.IndependentMM))
	own := math.Hypot(scatter, par.TracePx/per)
	own = math.Hypot(own, math.Tan(par.LeanU*math.Pi/180)*unseen)
	pose, size := r.carried(c, line, near)
	c.U = math.Hypot(own, pose)
	c.ScaleU = math.Hypot(own/(c.distance+c.MeanMM), size)
	// Over a stretch of the length L an error in depth of u at its ends leans
	// it by u/L and more; two degrees always remain, for bends in between.
	c.LeanU = math.Min(par.LeanU, math.Hypot(2, math.Atan(2.5*scatter/math.Max(c.to-c.from, 1))*180/math.Pi))

	thick := 1.0
	if a.Diameter.Known() && b.Diameter.Known() {
		z := math.Log(a.Diameter.Value/b.Diameter.Value) / par.ThickU
		thick = math.Exp(-z * z / 2)
	}
	z := c.LeftPx / (par.WigglePx * float64(width) / 3000)
	usual := c.MeanMM / par.UsualMM
	c.score = c.spanMM * math.Exp(-z*z/2) * (0.2 + 0.8*thick) * math.Exp(-usual*usual/2) * (0.7 + 0.3*r.joints(c, a, b))
}

// joints is the share of the first photo's nodes on the course that the
// second photo's cane has at the same place.
func (r rig) joints(c *Course, a, b *assess.Cane) float64 {
	have, both := 0, 0
	for _, n := range a.Nodes {
		if n.AlongMM < c.from || n.AlongMM > c.to {
			continue
		}
		have++
		q := r.b.project(r.a.sight(n.Px).at(c.At(n.AlongMM)))
		tol := 10 * r.b.f / c.distance
		if slices.ContainsFunc(b.Nodes, func(o assess.Node) bool { return math.Hypot(o.Px[0]-q[0], o.Px[1]-q[1]) < tol }) {
			both++
		}
	}
	if have == 0 {
		return 0.5
	}
	return float64(both) / float64(have)
}

// carried is the standard uncertainty of the depth of a stretch (mm), and the
// relative one of its millimetres per pixel, that the poses leave: both cameras are moved by
// one standard uncertainty in each independent direction.
func (r rig) carried(c *Course, line []assess.Point, along []float64) (depth, size float64) {
	if len(line) == 0 || len(c.placesHit) == 0 {
		return 0, 0
	}
	// Some places of the stretch stand for it.
	type sample struct {
		px     assess.Point
		dx, dy float64
		p, q   assess.Point
	}
	var some []sample
	step := max(1, len(line)/12)
	for i := 0; i < len(line); i += step {
		d := c.At(along[i])
		want := r.b.project(r.a.sight(line[i]).at(d))
		best, at := math.Inf(1), hit{}
		for _, h := range c.placesHit {
			if e := math.Hypot(h.at[0]-want[0], h.at[1]-want[1]); e < best {
				best, at = e, h
			}
		}
		dx, dy := direction(line, i)
		some = append(some, sample{line[i], dx, dy, at.p, at.q})
	}
	mean := func(a, b camera) (d, size float64) {
		n := 0.0
		for _, s := range some {
			if got, _, _, ok := b.depth(a.sight(s.px), s.p, s.q); ok {
				d += got
				size += a.across(s.px, s.dx, s.dy, got)
				n++
			}
		}
		return d / math.Max(n, 1), size / math.Max(n, 1)
	}
	d0, s0 := mean(r.a, r.b)
	for _, o := range r.off {
		d, s := mean(o[0], o[1])
		depth, size = math.Hypot(depth, d-d0), math.Hypot(size, s/s0-1)
	}
	return depth, size
}

// wires gives by how much the wires of both photos lie apart, mm on the card's
// plane, as the middle of all; ok is false where fewer than two can be compared.
func (r rig) wires(a, b Side) (apart float64, ok bool) {
	var off []float64
	scaleB := r.b.f / -r.b.at.Centre()[2]
	for _, w := range a.Wires {
		best := math.Inf(1)
		for _, q := range w.Line {
			if q[0] < 0 || q[0] > float64(a.Width) {
				continue
			}
			p := r.b.project(r.a.sight(q).at(0))
			for _, o := range b.Wires {
				if len(o.Line) < 2 || p[0] < 0 || p[0] > float64(b.Width) {
					continue
				}
				s, t := o.Line[0], o.Line[len(o.Line)-1]
				l := math.Hypot(t[0]-s[0], t[1]-s[1])
				if l > 0 {
					best = math.Min(best, math.Abs((t[0]-s[0])*(p[1]-s[1])-(t[1]-s[1])*(p[0]-s[0]))/l/scaleB)
				}
			}
		}
		if !math.IsInf(best, 1) {
			off = append(off, best)
		}
	}
	if len(off) < 2 || len(b.Wires) < 2 {
		return 0, false
	}
	slices.Sort(off)
	return off[len(off)/2], true
}
