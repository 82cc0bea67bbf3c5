package render

import "math"

// hash3 mixes three whole numbers and a seed to 32 bits; the multipliers are
// odd and large, the rounds those of a common integer finaliser.
func hash3(x, y, z int32, seed uint32) uint32 {
	h := uint32(x)*0x8da6b343 ^ uint32(y)*0xd8163841 ^ uint32(z)*0xcb1ab31f ^ seed*0x9e3779b9
	h ^= h >> 16
	h *= 0x7feb352d
	h ^= h >> 15
	h *= 0x846ca68b
	return h ^ h>>16
}

func unitHash(x, y, z int32, seed uint32) float64 {
	return float64(hash3(x, y, z, seed)) * (1.0 / (1 << 32))
}

func fade(t float64) float64 { return t * t * (3 - 2*t) }

func split(v float64) (int32, float64) {
	f := math.Floor(v)
	return int32(int64(f)), v - f
}

// noise2 is smooth value noise over the plane, 0..1, one cell per unit.
func noise2(x, y float64, seed uint32) float64 {
	i, u := split(x)
	j, v := split(y)
	u, v = fade(u), fade(v)
	a, b := unitHash(i, j, 0, seed), unitHash(i+1, j, 0, seed)
	c, d := unitHash(i, j+1, 0, seed), unitHash(i+1, j+1, 0, seed)
	return (a+(b-a)*u)*(1-v) + (c+(d-c)*u)*v
}

// noise3 is smooth value noise in space, 0..1.
func noise3(x, y, z float64, seed uint32) float64 {
	i, u := split(x)
	j, v := split(y)
	k, w := split(z)
	u, v, w = fade(u), fade(v), fade(w)
	at := func(k int32) float64 {
		a, b := unitHash(i, j, k, seed), unitHash(i+1, j, k, seed)
		c, d := unitHash(i, j+1, k, seed), unitHash(i+1, j+1, k, seed)
		return (a+(b-a)*u)*(1-v) + (c+(d-c)*u)*v
	}
	lo := at(k)
	return lo + (at(k+1)-lo)*w
}

// clouds2 sums octaves of noise2, each half as large and twice as fine; those
// finer than footprint (in units of x and y) are left at their mean, so that
// a texture far away fades to its average and doesn't flicker.
func clouds2(x, y float64, octaves int, footprint float64, seed uint32) float64 {
	sum, amp, total, f := 0.0, 1.0, 0.0, 1.0
	for o := 0; o < octaves; o++ {
		keep := 1 - smooth(0.35, 1, footprint*f)
		n := 0.5
		if keep > 0 {
			n = 0.5 + (noise2(x*f, y*f, seed+uint32(o))-0.5)*keep
		}
		sum, total = sum+amp*n, total+amp
		amp, f = amp*0.6, f*2.03
	}
	return sum / total
}

// gauss2 gives two independent normal deviates for a pixel and channel (the
// transform of Box and Muller).
func gauss2(x, y, c int32, seed uint32) (float64, float64) {
	u := (float64(hash3(x, y, 2*c, seed)) + 1) * (1.0 / (1<<32 + 1))
	v := float64(hash3(x, y, 2*c+1, seed)) * (2 * math.Pi / (1 << 32))
	r := math.Sqrt(-2 * math.Log(u))
	return r * math.Cos(v), r * math.Sin(v)
}
