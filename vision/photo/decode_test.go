package photo

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"math"
	"os"
	"strings"
	"testing"
	"time"

	"gocv.io/x/gocv"

	"nodespan/assess"
)

// holdsQuarters checks every 7th pixel against the four fields, away from
// their borders, where JPEG rings.
func holdsQuarters(t *testing.T, p *Photo, w, h, tol int) {
	t.Helper()
	if p.Width != w || p.Height != h {
		t.Fatalf("size: want %d x %d, got %d x %d", w, h, p.Width, p.Height)
	}
	if len(p.Pix()) != 3*w*h {
		t.Fatalf("bytes: want %d, got %d", 3*w*h, len(p.Pix()))
	}
	for y := 0; y < h; y += 7 {
		for x := 0; x < w; x += 7 {
			if abs(x-w/2) < 17 || abs(y-h/2) < 17 {
				continue
			}
			want := quarterAt(x, y, w, h)
			got := p.Pix()[3*(y*w+x):]
			if abs(int(got[2])-int(want.R)) > tol || abs(int(got[1])-int(want.G)) > tol || abs(int(got[0])-int(want.B)) > tol {
				t.Fatalf("at %d, %d: want %v, got red %d green %d blue %d", x, y, want, got[2], got[1], got[0])
			}
		}
	}
}

func abs(v int) int { return max(v, -v) }

func TestRefusesWhatIsNoPhoto(t *testing.T) {
	good := asJPEG(t, quartered(640, 480))
	goodPNG := asPNG(t, quartered(640, 480))
	noisy := image.NewGray(image.Rect(0, 0, 640, 480)) // a large PNG, so that half of it lacks pixels
	for i := range noisy.Pix {
		noisy.Pix[i] = byte(i * i >> 7)
	}
	noisyPNG := asPNG(t, noisy)
	small := DefaultLimits()
	small.MaxBytes = 1000
	for _, c := range []struct {
		name string
		data []byte
		lim  Limits
		code string
		says string // part of the sentence that tells what to do
	}{
		{"zero bytes", nil, DefaultLimits(), assess.EInvalid, "copy the photo again"},
		{"text renamed .jpg", []byte("Dear vine, this is no picture.\n"), DefaultLimits(), assess.EInvalid, "no JPEG, PNG or WebP"},
		{"one byte", []byte{0xFF}, DefaultLimits(), assess.EInvalid, "no JPEG, PNG or WebP"},
		{"JPEG's start alone", good[:2], DefaultLimits(), assess.EInvalid, "again"},
		{"JPEG cut in half", good[:len(good)/2], DefaultLimits(), assess.EInvalid, "cut off"},
		{"JPEG without its last two bytes", good[:len(good)-2], DefaultLimits(), assess.EInvalid, "cut off"},
		{"JPEG cut in half behind a preview with its own end", withEXIF(good[:len(good)/2], append(tiff(binary.LittleEndian, 1, 0), 0xFF, 0xD8, 0xFF, 0xD9)), DefaultLimits(), assess.EInvalid, "cut off"},
		{"PNG cut in half", noisyPNG[:len(noisyPNG)/2], DefaultLimits(), assess.EInvalid, "again"},
		{"PNG without its last chunks", noisyPNG[:len(noisyPNG)-40], DefaultLimits(), assess.EInvalid, "again"},
		{"PNG header alone", goodPNG[:33], DefaultLimits(), assess.EInvalid, "again"},
		{"PNG bomb 50,000 x 50,000", pngHeader(50_000, 50_000), DefaultLimits(), assess.ETooLarge, "make it smaller"},
		{"PNG that claims a million times a million", pngHeader(1<<20, 1<<20), DefaultLimits(), assess.ETooLarge, "make it smaller"},
		{"PNG that claims more than can be counted", pngHeader(1<<31-1, 1<<31-1), DefaultLimits(), assess.EInvalid, "header can't be read"},
		{"PNG of 640 x 480 without pixels", pngHeader(640, 480), DefaultLimits(), assess.EInvalid, "again"},
		{"1 x 1", asPNG(t, quartered(1, 1)), DefaultLimits(), assess.EInvalid, "at least 480"},
		{"one pixel too small", asJPEG(t, quartered(640, 479)), DefaultLimits(), assess.EInvalid, "at least 480"},
		{"too many bytes", good, small, assess.ETooLarge, "limit"},
	} {
		t.Run(c.name, func(t *testing.T) {
			start := time.Now()
			p, err := Decode(c.data, c.lim)
			if err == nil {
				p.Close()
				t.Fatalf("want a refusal, got a photo of %d x %d", p.Width, p.Height)
			}
			var e *assess.Error
			if !errors.As(err, &e) {
				t.Fatalf("want an assess.Error, got %T %v", err, err)
			}
			if e.Code != c.code || !strings.Contains(err.Error(), c.says) {
				t.Errorf("want code %v and %q in the sentence, got %v, %q", c.code, c.says, e.Code, err)
			}
			if d := time.Since(start); d > 2*time.Second {
				t.Errorf("the refusal took %v", d)
			}
		})
	}
}

