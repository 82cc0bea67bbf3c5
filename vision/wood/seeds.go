package wood

import (
	"cmp"
	"context"
	"image"
	"math"
	"slices"

	"gocv.io/x/gocv"

	"nodespan/vision/cores"
	"nodespan/vision/photo"
	"nodespan/vision/scale"
)

// Params are the tunables of this stage.
type Params struct {
	// Sigma is the smoothing at each level of the pyramid, in that level's
	// pixels. A ribbon answers best where its width is 3.5 Sigma. Default 1.5.
	Sigma float64
	// Levels counts the pyramid's levels, each half the size of the one
	// before. Three cover widths from 4 to 30 px. More finds thicker wood.
	Levels int
	// Pool is the smoothing of the squared Hessians, in the level's pixels.
	// Larger suppresses grass more and merges neighbouring canes. Default 4.
	Pool float64
	// MinCoherence is the smallest (l1-l2)/(l1+l2) of the pooled tensor.
	// Larger drops short and crossing pieces. Default 0.55.
	MinCoherence float64
	// MinStrength is the smallest ridge strength, in grey levels per pixel
	// squared. Larger drops faint canes before a like background. Default 0.35.
	MinStrength float64
	// Around is the smoothing, in the level's pixels, that says how much goes
	// on in a place anyway: a seed's strength is taken relative to it, so that
	// a dim cane before dark grass ranks with a bright one before the sky.
	// Default 24.
	Around float64
	// Most bounds the number of seeds. Default 16000.
	Most int
}

// DefaultParams are the tunables in use unless others are set.
func DefaultParams() Params {
	return Params{Sigma: 1.5, Levels: 3, Pool: 4, MinCoherence: 0.55, MinStrength: 0.35, Around: 24, Most: 16000}
}

// A Seed is a place on something long and narrow.
type Seed struct {
	X, Y     float64 // px of the photo
	Angle    float64 // direction along the ribbon, radians in [0, pi), y down
	Width    float64 // rough width, px
	Strength float64
}

// Find looks for seeds. The error is only for a context that ended.
func Find(ctx context.Context, p *photo.Photo, m *scale.Map, par Params) ([]Seed, error) {
	var out []Seed
	level := p.BGR
	defer func() {
		if par.Levels > 1 {
			level.Close()
		}
	}()
	size := 1.0
	for l := range par.Levels {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		if l > 0 {
			half := gocv.NewMat()
			gocv.Resize(level, &half, image.Pt(level.Cols()/2, level.Rows()/2), 0, 0, gocv.InterpolationArea)
			if l > 1 {
				level.Close()
			}
			level = half
			size *= 2
		}
		out = append(out, atLevel(level, size, par)...)
	}
	slices.SortStableFunc(out, func(a, b Seed) int { return cmp.Compare(b.Strength, a.Strength) })
	if len(out) > par.Most {
		out = out[:par.Most]
	}
	return out, nil
}

// Enlarge takes seeds from a copy of which one pixel is f by f of the photo's to
// the photo.
func Enlarge(seeds []Seed, f float64) {
	for i := range seeds {
		q := &seeds[i]
		q.X, q.Y, q.Width = photo.Whole(q.X, f), photo.Whole(q.Y, f), q.Width*f
	}
}

// stripRows is how many rows of the tensor's grid are made at a time: few
// enough that what they need stays in the processor's cache.
const stripRows = 12

// gridStep is how many pixels of a level make a side of the tensor's cells, of
// which every second pixel is looked at: what follows is smoothed more than that.
const gridStep = 4

