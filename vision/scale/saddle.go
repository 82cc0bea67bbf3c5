package scale

import (
	"cmp"
	"image"
	"math"
	"slices"

	"gocv.io/x/gocv"

	"nodespan/vision/cores"
)

// A corner is a candidate inner corner of a checkerboard, in pixels of the
// picture in which it was looked for.
type corner struct {
	x, y     float64
	strength float64
	// axis holds the directions of the two lines that cross here, radians in
	// [0, pi), ordered so that going from axis[0] to axis[1] by increasing
	// angle passes through a dark sector. The order is the corner's polarity.
	axis [2]float64
}

// plane is a picture of one byte per pixel.
type plane struct {
	w, h int
	v    []uint8
}

func (p *plane) at(x, y float64) float32 {
	if x < 0 || y < 0 || x >= float64(p.w-1) || y >= float64(p.h-1) {
		return -1
	}
	i, j := int(x), int(y)
	fx, fy := float32(x-float64(i)), float32(y-float64(j))
	k := j*p.w + i
	return (float32(p.v[k])*(1-fx)+float32(p.v[k+1])*fx)*(1-fy) + (float32(p.v[k+p.w])*(1-fx)+float32(p.v[k+p.w+1])*fx)*fy
}

// A look is how corners are looked for at one picture size.
type look struct {
	// kernel is the size of the derivatives, px: 5 smooths by 1 to 0.7 px, 3 by
	// 0.7 px and less.
	kernel int
	sigma  float64 // smoothing before the ring is read, px
	radius float64 // of the ring, px
}

// The usual look, and one for corners that lie closer together.
var (
	wide   = look{kernel: 5, sigma: 1, radius: 4}
	narrow = look{kernel: 3, sigma: 0.7, radius: 2.5}
)

// stripRows is how many rows are worked on at a time: few enough that what is
// made of them stays in the processor's cache.
const stripRows = 32

// mostCorners bounds how many corners are kept, the strongest.
const mostCorners = 6000

// saddles finds brightness saddles in a grey picture: places where the
// determinant of the Hessian is strongly negative, local extrema of it, whose
// ring is checkerboard-like.
func saddles(grey gocv.Mat, by look) []corner {
	w, h := grey.Cols(), grey.Rows()
	if w < 40 || h < 40 {
		return nil
	}
	soft := gocv.NewMat()
	defer soft.Close()
	gocv.GaussianBlur(grey, &soft, image.Pt(0, 0), by.sigma, by.sigma, gocv.BorderReplicate)
	pix, err := soft.DataPtrUint8()
	if err != nil {
		return nil
	}
	p := &plane{w: w, h: h, v: pix}
	edge := int(by.radius) + 2
	strips := (h - 2*edge + stripRows - 1) / stripRows
	found := make([][]corner, strips)
	cores.EachWith(strips, newBench, (*bench).close, func(i int, b *bench) {
		y0 := edge + i*stripRows
		found[i] = b.saddles(grey, p, y0, min(y0+stripRows, h-edge), edge, by)
	})
	out := slices.Concat(found...)
	slices.SortStableFunc(out, func(a, b corner) int { return cmp.Compare(b.strength, a.strength) })
	return out[:min(len(out), mostCorners)]
}

// A bench holds what is made of a strip of the picture.
type bench struct {
	second [3]gocv.Mat // derivatives: twice across, twice down, once each
	det    []int32
}

func newBench() *bench {
	b := &bench{}
	for i := range b.second {
		b.second[i] = gocv.NewMat()
	}
	return b
}

func (b *bench) close() {
	for i := range b.second {
		b.second[i].Close()
	}
}

// saddles finds the saddles of the rows from y0 up to y1.
func (b *bench) saddles(grey gocv.Mat, p *plane, y0, y1, edge int, by look) []corner {
	w := p.w
	const reach = 3 // within so many pixels a saddle is the strongest
	part := grey.Region(image.Rect(0, y0-reach, w, y1+reach))
	defer part.Close()
	var v [3][]int16
	for i, d := range [...]image.Point{{2, 0}, {0, 2}, {1, 1}} {
		gocv.Sobel(part, &b.second[i], gocv.MatTypeCV16S, d.X, d.Y, by.kernel, 1, 0, gocv.BorderReplicate)
		var err error
		if v[i], err = b.second[i].DataPtrInt16(); err != nil {
			return nil
		}
	}
	xx, yy, xy := v[0], v[1], v[2]
	if cap(b.det) < len(xx) {
		b.det = make([]int32, len(xx))
	}
	det := b.det[:len(xx)]
	for k := range det {
		c := int32(xy[k])
		det[k] = c*c - int32(xx[k])*int32(yy[k])
	}
	// How many times larger the kernel's second derivatives are than plain ones.
	gain := int32(4)
	if by.kernel == 5 {
		gain = 64
	}
	// A weaker saddle has a contrast of under some ten grey levels.
	floor := gain * gain / 2
	quick := quickRing(w, by.radius)
	var out []corner
	for y := y0; y < y1; y++ {
		row := (y - y0 + reach) * w
	next:
		for x := edge; x < w-edge; x++ {
			k := row + x
			d := det[k]
			if d < floor || det[k-1] > d || det[k+1] > d || det[k-w] > d || det[k+w] > d {
				continue
			}
			if !quick.may(p.v[y*w+x-quick.back:]) {
				continue
			}
			for j := -reach; j <= reach; j++ {
				for i := -reach; i <= reach; i++ {
					if n := det[k+j*w+i]; n > d || n == d && j*w+i < 0 {
						continue next
					}
				}
			}
			c := corner{x: float64(x), y: float64(y), strength: float64(d) / float64(gain*gain)}
			if ring(p, &c, by.radius) {
				out = append(out, c)
			}
		}
	}
	return out
}

