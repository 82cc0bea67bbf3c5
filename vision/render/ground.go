package render

import "math"

// surroundings is everything that is no tube: sheet, ground, hills, sky.
type surroundings struct {
	kind  Background
	light *lighting
	seed  uint32
	sheet struct{ depth, left, right, bottom, top float64 }
	soil  struct{ y0, slope float64 }
	pixel float64 // tangent of a pixel's angle
	turn  float64
}

func newSurroundings(p Params, l *lighting, cam camera) *surroundings {
	r := source(p.Seed, 4)
	s := &surroundings{kind: p.Background, light: l, seed: r.Uint32(), pixel: 1 / cam.f, turn: between(r, -3, 3)}
	s.sheet.depth = p.SheetDepthMM
	half := (p.DistanceMM + p.SheetDepthMM) * math.Tan(p.HFOVDeg/2*math.Pi/180)
	mid := p.CameraXMM + (p.DistanceMM+p.SheetDepthMM)*math.Tan(p.YawDeg*math.Pi/180)
	s.sheet.left, s.sheet.right = mid-half*between(r, 0.95, 1.6), mid+half*between(r, 0.95, 1.6)
	s.sheet.bottom, s.sheet.top = between(r, 30, 350), p.LowerWireMM+between(r, 1500, 2200)
	s.soil.y0, s.soil.slope = between(r, 150, 500), math.Tan(between(r, 42, 55)*math.Pi/180)
	return s
}

// at gives the light that arrives from a pixel's direction.
func (s *surroundings) at(c camera, x, y float64) rgb {
	d := c.ray(x, y)
	if s.kind == WhiteSheet || s.kind == BlueSheet {
		if d[1] > 1e-6 {
			t := (s.sheet.depth - c.pos[1]) / d[1]
			p := c.pos.add(d.mul(t))
			hem := 12 * noise2(p[0]/70, p[2]/70, s.seed)
			if p[0] > s.sheet.left+hem && p[0] < s.sheet.right-hem && p[2] > s.sheet.bottom+hem && p[2] < s.sheet.top {
				return s.cloth(p)
			}
		}
	}
	if s.kind == Soil {
		// The bank rises away from the camera: z = slope (y - y0).
		k := s.soil.slope
		if den := d[2] - k*d[1]; den < -1e-6 {
			t := (k*(c.pos[1]-s.soil.y0) - c.pos[2]) / den
			if t > 0 {
				return s.earth(c.pos.add(d.mul(t)), t)
			}
		}
	}
	if d[2] < -1e-4 {
		t := -c.pos[2] / d[2]
		p := c.pos.add(d.mul(t))
		graze := -d[2] / d.len()
		return s.light.fog(s.grass(p, t*s.pixel, t*s.pixel/math.Max(graze, 0.02)), t)
	}
	return s.horizon(d)
}

// Haze: the distance after which half of its effect is reached, and how much
// of the light it takes at most.
const (
	hazeHalfMM = 260e3
	hazeMost   = 0.3 // the meadow ends at a line of trees, not in the haze
)

func (l *lighting) fog(c rgb, dist float64) rgb {
	if dist < 3500 {
		return c
	}
	return c.to(l.haze, hazeMost*(1-math.Exp2(-(dist-3500)/hazeHalfMM)))
}

// cloth hangs in broad folds, and its weave is just too fine to be seen.
func (s *surroundings) cloth(p vec) rgb {
	fold := func(x float64) float64 {
		return noise2(x/260, p[2]/1500, s.seed+3) + 0.35*noise2(x/90, p[2]/700, s.seed+4)
	}
	slope := (fold(p[0]+6) - fold(p[0]-6)) / 12 * 42
	n := vec{-slope, -1, 0.04}.unit()
	c := rgb{0.70, 0.70, 0.69}
	if s.kind == BlueSheet {
		c = rgb{0.030, 0.115, 0.44}
	}
	c = c.mul(0.9 + 0.2*clouds2(p[0]/55, p[2]/55, 4, 0, s.seed+5))
	return c.times(s.light.on(n, p, 14))
}