// TestEveryCutOfAJPEGIsRefused cuts a file at many places.
func TestEveryCutOfAJPEGIsRefused(t *testing.T) {
	data := asJPEG(t, quartered(640, 480))
	for n := 0; n < len(data); n += 1 + len(data)/300 {
		if p, err := Decode(data[:n], DefaultLimits()); err == nil {
			p.Close()
			t.Fatalf("%d of %d bytes were taken for a whole photo", n, len(data))
		}
	}
}

// TestBytesBehindTheEnd: cameras append previews and depth maps.
func TestBytesBehindTheEnd(t *testing.T) {
	p, err := Decode(append(asJPEG(t, quartered(640, 480)), "something else"...), DefaultLimits())
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	holdsQuarters(t, p, 640, 480, 4)
}

// TestOrientation stores one upright picture in all eight ways and wants it
// back. The table is that of the tag's definition (TIFF 6.0, section 8,
// Orientation; EXIF 2.32, 4.6.4): which side of the picture the stored rows
// begin at (row 0), and which the stored columns (column 0).
func TestOrientation(t *testing.T) {
	const w, h = 640, 496
	for _, o := range []struct {
		value            int
		row0, column0    string
		storedW, storedH int
	}{
		{1, "top", "left", w, h}, {2, "top", "right", w, h},
		{3, "bottom", "right", w, h}, {4, "bottom", "left", w, h},
		{5, "left", "top", h, w}, {6, "right", "top", h, w},
		{7, "right", "bottom", h, w}, {8, "left", "bottom", h, w},
	} {
		stored := image.NewNRGBA(image.Rect(0, 0, o.storedW, o.storedH))
		for r := range o.storedH {
			for c := range o.storedW {
				var x, y int
				for side, k := range map[string]int{o.row0: r, o.column0: c} {
					switch side {
					case "top":
						y = k
					case "bottom":
						y = h - 1 - k
					case "left":
						x = k
					case "right":
						x = w - 1 - k
					}
				}
				stored.SetNRGBA(c, r, quarterAt(x, y, w, h))
			}
		}
		jpg, flat := asJPEG(t, stored), asPNG(t, stored)
		webp := asWebP(t, stored)
		for _, f := range []struct {
			name string
			data []byte
			tol  int
		}{
			{"JPEG, little-endian", withEXIF(jpg, tiff(binary.LittleEndian, o.value, 0)), 4},
			{"JPEG, big-endian", withEXIF(jpg, tiff(binary.BigEndian, o.value, 0)), 4},
			{"PNG", withPNGEXIF(flat, tiff(binary.BigEndian, o.value, 0)), 0},
			{"WebP", withWebPEXIF(webp, tiff(binary.LittleEndian, o.value, 0), o.storedW, o.storedH), 6},
		} {
			t.Run(fmt.Sprintf("%d %s", o.value, f.name), func(t *testing.T) {
				p, err := Decode(f.data, DefaultLimits())
				if err != nil {
					t.Fatal(err)
				}
				defer p.Close()
				holdsQuarters(t, p, w, h, f.tol)
			})
		}
	}
}

