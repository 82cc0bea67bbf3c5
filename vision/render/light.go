package render

import "math"

// lighting is what falls on the scene, in units of the radiance of a white
// surface under it: a reflectance times irradiance gives the light that
// leaves.
type lighting struct {
	kind        Light
	toSun       vec
	sun         rgb // on a surface square to it; zero without sun
	sky, ground rgb // of the upper and lower half of the surroundings
	haze        rgb
	map_        *shadowMap
}

func newLighting(p Params) lighting {
	rad := math.Pi / 180
	se, ce := math.Sincos(p.SunElevation * rad)
	sa, ca := math.Sincos(p.SunAzimuth * rad)
	l := lighting{kind: p.Light, toSun: vec{sa * ce, -ca * ce, se}}
	green := rgb{0.10, 0.14, 0.06}
	if p.Background == Soil {
		green = rgb{0.22, 0.15, 0.10}
	}
	switch p.Light {
	case Sun:
		warm := smooth(40, 8, p.SunElevation)
		l.sun = rgb{2.5, 2.3, 2.0}.to(rgb{2.4, 1.85, 1.2}, warm)
		l.sky = rgb{0.42, 0.52, 0.72}
		l.ground = green.times(l.sky.add(l.sun.mul(se)))
		l.haze = rgb{0.75, 0.85, 1.0}
	case Dusk:
		l.sky = rgb{0.80, 0.84, 1.1}
		l.ground = green.times(l.sky)
		l.haze = rgb{0.6, 0.6, 0.8}
	default:
		l.sky = rgb{1, 1, 1.02}
		l.ground = green.times(l.sky)
		l.haze = rgb{0.95, 0.97, 1.0}
	}
	return l
}

// on gives the irradiance on a surface with normal n at p. front is how much
// of its surroundings the side towards the camera sees more than the side
// towards the row behind: open alleys are brighter than hedges.
func (l *lighting) on(n, p vec, taps int) rgb {
	up := 0.5 + 0.5*n[2]
	e := l.sky.mul(up).add(l.ground.mul(1 - up)).mul(0.86 - 0.2*n[1])
	if l.sun[0] > 0 {
		if c := n.dot(l.toSun); c > 0 {
			if lit := l.map_.lit(p, taps); lit > 0 {
				e = e.add(l.sun.mul(c * lit))
			}
		}
	}
	return e
}

// skyAt is the radiance of the sky in a direction.
func (l *lighting) skyAt(d vec, seed uint32) rgb {
	d = d.unit()
	el := math.Max(d[2], 0)
	az := math.Atan2(d[0], d[1])
	c := clouds2(az*5+20, el*14, 5, 0, seed+70)
	switch l.kind {
	case Sun:
		base := rgb{0.95, 1.1, 1.3}.to(rgb{0.35, 0.62, 1.15}, smooth(0, 0.5, el))
		return base.to(rgb{1.5, 1.5, 1.5}, 0.75*smooth(0.52, 0.72, c))
	case Dusk:
		return rgb{1.0, 0.86, 0.95}.to(rgb{0.7, 0.72, 1.0}, smooth(0, 0.5, el)).mul(0.85 + 0.3*c)
	}
	return rgb{1.15, 1.17, 1.2}.mul(0.88 + 0.3*c)
}

// shadowMap holds, for rays towards the sun, the nearest thing to the sun.
type shadowMap struct {
	toSun, u, v vec
	u0, v0      float64
	nu, nv      int
	depth       []float32 // distance towards the sun; -inf where nothing is
	near        []float32 // the largest depth in a block and those around it
	cu, cv      int
}

const (
	texelMM = 1.3    // of the shadow map: half a wire, so that wires cast whole shadows
	coarse  = 16     // texels in a block's side; more than the search for an edge reaches
	sunTan  = 0.0047 // tangent of half the sun's angular diameter (0.53 degrees)
	clearMM = 2.5    // a surface this close to the caster is the caster's own
)

func newShadowMap(s *Scene, toSun vec, halfWide float64) *shadowMap {
	m := &shadowMap{toSun: toSun}
	m.u = toSun.cross(vec{0, 0, 1}).unit()
	m.v = m.u.cross(toSun)
	lo, hi := [2]float64{math.Inf(1), math.Inf(1)}, [2]float64{math.Inf(-1), math.Inf(-1)}
	for _, x := range []float64{-halfWide, halfWide} {
		for _, y := range []float64{-130, 130} {
			for _, z := range []float64{0, 2200} {
				p := vec{x, y, z}
				for k, c := range []float64{p.dot(m.u), p.dot(m.v)} {
					lo[k], hi[k] = math.Min(lo[k], c), math.Max(hi[k], c)
				}
			}
		}
	}
	m.u0, m.v0 = lo[0], lo[1]
	m.nu, m.nv = int((hi[0]-lo[0])/texelMM)+1, int((hi[1]-lo[1])/texelMM)+1
	m.depth = make([]float32, m.nu*m.nv)
	for i := range m.depth {
		m.depth[i] = float32(math.Inf(-1))
	}
	view := toSun.mul(-1)
	for _, t := range s.tubes {
		if !t.shadow {
			continue
		}
		var prev [5]float64
		for i := range t.st {
			side, _, half := t.acrossView(i, view)
			p := t.st[i].p
			cur := [5]float64{(p.dot(m.u) - m.u0) / texelMM, (p.dot(m.v) - m.v0) / texelMM, p.dot(toSun), half / texelMM, 0}
			_ = side
			if i > 0 {
				m.stroke(prev, cur)
			}
			prev = cur
		}
	}
	for _, b := range s.boards {
		nx, ny := int(b.hx.len()*2/texelMM*1.5)+2, int(b.hy.len()*2/texelMM*1.5)+2
		for i := 0; i <= nx; i++ {
			for j := 0; j <= ny; j++ {
				p := b.c.add(b.hx.mul(2*float64(i)/float64(nx) - 1)).add(b.hy.mul(2*float64(j)/float64(ny) - 1))
				m.put(int((p.dot(m.u)-m.u0)/texelMM), int((p.dot(m.v)-m.v0)/texelMM), p.dot(toSun))
			}
		}
	}
	m.summarise()
	return m
}

