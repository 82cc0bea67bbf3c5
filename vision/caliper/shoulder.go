package caliper

import (
	"sync"

	"nodespan/vision/photo"
)

// A camera doesn't stop at the sRGB curve: it rolls highlights off, so that a
// bright sky of several times a sheet of paper's luminance still fits under
// 255. Where such a sky meets a cane, half the picture's values isn't half the
// light, and the sky seems to eat into the wood by up to a pixel on each side.
//
// light gives the table from an 8-bit value to the light of the scene, when
// highlights are compressed as v = L (1 - s v v), v being linear after the sRGB
// curve (IEC 61966-2-1): hardly at all in the lower half, without end at the
// top. Of the one-parameter curves that roll off at all (E. Reinhard et al.,
// ACM Trans. Graph. 21(3), 2002, discuss them) this one put the edges of canes
// of known place before five skies and a white sheet where they were. s = 0 is
// the sRGB curve alone.
func light(s float64) *[256]float32 {
	if t, ok := lights.Load(s); ok {
		return t.(*[256]float32)
	}
	var t [256]float32
	for i := range t {
		v := float64(photo.Linear[i])
		t[i] = float32(v / max(1-s*v*v, 1.0/8))
	}
	got, _ := lights.LoadOrStore(s, &t)
	return got.(*[256]float32)
}

var lights sync.Map // of tables by s

// middle is the mean level within reach of a place across.
func (s *section) middle(v, reach float64) float64 {
	sum, n := 0.0, 0.0
	for i, x := range s.v {
		if x >= v-max(reach, 0.8) && x <= v+max(reach, 0.8) {
			sum += (s.y[i][0] + s.y[i][1] + s.y[i][2]) / 3
			n++
		}
	}
	if n == 0 {
		return 0
	}
	return sum / n
}
