package wood

import (
	"image"
	"math"

	"gocv.io/x/gocv"

	"nodespan/assess"
	"nodespan/vision/cores"
	"nodespan/vision/photo"
)

// LearnParams are the tunables of learning a photo's wood.
type LearnParams struct {
	// Bins is the number of cells along each axis of the colour space. More
	// tell finer differences and need more wood to learn from. Default 24.
	Bins int
	// Doubt is the share of either kind that is allowed for in every cell,
	// seen there or not. Larger makes the map greyer. Default 2e-6.
	Doubt float64
	// Reach bounds the map: log odds beyond it count as it. Default 4.
	Reach float64
	// MinPixels is how many pixels of wood must be known before anything is
	// learned from them. Default 1500.
	MinPixels int
	// Colour and Contrast weigh the log odds of a pixel's own colour and of how
	// it differs from its surroundings. Together more than 1 counts twice what
	// both tell. Default 0.8 and 0.4.
	Colour, Contrast float64
}

// DefaultLearnParams are the tunables in use unless others are set.
func DefaultLearnParams() LearnParams {
	return LearnParams{Bins: 24, Doubt: 2e-6, Reach: 4, MinPixels: 1500, Colour: 0.8, Contrast: 0.4}
}

// A Piece of wood is a centre line with widths, px, that was recognised
// without knowing the colour.
type Piece struct {
	X, Y, Width []float64
}

// A Likeness says of each pixel how much its colour is that of the wood that
// was recognised in the same photo, rather than that of the rest of it.
type Likeness struct {
	W, H int
	// V is 0 for surely not, 255 for surely wood, 128 for as likely as
	// anything; row by row.
	V     []uint8
	reach float64
}

// Learn makes the likeness by colour alone from the recognised pieces; ok is
// false when they are too few to learn from.
func Learn(p *photo.Photo, pieces []Piece, par LearnParams) (l *Likeness, ok bool) {
	k, ok := ColoursOf(p, 0, par).Learn(pieces)
	if !ok {
		return nil, false
	}
	return k.ByColour(), true
}

// Colours are a photo's pixels sorted by colour, for learning from more than
// once.
type Colours struct {
	w, h  int
	cell  []uint16 // of each pixel
	apart []uint16 // the same of how it differs from its surroundings; nil without
	par   LearnParams
}

// ColoursOf sorts a photo's pixels by colour, and by how they differ from the
// mean of their surroundings, around px wide; 0 leaves that out.
func ColoursOf(p *photo.Photo, around float64, par LearnParams) *Colours {
	cell, apart := cells(p, around, par.Bins)
	return &Colours{w: p.Width, h: p.Height, cell: cell, apart: apart, par: par}
}

// Known is what the recognised wood of a photo looks like: log odds of wood for
// each cell of colours, and for each of differences from the surroundings.
type Known struct {
	c                    *Colours
	byColour, byContrast []float32
}

