package caliper

import "math"

// A contrast is how wood and ground differ along one edge over a stretch of
// the cane: the direction in colour space along which they are told apart best
// for how much each varies (R. A. Fisher's linear discriminant, Annals of
// Eugenics 7, 1936). Colours are linear light, so that what a blurred edge
// mixes stays between the two.
type contrast struct {
	d      [3]float64 // projection: 0 at the ground's mean, 1 at the wood's
	zero   float64
	ground float64 // standard deviation of the ground, projected
	wood   float64 // that of the wood beside the edge
	apart  float64 // distance of the means in pooled standard deviations
	ok     bool
}

// colours gathers mean and covariance.
type colours struct {
	n float64
	s [3]float64
	c [3][3]float64
}

func (t *colours) add(y [3]float64) {
	t.n++
	for p := range 3 {
		t.s[p] += y[p]
		for q := range 3 {
			t.c[p][q] += y[p] * y[q]
		}
	}
}

func (t *colours) merge(o *colours) {
	t.n += o.n
	for p := range 3 {
		t.s[p] += o.s[p]
		for q := range 3 {
			t.c[p][q] += o.c[p][q]
		}
	}
}

func (t *colours) moments() (mean [3]float64, cov [3][3]float64) {
	n := max(t.n, 1)
	for p := range 3 {
		mean[p] = t.s[p] / n
	}
	for p := range 3 {
		for q := range 3 {
			cov[p][q] = t.c[p][q]/n - mean[p]*mean[q]
		}
	}
	return mean, cov
}

// tell works out the contrast between what was gathered on both sides of an
// edge. chroma is how unsure colour without brightness is there, linear light:
// compressed files keep it at half the resolution (chroma subsampling, ISO
// 10918-1), so that it is smeared across a thin cane.
func tell(ground, wood *colours, chroma float64) contrast {
	if ground.n < 12 || wood.n < 6 {
		return contrast{}
	}
	gm, gc := ground.moments()
	wm, wc := wood.moments()
	var m [3][3]float64
	var diff [3]float64
	for p := range 3 {
		diff[p] = wm[p] - gm[p]
		for q := range 3 {
			m[p][q] = gc[p][q] + wc[p][q]
		}
		m[p][p] += 2 * floor * floor
		for q := range 3 {
			c := -1.0 / 3
			if p == q {
				c += 1
			}
			m[p][q] += chroma * chroma * c
		}
	}
	inv, ok := invert(m)
	if !ok {
		return contrast{}
	}
	var k contrast
	gain := 0.0
	for p := range 3 {
		for q := range 3 {
			k.d[p] += inv[p][q] * diff[q]
		}
	}
	for p := range 3 {
		gain += k.d[p] * diff[p]
	}
	if !(gain > 0) {
		return contrast{}
	}
	for p := range 3 {
		k.d[p] /= gain
		k.zero += k.d[p] * gm[p]
	}
	for p := range 3 {
		for q := range 3 {
			k.ground += k.d[p] * k.d[q] * gc[p][q]
			k.wood += k.d[p] * k.d[q] * wc[p][q]
		}
	}
	k.ground, k.wood = math.Sqrt(max(k.ground, 0)), math.Sqrt(max(k.wood, 0))
	k.apart = math.Sqrt(2 * gain)
	k.ok = true
	return k
}

// project takes a colour to the scale on which the ground is 0 and the wood 1.
func (k *contrast) project(y [3]float64) float64 {
	return k.d[0]*y[0] + k.d[1]*y[1] + k.d[2]*y[2] - k.zero
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
