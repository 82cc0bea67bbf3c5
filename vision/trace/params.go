package trace

// Params are the tunables of this stage. Millimetres are on the wire plane.
type Params struct {
	// MinWidthMM and MaxWidthMM bound what is followed as a ribbon. Thinner
	// are tendrils and far rows, thicker is the trunk. Default 2 and 26 mm.
	MinWidthMM, MaxWidthMM float64
	// WindowMM is the length over which cross-sections are averaged while
	// following. Longer sees through more clutter and follows bends less
	// well. Default 14 mm, at least 14 px.
	WindowMM float64
	// StepMM is how far each step goes. Default 6 mm.
	StepMM float64
	// MinContrast is how many times the clutter's typical gradient both edges
	// must have. Larger follows less through clutter. Default 3.
	MinContrast float64
	// MinEdge is the smallest gradient of an edge, grey levels per pixel.
	MinEdge float64
	// MinColour is how much farther the wood's colour must be from both sides
	// than from its own colour so far, to follow it where no edges are clear;
	// length of a difference in grey levels over three channels. Default 14.
	MinColour float64
	// GapMM is the longest stretch without edges that is bridged: another
	// cane, a tie, a wire, a post's edge. Longer joins what may be two canes.
	GapMM float64
	// MinLengthMM is the shortest trace that is kept.
	MinLengthMM float64
}

// DefaultParams are the tunables in use unless others are set.
func DefaultParams() Params {
	return Params{MinWidthMM: 2, MaxWidthMM: 26, WindowMM: 14, StepMM: 6, MinContrast: 3, MinEdge: 2.5, MinColour: 14, GapMM: 45, MinLengthMM: 60}
}
