package trace

import (
	"cmp"
	"context"
	"math"
	"slices"

	"nodespan/assess"
	"nodespan/vision/photo"
	"nodespan/vision/scale"
	"nodespan/vision/wood"
)

// A Line is the centre line of one piece of wood or wire, base first for canes.
type Line struct {
	Points []assess.Point
	Width  []float64 // px, as followed; NaN where bridged
	Seen   []bool
	Guided bool
	// Clear is how clearly its edges showed while it was followed, summed.
	Clear float64
	// Learned: followed on the likeness to wood that was recognised before.
	Learned bool
	// LostMM is how far above the fruiting wire the line begins where nothing bears
	// it: at most so much of the cane's lower end wasn't seen.
	LostMM float64
}

// Result is what this stage hands on.
type Result struct {
	Canes   []Line
	Wires   []assess.Wire
	OldWood []Line
	Dropped []Dropped // what was followed and not taken for a cane
	borne   bool      // something was found that canes can arise from
}

// Dropped is a line that was not taken for a cane, with the reason.
type Dropped struct {
	Line Line
	Why  string
}

// Enlarge takes what was found on a copy of which one pixel is f by f of the
// photo's to the photo.
func (r *Result) Enlarge(f float64) {
	place := func(ps []assess.Point) {
		for i, q := range ps {
			ps[i] = assess.Point{photo.Whole(q[0], f), photo.Whole(q[1], f)}
		}
	}
	line := func(l *Line) {
		place(l.Points)
		for i := range l.Width {
			l.Width[i] *= f
		}
	}
	for i := range r.Canes {
		line(&r.Canes[i])
	}
	for i := range r.OldWood {
		line(&r.OldWood[i])
	}
	for i := range r.Dropped {
		line(&r.Dropped[i].Line)
	}
	for i := range r.Wires {
		place(r.Wires[i].Line)
	}
}

// Find follows what the seeds propose, joins what goes on beyond crossings,
// and tells canes from wires, old wood and the rest.
func Find(ctx context.Context, p *photo.Photo, m *scale.Map, seeds []wood.Seed, par Params) (*Result, error) {
	seeds = slices.DeleteFunc(slices.Clone(seeds), func(s wood.Seed) bool { return onReference(m, s.X, s.Y) })
	rs := ribbons(p, m, seeds[:min(len(seeds), par.MostFirst)], par)
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	rs = join(rs, par, m.At)
	return sortOut(p, m, rs, par), nil
}

// Again follows canes a second time, on a view of the photo in which wood that
// looks like the recognised canes is bright: like says by what it is followed,
// hue by what it is told from far wood; from are the lines that both were learned
// from. What was found before counts where the second look found nothing.
func Again(ctx context.Context, p *photo.Photo, like, hue *wood.Likeness, m *scale.Map, seeds []wood.Seed, from []Line, before *Result, par Params) (*Result, error) {
	seeds = slices.DeleteFunc(slices.Clone(seeds), func(s wood.Seed) bool { return onReference(m, s.X, s.Y) })
	usual := usualOdds(like, from)
	rs := strands(like, m, seeds, usual, par)
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	rs = join(rs, par, m.At)
	return sortLearned(p, m, rs, hue, usualOdds(hue, from), before, par), nil
}

// usualOdds is what the likeness mostly says in the middle of lines.
func usualOdds(like *wood.Likeness, ls []Line) float64 {
	var o []float64
	for _, l := range ls {
		for i, q := range l.Points {
			if l.Seen[i] {
				o = append(o, like.At(q[0], q[1]))
			}
		}
	}
	if len(o) == 0 {
		return 0
	}
	slices.Sort(o)
	return o[len(o)/2]
}

// onReference tells whether a place lies on the card or bar, with its margin
// and clips.
func onReference(m *scale.Map, x, y float64) bool {
	if m.Kind == "marks" {
		return false
	}
	x0, y0, x1, y1 := math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	for _, q := range m.Outline {
		u, v := m.PxToMM.Apply(q[0], q[1])
		x0, y0, x1, y1 = min(x0, u), min(y0, v), max(x1, u), max(y1, v)
	}
	u, v := m.PxToMM.Apply(x, y)
	const margin = 28
	return u > x0-margin && u < x1+margin && v > y0-margin && v < y1+margin
}

