package stance

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"nodespan/assess"
	"nodespan/vision/scale"
)

// unknowns of the two cameras: the logarithm of a factor on the focal length,
// k1, and for each camera a small rotation (radians) and its T (mm).
const unknowns = 14

// unit is what each unknown is counted in, so that they are of one size.
var unit = [unknowns]float64{0.1, 0.01, 0.01, 0.01, 0.01, 10, 10, 10, 0.01, 0.01, 0.01, 10, 10, 10}

// rig is a pair of cameras with what isn't known of them.
type rig struct {
	a, b camera
	// off are pairs that differ from it by one standard uncertainty, in
	// independent directions.
	off [][2]camera
	// pairs is how many places were recognised in both photos and fit.
	pairs int
	// share is the share of those among all that were recognised.
	share float64
	// corners is what the card's corners are off by, root mean square in their
	// own standard uncertainties.
	corners float64
}

// moved gives the cameras with the unknowns added.
func moved(a, b camera, x []float64) (camera, camera) {
	out := [2]camera{a, b}
	for i := range out {
		c, o := &out[i], x[2+6*i:]
		c.f *= math.Exp(x[0] * unit[0])
		c.k1 += x[1] * unit[1]
		c.at.R = rotated(c.at.R, vec{o[0] * unit[2], o[1] * unit[3], o[2] * unit[4]})
		for k := range 3 {
			c.at.T[k] += o[3+k] * unit[5+k]
		}
	}
	return out[0], out[1]
}

// rotated turns r by a rotation vector (Rodrigues' formula).
func rotated(r [3][3]float64, w vec) [3][3]float64 {
	t := w.norm()
	if t == 0 {
		return r
	}
	s, c := math.Sincos(t)
	k := vec{}.plus(w, 1/t)
	var out [3][3]float64
	for j := range 3 {
		v := vec{r[0][j], r[1][j], r[2][j]}
		q := vec{}.plus(v, c).plus(k.cross(v), s).plus(k, (1-c)*k.dot(v))
		for i := range 3 {
			out[i][j] = q[i]
		}
	}
	return out
}

// seen are one photo's corners of the card.
type seen struct {
	mm, px [4][2]float64
	whiten *mat.TriDense // lower Cholesky factor of the corners' covariance
}

