package photo

import "math"

// Linear takes an 8-bit sRGB value to linear light, 0 to 1 (IEC 61966-2-1).
// A blurred edge is symmetric only in linear light: the half level between
// wood and background lies on the true edge there, and off it in the coded
// values.
var Linear = func() (t [256]float32) {
	for i := range t {
		v := float64(i) / 255
		if v <= 0.04045 {
			v /= 12.92
		} else {
			v = math.Pow((v+0.055)/1.055, 2.4)
		}
		t[i] = float32(v)
	}
	return t
}()
