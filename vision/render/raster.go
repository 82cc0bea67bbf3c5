package render

import (
	"math"
	"runtime"
	"sync"
)

// Sub-samples a pixel: sub x sub, sheared so that each has a column and a row
// of its own.
const (
	sub      = 4
	subs     = sub * sub
	bandRows = 8 // rows that are drawn at once; more take more memory
)

// stage is one station as the camera sees it.
type stage struct {
	x, y, hx, hy, z float64 // px; half-width vector, px; depth, mm
	p, side, front  vec
	e1, e2          vec // axes of the texture
	half            float64
	sideZ, frontZ   float64 // depth gained along side and front
	ok              bool
}

// piece is a stretch of tube between two stations, or a bead (t nil).
type piece struct {
	t      *tube
	i      int
	b      *bead
	x, y   float64
	rx     float64 // bead's radius, px
	z      float64
	y0, y1 int
}

type sample struct {
	z  float32
	id int32
	c  [3]float32
}

// strip is a band of pixels being drawn; a pixel's samples are cleared when it
// is first used, as most show only what is far.
type strip struct {
	s    []sample
	used []bool
}

func (b *strip) pixel(i int) []sample {
	s := b.s[i*subs:][:subs]
	if !b.used[i] {
		b.used[i] = true
		far := sample{z: float32(math.Inf(1))}
		for k := range s {
			s[k] = far
		}
	}
	return s
}

// canvas is the drawn picture in linear light with what each pixel shows.
type canvas struct {
	w, h int
	pix  []float32 // three a pixel
	id   []int32
}

// painter draws one scene.
type painter struct {
	cam    camera
	light  *lighting
	scene  *Scene
	ground *surroundings
	stages map[*tube][]stage
	bands  [][]piece
}

func (p *painter) project() {
	p.stages = make(map[*tube][]stage, len(p.scene.tubes))
	p.bands = make([][]piece, (p.cam.h+bandRows-1)/bandRows)
	for _, t := range p.scene.tubes {
		st := make([]stage, len(t.st))
		for i, s := range t.st {
			view := s.p.sub(p.cam.pos).unit()
			q := &st[i]
			q.p = s.p
			q.side, q.front, q.half = t.acrossView(i, view)
			d := t.tangent(i)
			q.e1 = t.axis.sub(d.mul(t.axis.dot(d)))
			if q.e1.len() < 0.2 {
				q.e1 = vec{0, 0, 1}.sub(d.mul(d[2]))
			}
			q.e1 = q.e1.unit()
			q.e2 = d.cross(q.e1)
			ax, ay, _, ok1 := p.cam.project(s.p.add(q.side.mul(q.half)))
			bx, by, _, ok2 := p.cam.project(s.p.sub(q.side.mul(q.half)))
			_, _, z, ok3 := p.cam.project(s.p)
			q.x, q.y, q.hx, q.hy, q.z = (ax+bx)/2, (ay+by)/2, (ax-bx)/2, (ay-by)/2, z
			q.sideZ, q.frontZ = q.side.dot(p.cam.ahead), q.front.dot(p.cam.ahead)
			q.ok = ok1 && ok2 && ok3
		}
		p.stages[t] = st
		for i := 0; i+1 < len(st); i++ {
			a, b := st[i], st[i+1]
			if !a.ok || !b.ok {
				continue
			}
			k := 1 + 2*t.rough
			ra, rb := math.Hypot(a.hx, a.hy)*k, math.Hypot(b.hx, b.hy)*k
			if math.Max(a.x+ra, b.x+rb) < -1 || math.Min(a.x-ra, b.x-rb) > float64(p.cam.w) {
				continue
			}
			p.bin(piece{t: t, i: i}, math.Min(a.y-ra, b.y-rb), math.Max(a.y+ra, b.y+rb))
		}
	}
	for i := range p.scene.beads {
		b := &p.scene.beads[i]
		x, y, z, ok := p.cam.project(b.p)
		x2, y2, _, ok2 := p.cam.project(b.p.add(p.cam.right.mul(b.r)))
		if !ok || !ok2 {
			continue
		}
		r := math.Hypot(x2-x, y2-y)
		if x+r < -1 || x-r > float64(p.cam.w) {
			continue
		}
		p.bin(piece{b: b, x: x, y: y, rx: r, z: z}, y-r, y+r)
	}
}

