package wood

import (
	"math"

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
// was recognised in the same photo, rather than that of the rest of it: 0 for
// surely not, 255 for surely wood, 128 for as likely as anything.
type Likeness struct {
	W, H  int
	reach float64
	// Where the values come from: row by row, or of each pixel's colour, or
	// worked out in tiles where they are asked for.
	v     []uint8
	cell  []uint16
	of    []uint8 // of each cell
	tiles *tiles
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
	w, h     int
	cell     []uint16 // of each pixel
	apart    []uint16 // the same of how it differs from its surroundings; nil without
	all, far []uint32 // how many pixels are in each cell
	mask     []uint8  // what Learn paints; clear between its calls
	around   *surroundings
	par      LearnParams
}

// Known is what the recognised wood of a photo looks like: log odds of wood for
// each cell of colours, and for each of differences from the surroundings.
type Known struct {
	c                    *Colours
	byColour, byContrast []float32
}

const (
	core = 1 // wood's middle
	near = 2 // too near to wood to be called ground
)

// Learn learns from the recognised pieces: the log odds of two histograms, of
// the pieces' pixels and of all others, over brightness and two ratios of the
// linear channels (the naive rule of J. Jones and J. Rehg, Int. J. Computer
// Vision 46, 2002, who told skin so). Sun, haze, white balance and the colour of
// the ground are all in the photo itself, so none is assumed. The same is done
// with each pixel's difference from what is around it: where ground somewhere in
// the photo has the wood's colours, a cane still differs from the ground beside
// it. ok is false when the pieces are too few to learn from.
func (c *Colours) Learn(pieces []Piece) (k *Known, ok bool) {
	painted := c.paint(pieces)
	defer c.wipe(painted)
	count := func(cell []uint16, all []uint32) (wood, ground []float64) {
		wood, ground = make([]float64, len(all)), make([]float64, len(all))
		for i, n := range all {
			ground[i] = float64(n)
		}
		for _, i := range painted {
			ground[cell[i]]--
			if c.mask[i] == core {
				wood[cell[i]]++
			}
		}
		return wood, ground
	}
	wood, ground := count(c.cell, c.all)
	if total(wood) < float64(c.par.MinPixels) {
		return nil, false
	}
	k = &Known{c: c, byColour: c.odds(wood, ground)}
	if c.apart != nil {
		k.byContrast = c.odds(count(c.apart, c.far))
	}
	return k, true
}

func total(v []float64) (sum float64) {
	for _, x := range v {
		sum += x
	}
	return sum
}

// odds makes log odds of two histograms.
func (c *Colours) odds(wood, ground []float64) []float32 {
	spread(wood, c.par.Bins)
	spread(ground, c.par.Bins)
	out := make([]float32, len(wood))
	for i := range out {
		out[i] = float32(math.Log((wood[i] + c.par.Doubt) / (ground[i] + c.par.Doubt)))
	}
	return out
}

// How far from its middle line a piece is wood for learning, and from where on
// what is beside it is ground: shares of its width, and pixels more.
const (
	coreShare, corePx = 0.36, 0.2
	nearShare, nearPx = 0.6, 1.5
)

// paint marks the pixels of pieces in the mask, and lists them.
func (c *Colours) paint(pieces []Piece) []int32 {
	return c.disc(pieces, coreShare, corePx, core, c.disc(pieces, nearShare, nearPx, near, nil))
}

// wipe clears what was painted.
func (c *Colours) wipe(painted []int32) {
	for _, i := range painted {
		c.mask[i] = 0
	}
}

// disc marks the pixels of pieces in the mask, out to a share of their width and
// some pixels more, and adds those that weren't marked before to painted.
func (c *Colours) disc(pieces []Piece, share, more float64, as uint8, painted []int32) []int32 {
	for _, q := range pieces {
		for i := range q.X {
			r := share*q.Width[i] + more
			for y := max(0, int(math.Ceil(q.Y[i]-r))); y < c.h && float64(y) <= q.Y[i]+r; y++ {
				for x := max(0, int(math.Ceil(q.X[i]-r))); x < c.w && float64(x) <= q.X[i]+r; x++ {
					dx, dy := float64(x)-q.X[i], float64(y)-q.Y[i]
					if dx*dx+dy*dy > r*r {
						continue
					}
					k := y*c.w + x
					if c.mask[k] == 0 {
						painted = append(painted, int32(k))
					}
					c.mask[k] = as
				}
			}
		}
	}
	return painted
}

// values gives, for each cell, what its log odds are on the scale of a
// Likeness, less the middle.
func (k *Known) values(odds []float32, weight float64) []int16 {
	out := make([]int16, len(odds))
	per := 127.5 / k.c.par.Reach * weight
	for i, o := range odds {
		out[i] = int16(math.Round(per * float64(o)))
	}
	return out
}

// scaled is a sum of values as a Likeness has it.
func scaled(v int) uint8 { return uint8(max(0, min(255, 128+v))) }

// Likeness says of each pixel how much it looks like wood by its colour and by
// how it differs from its surroundings: for finding and following.
func (k *Known) Likeness() *Likeness {
	c := k.c
	if k.byContrast == nil {
		return k.ByColour()
	}
	l := &Likeness{W: c.w, H: c.h, v: make([]uint8, c.w*c.h), reach: c.par.Reach}
	a, b := k.values(k.byColour, c.par.Colour), k.values(k.byContrast, c.par.Contrast)
	cores.Each(c.h, func(y int) {
		row := l.v[y*c.w : (y+1)*c.w]
		own, apart := c.cell[y*c.w:(y+1)*c.w], c.apart[y*c.w:(y+1)*c.w]
		for x := range row {
			row[x] = scaled(int(a[own[x]]) + int(b[apart[x]]))
		}
	})
	return l
}

// ByColour says it by the colour alone: the next row's canes stand out from
// their surroundings too, but haze has changed their colour.
func (k *Known) ByColour() *Likeness {
	of := make([]uint8, len(k.byColour))
	for i, v := range k.values(k.byColour, 1) {
		of[i] = scaled(int(v))
	}
	return &Likeness{W: k.c.w, H: k.c.h, cell: k.c.cell, of: of, reach: k.c.par.Reach}
}

// Values gives the likeness of all pixels, row by row.
func (l *Likeness) Values() []uint8 {
	if l.v != nil {
		return l.v
	}
	out := make([]uint8, l.W*l.H)
	cores.Each(l.H, func(y int) {
		for i := y * l.W; i < (y+1)*l.W; i++ {
			out[i] = l.value(i-y*l.W, y)
		}
	})
	return out
}

// value is the likeness of one pixel.
func (l *Likeness) value(x, y int) uint8 {
	switch {
	case l.v != nil:
		return l.v[y*l.W+x]
	case l.cell != nil:
		return l.of[l.cell[y*l.W+x]]
	}
	return l.tiles.value(x, y)
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
	if sum := total(v); sum > 0 {
		for i := range v {
			v[i] /= sum
		}
	}
}

// Over gives a picture of three channels for looking for seeds: the likeness
// twice, and the photo's brightness, which tells wood from wood where pieces
// cross. p is the photo that the likeness is of. The caller closes it.
func (l *Likeness) Over(p *photo.Photo) (*photo.Photo, error) {
	view, err := photo.Blank(l.W, l.H)
	if err != nil {
		return nil, err
	}
	pix, out := p.Pix(), view.Pix()
	cores.Each(l.H, func(y int) {
		for x := range l.W {
			i := y*l.W + x
			src, dst := pix[3*i:3*i+3:3*i+3], out[3*i:3*i+3:3*i+3]
			o := l.value(x, y)
			dst[0], dst[2] = o, o
			dst[1] = uint8((int(src[0]) + 2*int(src[1]) + int(src[2])) / 4)
		}
	})
	return view, nil
}

// Odds is the log odds that a value stands for.
func (l *Likeness) Odds(v uint8) float64 { return (float64(v) - 127.5) / 127.5 * l.reach }

// Clear is how surely places look like wood, on average: 1 for the highest log
// odds that are told, 0 for as likely as anything or less.
func (l *Likeness) Clear(at []assess.Point) float64 {
	return max(0, min(1, l.Mean(at)/l.reach))
}

// Mean is the mean log odds of places being wood, 0 without any.
func (l *Likeness) Mean(at []assess.Point) float64 {
	sum := 0.0
	for _, q := range at {
		sum += l.At(q[0], q[1])
	}
	return sum / float64(max(len(at), 1))
}

// At gives the log odds of the pixel at a place being wood, interpolated; 0
// outside of the picture.
func (l *Likeness) At(x, y float64) float64 {
	if !(x >= 0 && y >= 0 && x < float64(l.W-1) && y < float64(l.H-1)) {
		return 0
	}
	i, j := int(x), int(y)
	fx, fy := x-float64(i), y-float64(j)
	top := float64(l.value(i, j))*(1-fx) + float64(l.value(i+1, j))*fx
	low := float64(l.value(i, j+1))*(1-fx) + float64(l.value(i+1, j+1))*fx
	return (top*(1-fy) + low*fy - 127.5) / 127.5 * l.reach
}
