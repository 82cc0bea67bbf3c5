package caliper

import "math"

// An edgeFit is a fitted cross-section.
type edgeFit struct {
	a, b, sigma float64 // edges and blur, px across
	step        float64 // difference in level at the weaker edge, linear light
	rms         float64 // what the model leaves, per sample and channel
	u           float64 // standard uncertainty of b-a from the residuals, px
	ss          float64 // weighted sum of squares left
	ok          bool
}

// section is what is fitted: samples of three channels at distances v.
type section struct {
	v []float64
	y [][3]float64
	w []float64 // weight of each sample

	gs     [][basis]float64 // kept between calls
	r0, r1 []float64
	jac    [][3]float64
}

// levels solves for the basis' coefficients and gives the weighted sum of
// squares left.
func (s *section) levels(sh *shading, a, b, sigma float64, res []float64) (coef [3][basis]float64, ss float64) {
	var n [basis][basis]float64
	var r [3][basis]float64
	if s.gs == nil {
		s.gs = make([][basis]float64, len(s.v))
	}
	gs := s.gs
	for i, v := range s.v {
		g := &gs[i]
		sh.model(v, a, b, sigma, g)
		for p := range basis {
			for q := p; q < basis; q++ {
				n[p][q] += s.w[i] * g[p] * g[q]
			}
			for c := range 3 {
				r[c][p] += s.w[i] * g[p] * s.y[i][c]
			}
		}
	}
	// A little ridge keeps slope and dome from running away on thin canes,
	// where they can't be told from the edges.
	scale := n[2][2] + 1e-9
	thin := 6 * sigma / (b - a)
	thin *= thin
	n[3][3] += (0.01 + 0.1*thin*thin) * scale
	n[4][4] += (0.01 + 0.5*thin*thin) * scale
	for p := range basis {
		n[p][p] += 1e-9 * scale
		for q := range p {
			n[p][q] = n[q][p]
		}
	}
	coef = solve(n, r)
	k := 0
	for i := range s.v {
		for c := range 3 {
			f := 0.0
			for p := range basis {
				f += coef[c][p] * gs[i][p]
			}
			e := (s.y[i][c] - f) * math.Sqrt(s.w[i])
			res[k] = e
			ss += e * e
			k++
		}
	}
	return coef, ss
}

// solve solves the symmetric positive system for three right-hand sides by
// Cholesky decomposition.
func solve(n [basis][basis]float64, r [3][basis]float64) (x [3][basis]float64) {
	var l [basis][basis]float64
	for i := range basis {
		for j := range i + 1 {
			s := n[i][j]
			for k := range j {
				s -= l[i][k] * l[j][k]
			}
			if i == j {
				l[i][i] = math.Sqrt(max(s, 1e-15))
			} else {
				l[i][j] = s / l[j][j]
			}
		}
	}
	for c := range 3 {
		var y [basis]float64
		for i := range basis {
			s := r[c][i]
			for k := range i {
				s -= l[i][k] * y[k]
			}
			y[i] = s / l[i][i]
		}
		for i := basis - 1; i >= 0; i-- {
			s := y[i]
			for k := i + 1; k < basis; k++ {
				s -= l[k][i] * x[c][k]
			}
			x[c][i] = s / l[i][i]
		}
	}
	return x
}

