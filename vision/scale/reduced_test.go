package scale

import (
	"math"
	"testing"

	"nodespan/assess"
)

// TestReduced: a place of the photo and the same place of its smaller copy come
// to the same millimetres, and a pixel of the copy is f times as long.
func TestReduced(t *testing.T) {
	for name, h := range views() {
		m := &Map{MMToPx: h, PxToMM: h.Inverse(), Outline: []assess.Point{{2000, 1500}}, Centre: assess.Point{2100, 1400}, MMPerPx: 0.5, FocalPx: 3000}
		for _, f := range []float64{1, 1.37, 2, 3.5} {
			r := m.Reduced(f)
			for _, q := range [][2]float64{{0, 0}, {1999.5, 1499.5}, {3400, 700}} {
				// The copy's pixel u covers the photo's from f u to f (u + 1), its centre
				// lying at f (u + 1/2) - 1/2.
				u, v := (q[0]+0.5)/f-0.5, (q[1]+0.5)/f-0.5
				x, y := m.PxToMM.Apply(q[0], q[1])
				a, b := r.PxToMM.Apply(u, v)
				if math.Hypot(a-x, b-y) > 1e-6*(1+math.Hypot(x, y)) {
					t.Errorf("%s, %.2f times: (%.0f, %.0f) px lies at (%.3f, %.3f) mm, in the copy at (%.3f, %.3f)", name, f, q[0], q[1], x, y, a, b)
				}
				if got, want := r.At(u, v), f*m.At(q[0], q[1]); math.Abs(got/want-1) > 1e-6 {
					t.Errorf("%s, %.2f times: want %.4f mm per pixel, got %.4f", name, f, want, got)
				}
			}
			if f == 1 {
				continue
			}
			if m.Outline[0][0] != 2000 {
				t.Fatal("the photo's own map was changed")
			}
			if want := (2000+0.5)/f - 0.5; math.Abs(r.Outline[0][0]-want) > 1e-9 {
				t.Errorf("%.2f times: want the outline at %.2f px, got %.2f", f, want, r.Outline[0][0])
			}
		}
	}
}
