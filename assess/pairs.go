package assess

import (
	"cmp"
	"slices"
	"strings"
)

// Pair is what the program had said of a cane, beside what a person made of
// it: the ruling that stands.
type Pair struct {
	Seen  Finding // "" for a cane that the program had missed
	Said  Said
	Kind  Kind    // what the person said that it is; "" for a one-year cane
	Stood Finding // the finding that stands; "" for what isn't a one-year cane
	// Nodes is what became of them: how many the program had seen, and how many
	// the person left. Corrected is false where the person left them alone.
	SeenNodes, SaidNodes int
	NodesCorrected       bool
	Missed               bool // the program hadn't reported it, and a person pointed it out
	// HandMM was measured by hand, 0 when nobody did; Diameter is the photo's.
	HandMM   float64
	Diameter Interval
}

// Change is a finding that became another.
type Change struct {
	From, To Finding
	N        int
}

// FindingTally is how often one finding stood.
type FindingTally struct {
	Finding Finding
	Ruled   int // canes that the program called so, and a person ruled on
	Stood   int // of them one-year canes that keep this finding
}

// PairTally counts pairs: how often the program was agreed with, and what was
// typically wrong. A missed cane has no finding that could stand, and counts
// for itself alone.
type PairTally struct {
	Reported int // canes that the program reported and a person ruled on
	Canes    int // of them one-year canes
	OldWood  int
	NotACane int // with those that were rejected
	Missed   int

	Findings []FindingTally // those that occur, in the order of Findings
	Stood    int            // of Canes, those that keep their finding

	Changes []Change // the most frequent first

	// Of Canes, those whose nodes a person corrected: to more than the program
	// had seen, to fewer, or to as many in other places.
	NodesMore, NodesFewer, NodesMoved int
	NodesAdded, NodesTaken            int // nodes in all that came and went, counted by cane
	ByHand, Held                      int // diameters measured by hand, and how many lie in the photo's interval
	ByHandThicker                     int // of those outside, how many the caliper found thicker
}

// TallyPairs counts the pairs of a block.
func TallyPairs(pairs []Pair) PairTally {
	var t PairTally
	byFinding := map[Finding]*FindingTally{}
	changes := map[Change]int{}
	for _, p := range pairs {
		if p.Missed {
			if p.Stood != "" {
				t.Missed++
			}
			continue
		}
		t.Reported++
		f := byFinding[p.Seen]
		if f == nil {
			f = &FindingTally{Finding: p.Seen}
			byFinding[p.Seen] = f
		}
		f.Ruled++
		switch {
		case p.Said == Reject || p.Kind == NotACane:
			t.NotACane++
			continue
		case p.Kind == OldWood:
			t.OldWood++
			continue
		}
		t.Canes++
		if p.Stood == p.Seen {
			f.Stood++
			t.Stood++
		} else {
			changes[Change{From: p.Seen, To: p.Stood}]++
		}
		t.nodes(p)
		if p.HandMM > 0 && p.Diameter.Known() {
			t.ByHand++
			switch {
			case p.HandMM > p.Diameter.High:
				t.ByHandThicker++
			case p.HandMM >= p.Diameter.Low:
				t.Held++
			}
		}
	}
	for _, f := range append(Findings(), "") {
		if c := byFinding[f]; c != nil {
			t.Findings = append(t.Findings, *c)
		}
	}
	for c, n := range changes {
		t.Changes = append(t.Changes, Change{c.From, c.To, n})
	}
	slices.SortFunc(t.Changes, func(a, b Change) int {
		return cmp.Or(b.N-a.N, strings.Compare(string(a.From), string(b.From)), strings.Compare(string(a.To), string(b.To)))
	})
	return t
}

func (t *PairTally) nodes(p Pair) {
	switch d := p.SaidNodes - p.SeenNodes; {
	case !p.NodesCorrected:
	case d > 0:
		t.NodesMore++
		t.NodesAdded += d
	case d < 0:
		t.NodesFewer++
		t.NodesTaken -= d
	default:
		t.NodesMoved++
	}
}
