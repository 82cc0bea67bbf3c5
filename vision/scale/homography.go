package scale

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"
)

// Homography is a 3 x 3 projective mapping, row by row, with the last element 1
// unless it was inverted.
type Homography [9]float64

// Apply maps a point.
func (h Homography) Apply(x, y float64) (u, v float64) {
	w := h[6]*x + h[7]*y + h[8]
	return (h[0]*x + h[1]*y + h[2]) / w, (h[3]*x + h[4]*y + h[5]) / w
}

// Inverse gives the mapping back.
func (h Homography) Inverse() Homography {
	m := mat.NewDense(3, 3, append([]float64(nil), h[:]...))
	var inv mat.Dense
	if err := inv.Inverse(m); err != nil {
		return Homography{}
	}
	var out Homography
	for i := range out {
		out[i] = inv.At(i/3, i%3) / inv.At(2, 2)
	}
	return out
}

// Jacobian gives the derivatives du/dx, du/dy, dv/dx, dv/dy at a point.
func (h Homography) Jacobian(x, y float64) (a, b, c, d float64) {
	w := h[6]*x + h[7]*y + h[8]
	u, v := h.Apply(x, y)
	return (h[0] - u*h[6]) / w, (h[1] - u*h[7]) / w, (h[3] - v*h[6]) / w, (h[4] - v*h[7]) / w
}

// Fit finds the homography that takes from[i] to to[i] with the least squared
// distance in the target, by the normalised direct linear transform and
// Gauss-Newton steps (Hartley & Zisserman, Multiple View Geometry, 2nd ed.,
// 4.4 and 4.5). At least four points, no three of four on a line. It returns
// the root mean square residual in units of the target, per coordinate, and
// the covariance of the eight free elements for unit residual variance.
func Fit(from, to [][2]float64) (Homography, float64, *mat.Dense, error) {
	n := len(from)
	if n < 4 || n != len(to) {
		return Homography{}, 0, nil, errors.New("a homography needs at least four pairs of points")
	}
	nf, pf := normalise(from)
	nt, pt := normalise(to)
	a := mat.NewDense(2*n, 9, nil)
	for i := range pf {
		x, y, u, v := pf[i][0], pf[i][1], pt[i][0], pt[i][1]
		a.SetRow(2*i, []float64{-x, -y, -1, 0, 0, 0, u * x, u * y, u})
		a.SetRow(2*i+1, []float64{0, 0, 0, -x, -y, -1, v * x, v * y, v})
	}
	var svd mat.SVD
	if !svd.Factorize(a, mat.SVDThin) && n > 4 || n == 4 && !svd.Factorize(a, mat.SVDFull) {
		return Homography{}, 0, nil, errors.New("the points give no homography")
	}
	var vt mat.Dense
	svd.VTo(&vt)
	_, cols := vt.Dims()
	h := mat.NewDense(3, 3, nil)
	for i := range 9 {
		h.Set(i/3, i%3, vt.At(i, cols-1))
	}
	// Undo the normalisation: H = Nt^-1 h Nf.
	var ntInv, tmp, full mat.Dense
	if err := ntInv.Inverse(nt); err != nil {
		return Homography{}, 0, nil, err
	}
	tmp.Mul(&ntInv, h)
	full.Mul(&tmp, nf)
	var out Homography
	if math.Abs(full.At(2, 2)) < 1e-12 {
		return Homography{}, 0, nil, errors.New("the points give no homography")
	}
	for i := range out {
		out[i] = full.At(i/3, i%3) / full.At(2, 2)
	}
	cov := mat.NewDense(8, 8, nil)
	for range 8 {
		j := mat.NewDense(2*n, 8, nil)
		r := mat.NewVecDense(2*n, nil)
		for i := range from {
			x, y := from[i][0], from[i][1]
			w := out[6]*x + out[7]*y + 1
			u, v := out.Apply(x, y)
			j.SetRow(2*i, []float64{x / w, y / w, 1 / w, 0, 0, 0, -u * x / w, -u * y / w})
			j.SetRow(2*i+1, []float64{0, 0, 0, x / w, y / w, 1 / w, -v * x / w, -v * y / w})
			r.SetVec(2*i, to[i][0]-u)
			r.SetVec(2*i+1, to[i][1]-v)
		}
		// Columns differ by orders of magnitude: scale them before solving.
		s := make([]float64, 8)
		for c := range s {
			s[c] = mat.Norm(j.ColView(c), 2)
			if s[c] == 0 {
				return Homography{}, 0, nil, errors.New("the points give no homography")
			}
			for k := range 2 * n {
				j.Set(k, c, j.At(k, c)/s[c])
			}
		}
		var jtj, inv mat.Dense
		jtj.Mul(j.T(), j)
		if err := inv.Inverse(&jtj); err != nil {
			var cond mat.Condition
			if !errors.As(err, &cond) || float64(cond) > 1e15 {
				return Homography{}, 0, nil, errors.New("the points lie on a line")
			}
		}
		var jtr, d mat.VecDense
		jtr.MulVec(j.T(), r)
		d.MulVec(&inv, &jtr)
		for c := range s {
			out[c] += d.AtVec(c) / s[c]
			for k := range s {
				cov.Set(c, k, inv.At(c, k)/s[c]/s[k])
			}
		}
	}
	sum := 0.0
	for i := range from {
		u, v := out.Apply(from[i][0], from[i][1])
		sum += (u-to[i][0])*(u-to[i][0]) + (v-to[i][1])*(v-to[i][1])
	}
	return out, math.Sqrt(sum / float64(2*n)), cov, nil
}

func normalise(p [][2]float64) (*mat.Dense, [][2]float64) {
	var mx, my, d float64
	for _, q := range p {
		mx += q[0] / float64(len(p))
		my += q[1] / float64(len(p))
	}
	for _, q := range p {
		d += math.Hypot(q[0]-mx, q[1]-my) / float64(len(p))
	}
	s := math.Sqrt2 / max(d, 1e-12)
	out := make([][2]float64, len(p))
	for i, q := range p {
		out[i] = [2]float64{s * (q[0] - mx), s * (q[1] - my)}
	}
	return mat.NewDense(3, 3, []float64{s, 0, -s * mx, 0, s, -s * my, 0, 0, 1}), out
}
