package render

import (
	"image"

	"nodespan/vision/truth"
)

// Draw renders p: the picture in 8-bit sRGB as it is before JPEG, and what is
// true of it. It returns EInvalid for Params that can't be drawn.
func Draw(p Params) (image.Image, *truth.Photo, error) {
	if err := p.Check(); err != nil {
		return nil, nil, err
	}
	c, s, cam, light := expose(p)
	t := describe(p, s, cam, c)
	return c.develop(p, light), t, nil
}

// expose draws p in linear light.
func expose(p Params) (*canvas, *Scene, camera, *lighting) {
	s := Grow(p)
	c, cam, light := s.expose(p)
	return c, s, cam, light
}

// expose draws s as p's camera and light show it.
func (s *Scene) expose(p Params) (*canvas, camera, *lighting) {
	cam := newCamera(p)
	light := newLighting(p)
	if light.sun[0] > 0 {
		light.map_ = newShadowMap(s, light.toSun, p.DistanceMM*1.4)
	}
	pt := &painter{cam: cam, light: &light, scene: s, ground: newSurroundings(p, &light, cam)}
	return pt.paint(), cam, &light
}
