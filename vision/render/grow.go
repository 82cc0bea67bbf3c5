package render

import (
	"math"
	"math/rand/v2"
)

// stationMM is the distance between stations of a cane: a third of the width
// of a node's swelling, so that linear interpolation keeps its shape.
const stationMM = 2.0

// grower carries what growing a vine needs.
type grower struct {
	p      Params
	r      *rand.Rand
	s      *Scene
	nextID int32
	// back is where the vine stands: 0 in the wire plane, else a row behind,
	// of which no truth is kept.
	back float64
}

func (g *grower) seed() uint32 { return g.r.Uint32() }

// caneTint draws a ripe cane's colour: from straw through tan to red-brown.
func (g *grower) caneTint() rgb {
	tan, red, straw := rgb{0.33, 0.20, 0.10}, rgb{0.25, 0.125, 0.07}, rgb{0.38, 0.27, 0.13}
	t := g.r.Float64()
	c := tan.to(red, t)
	if g.r.Float64() < 0.25 {
		c = tan.to(straw, t)
	}
	grey := rgb{1.06, 1, 0.9}.mul(c.grey())
	return c.to(grey, between(g.r, 0.1, 0.5)).mul(between(g.r, 0.8, 1.25))
}

// growVine grows trunk, head, old wood and canes at x.
func (g *grower) growVine(x float64, vine int) {
	r, p := g.r, g.p
	headZ := p.LowerWireMM - between(r, 20, 90)
	trunkR := between(r, 26, 40)
	bottom := vec{x + between(r, -60, 60), g.back + between(r, -20, 20), -20}
	top := vec{x, g.back + between(r, -8, 8), headZ}
	trunk := g.path([]vec{bottom, bottom.to(top, 0.35).add(vec{between(r, -25, 25), between(r, -10, 10), 0}), bottom.to(top, 0.75).add(vec{between(r, -18, 18), 0, 0}), top}, 8)
	t := g.tubeOf(trunk, func(s, l float64) float64 { return trunkR * (1.12 - 0.14*s/l + 0.10*math.Exp(-(l-s)/50)) }, matTrunk, rgb{0.105, 0.08, 0.062})
	t.rough, t.class = 0.09, "trunk"
	g.addWood(t)
	for i := 0; i < 30; i++ { // the head is a knob of old cuts
		q := top.add(vec{between(r, -36, 36), between(r, -16, 16), between(r, -40, 20)})
		g.s.beads = append(g.s.beads, bead{p: q, r: between(r, 8, 20), mat: matKnob, tint: t.tint.mul(between(r, 0.9, 1.3)), seed: t.seed + uint32(i)})
	}
	for i := 0; i < 5; i++ { // strips of loose bark
		k := r.IntN(len(trunk)*3/4) + 1
		a := trunk[k].add(vec{trunkR * pick(r, -1.0, 1.0) * between(r, 0.85, 1.05), -trunkR * between(r, 0, 0.6), 0})
		b := a.add(vec{between(r, -14, 14), between(r, -8, 2), between(r, 40, 130)})
		strip := g.tubeOf(g.path([]vec{a, a.to(b, 0.5).add(vec{between(r, -6, 6), 0, 0}), b}, 6), func(s, l float64) float64 { return 1.6 * (1 - 0.7*s/l) }, matOld, t.tint.mul(0.8))
		g.s.tubes = append(g.s.tubes, strip)
	}
	if g.back == 0 && vine == 0 {
		h := top
		g.s.head = &h
	}

	n := p.Growth.Canes[0] + r.IntN(p.Growth.Canes[1]-p.Growth.Canes[0]+1)
	if vine != 0 || g.back != 0 {
		n = max(n*2/3, 3)
	}
	type seat struct {
		at     vec
		lean   float64
		origin string
	}
	var seats []seat
	arms := pick(r, []int{-1, 1}, []int{-1, 1}, []int{-1, 1, 2}, []int{-1, 1, -2, 2}, []int{1}, []int{-1})
	for _, a := range arms {
		arm := g.oldWood(top, a)
		for s := between(r, 130, 190); s < arm.st[len(arm.st)-1].s-25; s += between(r, 75, 135) {
			if r.Float64() < 0.62 {
				q := arm.at(s)
				seats = append(seats, seat{q.add(vec{0, between(r, -2, 2), arm.radiusAt(s) * 0.5}), between(r, -9, 9), "old_wood"})
			}
		}
	}
	r.Shuffle(len(seats), func(i, j int) { seats[i], seats[j] = seats[j], seats[i] })
	if keep := max(n-3, 2); len(seats) > keep {
		seats = seats[:keep]
	}
	for len(seats) < n { // the rest from the head and from spurs on it
		side := between(r, -1, 1)
		base := top.add(vec{side * 38, between(r, -14, 14), between(r, 6, 24)})
		origin := "head"
		if r.Float64() < 0.55 {
			origin = "spur"
			tip := base.add(vec{side * 18, between(r, -4, 4), between(r, 22, 45)})
			stub := g.tubeOf(g.path([]vec{base.sub(vec{side * 8, 0, 12}), base, tip}, 3), func(s, l float64) float64 { return 8 - 1.5*s/l }, matOld, rgb{0.15, 0.11, 0.08})
			stub.class, stub.rough = "old_wood", 0.05
			g.addWood(stub)
			g.endCap(stub, matCut)
			base = tip.sub(vec{0, 0, between(r, 4, 9)})
		}
		seats = append(seats, seat{base, side * 14, origin})
	}
	for _, s := range seats {
		for try := 0; ; try++ {
			lean := clamp(s.lean+between(r, -1, 1)*p.Growth.LeanDeg*0.55, -p.Growth.LeanDeg, p.Growth.LeanDeg)
			undo := g.mark()
			if g.growCane(s.at, lean, s.origin, vine); try == 8 || !g.clashes() {
				break
			}
			undo()
		}
	}
}

