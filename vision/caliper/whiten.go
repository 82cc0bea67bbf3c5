package caliper

import "math"

// A whitener turns colours into three numbers in which the background's
// texture has the same spread in every direction and none is correlated with
// another. Grass varies much in brightness and little in hue, and a brown cane
// before it differs in hue: after whitening the fit goes by what tells them
// apart instead of by what is loudest (generalised least squares).
type whitener [3][3]float64

// texture gathers the spread of the background beside a cane.
type texture struct {
	n float64
	c [3][3]float64
}

// floor is the least standard deviation of a colour in linear light: the
// sensor's noise after averaging.
const floor = 0.004

// add takes in the ground of one cross-section outside of the edges, each side
// about its own mean.
func (t *texture) add(s *section, a, b float64) {
	side := func(in func(v float64) bool) {
		var mean [3]float64
		n := 0.0
		for i, v := range s.v {
			if in(v) {
				for c := range 3 {
					mean[c] += s.y[i][c]
				}
				n++
			}
		}
		if n < 4 {
			return
		}
		for c := range 3 {
			mean[c] /= n
		}
		for i, v := range s.v {
			if in(v) {
				for p := range 3 {
					for q := range 3 {
						t.c[p][q] += (s.y[i][p] - mean[p]) * (s.y[i][q] - mean[q])
					}
				}
				t.n++
			}
		}
	}
	side(func(v float64) bool { return v < a-2 })
	side(func(v float64) bool { return v > b+2 })
}

// whiten gives the inverse of the Cholesky factor of the covariance.
func (t *texture) whiten() whitener {
	var l [3][3]float64
	for i := range 3 {
		for j := range i + 1 {
			s := t.c[i][j] / max(t.n, 1)
			if i == j {
				s += floor * floor
			}
			for k := range j {
				s -= l[i][k] * l[j][k]
			}
			if i == j {
				l[i][i] = math.Sqrt(max(s, floor*floor/4))
			} else {
				l[i][j] = s / l[j][j]
			}
		}
	}
	var w whitener
	for c := range 3 {
		for i := c; i < 3; i++ {
			s := 0.0
			if i == c {
				s = 1
			}
			for k := c; k < i; k++ {
				s -= l[i][k] * w[k][c]
			}
			w[i][c] = s / l[i][i]
		}
	}
	return w
}

// apply whitens a section's colours in place.
func (w *whitener) apply(s *section) {
	for i, y := range s.y {
		for p := range 3 {
			s.y[i][p] = w[p][0]*y[0] + w[p][1]*y[1] + w[p][2]*y[2]
		}
	}
}
