package main

import (
	"bytes"
	"image/jpeg"

	"nodespan/vision/render"
	"nodespan/vision/truth"
)

// The invented estate. None of its places and people exists.

var demoPeople = []string{demoTrainer, "Jon (invented)"}

// demoGuest is whoever looks around, in the role of the estate's manager.
const demoGuest = "Visitor"

var demoBlocks = []struct {
	name, form  string
	rows, vines int
}{
	{"Mill slope", "four-cane", 14, 42},
	{"Upper terrace", "two-cane", 8, 25},
	{"Chapel field", "one-cane-and-spur", 22, 60},
}

// How far the ruling on a photo has come.
type demoRuled int

const (
	none   demoRuled = iota
	some             // half of the canes
	all              // every cane
	chosen           // every cane, and a choice
)

type demoPhoto struct {
	block      string
	row, vine  int
	lastWinter bool
	seed       uint64
	with       render.Options
	by         string
	ruled      demoRuled
	aside      bool // a second photo from a step aside comes with it
}

// widthPx of the drawn photos: enough to measure by, quick to draw.
const widthPx = 2000

var demoPhotos = []demoPhoto{
	{"Mill slope", 4, 7, false, 11, render.Options{Background: render.WhiteSheet, Light: render.Overcast, Reference: "card", Blur: "none"}, demoPeople[0], none, false},
	{"Mill slope", 4, 7, true, 12, render.Options{Background: render.WhiteSheet, Light: render.Overcast, Reference: "card", Blur: "none"}, demoPeople[0], chosen, false},
	{"Upper terrace", 2, 3, false, 13, render.Options{Background: render.BlueSheet, Light: render.Overcast, Reference: "card", Blur: "none"}, demoPeople[1], chosen, true},
	{"Mill slope", 4, 8, false, 14, render.Options{Background: render.SkyGrass, Light: render.Overcast, Reference: "card", Blur: "none"}, demoPeople[0], some, false},
	{"Chapel field", 1, 1, false, 15, render.Options{Background: render.WhiteSheet, Light: render.Overcast, Reference: "bar", Blur: "none"}, demoPeople[1], none, false},
	{"Upper terrace", 2, 4, false, 16, render.Options{Background: render.SkyGrass, Light: render.Overcast, Reference: "none", Blur: "none"}, demoPeople[1], none, false},
	{"Chapel field", 1, 2, true, 17, render.Options{Background: render.BlueSheet, Light: render.Sun, Reference: "card", Blur: "none"}, demoPeople[0], all, false},
	{"Upper terrace", 2, 5, false, 18, render.Options{Background: render.WhiteSheet, Light: render.Overcast, Reference: "card", Blur: "none"}, demoPeople[1], none, false},
}

// draw renders the photo as a camera would send it, from the first place or from
// a step aside (2), and tells what was drawn.
func (d demoPhoto) draw(stance int) ([]byte, *truth.Photo, error) {
	d.with.Width, d.with.Stance = widthPx, stance
	p := render.Random(d.seed, d.with)
	img, drawn, err := render.Draw(p)
	if err != nil {
		return nil, nil, err
	}
	var out bytes.Buffer
	err = jpeg.Encode(&out, img, &jpeg.Options{Quality: p.JPEGQuality})
	return out.Bytes(), drawn, err
}