// mark remembers the scene as it is; what it returns takes back what has grown
// since.
func (g *grower) mark() (undo func()) {
	s, tubes, beads, wood, canes, id := g.s, len(g.s.tubes), len(g.s.beads), len(g.s.wood), len(g.s.canes), g.nextID
	return func() {
		s.tubes, s.beads, s.wood, s.canes = s.tubes[:tubes], s.beads[:beads], s.wood[:wood], s.canes[:canes]
		g.nextID = id
	}
}

// clashShare is the share of a cane that may lie within another one: two canes
// that cross may touch, but none grows through another.
const clashShare = 0.06

// clashes tells whether the newest cane runs inside an older one.
func (g *grower) clashes() bool {
	n := len(g.s.canes) - 1
	if g.back != 0 || n < 1 {
		return false
	}
	t := g.s.canes[n].t
	for _, o := range g.s.canes[:n] {
		in, seen := 0, 0
		for i := 15; i < len(t.st); i += 4 { // the bases may share a seat
			a := t.st[i]
			seen++
			for k := 0; k < len(o.t.st); k += 3 {
				if d := a.p.sub(o.t.st[k].p); d.dot(d) < (a.r+o.t.st[k].r)*(a.r+o.t.st[k].r) {
					in++
					break
				}
			}
		}
		if float64(in) > clashShare*float64(seen) {
			return true
		}
	}
	return false
}

// oldWood lays one of last winter's canes: -1 and 1 on the lower wire to the
// left and right, -2 and 2 on the upper one.
func (g *grower) oldWood(head vec, arm int) *tube {
	r, p := g.r, g.p
	dir := float64(1)
	if arm < 0 {
		dir = -1
	}
	wire := p.LowerWireMM
	if arm == 2 || arm == -2 {
		wire = p.UpperWireMM
	}
	r0 := between(r, 5.5, 8.5)
	lie := wire + r0*0.75 + 1.3
	over := between(r, 8, 55) // it arches over the wire before it comes down to it
	length := between(r, 300, 520)
	pts := []vec{head.add(vec{dir * 8, 0, -10}), head.add(vec{dir * 26, between(r, -10, 10), (lie - head[2]) * 0.6}), {head[0] + dir*75, g.back + between(r, -5, 5), lie + over}}
	for x := 140.0; x < length+60; x += 60 {
		w := over * math.Exp(-(x-75)/45)
		pts = append(pts, vec{head[0] + dir*x, g.back + between(r, -4, 4), lie + w + between(r, -2, 2)})
	}
	tint := rgb{0.19, 0.145, 0.11}.to(rgb{0.13, 0.11, 0.095}, r.Float64())
	t := g.tubeOf(g.path(pts, 4), func(s, l float64) float64 {
		bump := 0.0
		for q := 40.0; q < l; q += 85 {
			bump = math.Max(bump, 0.16*math.Exp(-((s-q)/7)*((s-q)/7)))
		}
		return r0 * (1.1 - 0.35*s/l) * (1 + bump)
	}, matOld, tint)
	t.class, t.rough = "old_wood", 0.07
	g.addWood(t)
	g.endCap(t, matCut)
	g.tie(t, t.st[len(t.st)-1].s-between(r, 20, 60))
	if r.Float64() < 0.5 {
		g.tie(t, 160+between(r, 0, 60))
	}
	return t
}

