package scale

import (
	"image"
	"math"
	"os"
	"path/filepath"
	"testing"

	"gocv.io/x/gocv"

	"nodespan/vision/photo"
)

// calibrationPhotos is where Debian's package opencv-doc keeps 26 photos of a
// board with 9 x 6 inner corners, taken by two real cameras.
const calibrationPhotos = "/usr/share/doc/opencv-doc/examples/data"

// TestRealPhotosOfABoard: the lattice of inner corners is found on photos from
// real lenses, each corner where OpenCV's own finder sees it, to 2 px before
// refinement. As a reference the board must be refused: it has no white
// margin, its outermost squares are cut off, and its count isn't the card's.
func TestRealPhotosOfABoard(t *testing.T) {
	var names []string
	for _, side := range []string{"left", "right"} {
		n, _ := filepath.Glob(filepath.Join(calibrationPhotos, side+"[0-9][0-9].jpg"))
		names = append(names, n...)
	}
	if len(names) == 0 {
		t.Skip("no photos of a board from real cameras here: apt-get install opencv-doc, and run this again")
	}
	both, found := 0, 0
	for _, name := range names {
		data, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		p, err := photo.Decode(data, photo.DefaultLimits())
		if err != nil {
			t.Fatal(err)
		}
		par := DefaultParams()
		par.MinFrameMM = 100 // the photos are taken from near
		if m, _ := find(t, p, par); m != nil {
			t.Errorf("%s: a board of another count was taken for a %s", filepath.Base(name), m.Kind)
		}
		corners, grown := openCVCorners(p), largestLattice(p)
		p.Close()
		if corners == nil {
			continue
		}
		both++
		hit := 0
		for _, c := range corners {
			for _, g := range grown {
				if math.Hypot(c[0]-g.x, c[1]-g.y) < 2 {
					hit++
					break
				}
			}
		}
		if hit >= 49 { // nine tenths of 54, as Find asks of a whole card
			found++
		} else {
			t.Logf("%s: %d of 54 corners in the largest lattice", filepath.Base(name), hit)
		}
	}
	t.Logf("lattice found on %d of %d photos on which OpenCV finds the board", found, both)
	if found*10 < both*9 {
		t.Errorf("want the lattice on nine tenths of %d photos, got %d", both, found)
	}
}

// openCVCorners are the inner corners by OpenCV's finder, nil if it sees none.
func openCVCorners(p *photo.Photo) (out [][2]float64) {
	grey, corners := gocv.NewMat(), gocv.NewMat()
	defer grey.Close()
	defer corners.Close()
	gocv.CvtColor(p.BGR, &grey, gocv.ColorBGRToGray)
	if !gocv.FindChessboardCorners(grey, image.Pt(9, 6), &corners, gocv.CalibCBAdaptiveThresh|gocv.CalibCBNormalizeImage) {
		return nil
	}
	for i := range corners.Rows() {
		v := corners.GetVecfAt(i, 0)
		out = append(out, [2]float64{float64(v[0]), float64(v[1])})
	}
	return out
}

// largestLattice grows a lattice from every corner candidate.
func largestLattice(p *photo.Photo) (best []corner) {
	f := newFinder(p, DefaultParams())
	defer f.close()
	cs := saddles(f.grey(1), wide)
	grid := newCells(cs, p.Width, p.Height)
	for i := range cs {
		l := grow(grid, i, 110)
		if l == nil || len(l.at) <= len(best) {
			continue
		}
		best = nil
		for _, k := range l.at {
			best = append(best, cs[k])
		}
	}
	return best
}