// atLevel finds the seeds of one pyramid level. size is how many pixels of the
// photo one of the level's is.
func atLevel(bgr gocv.Mat, size float64, par Params) []Seed {
	w, h := bgr.Cols(), bgr.Rows()
	tw, th := w/gridStep, h/gridStep
	if tw < 4 || th < 4 {
		return nil
	}
	// The squared Hessians' sum as a symmetric tensor, three numbers a cell.
	tensor := gocv.NewMatWithSize(th, tw, gocv.MatTypeCV32FC3)
	defer tensor.Close()
	t, err := tensor.DataPtrFloat32()
	if err != nil {
		return nil
	}
	cores.EachWith((th+stripRows-1)/stripRows, newBench, (*bench).close, func(i int, b *bench) {
		b.strip(bgr, t, tw, i*stripRows, min((i+1)*stripRows, th), par.Sigma)
	})
	pooled := gocv.NewMat()
	defer pooled.Close()
	gocv.GaussianBlur(tensor, &pooled, image.Pt(0, 0), par.Pool/gridStep, par.Pool/gridStep, gocv.BorderReplicate)
	q, err := pooled.DataPtrFloat32()
	if err != nil {
		return nil
	}
	around := gocv.NewMat()
	defer around.Close()
	small := gocv.NewMat()
	defer small.Close()
	const shrink = 2 // of the tensor's grid
	gocv.Resize(pooled, &small, image.Pt(max(1, tw/shrink), max(1, th/shrink)), 0, 0, gocv.InterpolationArea)
	gocv.GaussianBlur(small, &around, image.Pt(0, 0), par.Around/(gridStep*shrink), par.Around/(gridStep*shrink), gocv.BorderReplicate)
	ar, err := around.DataPtrFloat32()
	if err != nil {
		return nil
	}
	aw, ah := around.Cols(), around.Rows()
	// One seed at most in each small square keeps the list short and even.
	const cell = 2 // of the tensor's grid
	cw, chh := tw/cell, th/cell
	var out []Seed
	minS := float32(par.MinStrength * par.MinStrength)
	for cy := range chh {
		for cx := range cw {
			ka := 3 * (min(cy*cell/shrink, ah-1)*aw + min(cx*cell/shrink, aw-1))
			usual := float64(ar[ka]+ar[ka+2]) + 2*float64(minS)
			var best Seed
			for y := cy * cell; y < (cy+1)*cell; y++ {
				for x := cx * cell; x < (cx+1)*cell; x++ {
					k := 3 * (y*tw + x)
					a, b, c := q[k], q[k+1], q[k+2]
					tr := a + c
					if tr < minS {
						continue
					}
					d := float32(math.Sqrt(float64((a-c)*(a-c) + 4*b*b)))
					if d < float32(par.MinCoherence)*tr {
						continue
					}
					s := float64(d) / usual
					if s > best.Strength {
						// The larger eigenvector points across the ribbon.
						across := 0.5 * math.Atan2(2*float64(b), float64(a-c))
						along := math.Mod(across+math.Pi/2+2*math.Pi, math.Pi)
						const middle = (gridStep - 1) / 2.0
						best = Seed{X: photo.Whole(gridStep*float64(x)+middle, size), Y: photo.Whole(gridStep*float64(y)+middle, size),
							Angle: along, Width: 3.5 * par.Sigma * size, Strength: s}
					}
				}
			}
			if best.Strength > 0 {
				out = append(out, best)
			}
		}
	}
	return out
}

// A bench holds what is made of a strip of the picture.
type bench struct {
	whole, soft gocv.Mat
}

func newBench() *bench { return &bench{gocv.NewMat(), gocv.NewMat()} }

func (b *bench) close() {
	b.whole.Close()
	b.soft.Close()
}

// strip makes rows from up to to of the tensor's grid, tw cells wide.
func (b *bench) strip(bgr gocv.Mat, t []float32, tw, from, to int, sigma float64) {
	w, h := bgr.Cols(), bgr.Rows()
	// The rows that the cells need: their own, those that second derivatives
	// reach to, and those that are smoothed into them.
	reach := int(3*sigma) + 2
	y0, y1 := max(0, from*gridStep-reach), min(h, to*gridStep+reach)
	part := bgr.Region(image.Rect(0, y0, w, y1))
	defer part.Close()
	part.ConvertTo(&b.whole, gocv.MatTypeCV32FC3)
	gocv.GaussianBlur(b.whole, &b.soft, image.Pt(0, 0), sigma, sigma, gocv.BorderReplicate)
	v, err := b.soft.DataPtrFloat32()
	if err != nil {
		return
	}
	norm := float32(sigma * sigma / 3 / 4) // scale-normalised, mean of channels and of four places
	row := 3 * w
	for ty := from; ty < to; ty++ {
		line := t[3*ty*tw : 3*(ty+1)*tw]
		clear(line)
		for _, y := range [...]int{ty * gridStep, ty*gridStep + 2} {
			if y == 0 || y >= h-1 {
				continue
			}
			at := (y - y0) * row
			up, mid, low := v[at-row:at], v[at:at+row], v[at+row:at+2*row]
			for tx := range tw {
				var a, b, c float32
				for _, x := range [...]int{tx * gridStep, tx*gridStep + 2} {
					if x == 0 || x >= w-1 {
						continue
					}
					k := 3*x - 3
					m, u, l := mid[k:k+9:k+9], up[k:k+9:k+9], low[k:k+9:k+9]
					for ch := range 3 {
						xx := m[ch] + m[ch+6] - 2*m[ch+3]
						yy := u[ch+3] + l[ch+3] - 2*m[ch+3]
						xy := (l[ch+6] + u[ch] - u[ch+6] - l[ch]) / 4
						a += xx*xx + xy*xy
						b += xy * (xx + yy)
						c += yy*yy + xy*xy
					}
				}
				line[3*tx] += a * norm
				line[3*tx+1] += b * norm
				line[3*tx+2] += c * norm
			}
		}
	}
}
