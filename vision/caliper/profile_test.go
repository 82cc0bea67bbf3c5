package caliper_test

import (
	"bytes"
	"context"
	"encoding/json"
	"image"
	"image/color"
	"image/png"
	"math"
	"os"
	"testing"

	"nodespan/assess"
	"nodespan/vision/caliper"
	"nodespan/vision/photo"
	"nodespan/vision/scale"
	"nodespan/vision/trace"
)

// bar is the drawing of testdata/skimage_width.py: a bar that tapers evenly.
var bar = struct{ ax, ay, bx, by, w0, w1 float64 }{60, 550, 180, 50, 18, 10}

// drawBar draws it light on dark, each pixel by 8 x 8 sub-samples, blurred by
// nothing but the pixel itself, in linear light.
func drawBar(t *testing.T) *photo.Photo {
	t.Helper()
	const n, sub = 600, 8
	length := math.Hypot(bar.bx-bar.ax, bar.by-bar.ay)
	ux, uy := (bar.bx-bar.ax)/length, (bar.by-bar.ay)/length
	img := image.NewGray(image.Rect(0, 0, n, n))
	for y := range n {
		for x := range n {
			in := 0
			for k := range sub * sub {
				dx, dy := (float64(k%sub)+0.5)/sub-0.5, (float64(k/sub)+0.5)/sub-0.5
				px, py := float64(x)+dx-bar.ax, float64(y)+dy-bar.ay
				s, v := px*ux+py*uy, -px*uy+py*ux
				if s >= 0 && s <= length && math.Abs(v) <= (bar.w0+(bar.w1-bar.w0)*s/length)/2 {
					in++
				}
			}
			l := 0.05 + 0.5*float64(in)/(sub*sub)
			c := 1.055*math.Pow(l, 1/2.4) - 0.055 // IEC 61966-2-1
			img.SetGray(x, y, color.Gray{Y: uint8(math.Round(255 * c))})
		}
	}
	var b bytes.Buffer
	if err := png.Encode(&b, img); err != nil {
		t.Fatal(err)
	}
	p, err := photo.Decode(b.Bytes(), photo.DefaultLimits())
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// TestAgainstScikitImage: the same bar, measured here and by scikit-image's
// medial axis (testdata/skimage_width.json, made by skimage_width.py beside it
// with version 0.19.3, the one in Debian 12). The two must agree within a
// quarter of a pixel: the drawing that scikit-image saw was eight times as
// large, so that its own rounding is an eighth.
func TestAgainstScikitImage(t *testing.T) {
	raw, err := os.ReadFile("testdata/skimage_width.json")
	if err != nil {
		t.Fatal(err)
	}
	var want struct {
		Widths []struct {
			Share   float64 `json:"share"`
			WidthPx float64 `json:"width_px"`
		} `json:"widths"`
	}
	if err := json.Unmarshal(raw, &want); err != nil {
		t.Fatal(err)
	}
	if len(want.Widths) != 9 {
		t.Fatalf("want 9 widths in the file, got %d", len(want.Widths))
	}
	p := drawBar(t)
	defer p.Close()
	// One pixel is one millimetre, by two marks at the picture's edges.
	m, _, err := scale.Find(context.Background(), p, &assess.Marks{A: assess.Point{50, 300}, B: assess.Point{550, 300}, DistanceMM: 500}, scale.DefaultParams())
	if err != nil {
		t.Fatal(err)
	}
	line := &trace.Line{}
	for i := range 61 {
		s := float64(i) / 60
		line.Points = append(line.Points, assess.Point{bar.ax + s*(bar.bx-bar.ax), bar.ay + s*(bar.by-bar.ay)})
		line.Width = append(line.Width, 13)
		line.Seen = append(line.Seen, true)
	}
	// The bar is a flat drawing with an even edge: no highlights to unroll.
	par := caliper.DefaultParams()
	par.Shoulder = 0
	prof, err := caliper.Measure(context.Background(), p, m, line, nil, nil, par)
	if err != nil {
		t.Fatal(err)
	}
	length := math.Hypot(bar.bx-bar.ax, bar.by-bar.ay)
	for _, w := range want.Widths {
		sum, n := 0.0, 0.0
		for _, s := range prof.Stations {
			along := ((s.Px[0]-bar.ax)*(bar.bx-bar.ax) + (s.Px[1]-bar.ay)*(bar.by-bar.ay)) / length
			if s.U > 0 && math.Abs(along-w.Share*length) < 10 {
				sum += s.DiameterMM
				n++
			}
		}
		if n < 3 {
			t.Errorf("at %.1f of the bar: only %.0f readings", w.Share, n)
			continue
		}
		if off := sum/n - w.WidthPx; math.Abs(off) > 0.25 {
			t.Errorf("at %.1f of the bar: scikit-image has %.3f px, here %.3f", w.Share, w.WidthPx, sum/n)
		}
	}
}
