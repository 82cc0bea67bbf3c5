package wood_test

import (
	"math"
	"testing"

	"nodespan/vision/photo"
	"nodespan/vision/wood"
)

// field makes a green picture with noise in brightness, and two upright brown
// bands on it, of which only the first is shown to the learner.
func field(t *testing.T, w, h int) *photo.Photo {
	t.Helper()
	pix := make([]uint8, 3*w*h)
	seed := uint32(7)
	for y := range h {
		for x := range w {
			seed = seed*1664525 + 1013904223
			n := int(seed>>24)%40 - 20
			b, g, r := 40, 100+n, 70+n // grass
			if x >= 50 && x < 62 || x >= 150 && x < 158 {
				b, g, r = 60+n/4, 100+n/4, 150+n/4 // bark, as bright as the grass
			}
			k := 3 * (y*w + x)
			pix[k], pix[k+1], pix[k+2] = uint8(b), uint8(g), uint8(r)
		}
	}
	p, err := photo.Blank(w, h)
	if err != nil {
		t.Fatal(err)
	}
	copy(p.Pix(), pix)
	return p
}

// TestLearn: from one band the other is recognised, and grass isn't.
func TestLearn(t *testing.T) {
	p := field(t, 220, 400)
	defer p.Close()
	var q wood.Piece
	for y := 10.0; y < 390; y += 4 {
		q.X, q.Y, q.Width = append(q.X, 55.5), append(q.Y, y), append(q.Width, 12)
	}
	like, ok := wood.Learn(p, []wood.Piece{q}, wood.DefaultLearnParams())
	if !ok {
		t.Fatal("want something learned from a band of 380 px")
	}
	mean := func(x float64) float64 {
		s := 0.0
		for y := 20.0; y < 380; y += 3 {
			s += like.At(x, y) / 120
		}
		return s
	}
	for _, c := range []struct {
		name string
		x    float64
		wood bool
	}{{"the band learned from", 55, true}, {"the other band", 153, true}, {"grass between", 105, false}, {"grass beside", 200, false}} {
		if m := mean(c.x); c.wood && m < 1 || !c.wood && m > -1 {
			t.Errorf("%s: log odds %.2f", c.name, m)
		}
	}
	if got := like.At(-5, 10); got != 0 {
		t.Errorf("outside of the picture: want 0, got %v", got)
	}
}

// TestLearnTooLittle: a scrap of wood teaches nothing.
func TestLearnTooLittle(t *testing.T) {
	p := field(t, 220, 400)
	defer p.Close()
	if _, ok := wood.Learn(p, []wood.Piece{{X: []float64{55, 55}, Y: []float64{100, 104}, Width: []float64{12, 12}}}, wood.DefaultLearnParams()); ok {
		t.Error("want nothing learned from a few pixels")
	}
	if _, ok := wood.Learn(p, nil, wood.DefaultLearnParams()); ok {
		t.Error("want nothing learned from nothing")
	}
}

// TestOddsRange: the odds of a value go from minus to plus the bound.
func TestOddsRange(t *testing.T) {
	p := field(t, 220, 400)
	defer p.Close()
	var q wood.Piece
	for y := 10.0; y < 390; y += 4 {
		q.X, q.Y, q.Width = append(q.X, 55.5), append(q.Y, y), append(q.Width, 12)
	}
	par := wood.DefaultLearnParams()
	like, ok := wood.Learn(p, []wood.Piece{q}, par)
	if !ok {
		t.Fatal("nothing learned")
	}
	if a, b := like.Odds(0), like.Odds(255); math.Abs(a+par.Reach) > 1e-9 || math.Abs(b-par.Reach) > 1e-9 {
		t.Errorf("want -%v to %v, got %v to %v", par.Reach, par.Reach, a, b)
	}
}

// TestContrast: before ground that passes through the bark's own colour, a band
// differs from what is beside it, which speaks for it where its colour speaks
// for the soil.
func TestContrast(t *testing.T) {
	const w, h = 320, 400
	pix := make([]uint8, 3*w*h)
	seed := uint32(11)
	for y := range h {
		for x := range w {
			seed = seed*1664525 + 1013904223
			v := 70 + x/4 + int(seed>>24)%16 - 8 // soil, brighter to the right
			if x%100 >= 50 && x%100 < 62 {
				v -= 22 // bands of bark, each darker than the soil about it
			}
			k := 3 * (y*w + x)
			pix[k], pix[k+1], pix[k+2] = uint8(v*6/10), uint8(v*8/10), uint8(v)
		}
	}
	p, err := photo.Blank(w, h)
	if err != nil {
		t.Fatal(err)
	}
	copy(p.Pix(), pix)
	defer p.Close()
	var q wood.Piece
	for _, x := range []float64{55.5, 255.5} {
		for y := 10.0; y < 390; y += 4 {
			q.X, q.Y, q.Width = append(q.X, x), append(q.Y, y), append(q.Width, 12)
		}
	}
	known, ok := wood.ColoursOf(p, 90, wood.DefaultLearnParams()).Learn([]wood.Piece{q})
	if !ok {
		t.Fatal("want something learned from two bands")
	}
	// How much more the band that wasn't shown looks like wood than the soil of
	// its own colour does.
	apart := func(l *wood.Likeness) float64 {
		s := 0.0
		for y := 20.0; y < 380; y += 3 {
			s += (l.At(155, y) - (l.At(85, y)+l.At(115, y))/2) / 120
		}
		return s
	}
	both, colour := apart(known.Likeness()), apart(known.ByColour())
	if both < colour+1 {
		t.Errorf("want contrast to speak for the band: %.2f with it, %.2f by colour alone", both, colour)
	}
}
