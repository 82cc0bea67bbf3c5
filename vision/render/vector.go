package render

import "math"

// vec is a point or direction in world millimetres.
type vec [3]float64

func (a vec) add(b vec) vec           { return vec{a[0] + b[0], a[1] + b[1], a[2] + b[2]} }
func (a vec) sub(b vec) vec           { return vec{a[0] - b[0], a[1] - b[1], a[2] - b[2]} }
func (a vec) mul(k float64) vec       { return vec{a[0] * k, a[1] * k, a[2] * k} }
func (a vec) dot(b vec) float64       { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }
func (a vec) len() float64            { return math.Sqrt(a.dot(a)) }
func (a vec) to(b vec, t float64) vec { return a.add(b.sub(a).mul(t)) }

func (a vec) cross(b vec) vec {
	return vec{a[1]*b[2] - a[2]*b[1], a[2]*b[0] - a[0]*b[2], a[0]*b[1] - a[1]*b[0]}
}

// unit gives a's direction; that of a vector of no length is x.
func (a vec) unit() vec {
	l := a.len()
	if l < 1e-12 {
		return vec{1, 0, 0}
	}
	return a.mul(1 / l)
}

// rgb is linear light or a reflectance, by channel.
type rgb [3]float64

func (a rgb) add(b rgb) rgb     { return rgb{a[0] + b[0], a[1] + b[1], a[2] + b[2]} }
func (a rgb) mul(k float64) rgb { return rgb{a[0] * k, a[1] * k, a[2] * k} }
func (a rgb) times(b rgb) rgb   { return rgb{a[0] * b[0], a[1] * b[1], a[2] * b[2]} }
func (a rgb) to(b rgb, t float64) rgb {
	return rgb{a[0] + (b[0]-a[0])*t, a[1] + (b[1]-a[1])*t, a[2] + (b[2]-a[2])*t}
}

// grey is the luminance of linear light (weights of ITU-R BT.709).
func (a rgb) grey() float64 { return 0.2126*a[0] + 0.7152*a[1] + 0.0722*a[2] }

func clamp(v, lo, hi float64) float64 { return math.Min(math.Max(v, lo), hi) }

// smooth is 0 below a, 1 above b, and a cubic between.
func smooth(a, b, v float64) float64 {
	t := clamp((v-a)/(b-a), 0, 1)
	return t * t * (3 - 2*t)
}
