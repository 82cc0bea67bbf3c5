package render

import (
	"fmt"
	"math"
	"sort"

	"nodespan/vision/truth"
)

// describe writes down what is known of a drawn scene.
func describe(p Params, s *Scene, cam camera, c *canvas) *truth.Photo {
	p = p.seen()
	t := &truth.Photo{
		Scene: p.Name, Image: p.Name + ".jpg", ImageSize: [2]int{p.Width, p.Height}, StoredSize: [2]int{p.Width, p.Height}, Exif: 1,
		Camera: truth.Camera{FX: cam.f, FY: cam.f, CX: cam.cx, CY: cam.cy, K1: cam.k1, PositionMM: cam.pos,
			R: [3][3]float64{cam.right, cam.down, cam.ahead}, YawDeg: p.YawDeg, PitchDeg: p.PitchDeg, RollDeg: p.RollDeg},
		DistanceMM: p.DistanceMM, Background: string(p.Background), Light: string(p.Light),
		Wires: []truth.Wire{}, Wood: []truth.Wood{}, Canes: []truth.Cane{},
	}
	if p.Post {
		w := "wood"
		t.Post = &w
	}
	if p.DefocusPx > 0 || p.MotionPx > 0 {
		t.Blur = &truth.Blur{DefocusSigmaPx: p.DefocusPx, MotionPx: p.MotionPx, MotionDeg: p.MotionDeg}
	}
	at := vec{0, 0, p.LowerWireMM}
	if s.head != nil {
		at = vec{s.head[0], 0, s.head[2]}
		x, y, _, _ := cam.project(*s.head)
		t.Head = &truth.Head{Px: [2]float64{x, y}, HeightMM: s.head[2], RelativeToLowerWireMM: s.head[2] - wireHeight(s, s.head[0], p.LowerWireMM)}
	}
	t.MMPerPx = cam.scaleOnWirePlane(at)
	for _, w := range s.wires {
		e := truth.Wire{Name: w.name, NominalHeightMM: w.nominal, HeightAtHeadMM: w.tube.at(3000 + at[0])[2], DepthMM: w.depth, DiameterMM: w.dia, PolylinePx: [][2]float64{}}
		for _, q := range w.tube.st {
			if x, y, _, ok := cam.project(q.p); ok && cam.inFrame(x, y) {
				e.PolylinePx = append(e.PolylinePx, [2]float64{x, y})
			}
		}
		if n := len(e.PolylinePx); n > 50 {
			thin := make([][2]float64, 50)
			for i := range thin {
				thin[i] = e.PolylinePx[i*(n-1)/49]
			}
			e.PolylinePx = thin
		}
		t.Wires = append(t.Wires, e)
	}
	for _, w := range s.wood { // wood wholly outside the frame is left out
		if e := describeWood(w, cam); anyInFrame(e.PolylinePx, cam) {
			t.Wood = append(t.Wood, e)
		}
	}
	for _, g := range s.canes {
		if e := describeCane(g, cam, c, p.TruthStepMM); e.InFrameFraction > 0 {
			t.Canes = append(t.Canes, e)
		}
	}
	t.Reference = describeReference(p, cam, c)
	return t
}

func anyInFrame(line [][2]float64, cam camera) bool {
	for _, p := range line {
		if cam.inFrame(p[0], p[1]) {
			return true
		}
	}
	return false
}

func wireHeight(s *Scene, x, nominal float64) float64 {
	for _, w := range s.wires {
		if w.name == "fruiting_1" {
			return w.tube.at(3000 + x)[2]
		}
	}
	return nominal
}

// scaleOnWirePlane is the square root of the area on the wire plane that one
// pixel covers at a point of it, mm.
func (c camera) scaleOnWirePlane(at vec) float64 {
	x, y, _, ok := c.project(at)
	ax, ay, _, _ := c.project(at.add(vec{1, 0, 0}))
	bx, by, _, _ := c.project(at.add(vec{0, 0, 1}))
	area := math.Abs((ax-x)*(by-y) - (ay-y)*(bx-x))
	if !ok || area == 0 {
		return 0
	}
	return 1 / math.Sqrt(area)
}

