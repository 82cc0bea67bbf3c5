package scale

// Params are the tunables of this stage.
type Params struct {
	// Columns and Rows count the card's squares, SquareMM is their side.
	// Default 9, 6 and 15 mm.
	Columns, Rows int
	SquareMM      float64
	// BarBlocks counts the bar's blocks, black and white together, each
	// BlockMM long and BarHeightMM high. Default 20, 10 mm, 20 mm.
	BarBlocks            int
	BlockMM, BarHeightMM float64
	// MinSquarePx is the smallest side of a square that gives a usable scale.
	// Smaller accepts cards farther away, whose corners blur into each other.
	// Default 5 px.
	MinSquarePx float64
	// MaxTiltDeg is the largest angle between the line of sight and the
	// card's normal. Default 40 degrees: a card that stands more askew hangs
	// on no wire that is photographed from the front.
	MaxTiltDeg float64
	// MinFrameMM and MaxFrameMM bound the width that the picture would show
	// at the wire, in mm. Default 350 to 6000: from a close view of one cane
	// to several vines.
	MinFrameMM, MaxFrameMM float64
	// MaxResidualRel is the largest root mean square distance of the corners
	// from the fitted plane, in squares. Larger accepts bent cards. Default 0.06.
	MaxResidualRel float64
	// PrintU is the relative standard uncertainty of the printed size.
	// Default 0.002 (printers are seen to be off by 0.1-0.5 %).
	PrintU float64
}

// DefaultParams are the tunables in use unless others are set.
func DefaultParams() Params {
	return Params{
		Columns: 9, Rows: 6, SquareMM: 15,
		BarBlocks: 20, BlockMM: 10, BarHeightMM: 20,
		MinSquarePx: 5, MaxTiltDeg: 40,
		MinFrameMM: 350, MaxFrameMM: 6000,
		MaxResidualRel: 0.06, PrintU: 0.002,
	}
}