// TestDamagedMetadata is no reason to refuse a photo.
func TestDamagedMetadata(t *testing.T) {
	jpg := asJPEG(t, quartered(640, 480))
	whole := tiff(binary.LittleEndian, 6, 28)
	for name, block := range map[string][]byte{
		"orientation 0":           tiff(binary.LittleEndian, 0, 0),
		"orientation 9":           tiff(binary.BigEndian, 9, 0),
		"nothing":                 {},
		"cut off":                 whole[:12],
		"directory beyond end":    append([]byte("II*\x00"), 0xFF, 0xFF, 0xFF, 0x7F),
		"directory at its header": append([]byte("II*\x00"), 0, 0, 0, 0),
		"count without end":       append([]byte("II*\x00\x08\x00\x00\x00\xff\xff"), bytes.Repeat([]byte{0xff}, 60)...),
	} {
		t.Run(name, func(t *testing.T) {
			p, err := Decode(withEXIF(jpg, block), DefaultLimits())
			if err != nil {
				t.Fatal(err)
			}
			defer p.Close()
			holdsQuarters(t, p, 640, 480, 4)
		})
	}
}

// TestFocalLength: 26 mm on the diagonal of a 36 x 24 mm frame (43.267 mm) is
// 26/43.267 of the picture's diagonal (EXIF 2.32, FocalLengthIn35mmFilm).
func TestFocalLength(t *testing.T) {
	for _, orientation := range []int{1, 6} {
		p, err := Decode(withEXIF(asJPEG(t, quartered(800, 600)), tiff(binary.BigEndian, orientation, 26)), DefaultLimits())
		if err != nil {
			t.Fatal(err)
		}
		defer p.Close()
		if want := 26 / math.Hypot(36, 24) * 1000; math.Abs(p.FocalPx-want) > 0.1 {
			t.Errorf("orientation %d: focal length: want %.1f px, got %.1f", orientation, want, p.FocalPx)
		}
	}
	p, err := Decode(asJPEG(t, quartered(800, 600)), DefaultLimits())
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	if p.FocalPx != 0 {
		t.Errorf("without metadata: want 0, got %g", p.FocalPx)
	}
}

// TestCMYK: the four fields, printed colours. See testdata/README.md.
func TestCMYK(t *testing.T) {
	data, err := os.ReadFile("testdata/cmyk.jpg")
	if err != nil {
		t.Fatal(err)
	}
	if c, err := jpeg.DecodeConfig(bytes.NewReader(data)); err != nil || c.ColorModel != color.CMYKModel {
		t.Fatalf("the file isn't CMYK: %v %v", c.ColorModel, err)
	}
	p, err := Decode(data, DefaultLimits())
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	holdsQuarters(t, p, 640, 480, 8)
}

func Test16BitPNG(t *testing.T) {
	const w, h = 640, 480
	m := image.NewNRGBA64(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			c := quarterAt(x, y, w, h)
			m.SetNRGBA64(x, y, color.NRGBA64{R: uint16(c.R)*257 + 90, G: uint16(c.G) * 257, B: uint16(c.B) * 257, A: 0xFFFF})
		}
	}
	p, err := Decode(asPNG(t, m), DefaultLimits())
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	holdsQuarters(t, p, w, h, 1)
}

func TestGreyAndPalettePNG(t *testing.T) {
	pal := image.NewPaletted(image.Rect(0, 0, 640, 480), color.Palette{quarters[0][0], quarters[0][1], quarters[1][0], quarters[1][1]})
	for i := range pal.Pix {
		pal.Pix[i] = uint8(2*(i/640/240) + i%640/320)
	}
	p, err := Decode(asPNG(t, pal), DefaultLimits())
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	holdsQuarters(t, p, 640, 480, 0)

	grey := image.NewGray(image.Rect(0, 0, 640, 480))
	for i := range grey.Pix {
		grey.Pix[i] = 77
	}
	g, err := Decode(asPNG(t, grey), DefaultLimits())
	if err != nil {
		t.Fatal(err)
	}
	defer g.Close()
	if v := g.Pix()[:3]; v[0] != 77 || v[1] != 77 || v[2] != 77 {
		t.Errorf("grey 77 became %v", v)
	}
}

