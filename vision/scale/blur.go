package scale

import (
	"math"
	"slices"

	"nodespan/vision/photo"
)

// linearAt is the mean of the channels in linear light at a place of the
// photo, -1 outside.
func (f *finder) linearAt(x, y float64) float64 {
	pix, w, h := f.photo.Pix(), f.photo.Width, f.photo.Height
	if !(x >= 0 && y >= 0 && x < float64(w-1) && y < float64(h-1)) {
		return -1
	}
	i, j := int(x), int(y)
	fx, fy := x-float64(i), y-float64(j)
	g := func(i, j int) float64 {
		k := 3 * (j*w + i)
		return float64(photo.Linear[pix[k]]+photo.Linear[pix[k+1]]+photo.Linear[pix[k+2]]) / 3
	}
	return (g(i, j)*(1-fx)+g(i+1, j)*fx)*(1-fy) + (g(i, j+1)*(1-fx)+g(i+1, j+1)*fx)*fy
}

// edgeBlur measures how far one edge is smeared, as the standard deviation of
// a Gaussian in pixels: half the distance between the places where the step
// is at 16 and at 84 % (the edge spread function of ISO 12233, read at plus
// and minus one standard deviation). The step is sampled along the unit
// direction (ux, uy) through (x, y), at places shifted by up to side along
// (vx, vy). It returns 0 when there is no clean step.
func (f *finder) edgeBlur(x, y, ux, uy, vx, vy, reach, side float64) float64 {
	const step = 0.2
	n := int(2*reach/step) + 1
	prof := make([]float64, n)
	for i := range prof {
		t := -reach + float64(i)*step
		for k := -2; k <= 2; k++ {
			v := side * float64(k) / 2
			l := f.linearAt(x+t*ux+v*vx, y+t*uy+v*vy)
			if l < 0 {
				return 0
			}
			prof[i] += l / 5
		}
	}
	end := n / 8
	lo, hi := 0.0, 0.0
	for i := range end {
		lo += prof[i] / float64(end)
		hi += prof[n-1-i] / float64(end)
	}
	if lo > hi {
		slices.Reverse(prof)
		lo, hi = hi, lo
	}
	if hi-lo < 0.03 {
		return 0
	}
	cross := func(level float64) float64 {
		want := lo + level*(hi-lo)
		for i := 1; i < n; i++ {
			if prof[i-1] < want && prof[i] >= want {
				return float64(i-1) + (want-prof[i-1])/(prof[i]-prof[i-1])
			}
		}
		return math.NaN()
	}
	s := (cross(0.84) - cross(0.16)) / 2 * step
	if math.IsNaN(s) || s <= 0 {
		return 0
	}
	return s
}

// cardBlur reads the blur on the card's own edges, along its two directions.
func (f *finder) cardBlur(m *Map) {
	sq := f.par.SquareMM
	var sum [2][]float64
	for j := range f.par.Rows + 1 {
		for i := range f.par.Columns + 1 {
			// The middle of the edge to the right of this corner and of that
			// below it, both inside the pattern.
			for k, d := range [][2]float64{{0.5, 0}, {0, 0.5}} {
				bi, bj := float64(i)+d[0], float64(j)+d[1]
				if bi >= float64(f.par.Columns) || bj >= float64(f.par.Rows) || k == 0 && (j == 0 || j == f.par.Rows) || k == 1 && (i == 0 || i == f.par.Columns) {
					continue
				}
				mx, my := (bi-float64(f.par.Columns)/2)*sq, (bj-float64(f.par.Rows)/2)*sq
				if m.turned {
					mx, my = my, mx
				}
				x, y := m.MMToPx.Apply(mx, my)
				a, b, c, dd := m.MMToPx.Jacobian(mx, my)
				ux, uy, vx, vy := b, dd, a, c // across a level edge, along it
				if (k == 1) != m.turned {
					ux, uy, vx, vy = a, c, b, dd
				}
				nu, nv := math.Hypot(ux, uy), math.Hypot(vx, vy)
				if s := f.edgeBlur(x, y, ux/nu, uy/nu, vx/nv, vy/nv, 0.42*sq*nu, 0.25*sq*nv); s > 0 {
					dir := 0
					if math.Abs(uy/nu) > math.Abs(ux/nu) {
						dir = 1
					}
					sum[dir] = append(sum[dir], s)
				}
			}
		}
	}
	for k := range sum {
		if len(sum[k]) >= 5 {
			slices.Sort(sum[k])
			m.blur[k] = sum[k][len(sum[k])/2]
		}
	}
	m.evenBlur()
}

// evenBlur fills the direction that could not be read.
func (m *Map) evenBlur() {
	if m.blur[0] == 0 {
		m.blur[0] = m.blur[1]
	}
	if m.blur[1] == 0 {
		m.blur[1] = m.blur[0]
	}
}

// Blur is the standard deviation of the photo's blur across an edge whose
// normal is (nx, ny), px, as read on the reference; 0 when it isn't known.
func (m *Map) Blur(nx, ny float64) float64 {
	n := math.Hypot(nx, ny)
	return math.Hypot(m.blur[0]*nx/n, m.blur[1]*ny/n)
}