// summarise keeps, for each block of texels, the depth beyond which nothing in
// it or beside it can cast a shadow, so that open ground is lit at one look.
func (m *shadowMap) summarise() {
	m.cu, m.cv = (m.nu+coarse-1)/coarse, (m.nv+coarse-1)/coarse
	m.near = make([]float32, m.cu*m.cv)
	for k := range m.near {
		m.near[k] = float32(math.Inf(-1))
	}
	for j := 0; j < m.nv; j++ {
		for i := 0; i < m.nu; i++ {
			d := m.depth[j*m.nu+i]
			if math.IsInf(float64(d), -1) {
				continue
			}
			for y := max(j/coarse-1, 0); y <= min(j/coarse+1, m.cv-1); y++ {
				for x := max(i/coarse-1, 0); x <= min(i/coarse+1, m.cu-1); x++ {
					if q := &m.near[y*m.cu+x]; d > *q {
						*q = d
					}
				}
			}
		}
	}
}

func (m *shadowMap) put(i, j int, d float64) {
	if i < 0 || j < 0 || i >= m.nu || j >= m.nv {
		return
	}
	if q := &m.depth[j*m.nu+i]; float32(d) > *q {
		*q = float32(d)
	}
}

// stroke draws a piece of a tube, seen from the sun, with its axis' depth: the
// lit side of a tube lies before its axis and so never shades itself.
func (m *shadowMap) stroke(a, b [5]float64) {
	r := math.Max(a[3], b[3])
	dx, dy := b[0]-a[0], b[1]-a[1]
	l2 := dx*dx + dy*dy
	for j := int(math.Min(a[1], b[1]) - r); j <= int(math.Max(a[1], b[1])+r)+1; j++ {
		for i := int(math.Min(a[0], b[0]) - r); i <= int(math.Max(a[0], b[0])+r)+1; i++ {
			x, y := float64(i)+0.5-a[0], float64(j)+0.5-a[1]
			t := 0.0
			if l2 > 0 {
				t = clamp((x*dx+y*dy)/l2, 0, 1)
			}
			ex, ey := x-t*dx, y-t*dy
			if h := a[3] + (b[3]-a[3])*t; ex*ex+ey*ey <= h*h {
				m.put(i, j, a[2]+(b[2]-a[2])*t)
			}
		}
	}
}

// lit is the share of the sun's disc that p sees. With one tap the shadow is
// hard; with more its edge widens with the distance to what casts it.
func (m *shadowMap) lit(p vec, taps int) float64 {
	if m == nil {
		return 1
	}
	u, v, d := (p.dot(m.u)-m.u0)/texelMM, (p.dot(m.v)-m.v0)/texelMM, p.dot(m.toSun)
	at := func(u, v float64) float64 {
		i, j := int(u), int(v)
		if u < 0 || v < 0 || i >= m.nu || j >= m.nv {
			return math.Inf(-1)
		}
		return float64(m.depth[j*m.nu+i])
	}
	if taps <= 1 {
		if at(u, v) > d+clearMM {
			return 0
		}
		return 1
	}
	if i, j := int(u)/coarse, int(v)/coarse; u < 0 || v < 0 || i >= m.cu || j >= m.cv || float64(m.near[j*m.cu+i]) <= d+clearMM {
		return 1
	}
	far, n := 0.0, 0
	for k := 0; k < 9; k++ {
		a := float64(k) * 2.399963
		r := 10 * math.Sqrt(float64(k)/9) / texelMM
		if q := at(u+r*math.Cos(a), v+r*math.Sin(a)); q > d+clearMM {
			far, n = far+q-d, n+1
		}
	}
	rad := 1.0 // something thin may lie between the first looks
	if n > 0 {
		rad = math.Max(far/float64(n)*sunTan/texelMM, 0.7)
	}
	lit := 0
	for k := 0; k < taps; k++ {
		a := float64(k) * 2.399963
		r := rad * math.Sqrt((float64(k)+0.5)/float64(taps))
		if at(u+r*math.Cos(a), v+r*math.Sin(a)) <= d+clearMM {
			lit++
		}
	}
	return float64(lit) / float64(taps)
}
