package vision

import (
	"context"
	"image"
	"math"
	"slices"

	"gocv.io/x/gocv"

	"nodespan/assess"
	"nodespan/vision/photo"
	"nodespan/vision/scale"
)

// LookParams are the tunables of the quick look. All are advice and no limit
// of measuring; where no source is named they are common practice, no source,
// held against the photos of testdata.
type LookParams struct {
	// CoarseMM is the millimetres to a pixel of the whole photo beyond which it
	// says to step nearer: a weak cane of 6 mm then has eight pixels, below which
	// canes are read too thick (see the figures in DEVELOPERS.md). Default 0.75.
	CoarseMM float64
	// WideMM is the longer side of the picture on the wire plane up to which it is
	// the photo's few pixels and not the distance that makes it coarse. Default
	// 3000 mm: a camera of 4000 pixels is at CoarseMM there.
	WideMM float64
	// NearMM is the least longer side of the picture on the wire plane: below it
	// a vine's canes don't fit. Smaller lets single canes pass. Default 900 mm.
	NearMM float64
	// ShadeLevel is the brightness (0 to 255) that the card's white must have,
	// and BurntLevel the one from which it is burnt out. Default 110 and 253.
	ShadeLevel, BurntLevel float64
	// BlurPx is the standard deviation of the blur on the card's edges, in pixels
	// of the copy, from which it is called blurred. Default 1.6.
	BlurPx float64
	// BelowMM and AboveMM are how much must be in the picture below and above
	// the card's middle for the head and the canes to have room. Default 150 and
	// 250 mm.
	BelowMM, AboveMM float64
	// WireShare is the share of the picture's width along which a straight line
	// along the card must show to be called a wire. Default 0.3.
	WireShare float64
	// BusyShare is the share of pixels with an edge from which the background is
	// called busy. Default 0.1: before sheets and sky it is 0.02 to 0.08, before
	// grass and other rows 0.12 to 0.23.
	BusyShare float64
}

// DefaultLookParams are the tunables in use.
func DefaultLookParams() LookParams {
	return LookParams{CoarseMM: 0.75, WideMM: 3000, NearMM: 900, ShadeLevel: 110, BurntLevel: 253, BlurPx: 1.6, BelowMM: 150, AboveMM: 250, WireShare: 0.3, BusyShare: 0.1}
}

var _ assess.Looker = (*Measurer)(nil)

// Look fulfils assess.Looker: it finds the reference as measuring does, and
// nothing of the canes. On a copy of 1700 px that takes a fraction of a second.
func (v *Measurer) Look(ctx context.Context, copied []byte, full int) (*assess.Look, error) {
	p, err := photo.Decode(copied, v.Params.Limits)
	if err != nil {
		return nil, err
	}
	defer p.Close()
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	m, why, err := scale.Find(ctx, p, nil, v.Params.Scale)
	if err != nil {
		return nil, err
	}
	l := looking{p: p, m: m, par: DefaultLookParams(), shrunk: 1}
	if long := max(p.Width, p.Height); full > long {
		l.shrunk = float64(long) / float64(full)
	}
	l.grey = gocv.NewMat()
	defer l.grey.Close()
	gocv.CvtColor(p.BGR, &l.grey, gocv.ColorBGRToGray)
	l.edges = gocv.NewMat()
	defer l.edges.Close()
	gocv.Canny(l.grey, &l.edges, 60, 150)
	out := &assess.Look{}
	if m == nil {
		out.Points = append(out.Points, lost(why))
	} else {
		out.Points = append(out.Points, good("reference", "reference"), l.size(), l.light(), l.sharp(), l.wire(), l.room())
	}
	out.Points = append(out.Points, l.background())
	return out, nil
}

type looking struct {
	p           *photo.Photo
	m           *scale.Map
	par         LookParams
	shrunk      float64 // a pixel of the photo in pixels of the copy
	grey, edges gocv.Mat
}

func good(of, say string) assess.LookPoint {
	return assess.LookPoint{Of: of, State: assess.LookGood, Say: say}
}

func change(of, say string) assess.LookPoint {
	return assess.LookPoint{Of: of, State: assess.LookChange, Say: say}
}

// lost says what to do about a reference that wasn't found.
func lost(why []assess.Reason) assess.LookPoint {
	say := "hang_card"
	for _, r := range why {
		switch r {
		case assess.ReferencePartly:
			say = "free_card"
		case assess.ReferenceTooSmall:
			say = "step_nearer"
		case assess.ReferenceImplaus:
			say = "square_card"
		}
	}
	return change("reference", say)
}

func (l *looking) size() assess.LookPoint {
	wide := l.m.MMPerPx * float64(max(l.p.Width, l.p.Height))
	switch coarse := l.m.MMPerPx*l.shrunk > l.par.CoarseMM; {
	case coarse && wide > l.par.WideMM:
		return change("size", "step_nearer")
	case coarse:
		return change("size", "full_size")
	case wide < l.par.NearMM:
		return change("size", "step_back")
	}
	return good("size", "distance")
}

