package render

import (
	"image"
	"math"
	"sync"
)

// develop turns linear light into the camera's picture: exposure, blur of lens
// and hand, sensor noise, transfer curve, sharpening, eight bits.
func (c *canvas) develop(p Params, l *lighting) *image.RGBA {
	white := l.sky.mul(0.5).add(l.ground.mul(0.5)).mul(1.06)
	if k := -l.toSun[1]; k > 0 {
		white = white.add(l.sun.mul(k))
	}
	scale := float32(p.Exposure / (0.86 * white.grey()))
	if p.Exposure <= 0 {
		scale = float32(0.65 / (0.86 * white.grey()))
	}
	for i, v := range c.pix {
		c.pix[i] = v * scale
	}
	balance(c.pix, white)
	c.gaussian(p.DefocusPx)
	c.trail(p.MotionPx, p.MotionDeg)
	c.noise(p)
	curve := srgbCurve()
	for i, v := range c.pix {
		// Linear between the table's steps: wrong by under a hundredth of a grey level.
		f := min(max(v, 0), 1) * curveSteps
		k := int(f)
		c.pix[i] = curve[k] + (curve[k+1]-curve[k])*(f-float32(k))
	}
	c.sharpen(p.Sharpening)
	out := image.NewRGBA(image.Rect(0, 0, c.w, c.h))
	for o := 0; o < c.w*c.h; o++ {
		for j := 0; j < 3; j++ {
			out.Pix[4*o+j] = uint8(clamp(float64(c.pix[3*o+j]), 0, 1)*255 + 0.5)
		}
		out.Pix[4*o+3] = 255
	}
	return out
}

// balance takes two thirds of the light's colour out, as a camera's automatic
// white balance does.
func balance(pix []float32, white rgb) {
	g := white.grey()
	var k [3]float32
	for j := range k {
		k[j] = float32(math.Pow(g/white[j], 0.67))
	}
	for i := range pix {
		pix[i] *= k[i%3]
	}
}

// encodeSRGB is the transfer curve of IEC 61966-2-1, clipped to 0..1.
func encodeSRGB(v float64) float64 {
	switch {
	case v <= 0:
		return 0
	case v >= 1:
		return 1
	case v <= 0.0031308:
		return 12.92 * v
	}
	return 1.055*math.Pow(v, 1/2.4) - 0.055
}

const curveSteps = 1 << 14

// srgbCurve tabulates encodeSRGB over 0..1, with one step beyond.
func srgbCurve() []float32 {
	t := make([]float32, curveSteps+2)
	for i := range t {
		t[i] = float32(encodeSRGB(float64(i) / curveSteps))
	}
	return t
}

// rows runs f over bands of rows on every processor.
func rows(h int, f func(y int)) {
	var wg sync.WaitGroup
	for k := 0; k < 4; k++ {
		wg.Add(1)
		go func() {
			defer wg.Done()
			for y := k; y < h; y += 4 {
				f(y)
			}
		}()
	}
	wg.Wait()
}

func kernel(sigma float64) []float32 {
	n := int(math.Ceil(3 * sigma))
	k := make([]float32, 2*n+1)
	var sum float64
	for i := range k {
		// The kernel's value is the mean over a pixel, so that a small sigma
		// keeps its width.
		a, b := (float64(i-n)-0.5)/sigma/math.Sqrt2, (float64(i-n)+0.5)/sigma/math.Sqrt2
		v := math.Erf(b) - math.Erf(a)
		k[i] = float32(v)
		sum += v
	}
	for i := range k {
		k[i] /= float32(sum)
	}
	return k
}

func (c *canvas) gaussian(sigma float64) {
	if sigma <= 0.05 {
		return
	}
	k := kernel(sigma)
	n := len(k) / 2
	tmp := make([]float32, len(c.pix))
	rows(c.h, func(y int) {
		for x := 0; x < c.w; x++ {
			var s [3]float32
			for i, kv := range k {
				o := 3 * (y*c.w + min(max(x+i-n, 0), c.w-1))
				s[0] += kv * c.pix[o]
				s[1] += kv * c.pix[o+1]
				s[2] += kv * c.pix[o+2]
			}
			copy(tmp[3*(y*c.w+x):], s[:])
		}
	})
	rows(c.h, func(y int) {
		dst := c.pix[3*y*c.w : 3*(y+1)*c.w]
		clear(dst)
		for i, kv := range k {
			src := tmp[3*c.w*min(max(y+i-n, 0), c.h-1):][:3*c.w]
			for x, v := range src {
				dst[x] += kv * v
			}
		}
	})
}

// trail is the mean along a straight path, as from a hand that moved during
// the exposure; the path's middle is where the picture was.
func (c *canvas) trail(length, deg float64) {
	if length < 0.5 {
		return
	}
	n := int(math.Ceil(length * 2))
	src := append([]float32(nil), c.pix...)
	sn, cs := math.Sincos(deg * math.Pi / 180)
	rows(c.h, func(y int) {
		for x := 0; x < c.w; x++ {
			var s [3]float32
			for i := 0; i < n; i++ {
				t := (float64(i)+0.5)/float64(n) - 0.5
				fx, fy := float64(x)+t*length*cs, float64(y)+t*length*sn
				ix, u := split(fx)
				iy, v := split(fy)
				x0, x1 := min(max(int(ix), 0), c.w-1), min(max(int(ix)+1, 0), c.w-1)
				y0, y1 := min(max(int(iy), 0), c.h-1), min(max(int(iy)+1, 0), c.h-1)
				for j := range s {
					a := src[3*(y0*c.w+x0)+j]*float32(1-u) + src[3*(y0*c.w+x1)+j]*float32(u)
					b := src[3*(y1*c.w+x0)+j]*float32(1-u) + src[3*(y1*c.w+x1)+j]*float32(u)
					s[j] += a*float32(1-v) + b*float32(v)
				}
			}
			for j := range s {
				c.pix[3*(y*c.w+x)+j] = s[j] / float32(n)
			}
		}
	})
}

// noise is that of counting electrons (its variance is the count) and of
// reading them out.
func (c *canvas) noise(p Params) {
	if p.FullWell <= 0 {
		return
	}
	seed := uint32(p.Seed*2654435761 + 77)
	if p.From != nil {
		seed += math.Float32bits(float32(p.From.CameraXMM)) // another picture, other noise
	}
	rows(c.h, func(y int) {
		for x := 0; x < c.w; x++ {
			o := 3 * (y*c.w + x)
			g0, g1 := gauss2(int32(x), int32(y), 0, seed)
			g2, _ := gauss2(int32(x), int32(y), 1, seed)
			for j, g := range [3]float64{g0, g1, g2} {
				v := math.Max(float64(c.pix[o+j]), 0)
				if j != 1 {
					g *= 1.3 // red and blue are amplified by the white balance
				}
				c.pix[o+j] = float32(v + g*math.Sqrt(v*p.FullWell+p.ReadNoise*p.ReadNoise)/p.FullWell)
			}
		}
	})
}

// sharpen adds amount times what a blur of 1 px takes away.
func (c *canvas) sharpen(amount float64) {
	if amount <= 0 {
		return
	}
	soft := &canvas{w: c.w, h: c.h, pix: append([]float32(nil), c.pix...)}
	soft.gaussian(1)
	a := float32(amount)
	for i, v := range c.pix {
		c.pix[i] = v + a*(v-soft.pix[i])
	}
}
