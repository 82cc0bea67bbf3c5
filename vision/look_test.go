package vision

import (
	"image"
	"image/color"
	"os"
	"path/filepath"
	"testing"

	"gocv.io/x/gocv"

	"nodespan/assess"
	"nodespan/vision/photo"
	"nodespan/vision/scale"
)

// copyOf reads a photo of testdata as a phone sends its copy: 1700 px long.
func copyOf(t *testing.T, name string) (gocv.Mat, int) {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("..", "testdata", name))
	if err != nil {
		t.Fatal(err)
	}
	img, err := gocv.IMDecode(data, gocv.IMReadColor)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { img.Close() })
	long := max(img.Cols(), img.Rows())
	if long > 1700 {
		f := 1700 / float64(long)
		gocv.Resize(img, &img, image.Pt(int(float64(img.Cols())*f), int(float64(img.Rows())*f)), 0, 0, gocv.InterpolationArea)
	}
	return img, long
}

func lookAt(t *testing.T, img gocv.Mat, full int) map[string]assess.LookPoint {
	t.Helper()
	buf, err := gocv.IMEncodeWithParams(gocv.JPEGFileExt, img, []int{gocv.IMWriteJpegQuality, 85})
	if err != nil {
		t.Fatal(err)
	}
	defer buf.Close()
	l, err := New("test").Look(t.Context(), buf.GetBytes(), full)
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]assess.LookPoint{}
	for _, p := range l.Points {
		out[p.Of] = p
	}
	return out
}

