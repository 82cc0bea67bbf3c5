package render

import (
	"fmt"
	"math"
)

// Identities in the buffer that tells what a pixel shows: canes count from 1.
const (
	idNothing   = int32(0)  // background, or wood whose visibility nobody asks for
	idReference = int32(-1) // the card or bar
)

// Grow makes the scene of p. The same Params grow the same Scene.
func Grow(p Params) *Scene {
	s := &Scene{lowerZ: p.LowerWireMM}
	g := &grower{p: p, r: source(p.Seed, 2), s: s}
	if p.Kind != CardOnly {
		g.trellis()
	}
	switch p.Kind {
	case Vine:
		g.growVine(0, 0)
		if p.Growth.Neighbours {
			g.growVine(p.Growth.SpacingMM, 1)
			g.growVine(-p.Growth.SpacingMM, 2)
		}
	case Rods:
		g.rods()
	}
	if p.Post {
		g.post(p.PostXMM, 40, 0)
	}
	g.reference()
	b := &grower{p: p, r: source(p.Seed, 3), s: s}
	b.behind()
	return s
}

// trellis strings two fruiting wires and pairs of catch wires.
func (g *grower) trellis() {
	p := g.p
	g.wire("fruiting_1", p.LowerWireMM, 0, 2.5)
	g.wire("fruiting_2", p.UpperWireMM, 0, 2.5)
	for i, z := range p.CatchWiresMM {
		g.wire(fmt.Sprintf("catch_%da", i+1), z+between(g.r, -3, 3), -38, 2)
		g.wire(fmt.Sprintf("catch_%db", i+1), z+between(g.r, -3, 3), 38, 2)
	}
}

func (g *grower) wire(name string, z, depth, dia float64) {
	sag, phase := between(g.r, 1, 5), between(g.r, -900, 900)
	var pts []vec
	for x := -3000.0; x <= 3000; x += 25 {
		k := (x - phase) / 2500
		pts = append(pts, vec{x, g.back + depth, z + sag*(k*k-0.35)})
	}
	t := g.tubeOf(pts, func(_, _ float64) float64 { return dia / 2 }, matWire, rgb{0.36, 0.37, 0.38})
	g.s.tubes = append(g.s.tubes, t)
	if g.back == 0 {
		g.s.wires = append(g.s.wires, wireLine{name, z, depth, dia, t})
	}
}

func (g *grower) post(x, r, y float64) {
	var pts []vec
	lean := between(g.r, -25, 25)
	for z := -20.0; z <= 1750; z += 35 {
		pts = append(pts, vec{x + lean*z/1750, g.back + y + r + 3, z})
	}
	t := g.tubeOf(pts, func(_, _ float64) float64 { return r }, matPost, rgb{0.27, 0.22, 0.17})
	g.s.tubes = append(g.s.tubes, t)
}

// rods stand as smooth straight cylinders on the lower wire.
func (g *grower) rods() {
	for _, d := range g.p.Rods {
		lean := d.LeanDeg * math.Pi / 180
		base := vec{d.XMM, d.DepthMM, g.p.LowerWireMM + 15}
		dir := vec{math.Sin(lean), 0, math.Cos(lean)}
		var pts []vec
		l := d.LengthMM
		if l == 0 {
			l = 600
		}
		n := int(math.Ceil(l / 5))
		for i := 0; i <= n; i++ {
			pts = append(pts, base.add(dir.mul(l*float64(i)/float64(n))))
		}
		dia := d.DiameterMM
		t := g.tubeOf(pts, func(_, _ float64) float64 { return dia / 2 }, matRod, rgb{0.30, 0.18, 0.10})
		t.class = "cane"
		g.nextID++
		t.id = g.nextID
		g.addWood(t)
		g.s.canes = append(g.s.canes, &grownCane{t: t, origin: "head", lengthS: l, diaAt: func(float64) float64 { return dia }})
	}
}

// referenceSize gives the pattern's width and height, mm.
func (r Reference) size() (w, h float64) {
	w, h = float64(r.Cols)*r.SquareMM, float64(r.Rows)*r.SquareMM
	if r.Kind == BarRef {
		h = r.HeightMM
	}
	return w, h
}

// frame gives the card's centre and its unit axes (right, down).
func (r Reference) frame(lowerWire float64) (c, right, down vec) {
	_, h := r.size()
	top := r.TopZMM
	if top == 0 {
		top = lowerWire - 7
	}
	rad := math.Pi / 180
	st, ct := math.Sincos(r.TiltDeg * rad)
	sn, cn := math.Sincos(r.TurnDeg * rad)
	sr, cr := math.Sincos(r.RotateDeg * rad)
	right, down = vec{cn, sn, 0}, vec{-sn * st, cn * st, -ct}
	right, down = right.mul(cr).add(down.mul(sr)), down.mul(cr).add(right.mul(-sr))
	c = vec{r.XMM, r.DepthMM, top}.add(down.mul(h/2 + r.MarginMM))
	return c, right, down
}

