package api

import (
	"image"
	"image/color"
	"image/jpeg"
	"os"
	"path/filepath"
	"testing"

	"github.com/disintegration/imaging"

	"nodespan/assess"
)

// spoilt writes a photo of testdata with something done to it.
func spoilt(t *testing.T, name string, do func(image.Image) image.Image) string {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "testdata", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	img, err := jpeg.Decode(f)
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "spoilt.jpg")
	out, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer out.Close()
	if do != nil {
		img = do(img)
	}
	if err := jpeg.Encode(out, img, &jpeg.Options{Quality: 92}); err != nil {
		t.Fatal(err)
	}
	return path
}

// What the phone itself sees of a photo, without the service: the photos of
// testdata as they are, and blurred, darkened and burnt out.
func TestBrowserPhoneLooksByItself(t *testing.T) {
	blur := func(sd float64) func(image.Image) image.Image {
		return func(img image.Image) image.Image { return imaging.Blur(img, sd) }
	}
	// A hand that moved along the row by some ten pixels.
	moved := func(img image.Image) image.Image {
		for range 3 {
			img = imaging.Convolve5x5(img, [25]float64{10: 1, 11: 1, 12: 1, 13: 1, 14: 1}, &imaging.ConvolveOptions{Normalize: true})
		}
		return img
	}
	light := func(f float64) func(image.Image) image.Image {
		return func(img image.Image) image.Image {
			return imaging.AdjustFunc(img, func(c color.NRGBA) color.NRGBA {
				g := func(v uint8) uint8 { return uint8(min(255, float64(v)*f)) }
				return color.NRGBA{g(c.R), g(c.G), g(c.B), c.A}
			})
		}
	}
	r := newRig(t)
	r.block()
	b := openTab(t, r, sizes[0])
	b.signIn("Ada")
	b.visit("/blocks/1/4/8/photo")
	b.until(`document.body.dataset.ready === 'yes'`)
	for _, c := range []struct {
		photo     string
		do        func(image.Image) image.Image
		of, state string
	}{
		{"raytraced/d01.jpg", nil, "sharp", "good"},
		{"raytraced/d07.jpg", nil, "sharp", "good"},
		{"photos/grass-sun.jpg", nil, "sharp", "good"},
		{"photos/grass-dusk.jpg", nil, "sharp", "good"},
		{"photos/white-sun.jpg", nil, "sharp", "good"},
		{"photos/blue-sun.jpg", nil, "sharp", "good"},
		{"raytraced/d01.jpg", moved, "sharp", "change"},
		{"raytraced/d02.jpg", moved, "sharp", "change"},
		{"raytraced/d01.jpg", blur(3), "sharp", "change"},
		{"raytraced/d07.jpg", blur(3), "sharp", "change"},
		{"photos/grass-sun.jpg", blur(3), "sharp", "change"},
		{"photos/white-sun.jpg", blur(3), "sharp", "change"},
		{"raytraced/d01.jpg", nil, "light", "good"},
		{"photos/grass-dusk.jpg", nil, "light", "good"},
		{"photos/blue-sun.jpg", nil, "light", "good"},
		{"photos/white-sun.jpg", nil, "light", "good"},
		{"raytraced/d01.jpg", light(0.35), "light", "change"},
		{"raytraced/d01.jpg", light(2.5), "light", "change"},
	} {
		b.takes(spoilt(t, c.photo, c.do))
		got := valueOf[string](b, `document.querySelector('#looked [data-of=`+c.of+`]')?.className || 'nothing'`)
		t.Logf("%s %s: %s %s", c.photo, c.of, got, valueOf[string](b, `JSON.stringify(document.querySelector('#looked').dataset)`))
		if got != c.state {
			t.Errorf("%s, spoilt %v: %s is %s, want %s", c.photo, c.do != nil, c.of, got, c.state)
		}
	}
	// A photo that isn't whole is told from one of a kind that this browser can't
	// read, which the service may.
	whole, err := os.ReadFile("../testdata/raytraced/d01.jpg")
	if err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string]string{"cut.jpg": "change", "other.heic": "unknown"} {
		path := filepath.Join(t.TempDir(), name)
		if err := os.WriteFile(path, whole[:len(whole)/3], 0o600); err != nil {
			t.Fatal(err)
		}
		b.takes(path)
		if got := valueOf[string](b, `document.querySelector('#looked [data-of=photo]')?.className || 'nothing'`); got != want {
			t.Errorf("%s: %q, want %q", name, got, want)
		}
		b.shot("look-" + name)
	}
	b.clean()
}

