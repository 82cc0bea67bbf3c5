package render

import (
	"fmt"
	"math"
	"math/rand/v2"

	"nodespan/assess"
)

// Options fix what Random would otherwise draw. Zero fields are drawn.
type Options struct {
	Kind       Kind       // Vine when empty
	Width      int        // px, 2000 when 0; the height is three quarters of it
	Background Background //
	Light      Light      //
	// Reference is "card", "bar", "none", "tilted", "rotated" or "hidden"; empty
	// draws a card mostly, sometimes a bar, seldom none or one of the hard ones.
	Reference   string
	Blur        string  // "none", "defocus" or "motion"
	Canes       int     // of the middle vine
	Rods        []Rod   // of kind Rods
	JPEGQuality int     // 1 to 100
	TruthStepMM float64 // see Params
	// Clean leaves out noise, blur, sharpening and lens distortion, and looks
	// straight at the wire plane: for tests of one thing at a time.
	Clean bool
	// Stance is 0 or 1 for the photo itself, 2 and more for the same vine from
	// another place each, with the card left where it hangs.
	Stance int
}

// source gives an independent stream of random numbers for one purpose, so
// that a change of one part leaves the others as they were.
func source(seed uint64, purpose uint64) *rand.Rand { return rand.New(rand.NewPCG(seed, purpose)) }

func between(r *rand.Rand, lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }

// Random draws a photo's Params from a seed, within the ranges that the
// measuring chain must cope with: distance 1.2 to 2.2 m, yaw and pitch to 12
// degrees, 55 to 75 degrees across, k1 within 0.03 of none.
func Random(seed uint64, o Options) Params {
	r := source(seed, 1)
	p := Params{
		Name: fmt.Sprintf("r%04d", seed), Seed: seed, Kind: o.Kind, Width: o.Width,
		HFOVDeg: between(r, 55, 75), K1: between(r, -0.03, 0.03),
		DistanceMM: between(r, 1200, 2200), RollDeg: between(r, -2.5, 2.5),
		YawDeg: between(r, -12, 12), PitchDeg: between(r, -12, 6),
		LowerWireMM:  between(r, 740, 860),
		SheetDepthMM: between(r, 220, 600),
		Light:        pick(r, Overcast, Overcast, Sun, Sun, Dusk),
		Background:   pick(r, WhiteSheet, BlueSheet, SkyGrass, SkyGrass, NextRow, Soil),
		SunElevation: between(r, 12, 38), SunAzimuth: between(r, -75, 75),
		Exposure: between(r, 0.5, 0.75), FullWell: between(r, 2500, 9000), ReadNoise: between(r, 2, 6),
		DefocusPx: between(r, 0.35, 0.9), Sharpening: pick(r, 0, 0, 0.3, 0.6, 0.9),
		JPEGQuality: 75 + r.IntN(21),
		Post:        r.Float64() < 0.25, PostXMM: between(r, 250, 700) * pick(r, -1.0, 1.0),
		Growth: Growth{Canes: [2]int{6, 12}, DiameterMM: [2]float64{4, 15}, InternodeMM: [2]float64{50, 130},
			LeanDeg: 20, DepthMM: 120, ShortNoded: 0.15, Swelling: [2]float64{1.2, 1.5}, ZigZagDeg: 13,
			Tendrils: 0.10, Laterals: 0.10, Ellipticity: 1.07, Neighbours: true, SpacingMM: between(r, 950, 1300)},
	}
	if p.Kind == "" {
		p.Kind = Vine
	}
	if p.Width == 0 {
		p.Width = 2000
	}
	p.Height = p.Width * 3 / 4
	p.UpperWireMM = p.LowerWireMM + between(r, 190, 230)
	p.CatchWiresMM = []float64{p.LowerWireMM + between(r, 420, 480), p.LowerWireMM + between(r, 720, 790)}
	if r.Float64() < 0.15 { // the sun behind the row
		p.SunAzimuth = between(r, 120, 240)
	}
	if o.Background != "" {
		p.Background = o.Background
	}
	if o.Light != "" {
		p.Light = o.Light
	}
	if p.Light == Dusk {
		p.FullWell, p.Exposure = between(r, 500, 1500), between(r, 0.3, 0.5)
	}
	blur := pick(r, "none", "none", "none", "defocus", "motion")
	if o.Blur != "" {
		blur = o.Blur
	}
	px := float64(p.Width) / 2000 // blur goes with the picture's resolution
	switch blur {
	case "defocus":
		p.DefocusPx = between(r, 1, 1.8) * px
	case "motion":
		p.MotionPx, p.MotionDeg = between(r, 2, 5)*px, between(r, 0, 180)
	}
	if o.Canes > 0 {
		p.Growth.Canes = [2]int{o.Canes, o.Canes}
	}
	if o.JPEGQuality > 0 {
		p.JPEGQuality = min(o.JPEGQuality, 100)
	}
	p.Rods, p.TruthStepMM = o.Rods, o.TruthStepMM
	p.Reference = drawReference(r, o.Reference, p)
	if o.Clean {
		p.K1, p.YawDeg, p.PitchDeg, p.RollDeg = 0, 0, 0, 0
		p.DefocusPx, p.MotionPx, p.Sharpening, p.FullWell, p.ReadNoise = 0, 0, 0, 0, 0
	}
	p.aim(r)
	if o.Kind == Rods || o.Kind == CardOnly {
		p.Post = false
	}
	if o.Stance > 1 {
		p.step(source(seed, 100+uint64(o.Stance)), o)
		p.Name = fmt.Sprintf("%s-%d", p.Name, o.Stance)
	}
	return p
}

