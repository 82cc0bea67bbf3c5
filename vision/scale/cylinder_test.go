package scale

import (
	"fmt"
	"math"
	"testing"
)

func dot(a, b vec) float64 { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }

// TestDiameterAgainstACylinder projects a cylinder whose axis lies in the wire
// plane. Its silhouette is where the planes through the lens that touch it cut
// the picture: their normals are perpendicular to the axis and lie the radius
// away from it. The width between these two lines, across the axis, times
// Map.Diameter must be the diameter.
func TestDiameterAgainstACylinder(t *testing.T) {
	const w, h, f = 4000, 3000, 3140.0
	const cx, cy = (w - 1) / 2.0, (h - 1) / 2.0
	for _, st := range []struct {
		name                                string
		distance, yaw, pitch, roll, offX, y float64
	}{
		{"square on", 1500, 0, 0, 0, 0, 0},
		{"12 degrees from the side", 1500, 0.21, 0, 0, 0, 0},
		{"12 degrees from below", 1300, 0, -0.21, 0, 0, 50},
		{"both, card turned", 2000, -0.15, 0.18, 0.5, 200, -100},
		{"near", 900, 0.1, 0.1, 0, 100, 100},
	} {
		s := pinhole(f, cx, cy, st.distance, st.yaw, st.pitch, st.roll, st.offX, st.y)
		m := newMap("checker", s.h, 0, nil, 67.5, 45, finderOf(w, h, f))
		for _, radius := range []float64{2, 4.5, 7.5} {
			for _, at := range [][2]float64{{0, 0}, {350, -250}, {-300, 200}} {
				for deg := 0.0; deg < 180; deg += 30 {
					sn, cs := math.Sincos(deg * math.Pi / 180)
					p := s.camera(at[0], at[1], 0)
					ahead := s.camera(at[0]+cs, at[1]+sn, 0)
					axis := ahead.add(p, -1).unit()
					x, y := s.h.Apply(at[0], at[1])
					x1, y1 := s.h.Apply(at[0]+0.01*cs, at[1]+0.01*sn)
					n := math.Hypot(x1-x, y1-y)
					dx, dy := (x1-x)/n, (y1-y)/n
					foot := p.add(axis, -dot(p, axis))
					e1 := foot.unit()
					e2 := axis.cross(e1)
					sin := radius / foot.norm()
					var cut [2]float64
					for k, sign := range []float64{-1, 1} {
						nrm := vec{}.add(e1, sin).add(e2, sign*math.Sqrt(1-sin*sin))
						// The picture's line is nrm . ((u-cx)/f, (v-cy)/f, 1) = 0; it is cut
						// at (x, y) + c (-dy, dx).
						at0 := nrm[0]*(x-cx)/f + nrm[1]*(y-cy)/f + nrm[2]
						slope := (-nrm[0]*dy + nrm[1]*dx) / f
						cut[k] = -at0 / slope
					}
					width := math.Abs(cut[1] - cut[0])
					got := width * m.Diameter(x, y, dx, dy)
					// What is left: the silhouette of a cylinder isn't where its
					// diameter ends, (radius/distance)^2/2, and perspective across it.
					if math.Abs(got/2/radius-1) > 3e-4 {
						t.Errorf("%s: want %g mm, got %.4f", fmt.Sprint(st.name, ", place ", at, ", axis at ", deg), 2*radius, got)
					}
				}
			}
		}
	}
}

// TestScaleOfThePlane holds At and Along against small steps on the plane,
// and tilt and distance against the stance.
func TestScaleOfThePlane(t *testing.T) {
	const w, h, f = 4000, 3000, 3140.0
	s := pinhole(f, (w-1)/2.0, (h-1)/2.0, 1500, 0.2, 0, 0, 0, 0)
	m := newMap("checker", s.h, 0, nil, 67.5, 45, finderOf(w, h, f))
	x0, y0 := s.h.Apply(100, 50)
	x1, y1 := s.h.Apply(100.01, 50)
	if got, want := m.Along(x0, y0, x1-x0, y1-y0), 0.01/math.Hypot(x1-x0, y1-y0); math.Abs(got/want-1) > 1e-4 {
		t.Errorf("along: want %g mm/px, got %g", want, got)
	}
	// Across the axis of yaw nothing is foreshortened: distance / f; along it cos(yaw).
	if want := 1500 / f / math.Sqrt(math.Cos(0.2)); math.Abs(m.MMPerPx/want-1) > 1e-4 {
		t.Errorf("at the card: want %g mm/px, got %g", want, m.MMPerPx)
	}
	if math.Abs(m.TiltDeg-0.2*180/math.Pi) > 0.01 || math.Abs(m.DistanceMM-1500) > 0.5 {
		t.Errorf("want 11.46 degrees, 1500 mm; got %.2f, %.1f", m.TiltDeg, m.DistanceMM)
	}
	if m.RelativeUAt(0, 0) <= m.RelativeUAt(x0, y0) {
		t.Error("the scale should be less sure far from the card")
	}
}