// Learn learns from the recognised pieces: the log odds of two histograms, of
// the pieces' pixels and of all others, over brightness and two ratios of the
// linear channels (the naive rule of J. Jones and J. Rehg, Int. J. Computer
// Vision 46, 2002, who told skin so). Sun, haze, white balance and the colour of
// the ground are all in the photo itself, so none is assumed. The same is done
// with each pixel's difference from what is around it: where ground somewhere in
// the photo has the wood's colours, a cane still differs from the ground beside
// it. ok is false when the pieces are too few to learn from.
func (c *Colours) Learn(pieces []Piece) (k *Known, ok bool) {
	w, h, cell, par := c.w, c.h, c.cell, c.par
	n := par.Bins * par.Bins * par.Bins
	// 1: wood's middle, 2: too near to wood to be called ground.
	mask := make([]uint8, w*h)
	paint := func(share, more float64, v uint8) {
		for _, q := range pieces {
			for i := range q.X {
				r := share*q.Width[i] + more
				for y := int(math.Ceil(q.Y[i] - r)); float64(y) <= q.Y[i]+r; y++ {
					for x := int(math.Ceil(q.X[i] - r)); float64(x) <= q.X[i]+r; x++ {
						if x >= 0 && y >= 0 && x < w && y < h {
							dx, dy := float64(x)-q.X[i], float64(y)-q.Y[i]
							if dx*dx+dy*dy <= r*r {
								mask[y*w+x] = v
							}
						}
					}
				}
			}
		}
	}
	paint(0.6, 2, 2)
	paint(0.36, 0.2, 1)
	table := func(cell []uint16) (odds []float32, known int) {
		fg, bg := make([]float64, n), make([]float64, n)
		for i, c := range cell {
			switch mask[i] {
			case 1:
				fg[c]++
				known++
			case 0:
				bg[c]++
			}
		}
		spread(fg, par.Bins)
		spread(bg, par.Bins)
		odds = make([]float32, n)
		for i := range odds {
			odds[i] = float32(math.Log((fg[i] + par.Doubt) / (bg[i] + par.Doubt)))
		}
		return odds, known
	}
	byColour, known := table(cell)
	if known < par.MinPixels {
		return nil, false
	}
	k = &Known{c: c, byColour: byColour}
	if c.apart != nil {
		k.byContrast, _ = table(c.apart)
	}
	return k, true
}

// Likeness says of each pixel how much it looks like wood by its colour and by
// how it differs from its surroundings: for finding and following.
func (k *Known) Likeness() *Likeness {
	if k.byContrast == nil {
		return k.ByColour()
	}
	return k.likeness(k.c.par.Colour, k.c.par.Contrast)
}

// ByColour says it by the colour alone: the next row's canes stand out from
// their surroundings too, but haze has changed their colour.
func (k *Known) ByColour() *Likeness { return k.likeness(1, 0) }

func (k *Known) likeness(colour, contrast float64) *Likeness {
	c := k.c
	l := &Likeness{W: c.w, H: c.h, V: make([]uint8, c.w*c.h), reach: c.par.Reach}
	per := float32(127.5 / c.par.Reach)
	a, b := per*float32(colour), per*float32(contrast)
	cores.Each(c.h, func(y int) {
		for i := y * c.w; i < (y+1)*c.w; i++ {
			o := a * k.byColour[c.cell[i]]
			if b > 0 {
				o += b * k.byContrast[c.apart[i]]
			}
			l.V[i] = uint8(max(0, min(255, 128+o)))
		}
	})
	return l
}

// cells gives each pixel's cell in a space of brightness and two colour
// ratios, of the linear channels after a slight smoothing: single pixels of a
// compressed photo have no colour worth learning. apart is its cell in the space
// of differences of these from the mean over a square around px wide.
func cells(p *photo.Photo, around float64, bins int) (own, apart []uint16) {
	w, h := p.Width, p.Height
	soft := gocv.NewMat()
	defer soft.Close()
	gocv.GaussianBlur(p.BGR, &soft, image.Pt(0, 0), 0.8, 0.8, gocv.BorderReplicate)
	pix, err := soft.DataPtrUint8()
	own = make([]uint16, w*h)
	if err != nil {
		return own, nil
	}
	var all []uint8 // the mean about each pixel
	if around > 0 {
		wide := gocv.NewMat()
		defer wide.Close()
		side := int(around)/2*2 + 1
		gocv.Blur(p.BGR, &wide, image.Pt(side, side))
		if all, err = wide.DataPtrUint8(); err != nil {
			return own, nil
		}
		apart = make([]uint16, w*h)
	}
	// Logarithms by table: the ratios are differences of these.
	var lg [256]float32
	const dark = 0.004
	for i := range lg {
		lg[i] = float32(math.Log2(float64(photo.Linear[i]) + dark))
	}
	b := float32(bins)
	put := func(v, lo, hi float32) int {
		return max(0, min(bins-1, int((v-lo)/(hi-lo)*b)))
	}
	cores.Each(h, func(y int) {
		for i := y * w; i < (y+1)*w; i++ {
			bl, gr, rd := lg[pix[3*i]], lg[pix[3*i+1]], lg[pix[3*i+2]]
			light := 0.3*rd + 0.5*gr + 0.2*bl
			c := (put(light, -7.5, 0.1)*bins+put(rd-gr, -0.8, 1.2))*bins + put(gr-bl, -0.8, 2)
			own[i] = uint16(c)
			if apart == nil {
				continue
			}
			bl2, gr2, rd2 := lg[all[3*i]], lg[all[3*i+1]], lg[all[3*i+2]]
			light2 := 0.3*rd2 + 0.5*gr2 + 0.2*bl2
			apart[i] = uint16((put(light-light2, -2, 2)*bins+put(rd-gr-rd2+gr2, -0.5, 0.5))*bins + put(gr-bl-gr2+bl2, -0.5, 0.5))
		}
	})
	return own, apart
}