// Each thing that a pruner can do wrong is said, and nothing else changes by
// it; the photos are those of testdata with that one thing done to them.
func TestLook(t *testing.T) {
	cut := func(img gocv.Mat, r image.Rectangle) gocv.Mat {
		part := img.Region(r)
		defer part.Close()
		return part.Clone()
	}
	for _, c := range []struct {
		name, photo string
		do          func(gocv.Mat) gocv.Mat // nil for the photo as it is
		shrink      float64                 // of full, 0 for none
		of, say     string
		state       assess.LookState
	}{
		{"good: the card", "raytraced/d01.jpg", nil, 0, "reference", "reference", assess.LookGood},
		{"good: the distance", "raytraced/d01.jpg", nil, 0, "size", "distance", assess.LookGood},
		{"good: the light", "raytraced/d01.jpg", nil, 0, "light", "light", assess.LookGood},
		{"good: sharp", "raytraced/d01.jpg", nil, 0, "sharp", "sharp", assess.LookGood},
		{"good: the wire", "raytraced/d01.jpg", nil, 0, "wire", "wire", assess.LookGood},
		{"good: room", "raytraced/d01.jpg", nil, 0, "room", "room", assess.LookGood},
		{"good: a sheet behind", "raytraced/d01.jpg", nil, 0, "background", "background", assess.LookGood},
		{"no card", "photos/no-reference.jpg", nil, 0, "reference", "hang_card", assess.LookChange},
		{"half of the card hidden", "photos/card-half-hidden.jpg", nil, 0, "reference", "free_card", assess.LookChange},
		{"grass behind", "photos/grass-sun.jpg", nil, 0, "background", "background_busy", assess.LookChange},
		{"another row behind", "photos/row-behind.jpg", nil, 0, "background", "background_busy", assess.LookChange},
		{"the same photo with few pixels", "raytraced/d01.jpg", nil, 0.5, "size", "full_size", assess.LookChange},
		{"far away", "raytraced/d01.jpg", func(img gocv.Mat) gocv.Mat {
			// Twice as far: half as large, the same surroundings about it.
			out := gocv.NewMat()
			w, h := img.Cols(), img.Rows()
			small := gocv.NewMat()
			defer small.Close()
			gocv.Resize(img, &small, image.Pt(w*55/100, h*55/100), 0, 0, gocv.InterpolationArea)
			gocv.CopyMakeBorder(small, &out, h*22/100, h*22/100, w*22/100, w*22/100, gocv.BorderReplicate, color.RGBA{})
			return out
		}, 0, "size", "step_nearer", assess.LookChange},
		{"too near", "raytraced/d01.jpg", func(img gocv.Mat) gocv.Mat {
			box := cardIn(t, img)
			mid := box.Min.Add(box.Max).Div(2)
			half := image.Pt(box.Dx()*3/2, box.Dx()*3/2)
			part := cut(img, image.Rectangle{Min: mid.Sub(half), Max: mid.Add(half)}.Intersect(image.Rect(0, 0, img.Cols(), img.Rows())))
			gocv.Resize(part, &part, image.Point{}, 2, 2, gocv.InterpolationCubic)
			return part
		}, 0, "size", "step_back", assess.LookChange},
		{"the card in deep shade", "raytraced/d01.jpg", func(img gocv.Mat) gocv.Mat {
			out := gocv.NewMat()
			img.ConvertToWithParams(&out, gocv.MatTypeCV8UC3, 0.4, 0)
			return out
		}, 0, "light", "card_shade", assess.LookChange},
		{"out of focus", "raytraced/d01.jpg", func(img gocv.Mat) gocv.Mat {
			out := gocv.NewMat()
			gocv.GaussianBlur(img, &out, image.Point{}, 2.2, 2.2, gocv.BorderReplicate)
			return out
		}, 0, "sharp", "hold_still", assess.LookChange},
		{"cut off below the card", "raytraced/d01.jpg", func(img gocv.Mat) gocv.Mat {
			return cut(img, image.Rect(0, 0, img.Cols(), cardIn(t, img).Max.Y+cardIn(t, img).Dy()/3))
		}, 0, "room", "aim_lower", assess.LookChange},
		{"cut off above the card", "raytraced/d01.jpg", func(img gocv.Mat) gocv.Mat {
			part := cut(img, image.Rect(0, cardIn(t, img).Min.Y-cardIn(t, img).Dy()/3, img.Cols(), img.Rows()))
			gocv.Resize(part, &part, image.Point{}, 1.4, 1.4, gocv.InterpolationCubic)
			return part
		}, 0, "room", "aim_higher", assess.LookChange},
		{"nothing but the card before a sheet", "raytraced/d01.jpg", func(img gocv.Mat) gocv.Mat {
			out := gocv.NewMatWithSizeFromScalar(gocv.NewScalar(200, 200, 200, 0), img.Rows(), img.Cols(), gocv.MatTypeCV8UC3)
			box := cardIn(t, img).Inset(-cardIn(t, img).Dy() / 3)
			from, to := img.Region(box), out.Region(box)
			defer from.Close()
			defer to.Close()
			from.CopyTo(&to)
			return out
		}, 0, "wire", "show_wire", assess.LookChange},
	} {
		t.Run(c.name, func(t *testing.T) {
			img, full := copyOf(t, c.photo)
			if c.do != nil {
				img = c.do(img)
				defer img.Close()
			}
			if c.shrink > 0 {
				full = int(float64(full) * c.shrink)
			}
			seen := lookAt(t, img, full)
			if p := seen[c.of]; p.Say != c.say || p.State != c.state {
				t.Errorf("said of %s: %q (%s), want %q; all: %v", c.of, p.Say, p.State, c.say, seen)
			}
		})
	}
}

// cardIn is the box of the reference's pattern in a copy.
func cardIn(t *testing.T, img gocv.Mat) image.Rectangle {
	t.Helper()
	buf, err := gocv.IMEncode(gocv.PNGFileExt, img)
	if err != nil {
		t.Fatal(err)
	}
	defer buf.Close()
	return boxOfCard(t, buf.GetBytes())
}

func boxOfCard(t *testing.T, data []byte) image.Rectangle {
	t.Helper()
	p, err := photo.Decode(data, photo.DefaultLimits())
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	m, why, err := scale.Find(t.Context(), p, nil, scale.DefaultParams())
	if err != nil || m == nil {
		t.Fatal(why, err)
	}
	return (&looking{p: p, m: m}).card()
}

// A copy that can't be read is an error with a sentence, and no panic.
func TestLookAtNothing(t *testing.T) {
	for _, data := range [][]byte{nil, []byte("no photo")} {
		if _, err := New("test").Look(t.Context(), data, 0); assess.ErrorCode(err) != assess.EInvalid {
			t.Errorf("%q: %v", data, err)
		}
	}
}