func seenOf(m *scale.Map, cornerPx float64) (s seen, ok bool) {
	mm, px, cov, ok := m.Corners()
	if !ok {
		return s, false
	}
	sym := mat.NewSymDense(8, nil)
	for i := range 8 {
		for j := i; j < 8; j++ {
			v := (cov.At(i, j) + cov.At(j, i)) / 2
			if i == j {
				v += cornerPx * cornerPx
			}
			sym.SetSym(i, j, v)
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(sym) {
		return s, false
	}
	l := mat.NewTriDense(8, mat.Lower, nil)
	chol.LTo(l)
	return seen{mm, px, l}, true
}

// residuals of a camera's corners, in standard uncertainties.
func (s seen) residuals(c camera, turn [4]float64) []float64 {
	r := mat.NewVecDense(8, nil)
	for i := range 4 {
		x, y := s.mm[i][0], s.mm[i][1]
		p := c.project(vec{turn[0]*x + turn[1]*y, turn[2]*x + turn[3]*y, 0})
		r.SetVec(2*i, s.px[i][0]-p[0])
		r.SetVec(2*i+1, s.px[i][1]-p[1])
	}
	var out mat.VecDense
	if err := out.SolveVec(s.whiten, r); err != nil {
		if _, near := err.(mat.Condition); !near {
			return make([]float64, 8)
		}
	}
	return out.RawVector().Data
}

// adjust finds the two cameras from both photos' corners together. turn takes
// the second photo's frame of the card to the first's.
//
// pairs are places of one thing in both photos, u px sure: where the lens was
// turned to is much better seen in the whole picture than on a small card. Some
// of them are wrong, so those that don't fit lose their weight, more strictly
// from round to round.
func adjust(a, b *scale.Map, turn [4]float64, pairs [][2]assess.Point, u float64, par Params) (rig, bool) {
	sa, okA := seenOf(a, par.CornerPx)
	sb, okB := seenOf(b, par.CornerPx)
	if !okA || !okB {
		return rig{}, false
	}
	// One lens: what one file tells of it holds for the other, by its size.
	fa, fb, fu := a.FocalPx, b.FocalPx, par.FocalSupposedU
	wide := func(m *scale.Map) float64 { p := m.Principal(); return math.Max(p[0], p[1]) }
	switch {
	case a.FocalKnown && b.FocalKnown:
		fu = par.FocalKnownU
	case a.FocalKnown:
		fb, fu = fa*wide(b)/wide(a), par.FocalKnownU
	case b.FocalKnown:
		fa, fu = fb*wide(a)/wide(b), par.FocalKnownU
	}
	start := func(m *scale.Map, f float64) (camera, bool) {
		mid := m.Principal()
		p, ok := scale.PoseOf(m.MMToPx, f, mid[0], mid[1])
		return camera{f: f, middle: mid, at: p}, ok
	}
	ca, okA := start(a, fa)
	cb, okB := start(b, fb)
	if !okA || !okB {
		return rig{}, false
	}
	cb.at.R = turned(cb.at.R, turn)
	same := [4]float64{1, 0, 0, 1}
	x := make([]float64, unknowns)
	weight := make([]float64, len(pairs))
	all := func(x []float64) []float64 {
		a, b := moved(ca, cb, x)
		r := append(sa.residuals(a, same), sb.residuals(b, turn)...)
		r = append(r, -x[0]*unit[0]/fu, -x[1]*unit[1]/par.DistortionU)
		for i, p := range pairs {
			r = append(r, weight[i]*epipolar(a, b, p))
		}
		return r
	}
	reweigh := func(tol float64) {
		a, b := moved(ca, cb, x)
		for i, p := range pairs {
			e := epipolar(a, b, p) / tol
			weight[i] = 1 / u / (1 + e*e) // Geman and McClure's, which forgets what is far off
		}
	}
	var jac *mat.Dense
	var r []float64
	for _, tol := range []float64{0, 40, 20, 10, 5, 3, 2, 2} {
		if tol > 0 && len(pairs) < par.MinPairs {
			break
		}
		if tol > 0 {
			reweigh(tol * u)
		}
		var ok bool
		if x, r, jac, ok = settle(x, all); !ok {
			return rig{}, false
		}
	}
	fits := 0
	for _, w := range weight {
		if w*u > 0.25 {
			fits++
		}
	}
	if fits < par.MinPairs && fits > 0 {
		// Too few of them agree to be believed.
		return adjust(a, b, turn, nil, u, par)
	}
	out := rig{pairs: fits, corners: math.Sqrt(sum2(r[:16]) / 16)}
	if len(pairs) > 0 {
		out.share = float64(fits) / float64(len(pairs))
	}
	out.a, out.b = moved(ca, cb, x)
	var jtj, inv mat.Dense
	jtj.Mul(jac.T(), jac)
	if err := inv.Inverse(&jtj); err != nil {
		if _, near := err.(mat.Condition); !near {
			return rig{}, false
		}
	}
	// Corners that fit worse than they should are less sure than they seem
	// (R. T. Birge, Phys. Rev. 40, 1932).
	const known = 18 // residuals of corners and lens
	worse := math.Max(1, sum2(r)/float64(known+fits-unknowns))
	sym := mat.NewSymDense(unknowns, nil)
	for i := range unknowns {
		for j := i; j < unknowns; j++ {
			sym.SetSym(i, j, worse*(inv.At(i, j)+inv.At(j, i))/2)
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(sym) {
		return rig{}, false
	}
	l := mat.NewTriDense(unknowns, mat.Lower, nil)
	chol.LTo(l)
	for k := range unknowns {
		y := append([]float64(nil), x...)
		for i := range y {
			y[i] += l.At(i, k)
		}
		a, b := moved(ca, cb, y)
		out.off = append(out.off, [2]camera{a, b})
	}
	return out, true
}

// settle moves x to where the residuals' sum of squares is least, by damped
// Gauss-Newton steps (Levenberg-Marquardt); it gives the residuals there and
// the derivatives of their negatives.
func settle(x []float64, all func([]float64) []float64) ([]float64, []float64, *mat.Dense, bool) {
	r := all(x)
	var jac *mat.Dense
	damp := 1e-3
	for range 25 {
		jac = mat.NewDense(len(r), unknowns, nil)
		const step = 1e-4
		for k := range unknowns {
			y := append([]float64(nil), x...)
			y[k] += step
			for i, v := range all(y) {
				jac.Set(i, k, (r[i]-v)/step)
			}
		}
		var jtj mat.Dense
		var jtr mat.VecDense
		jtj.Mul(jac.T(), jac)
		jtr.MulVec(jac.T(), mat.NewVecDense(len(r), r))
		better, before := false, sum2(r)
		for range 8 {
			damped := mat.DenseCopyOf(&jtj)
			for k := range unknowns {
				damped.Set(k, k, jtj.At(k, k)*(1+damp)+1e-9)
			}
			var d mat.VecDense
			if err := d.SolveVec(damped, &jtr); err != nil {
				if _, near := err.(mat.Condition); !near {
					return x, r, jac, false
				}
			}
			y := append([]float64(nil), x...)
			for k := range y {
				y[k] += d.AtVec(k)
			}
			if next := all(y); sum2(next) < before {
				x, r, better = y, next, true
				damp = math.Max(damp/10, 1e-9)
				break
			}
			damp *= 10
		}
		if !better || sum2(r) > before*(1-1e-6) {
			break
		}
	}
	return x, r, jac, true
}

// turned gives the rotation for the card's frame turned in its plane: t takes
// the old frame's x, y to the new one's.
func turned(r [3][3]float64, t [4]float64) [3][3]float64 {
	var out [3][3]float64
	for i := range 3 {
		// R_old P_old with P_old = t^T P_new, since t is a rotation.
		out[i] = [3]float64{r[i][0]*t[0] + r[i][1]*t[1], r[i][0]*t[2] + r[i][1]*t[3], r[i][2]}
	}
	return out
}

func sum2(r []float64) float64 {
	s := 0.0
	for _, v := range r {
		s += v * v
	}
	return s
}
