package scale

import (
	"image"
	"math"
	"testing"

	"gocv.io/x/gocv"

	"nodespan/vision/photo"
)

// A stance is a pinhole camera and a plane before it: a point X, Y on the
// plane is at R (X, Y, 0) + T in the camera's frame (x right, y down, z away).
type stance struct {
	f, cx, cy float64
	r         [3][3]float64
	t         [3]float64
	h         Homography // plane mm to px
}

// pinhole sets a stance: focal length and principal point in px, distance of
// the plane's origin in mm, yaw, pitch and roll of the plane in radians, and
// how far the origin lies off the optical axis, in mm.
func pinhole(f, cx, cy, distance, yaw, pitch, roll, offX, offY float64) stance {
	sy, wy := math.Sincos(yaw)
	sp, wp := math.Sincos(pitch)
	sr, wr := math.Sincos(roll)
	ry := [3][3]float64{{wy, 0, sy}, {0, 1, 0}, {-sy, 0, wy}}
	rx := [3][3]float64{{1, 0, 0}, {0, wp, -sp}, {0, sp, wp}}
	rz := [3][3]float64{{wr, -sr, 0}, {sr, wr, 0}, {0, 0, 1}}
	s := stance{f: f, cx: cx, cy: cy, r: times(times(ry, rx), rz), t: [3]float64{offX, offY, distance}}
	for i := range 3 {
		col := func(k int) float64 {
			if k == 2 {
				return s.t[i]
			}
			return s.r[i][k]
		}
		for k := range 3 {
			switch i {
			case 0:
				s.h[k] += f * col(k)
			case 1:
				s.h[3+k] += f * col(k)
			default:
				s.h[k] += cx * col(k)
				s.h[3+k] += cy * col(k)
				s.h[6+k] += col(k)
			}
		}
	}
	for i, n := 0, s.h[8]; i < 9; i++ {
		s.h[i] /= n
	}
	return s
}

func times(a, b [3][3]float64) (c [3][3]float64) {
	for i := range 3 {
		for j := range 3 {
			for k := range 3 {
				c[i][j] += a[i][k] * b[k][j]
			}
		}
	}
	return c
}

// camera takes a point of the plane's own frame, with z away from its face,
// to the camera's frame.
func (s stance) camera(x, y, z float64) vec {
	var out vec
	for i := range 3 {
		out[i] = s.r[i][0]*x + s.r[i][1]*y + s.r[i][2]*z + s.t[i]
	}
	return out
}

// finderOf is a finder over an empty photo of a size and a focal length, for
// what needs no pixels.
func finderOf(w, h int, focal float64) *finder {
	return &finder{photo: &photo.Photo{Width: w, Height: h, FocalPx: focal}, par: DefaultParams()}
}

// decoded passes a picture through a lossless file, as every photo comes.
func decoded(t testing.TB, m *image.Gray) *photo.Photo {
	t.Helper()
	mat, err := gocv.NewMatFromBytes(m.Rect.Dy(), m.Rect.Dx(), gocv.MatTypeCV8U, m.Pix)
	if err != nil {
		t.Fatal(err)
	}
	defer mat.Close()
	buf, err := gocv.IMEncodeWithParams(gocv.PNGFileExt, mat, []int{gocv.IMWritePngCompression, 1})
	if err != nil {
		t.Fatal(err)
	}
	defer buf.Close()
	p, err := photo.Decode(buf.GetBytes(), photo.DefaultLimits())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { p.Close() })
	return p
}

// drawn makes a picture from the plane's linear light at a point in mm, seen
// through h: n x n samples a pixel, a lens that smears by a Gaussian of
// standard deviation soft px, then the sRGB curve.
func drawn(w, h, n int, soft float64, mmToPx Homography, light func(x, y float64) float64) *image.Gray {
	inv := mmToPx.Inverse()
	lin := make([]float32, w*h)
	for j := range h {
		for i := range w {
			sum := 0.0
			for b := range n {
				for a := range n {
					x, y := inv.Apply(float64(i)+(float64(a)+0.5)/float64(n)-0.5, float64(j)+(float64(b)+0.5)/float64(n)-0.5)
					sum += light(x, y)
				}
			}
			lin[j*w+i] = float32(sum / float64(n*n))
		}
	}
	if soft > 0 {
		lin = smeared(smeared(lin, w, h, 1, w, soft), h, w, w, 1, soft)
	}
	m := image.NewGray(image.Rect(0, 0, w, h))
	for i, l := range lin {
		v := float64(l)
		if v <= 0.0031308 { // IEC 61966-2-1
			v *= 12.92
		} else {
			v = 1.055*math.Pow(v, 1/2.4) - 0.055
		}
		m.Pix[i] = uint8(math.Round(255 * v))
	}
	return m
}

// smeared convolves lines of n values, step apart, with a Gaussian; the lines
// start next apart, of which there are m.
func smeared(v []float32, n, m, step, next int, sd float64) []float32 {
	reach := int(math.Ceil(4 * sd))
	k := make([]float32, 2*reach+1)
	for i := range k {
		d := float64(i - reach)
		k[i] = float32(math.Exp(-d*d/2/sd/sd) / sd / math.Sqrt(2*math.Pi))
	}
	out := make([]float32, len(v))
	for l := range m {
		for i := range n {
			var sum, all float32
			for d := -reach; d <= reach; d++ {
				if c := i + d; c >= 0 && c < n {
					sum += k[d+reach] * v[l*next+c*step]
					all += k[d+reach]
				}
			}
			out[l*next+i*step] = sum / all
		}
	}
	return out
}

// A board is a checkered print in linear light: black squares 0.05, white
// ones and the margin 0.8, around it a wall of 0.3.
type board struct {
	cols, rows     int
	square, margin float64 // mm
}

func (b board) light(x, y float64) float64 {
	hw, hh := float64(b.cols)/2*b.square, float64(b.rows)/2*b.square
	switch {
	case math.Abs(x) > hw+b.margin || math.Abs(y) > hh+b.margin:
		return 0.3
	case math.Abs(x) > hw || math.Abs(y) > hh:
		return 0.8
	}
	if (int(math.Floor((x+hw)/b.square))+int(math.Floor((y+hh)/b.square)))%2 == 0 {
		return 0.05
	}
	return 0.8
}