// growCane grows one cane from base.
func (g *grower) growCane(base vec, leanDeg float64, origin string, vine int) {
	r, gr := g.r, g.p.Growth
	rad := math.Pi / 180
	d0 := between(r, gr.DiameterMM[0], gr.DiameterMM[1])
	if r.Float64() < 0.6 { // most canes are middling
		d0 = (d0 + between(r, 7, 10)) / 2
	}
	d0 = clamp(d0, gr.DiameterMM[0], gr.DiameterMM[1])
	mean := between(r, gr.InternodeMM[0], gr.InternodeMM[1])
	nodes := 7 + r.IntN(12)
	if r.Float64() < gr.ShortNoded {
		mean, nodes = between(r, 20, 45), 12+r.IntN(16)
	}
	if d0 < 6 {
		nodes = min(nodes, 12)
	}
	var at []float64
	s := 0.0
	for i := 0; i < nodes; i++ {
		shape := 1.0
		switch i {
		case 0:
			shape = 0.35
		case 1:
			shape = 0.6
		case 2:
			shape = 0.85
		}
		if i > nodes*3/4 {
			shape *= 0.82
		}
		s += math.Max(mean*shape*(1+0.11*r.NormFloat64()), 12)
		at = append(at, s)
	}
	length := s + between(r, 8, 0.5*mean+10)
	swell := between(r, gr.Swelling[0]-1, gr.Swelling[1]-1)
	swells := make([]float64, len(at))
	for i := range swells {
		swells[i] = swell * between(r, 0.75, 1.25)
	}
	taper := between(r, 0.18, 0.42)
	sig := clamp(0.42*d0, 2.6, 5)
	radius := func(s float64) (float64, float64) {
		v := d0 / 2 * (1 + taper*0.35 - taper*s/length) * (1 + 0.2*math.Exp(-s/9))
		b, near := 0.0, 0.0
		for i, q := range at {
			if e := (s - q) / sig; math.Abs(e) < 4 {
				b = math.Max(b, swells[i]*math.Exp(-e*e/2))
				near = math.Max(near, math.Exp(-e*e*1.5))
			}
		}
		v *= 1 + b
		if left := length - s; left < v { // a rounded tip
			v = math.Sqrt(math.Max(v*v-(v-left)*(v-left), 0.01))
		}
		return v, near
	}
	phi := between(r, -1.1, 1.1) // of the plane that the buds lie in; 0 is the row's
	side := vec{math.Cos(phi), math.Sin(phi), 0}
	zig := between(r, 0.25, 1) * gr.ZigZagDeg * rad / 2 * clamp(9/d0, 0.6, 1.2)
	lx := leanDeg * rad
	ly := between(r, -0.7, 0.7) * gr.LeanDeg * rad
	curve := between(r, -1, 1) * 14 * rad / 1000 // lean gained along the cane, per mm
	t := &tube{mat: matCane, tint: g.caneTint(), seed: g.seed(), ell: between(r, 1, gr.Ellipticity), shadow: g.back == 0, class: "cane"}
	t.axis = vec{math.Cos(phi + between(r, -0.4, 0.4)), math.Sin(phi), 0}
	pos, sign, k := base, 1.0, 0
	limit := gr.DepthMM
	for s := 0.0; ; s += stationMM {
		if s > length {
			s = length
		}
		rr, near := radius(s)
		t.st = append(t.st, station{p: pos, r: rr, s: s, node: near})
		if s >= length {
			break
		}
		for k < len(at) && at[k] < s {
			k++
			sign = -sign
		}
		// The bend at a node takes a few millimetres.
		turn := sign
		if k < len(at) && at[k]-s < 5 {
			turn = sign * (at[k] - s) / 5
		}
		if off := pos[1] - g.back; math.Abs(off) > 0.65*limit && off*ly > 0 {
			ly -= math.Copysign(0.0035, off) // bent back before it leaves the row
		}
		lx += curve * stationMM
		lx = clamp(lx, -gr.LeanDeg*rad, gr.LeanDeg*rad)
		d := vec{math.Tan(lx), math.Tan(ly), 1}.unit().add(side.mul(zig * turn)).unit()
		step := math.Min(stationMM, length-s)
		pos = pos.add(d.mul(step))
	}
	c := &grownCane{t: t, vine: vine, origin: origin, nodeS: at, lengthS: length}
	c.diaAt = func(s float64) float64 { v, _ := radius(s); return 2 * v }
	if g.back == 0 {
		g.nextID++
		t.id = g.nextID
		g.s.canes = append(g.s.canes, c)
	}
	g.addWood(t)
	sign = 1
	for i, q := range at {
		sign = -sign
		out := side.mul(sign)
		c.budDir = append(c.budDir, out)
		rr, _ := radius(q)
		g.bud(t, q, out, rr)
		axis := t.dirAt(q)
		if g.back != 0 || i < 2 {
			continue
		}
		if r.Float64() < gr.Tendrils {
			g.tendril(t.at(q).add(out.mul(-rr)), out.mul(-1), axis)
		} else if r.Float64() < gr.Laterals {
			g.lateral(t.at(q).add(out.mul(rr*0.6)), out, axis, rr)
		}
	}
}