// fit searches edges and blur from a first guess, by damped Gauss-Newton on
// the residuals with the levels projected out. With freeSigma false the blur
// stays as given.
func (s *section) fit(sh *shading, a, b, sigma float64, freeSigma bool, rounds int, par Params) edgeFit {
	n := 3 * len(s.v)
	if s.r0 == nil {
		s.r0, s.r1, s.jac = make([]float64, n), make([]float64, n), make([][3]float64, n)
	}
	r0, r1, jac := s.r0, s.r1, s.jac
	free := 2
	if freeSigma {
		free = 3
	}
	th := [3]float64{a, b, math.Log(sigma)}
	a0, b0 := a, b
	_, ss := s.levels(sh, th[0], th[1], math.Exp(th[2]), r0)
	lambda := 1e-3
	var cov [3][3]float64
	for range rounds {
		const h = 0.02
		for p := range free {
			t := th
			t[p] += h
			s.levels(sh, t[0], t[1], math.Exp(t[2]), r1)
			for i := range n {
				jac[i][p] = (r1[i] - r0[i]) / h
			}
		}
		var m [3][3]float64
		var g [3]float64
		for i := range n {
			for p := range free {
				g[p] -= jac[i][p] * r0[i]
				for q := range free {
					m[p][q] += jac[i][p] * jac[i][q]
				}
			}
		}
		for p := free; p < 3; p++ {
			m[p][p] = 1
		}
		better := false
		moved := 0.0
		for range 5 {
			k := m
			for p := range free {
				k[p][p] *= 1 + lambda
				k[p][p] += 1e-12
			}
			inv, ok := invert(k)
			if !ok {
				break
			}
			cov = inv
			t := th
			moved = 0
			for p := range free {
				d := 0.0
				for q := range free {
					d += inv[p][q] * g[q]
				}
				d = max(-1.5, min(1.5, d))
				t[p] += d
				moved = max(moved, math.Abs(d))
			}
			t[2] = max(math.Log(0.35), min(math.Log(par.MaxSigma), t[2]))
			if t[1]-t[0] < 1 {
				lambda *= 10
				continue
			}
			_, next := s.levels(sh, t[0], t[1], math.Exp(t[2]), r1)
			if next < ss {
				th, ss, better = t, next, true
				copy(r0, r1)
				lambda = max(lambda/5, 1e-6)
				break
			}
			lambda *= 8
		}
		if !better || moved < 0.005 {
			break
		}
	}
	out := edgeFit{a: th[0], b: th[1], sigma: math.Exp(th[2]), ss: ss}
	if math.Abs(out.a-a0) > 0.6*(b0-a0)+4 || math.Abs(out.b-b0) > 0.6*(b0-a0)+4 {
		return out
	}
	coef, ss := s.levels(sh, out.a, out.b, out.sigma, r0)
	sw := 0.0
	for _, w := range s.w {
		sw += w
	}
	out.rms = math.Sqrt(ss / (3 * sw))
	left, right := 0.0, 0.0
	for c := range 3 {
		// Half a radius in from each edge, where the wood shows itself.
		inL := coef[c][2] + coef[c][3]*sh.lit[slicing/4] + coef[c][4]*sh.dome[slicing/4]
		inR := coef[c][2] + coef[c][3]*sh.lit[slicing-1-slicing/4] + coef[c][4]*sh.dome[slicing-1-slicing/4]
		left += (inL - coef[c][0]) * (inL - coef[c][0])
		right += (inR - coef[c][1]) * (inR - coef[c][1])
	}
	out.step = math.Sqrt(min(left, right) / 3)
	// Neighbouring samples are interpolated from the same pixels: about half
	// of them are independent.
	v := ss / max(float64(n)-20, 1) * 2
	out.u = math.Sqrt(max(0, v*(cov[0][0]+cov[1][1]-2*cov[0][1])))
	out.ok = out.step > 0 && out.rms < par.MaxMisfit*out.step && !math.IsNaN(out.u)
	return out
}

func invert(m [3][3]float64) (x [3][3]float64, ok bool) {
	det := m[0][0]*(m[1][1]*m[2][2]-m[1][2]*m[2][1]) - m[0][1]*(m[1][0]*m[2][2]-m[1][2]*m[2][0]) + m[0][2]*(m[1][0]*m[2][1]-m[1][1]*m[2][0])
	if math.Abs(det) < 1e-300 {
		return x, false
	}
	for i := range 3 {
		for j := range 3 {
			a, b, c, d := (j+1)%3, (j+2)%3, (i+1)%3, (i+2)%3
			x[i][j] = (m[a][c]*m[b][d] - m[a][d]*m[b][c]) / det
		}
	}
	return x, true
}
