package assess

import (
	"time"
)

// Said is a person's answer to a finding.
type Said string

// The three rulings. Correct also adds a cane that the program missed.
const (
	Agree   Said = "agree"   // the finding stands as the program gave it
	Correct Said = "correct" // the cane counts with what the ruling changes
	Reject  Said = "reject"  // nothing of what the program reported here counts
)

// Kind is what a traced piece of wood is.
type Kind string

// What a person can say that a traced line is.
const (
	OneYearCane Kind = "cane"
	OldWood     Kind = "old_wood"
	NotACane    Kind = "not_a_cane" // wire, post, tendril, shadow
)

// Seen is what the program had said of the cane when the ruling was made,
// kept beside it so that the pair (seen, said) outlives newer programs.
type Seen struct {
	Program   string   `json:"program"`
	RuleSet   string   `json:"rule_set"`
	Finding   Finding  `json:"finding"`
	Because   []string `json:"because"`
	Diameter  Interval `json:"diameter_mm"`
	Internode Interval `json:"internode_mm"`
	Nodes     int      `json:"nodes"` // how many
}

// Ruling is what a person said of one cane of one measurement. It is only
// ever added: a later ruling of the same cane supersedes the earlier, and
// both are kept.
type Ruling struct {
	ID   int64 `json:"id"` // the store's; 0 before it was kept
	Cane int   `json:"cane"`
	Said Said  `json:"said"`

	// What follows may only be set with Correct; at least one must be.

	Kind    Kind    `json:"kind,omitempty"`    // "" leaves it a cane
	Finding Finding `json:"finding,omitempty"` // "" leaves it to Judge
	// Nodes is the full corrected list, by AlongMM; nil leaves the program's.
	// An empty list that isn't nil says that no node can be seen.
	Nodes []Node `json:"nodes"`
	// DiameterMM was measured by hand with a caliper and stands above the
	// photo's; 0 when nobody did.
	DiameterMM float64 `json:"diameter_mm_by_hand,omitempty"`
	// Missed is a cane that the program hadn't reported and that was traced
	// after a person pointed at it; Cane is then its new number.
	Missed *Cane `json:"missed,omitempty"`

	Note string    `json:"note,omitempty"`
	Who  string    `json:"who"`
	When time.Time `json:"when"`
	Seen Seen      `json:"seen"`
}
