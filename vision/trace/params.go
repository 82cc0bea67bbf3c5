package trace

// Params are the tunables of this stage. Millimetres are on the wire plane.
type Params struct {
	// MinWidthMM and MaxWidthMM bound what is followed as a ribbon. Thinner
	// are tendrils and far rows, thicker is the trunk. Default 2 and 26 mm.
	MinWidthMM, MaxWidthMM float64
	// ThinMM is the least width of a cane that was followed on recognised wood:
	// there its rims look less like wood than its middle. Default 1.4 mm.
	ThinMM float64
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
	// MostOdds bounds the log odds of a pixel. Larger lets single pixels of a
	// rare colour weigh more. Default 2.
	MostOdds float64
	// MaxStrandMM is the widest band of recognised wood that is begun with.
	// Larger takes two canes side by side for one. Default 16 mm.
	MaxStrandMM float64
	// SeedMM is how far apart it is begun, at the least, with what has the same
	// direction and width. Larger is faster and may begin only where a cane shows
	// badly. Default 20 mm.
	SeedMM float64
	// StartMM and CutMM are the lengths over which cross-sections of recognised
	// wood are averaged, to begin and to go on. Longer sees through more
	// clutter and follows bends less well. Default 28 and 8 mm.
	StartMM, CutMM float64
	// MinStart and MinShow are the least evidence for a band of wood, up to 0.8,
	// to start following it and to count a place as seen. Larger finds less and
	// follows better. Default 0.45 and 0.15.
	MinStart, MinShow float64
	// HiddenCost is what a step under other wood costs, BendCost what one to
	// the edge of the reach does, WidthCost what a change of width by a tenth
	// does, all in units of evidence. Larger keeps straighter. Default 0.05,
	// 0.15 and 0.04.
	HiddenCost, BendCost, WidthCost float64
	// GiveUp is how much evidence may be lost before the end is held to be
	// where most was. Larger bridges more. Default 4.
	GiveUp float64
	// Suppositions is how many ways are followed at a time, AheadSteps how many
	// steps ahead decide between them. Larger sees through longer crossings,
	// and costs time. Default 6 and 12.
	Suppositions, AheadSteps int
	// HiddenMM is how far a cane is followed where other wood lies against both
	// its edges. Default 120 mm.
	HiddenMM float64
	// TrimShare is how much, of what a line mostly has, its ends must look like
	// wood. Larger stops earlier before old wood. Default 0.45.
	TrimShare float64
	// LeastAlike is how much of the odds that the recognised canes mostly have a
	// line must have to be one. From VeryAlike on it needs nothing that bears it
	// when its base lies less than LowMM above the wire, where other wood may
	// hide it; and farther up when it is longer than AloneMM and reaches AirTipMM,
	// which far posts and most canes of the next row don't. Larger drops shaded
	// canes, smaller takes posts. Default 0.5, 0.75, 160 and 200 mm.
	LeastAlike, VeryAlike, LowMM, AloneMM float64
	// LeastMixed takes LeastAlike's place for what is narrower than MixedMM, longer
	// than LongMM, and rises from wood that bears canes: the lens mixes a thin
	// cane's colour with the ground's. Smaller, or a larger MixedMM, takes posts.
	// Default 0.25, 5 and 300 mm.
	LeastMixed, MixedMM, LongMM float64
	// BridgedMM is how long a line must be that shows along little more than half
	// of its length. Shorter takes pieces of canes for canes. Default 200 mm.
	BridgedMM float64
	// HeadMM is how far below the lower fruiting wire a cane can arise at most.
	// Default 200 mm: heads stand 100 to 150 mm below it (Cool Climate
	// Classroom, Pruning; stated for spur-pruned vines).
	HeadMM float64
	// MostShared is how much of a line that was followed without knowing the
	// wood's colour may run along lines that were followed knowing it. Default
	// 0.25.
	MostShared float64
	// GapMM is the longest stretch without edges that is bridged: another
	// cane, a tie, a wire, a post's edge. Longer joins what may be two canes.
	GapMM float64
	// AirLengthMM, AirWidthMM and AirRiseMM let a cane count whose base is lost
	// in clutter: it must be at least so long and so wide, and its lower end
	// at most so far above the lower fruiting wire. Looser takes far posts and
	// the next row's canes. Default 280, 3.5 and 420 mm.
	AirLengthMM, AirWidthMM, AirRiseMM float64
	// AirTipMM is how far above the wire the tip of such a cane must reach at
	// least. Default 850 mm: the posts of far rows end lower in the picture.
	AirTipMM float64
	// SideLengthMM is how long a cane must be whose base stands beside the
	// picture, SideAlikeMM how long when it is VeryAlike. Default 450 and 280 mm.
	SideLengthMM, SideAlikeMM float64
	// BaseMM is how far a cane's base may lie from the lower fruiting wire.
	// Larger takes more of what stands behind. Default 75 mm; a base on old
	// wood counts wherever that runs.
	BaseMM float64
	// BearMM is how near a cane's base must be to something that can bear it.
	// Default 60 mm.
	BearMM float64
	// PlainShare of the places above the wire must vary by less than
	// PlainSpread grey levels for the backdrop to count as plain. Looser takes
	// a hazy far row for a sheet. Default 0.65 and 4.5.
	PlainShare, PlainSpread float64
	// MinRed is how much redder than the reference's white wood must be: the
	// ratio of red to blue in linear light over that of the white. Bark
	// reflects more red than blue; sky, sheet and their shadows don't.
	// Default 1.18.
	MinRed float64
	// ShadowBlue and ShadowGreen are the most red that a shadow leaves of the
	// ground, relative to the blue and the green that it leaves. In photos of a
	// renderer whose sky is blue, shadows leave 0.67 to 0.95 of the blue and 0.88 to
	// 1.00 of the green, canes in their own shade 0.89 to 1.2 and 1.01 to 1.2; blur
	// brings both nearer to 1. Larger takes dark canes before ground of their
	// colour for shadows. Default 0.96 and 1.005.
	ShadowBlue, ShadowGreen float64
	// MostFirst bounds the seeds that the first look follows, strongest first.
	// Larger finds fainter canes to learn from, and costs time. Default 3000.
	MostFirst int
	// FewMM is the length of canes below which their colour is learned from more
	// than is surely cane: from what starts in the air as well, if it is longer than
	// HintMM. A larger FewMM learns shadows and grass along with canes where canes
	// alone would do, a larger HintMM learns nothing where all canes show in pieces.
	// Default 2000 and 200 mm.
	FewMM, HintMM float64
	// MinLengthMM is the shortest trace that is kept.
	MinLengthMM float64
}

