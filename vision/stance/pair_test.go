package stance

import (
	"fmt"
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

func TestLook(t *testing.T) {
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
		s[i] = tell(t, data, p)
	}
	a, b := s[0], s[1]
	fmt.Println(a.side.Map.FocalPx, a.side.Map.FocalKnown, a.truth.Camera.FX)
	par := DefaultParams()
	par.MinBase = 0
	r := Find(a.side, b.side, par)
	fmt.Println(r.Why, r.BaseMM, r.BaseU, r.DistanceMM, r.FocalPx, r.K1, r.Pairs)
	fmt.Println(r.rig.a.at.Centre(), r.rig.b.at.Centre())
	for i, c := range r.Courses {
		tc := a.of[i]
		if c == nil {
			fmt.Println(tc.ID, "none", tc.MeanDepthMM)
			continue
		}
		n, want := 0.0, 0.0
		for k, s := range a.side.Canes[i].AlongMM {
			if s > 400 {
				break
			}
			n++
			want += cardPlane(a.truth, world(a.truth, tc.LinePx[k], tc.LineDepthMM[k]))
		}
		fmt.Printf("%s other %s  %.1f u %.1f want %.1f left %.2f px scaleU %.4f\n", tc.ID, b.of[c.Other].ID, c.MeanMM, c.U, want/n, c.LeftPx, c.ScaleU)
	}
	_ = math.Pi
}
