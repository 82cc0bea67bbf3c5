package scale

import (
	"context"
	"image"
	"math"

	"gocv.io/x/gocv"

	"nodespan/assess"
	"nodespan/vision/cores"
	"nodespan/vision/photo"
)

type finder struct {
	photo *photo.Photo
	par   Params
	small map[int]gocv.Mat // grey copies by how many times they are smaller
}

func newFinder(p *photo.Photo, par Params) *finder {
	return &finder{photo: p, par: par, small: map[int]gocv.Mat{}}
}

func (f *finder) close() {
	for _, m := range f.small {
		m.Close()
	}
}

// grey is the picture's brightness at 1/shrink size, 8 bits.
func (f *finder) grey(shrink int) gocv.Mat {
	if m, ok := f.small[shrink]; ok {
		return m
	}
	w, h := f.photo.Width/shrink, f.photo.Height/shrink
	out := gocv.NewMatWithSize(h, w, gocv.MatTypeCV8UC1)
	cores.Each((h+stripRows-1)/stripRows, func(i int) {
		y0, y1 := i*stripRows, min((i+1)*stripRows, h)
		part := f.photo.BGR.Region(image.Rect(0, y0*shrink, w*shrink, y1*shrink))
		defer part.Close()
		into := out.Region(image.Rect(0, y0, w, y1))
		defer into.Close()
		if shrink == 1 {
			gocv.CvtColor(part, &into, gocv.ColorBGRToGray)
			return
		}
		g := gocv.NewMat()
		defer g.Close()
		gocv.CvtColor(part, &g, gocv.ColorBGRToGray)
		gocv.Resize(g, &into, image.Pt(w, y1-y0), 0, 0, gocv.InterpolationArea)
	})
	f.small[shrink] = out
	return out
}

// greyAt is the grey value at a place of the full picture, -1 outside.
func (f *finder) greyAt(x, y float64) float64 {
	w, h := f.photo.Width, f.photo.Height
	if !(x >= 0 && y >= 0 && x < float64(w-1) && y < float64(h-1)) {
		return -1
	}
	i, j := int(x), int(y)
	fx, fy := x-float64(i), y-float64(j)
	pix := f.photo.Pix()
	k := 3 * (j*w + i)
	// ITU-R BT.601 luma, as OpenCV's grey.
	g := func(k int) float64 {
		return 0.114*float64(pix[k]) + 0.587*float64(pix[k+1]) + 0.299*float64(pix[k+2])
	}
	top := g(k)*(1-fx) + g(k+3)*fx
	bottom := g(k+3*w)*(1-fx) + g(k+3*w+3)*fx
	return top*(1-fy) + bottom*fy
}

// Find looks for the reference. With marks given, it uses them and looks for
// nothing else. It returns a nil Map and the reasons when there is none; the
// error is only for a context that ended and for marks that can't be used.
func Find(ctx context.Context, p *photo.Photo, marks *assess.Marks, par Params) (*Map, []assess.Reason, error) {
	f := newFinder(p, par)
	defer f.close()
	if marks != nil {
		m, err := fromMarks(p, *marks, f)
		return m, nil, err
	}
	// The middle size first: there the card's squares are some ten pixels in
	// an ordinary photo. Then finer for a small card, coarser for a blurred or
	// near one.
	mid := max(1, int(math.Round(float64(max(p.Width, p.Height))/1700)))
	sizes := []int{mid}
	if mid > 1 {
		sizes = append(sizes, mid/2)
	}
	sizes = append(sizes, mid*2)
	var reason assess.Reason
	for i, s := range sizes {
		if err := ctx.Err(); err != nil {
			return nil, nil, err
		}
		m, why := f.card(s, wide)
		if m == nil && why == "" {
			m, why = f.bar(s)
		}
		if m == nil && why == "" && i == len(sizes)-1 {
			m, why = f.card(max(1, mid/2), narrow)
		}
		if m != nil {
			if why := f.implausible(m); why != "" {
				return nil, []assess.Reason{why}, nil
			}
			return m, nil, nil
		}
		if reason == "" {
			reason = why
		}
	}
	if reason == "" {
		reason = assess.NoReference
	}
	return nil, []assess.Reason{reason}, nil
}

// implausible refuses a reference that can't be what it seems.
func (f *finder) implausible(m *Map) assess.Reason {
	w, h := float64(f.photo.Width), float64(f.photo.Height)
	frame := m.MMPerPx * max(w, h)
	if frame < f.par.MinFrameMM || frame > f.par.MaxFrameMM || m.TiltDeg > f.par.MaxTiltDeg {
		return assess.ReferenceImplaus
	}
	return ""
}

// fromMarks makes a similarity from two marked places.
func fromMarks(p *photo.Photo, k assess.Marks, f *finder) (*Map, error) {
	px := math.Hypot(k.B[0]-k.A[0], k.B[1]-k.A[1])
	for _, q := range []assess.Point{k.A, k.B} {
		if !(q[0] >= 0 && q[1] >= 0 && q[0] < float64(p.Width) && q[1] < float64(p.Height)) {
			return nil, assess.Errorf(assess.EInvalid, "the mark at %.0f, %.0f lies outside the photo (%d x %d pixels): tap both marks on the picture", q[0], q[1], p.Width, p.Height)
		}
	}
	if !(k.DistanceMM > 0) || math.IsInf(k.DistanceMM, 0) {
		return nil, assess.Errorf(assess.EInvalid, "the distance between the marks must be more than 0 mm: measure it with a tape and enter it")
	}
	if px < 50 {
		return nil, assess.Errorf(assess.EInvalid, "the marks are only %.0f pixels apart, at least 50 are needed: choose two places farther apart", px)
	}
	s := px / k.DistanceMM
	mx, my := (k.A[0]+k.B[0])/2, (k.A[1]+k.B[1])/2
	h := Homography{s, 0, mx, 0, s, my, 0, 0, 1}
	m := newMap("marks", h, 0, nil, k.DistanceMM/2, 0, f)
	m.Outline = []assess.Point{k.A, k.B}
	// A finger hits a mark to about 0.2 % of the picture's width; a tape is
	// read to a millimetre. Nothing is known of the plane's tilt: 3 %.
	tap := 0.002 * float64(max(p.Width, p.Height)) * math.Sqrt2 / px
	m.RelativeU = math.Sqrt(tap*tap + 1/(k.DistanceMM*k.DistanceMM) + 0.03*0.03)
	if frame := m.MMPerPx * float64(max(p.Width, p.Height)); frame < f.par.MinFrameMM || frame > f.par.MaxFrameMM {
		return nil, assess.Errorf(assess.EInvalid, "with these marks the photo would be %.1f m wide, which no photo of a vine is: check the distance (in mm)", frame/1000)
	}
	return m, nil
}
