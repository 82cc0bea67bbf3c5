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
// (vx, vy). It also gives how far, in pixels, the half level lies on the dark
// side of the place, the levels of both sides, and by how much of the step the
// bright side rises above its level beside the edge. It returns 0 when there
// is no clean step.
func (f *finder) edgeBlur(x, y, ux, uy, vx, vy, reach, side float64) (sd, over, lo, hi, crest float64) {
	const step = 0.2
	n := int(2*reach/step) + 1
	prof := make([]float64, n)
	for i := range prof {
		t := -reach + float64(i)*step
		for k := -2; k <= 2; k++ {
			v := side * float64(k) / 2
			l := f.linearAt(x+t*ux+v*vx, y+t*uy+v*vy)
			if l < 0 {
				return 0, 0, 0, 0, 0
			}
			prof[i] += l / 5
		}
	}
	end := n / 8
	for i := range end {
		lo += prof[i] / float64(end)
		hi += prof[n-1-i] / float64(end)
	}
	if lo > hi {
		slices.Reverse(prof)
		lo, hi = hi, lo
	}
	if hi-lo < 0.03 {
		return 0, 0, 0, 0, 0
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
	// The profile now runs from dark to light.
	o := reach - cross(0.5)*step
	if math.IsNaN(s) || s <= 0 || math.IsNaN(o) {
		return 0, 0, 0, 0, 0
	}
	return s, o, lo, hi, (slices.Max(prof) - hi) / (hi - lo)
}

// cardBlur reads the blur on the card's own edges, along its two directions.
func (f *finder) cardBlur(m *Map) {
	sq := f.par.SquareMM
	var sum [2][]float64
	var over, darks, brights, crests []float64
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
				if s, o, dark, bright, crest := f.edgeBlur(x, y, ux/nu, uy/nu, vx/nv, vy/nv, 0.42*sq*nu, 0.25*sq*nv); s > 0 {
					over, darks, brights, crests = append(over, o/s), append(darks, dark), append(brights, bright), append(crests, crest)
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
	if len(over) >= 20 {
		m.shoulder = shoulderOf(middle(over)-sharpened*middle(crests), middle(brights), middle(darks))
		m.shoulderKnown = true
	}
}

func middle(v []float64) float64 {
	slices.Sort(v)
	return v[len(v)/2]
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

// A camera doesn't stop at the sRGB curve: it rolls highlights off, so that a
// bright sky of several times a sheet of paper's luminance still fits under
// 255. Where such a sky meets a cane, half the picture's values isn't half the
// light, and the sky seems to eat into the wood by up to a pixel on each side.
// The same happens on the reference: its white squares seem to grow into the
// black ones, by an amount that can be read there, where the true edges are
// known from the corners.

// Outward gives by how much an edge must be put towards the brighter side, in
// standard deviations of the blur, when highlights are compressed as
// v = L (1 - s v v), v being linear after the sRGB curve (IEC 61966-2-1):
// hardly at all in the lower half, without end at the top. ground and wood are
// the levels v on both sides; negative when the wood is the brighter.
func Outward(ground, wood, s float64) float64 {
	light := func(v float64) float64 { v = max(0, v); return v / max(1-s*v*v, 1.0/8) }
	g, w := light(ground), light(wood)
	if math.Abs(g-w) < 0.01 {
		return 0
	}
	share := (light((ground+wood)/2) - w) / (g - w) // of ground, at the half level
	share = max(0.05, min(0.95, share))
	return -math.Sqrt2 * math.Erfinv(2*share-1)
}

// sharpened is by how many standard deviations of the blur the card's edges
// lean to the dark for each share of the step by which sharpening lifts the
// bright side beside them. Cameras sharpen coded values, which pulls a step's
// half level in linear light to the dark side as compressed highlights do, but
// hardly more before a bright sky than on the card: what it explains mustn't be
// carried on to the sky. Worked out for a blurred step, coded by IEC 61966-2-1,
// with an unsharp mask of one pixel: 1.4 to 2.8 times the crest over the usual
// strengths and blurs (a figure of our own); more in files that JPEG flattened.
const sharpened = 3

// mostShoulder bounds how strongly highlights are supposed to be compressed.
const mostShoulder = 1.5

// shoulderOf finds the s for which Outward gives what was read on the reference.
func shoulderOf(over, bright, dark float64) float64 {
	lo, hi := 0.0, mostShoulder
	if Outward(bright, dark, lo) >= over {
		return lo
	}
	for range 30 {
		mid := (lo + hi) / 2
		if Outward(bright, dark, mid) < over {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2
}

// Shoulder is how strongly this photo compresses highlights, the s of Outward,
// as read on the reference; false when it couldn't be read.
func (m *Map) Shoulder() (s float64, known bool) { return m.shoulder, m.shoulderKnown }