func describeWood(t *tube, cam camera) truth.Wood {
	w := truth.Wood{ID: t.name, Class: t.class, PolylinePx: [][2]float64{}, DiameterMM: []float64{}}
	last := math.Inf(-1)
	for i, q := range t.st {
		w.MeanDepthMM += q.p[1] / float64(len(t.st))
		if q.s-last < 15 && i != len(t.st)-1 {
			continue
		}
		last = q.s
		if x, y, _, ok := cam.project(q.p); ok {
			w.PolylinePx = append(w.PolylinePx, [2]float64{x, y})
			w.DiameterMM = append(w.DiameterMM, 2*q.r)
		}
	}
	return w
}

// shows tells whether the picture shows cane id at pixel position (x, y).
func (c *canvas) shows(x, y float64, id int32) bool {
	i, j := int(math.Round(x)), int(math.Round(y))
	return i >= 0 && j >= 0 && i < c.w && j < c.h && c.id[j*c.w+i] == id
}

func describeCane(g *grownCane, cam camera, c *canvas, step float64) truth.Cane {
	t := g.t
	k := truth.Cane{ID: t.name, Vine: g.vine, Origin: g.origin, LengthMM: g.lengthS, Ellipticity: t.ell, Nodes: []truth.Node{}, Internodes: []truth.Internode{}}
	type spot struct{ x, y, scale, apparent float64 }
	look := func(s float64) spot {
		p := t.at(s)
		i, f := t.index(s)
		if f > 0.5 {
			i = min(i+1, len(t.st)-1)
		}
		side, _, half := t.acrossView(i, p.sub(cam.pos).unit())
		half *= g.diaAt(s) / (2 * t.st[i].r)
		x, y, _, _ := cam.project(p)
		ax, ay, _, _ := cam.project(p.add(side))
		bx, by, _, _ := cam.project(p.sub(side))
		return spot{x, y, 2 / math.Hypot(ax-bx, ay-by), 2 * half}
	}
	if step < stationMM {
		step = 6
	}
	var sum float64
	var inFrame, seen, n int
	for s := 0.0; ; s += step {
		s = math.Min(s, g.lengthS)
		p, q := t.at(s), look(s)
		k.LinePx = append(k.LinePx, [2]float64{q.x, q.y})
		k.LineMM = append(k.LineMM, s)
		k.LineDepthMM = append(k.LineDepthMM, p[1])
		k.LineDiameterMM = append(k.LineDiameterMM, g.diaAt(s))
		k.LineMMPerPx = append(k.LineMMPerPx, q.scale)
		sum += p[1]
		k.MaxAbsDepthMM = math.Max(k.MaxAbsDepthMM, math.Abs(p[1]))
		n++
		if cam.inFrame(q.x, q.y) {
			inFrame++
			if c.shows(q.x, q.y, t.id) {
				seen++
			}
		}
		if s >= g.lengthS {
			break
		}
	}
	k.MeanDepthMM = sum / float64(n)
	k.BasePx, k.TipPx = k.LinePx[0], k.LinePx[n-1]
	k.InFrameFraction = float64(inFrame) / float64(n)
	if inFrame > 0 {
		k.VisibleFraction = float64(seen) / float64(inFrame)
	}
	k.VisibleLengthMM = math.Min(float64(seen)*step, g.lengthS)
	for i, s := range g.nodeS {
		k.Nodes = append(k.Nodes, describeNode(g, s, g.budDir[i], cam, c, look(s).scale))
	}
	var dia, length []float64
	for i := 0; i+1 < len(g.nodeS); i++ {
		a, b := g.nodeS[i], g.nodeS[i+1]
		mid := (a + b) / 2
		k.Internodes = append(k.Internodes, truth.Internode{Index: i, LengthMM: b - a, MidMM: mid, DiameterMM: g.diaAt(mid), ApparentMM: look(mid).apparent})
		if i < 8 {
			dia, length = append(dia, g.diaAt(mid)), append(length, b-a)
		}
	}
	if len(g.nodeS) == 0 { // a rod: one diameter everywhere, no internodes
		dia = []float64{g.diaAt(g.lengthS / 2)}
	}
	k.MedianDiameter, k.MedianInternode = median(dia), median(length)
	if d := k.MedianDiameter; d != nil {
		k.Flags.Weak, k.Flags.Vigorous = *d < truth.WeakMM, *d > truth.VigorousMM
	}
	if l := k.MedianInternode; l != nil {
		k.Flags.ShortNoded = *l < truth.ShortNodedMM
	}
	return k
}

