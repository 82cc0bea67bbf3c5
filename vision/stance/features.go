package stance

import (
	"image"
	"math"
	"slices"

	"gocv.io/x/gocv"

	"nodespan/assess"
	"nodespan/vision/photo"
)

// features are places of a photo that can be known again in another, by what
// is around them (D. Lowe, Int. J. Comput. Vis. 60(2), 2004).
type features struct {
	at    []assess.Point
	words []float32 // wordLength for each place
	u     float64   // standard uncertainty of a place, px
}

const wordLength = 128

// see finds a photo's features, on a copy that isn't larger than need be.
func see(p *photo.Photo, par Params) features {
	grey := gocv.NewMat()
	defer grey.Close()
	gocv.CvtColor(p.BGR, &grey, gocv.ColorBGRToGray)
	by := math.Max(1, float64(max(p.Width, p.Height))/par.FeatureSidePx)
	if by > 1 {
		gocv.Resize(grey, &grey, image.Pt(int(float64(p.Width)/by), int(float64(p.Height)/by)), 0, 0, gocv.InterpolationArea)
	}
	finder := gocv.NewSIFT()
	defer finder.Close()
	none := gocv.NewMat()
	defer none.Close()
	keys, words := finder.DetectAndCompute(grey, none)
	defer words.Close()
	all, err := words.DataPtrFloat32()
	if err != nil || len(all) < len(keys)*wordLength {
		return features{u: by}
	}
	order := make([]int, len(keys))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		switch {
		case keys[a].Response > keys[b].Response:
			return -1
		case keys[a].Response < keys[b].Response:
			return 1
		}
		return 0
	})
	out := features{u: by}
	sx, sy := float64(p.Width)/float64(grey.Cols()), float64(p.Height)/float64(grey.Rows())
	for _, i := range order[:min(len(order), par.Features)] {
		out.at = append(out.at, assess.Point{(keys[i].X+0.5)*sx - 0.5, (keys[i].Y+0.5)*sy - 0.5})
		out.words = append(out.words, all[i*wordLength:(i+1)*wordLength]...)
	}
	return out
}

// same pairs features that are more alike than any other of the second photo
// is, and each other's best.
func same(a, b features, ratio float64) [][2]assess.Point {
	if len(a.at) < 2 || len(b.at) < 2 {
		return nil
	}
	forth, back := nearest(a, b), nearest(b, a)
	var out [][2]assess.Point
	for i, m := range forth {
		if m.best >= 0 && m.d < ratio*m.next && back[m.best].best == i {
			out = append(out, [2]assess.Point{a.at[i], b.at[m.best]})
		}
	}
	return out
}

type likest struct {
	best    int
	d, next float64
}

// nearest gives for each of a's features the one of b that is most like it.
func nearest(a, b features) []likest {
	out := make([]likest, len(a.at))
	for i := range out {
		out[i].best = -1
	}
	ma, errA := matOf(a)
	if errA != nil {
		return out
	}
	defer ma.Close()
	mb, errB := matOf(b)
	if errB != nil {
		return out
	}
	defer mb.Close()
	by := gocv.NewBFMatcher()
	defer by.Close()
	for i, m := range by.KnnMatch(ma, mb, 2) {
		if len(m) == 2 && i < len(out) {
			out[i] = likest{m[0].TrainIdx, m[0].Distance, m[1].Distance}
		}
	}
	return out
}

func matOf(f features) (gocv.Mat, error) {
	m := gocv.NewMatWithSize(len(f.at), wordLength, gocv.MatTypeCV32F)
	to, err := m.DataPtrFloat32()
	if err != nil {
		m.Close()
		return m, err
	}
	copy(to, f.words)
	return m, nil
}

// epipolar gives by how many px a pair of places misses what two cameras
// allow: a first-order distance after P. Sampson (Hartley & Zisserman, 11.4.3),
// with the lens's distortion undone first.
func epipolar(a, b camera, pair [2]assess.Point) float64 {
	x, y := a.direction(pair[0]), b.direction(pair[1])
	// The first camera's direction and the way between the lenses, as the second sees them.
	from := vec(a.at.Centre()).plus(vec(b.at.Centre()), -1)
	t := b.turn(from)
	line := t.cross(b.turn(a.back(x))) // in the second photo
	miss := line.dot(y)
	// The same for the first photo's line.
	to := a.turn(from)
	other := to.cross(a.turn(b.back(y)))
	n := (line[0]*line[0]+line[1]*line[1])/(b.f*b.f) + (other[0]*other[0]+other[1]*other[1])/(a.f*a.f)
	if n == 0 {
		return 0
	}
	return miss / math.Sqrt(n)
}
