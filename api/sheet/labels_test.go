package sheet

import (
	"bytes"
	"fmt"
	"image"
	_ "image/png"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"

	"github.com/boombuler/barcode"
	"github.com/makiuchi-d/gozxing"
	multi "github.com/makiuchi-d/gozxing/multi/qrcode"
	"github.com/makiuchi-d/gozxing/qrcode"
)

// codesIn reads all codes of a picture with another's decoder.
func codesIn(t *testing.T, img image.Image) []string {
	t.Helper()
	bits, err := gozxing.NewBinaryBitmapFromImage(img)
	if err != nil {
		t.Fatal(err)
	}
	found, err := multi.NewQRCodeMultiReader().DecodeMultiple(bits, map[gozxing.DecodeHintType]any{gozxing.DecodeHintType_TRY_HARDER: true})
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	for _, f := range found {
		out = append(out, f.GetText())
	}
	slices.Sort(out)
	return out
}

// A code says the address that it was made of, as another's decoder reads it,
// also when a tenth of it is covered.
func TestCode(t *testing.T) {
	for _, address := range []string{"http://127.0.0.1:8417/blocks/1/4/7", "https://vines.example.org:8443/blocks/123456/1999/4999"} {
		code, err := codeOf(address)
		if err != nil {
			t.Fatal(err)
		}
		scaled, err := barcode.Scale(code, 8*code.Bounds().Dx(), 8*code.Bounds().Dx())
		if err != nil {
			t.Fatal(err)
		}
		// On white, with the quiet zone around it.
		n := scaled.Bounds().Dx()
		img := image.NewGray(image.Rect(0, 0, n+64, n+64))
		for y := range n + 64 {
			for x := range n + 64 {
				img.Pix[y*img.Stride+x] = 255
				if (image.Point{x - 32, y - 32}).In(image.Rect(0, 0, n, n)) {
					r, _, _, _ := scaled.At(x-32, y-32).RGBA()
					img.Pix[y*img.Stride+x] = uint8(r >> 8)
				}
			}
		}
		for _, dirt := range []int{0, n * 3 / 10} {
			for y := 32 + n/2; y < 32+n/2+dirt; y++ {
				for x := 32 + n/2; x < 32+n/2+dirt; x++ {
					img.Pix[y*img.Stride+x] = 255
				}
			}
			bits, err := gozxing.NewBinaryBitmapFromImage(img)
			if err != nil {
				t.Fatal(err)
			}
			got, err := qrcode.NewQRCodeReader().Decode(bits, nil)
			if err != nil || got.GetText() != address {
				t.Errorf("%s with %d px of dirt: %v, %v", address, dirt, got, err)
			}
		}
	}
}

// The printed sheets have every label once, with its own address, on as many
// sheets as it takes.
func TestLabelSheets(t *testing.T) {
	for _, c := range []struct {
		paper                string
		labels, first, pages int
	}{{"A4", 20, 18, 2}, {"Letter", 15, 15, 1}} {
		l := Labels{Block: "Mühlhang am Fluss", Row: 12, Paper: c.paper, Say: say(t)}
		var want []string
		for i := range c.labels {
			l.Labels = append(l.Labels, Label{Number: 101 + i, URL: fmt.Sprintf("https://vines.example.org/blocks/3/12/%d", 101+i)})
			want = append(want, l.Labels[i].URL)
		}
		var out bytes.Buffer
		if err := WriteLabels(&out, l); err != nil {
			t.Fatal(err)
		}
		if n := len(pageOf.FindAll(out.Bytes(), -1)); n != c.pages {
			t.Errorf("%d labels on %s take %d sheets, want %d", c.labels, c.paper, n, c.pages)
		}
		folder := os.Getenv("NODESPAN_SHOTS")
		if folder == "" {
			folder = t.TempDir()
		}
		file := filepath.Join(folder, "labels-"+c.paper)
		if err := os.WriteFile(file+".pdf", out.Bytes(), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := exec.LookPath("pdftoppm"); err != nil {
			t.Log("NO PDFTOPPM FOUND (Debian: poppler-utils): THE PRINTED CODES WERE NOT READ BACK")
			continue
		}
		if text, err := exec.Command("pdftoppm", "-r", "150", "-png", file+".pdf", file).CombinedOutput(); err != nil {
			t.Fatalf("%v: %s", err, text)
		}
		pictures, err := filepath.Glob(file + "-*.png")
		if err != nil || len(pictures) != c.pages {
			t.Fatalf("%d pictures, %v", len(pictures), err)
		}
		var got []string
		for _, name := range pictures {
			f, err := os.Open(name)
			if err != nil {
				t.Fatal(err)
			}
			img, _, err := image.Decode(f)
			f.Close()
			if err != nil {
				t.Fatal(err)
			}
			got = append(got, codesIn(t, img)...)
		}
		slices.Sort(got)
		slices.Sort(want)
		if !slices.Equal(got, want) {
			t.Errorf("%s: read %d codes %v, want %d", c.paper, len(got), got, len(want))
		}
	}
}