func (r *ribbon) line() Line {
	var l Line
	for _, s := range r.steps {
		l.Points = append(l.Points, assess.Point{s.x, s.y})
		l.Seen = append(l.Seen, s.seen)
		l.Clear += s.score
		w := s.width
		if !s.seen {
			w = math.NaN()
		}
		l.Width = append(l.Width, w)
	}
	return l
}

// MedianWidth is the median of the seen widths, px.
func (l *Line) MedianWidth() float64 {
	var w []float64
	for i, s := range l.Seen {
		if s {
			w = append(w, l.Width[i])
		}
	}
	if len(w) == 0 {
		return 0
	}
	slices.Sort(w)
	return w[len(w)/2]
}

// sortOut tells canes from wires, old wood and the rest among what was followed
// without knowing the wood's colour. It errs to too few: the colour is learned
// from what it lets pass.
func sortOut(p *photo.Photo, m *scale.Map, rs []ribbon, par Params) *Result {
	out := &Result{}
	var rest []Line
	for i := range rs {
		l := rs[i].line()
		if isWire(m, &l) {
			out.Wires = append(out.Wires, assess.Wire{Line: ends(l.Points), Role: "unknown"})
			continue
		}
		rest = append(rest, l)
	}
	out.Wires = mergeWires(out.Wires, p)
	ground := fruiting(m, out.Wires)
	upper := upperFruiting(m, out.Wires, ground)
	white := whiteOf(p, m)
	plain := plainBackdrop(p, m, ground, par)
	var canes, air []Line
	for _, l := range rest {
		why := ""
		l, why = asCane(m, l, ground, par)
		if why == "" && l.straight(m, 0) || why == inAir && l.straight(m, jitterPx) {
			why = tooStraight
		}
		if why == "" || why == inAir {
			if w := looksLike(p, m, &l, white, par); w != "" {
				why = w
			}
		}
		switch why {
		case "":
			canes = append(canes, l)
		case inAir:
			air = append(air, l)
		case oldWood:
			out.OldWood = append(out.OldWood, l)
		default:
			out.Dropped = append(out.Dropped, Dropped{l, why})
		}
	}
	bearers := bearing(p, m, ground, upper, white, out, par)
	out.borne = len(bearers) > 0
	// A cane may also arise from old wood that arches to the upper wire, or
	// its base may be lost in clutter while the rest stands clear.
	for _, l := range air {
		base := l.Points[0]
		rise := (ground(base[0]) - base[1]) * m.At(base[0], base[1])
		length := pathLength(l.mm(m))
		width := l.MedianWidth() * m.At(base[0], base[1])
		switch {
		case plain && rise > -150 && rise < 700:
			canes = append(canes, l)
		case math.Abs(rise) < 450 && nearAny(m, base, bearers, par.BearMM):
			canes = append(canes, l)
		case length > par.AirLengthMM && width > par.AirWidthMM && rise > 0 && rise < par.AirRiseMM &&
			(ground(l.Points[len(l.Points)-1][0])-l.Points[len(l.Points)-1][1])*m.At(base[0], base[1]) > par.AirTipMM:
			canes = append(canes, l)
		default:
			out.Dropped = append(out.Dropped, Dropped{l, inAir})
		}
	}
	// Something must bear a cane: old wood, a trunk's top, or so much length
	// that nothing far behind could show it.
	var borne []Line
	for i, l := range canes {
		tip := l.Points[len(l.Points)-1]
		rise := (ground(tip[0]) - tip[1]) * m.At(tip[0], tip[1])
		if plain || nearAny(m, l.Points[0], bearers, par.BearMM) || fans(m, canes, i) || rise > par.AirTipMM && pathLength(l.mm(m)) > par.AirLengthMM {
			borne = append(borne, l)
		} else {
			out.Dropped = append(out.Dropped, Dropped{l, "grows from nothing"})
		}
	}
	out.once(borne)
	return out
}

