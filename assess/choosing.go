package assess

// Choosing weighs the arguments by which canes are chosen for places. Points
// have no unit; the sum over all places is made as large as it can be. The
// weights are common practice put in numbers, no source: what follows from
// them is told in words beside each choice, and a person can choose otherwise.
type Choosing struct {
	// Filled is what a cane that can be kept is worth in the first place of the
	// form; each later place is worth PlaceStep less, so that a short supply
	// leaves the last places empty. It's larger than all other arguments
	// against a cane together, but for those that rule it out.
	Filled, PlaceStep float64
	// Diameter is for a cane well inside the limits, falling to 0 at them;
	// DiameterRoom is how far inside the lower limit is well inside, mm.
	Diameter, DiameterRoom float64
	// Internode likewise.
	Internode, InternodeRoom float64
	// Near is for a cane that arises at the head itself, falling to 0 at FarMM,
	// beyond which keeping it would keep last winter's fruiting wood: it's
	// ruled out.
	Near, FarMM float64
	// NextVineMM: a cane that arises farther than this from the head may be the
	// next vine's, and a person is asked before it's told as one to remove.
	NextVineMM float64
	// FromHead is for a cane that was seen to arise from the head, or from a
	// spur that was left there; FromOld is what a cane on older wood costs: that
	// wood would have to stay with it.
	FromHead, FromOld float64
	// Below is for a cane that arises below the lower wire; above it the
	// points fall, and beyond AboveMM it's ruled out: it would lift the head.
	Below, AboveMM float64
	// Side is for a cane that stands SideMM or more on its place's side of the
	// head, and against one on the other side.
	Side, SideMM float64
	// Lean is for a cane that leans LeanDeg or more towards its place, and
	// against one that leans away: it must be bent back.
	Lean, LeanDeg float64
	// LeanOverMM is the stretch from its base over which a cane's lean is read.
	LeanOverMM float64
	// Reach is for a cane that, when cut, covers ReachMM of the wire; one that
	// covers less than LeastReachMM is ruled out for that wire.
	Reach, ReachMM, LeastReachMM float64
	// PerBud is what each bud short of the number asked costs.
	PerBud float64
	// Crossing is what two canes cost that must cross each other on one wire;
	// CrossingUp what a cane on the lower wire costs that must cross another on
	// that one's way to the upper wire.
	Crossing, CrossingUp float64
	// Crowding is what two kept canes cost that arise within CrowdMM of each
	// other: bent apart, they strain one place of the head, and the cuts of the
	// winter after stand side by side.
	Crowding, CrowdMM float64
	// TiePoints: a second best within as many points is told as equal, and the
	// person decides.
	TiePoints float64
	// Steps bounds the search; beyond it the best found so far is given, and
	// told as such. A vine's dozen canes need a few thousand.
	Steps int
}

// DefaultChoosing is what Suggest uses.
func DefaultChoosing() Choosing {
	return Choosing{
		Filled: 100, PlaceStep: 3,
		Diameter: 10, DiameterRoom: 1.5,
		Internode: 10, InternodeRoom: 15,
		Near: 15, FarMM: 300, NextVineMM: 600,
		FromHead: 3, FromOld: 5,
		Below: 8, AboveMM: 50,
		Side: 12, SideMM: 60,
		Lean: 8, LeanDeg: 25, LeanOverMM: 300,
		Reach: 10, ReachMM: 500, LeastReachMM: 100,
		PerBud:   3,
		Crossing: 15, CrossingUp: 6,
		Crowding: 2, CrowdMM: 10,
		TiePoints: 3,
		Steps:     500_000,
	}
}
