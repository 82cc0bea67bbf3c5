package render

import "math"

// camera is a pinhole with one radial distortion term.
type camera struct {
	w, h               int
	f, cx, cy, k1      float64
	pos                vec
	right, down, ahead vec
}

func newCamera(p Params) camera {
	p = p.seen()
	rad := math.Pi / 180
	sy, cy := math.Sincos(p.YawDeg * rad)
	sp, cp := math.Sincos(p.PitchDeg * rad)
	sr, cr := math.Sincos(p.RollDeg * rad)
	c := camera{w: p.Width, h: p.Height, k1: p.K1,
		f:   float64(p.Width) / 2 / math.Tan(p.HFOVDeg/2*rad),
		cx:  float64(p.Width-1) / 2,
		cy:  float64(p.Height-1) / 2,
		pos: vec{p.CameraXMM, -p.DistanceMM, p.CameraZMM},
	}
	c.ahead = vec{sy * cp, cy * cp, sp}
	r := vec{cy, -sy, 0}
	d := c.ahead.cross(r)
	c.right = r.mul(cr).add(d.mul(sr))
	c.down = d.mul(cr).add(r.mul(-sr))
	return c
}

// project gives pixel and depth (mm along the optical axis); ok is false
// behind the lens.
func (c camera) project(p vec) (x, y, z float64, ok bool) {
	q := p.sub(c.pos)
	z = q.dot(c.ahead)
	if z < 50 {
		return 0, 0, z, false
	}
	u, v := q.dot(c.right)/z, q.dot(c.down)/z
	// Far outside the frame the distortion term would fold points back in.
	k := 1 + c.k1*math.Min(u*u+v*v, 2)
	return c.cx + c.f*u*k, c.cy + c.f*v*k, z, true
}

// ray gives the direction (with a depth of 1 along the axis) that a pixel
// position sees: the distortion is undone by fixed-point steps, which for
// |k1| <= 0.03 gain a digit and a half each.
func (c camera) ray(x, y float64) vec {
	xd, yd := (x-c.cx)/c.f, (y-c.cy)/c.f
	u, v := xd, yd
	if c.k1 != 0 {
		for i := 0; i < 4; i++ {
			k := 1 / (1 + c.k1*(u*u+v*v))
			u, v = xd*k, yd*k
		}
	}
	return c.ahead.add(c.right.mul(u)).add(c.down.mul(v))
}

func (c camera) inFrame(x, y float64) bool {
	return x >= -0.5 && y >= -0.5 && x < float64(c.w)-0.5 && y < float64(c.h)-0.5
}

// seen is p with the camera that takes the picture.
func (p Params) seen() Params {
	if v := p.From; v != nil {
		p.DistanceMM, p.CameraXMM, p.CameraZMM = v.DistanceMM, v.CameraXMM, v.CameraZMM
		p.YawDeg, p.PitchDeg, p.RollDeg = v.YawDeg, v.PitchDeg, v.RollDeg
	}
	return p
}
