package truth

import (
	"bytes"
	"encoding/base64"
	"html/template"
	"image"
	"image/color"
	"image/draw"
	"image/jpeg"
	"math"
	"os"

	"github.com/disintegration/imaging"

	"nodespan/assess"
)

const (
	cropHigh = 520.0 // px of a crop, at most
	cropPad  = 45.0  // px of the photo around the cane
)

// crop cuts a cane from its photo and draws both lines and node lists over it.
func crop(path string, p Pair) (template.URL, error) {
	f, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer f.Close()
	img, _, err := image.Decode(f)
	if err != nil {
		return "", assess.Errorf(assess.EInvalid, "%s can't be decoded: %w", path, err)
	}
	x0, y0 := math.Floor(p.BoxPx[0]-cropPad), math.Floor(p.BoxPx[1]-cropPad)
	cut := imaging.Crop(img, image.Rect(int(x0), int(y0), int(p.BoxPx[2]+cropPad), int(p.BoxPx[3]+cropPad)))
	if cut.Bounds().Empty() {
		return "", assess.Errorf(assess.EInvalid, "the cane lies outside %s", path)
	}
	x0, y0 = math.Max(x0, 0), math.Max(y0, 0)
	k := math.Min(1, cropHigh/float64(cut.Bounds().Dy()))
	pic := imaging.Resize(cut, int(float64(cut.Bounds().Dx())*k), 0, imaging.Lanczos)
	at := func(q [2]float64) image.Point {
		return image.Pt(int(math.Round((q[0]-x0+0.5)*k-0.5)), int(math.Round((q[1]-y0+0.5)*k-0.5)))
	}
	white, blue := color.NRGBA{255, 255, 255, 255}, color.NRGBA{30, 110, 255, 255}
	for i, q := range p.TrueLine {
		if i%2 == 0 {
			pic.Set(at(q).X, at(q).Y, white)
		}
	}
	for _, q := range p.SaidLine {
		spot(pic, at(q), blue)
	}
	for _, q := range p.TrueNodes {
		ring(pic, at(q), 5, white)
	}
	for _, q := range p.SaidNodes {
		c := at(q)
		for d := -4; d <= 4; d++ {
			pic.Set(c.X+d, c.Y+d, blue)
			pic.Set(c.X+d, c.Y-d, blue)
		}
	}
	var buf bytes.Buffer
	if err := jpeg.Encode(&buf, pic, &jpeg.Options{Quality: 88}); err != nil {
		return "", err
	}
	return template.URL("data:image/jpeg;base64," + base64.StdEncoding.EncodeToString(buf.Bytes())), nil
}

func spot(pic draw.Image, c image.Point, col color.Color) {
	pic.Set(c.X, c.Y, col)
	pic.Set(c.X+1, c.Y, col)
}

func ring(pic draw.Image, c image.Point, r float64, col color.Color) {
	for a := 0.0; a < 2*math.Pi; a += 0.2 {
		pic.Set(c.X+int(math.Round(r*math.Cos(a))), c.Y+int(math.Round(r*math.Sin(a))), col)
	}
}