// reference hangs the card or bar, with two clips, and the rag that hides a
// part of it.
func (g *grower) reference() {
	r := g.p.Reference
	if r.Kind == NoRef {
		return
	}
	w, h := r.size()
	c, right, down := r.frame(g.p.LowerWireMM)
	white, black := rgb{0.86, 0.86, 0.85}, rgb{0.035, 0.035, 0.037}
	odd := 0
	if r.WhiteFirst {
		odd = 1
	}
	ch := h / float64(r.Rows)
	paint := func(x, y float64) rgb {
		i, j := math.Floor((x+w/2)/r.SquareMM), math.Floor((y+h/2)/ch)
		if i < 0 || j < 0 || i >= float64(r.Cols) || j >= float64(r.Rows) || (int(i)+int(j)+odd)%2 != 0 {
			return white
		}
		return black
	}
	g.s.boards = append(g.s.boards, board{c: c, hx: right.mul(w/2 + r.MarginMM), hy: down.mul(h/2 + r.MarginMM), paint: paint, id: idReference})
	for _, k := range []float64{-0.62, 0.62} {
		a := c.add(right.mul(k * (w/2 + r.MarginMM))).sub(down.mul(h/2 + r.MarginMM - 7)).add(vec{0, -1.5, 0})
		b := a.sub(down.mul(16))
		clip := g.tubeOf(roundPath([]vec{a, b}, 4), func(_, _ float64) float64 { return 1.7 }, matClip, rgb{0.05, 0.05, 0.05})
		g.s.tubes = append(g.s.tubes, clip)
	}
	if r.HideFraction > 0 {
		tint := pick(g.r, rgb{0.10, 0.07, 0.05}, rgb{0.06, 0.09, 0.05}, rgb{0.16, 0.12, 0.09})
		seed := g.seed()
		side := pick(g.r, -1.0, 1.0)
		cover := r.HideFraction * w
		hw := (cover+r.MarginMM)/2 + 12
		q := c.add(right.mul(side * (w/2 - cover + hw))).add(vec{0, -9, 0})
		g.s.boards = append(g.s.boards, board{c: q, hx: right.mul(hw), hy: down.mul(h/2 + r.MarginMM + 18), seed: seed, edge: 7,
			paint: func(x, y float64) rgb { return tint.mul(0.5 + clouds2(x/14, y/30, 3, 0, seed)) }})
	}
}

// behind fills the distance: the next row, and rows further off.
func (g *grower) behind() {
	switch g.p.Background {
	case NextRow:
		g.back = 2000
		for x := -2; x <= 2; x++ {
			g.growVine(float64(x)*g.p.Growth.SpacingMM+between(g.r, -80, 80)+g.p.CameraXMM*0.5, 3)
		}
		for _, z := range []float64{g.p.LowerWireMM, g.p.UpperWireMM, g.p.CatchWiresMM[0], g.p.CatchWiresMM[1]} {
			g.wire("", z, 0, 2.2)
		}
		g.post(between(g.r, -900, 900), 35, 0)
		for y := 4000.0; y < 11000; y += 2000 {
			g.farRow(y)
		}
	case SkyGrass:
		for y := between(g.r, 4200, 5200); y < 15000; y += 2300 {
			g.farRow(y)
		}
	}
}

// farRow is a row far enough off that its canes need no nodes.
func (g *grower) farRow(y float64) {
	r := g.r
	wide := 1.1 * (y + g.p.DistanceMM)
	x0 := g.p.CameraXMM + math.Tan(g.p.YawDeg*math.Pi/180)*(y+g.p.DistanceMM)
	add := func(m material, tint rgb, r0, r1 float64, pts ...vec) {
		t := newTube(pts, func(s, l float64) float64 { return r0 + (r1-r0)*s/l }, m, tint)
		t.shadow, t.seed = false, g.seed()
		g.s.tubes = append(g.s.tubes, t)
	}
	wood := rgb{0.17, 0.125, 0.09}
	for _, z := range []float64{780, 980, 1250, 1550} {
		add(matFar, rgb{0.3, 0.3, 0.3}, 1.2, 1.2, vec{x0 - wide, y, z}, vec{x0, y, z - 4}, vec{x0 + wide, y, z})
	}
	for x := x0 - wide; x < x0+wide; x += between(r, 1000, 1250) {
		if r.Float64() < 0.22 {
			add(matFar, rgb{0.24, 0.19, 0.14}, 38, 38, vec{x - 300, y, -20}, vec{x - 295, y, 1750})
		}
		h := vec{x + between(r, -20, 20), y, 740}
		add(matFar, wood.mul(0.7), 36, 30, vec{x, y, -20}, vec{x + between(r, -30, 30), y, 350}, h)
		for _, d := range []float64{-1, 1} {
			add(matFar, wood.mul(0.8), 9, 6, h, h.add(vec{60 * d, 0, 70}), h.add(vec{140 * d, 0, 55}), h.add(vec{480 * d, 0, 50}))
		}
		for i := 0; i < 7; i++ {
			b := h.add(vec{between(r, -420, 420), between(r, -20, 20), 55})
			l := between(r, 400, 1050)
			m := b.add(vec{between(r, -70, 70), between(r, -40, 40), l / 2})
			add(matFar, wood.to(rgb{0.28, 0.17, 0.09}, r.Float64()), between(r, 3, 6.5), 2, b, m, m.add(vec{between(r, -110, 110), between(r, -50, 50), l / 2}))
		}
	}
}
