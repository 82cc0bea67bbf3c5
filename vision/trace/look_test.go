package trace

import (
	"testing"

	"nodespan/assess"
	"nodespan/vision/photo"
	"nodespan/vision/scale"
)

// A strip on sunlit soil that has lost more red than blue is lit by the sky
// alone: a shadow. One that is as dark and as brown as the soil, or browner, is
// wood in its own shade. That skylight is the bluer follows from Rayleigh's law
// (Lord Rayleigh, Phil. Mag. 41, 1871); the strips' figures are of our own making.
func TestShadowOrDarkCane(t *testing.T) {
	soil := [3]float64{0.26, 0.18, 0.11} // red, green, blue, linear light
	for name, c := range map[string]struct {
		left [3]float64 // share of each that is left
		want string
	}{
		"shadow under a blue sky": {[3]float64{0.27, 0.31, 0.41}, shadow},
		"weak shadow":             {[3]float64{0.52, 0.55, 0.63}, shadow},
		"cane in its own shade":   {[3]float64{0.32, 0.30, 0.32}, ""},
		"redder cane":             {[3]float64{0.45, 0.40, 0.38}, ""},
		"sunlit cane":             {[3]float64{1.9, 1.8, 1.7}, ""},
	} {
		const w, h = 80, 300
		pix := make([]uint8, 3*w*h)
		for i := range w * h {
			strip := i%w >= 36 && i%w < 44
			for ch := range 3 {
				v := soil[ch]
				if strip {
					v *= c.left[ch]
				}
				k := 0
				for k < 255 && float64(photo.Linear[k+1]) <= v {
					k++
				}
				pix[3*i+2-ch] = uint8(k)
			}
		}
		p, err := photo.Blank(w, h)
		if err != nil {
			t.Fatal(err)
		}
		copy(p.Pix(), pix)
		l := Line{}
		for y := 280.0; y > 20; y -= 6 {
			l.Points, l.Width, l.Seen = append(l.Points, assess.Point{39.5, y}), append(l.Width, 8), append(l.Seen, true)
		}
		if got := looksLike(p, &scale.Map{Kind: "marks"}, &l, [3]float64{1, 1, 1}, DefaultParams()); got != c.want {
			t.Errorf("%s: %q, want %q", name, got, c.want)
		}
		if err := p.Close(); err != nil {
			t.Error(err)
		}
	}
}
