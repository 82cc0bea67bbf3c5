package caliper

import "math"

// A reading is where one edge lies, px across.
type reading struct {
	v    float64
	u    float64 // standard uncertainty from what the model leaves, px
	loss float64 // what it leaves, over what the colours vary
	ok   bool
}

// gatherSide collects, for one station, the ground's and the wood's colours
// beside an edge at v. sign is +1 where wood lies to the right of it (the left
// edge) and -1 for the right edge; width is that of the cane.
func gatherSide(s *section, v, sign, width, sigma float64, ground, wood *colours) {
	out0, out1 := 1.8*sigma+0.8, 1.8*sigma+3+0.35*width
	in0 := min(1.2*sigma+0.4, 0.3*width)
	in1 := in0 + max(0.2*width, 1)
	for i, x := range s.v {
		d := sign * (x - v) // positive inside
		switch {
		case d <= -out0 && d >= -out1:
			ground.add(s.y[i])
		case d >= in0 && d <= in1:
			wood.add(s.y[i])
		}
	}
}

// find fits an edge blurred by sigma to a section's projected colours near v.
// Inside, the wood may grow brighter or darker towards the cane's middle, as a
// lit cylinder does; that slope, and both levels, are solved for with mild
// expectations from the stretch, the edge's place is searched.
func (s *section) find(k *contrast, v, sign, width, sigma float64, par Params) reading {
	if !k.ok || k.apart < par.MinApart {
		return reading{}
	}
	reach := max(par.SearchPx, par.SearchShare*width)
	lo, hi := -(2*sigma + 3 + reach), 0.5*width
	const most = 96
	var d, t [most]float64
	n := 0
	for i, x := range s.v {
		if e := sign * (x - v); e >= lo && e <= hi && n < most {
			d[n], t[n] = e, k.project(s.y[i])
			n++
		}
	}
	if n < 8 {
		return reading{}
	}
	noise := math.Sqrt(0.5*(k.ground*k.ground+k.wood*k.wood)) + 0.1
	// Expectations, as weights on the three levels: how far ground and wood of
	// one station stray from those of the stretch, and how steep the wood's
	// shading may be.
	g0 := noise * noise / (k.ground*k.ground + 0.05*0.05)
	// What was gathered as wood is the less so the narrower the cane is for the
	// blur.
	loose := 0.08 + par.Loose*sigma/width
	w0 := noise * noise / (k.wood*k.wood + loose*loose)
	r0 := noise * noise / math.Pow(par.MaxSlope/(0.5*width), 2)
	// On a thin or blurred cane the other edge is felt too. It doesn't move with
	// this one, and neither does what the section is compared with.
	var far [most]float64
	tt := w0
	for i := range n {
		far[i] = phi((d[i] - width) / sigma)
		tt += t[i] * t[i]
	}
	loss := func(a float64) (float64, [3]float64) {
		// The upper half of a symmetric system: ground, wood, the wood's slope.
		m00, m11, m22, r1 := g0, w0, r0, w0
		var m01, m02, m12, r0, r2 float64
		for i := range n {
			e := d[i] - a
			z := e / sigma
			f := phi(z)
			gg, gw := 1-f+far[i], f-far[i]
			gs := (e-0.25*width)*f + sigma*gauss(z)
			m00 += gg * gg
			m01 += gg * gw
			m02 += gg * gs
			m11 += gw * gw
			m12 += gw * gs
			m22 += gs * gs
			r0 += gg * t[i]
			r1 += gw * t[i]
			r2 += gs * t[i]
		}
		inv, ok := invert([3][3]float64{{m00, m01, m02}, {m01, m11, m12}, {m02, m12, m22}})
		if !ok {
			return math.Inf(1), [3]float64{}
		}
		var b [3]float64
		for p := range 3 {
			b[p] = inv[p][0]*r0 + inv[p][1]*r1 + inv[p][2]*r2
		}
		// Weighted sum of squares left, with the expectations' share.
		ss := tt - b[0]*r0 - b[1]*r1 - b[2]*r2
		off := a / reach
		return ss/(noise*noise) + par.CoursePull*off*off*off*off, b
	}
	step := max(0.25, reach/12)
	best, at := math.Inf(1), 0.0
	for a := -reach; a <= reach+1e-9; a += step {
		if l, _ := loss(a); l < best {
			best, at = l, a
		}
	}
	// The parabola through the lowest three, twice.
	curve := 0.0
	for _, h := range []float64{step, step / 4} {
		l0, _ := loss(at - h)
		l1, _ := loss(at)
		l2, _ := loss(at + h)
		if c := l0 - 2*l1 + l2; c > 0 {
			at += max(-h, min(h, 0.5*h*(l0-l2)/c))
			curve = c / (h * h)
		}
	}
	l, b := loss(at)
	if !(curve > 0) || math.Abs(at) > reach {
		return reading{}
	}
	level := b[1] - b[0]
	out := reading{v: v + sign*at, loss: l / float64(n)}
	// Neighbouring samples are interpolated from the same pixels: about half
	// of them are independent.
	out.u = math.Sqrt(2 * 2 / curve * max(1, out.loss))
	out.ok = level > par.MinLevel && out.loss < par.MaxLoss && out.u < 0.5*width
	return out
}

// phiTable is the Gaussian's integral from -4 to 4 in steps of 1/128.
var phiTable = func() (t [1026]float64) {
	for i := range t {
		t[i] = 0.5 * math.Erfc(-(float64(i)/128-4)/math.Sqrt2)
	}
	return t
}()

func phi(x float64) float64 {
	x = (x + 4) * 128
	if x <= 0 {
		return 0
	}
	if x >= 1024 {
		return 1
	}
	i := int(x)
	f := x - float64(i)
	return phiTable[i] + f*(phiTable[i+1]-phiTable[i])
}

// gaussTable is the Gaussian itself over the same places.
var gaussTable = func() (t [1026]float64) {
	for i := range t {
		z := float64(i)/128 - 4
		t[i] = math.Exp(-0.5*z*z) / math.Sqrt(2*math.Pi)
	}
	return t
}()

func gauss(z float64) float64 {
	z = (z + 4) * 128
	if z <= 0 || z >= 1024 {
		return 0
	}
	i := int(z)
	f := z - float64(i)
	return gaussTable[i] + f*(gaussTable[i+1]-gaussTable[i])
}
