package stance

// Params are the tunables of this stage.
type Params struct {
	// FocalKnownU and FocalSupposedU are the relative standard uncertainties of a
	// focal length that the file told, and of the supposed one. Larger lets the
	// cards decide more. Default 0.02 and 0.1.
	FocalKnownU, FocalSupposedU float64
	// DistortionU is the standard deviation of the lens's radial distortion k1,
	// whose mean is 0. Larger widens depths far from the card. Default 0.012.
	DistortionU float64
	// CornerPx is the least standard uncertainty of a corner of the card's
	// pattern, px: what the fit of the whole card doesn't see. Default 0.04.
	CornerPx float64
	// FeatureSidePx is the longer side of the copy on which features are looked
	// for. Larger is surer and slower. Default 1800. Features is how many of them
	// are kept, the strongest first. Default 4000. FeatureRatio is how much
	// liker a pair must be than the next best. Larger lets more pairs in, and
	// more wrong ones. Default 0.75. FeatureU is the standard uncertainty of a
	// feature's place in pixels of that copy. Default 0.6.
	FeatureSidePx          float64
	Features               int
	FeatureRatio, FeatureU float64
	// MinPairs is the fewest pairs of features that count. Default 25.
	MinPairs int
	// MinBase is the least distance between the two stances along the wire
	// plane, as a share of the distance to it. Smaller shows less. Default 0.04.
	MinBase float64
	// MaxDepthMM is the farthest that a cane may stand off the card's plane.
	// Larger lets wrong pairs in. Default 170.
	MaxDepthMM float64
	// MaxSlope bounds the change of depth along a cane, mm a mm. Default 0.6.
	MaxSlope float64
	// StepMM is the distance of places along a cane. Default 8.
	StepMM float64
	// TracePx is the standard uncertainty of a line's place that a whole stretch
	// shares, px. Larger widens depths. Default 0.5.
	TracePx float64
	// FirstTolMM is how far depths may lie from a straight course at first.
	// Larger lets curved canes in, and wrong pairs. Default 14.
	FirstTolMM float64
	// WigglePx is what a pair may leave over, px, before its score falls.
	// Default 2.5, of a photo 3000 px wide.
	WigglePx float64
	// IndependentMM: places nearer together along a cane count as one. Default 60.
	IndependentMM float64
	// MinShare and MinMM are the least share, of what both photos could show,
	// and the least length over which a pair must agree. Default 0.5 and 120.
	MinShare, MinMM float64
	// ThickU is the relative standard uncertainty of the ratio of two photos'
	// diameters of one cane. Default 0.25.
	ThickU float64
	// Rival is the share of the best score from which another pairing at another
	// depth makes the cane unsure. Default 0.75.
	Rival float64
	// UsualMM is the standard deviation of depths before anything is seen, used
	// to tell pairs apart only. Default 70.
	UsualMM float64
	// MaxU is the largest standard uncertainty of a depth that is of use, mm.
	// Larger keeps depths that say hardly more than none. Default 22.
	MaxU float64
	// MaxTogetherMM: when the middle depth of all canes is farther off than
	// this, the card was moved. Default 85.
	MaxTogetherMM float64
	// MaxWireMM: when the wires of both photos, taken to lie in the plane, differ
	// by more than this, the card was moved. Default 35.
	MaxWireMM float64
	// MaxCornersU: when the card's corners are off by more than this, in their
	// own standard uncertainties, from where the rest of both pictures wants the
	// cameras, the card was moved. Default 2.
	MaxCornersU float64
	// MinPaired is the share of the canes that could be paired that must be.
	// Default 0.25.
	MinPaired float64
	// LeanU is the lean, degrees, that may be beyond where a course was seen.
	// Default 8.
	LeanU float64
}

// DefaultParams are the tunables in use unless others are set.
func DefaultParams() Params {
	return Params{FocalKnownU: 0.02, FocalSupposedU: 0.1, DistortionU: 0.012, CornerPx: 0.04, MinBase: 0.04,
		FeatureSidePx: 1800, Features: 4000, FeatureRatio: 0.75, FeatureU: 0.6, MinPairs: 25,
		MaxDepthMM: 170, MaxSlope: 0.6, StepMM: 8, TracePx: 0.5, FirstTolMM: 14, WigglePx: 2.5, IndependentMM: 60,
		MinShare: 0.5, MinMM: 120, ThickU: 0.25, Rival: 0.75, UsualMM: 70, MaxU: 22, MaxTogetherMM: 85, MaxWireMM: 35, MaxCornersU: 2, MinPaired: 0.25, LeanU: 8}
}
