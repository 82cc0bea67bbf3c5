package wood

import (
	"image"
	"math"

	"gocv.io/x/gocv"

	"nodespan/vision/cores"
	"nodespan/vision/photo"
)

// Logarithms of linear light are counted in whole steps, so that brightness and
// ratios are sums and differences of table entries.
const (
	perStop = 64            // steps to a factor of two
	dark    = 0.004         // light that is added, so that black has a logarithm
	darkest = 8 * perStop   // of it below the brightest
	widest  = 2*darkest + 1 // how many differences there are
)

// stops is the logarithm of a coded value's light, from 0 for black.
var stops = func() (t [256]int32) {
	for i := range t {
		t[i] = int32(math.Round((math.Log2(float64(photo.Linear[i])+dark) + 8) * perStop))
	}
	return t
}()

// A sorter tells a colour's cell by tables: of brightness and of the ratios
// red to green and green to blue, and of how these differ from others.
type sorter struct {
	light, redGreen, greenBlue []uint16
	lighter, redder, bluer     []uint16
}

func newSorter(bins int) *sorter {
	// axis sorts from lo to hi, in factors of two, with zero at the index zero.
	axis := func(n, zero int, lo, hi float64, stride int) []uint16 {
		out := make([]uint16, n)
		for i := range out {
			v := float64(i-zero) / perStop
			out[i] = uint16(max(0, min(bins-1, int((v-lo)/(hi-lo)*float64(bins)))) * stride)
		}
		return out
	}
	return &sorter{
		light:     axis(darkest+2, darkest, -7.5, 0.1, bins*bins),
		redGreen:  axis(widest+2, darkest, -0.8, 1.2, bins),
		greenBlue: axis(widest+2, darkest, -0.8, 2, 1),
		lighter:   axis(widest+2, darkest, -2, 2, bins*bins),
		redder:    axis(2*widest+2, 2*darkest, -0.5, 0.5, bins),
		bluer:     axis(2*widest+2, 2*darkest, -0.5, 0.5, 1),
	}
}

// A hue is a colour as brightness, red to green, and green to blue, in steps.
type hue struct{ light, redGreen, greenBlue int32 }

func hueOf(bl, gr, rd uint8) hue {
	b, g, r := stops[bl], stops[gr], stops[rd]
	return hue{(77*r + 128*g + 51*b) >> 8, r - g, g - b} // 0.3, 0.5 and 0.2 of the light's logarithm
}

func (s *sorter) own(h hue) uint16 {
	return s.light[h.light] + s.redGreen[h.redGreen+darkest] + s.greenBlue[h.greenBlue+darkest]
}

func (s *sorter) apart(h, from hue) uint16 {
	return s.lighter[h.light-from.light+darkest] + s.redder[h.redGreen-from.redGreen+2*darkest] + s.bluer[h.greenBlue-from.greenBlue+2*darkest]
}

// coarse is how many pixels make a side of the cells in which the surroundings
// are known: they hardly change within so few.
const coarse = 4

// surroundings has the mean colour about each place of a photo.
type surroundings struct {
	w, h int
	hues []hue
}

// surroundingsOf takes means over squares around px wide.
func surroundingsOf(p *photo.Photo, around float64) *surroundings {
	small, wide := gocv.NewMat(), gocv.NewMat()
	defer small.Close()
	defer wide.Close()
	s := &surroundings{w: max(1, p.Width/coarse), h: max(1, p.Height/coarse)}
	gocv.Resize(p.BGR, &small, image.Pt(s.w, s.h), 0, 0, gocv.InterpolationArea)
	side := int(around/coarse)/2*2 + 1
	gocv.Blur(small, &wide, image.Pt(side, side))
	pix, err := wide.DataPtrUint8()
	s.hues = make([]hue, s.w*s.h)
	if err != nil {
		return s
	}
	for i := range s.hues {
		s.hues[i] = hueOf(pix[3*i], pix[3*i+1], pix[3*i+2])
	}
	return s
}

// at is what surrounds a pixel.
func (s *surroundings) at(x, y int) hue {
	return s.hues[min(y/coarse, s.h-1)*s.w+min(x/coarse, s.w-1)]
}

// bandRows is how many rows are sorted at a time.
const bandRows = 64

// ColoursOf sorts a photo's pixels by colour, and by how they differ from the
// mean of their surroundings, around px wide; 0 leaves that out. The pixels are
// smoothed slightly before: single ones of a compressed photo have no colour
// worth learning.
func ColoursOf(p *photo.Photo, around float64, par LearnParams) *Colours {
	w, h := p.Width, p.Height
	c := &Colours{w: w, h: h, par: par, cell: make([]uint16, w*h), mask: make([]uint8, w*h)}
	if around > 0 {
		c.apart = make([]uint16, w*h)
		c.around = surroundingsOf(p, around)
	}
	sort := newSorter(par.Bins)
	cells := par.Bins * par.Bins * par.Bins
	bands := (h + bandRows - 1) / bandRows
	alls, fars := make([][]uint32, bands), make([][]uint32, bands)
	cores.Each(bands, func(i int) {
		y0, y1 := i*bandRows, min((i+1)*bandRows, h)
		part := p.BGR.Region(image.Rect(0, y0, w, y1))
		defer part.Close()
		soft := gocv.NewMat()
		defer soft.Close()
		gocv.GaussianBlur(part, &soft, image.Pt(0, 0), smooth, smooth, gocv.BorderReplicate)
		pix, err := soft.DataPtrUint8()
		if err != nil {
			return
		}
		all, far := make([]uint32, cells), make([]uint32, cells)
		for y := y0; y < y1; y++ {
			for x := range w {
				q := pix[3*((y-y0)*w+x):]
				k := y*w + x
				own := hueOf(q[0], q[1], q[2])
				n := sort.own(own)
				c.cell[k] = n
				all[n]++
				if c.apart != nil {
					n = sort.apart(own, c.around.at(x, y))
					c.apart[k] = n
					far[n]++
				}
			}
		}
		alls[i], fars[i] = all, far
	})
	c.all, c.far = make([]uint32, cells), make([]uint32, cells)
	for i := range alls {
		for k, n := range alls[i] {
			c.all[k] += n
			c.far[k] += fars[i][k]
		}
	}
	return c
}

// smooth is the standard deviation of the smoothing before a pixel's colour
// counts, px.
const smooth = 0.8