func describeNode(g *grownCane, s float64, bud vec, cam camera, c *canvas, scale float64) truth.Node {
	p := g.t.at(s)
	x, y, _, _ := cam.project(p)
	n := truth.Node{MM: s, Px: [2]float64{x, y}, MMPerPx: scale, DepthMM: p[1]}
	n.BudTowardsCamera = bud.dot(cam.pos.sub(p).unit())
	bx, by, _, _ := cam.project(p.add(bud.mul(5)))
	tx, ty, _, _ := cam.project(p.add(g.t.dirAt(s).mul(5)))
	n.BudSide = "right"
	// y runs down, so a negative cross product is to the left of base to tip.
	if (tx-x)*(by-y)-(ty-y)*(bx-x) < 0 {
		n.BudSide = "left"
	}
	n.Visible = cam.inFrame(x, y) && c.shows(x, y, g.t.id)
	return n
}

func median(v []float64) *float64 {
	if len(v) == 0 {
		return nil
	}
	s := append([]float64(nil), v...)
	sort.Float64s(s)
	m := s[len(s)/2]
	if len(s)%2 == 0 {
		m = (m + s[len(s)/2-1]) / 2
	}
	return &m
}

// Tilted cards and those that something hides may be refused: beyond these a
// card counts as one of them.
const (
	hardTiltDeg = 20.0
	hardHidden  = 0.9 // visible share of the corners
)

func describeReference(p Params, cam camera, c *canvas) *truth.Reference {
	r := p.Reference
	if r.Kind == NoRef {
		return nil
	}
	w, h := r.size()
	ctr, right, down := r.frame(p.LowerWireMM)
	world := func(x, y float64) vec { return ctr.add(right.mul(x)).add(down.mul(y)) }
	px := func(q vec) [2]float64 { x, y, _, _ := cam.project(q); return [2]float64{x, y} }
	t := &truth.Reference{Kind: string(r.Kind), Squares: [2]int{r.Cols, r.Rows}, SquareMM: [2]float64{r.SquareMM, h / float64(r.Rows)},
		PatternMM: [2]float64{w, h}, MarginMM: r.MarginMM,
		GridNote: fmt.Sprintf("all square corners, rows from the top, %d per row", r.Cols+1)}
	m := r.MarginMM
	for _, k := range [][2]float64{{-1, -1}, {1, -1}, {1, 1}, {-1, 1}} {
		q := world(k[0]*w/2, k[1]*h/2)
		t.PatternWorldMM = append(t.PatternWorldMM, q)
		t.PatternPx = append(t.PatternPx, px(q))
		t.CardPx = append(t.CardPx, px(world(k[0]*(w/2+m), k[1]*(h/2+m))))
	}
	seen := 0
	for j := 0; j <= r.Rows; j++ {
		for i := 0; i <= r.Cols; i++ {
			q := px(world(-w/2+float64(i)*r.SquareMM, -h/2+float64(j)*h/float64(r.Rows)))
			t.GridPx = append(t.GridPx, q)
			if c.shows(q[0], q[1], idReference) {
				seen++
			}
		}
	}
	t.VisibleFraction = float64(seen) / float64(len(t.GridPx))
	a, b := px(world(-5, 0)), px(world(5, 0))
	d, e := px(world(0, -5)), px(world(0, 5))
	t.MMPerPxCentre = 20 / (math.Hypot(b[0]-a[0], b[1]-a[1]) + math.Hypot(e[0]-d[0], e[1]-d[1]))
	switch {
	case t.VisibleFraction < hardHidden:
		t.Kind = "card_occluded"
	case math.Hypot(r.TiltDeg, r.TurnDeg) > hardTiltDeg:
		t.Kind = "card_tilted"
	}
	return t
}