// Test48Megapixels: the largest photo of a usual phone fits the limits, one
// beyond them doesn't.
func Test48Megapixels(t *testing.T) {
	if testing.Short() {
		t.Skip("takes half a gigabyte")
	}
	const w, h = 8000, 6000
	m := image.NewYCbCr(image.Rect(0, 0, w, h), image.YCbCrSubsampleRatio420)
	for y := range h {
		for x := range w {
			m.Y[y*m.YStride+x] = 60
			if x >= w/2 && y >= h/2 {
				m.Y[y*m.YStride+x] = 200
			}
		}
	}
	for i := range m.Cb {
		m.Cb[i], m.Cr[i] = 128, 128
	}
	p, err := Decode(asJPEG(t, m), DefaultLimits())
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	if p.Width != w || p.Height != h {
		t.Fatalf("want %d x %d, got %d x %d", w, h, p.Width, p.Height)
	}
	for _, c := range []struct{ x, y, want int }{{10, 10, 60}, {w - 10, 10, 60}, {10, h - 10, 60}, {w - 10, h - 10, 200}} {
		if got := int(p.Pix()[3*(c.y*w+c.x)]); abs(got-c.want) > 2 {
			t.Errorf("at %d, %d: want %d, got %d", c.x, c.y, c.want, got)
		}
	}
	if _, err := Decode(pngHeader(8001, 8001), DefaultLimits()); err == nil || !strings.Contains(err.Error(), "64 million") {
		t.Errorf("64.02 megapixels: want a refusal that names the limit, got %v", err)
	}
}

// TestLinear: published points of the sRGB curve (IEC 61966-2-1): both ends,
// the linear part by its slope 1/12.92, and middle grey, code 118 = 18.1 %.
func TestLinear(t *testing.T) {
	for _, c := range []struct {
		code      int
		want, tol float64
	}{{0, 0, 0}, {10, 10.0 / 255 / 12.92, 1e-7}, {118, 0.1812, 5e-4}, {255, 1, 0}} {
		if got := float64(Linear[c.code]); math.Abs(got-c.want) > c.tol {
			t.Errorf("code %d: want %g, got %g", c.code, c.want, got)
		}
	}
}

func asWebP(t testing.TB, m *image.NRGBA) []byte {
	t.Helper()
	mat, err := gocv.ImageToMatRGB(m)
	if err != nil {
		t.Fatal(err)
	}
	defer mat.Close()
	buf, err := gocv.IMEncodeWithParams(".webp", mat, []int{gocv.IMWriteWebpQuality, 95})
	if err != nil {
		t.Skipf("this OpenCV writes no WebP: %v", err)
	}
	defer buf.Close()
	return bytes.Clone(buf.GetBytes())
}

// withWebPEXIF wraps a simple WebP file into the extended form with an EXIF
// chunk (RFC 9649, sections 2.7 and 2.7.1.5).
func withWebPEXIF(simple, block []byte, w, h int) []byte {
	part := func(kind string, d []byte) []byte {
		out := append([]byte(kind), binary.LittleEndian.AppendUint32(nil, uint32(len(d)))...)
		out = append(out, d...)
		if len(d)%2 == 1 {
			out = append(out, 0)
		}
		return out
	}
	x := []byte{0x08, 0, 0, 0, byte(w - 1), byte((w - 1) >> 8), 0, byte(h - 1), byte((h - 1) >> 8), 0}
	body := append([]byte("WEBP"), part("VP8X", x)...)
	body = append(append(body, simple[12:]...), part("EXIF", block)...)
	return part("RIFF", body)
}

func TestWebP(t *testing.T) {
	data := asWebP(t, quartered(640, 480))
	p, err := Decode(data, DefaultLimits())
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	holdsQuarters(t, p, 640, 480, 6)
	if q, err := Decode(data[:len(data)*2/3], DefaultLimits()); err == nil {
		q.Close()
		t.Error("two thirds of a WebP file were taken for a photo")
	}
}
