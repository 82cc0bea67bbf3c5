package web

// PairsPage tells how often the program was right in a block.
type PairsPage struct {
	Frame
	Block, Winter string
	Winters       []WinterLink
	Ruled, Missed int // reported canes that a person ruled on; canes that were pointed out
	Few           bool
	Fewest        int    // rulings that it takes for a percentage
	Cane, Stood   string // shares in words; "" without any
	Open, Settled int    // canes that it left to be looked at, and of how many somebody said what they are
	SettledAs     []string
	Findings      []PairLine
	Wrong         []string
	ByHand        string // "" where nobody measured by hand
}

// WinterLink leads to what is told of one winter.
type WinterLink struct {
	Link
	Here bool
}

// PairLine is how often one finding stood.
type PairLine struct {
	Finding string
	Ruled   int
	Stood   string
}

// LabelsPage asks which labels to print.
type LabelsPage struct {
	Frame
	ID               int64
	Name, Lead       string // Lead is the address of the service, as the codes have it
	Rows, Vines, Row int
	Own              bool // that address is known on this machine alone
}