// aim places the camera so that it looks at the head from where yaw and pitch
// leave it: a person steps aside, and turns back to the vine.
func (p *Params) aim(r *rand.Rand) {
	rad := math.Pi / 180
	halfHigh := p.DistanceMM * math.Tan(p.HFOVDeg/2*rad) * float64(p.Height) / float64(p.Width)
	// The lower wire comes to lie in the lower third of the frame.
	look := p.LowerWireMM + halfHigh*between(r, 0.28, 0.5)
	p.CameraZMM = look - p.DistanceMM*math.Tan(p.PitchDeg*rad)
	p.CameraXMM = between(r, -80, 80) - p.DistanceMM*math.Tan(p.YawDeg*rad)
}

// step has the camera go a step aside, and turn back to what it looked at. The
// hand isn't the same either: height, roll and noise differ.
func (p *Params) step(r *rand.Rand, o Options) {
	rad := math.Pi / 180
	v := View{DistanceMM: p.DistanceMM * between(r, 0.94, 1.06), RollDeg: p.RollDeg}
	lookX := p.CameraXMM + p.DistanceMM*math.Tan(p.YawDeg*rad)
	lookZ := p.CameraZMM + p.DistanceMM*math.Tan(p.PitchDeg*rad)
	aside := between(r, 0.15, 0.27) * p.DistanceMM
	if p.CameraXMM-lookX > 0 {
		aside = -aside // to the other side, or it would stand too much askew
	}
	v.CameraXMM, v.CameraZMM = p.CameraXMM+aside, p.CameraZMM+between(r, -60, 60)
	v.YawDeg = math.Atan((lookX-v.CameraXMM)/v.DistanceMM) / rad
	v.PitchDeg = math.Atan((lookZ-v.CameraZMM)/v.DistanceMM) / rad
	if !o.Clean {
		v.RollDeg = between(r, -2.5, 2.5)
	}
	p.From = &v
}