// spread smooths a histogram along its three axes, and makes its sum one.
func spread(v []float64, bins int) {
	strides := []int{1, bins, bins * bins}
	line := make([]float64, bins)
	for _, st := range strides {
		for i := range v {
			if i/st%bins != 0 {
				continue
			}
			for k := range bins {
				line[k] = v[i+k*st]
			}
			for k := range bins {
				a, b := line[max(k-1, 0)], line[min(k+1, bins-1)]
				v[i+k*st] = 0.25*a + 0.5*line[k] + 0.25*b
			}
		}
	}
	sum := 0.0
	for _, x := range v {
		sum += x
	}
	if sum > 0 {
		for i := range v {
			v[i] /= sum
		}
	}
}

// Over gives a picture of three channels for looking for seeds, k times smaller:
// the likeness twice, and the photo's brightness, which tells wood from wood
// where pieces cross. The caller closes it.
func (l *Likeness) Over(p *photo.Photo, k int) (*photo.Photo, error) {
	pix := p.Pix()
	w, h := l.W/k, l.H/k
	buf := make([]uint8, 3*w*h)
	cores.Each(h, func(y int) {
		for x := range w {
			var odds, light int
			for j := y * k; j < (y+1)*k; j++ {
				for i := j*l.W + x*k; i < j*l.W+(x+1)*k; i++ {
					odds += int(l.V[i])
					light += int(pix[3*i]) + 2*int(pix[3*i+1]) + int(pix[3*i+2])
				}
			}
			o, g := uint8(odds/(k*k)), uint8(light/(4*k*k))
			q := 3 * (y*w + x)
			buf[q], buf[q+1], buf[q+2] = o, g, o
		}
	})
	return photo.FromPixels(buf, w, h, 0)
}

// Odds is the log odds that a value of V stands for.
func (l *Likeness) Odds(v uint8) float64 { return (float64(v) - 127.5) / 127.5 * l.reach }

// Clear is how surely places look like wood, on average: 1 for the highest log
// odds that are told, 0 for as likely as anything or less.
func (l *Likeness) Clear(at []assess.Point) float64 {
	sum := 0.0
	for _, q := range at {
		sum += l.At(q[0], q[1])
	}
	return max(0, min(1, sum/float64(max(len(at), 1))/l.reach))
}

// At gives the log odds of the pixel at a place being wood, interpolated; 0
// outside of the picture.
func (l *Likeness) At(x, y float64) float64 {
	if !(x >= 0 && y >= 0 && x < float64(l.W-1) && y < float64(l.H-1)) {
		return 0
	}
	i, j := int(x), int(y)
	fx, fy := x-float64(i), y-float64(j)
	k := j*l.W + i
	top := float64(l.V[k])*(1-fx) + float64(l.V[k+1])*fx
	low := float64(l.V[k+l.W])*(1-fx) + float64(l.V[k+l.W+1])*fx
	return (top*(1-fy) + low*fy - 127.5) / 127.5 * l.reach
}
