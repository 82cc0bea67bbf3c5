package card

import (
	"bytes"
	"encoding/xml"
	"image"
	_ "image/png"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"nodespan/assess"
)

// Sheets: A4 is 210 x 297 mm (ISO 216:2007, table of the A series); Letter is
// 8.5 x 11 in (size A of ANSI/ASME Y14.1), 215.9 x 279.4 mm.
var sheets = map[Paper][2]float64{A4: {210, 297}, Letter: {215.9, 279.4}}

var cases = []struct {
	name      string
	o         Options
	landscape bool
	pw, ph    float64 // pattern, mm
	black     int
}{
	{"card on A4", Options{Paper: A4}, false, 135, 90, 27},
	{"card on Letter", Options{Paper: Letter}, false, 135, 90, 27},
	{"bar on A4", Options{Kind: Bar, Paper: A4}, true, 200, 20, 10},
	{"bar on Letter", Options{Kind: Bar, Paper: Letter}, true, 200, 20, 10},
	{"larger squares", Options{Cols: 7, Rows: 4, SquareMM: 20}, false, 140, 80, 14},
	{"short bar", Options{Kind: Bar, Cols: 12, SquareMM: 12, HeightMM: 25}, false, 144, 25, 6},
}

func draw(t testing.TB, o Options) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := Write(&b, o); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

type svgRect struct{ x, y, w, h float64 }

// parseSVG reads back what a printer would read: the sheet in mm, the black
// rectangles of the pattern, and the lines.
func parseSVG(t testing.TB, data []byte) (sheet [2]float64, view string, rects []svgRect, lines [][5]float64) {
	t.Helper()
	num := func(e xml.StartElement, name string) float64 {
		for _, a := range e.Attr {
			if a.Name.Local == name {
				v, err := strconv.ParseFloat(strings.TrimSuffix(a.Value, "mm"), 64)
				if err != nil {
					t.Fatalf("%s of %s: %v", name, e.Name.Local, err)
				}
				return v
			}
		}
		return 0
	}
	d, group := xml.NewDecoder(bytes.NewReader(data)), ""
	for {
		tok, err := d.Token()
		if err == io.EOF {
			return
		}
		if err != nil {
			t.Fatal(err)
		}
		e, ok := tok.(xml.StartElement)
		if !ok {
			continue
		}
		switch e.Name.Local {
		case "svg":
			for _, a := range e.Attr {
				if (a.Name.Local == "width" || a.Name.Local == "height") && !strings.HasSuffix(a.Value, "mm") {
					t.Errorf("%s=%q has no unit: it must be in mm", a.Name.Local, a.Value)
				}
				if a.Name.Local == "viewBox" {
					view = a.Value
				}
			}
			sheet = [2]float64{num(e, "width"), num(e, "height")}
		case "g":
			group = ""
			for _, a := range e.Attr {
				if a.Name.Local == "id" {
					group = a.Value
				}
			}
		case "rect":
			if group == "pattern" {
				rects = append(rects, svgRect{num(e, "x"), num(e, "y"), num(e, "width"), num(e, "height")})
			}
		case "line":
			lines = append(lines, [5]float64{num(e, "x1"), num(e, "y1"), num(e, "x2"), num(e, "y2"), num(e, "stroke-width")})
		}
	}
}

func near(a, b, tol float64) bool { return math.Abs(a-b) <= tol }

func TestSVGSizes(t *testing.T) {
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			c.o.Format = SVG
			sheet, view, rects, lines := parseSVG(t, draw(t, c.o))
			paper := c.o.Paper
			if paper == "" {
				paper = A4
			}
			want := sheets[paper]
			if c.landscape {
				want[0], want[1] = want[1], want[0]
			}
			if !near(sheet[0], want[0], 1e-6) || !near(sheet[1], want[1], 1e-6) {
				t.Errorf("sheet: want %v mm, got %v", want, sheet)
			}
			var v [4]float64
			for i, f := range strings.Fields(view) {
				v[i], _ = strconv.ParseFloat(f, 64)
			}
			if v != [4]float64{0, 0, sheet[0], sheet[1]} {
				t.Errorf("viewBox %q isn't one unit per mm of %v", view, sheet)
			}
			if len(rects) != c.black {
				t.Errorf("black squares: want %d, got %d", c.black, len(rects))
			}
			x0, y0, x1, y1 := 1e9, 1e9, 0.0, 0.0
			for _, r := range rects {
				x0, y0, x1, y1 = min(x0, r.x), min(y0, r.y), max(x1, r.x+r.w), max(y1, r.y+r.h)
			}
			l, err := Lay(c.o)
			if err != nil {
				t.Fatal(err)
			}
			// An even count of columns ends the top row in white, so the black
			// squares of the bar span one block less.
			wantW := c.pw
			if c.o.Kind == Bar {
				wantW -= rects[0].w
			}
			if !near(x1-x0, wantW, 1e-3) || !near(y1-y0, c.ph, 1e-3) {
				t.Errorf("pattern: want %g x %g mm, got %g x %g", wantW, c.ph, x1-x0, y1-y0)
			}
			if x0 < 0 || y0 < 0 || l.Card.X+l.Card.W > sheet[0] || l.CheckY > sheet[1] {
				t.Errorf("the card leaves the sheet: %+v on %v", l.Card, sheet)
			}
			check := 0
			for _, s := range lines {
				if near(s[2]-s[0], 100, 1e-4) && s[1] == s[3] {
					check++
				}
			}
			if check != 1 {
				t.Errorf("want one check line of exactly 100 mm, got %d", check)
			}
			for _, tx := range l.Texts {
				if tx.Y > sheet[1]-edgeMM {
					t.Errorf("%q is printed below the sheet's printable part (%g of %g mm)", tx.S, tx.Y, sheet[1])
				}
			}
		})
	}
}

