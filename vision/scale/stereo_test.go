package scale

import (
	"fmt"
	"image"
	"math"
	"os"
	"path/filepath"
	"testing"

	"gocv.io/x/gocv"

	"nodespan/vision/photo"
)

// TestStereoPairsHaveOneBase: Debian's package opencv-doc holds photos of a
// board by two cameras that are screwed to one bar. Each pair must give the same
// place of the one camera in the other's frame. Focal length, centre and
// distortion of each camera are OpenCV's, from all photos of that camera; the
// poses are ours. Squares are of 25 mm.
func TestStereoPairsHaveOneBase(t *testing.T) {
	const square, pairs = 25.0, 14
	corners := map[string][][2]float64{}
	lenses := map[string]lens{}
	for _, side := range []string{"left", "right"} {
		var all [][][2]float64
		var size image.Point
		for i := 1; i <= pairs; i++ {
			name := fmt.Sprintf("%s%02d", side, i)
			data, err := os.ReadFile(filepath.Join(calibrationPhotos, name+".jpg"))
			if err != nil {
				continue
			}
			px, of := refinedCorners(t, data)
			if px != nil {
				corners[name], size = px, of
				all = append(all, px)
			}
		}
		if len(all) == 0 {
			t.Skip("no photos of a board from real cameras here: apt-get install opencv-doc, and run this again")
		}
		lenses[side] = calibrated(all, size, square)
	}
	var bases []vec
	for i := 1; i <= pairs; i++ {
		var poses [2]Pose
		both := true
		for k, side := range []string{"left", "right"} {
			px := corners[fmt.Sprintf("%s%02d", side, i)]
			if px == nil {
				both = false
				break
			}
			l := lenses[side]
			var from, to [][2]float64
			for n, q := range px {
				from = append(from, [2]float64{float64(n%9) * square, float64(n/9) * square})
				to = append(to, l.undistorted(q))
			}
			h, rms, _, err := Fit(from, to)
			if err != nil {
				t.Fatal(err)
			}
			t.Logf("%s%02d: corners off the plane by %.2f px", side, i, rms*l.fx)
			var ok bool
			if poses[k], ok = PoseOf(h, 1, 0, 0); !ok {
				t.Errorf("%s%02d: no pose", side, i)
			}
			for a := range 3 {
				for b := range 3 {
					dot := 0.0
					for c := range 3 {
						dot += poses[k].R[c][a] * poses[k].R[c][b]
					}
					want := 0.0
					if a == b {
						want = 1
					}
					if math.Abs(dot-want) > 1e-9 {
						t.Errorf("%s%02d: the rotation's columns %d and %d have the product %g", side, i, a, b, dot)
					}
				}
			}
		}
		if !both {
			continue
		}
		// The second lens in the first camera's frame: R1 C2 + T1.
		c := poses[1].Centre()
		var at vec
		for a := range 3 {
			at[a] = poses[0].T[a]
			for b := range 3 {
				at[a] += poses[0].R[a][b] * c[b]
			}
		}
		bases = append(bases, at)
	}
	if len(bases) < 8 {
		t.Fatalf("only %d pairs show the board to both", len(bases))
	}
	var mean vec
	for _, b := range bases {
		mean = mean.add(b, 1/float64(len(bases)))
	}
	worst := 0.0
	for _, b := range bases {
		worst = math.Max(worst, b.add(mean, -1).norm())
	}
	t.Logf("%d pairs: the second lens is at %.1f, %.1f, %.1f mm, %.1f mm away; the pair farthest from that is %.1f mm off", len(bases), mean[0], mean[1], mean[2], mean.norm(), worst)
	// The boards are 300 to 450 mm away and 200 px wide; corners off by 0.15 px
	// leave the place of each lens unsure by about a millimetre.
	if worst > 2.5 {
		t.Errorf("want every pair within 2.5 mm of %.1f, the farthest is %.1f mm off", mean.norm(), worst)
	}
}

// lens is a camera with the usual distortion k1, k2, p1, p2, k3.
type lens struct {
	fx, fy, cx, cy float64
	dist           [5]float64
}

// calibrated is OpenCV's own calibration from all of a camera's boards.
func calibrated(boards [][][2]float64, size image.Point, square float64) lens {
	var plane [][]gocv.Point3f
	var px [][]gocv.Point2f
	for _, b := range boards {
		var p []gocv.Point3f
		var q []gocv.Point2f
		for n, c := range b {
			p = append(p, gocv.Point3f{X: float32(float64(n%9) * square), Y: float32(float64(n/9) * square)})
			q = append(q, gocv.Point2f{X: float32(c[0]), Y: float32(c[1])})
		}
		plane, px = append(plane, p), append(px, q)
	}
	on, in := gocv.NewPoints3fVectorFromPoints(plane), gocv.NewPoints2fVectorFromPoints(px)
	defer on.Close()
	defer in.Close()
	k, d, r, v := gocv.NewMat(), gocv.NewMat(), gocv.NewMat(), gocv.NewMat()
	for _, m := range []*gocv.Mat{&k, &d, &r, &v} {
		defer m.Close()
	}
	gocv.CalibrateCamera(on, in, size, &k, &d, &r, &v, 0)
	l := lens{fx: k.GetDoubleAt(0, 0), fy: k.GetDoubleAt(1, 1), cx: k.GetDoubleAt(0, 2), cy: k.GetDoubleAt(1, 2)}
	for i := range l.dist {
		l.dist[i] = d.GetDoubleAt(0, i)
	}
	return l
}

// undistorted gives a pixel's direction (x, y for 1 ahead) by fixed-point steps
// over the usual radial and tangential terms k1, k2, p1, p2, k3.
func (l lens) undistorted(q [2]float64) [2]float64 {
	d := l.dist
	xd, yd := (q[0]-l.cx)/l.fx, (q[1]-l.cy)/l.fy
	x, y := xd, yd
	for range 20 {
		r2 := x*x + y*y
		k := 1 + r2*(d[0]+r2*(d[1]+r2*d[4]))
		dx, dy := 2*d[2]*x*y+d[3]*(r2+2*x*x), d[2]*(r2+2*y*y)+2*d[3]*x*y
		x, y = (xd-dx)/k, (yd-dy)/k
	}
	return [2]float64{x, y}
}

// refinedCorners are a board's inner corners by OpenCV, to a fraction of a pixel.
func refinedCorners(t testing.TB, data []byte) (out [][2]float64, size image.Point) {
	p, err := photo.Decode(data, photo.DefaultLimits())
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	grey, corners := gocv.NewMat(), gocv.NewMat()
	defer grey.Close()
	defer corners.Close()
	gocv.CvtColor(p.BGR, &grey, gocv.ColorBGRToGray)
	if !gocv.FindChessboardCorners(grey, image.Pt(9, 6), &corners, gocv.CalibCBAdaptiveThresh|gocv.CalibCBNormalizeImage) {
		return nil, size
	}
	gocv.CornerSubPix(grey, &corners, image.Pt(5, 5), image.Pt(-1, -1), gocv.NewTermCriteria(gocv.Count+gocv.EPS, 60, 0.001))
	for i := range corners.Rows() {
		v := corners.GetVecfAt(i, 0)
		out = append(out, [2]float64{float64(v[0]), float64(v[1])})
	}
	return out, image.Pt(p.Width, p.Height)
}
