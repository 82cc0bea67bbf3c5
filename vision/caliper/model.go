package caliper

import "math"

// basis counts the functions that a cross-section is made of.
const basis = 5

// slicing is how many pieces the visible half of the cane's surface is cut
// into, at equal angles, for blurring what it reflects.
const slicing = 12

// A light is how the cane is lit: the angle of the sun about the cane's axis,
// 0 from the camera's side, positive from the right looking from base to tip.
// Without sun only the even and the frontal part count.
type light struct {
	sun bool
	phi float64
}

// phiTable is the Gaussian's integral from -4 to 4 in steps of 1/128.
var phiTable = func() (t [1026]float64) {
	for i := range t {
		t[i] = 0.5 * math.Erfc(-(float64(i)/128-4)/math.Sqrt2)
	}
	return t
}()

func phi(x float64) float64 {
	x = (x + 4) * 128
	if x <= 0 {
		return 0
	}
	if x >= 1024 {
		return 1
	}
	i := int(x)
	f := x - float64(i)
	return phiTable[i] + f*(phiTable[i+1]-phiTable[i])
}

// shading holds what the light makes of each slice.
type shading struct {
	edge [slicing + 1]float64 // position across, -1 to 1
	dome [slicing]float64     // light from the camera's side: Lambert's cosine
	lit  [slicing]float64     // light from the sun; 0 on the far side
}

func newShading(l light) *shading {
	s := &shading{}
	for k := range s.edge {
		s.edge[k] = math.Sin(math.Pi * (float64(k)/slicing - 0.5))
	}
	for k := range s.dome {
		t := math.Pi * ((float64(k)+0.5)/slicing - 0.5)
		s.dome[k] = math.Cos(t)
		s.lit[k] = math.Sin(t) // under a cloudy sky: brighter to one side, softly
		if l.sun {
			s.lit[k] = max(0, math.Sin(t)*math.Sin(l.phi)+math.Cos(t)*math.Cos(l.phi))
		}
	}
	return s
}

// model evaluates the basis at v for edges a and b and blur sigma: ground on
// the left, ground on the right, wood lit evenly, by the sun, from the front.
func (s *shading) model(v, a, b, sigma float64, g *[basis]float64) {
	mid, r := (a+b)/2, (b-a)/2
	inv := 1 / sigma
	p := phi((v - a) * inv)
	first := p
	lit, dome := 0.0, 0.0
	for k := range slicing {
		q := phi((v - mid - r*s.edge[k+1]) * inv)
		d := p - q
		lit += d * s.lit[k]
		dome += d * s.dome[k]
		p = q
	}
	g[0], g[1], g[2], g[3], g[4] = 1-first, p, first-p, lit, dome
}
