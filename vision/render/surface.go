package render

import "math"

// touch is one place on a surface: its normal, its coordinates on the piece
// (a and b around the axis, s along it), and how near a node it is.
type touch struct {
	p, n    vec
	a, b, s float64
	node    float64
	side    vec // across the tube, for relief
	dist    float64
}

// shade gives the light that leaves a surface towards the camera.
func (l *lighting) shade(m material, tint rgb, seed uint32, h touch, view vec) rgb {
	c, n := tint, h.n
	gloss, power := 0.0, 20.0
	taps := 1
	switch m {
	case matCane:
		// Fine ridges run along the bark; broad blotches and a few dark specks.
		ridge := noise3(h.a*7, h.b*7, h.s*0.012, seed)
		fine := noise3(h.a*15, h.b*15, h.s*0.05, seed+1)
		blotch := noise3(h.a*1.5, h.b*1.5, h.s*0.035, seed+2)
		c = c.mul((0.72 + 0.55*ridge) * (0.84 + 0.32*fine))
		c = c.to(rgb{c[0] * 0.72, c[1] * 0.66, c[2] * 0.62}, smooth(0.5, 0.95, blotch))
		if speck := noise3(h.a*9, h.b*9, h.s*0.45, seed+3); speck > 0.8 {
			c = c.mul(1 - 2.2*(speck-0.8))
		}
		c = c.mul(1 - 0.2*h.node*(0.4+1.2*fine))
		n = n.add(h.side.mul(0.35 * (ridge - 0.5))).unit()
		gloss = 0.05
	case matBud:
		c = c.mul(0.7 + 0.6*noise3(h.p[0]*0.9, h.p[1]*0.9, h.p[2]*0.5, seed))
	case matKnob:
		// Old cuts: lumpy, the bark running every way.
		q := h.p.mul(1.0 / 9)
		w := noise3(q[0]*0.4, q[1]*0.4, q[2]*0.4, seed) * 4
		lump := noise3(q[0]+w, q[1], q[2]*0.6-w, seed+1)
		fine := noise3(q[0]*4, q[1]*4, q[2]*1.5+w*3, seed+2)
		c = c.mul((0.3 + 1.2*lump) * (0.6 + 0.8*fine))
		n = n.add(vec{fine - 0.5, lump - 0.5, 0.6 * (fine - lump)}.mul(0.9)).unit()
	case matOld, matTrunk:
		k := 8.0
		if m == matTrunk {
			k = 11
		}
		// Bark splits into strips of uneven width that part and join again.
		warp := 0.22 * (noise3(h.a*2, h.b*2, h.s*0.011, seed+5) - 0.5)
		strip := noise3((h.a+warp)*k, (h.b-warp)*k, h.s*0.016, seed)
		next := noise3((h.a+warp+0.06)*k, (h.b-warp+0.06)*k, h.s*0.016, seed)
		fine := noise3(h.a*k*2.7, h.b*k*2.7, h.s*0.06, seed+1)
		c = c.mul((0.35 + 1.2*strip*strip + 0.25*strip) * (0.7 + 0.6*fine))
		if moss := noise3(h.p[0]*0.012, h.p[1]*0.012, h.p[2]*0.012, seed+4); moss > 0.66 {
			c = c.to(rgb{0.17, 0.18, 0.11}, 0.5*smooth(0.66, 0.85, moss)*fine)
		}
		n = n.add(h.side.mul(clamp(5*(strip-next), -0.8, 0.8))).unit()
	case matWire:
		c = c.mul(0.75 + 0.5*noise2(h.s*0.3, 0, seed))
		gloss, power = 0.5, 30
	case matPost:
		grain := noise3(h.a*16, h.b*16, h.s*0.008, seed)
		crack := noise3(h.a*9, h.b*9, h.s*0.003, seed+1)
		c = c.mul(0.7 + 0.6*grain)
		if crack > 0.78 {
			c = c.mul(0.45)
		}
		taps = 5
	case matTie, matClip:
		gloss = 0.08
	case matCut:
		c = c.mul(0.8 + 0.4*noise3(h.p[0], h.p[1], h.p[2], seed))
	}
	out := c.times(l.on(n, h.p, taps))
	if gloss > 0 && l.sun[0] > 0 {
		half := l.toSun.sub(view).unit()
		if k := n.dot(half); k > 0 && n.dot(l.toSun) > 0 {
			out = out.add(l.sun.mul(gloss * math.Pow(k, power) * l.map_.lit(h.p, 1)))
		}
	}
	return l.fog(out, h.dist)
}