// What is to be changed stands first, with a sign that isn't colour alone, and
// in few words.
func TestBrowserLookTellsWhatToChange(t *testing.T) {
	for _, z := range sizes {
		t.Run(z.name, func(t *testing.T) {
			r := newRig(t)
			r.block()
			r.measurer.seen = []assess.LookPoint{
				{Of: "reference", State: assess.LookGood, Say: "reference"}, {Of: "size", State: assess.LookChange, Say: "step_back"},
				{Of: "light", State: assess.LookChange, Say: "card_shade"}, {Of: "wire", State: assess.LookGood, Say: "wire"},
				{Of: "room", State: assess.LookGood, Say: "room"}, {Of: "background", State: assess.LookChange, Say: "background_busy"},
			}
			b := openTab(t, r, z)
			b.signIn("Ada")
			b.visit("/blocks/1/4/8/photo")
			b.until(`document.body.dataset.ready === 'yes'`)
			b.takes(writeVine(t))
			b.shot("look-change")
			got := valueOf[[]string](b, `[...document.querySelectorAll('#looked li')].map((e) => e.innerText.replace(/\s+/g, ' ').trim())`)
			want := []string{"! Step back one pace", "! Card is in shade", "! Hang a sheet behind vine"}
			for i, w := range want {
				if i >= len(got) || got[i] != w {
					t.Fatalf("said %q, want first %q", got, want)
				}
			}
			b.clean()
		})
	}
}

// What the look says, however much it is, moves nothing that a thumb is on its
// way to.
func TestBrowserLookMovesNoButton(t *testing.T) {
	m := &keptMeasurer{seen: []assess.LookPoint{
		{Of: "reference", State: assess.LookChange, Say: "card_shade"}, {Of: "distance", State: assess.LookChange, Say: "step_back"},
		{Of: "wire", State: assess.LookChange, Say: "show_wire"}, {Of: "background", State: assess.LookChange, Say: "background_busy"},
	}}
	r := rigOn(t, filepath.Join(t.TempDir(), "data"), m, Limits{})
	r.block()
	for _, z := range sizes {
		b := openTab(t, r, z)
		b.signIn("Ada")
		b.visit("/blocks/1/4/8/photo")
		b.until(`document.body.dataset.ready === 'yes'`)
		valueOf[bool](b, `(() => { window.tops = []; const look = () => { const r = document.querySelector('#send').getBoundingClientRect(); if (r.height) window.tops.push(r.top); requestAnimationFrame(look); }; look(); return true; })()`)
		b.takes(anotherPhoto(t, "moving"))
		b.until(`document.querySelectorAll('#looked li').length >= 5 && document.querySelector('#preview').complete`)
		if n := valueOf[int](b, `window.tops.length`); n < 3 {
			t.Fatalf("looked at %d times", n)
		}
		if by := valueOf[float64](b, `Math.max(...window.tops) - Math.min(...window.tops)`); by > 1 {
			t.Errorf("%s: the button moved by %.0f px", z.name, by)
		}
		// On a phone what is said is in sight with the button.
		if !valueOf[bool](b, `document.querySelector('#looked').getBoundingClientRect().bottom <= innerHeight`) {
			t.Errorf("%s: what the look says is out of sight", z.name)
		}
		b.shot("looked")
	}
}