func (s *surroundings) grass(p vec, across, along float64) rgb {
	x, y := p[0], p[1]
	f := across / 7
	patch := clouds2(x/520, y/700, 3, along/700, s.seed+10)
	blade := clouds2(x/5, y/24, 3, math.Max(f, along/60), s.seed+11)
	tuft := clouds2(x/48, y/90, 3, along/90, s.seed+12)
	dark, green, dry := rgb{0.036, 0.045, 0.020}, rgb{0.115, 0.145, 0.055}, rgb{0.24, 0.21, 0.11}
	c := dark.to(green, smooth(0.3, 0.7, 0.5*blade+0.5*tuft))
	c = c.to(dry, 0.55*smooth(0.5, 0.75, patch)*smooth(0.45, 0.7, blade))
	c = c.to(rgb{0.22, 0.25, 0.10}, 0.8*smooth(0.62, 0.72, blade))
	// Broad-leaved weeds: pale specks in clumps.
	if weed := noise2(x/17, y/26, s.seed+13); f < 1.5 && weed > 0.72 && tuft > 0.48 {
		c = c.to(rgb{0.26, 0.28, 0.13}, 0.8*smooth(0.72, 0.8, weed))
	}
	// Fallen leaves, one in some cells.
	const cell = 190.0
	i, u := split(x / cell)
	j, v := split(y / cell)
	if unitHash(i, j, 1, s.seed) < 0.13 {
		du, dv := (u-0.2-0.6*unitHash(i, j, 2, s.seed))*cell, (v-0.2-0.6*unitHash(i, j, 3, s.seed))*cell
		r := 18 + 22*unitHash(i, j, 4, s.seed)
		ang := math.Atan2(dv, du)
		if math.Hypot(du, dv*0.8) < r*(0.84+0.16*math.Sin(5*ang+float64(i))) {
			c = rgb{0.26, 0.16, 0.07}.mul(0.6 + 0.8*unitHash(i, j, 5, s.seed)).mul(0.7 + 0.6*noise2(x/9, y/9, s.seed+6))
		}
	}
	n := vec{0.9 * (blade - 0.5), -0.25 + 0.5*(tuft-0.5), 1}.unit()
	return c.times(s.light.on(n, vec{p[0], p[1], 30 * tuft}, 8)).mul(0.4 + 1.2*blade)
}

func (s *surroundings) earth(p vec, dist float64) rgb {
	x, y := p[0], p[2]*1.3
	f := dist * s.pixel
	h := func(x, y float64) float64 {
		return 26*clouds2(x/120, y/120, 3, f/120, s.seed+20) + 9*clouds2(x/26, y/26, 4, f/26, s.seed+21)
	}
	e := math.Max(1.5, f)
	h0 := h(x, y)
	gx, gy := (h(x+e, y)-h0)/e, (h(x, y+e)-h0)/e
	n := vec{-gx * 0.9, -0.72, 0.70 - gy*0.9}.unit()
	c := rgb{0.20, 0.135, 0.085}.mul(0.65 + 0.7*clouds2(x/17, y/17, 4, f/17, s.seed+22))
	c = c.to(rgb{0.26, 0.19, 0.13}, smooth(0.5, 0.8, clouds2(x/300, y/300, 3, 0, s.seed+23)))
	const cell = 150.0
	i, u := split(x / cell)
	j, v := split(y / cell)
	if unitHash(i, j, 1, s.seed) < 0.3 { // a stone
		du, dv := (u-0.25-0.5*unitHash(i, j, 2, s.seed))*cell, (v-0.25-0.5*unitHash(i, j, 3, s.seed))*cell
		r := 7 + 18*unitHash(i, j, 4, s.seed)*unitHash(i, j, 5, s.seed)
		if d := math.Hypot(du/(0.8+0.5*unitHash(i, j, 6, s.seed)), dv); d < r {
			k := math.Sqrt(1 - d*d/(r*r))
			n = vec{du / r, -0.6 * k, dv/r + 0.6*k}.unit()
			c = rgb{0.30, 0.27, 0.23}.mul(0.7 + 0.5*noise2(x/3, y/3, s.seed+24))
		} else if d < r*1.25 {
			c = c.mul(0.6)
		}
	}
	if tuft := clouds2(x/85, y/60, 2, f/60, s.seed+25); tuft > 0.70 {
		blade := noise2(x/5, y/26, s.seed+26)
		if blade > 0.45 {
			c = rgb{0.06, 0.11, 0.03}.mul(0.6 + 0.9*blade)
		}
	}
	return c.times(s.light.on(n, p, 10))
}

// horizon is hills, a line of trees, and the sky.
func (s *surroundings) horizon(d vec) rgb {
	az := math.Atan2(d[0], d[1])
	el := d[2] / math.Hypot(d[0], d[1])
	day := s.light.sky.add(s.light.sun.mul(0.25))
	tree := 0.012 + 0.012*noise2(az*60+s.turn, 1, s.seed+30) + 0.008*noise2(az*240, 2, s.seed+30)
	if el < tree {
		c := rgb{0.035, 0.05, 0.04}.mul(0.6 + 0.9*noise2(az*400, el*700, s.seed+31))
		return c.times(day).to(s.light.haze, 0.25)
	}
	hill := 0.035 + 0.05*noise2(az*3.5+s.turn*9, 3, s.seed+32) + 0.008*noise2(az*14, 4, s.seed+32)
	sky := s.light.skyAt(d, s.seed)
	if el < hill {
		c := rgb{0.06, 0.085, 0.075}.mul(0.8 + 0.4*clouds2(az*60, el*140, 3, 0, s.seed+33))
		return c.times(day).to(s.light.haze, 0.55)
	}
	return sky.to(s.light.haze, 0.4*smooth(0.1, 0, el-hill))
}