// once takes each cane a single time.
func (r *Result) once(canes []Line) {
	keep := OnceEach(canes)
	for i, l := range canes {
		if slices.Contains(keep, i) {
			r.Canes = append(r.Canes, l)
		} else {
			r.Dropped = append(r.Dropped, Dropped{l, "the same cane again"})
		}
	}
}

// atSide tells whether a place lies at the left or right border of the picture.
func atSide(p *photo.Photo, q assess.Point) bool {
	const border = 25
	return q[0] < border || q[0] > float64(p.Width-1-border)
}

func ends(p []assess.Point) []assess.Point { return []assess.Point{p[0], p[len(p)-1]} }

// mm gives the line's points in millimetres on the wire plane.
func (l *Line) mm(m *scale.Map) [][2]float64 {
	out := make([][2]float64, len(l.Points))
	for i, q := range l.Points {
		out[i][0], out[i][1] = m.PxToMM.Apply(q[0], q[1])
	}
	return out
}

func pathLength(q [][2]float64) float64 {
	s := 0.0
	for i := 1; i < len(q); i++ {
		s += math.Hypot(q[i][0]-q[i-1][0], q[i][1]-q[i-1][1])
	}
	return s
}

// isWire: long, nearly level in the card's frame, straighter than any wood.
func isWire(m *scale.Map, l *Line) bool {
	q := l.mm(m)
	a, b := q[0], q[len(q)-1]
	d := math.Hypot(b[0]-a[0], b[1]-a[1])
	// Level in the picture, not in the card's frame: a card may hang askew.
	u, v := l.Points[0], l.Points[len(l.Points)-1]
	if d < 250 || math.Abs(v[1]-u[1]) > 0.27*math.Abs(v[0]-u[0]) {
		return false
	}
	nx, ny := -(b[1]-a[1])/d, (b[0]-a[0])/d
	sum, n := 0.0, 0.0
	for i, c := range q {
		if !l.Seen[i] {
			continue
		}
		// A sagging or lens-bent wire is a parabola; only what is left counts.
		e := (c[0]-a[0])*nx + (c[1]-a[1])*ny
		sum += e * e
		n++
	}
	rms := math.Sqrt(sum / max(n, 1))
	width := l.MedianWidth() * m.At(l.Points[len(l.Points)/2][0], l.Points[len(l.Points)/2][1])
	// Two wires of a pair are followed as one ribbon when they run close.
	return rms < 0.006*d && (width < 6 || rms < 0.003*d && d > 600)
}

// mergeWires puts pieces of one wire together and keeps those that are long.
func mergeWires(ws []assess.Wire, p *photo.Photo) []assess.Wire {
	type fit struct{ a, b float64 } // y = a + b x at the picture's middle column
	mid := float64(p.Width) / 2
	var groups [][]assess.Wire
	var lines []fit
	for _, w := range ws {
		u, v := w.Line[0], w.Line[1]
		if u[0] > v[0] {
			u, v = v, u
		}
		b := (v[1] - u[1]) / max(v[0]-u[0], 1)
		f := fit{u[1] + b*(mid-u[0]), b}
		cx := (u[0]+v[0])/2 - mid
		put := false
		for k, g := range lines {
			if math.Abs(f.a+f.b*cx-g.a-g.b*cx) < 12 && math.Abs(f.b-g.b) < 0.06 {
				groups[k] = append(groups[k], w)
				put = true
				break
			}
		}
		if !put {
			groups, lines = append(groups, []assess.Wire{w}), append(lines, f)
		}
	}
	var out []assess.Wire
	for _, g := range groups {
		lo, hi := assess.Point{math.Inf(1)}, assess.Point{math.Inf(-1)}
		covered := 0.0
		for _, w := range g {
			for _, q := range w.Line {
				if q[0] < lo[0] {
					lo = q
				}
				if q[0] > hi[0] {
					hi = q
				}
			}
			covered += math.Abs(w.Line[1][0] - w.Line[0][0])
		}
		if hi[0]-lo[0] > 0.25*float64(p.Width) && covered > 0.4*(hi[0]-lo[0]) {
			out = append(out, assess.Wire{Line: []assess.Point{lo, hi}, Role: "unknown"})
		}
	}
	slices.SortFunc(out, func(a, b assess.Wire) int {
		return cmp.Compare(wireY(b, mid), wireY(a, mid))
	})
	if len(out) > 0 {
		out[0].Role = "lower_fruiting"
	}
	return out
}

