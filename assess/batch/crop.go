package batch

import (
	"bytes"
	"encoding/base64"
	"fmt"
	"html/template"
	"image"
	"image/jpeg"
	_ "image/png" // the formats that photos come in
	"math"
	"path/filepath"
	"strings"

	"github.com/disintegration/imaging"
	_ "golang.org/x/image/webp"

	"nodespan/assess"
)

// Of the pictures of single canes.
const (
	cropSide    = 460 // px of the longer side
	cropMargin  = 0.12
	cropQuality = 78
)

// crops makes pictures of single canes with the trace drawn over them. It keeps
// the last photo decoded: canes are asked for photo by photo.
type crops struct {
	folder  string
	upright func(data []byte) ([]byte, error)
	path    string
	img     image.Image
}

// of gives a picture of one cane of a photo as a piece of HTML that needs no
// other file, "" when the photo isn't there any more or can't be decoded here.
func (c *crops) of(path string, cane *assess.Cane) template.HTML {
	if len(cane.CentreLine) < 2 || c.folder == "" {
		return ""
	}
	if c.path != path {
		c.path, c.img = path, nil
		data, err := readPhoto(filepath.Join(c.folder, filepath.FromSlash(path)))
		if err == nil {
			c.img, err = c.decode(data)
		}
		if err != nil {
			c.img = nil
		}
	}
	if c.img == nil {
		return ""
	}
	x0, y0, x1, y1 := math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	for _, p := range cane.CentreLine {
		x0, y0, x1, y1 = min(x0, p[0]), min(y0, p[1]), max(x1, p[0]), max(y1, p[1])
	}
	m := cropMargin*max(x1-x0, y1-y0) + 20
	box := image.Rect(int(x0-m), int(y0-m), int(x1+m), int(y1+m)).Intersect(c.img.Bounds())
	if box.Empty() {
		return ""
	}
	part := imaging.Crop(c.img, box)
	scale := min(1, float64(cropSide)/float64(max(box.Dx(), box.Dy())))
	w, h := max(1, int(float64(box.Dx())*scale)), max(1, int(float64(box.Dy())*scale))
	small := imaging.Resize(part, w, h, imaging.Box)
	var jpg bytes.Buffer
	if err := jpeg.Encode(&jpg, small, &jpeg.Options{Quality: cropQuality}); err != nil {
		return ""
	}
	var line strings.Builder
	at := func(p assess.Point) string {
		return fmt.Sprintf("%.1f,%.1f", (p[0]-float64(box.Min.X)+0.5)*scale, (p[1]-float64(box.Min.Y)+0.5)*scale)
	}
	for i, p := range cane.CentreLine {
		if i%2 == 0 || i == len(cane.CentreLine)-1 {
			line.WriteString(at(p) + " ")
		}
	}
	var dots strings.Builder
	for _, n := range cane.Nodes {
		x, y, _ := strings.Cut(at(n.Px), ",")
		fmt.Fprintf(&dots, `<circle cx="%s" cy="%s" r="3.5"/>`, x, y)
	}
	return template.HTML(fmt.Sprintf(`<svg class="crop" viewBox="0 0 %d %d" width="%d" height="%d" role="img"><image width="%d" height="%d" href="data:image/jpeg;base64,%s"/><polyline class="under" points="%s"/><polyline points="%s"/><g>%s</g></svg>`,
		w, h, w, h, w, h, base64.StdEncoding.EncodeToString(jpg.Bytes()), strings.TrimSpace(line.String()), strings.TrimSpace(line.String()), dots.String()))
}

// decode decodes a photo by whatever was given for it, or here.
func (c *crops) decode(data []byte) (image.Image, error) {
	if c.upright == nil {
		return decode(data)
	}
	jpg, err := c.upright(data)
	if err != nil {
		return nil, err
	}
	return jpeg.Decode(bytes.NewReader(jpg))
}

// decode decodes a photo upright. A hostile file that makes a decoder panic is
// an error like any other.
func decode(data []byte) (img image.Image, err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("the picture can't be decoded: %v", p)
		}
	}()
	conf, _, err := image.DecodeConfig(bytes.NewReader(data))
	if err != nil {
		return nil, err
	}
	if conf.Width*conf.Height > 100_000_000 {
		return nil, assess.Errorf(assess.ETooLarge, "the picture has more than 100 million pixels")
	}
	return imaging.Decode(bytes.NewReader(data), imaging.AutoOrientation(true))
}
