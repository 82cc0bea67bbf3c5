package caliper

// Params are the tunables of this stage.
type Params struct {
	// StepMM is the distance between stations. Smaller sees narrower nodes
	// and costs time. Default 1.5 mm, at least 1.5 px.
	StepMM float64
	// AlongMM is the length over which a station's cross-section is averaged.
	// Longer lowers noise and smears nodes. Default 3 mm, at least 3 px.
	AlongMM float64
	// CourseMM is the length of the sections from which the course of the
	// edges is decided. Longer sees through more clutter, and a bend or a
	// swelling smears its edges. Default 18 mm.
	CourseMM float64
	// CourseTol is how far an edge may move from one such section to the next
	// at the price of one, in widths. Larger follows swellings and clutter.
	// Default 0.07.
	CourseTol float64
	// WidthTol is by how much, as a logarithm, the edges' distance may differ
	// from the width with which the cane was followed at a small price. A
	// sunlit cane is often followed by its bright side alone. Default 0.6.
	WidthTol float64
	// TaperTol is the same once a first course is known, from the running
	// median of the width along the cane. Default 0.18.
	TaperTol float64
	// MaxWidthMM is the widest that a cane can be. Default 24 mm.
	MaxWidthMM float64
	// MinEdgeZ is the least change that counts as an edge, in standard
	// deviations of the ground's texture. Default 3.
	MinEdgeZ float64
	// Unexplained is the price of an edge that is left just outside of the
	// cane, relative to the worth of one that bounds it. Default 0.9.
	Unexplained float64
	// FaintShare is the share of the cane's own edges' strength below which an
	// edge outside counts less. Larger takes shade beside the cane for ground.
	// Default 0.15.
	FaintShare float64
	// MaxSigma is the largest blur that the fit may take, px. Larger follows
	// photos that are more out of focus, and soft shadows. Default 6.
	MaxSigma float64
	// Shoulder is how strongly the camera is supposed to compress highlights
	// beyond the sRGB curve, 0 (not at all) to under 1. Larger puts edges
	// before a bright sky farther out. Default 0.5, which holds a sky of
	// nearly twice the luminance of white paper.
	Shoulder float64
	// MaxMisfit is the largest root mean square of what the model leaves,
	// relative to the step at the weaker edge. Default 0.6.
	MaxMisfit float64
	// Jump is the largest relative difference of a reading from the median of
	// its neighbourhood. Nodes swell by up to a half. Default 0.6.
	Jump float64
}

// DefaultParams are the tunables in use unless others are set.
func DefaultParams() Params {
	return Params{StepMM: 1.5, AlongMM: 3, CourseMM: 18, CourseTol: 0.07, WidthTol: 0.7, TaperTol: 0.15, MaxWidthMM: 24, MinEdgeZ: 3, Unexplained: 0.9, FaintShare: 0.15, MaxSigma: 6, Shoulder: 0.5, MaxMisfit: 0.6, Jump: 0.6}
}
