package render

import (
	"math"
	"testing"
)

// Pairs of linear light and sRGB code value that follow from the formula of
// IEC 61966-2-1: the joint of its two branches, and the usual mid grey.
func TestTransferCurve(t *testing.T) {
	for _, c := range []struct{ linear, code float64 }{{0, 0}, {0.0031308, 0.04045}, {0.214041, 0.5}, {0.5, 0.735357}, {1, 1}, {1.7, 1}, {-0.1, 0}} {
		if got := encodeSRGB(c.linear); math.Abs(got-c.code) > 2e-5 {
			t.Errorf("linear %g: want %g, got %g", c.linear, c.code, got)
		}
	}
	curve := srgbCurve()
	for _, v := range []float64{0.0001, 0.003, 0.01, 0.3, 0.99} {
		k := v * curveSteps
		i := int(k)
		got := float64(curve[i]) + float64(curve[i+1]-curve[i])*(k-float64(i))
		if math.Abs(got-encodeSRGB(v))*255 > 0.02 {
			t.Errorf("table at %g: %g, curve %g", v, got, encodeSRGB(v))
		}
	}
}

func flat(w, h int, v float32) *canvas {
	c := &canvas{w: w, h: h, pix: make([]float32, 3*w*h)}
	for i := range c.pix {
		c.pix[i] = v
	}
	return c
}

// The variance of counted electrons is their mean (Poisson), and that of
// reading adds: var = v/N + (r/N)^2 in units of full scale.
func TestSensorNoise(t *testing.T) {
	for _, v := range []float64{0, 0.05, 0.4} {
		c := flat(300, 300, float32(v))
		p := Params{Seed: 3, FullWell: 1000, ReadNoise: 5}
		c.noise(p)
		var sum, sq float64
		n := 0.0
		for i := 1; i < len(c.pix); i += 3 { // green: the channel without gain
			sum, sq, n = sum+float64(c.pix[i]), sq+float64(c.pix[i])*float64(c.pix[i]), n+1
		}
		mean := sum / n
		got, want := sq/n-mean*mean, v/1000+25e-6
		if math.Abs(mean-v) > 4*math.Sqrt(want/n) || math.Abs(got/want-1) > 0.03 {
			t.Errorf("light %g: want mean %g and variance %.3g, got %g and %.3g", v, v, want, mean, got)
		}
	}
}

// A blurred point has the kernel's second moment, with a pixel's own 1/12, and
// no light is lost.
func TestBlurWidth(t *testing.T) {
	for _, sigma := range []float64{0.5, 1, 1.8} {
		c := flat(41, 41, 0)
		c.pix[3*(20*41+20)] = 1
		c.gaussian(sigma)
		var sum, m2 float64
		for y := 0; y < 41; y++ {
			for x := 0; x < 41; x++ {
				v := float64(c.pix[3*(y*41+x)])
				sum += v
				m2 += v * float64((x-20)*(x-20))
			}
		}
		if want := sigma*sigma + 1.0/12; math.Abs(sum-1) > 1e-4 || math.Abs(m2-want) > 0.03*want {
			t.Errorf("sigma %g: light %g, second moment %.4f, want 1 and %.4f", sigma, sum, m2, want)
		}
	}
	c := flat(61, 41, 0)
	c.pix[3*(20*61+30)] = 1
	c.trail(6, 0)
	var m1, m2 float64
	for x := 0; x < 61; x++ {
		v := float64(c.pix[3*(20*61+x)])
		m1 += v * float64(x-30)
		m2 += v * float64((x-30)*(x-30))
	}
	// Uniform over 6 px: variance 36/12, with the triangle of the interpolation, 1/6 or less.
	if math.Abs(m1) > 0.01 || m2 < 36.0/12-0.1 || m2 > 36.0/12+0.3 {
		t.Errorf("a trail of 6 px: mean %.3f, second moment %.3f, want 0 and about 3", m1, m2)
	}
}