// A quickTest looks at the pixels nearest to eight places of the ring.
type quickTest struct {
	back int    // how far before the middle what it's given begins
	at   [8]int // places from there on, opposite ones four apart
}

func quickRing(w int, radius float64) quickTest {
	q := quickTest{}
	for i := range q.at {
		a := 2 * math.Pi * (float64(i) + 0.25) / 8
		q.at[i] = int(math.Round(radius*math.Sin(a)))*w + int(math.Round(radius*math.Cos(a)))
		q.back = max(q.back, -q.at[i])
	}
	for i := range q.at {
		q.at[i] += q.back
	}
	return q
}

// may tells whether opposite places are alike enough, and others different
// enough, for the saddle that a card makes when it is seen from the front.
func (q *quickTest) may(v []uint8) bool {
	lo, hi, diff, sum := 255, 0, 0, 0
	for i := range 4 {
		a, b := int(v[q.at[i]]), int(v[q.at[i+4]])
		lo, hi = min(lo, a, b), max(hi, a, b)
		diff += max(a-b, b-a)
		sum += a + b
	}
	if hi-lo < 14 {
		return false
	}
	return diff*5 < (hi-lo)*12 // ring allows 10; it reads between pixels
}

// circle has the places on a ring of radius 1 at which it is read.
var circle = func() (c [32][2]float64) {
	for i := range c {
		s, t := math.Sincos(2 * math.Pi * float64(i) / float64(len(c)))
		c[i] = [2]float64{t, s}
	}
	return c
}()

// ring tests the circle around a candidate: two bright and two dark arcs,
// alike on opposite sides, none of them narrow. It sets the corner's axes.
func ring(p *plane, c *corner, radius float64) bool {
	const n = len(circle)
	var s [n]float64
	for i, a := range circle {
		s[i] = float64(p.at(c.x+radius*a[0], c.y+radius*a[1]))
	}
	lo, hi := slices.Min(s[:]), slices.Max(s[:])
	if hi-lo < 18 {
		return false
	}
	mid := (lo + hi) / 2
	var cross [4]float64 // angle of each change
	var rising [4]bool   // going to bright
	changes := 0
	for i := range s {
		a, b := s[i]-mid, s[(i+1)%n]-mid
		if (a < 0) != (b < 0) {
			if changes == len(cross) {
				return false
			}
			cross[changes] = 2 * math.Pi * (float64(i) + a/(a-b)) / float64(n)
			rising[changes] = a < 0
			changes++
		}
	}
	if changes != len(cross) {
		return false
	}
	for i := range cross {
		gap := math.Mod(cross[(i+1)%4]-cross[i]+2*math.Pi, 2*math.Pi)
		if gap < 0.6 || gap > 2.6 {
			return false
		}
	}
	// Opposite changes must lie on one line through the centre.
	for i := range 2 {
		if d := math.Abs(cross[i+2] - cross[i] - math.Pi); d > 0.5 {
			return false
		}
	}
	diff, norm := 0.0, 0.0
	for i := range n / 2 {
		diff += math.Abs(s[i] - s[i+n/2])
		norm += math.Abs(s[i]-mid) + math.Abs(s[i+n/2]-mid)
	}
	if diff > 0.5*norm {
		return false
	}
	a0 := math.Mod((cross[0]+cross[2]-math.Pi)/2+2*math.Pi, math.Pi)
	a1 := math.Mod((cross[1]+cross[3]-math.Pi)/2+2*math.Pi, math.Pi)
	// Falling at angle cross[0] means that the sector after it is dark.
	if !rising[0] {
		c.axis = [2]float64{a0, a1}
	} else {
		c.axis = [2]float64{a1, a0}
	}
	return true
}