func drawReference(r *rand.Rand, asked string, p Params) Reference {
	kind := pick(r, "card", "card", "card", "card", "card", "card", "bar", "bar", "none", "rotated", "tilted", "hidden")
	if asked != "" {
		kind = asked
	}
	half := p.DistanceMM * math.Tan(p.HFOVDeg/2*math.Pi/180)
	ref := Reference{Kind: CardRef, Cols: 9, Rows: 6, SquareMM: 15, MarginMM: between(r, 15, 20),
		XMM: between(r, 0.25, 0.6) * half * pick(r, -1.0, 1.0), DepthMM: -3,
		TiltDeg: between(r, -4, 4), TurnDeg: between(r, -4, 4), RotateDeg: between(r, -3, 3), WhiteFirst: r.IntN(2) == 0}
	side, turn := pick(r, -1.0, 1.0), between(r, 8, 30)
	switch kind {
	case "bar":
		ref.Kind, ref.Cols, ref.Rows, ref.SquareMM, ref.HeightMM, ref.MarginMM = BarRef, 20, 1, 10, 20, 10
	case "none":
		ref.Kind = NoRef
	case "rotated":
		ref.RotateDeg = side * turn
	case "tilted":
		ref.TiltDeg, ref.TurnDeg = side*between(r, 22, 38), pick(r, -1.0, 1.0)*between(r, 12, 28)
	case "hidden":
		ref.HideFraction = between(r, 0.35, 0.6)
	}
	return ref
}

// Check tells which option isn't known, as an error of code EInvalid, or nil.
func (o Options) Check() error {
	if !known(o.Reference, "", "card", "bar", "none", "rotated", "tilted", "hidden") {
		return assess.Errorf(assess.EInvalid, "there is no reference %q: ask for card, bar, none, rotated, tilted or hidden", o.Reference)
	}
	if !known(o.Blur, "", "none", "defocus", "motion") {
		return assess.Errorf(assess.EInvalid, "there is no blur %q: ask for none, defocus or motion", o.Blur)
	}
	if o.Stance < 0 || o.Stance > 9 {
		return assess.Errorf(assess.EInvalid, "there is no stance %d: ask for 1 to 9", o.Stance)
	}
	if o.Canes < 0 || o.Canes > 60 {
		return assess.Errorf(assess.EInvalid, "a vine of %d canes can't be grown: ask for 1 to 60", o.Canes)
	}
	return Random(1, o).Check()
}

func pick[T any](r *rand.Rand, from ...T) T { return from[r.IntN(len(from))] }

// Check tells what in p can't be drawn, as an error of code EInvalid, or nil.
func (p Params) Check() error {
	switch {
	case p.Width < 64 || p.Height < 64 || p.Width > 12000 || p.Height > 12000:
		return assess.Errorf(assess.EInvalid, "a picture of %d x %d px can't be rendered: sides go from 64 to 12000", p.Width, p.Height)
	case !(p.HFOVDeg >= 5 && p.HFOVDeg <= 120):
		return assess.Errorf(assess.EInvalid, "a field of view of %g degrees can't be rendered: it goes from 5 to 120", p.HFOVDeg)
	case !(p.DistanceMM >= 300 && p.DistanceMM <= 20000):
		return assess.Errorf(assess.EInvalid, "a distance of %g mm can't be rendered: it goes from 300 to 20000", p.DistanceMM)
	case !(math.Abs(p.K1) <= 0.1):
		return assess.Errorf(assess.EInvalid, "a lens distortion k1 of %g can't be rendered: it goes to 0.1 either way", p.K1)
	case !known(p.Kind, Vine, Empty, Rods, CardOnly):
		return assess.Errorf(assess.EInvalid, "there is no scene kind %q: ask for vine, empty, rods or card", p.Kind)
	case !known(p.Background, WhiteSheet, BlueSheet, SkyGrass, NextRow, Soil):
		return assess.Errorf(assess.EInvalid, "there is no background %q: ask for sheet/white, sheet/blue, sky_grass, next_row or soil", p.Background)
	case !known(p.Light, Overcast, Sun, Dusk):
		return assess.Errorf(assess.EInvalid, "there is no light %q: ask for overcast, sun or dusk", p.Light)
	case !known(p.Reference.Kind, NoRef, CardRef, BarRef):
		return assess.Errorf(assess.EInvalid, "there is no reference %q: ask for card, bar or none", p.Reference.Kind)
	}
	return nil
}

func known[T comparable](v T, of ...T) bool {
	for _, k := range of {
		if v == k {
			return true
		}
	}
	return false
}
