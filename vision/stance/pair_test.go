package stance

import (
	"math"
	"os"
	"testing"

	"nodespan/assess"
	"nodespan/vision/photo"
	"nodespan/vision/scale"
	"nodespan/vision/truth"
)

// told is a photo with its truth.
type told struct {
	side  Side
	truth *truth.Photo
	of    []*truth.Cane // for each of the side's canes
}

// tell makes a Side of a photo whose canes run along the true centre lines, so
// that what tracing does wrong doesn't blur the picture.
func tell(t testing.TB, data []byte, p *truth.Photo) *told {
	t.Helper()
	ph, err := photo.Decode(data, photo.DefaultLimits())
	if err != nil {
		t.Fatal(err)
	}
	defer ph.Close()
	m, why, err := scale.Find(t.Context(), ph, nil, scale.DefaultParams())
	if err != nil {
		t.Fatal(err)
	}
	if m == nil {
		t.Logf("%s: no reference: %v", p.Image, why)
		return nil
	}
	out := &told{side: SideOf(ph, m, nil, nil, DefaultParams()), truth: p}
	for i := range p.Canes {
		c := &p.Canes[i]
		if c.VisibleFraction < 0.7 || c.VisibleLengthMM < 250 {
			continue
		}
		var a assess.Cane
		along := 0.0
		for k, q := range c.LinePx {
			if q[0] < 0 || q[1] < 0 || q[0] > float64(ph.Width) || q[1] > float64(ph.Height) {
				break
			}
			at := assess.Point(q)
			if k > 0 {
				along += m.Distance(at, a.CentreLine[k-1])
			}
			a.CentreLine, a.AlongMM = append(a.CentreLine, at), append(a.AlongMM, along)
		}
		if len(a.CentreLine) < 10 {
			continue
		}
		out.side.Canes = append(out.side.Canes, a)
		out.of = append(out.of, c)
	}
	return out
}

// cardPlane gives the depth of a world point off the card's plane, mm.
func cardPlane(p *truth.Photo, at vec) float64 {
	w := p.Reference.PatternWorldMM
	o := vec(w[0])
	n := vec(w[1]).plus(o, -1).cross(vec(w[3]).plus(o, -1))
	n = vec{}.plus(n, 1/n.norm())
	if n[1] < 0 {
		n = vec{}.plus(n, -1)
	}
	return at.plus(o, -1).dot(n)
}

// world gives the point of a true cane's line, from its pixel and depth.
func world(p *truth.Photo, px [2]float64, depth float64) vec {
	c := camera{f: p.Camera.FX, k1: p.Camera.K1, middle: assess.Point{p.Camera.CX, p.Camera.CY}}
	q := c.direction(px)
	var dir vec
	for i := range 3 {
		dir[i] = p.Camera.R[0][i]*q[0] + p.Camera.R[1][i]*q[1] + p.Camera.R[2][i]*q[2]
	}
	pos := vec(p.Camera.PositionMM)
	return pos.plus(dir, (depth-pos[1])/dir[1])
}

// TestKeptPair: on two photos from another, physically based renderer, with the
// true lines for the canes', the lenses stand where the truth says, every cane
// finds itself, and every depth lies within 4 mm and within its interval.
func TestKeptPair(t *testing.T) {
	var s [2]*told
	for i, n := range []string{"d03", "d03b"} {
		data, err := os.ReadFile("../../testdata/raytraced/pair/" + n + ".jpg")
		if err != nil {
			t.Fatal(err)
		}
		p, err := truth.Read("../../testdata/raytraced/pair/" + n + ".json")
		if err != nil {
			t.Fatal(err)
		}
		if s[i] = tell(t, data, p); s[i] == nil {
			t.Fatal("no card was found")
		}
	}
	a, b := s[0], s[1]
	r := Find(a.side, b.side, DefaultParams())
	base := vec(b.truth.Camera.PositionMM).plus(vec(a.truth.Camera.PositionMM), -1).norm()
	t.Logf("stances %.1f mm apart (u %.1f), truth %.1f; f %.0f px, truth %.0f; %d places beyond the card", r.BaseMM, r.BaseU, base, r.FocalPx, a.truth.Camera.FX, r.Pairs)
	if r.Why != "" || math.Abs(r.BaseMM-base) > 1.96*r.BaseU || r.BaseU > 0.08*base {
		t.Errorf("want stances %.1f mm apart, got %.1f with u %.1f, %s", base, r.BaseMM, r.BaseU, r.Why)
	}
	for i, c := range r.Courses {
		if c == nil {
			t.Errorf("%s: no depth", a.of[i].ID)
			continue
		}
		n, want := 0.0, 0.0
		for k, s := range a.side.Canes[i].AlongMM {
			if s > 400 {
				break
			}
			n++
			want += cardPlane(a.truth, world(a.truth, a.of[i].LinePx[k], a.of[i].LineDepthMM[k]))
		}
		want /= n
		if got := b.of[c.Other].ID; got != a.of[i].ID || math.Abs(c.MeanMM-want) > math.Min(4, 1.96*c.U) {
			t.Errorf("%s: taken for %s, want a depth of %.1f mm, got %.1f (u %.1f)", a.of[i].ID, got, want, c.MeanMM, c.U)
		}
	}
}

// TestPinholeDepth: a point before two pinholes is found at its depth, and a
// rod's thickness through the lens, both worked from the geometry alone.
func TestPinholeDepth(t *testing.T) {
	at := func(x float64) camera {
		// Upright cameras that look straight at the plane: P in the camera is P - C.
		return camera{f: 2000, middle: assess.Point{1000, 750}, at: scale.Pose{R: [3][3]float64{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}, T: [3]float64{-x, 0, 1500}}}
	}
	a, b := at(0), at(300)
	for _, d := range []float64{-120, -30, 0, 45, 120} {
		p := vec{100, -200, d}
		// By similar triangles, x = f (100 - X) / (1500 + d).
		px := assess.Point{1000 + 2000*100/(1500+d), 750 - 2000*200/(1500+d)}
		if got := a.project(p); math.Hypot(got[0]-px[0], got[1]-px[1]) > 1e-9 {
			t.Errorf("depth %g: want %v, got %v", d, px, got)
		}
		x := 1000 - 2000*200/(1500+d)
		got, _, per, ok := b.depth(a.sight(px), assess.Point{x, 300}, assess.Point{x, 900})
		// The parallax of a base of 300 mm: d(px)/d(depth) = f B / (1500 + d)^2, but
		// for the line of sight's own slant, which lies in the first camera.
		want := 2000 * 300 / (1500 + d) / (1500 + d)
		if !ok || math.Abs(got-d) > 1e-6 || math.Abs(per-want) > 1e-6*want {
			t.Errorf("want depth %g and %g px per mm, got %g and %g", d, want, got, per)
		}
		// An upright rod in the middle of the picture: (1500 + d) / f mm to the pixel.
		if got, want := a.across(assess.Point{1000, 750}, 0, 1, d), (1500+d)/2000; math.Abs(got-want) > 1e-5*want {
			t.Errorf("depth %g: want %g mm per px, got %g", d, want, got)
		}
	}
}