// wireY is the wire's height in the picture at column x, px.
func wireY(w assess.Wire, x float64) float64 {
	a, b := w.Line[0], w.Line[1]
	if b[0] == a[0] {
		return a[1]
	}
	return a[1] + (b[1]-a[1])*(x-a[0])/(b[0]-a[0])
}

// fruiting gives the height of the lower fruiting wire at a column of the
// picture, and sorts the wires so that it comes first. The reference hangs from
// it, so it passes just above the reference; where no wire was seen there (old
// wood hides it, or it is too thin), it is drawn through the reference's upper
// edge in the direction of the other wires.
func fruiting(m *scale.Map, ws []assess.Wire) func(x float64) float64 {
	top := m.Centre
	for _, q := range m.Outline {
		if q[1] < top[1] {
			top = assess.Point{m.Centre[0], q[1]}
		}
	}
	mm := m.At(top[0], top[1])
	best, at := math.Inf(1), -1
	for i, w := range ws {
		up := (top[1] - wireY(w, top[0])) * mm
		if m.Kind == "marks" {
			up = 0 // marks may lie anywhere: the lowest wire it is
		}
		if up > -25 && up < 110 && up < best {
			best, at = up, i
			if m.Kind == "marks" {
				break
			}
		}
	}
	for i := range ws {
		ws[i].Role = "unknown"
	}
	if at >= 0 {
		w := ws[at]
		copy(ws[1:at+1], ws[:at])
		ws[0] = w
		ws[0].Role = "lower_fruiting"
		return func(x float64) float64 { return wireY(w, x) }
	}
	slope := 0.0
	if len(ws) > 0 {
		slope = (ws[0].Line[1][1] - ws[0].Line[0][1]) / max(ws[0].Line[1][0]-ws[0].Line[0][0], 1)
	}
	y := top[1] - 20/mm
	return func(x float64) float64 { return y + slope*(x-top[0]) }
}

// upperFruiting gives how far the upper fruiting wire lies above the lower one,
// mm, 0 when there is none: the next single wire within reach of a cane that
// is bent down from the one to the other.
func upperFruiting(m *scale.Map, ws []assess.Wire, ground func(float64) float64) float64 {
	x := m.Centre[0]
	for i := range ws {
		up := (ground(x) - wireY(ws[i], x)) * m.At(x, ground(x))
		if up > 120 && up < 450 {
			ws[i].Role = "upper_fruiting"
			return up
		}
	}
	return 0
}

// bearing lists what a cane can arise from: old wood that touches a fruiting
// wire, and what runs down from the wire, a trunk's sides.
func bearing(p *photo.Photo, m *scale.Map, ground func(float64) float64, upper float64, white [3]float64, r *Result, par Params) []Line {
	var out []Line
	for _, o := range r.OldWood {
		mid := o.Points[len(o.Points)/2]
		if o.MedianWidth()*m.At(mid[0], mid[1]) < 5 || pathLength(o.mm(m)) < 120 || looksLike(p, m, &o, white, par) == notWood {
			continue
		}
		on := 0
		for _, q := range o.Points {
			rise := (ground(q[0]) - q[1]) * m.At(q[0], q[1])
			if math.Abs(rise) < 60 || upper > 0 && math.Abs(rise-upper) < 45 {
				on++
			}
		}
		if on*10 > 6*len(o.Points) {
			out = append(out, o)
		}
	}
	for _, d := range r.Dropped {
		if d.Why != belowWire {
			continue
		}
		a, b := d.Line.Points[0], d.Line.Points[len(d.Line.Points)-1]
		top := a
		if b[1] < a[1] {
			top = b
		}
		drop := (top[1] - ground(top[0])) * m.At(top[0], top[1])
		if pathLength(d.Line.mm(m)) > 180 && looksLike(p, m, &d.Line, white, par) == "" && drop > -60 && drop < 130 && math.Abs(b[1]-a[1]) > 1.5*math.Abs(b[0]-a[0]) {
			out = append(out, d.Line)
		}
	}
	return out
}