// bud sets a bud above its node: a cone of beads that points out and up.
func (g *grower) bud(t *tube, s float64, out vec, rr float64) {
	axis := t.dirAt(s)
	dir := out.mul(0.75).add(axis.mul(0.66)).unit()
	w := clamp(rr*0.5, 1.2, 3) * between(g.r, 0.85, 1.2)
	from := t.at(s + 1).add(out.mul(rr * 0.78))
	for i := 0; i < 6; i++ {
		f := float64(i) / 5
		g.s.beads = append(g.s.beads, bead{p: from.add(dir.mul(w * 2.3 * f)), r: w * (1 - 0.72*f*f), mat: matBud, tint: t.tint.mul(0.55), seed: t.seed, id: t.id})
	}
}

// tendril curls away from a node, opposite the bud.
func (g *grower) tendril(from, out, axis vec) {
	r := g.r
	pts := []vec{from, from.add(out.mul(14)).add(axis.mul(6)), from.add(out.mul(between(r, 22, 34))).add(axis.mul(between(r, 4, 22)))}
	c := pts[2]
	e1, e2 := out, axis
	if r.Float64() < 0.7 {
		rad, spin := between(r, 4, 9), pick(r, -1.0, 1.0)
		drift := vec{between(r, -1, 1), between(r, -1, 1), between(r, -1, 1)}.mul(1.6)
		for i := 1; i < 18; i++ {
			a := float64(i) * 0.6
			k := rad * (1 - 0.03*float64(i))
			c = c.add(drift)
			pts = append(pts, c.add(e1.mul(k*math.Sin(a))).add(e2.mul(spin*k*(1-math.Cos(a)))))
		}
	}
	t := g.tubeOf(g.path(pts, 1.5), func(s, l float64) float64 { return 0.95 - 0.45*s/l }, matCane, rgb{0.2, 0.12, 0.07})
	t.class, t.ell = "tendril", 1
	g.addWood(t)
}

// lateral is a short dry side shoot in the axil of a bud.
func (g *grower) lateral(from, out, axis vec, rr float64) {
	r := g.r
	l := between(r, 15, 65)
	d := out.mul(0.6).add(axis.mul(0.8)).unit()
	end := from.add(d.mul(l)).add(vec{between(r, -5, 5), between(r, -5, 5), 0})
	t := g.tubeOf(g.path([]vec{from, from.to(end, 0.5).add(out.mul(2)), end}, 2), func(s, l float64) float64 { return clamp(rr*0.35, 0.9, 1.6) * (1 - 0.5*s/l) }, matCane, rgb{0.22, 0.14, 0.08})
	t.class = "tendril"
	g.addWood(t)
}