// card is the reference's box in the copy.
func (l *looking) card() image.Rectangle {
	xs, ys := make([]float64, 0, 4), make([]float64, 0, 4)
	for _, q := range l.m.Outline {
		xs, ys = append(xs, q[0]), append(ys, q[1])
	}
	r := image.Rect(int(slices.Min(xs)), int(slices.Min(ys)), int(slices.Max(xs))+1, int(slices.Max(ys))+1)
	return r.Intersect(image.Rect(0, 0, l.p.Width, l.p.Height))
}

// light holds the white of the card against what can be measured on.
func (l *looking) light() assess.LookPoint {
	r := l.card()
	if r.Dx() < 4 || r.Dy() < 4 {
		return assess.LookPoint{Of: "light", State: assess.LookUnknown, Say: "light_unknown"}
	}
	region := l.grey.Region(r)
	defer region.Close()
	var seen []uint8
	for y := range r.Dy() {
		for x := range r.Dx() {
			seen = append(seen, region.GetUCharAt(y, x))
		}
	}
	slices.Sort(seen)
	white := float64(seen[len(seen)*9/10])
	switch {
	case white < l.par.ShadeLevel:
		return change("light", "card_shade")
	case white >= l.par.BurntLevel:
		return change("light", "card_burnt")
	}
	return good("light", "light")
}

func (l *looking) sharp() assess.LookPoint {
	b := max(l.m.Blur(1, 0), l.m.Blur(0, 1))
	switch {
	case !(b > 0):
		return assess.LookPoint{Of: "sharp", State: assess.LookUnknown, Say: "sharp_unknown"}
	case b > l.par.BlurPx:
		return change("sharp", "hold_still")
	}
	return good("sharp", "sharp")
}

// wire looks for a straight line along the card's long side: it hangs from a
// wire, so wires run as it does.
func (l *looking) wire() assess.LookPoint {
	a, b, _, _ := l.along()
	tilt := math.Remainder(math.Atan2(b, a), math.Pi/2) // the card may hang upright
	lines := gocv.NewMat()
	defer lines.Close()
	w := float64(l.p.Width)
	gocv.HoughLinesPWithParams(l.edges, &lines, 1, math.Pi/360, 60, float32(0.08*w), float32(0.02*w))
	// The share of the width that lines at about the same height cover together.
	const band = 0.02 // of the height
	cover := map[int][]bool{}
	for i := range lines.Rows() {
		q := lines.GetVeciAt(i, 0)
		dx, dy := float64(q[2]-q[0]), float64(q[3]-q[1])
		if d := math.Remainder(math.Atan2(dy, dx)-tilt, math.Pi); math.Abs(d) > 6*math.Pi/180 {
			continue
		}
		// Its height where it would cross the picture's middle.
		at := float64(q[1]) + (w/2-float64(q[0]))*math.Tan(math.Atan2(dy, dx))
		for _, k := range []int{int(at / (band * float64(l.p.Height))), int(at/(band*float64(l.p.Height)) + 0.5)} {
			if cover[k] == nil {
				cover[k] = make([]bool, 100)
			}
			for x := min(q[0], q[2]); x < max(q[0], q[2]); x += int32(max(1, l.p.Width/200)) {
				cover[k][min(99, int(x)*100/l.p.Width)] = true
			}
		}
	}
	for _, c := range cover {
		n := 0
		for _, on := range c {
			if on {
				n++
			}
		}
		if float64(n) >= 100*l.par.WireShare {
			return good("wire", "wire")
		}
	}
	return change("wire", "show_wire")
}

// along is the direction of the card's long side in the copy, and its middle.
func (l *looking) along() (dx, dy, x, y float64) {
	o := l.m.Outline
	dx, dy = o[1][0]-o[0][0], o[1][1]-o[0][1]
	for _, q := range o {
		x, y = x+q[0]/float64(len(o)), y+q[1]/float64(len(o))
	}
	return
}

// room tells whether the picture reaches far enough down for the head and up
// for the canes' nodes. The head itself isn't looked for.
func (l *looking) room() assess.LookPoint {
	_, _, _, y := l.along()
	below, above := (float64(l.p.Height)-y)*l.m.MMPerPx, y*l.m.MMPerPx
	switch {
	case below < l.par.BelowMM:
		return change("room", "aim_lower")
	case above < l.par.AboveMM:
		return change("room", "aim_higher")
	}
	return good("room", "room")
}

// background tells whether there is so much behind the vine that canes will be
// missed in it.
func (l *looking) background() assess.LookPoint {
	share := float64(gocv.CountNonZero(l.edges)) / float64(l.p.Width*l.p.Height)
	if share > l.par.BusyShare {
		return change("background", "background_busy")
	}
	return good("background", "background")
}
