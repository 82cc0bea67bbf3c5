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
	// LikelyMM is the same where the wood's colour is known. Default 7 mm.
	LikelyMM float64
	// MostOdds bounds the log odds of a pixel. Larger lets single pixels of a
	// rare colour weigh more. Default 2.
	MostOdds float64
	// OddsWorth is what log odds are worth against smooth edges. Default 3.
	OddsWorth float64
	// CourseTol is how far an edge may move from one such section to the next
	// at the price of one, in widths. Larger follows swellings and clutter.
	// Default 0.07.
	CourseTol float64
	// WidthTol is by how much, as a logarithm, the edges' distance may differ
	// from the width with which the cane was followed at a small price. A
	// sunlit cane is often followed by its bright side alone. Default 0.6.
	WidthTol float64
	// TaperTol is the same once a first course is known, from the
	// cane's even taper. Default 0.18.
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
	// ShadePart is how far the colour beside an edge must pass by the straight
	// way from wood to ground, as a share of their difference, to count as a
	// shaded rim. Smaller takes sharpening and clutter for rims. Default 0.15.
	// ShadeShare is the widest that one is, as a share of the cane, or ShadePx
	// when that is more. Larger takes neighbours for rims. Default 0.35 and 4 px.
	ShadePart, ShadeShare, ShadePx float64
	// LitMore is how much, in powers of two, the sides of canes must differ in
	// brightness on average for the photo to be lit from one side. LitAlike is how
	// much of that must be left when those that are brighter on the other side are
	// taken off. Smaller finds a side under a cloudy sky. Default 0.28 and 0.6.
	// LitHold is by how many canes at the photo's edge that are lit evenly the
	// light is held from changing along the rows. Larger takes the light for the
	// same everywhere. Default 2.
	LitMore, LitAlike, LitHold float64
	// Step is the ratio of the thickness below and above a place, each over
	// StepReachMM, from which it is a step and no taper; it is looked for in the
	// lower StepShare of a cane, with AboveMM above it at least. Larger believes
	// more of what is read at the head. Default 1.25, 80 mm, 0.6 and 120 mm.
	Step, StepReachMM, StepShare, AboveMM float64
	// Shoulder is how strongly the camera is supposed to compress highlights
	// beyond the sRGB curve where the reference doesn't tell, 0 (not at all) to
	// 1.2: the s of scale.Outward. Larger puts edges before a bright sky
	// farther out. Default 0.5.
	Shoulder float64
	// StretchMM is the length over which wood's and ground's colours beside an
	// edge are taken together. Longer is steadier, and blind to a ground that
	// changes. Default 24 mm.
	StretchMM float64
	// RimMM is the length over which a shaded rim is looked for, RimShare how
	// far outside of the course, in widths, or RimPx when that is more. Default
	// 300 mm, 0.55 and 4.5 px.
	RimMM, RimShare, RimPx float64
	// CrescentMM is the length over which the part of a cane that the sun reaches
	// is read. CrescentFew is the least number of canes from which the sun's place
	// is told. Default 90 mm and 4.
	CrescentMM  float64
	CrescentFew int
	// RimU is the standard uncertainty of a rim's width, px. Default 0.5.
	RimU float64
	// RimGrain is how many stations the ground's texture needs to change.
	// Larger asks for more. Default 1.5.
	RimGrain float64
	// RimFloor is the least standard deviation of a long mean, linear light.
	// Default 0.0025.
	RimFloor float64
	// RimZ is the least change that counts as an edge there, in standard
	// deviations; RimPart the same as a share of the strongest. Default 6 and
	// 0.12.
	RimZ, RimPart float64
	// RimWoody is the log odds beyond which what lies outside is another piece
	// of wood. Default 0.6.
	RimWoody float64
	// Chroma is how unsure colour without brightness is beside a cane of no
	// width, linear light; it is trusted fully from ChromaPx of width on.
	// Default 0.15 and 8.5 px.
	Chroma, ChromaPx float64
	// MinApart is how far wood and ground must differ for an edge to be read,
	// in standard deviations of both. Smaller reads more and worse. Default 1.5.
	MinApart float64
	// SearchPx and SearchShare are how far from its course an edge is looked
	// for, px and share of the width; the larger of the two holds. Default 1.6
	// and 0.15.
	SearchPx, SearchShare float64
	// CoursePull is how much an edge is held near its course. Default 3.
	CoursePull float64
	// MaxSlope is by how much the wood may grow brighter from edge to middle,
	// relative to its difference from the ground. Default 0.5.
	MaxSlope float64
	// Loose is how far the wood's level beside an edge may be from what was
	// gathered as such, times the blur over the width. Larger trusts the single
	// section more. Default 1.5.
	Loose float64
	// MinLevel is the smallest difference of ground and wood at one station,
	// relative to that of the stretch. Default 0.35.
	MinLevel float64
	// MaxLoss is how much of a section the model may leave, relative to how
	// much the colours vary there. Default 4.
	MaxLoss float64
	// OffTaper and OffMM: readings are dropped where their running median over
	// OffReach stations to both sides differs by more than this share, and this
	// much, from the cane's even taper. Default 0.15, 0.4 mm and 14.
	OffTaper, OffMM float64
	OffReach        int
	// Settle is over how many stations to each side the readings of the first
	// round correct the course for the second. Default 8.
	Settle int
	// Middle is over how many stations to each side the middle line is
	// smoothed. Larger leaves a bud's bump on its own side. Default 5.
	Middle int
	// Jump is the largest relative difference of a reading from the median of
	// its neighbourhood. Nodes swell by up to a half. Default 0.6.
	Jump float64
}

// DefaultParams are the tunables in use unless others are set.
func DefaultParams() Params {
	return Params{StepMM: 1.5, AlongMM: 3, CourseMM: 18, LikelyMM: 7, MostOdds: 2, OddsWorth: 3, CourseTol: 0.07, WidthTol: 0.7, TaperTol: 0.15, MaxWidthMM: 24, MinEdgeZ: 3, Unexplained: 0.9, FaintShare: 0.15, Shoulder: 0.5, StretchMM: 24, RimMM: 300, RimShare: 0.55, RimPx: 4.5, CrescentMM: 90, CrescentFew: 4, RimU: 0.5, RimGrain: 1.5, RimFloor: 0.0025, RimZ: 3.5, RimPart: 0.12, RimWoody: 0.6, Chroma: 0.15, ChromaPx: 8.5, MinApart: 1.5, SearchPx: 1.6, SearchShare: 0.15, CoursePull: 3, MaxSlope: 0.5, Loose: 3, MinLevel: 0.35, MaxLoss: 4, ShadePart: 0.15, ShadeShare: 0.35, ShadePx: 4, LitMore: 0.28, LitAlike: 0.6, LitHold: 2, Step: 1.25, StepReachMM: 80, StepShare: 0.6, AboveMM: 120, OffTaper: 0.15, OffMM: 0.4, OffReach: 14, Settle: 8, Middle: 5, Jump: 0.6}
}
