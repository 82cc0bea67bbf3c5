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
	level := p.BGR.Clone()
	defer func() { level.Close() }()
	size := 1.0
	for l := range par.Levels {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		if l > 0 {
			half := gocv.NewMat()
			gocv.Resize(level, &half, image.Pt(level.Cols()/2, level.Rows()/2), 0, 0, gocv.InterpolationArea)
			level.Close()
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

// atLevel finds the seeds of one pyramid level. size is how many pixels of the
// photo one of the level's is.
func atLevel(bgr gocv.Mat, size float64, par Params) []Seed {
	w, h := bgr.Cols(), bgr.Rows()
	f := gocv.NewMat()
	defer f.Close()
	bgr.ConvertTo(&f, gocv.MatTypeCV32FC3)
	gocv.GaussianBlur(f, &f, image.Pt(0, 0), par.Sigma, par.Sigma, gocv.BorderReplicate)
	v, err := f.DataPtrFloat32()
	if err != nil {
		return nil
	}
	// The squared Hessians' sum as a symmetric tensor, three numbers at every
	// second pixel: what follows is smoothed far more than that.
	tw, th := w/2, h/2
	tensor := gocv.NewMatWithSize(th, tw, gocv.MatTypeCV32FC3)
	defer tensor.Close()
	t, err := tensor.DataPtrFloat32()
	if err != nil {
		return nil
	}
	norm := float32(par.Sigma * par.Sigma / 3) // scale-normalised, mean of channels
	row, trow := 3*w, 3*tw
	cores.Each(th, func(ty int) {
		clear(t[ty*trow : (ty+1)*trow])
		y := 2 * ty
		if y == 0 || y == h-1 {
			return
		}
		for tx := 1; 2*tx < w-1; tx++ {
			k := y*row + 6*tx
			var a, b, c float32
			for ch := range 3 {
				i := k + ch
				xx := v[i-3] + v[i+3] - 2*v[i]
				yy := v[i-row] + v[i+row] - 2*v[i]
				xy := (v[i+row+3] + v[i-row-3] - v[i+row-3] - v[i-row+3]) / 4
				a += xx*xx + xy*xy
				b += xy * (xx + yy)
				c += yy*yy + xy*xy
			}
			o := ty*trow + 3*tx
			t[o], t[o+1], t[o+2] = a*norm, b*norm, c*norm
		}
	})
	pooled := gocv.NewMat()
	defer pooled.Close()
	gocv.GaussianBlur(tensor, &pooled, image.Pt(0, 0), par.Pool/2, par.Pool/2, gocv.BorderReplicate)
	q, err := pooled.DataPtrFloat32()
	if err != nil {
		return nil
	}
	around := gocv.NewMat()
	defer around.Close()
	small := gocv.NewMat()
	defer small.Close()
	const shrink = 4 // of the tensor's grid
	gocv.Resize(pooled, &small, image.Pt(max(1, tw/shrink), max(1, th/shrink)), 0, 0, gocv.InterpolationArea)
	gocv.GaussianBlur(small, &around, image.Pt(0, 0), par.Around/(2*shrink), par.Around/(2*shrink), gocv.BorderReplicate)
	ar, err := around.DataPtrFloat32()
	if err != nil {
		return nil
	}
	aw, ah := around.Cols(), around.Rows()
	// One seed at most in each small square keeps the list short and even.
	const cell = 4 // of the tensor's grid
	cw, chh := tw/cell, th/cell
	found := make([]Seed, cw*chh)
	minS := float32(par.MinStrength * par.MinStrength)
	cores.Each(chh, func(cy int) {
		for cx := range cw {
			ka := 3 * (min(cy*cell/shrink, ah-1)*aw + min(cx*cell/shrink, aw-1))
			usual := float64(ar[ka]+ar[ka+2]) + 2*float64(minS)
			var best Seed
			for y := cy * cell; y < (cy+1)*cell; y++ {
				for x := cx * cell; x < (cx+1)*cell; x++ {
					k := y*trow + 3*x
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
						best = Seed{X: (2*float64(x)+0.5)*size - 0.5, Y: (2*float64(y)+0.5)*size - 0.5,
							Angle: along, Width: 3.5 * par.Sigma * size, Strength: s}
					}
				}
			}
			found[cy*cw+cx] = best
		}
	})
	var out []Seed
	for _, s := range found {
		if s.Strength > 0 {
			out = append(out, s)
		}
	}
	return out
}