// fans tells whether a line leaves the same place as another one in another
// direction, as canes leave a head; posts stand apart and parallel.
func fans(m *scale.Map, ls []Line, i int) bool {
	dir := func(l *Line) float64 {
		a, b := l.Points[0], l.Points[min(len(l.Points)-1, 25)]
		return math.Atan2(b[1]-a[1], b[0]-a[0])
	}
	for k := range ls {
		if k != i && m.Distance(ls[k].Points[0], ls[i].Points[0]) < 90 && math.Abs(math.Sin(dir(&ls[k])-dir(&ls[i]))) > 0.1 {
			return true
		}
	}
	return false
}

// asCane turns a line base first and says why it is no cane, or "".
func asCane(m *scale.Map, l Line, ground func(float64) float64, par Params) (Line, string) {
	a, b := l.Points[0], l.Points[len(l.Points)-1]
	// The base is the end nearer to the fruiting zone.
	ha, hb := ground(a[0])-a[1], ground(b[0])-b[1]
	if math.Abs(ha) > math.Abs(hb) {
		l.reverse()
	}
	q := l.mm(m)
	length := pathLength(q)
	mm := m.At(l.Points[0][0], l.Points[0][1])
	rise := func(i int) float64 {
		return (ground(l.Points[i][0]) - l.Points[i][1]) * m.At(l.Points[i][0], l.Points[i][1])
	}
	above := 0
	for i := range l.Points {
		if rise(i) > -40 {
			above++
		}
	}
	width := l.MedianWidth() * mm
	switch {
	case length < 130:
		return l, "short"
	case above*10 < len(l.Points)*6:
		return l, belowWire
	}
	// Level near the wire: last winter's wood tied down.
	k := 0
	for k < len(q)-1 && math.Hypot(q[k][0]-q[0][0], q[k][1]-q[0][1]) < 220 {
		k++
	}
	if u, v := l.Points[0], l.Points[k]; math.Abs(v[1]-u[1]) < 0.45*math.Abs(v[0]-u[0]) {
		return l, oldWood
	}
	least := par.MinWidthMM
	if l.Learned {
		least = par.ThinMM
	}
	if width < least {
		return l, "thin"
	}
	seen := 0
	for _, s := range l.Seen {
		if s {
			seen++
		}
	}
	if seen*10 < len(l.Seen)*6 {
		return l, bridged
	}
	if math.Abs(rise(0)) > par.BaseMM {
		return l, inAir
	}
	return l, ""
}

func (l *Line) reverse() {
	slices.Reverse(l.Points)
	slices.Reverse(l.Width)
	slices.Reverse(l.Seen)
}

// jitterPx is how far following strays from a straight edge. It is allowed for
// where nothing but a line's length speaks for a cane.
const jitterPx = 0.15

// straight tells whether a line is straighter than a cane grows: posts, stakes
// and the edges of sheets are. What is left after a straight line is compared
// with the length; every cane bends at its nodes. jitter, px, is allowed for.
func (l *Line) straight(m *scale.Map, jitter float64) bool {
	q := l.mm(m)
	var mx, my, n float64
	for i, c := range q {
		if l.Seen[i] {
			mx, my, n = mx+c[0], my+c[1], n+1
		}
	}
	mx, my = mx/n, my/n
	var a, b, c float64
	for i, p := range q {
		if l.Seen[i] {
			dx, dy := p[0]-mx, p[1]-my
			a, b, c = a+dx*dx, b+dx*dy, c+dy*dy
		}
	}
	t := 0.5 * math.Atan2(2*b, a-c)
	sum := 0.0
	for i, p := range q {
		if l.Seen[i] {
			e := -(p[0]-mx)*math.Sin(t) + (p[1]-my)*math.Cos(t)
			sum += e * e
		}
	}
	return math.Sqrt(sum/n) < 0.0013*pathLength(q)+jitter*m.At(l.Points[0][0], l.Points[0][1])
}