func (p *painter) bin(q piece, lo, hi float64) {
	y0, y1 := int(math.Floor(lo)), int(math.Ceil(hi))
	if y1 < 0 || y0 >= p.cam.h {
		return
	}
	q.y0, q.y1 = max(y0, 0), min(y1, p.cam.h-1)
	for b := q.y0 / bandRows; b <= q.y1/bandRows; b++ {
		p.bands[b] = append(p.bands[b], q)
	}
}

// paint draws every band; bands are independent, so the result doesn't depend
// on how many are drawn at once.
func (p *painter) paint() *canvas {
	p.project()
	c := &canvas{w: p.cam.w, h: p.cam.h, pix: make([]float32, 3*p.cam.w*p.cam.h), id: make([]int32, p.cam.w*p.cam.h)}
	var wg sync.WaitGroup
	next := make(chan int)
	for k := 0; k < runtime.GOMAXPROCS(0); k++ {
		wg.Add(1)
		go func() {
			defer wg.Done()
			buf := strip{s: make([]sample, p.cam.w*bandRows*subs), used: make([]bool, p.cam.w*bandRows)}
			for b := range next {
				p.band(c, b, &buf)
			}
		}()
	}
	for b := range p.bands {
		next <- b
	}
	close(next)
	wg.Wait()
	return c
}

func (p *painter) band(c *canvas, b int, buf *strip) {
	y0 := b * bandRows
	y1 := min(y0+bandRows, c.h)
	clear(buf.used)
	for i := range p.bands[b] {
		q := &p.bands[b][i]
		if q.b != nil {
			p.bead(q, y0, y1, buf)
		} else {
			p.tube(q, y0, y1, buf)
		}
	}
	for i := range p.scene.boards {
		p.board(&p.scene.boards[i], y0, y1, buf)
	}
	for y := y0; y < y1; y++ {
		for x := 0; x < c.w; x++ {
			o := y*c.w + x
			if !buf.used[(y-y0)*c.w+x] {
				g := p.ground.at(p.cam, float64(x), float64(y))
				for j, v := range g {
					c.pix[3*o+j] = float32(v)
				}
				continue
			}
			s := buf.s[((y-y0)*c.w+x)*subs:][:subs]
			var sum [3]float32
			bare := 0
			id, votes := int32(0), 0
			for k := range s {
				v := int32(0)
				if math.IsInf(float64(s[k].z), 1) {
					bare++
				} else {
					v = s[k].id
					for j := range sum {
						sum[j] += s[k].c[j]
					}
				}
				if votes == 0 {
					id = v
				}
				if v == id {
					votes++
				} else {
					votes--
				}
			}
			if bare > 0 {
				g := p.ground.at(p.cam, float64(x), float64(y))
				for j := range sum {
					sum[j] += float32(g[j]) * float32(bare)
				}
			}
			for j := range sum {
				c.pix[3*o+j] = sum[j] / subs
			}
			c.id[o] = id
		}
	}
}

// each calls f for every sub-sample of the pixels in a box, with its number in
// the pixel.
func each(w, x0, x1, y0, y1, top int, buf *strip, f func(x, y float64, k int, s *sample)) {
	x0, x1 = max(x0, 0), min(x1, w-1)
	for y := y0; y < y1; y++ {
		for x := x0; x <= x1; x++ {
			s := buf.pixel((y-top)*w + x)
			// Each pixel's grid is shifted within its own fineness, so that an
			// edge along the pixel grid has no error that repeats in every row.
			r := hash3(int32(x), int32(y), 0, 91)
			ox := float64(x) - 0.5 + (float64(r&0xff)/256-0.5)/subs
			oy := float64(y) - 0.5 + (float64(r>>8&0xff)/256-0.5)/subs
			for j := 0; j < sub; j++ {
				for i := 0; i < sub; i++ {
					f(ox+(float64(i)+(float64(j)+0.5)/sub)/sub, oy+(float64(j)+(float64(i)+0.5)/sub)/sub, j*sub+i, &s[j*sub+i])
				}
			}
		}
	}
}