// DefaultParams are the tunables in use unless others are set.
func DefaultParams() Params {
	return Params{MinWidthMM: 2, MaxWidthMM: 26, ThinMM: 1.4, WindowMM: 14, StepMM: 6, MinContrast: 3, MinEdge: 2.5, MinColour: 14, MostOdds: 3.5, MaxStrandMM: 16, SeedMM: 20, StartMM: 28, CutMM: 8, MinStart: 0.45, MinShow: 0.15, HiddenCost: 0.05, BendCost: 0.15, WidthCost: 0.04, GiveUp: 4, Suppositions: 6, AheadSteps: 12, HiddenMM: 120, TrimShare: 0.45, LeastAlike: 0.5, VeryAlike: 0.75, LowMM: 160, AloneMM: 200, LeastMixed: 0.25, MixedMM: 5, LongMM: 300, BridgedMM: 200, HeadMM: 200, MostShared: 0.25, GapMM: 45, MinLengthMM: 60, MostFirst: 3000, FewMM: 2000, HintMM: 200,
		AirLengthMM: 280, AirWidthMM: 3.5, AirRiseMM: 420, AirTipMM: 850, SideLengthMM: 450, SideAlikeMM: 280, BaseMM: 75, BearMM: 60, PlainShare: 0.65, PlainSpread: 4.5, MinRed: 1.18, ShadowBlue: 0.96, ShadowGreen: 1.005}
}
