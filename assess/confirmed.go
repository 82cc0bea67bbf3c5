package assess

import "time"

// ConfirmedCane is a cane as a person has confirmed it: what the vine's state
// is read from.
type ConfirmedCane struct {
	// Cane holds the corrected nodes, what was derived from them anew, and the
	// finding that stands.
	Cane   Cane      `json:"cane"`
	Kind   Kind      `json:"kind"`    // OneYearCane or OldWood
	Said   Said      `json:"said"`    // Agree or Correct
	Who    string    `json:"who"`     // of the ruling that stands
	When   time.Time `json:"when"`    // of the ruling that stands
	Ruling int64     `json:"ruling"`  // ID of the ruling that stands
	Seen   Seen      `json:"seen"`    // what the program had said
	ByHand bool      `json:"by_hand"` // the diameter was measured with a caliper
	Added  bool      `json:"added"`   // a person pointed it out; the program had missed it
}