// quarters keeps the light of a piece for the four quarters of one pixel:
// coverage needs every sub-sample, but light changes slowly within a pixel.
type quarters struct {
	done [4]bool
	c    [4][3]float32
}

func quarter(k int) int { return k/(sub*sub/2)*2 + k%sub/(sub/2) }

// next forgets the pixel before at the first sub-sample of another.
func (q *quarters) next(k int) {
	if k == 0 {
		q.done = [4]bool{}
	}
}

func (q *quarters) has(k int, s *sample) bool {
	i := quarter(k)
	s.c = q.c[i]
	return q.done[i]
}

func (q *quarters) keep(k int, c rgb, s *sample) {
	i := quarter(k)
	q.c[i] = [3]float32{float32(c[0]), float32(c[1]), float32(c[2])}
	q.done[i], s.c = true, q.c[i]
}

func (p *painter) tube(q *piece, y0, y1 int, buf *strip) {
	t := q.t
	st := p.stages[t]
	a, b := &st[q.i], &st[q.i+1]
	sa, sb := &t.st[q.i], &t.st[q.i+1]
	ragged := 1 + 2*t.rough
	ra, rb := math.Hypot(a.hx, a.hy)*ragged, math.Hypot(b.hx, b.hy)*ragged
	x0, x1 := int(math.Floor(math.Min(a.x-ra, b.x-rb))), int(math.Ceil(math.Max(a.x+ra, b.x+rb)))
	turn := (b.x-a.x)*a.hy - (b.y-a.y)*a.hx
	if turn == 0 {
		return
	}
	sign := math.Copysign(1, turn)
	var light quarters
	each(p.cam.w, x0, x1, max(y0, q.y0), min(y1, q.y1+1), y0, buf, func(x, y float64, k int, s *sample) {
		light.next(k)
		// On which side of the two stations' cross lines?
		f0 := ((x-a.x)*a.hy - (y-a.y)*a.hx) * sign
		f1 := ((x-b.x)*b.hy - (y-b.y)*b.hx) * sign
		if f0 < 0 || f1 >= 0 {
			return
		}
		f := f0 / (f0 - f1)
		hx, hy := a.hx+(b.hx-a.hx)*f, a.hy+(b.hy-a.hy)*f
		h2 := hx*hx + hy*hy
		if h2 == 0 {
			return
		}
		u := ((x-a.x-(b.x-a.x)*f)*hx + (y-a.y-(b.y-a.y)*f)*hy) / h2
		if t.rough == 0 {
			if u < -1 || u > 1 {
				return
			}
		} else {
			if u < -ragged || u > ragged {
				return
			}
			along := sa.s + (sb.s-sa.s)*f
			edge := 0.0
			if u < 0 {
				edge = 50
			}
			u /= 1 + 2*t.rough*(noise2(along*0.09, edge, t.seed+9)*0.7+noise2(along*0.35, edge, t.seed+8)*0.6-0.65)
			if u < -1 || u > 1 {
				return
			}
		}
		w := math.Sqrt(1 - u*u)
		half := a.half + (b.half-a.half)*f
		z := a.z + (b.z-a.z)*f + half*(u*(a.sideZ+(b.sideZ-a.sideZ)*f)+w*(a.frontZ+(b.frontZ-a.frontZ)*f))
		if float32(z) >= s.z {
			return
		}
		s.z, s.id = float32(z), t.id
		if light.has(k, s) {
			return
		}
		side, front := a.side.to(b.side, f), a.front.to(b.front, f)
		n := side.mul(u).add(front.mul(w))
		pos := a.p.to(b.p, f).add(n.mul(half))
		c := p.light.shade(t.mat, t.tint, t.seed, touch{p: pos, n: n, a: n.dot(a.e1), b: n.dot(a.e2), s: sa.s + (sb.s-sa.s)*f,
			node: sa.node + (sb.node-sa.node)*f, side: side, dist: z}, pos.sub(p.cam.pos).unit())
		light.keep(k, c, s)
	})
}

