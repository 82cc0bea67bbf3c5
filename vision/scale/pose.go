package scale

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"nodespan/assess"
)

// Pose says where a camera stood: a point P of the reference's frame (mm, x
// right and y down on its plane, z away from the camera) is at R P + T in the
// camera's (x right, y down, z ahead).
type Pose struct {
	R [3][3]float64
	T [3]float64
}

// PoseOf decomposes a homography from a plane's millimetres to pixels, for
// square pixels of focal length f px and the principal point cx, cy: the first
// two columns are two columns of the rotation but for a factor, their cross
// product is the third, and the rotation nearest to the three is taken by
// singular values (Z. Zhang, IEEE PAMI 22(11), 2000, section 3.1 and appendix
// C). ok is false for a homography that no camera before the plane makes.
func PoseOf(h Homography, f, cx, cy float64) (p Pose, ok bool) {
	col := func(k int) vec {
		return vec{(h[k] - cx*h[6+k]) / f, (h[3+k] - cy*h[6+k]) / f, h[6+k]}
	}
	r1, r2, t := col(0), col(1), col(2)
	s := (r1.norm() + r2.norm()) / 2
	if !(s > 0) || math.IsInf(s, 0) {
		return p, false
	}
	if t[2] < 0 {
		s = -s // the plane lies ahead of the lens
	}
	a, b := vec{}.add(r1, 1/s), vec{}.add(r2, 1/s)
	c := a.cross(b)
	var svd mat.SVD
	if !svd.Factorize(mat.NewDense(3, 3, []float64{a[0], b[0], c[0], a[1], b[1], c[1], a[2], b[2], c[2]}), mat.SVDFull) {
		return p, false
	}
	var u, v, r mat.Dense
	svd.UTo(&u)
	svd.VTo(&v)
	r.Mul(&u, v.T())
	for i := range 3 {
		for j := range 3 {
			p.R[i][j] = r.At(i, j)
		}
		p.T[i] = t[i] / s
	}
	return p, mat.Det(&r) > 0 && p.T[2] > 0
}

// Centre is where the lens is, in the reference's frame, mm.
func (p Pose) Centre() [3]float64 {
	var c [3]float64
	for i := range 3 {
		for k := range 3 {
			c[i] -= p.R[k][i] * p.T[k]
		}
	}
	return c
}

// Principal is the principal point, px: the picture's middle.
func (m *Map) Principal() assess.Point { return assess.Point{m.cx, m.cy} }

// Corners gives the four corners of the pattern in mm and in pixels, with the
// covariance of the eight pixel coordinates (x, y of each in turn) as it
// follows from that of the homography. ok is false for two marks, which leave
// tilt and so the covariance unknown.
func (m *Map) Corners() (mm, px [4][2]float64, cov *mat.Dense, ok bool) {
	if m.cov == nil || len(m.Outline) != 4 {
		return mm, px, nil, false
	}
	j := mat.NewDense(8, 8, nil)
	for i, q := range m.Outline {
		x, y := m.PxToMM.Apply(q[0], q[1])
		mm[i], px[i] = [2]float64{x, y}, [2]float64{q[0], q[1]}
		w := m.MMToPx[6]*x + m.MMToPx[7]*y + 1
		j.SetRow(2*i, []float64{x / w, y / w, 1 / w, 0, 0, 0, -q[0] * x / w, -q[0] * y / w})
		j.SetRow(2*i+1, []float64{0, 0, 0, x / w, y / w, 1 / w, -q[1] * x / w, -q[1] * y / w})
	}
	var a mat.Dense
	a.Mul(j, m.cov)
	cov = mat.NewDense(8, 8, nil)
	cov.Mul(&a, j.T())
	return mm, px, cov, true
}

// turnedCov is the covariance of a homography's eight elements after its frame
// was turned by t, two rows of two.
func turnedCov(cov *mat.Dense, t [4]float64) *mat.Dense {
	j := mat.NewDense(8, 8, nil)
	for _, k := range []int{0, 3, 6} {
		j.Set(k, k, t[0])
		j.Set(k, k+1, t[2])
		j.Set(k+1, k, t[1])
		j.Set(k+1, k+1, t[3])
	}
	j.Set(2, 2, 1)
	j.Set(5, 5, 1)
	var a mat.Dense
	a.Mul(j, cov)
	out := mat.NewDense(8, 8, nil)
	out.Mul(&a, j.T())
	return out
}
