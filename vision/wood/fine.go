package wood

import (
	"sync/atomic"

	"nodespan/vision/cores"
	"nodespan/vision/photo"
)

// tile is the side of the squares in which a fine likeness is worked out, px.
const tile = 64

// tiles hold the likeness of a photo's pixels where it was asked for.
type tiles struct {
	p          *photo.Photo
	f          float64 // how much larger than what was learned from
	across     int
	made       []atomic.Pointer[[tile * tile]uint8]
	sort       *sorter
	around     *surroundings
	own, apart []int16 // of each cell
}

// Fine learns as Learn does, but of the pixels of a photo of which c has a copy,
// one pixel of it f by f of the photo's, and tells of these pixels, as the edges
// of wood need it. Pieces are in pixels of the copy. Bark and grass have more
// colours in single pixels than on a copy, so odds learned from one don't hold
// for the other. A place is worked out when it is first asked for. The photo must
// stay open.
func (c *Colours) Fine(p *photo.Photo, f float64, pieces []Piece) (l *Likeness, ok bool) {
	painted := c.paint(pieces)
	defer c.wipe(painted)
	t := &tiles{p: p, f: f, across: (p.Width + tile - 1) / tile, sort: newSorter(c.par.Bins), around: c.around}
	cells := len(c.all)
	bands := (c.h + bandRows - 1) / bandRows
	counts := make([][4][]uint32, bands) // of each band, wood and ground by colour, and by contrast
	cores.Each(bands, func(i int) {
		n := &counts[i]
		for k := range n {
			n[k] = make([]uint32, cells)
		}
		for y := i * bandRows; y < min((i+1)*bandRows, c.h); y++ {
			for x := range c.w {
				m := c.mask[y*c.w+x]
				// There is so much more ground that every fourth place tells enough.
				if m == near || m != core && (x%2 != 0 || y%2 != 0) {
					continue
				}
				kind := 0
				if m != core {
					kind = 1
				}
				own := t.soft(int(photo.Whole(float64(x), f)+0.5), int(photo.Whole(float64(y), f)+0.5))
				n[kind][t.sort.own(own)]++
				if c.around != nil {
					n[2+kind][t.sort.apart(own, c.around.at(x, y))]++
				}
			}
		}
	})
	var sums [4][]float64
	for k := range sums {
		sums[k] = make([]float64, cells)
		for i := range counts {
			for j, v := range counts[i][k] {
				sums[k][j] += float64(v)
			}
		}
	}
	if total(sums[0]) < float64(c.par.MinPixels) {
		return nil, false
	}
	known := &Known{c: c, byColour: c.odds(sums[0], sums[1])}
	if c.around == nil {
		t.own = known.values(known.byColour, 1)
	} else {
		known.byContrast = c.odds(sums[2], sums[3])
		t.own, t.apart = known.values(known.byColour, c.par.Colour), known.values(known.byContrast, c.par.Contrast)
	}
	t.made = make([]atomic.Pointer[[tile * tile]uint8], t.across*((p.Height+tile-1)/tile))
	return &Likeness{W: p.Width, H: p.Height, tiles: t, reach: c.par.Reach}, true
}

// soft is the colour of a pixel, smoothed by 1 2 1 both ways.
func (t *tiles) soft(x, y int) hue {
	w, h, pix := t.p.Width, t.p.Height, t.p.Pix()
	x, y = max(0, min(w-1, x)), max(0, min(h-1, y))
	l, r := 3*(max(0, x-1)-x), 3*(min(w-1, x+1)-x)
	var c [3]uint32
	for _, row := range [...]struct {
		y      int
		weight uint32
	}{{max(0, y-1), 1}, {y, 2}, {min(h-1, y+1), 1}} {
		k := 3 * (row.y*w + x)
		for ch := range 3 {
			c[ch] += row.weight * (uint32(pix[k+l+ch]) + 2*uint32(pix[k+ch]) + uint32(pix[k+r+ch]))
		}
	}
	return hueOf(uint8((c[0]+8)/16), uint8((c[1]+8)/16), uint8((c[2]+8)/16))
}

func (t *tiles) value(x, y int) uint8 {
	k := y/tile*t.across + x/tile
	v := t.made[k].Load()
	if v == nil {
		v = t.make(x/tile*tile, y/tile*tile)
		t.made[k].Store(v) // two that make it at once make the same
	}
	return v[y%tile*tile+x%tile]
}

// make works a tile out from its top left corner on.
func (t *tiles) make(x0, y0 int) *[tile * tile]uint8 {
	var out [tile * tile]uint8
	for y := y0; y < min(t.p.Height, y0+tile); y++ {
		cy := int(float64(y) / t.f)
		for x := x0; x < min(t.p.Width, x0+tile); x++ {
			own := t.soft(x, y)
			v := int(t.own[t.sort.own(own)])
			if t.apart != nil {
				v += int(t.apart[t.sort.apart(own, t.around.at(int(float64(x)/t.f), cy))])
			}
			out[(y-y0)*tile+x-x0] = scaled(v)
		}
	}
	return &out
}