func (p *painter) bead(q *piece, y0, y1 int, buf *strip) {
	b := q.b
	ahead := b.p.sub(p.cam.pos).unit()
	right := ahead.cross(p.cam.down).mul(-1).unit()
	down := ahead.cross(right)
	var light quarters
	each(p.cam.w, int(q.x-q.rx)-1, int(q.x+q.rx)+1, max(y0, q.y0), min(y1, q.y1+1), y0, buf, func(x, y float64, k int, s *sample) {
		light.next(k)
		u, v := (x-q.x)/q.rx, (y-q.y)/q.rx
		d := u*u + v*v
		if d > 1 {
			return
		}
		n := right.mul(u).add(down.mul(v)).sub(ahead.mul(math.Sqrt(1 - d)))
		z := q.z + b.r*n.dot(p.cam.ahead)
		if float32(z) >= s.z {
			return
		}
		s.z, s.id = float32(z), b.id
		if light.has(k, s) {
			return
		}
		pos := b.p.add(n.mul(b.r))
		c := p.light.shade(b.mat, b.tint, b.seed, touch{p: pos, n: n, a: n[0], b: n[1], s: pos[2], side: right, dist: z}, ahead)
		light.keep(k, c, s)
	})
}

// board draws a flat rectangle: each sub-sample's ray is cut with its plane.
func (p *painter) board(b *board, y0, y1 int, buf *strip) {
	lo, hi := [2]float64{math.Inf(1), math.Inf(1)}, [2]float64{math.Inf(-1), math.Inf(-1)}
	for _, k := range [][2]float64{{-1, -1}, {1, -1}, {1, 1}, {-1, 1}} {
		x, y, _, ok := p.cam.project(b.c.add(b.hx.mul(k[0])).add(b.hy.mul(k[1])))
		if !ok {
			return
		}
		lo[0], lo[1], hi[0], hi[1] = math.Min(lo[0], x), math.Min(lo[1], y), math.Max(hi[0], x), math.Max(hi[1], y)
	}
	n := b.hx.cross(b.hy).unit()
	lx, ly := b.hx.len(), b.hy.len()
	ux, uy := b.hx.unit(), b.hy.unit()
	to := b.c.sub(p.cam.pos)
	if n.dot(to) > 0 {
		n = n.mul(-1)
	}
	dn := to.dot(n)
	each(p.cam.w, int(lo[0])-2, int(hi[0])+2, max(y0, int(lo[1])-2), min(y1, int(hi[1])+3), y0, buf, func(x, y float64, k int, s *sample) {
		r := p.cam.ray(x, y)
		t := dn / r.dot(n)
		if t <= 0 || float32(t) >= s.z { // the ray's depth along the axis is 1, so t is the depth
			return
		}
		q := r.mul(t).sub(to)
		u, v := q.dot(ux), q.dot(uy)
		e := 0.0
		if b.edge > 0 {
			e = b.edge * (noise2(u/9, v/9, b.seed) + 0.3*noise2(u/2, v/2, b.seed+1))
		}
		if math.Abs(u) > lx-e || math.Abs(v) > ly-e {
			return
		}
		c := b.paint(u, v).times(p.light.on(n, p.cam.pos.add(r.mul(t)), 4))
		s.z, s.id, s.c = float32(t), b.id, [3]float32{float32(c[0]), float32(c[1]), float32(c[2])}
	})
}