// The PDF is rendered by poppler at a known resolution and measured in pixels.
func TestPDFSizes(t *testing.T) {
	if _, err := exec.LookPath("pdftoppm"); err != nil {
		t.Skip("pdftoppm is not installed (Debian package poppler-utils): the PDF's sizes weren't measured")
	}
	const dpi = 254 // 10 pixels per mm
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			c.o.Format = PDF
			dir := t.TempDir()
			in := filepath.Join(dir, "card.pdf")
			if err := os.WriteFile(in, draw(t, c.o), 0o600); err != nil {
				t.Fatal(err)
			}
			if out, err := exec.Command("pdftoppm", "-r", strconv.Itoa(dpi), "-gray", "-png", "-singlefile", in, filepath.Join(dir, "card")).CombinedOutput(); err != nil {
				t.Fatalf("pdftoppm: %v: %s", err, out)
			}
			f, err := os.Open(filepath.Join(dir, "card.png"))
			if err != nil {
				t.Fatal(err)
			}
			defer f.Close()
			img, _, err := image.Decode(f)
			if err != nil {
				t.Fatal(err)
			}
			l, err := Lay(c.o)
			if err != nil {
				t.Fatal(err)
			}
			if w, h := img.Bounds().Dx(), img.Bounds().Dy(); !near(float64(w), l.WidthMM*10, 1.5) || !near(float64(h), l.HeightMM*10, 1.5) {
				t.Errorf("sheet: want %g x %g mm, got %g x %g", l.WidthMM, l.HeightMM, float64(w)/10, float64(h)/10)
			}
			// Darkness (0..1) of a pixel, and its sum along a row: how many
			// pixels of black a scan meets.
			dark := func(x, y int) float64 {
				r, _, _, _ := img.At(x, y).RGBA()
				return 1 - float64(r)/0xffff
			}
			y := int((l.Pattern.Y + 3) * 10)
			var sum, first, last float64
			first = -1
			for x := int(l.Card.X*10) + 5; x < int((l.Card.X+l.Card.W)*10)-5; x++ {
				d := dark(x, y)
				sum += d
				if d > 0.5 {
					if first < 0 {
						first = float64(x)
					}
					last = float64(x + 1)
				}
			}
			blocks := float64((int(math.Round(c.pw/l.Black[0].W)) + 1) / 2)
			if !near(sum, blocks*l.Black[0].W*10, 3) {
				t.Errorf("black met by a scan along the first row: want %g mm, got %g", blocks*l.Black[0].W, sum/10)
			}
			if want := c.pw - boolTo(c.o.Kind == Bar)*l.Black[0].W; !near(last-first, want*10, 1.5) {
				t.Errorf("pattern's width: want %g mm, got %g", want, (last-first)/10)
			}
			first, last = -1, -1
			cy := int(l.CheckY * 10)
			for x := int((l.CheckX1 - 5) * 10); x < int((l.CheckX2+5)*10); x++ {
				if max(dark(x, cy), dark(x, cy-20)) > 0.5 {
					if first < 0 {
						first = float64(x)
					}
					last = float64(x + 1)
				}
			}
			if !near(last-first, 1000, 1.5) {
				t.Errorf("check line: want 100 mm, got %g", (last-first)/10)
			}
		})
	}
}

func boolTo(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

func TestSameOptionsSameBytes(t *testing.T) {
	for _, f := range []Format{PDF, SVG} {
		if !bytes.Equal(draw(t, Options{Format: f}), draw(t, Options{Format: f})) {
			t.Errorf("%s: two cards of the same options differ", f)
		}
	}
}

func TestOptionsThatCannotBeUsed(t *testing.T) {
	for name, o := range map[string]Options{
		"too large for the sheet": {SquareMM: 40},
		"unknown paper":           {Paper: "a5"},
		"unknown kind":            {Kind: "circle"},
		"unknown format":          {Format: "png"},
		"too few squares":         {Cols: 2, Rows: 3},
		"same upside down":        {Cols: 8, Rows: 6},
		"negative size":           {SquareMM: -15},
		"not a number":            {SquareMM: math.NaN()},
		"no white margin":         {MarginMM: 3},
		"bar too long":            {Kind: Bar, Cols: 60},
	} {
		var b bytes.Buffer
		err := Write(&b, o)
		if assess.ErrorCode(err) != assess.EInvalid {
			t.Errorf("%s: want an error with code %q, got %v", name, assess.EInvalid, err)
		}
		if b.Len() > 0 {
			t.Errorf("%s: %d bytes were written before the error", name, b.Len())
		}
	}
}
