package caliper

import (
	"math"
	"testing"
)

// TestShade: a rim in the shade, darker than grass and wood and as wide as 1.8
// px under a blur of 0.6, is found to its outer edge; a plain edge has none, nor
// has one beside which sharpening has darkened the ground.
func TestShade(t *testing.T) {
	lit, shaded, grass := [3]float64{0.40, 0.27, 0.16}, [3]float64{0.10, 0.07, 0.05}, [3]float64{0.15, 0.15, 0.06}
	const sigma = 0.6
	var d []float64
	for x := -2.0; x < 9; x += 0.5 {
		d = append(d, x)
	}
	var ground colours
	for i := range 60 {
		k := 0.02 * (float64(i%7)/3 - 1)
		ground.add([3]float64{grass[0] + k, grass[1] + k, grass[2] + k/2})
	}
	g, cov := ground.moments()
	for p := range 3 {
		for q := range 3 {
			cov[p][q] /= 50
		}
		cov[p][p] += 0.0025 * 0.0025
	}
	inv, ok := invert(cov)
	if !ok {
		t.Fatal("the ground's scatter can't be inverted")
	}
	for _, c := range []struct {
		name  string
		width float64 // of the rim, px
		halo  float64 // share of the step by which sharpening undershoots
		want  float64
	}{{"a rim", 1.8, 0, 1.8}, {"a plain edge", 0, 0, 0}, {"a sharpened edge", 0, 0.08, 0}} {
		mean := make([][3]float64, len(d))
		for k, x := range d {
			in, out := 1-phi(x/sigma), phi((x-c.width)/sigma)
			for ch := range 3 {
				mean[k][ch] = lit[ch]*in + shaded[ch]*(1-in-out) + grass[ch]*out
				mean[k][ch] -= c.halo * (lit[ch] - grass[ch]) * math.Exp(-(x-1)*(x-1))
			}
		}
		got := shadedRim(d, mean, make([]float64, len(d)), g, inv, 3, sigma, DefaultParams())
		if math.Abs(got-c.want) > 0.35 {
			t.Errorf("%s: want %.1f px, got %.2f", c.name, c.want, got)
		}
	}
}
