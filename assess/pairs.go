package assess

import (
	"cmp"
	"slices"
	"strings"
)

// NodeChange is what became of a cane's nodes.
type NodeChange string

// What a person can have done with the nodes; "" leaves them alone.
const (
	NodesMore  NodeChange = "more"  // than the program had seen
	NodesFewer NodeChange = "fewer" // likewise
	NodesMoved NodeChange = "moved" // as many, in other places
)

// HandVerdict holds the photo's diameter against the caliper's.
type HandVerdict string

// The caliper's value lies in the photo's interval, or beyond an end of it; ""
// where nobody measured by hand, or the photo gave no diameter.
const (
	HandHeld    HandVerdict = "held"
	HandThicker HandVerdict = "thicker"
	HandThinner HandVerdict = "thinner"
)

// Pair is what the program had said of a cane, beside what a person made of
// it: the ruling that stands.
type Pair struct {
	Seen    Finding // "" for a cane that the program had missed
	Said    Said
	Kind    Kind    // what the person said that it is; "" for a one-year cane
	Stood   Finding // the finding that stands; "" for what isn't a one-year cane
	Missed  bool    // the program hadn't reported it, and a person pointed it out
	Nodes   NodeChange
	NodesBy int // how many nodes came or went
	Hand    HandVerdict
}

// PairCount is how many canes have the same Pair; NodesBy is then of all.
type PairCount struct {
	Pair
	N int
}

// PairsOf gives the pairs of a measurement by the number of the cane: of each
// the ruling that stands, with what ConfirmBy made of it.
func PairsOf(m *Measurement, rulings []Ruling, confirmed []ConfirmedCane) map[int]Pair {
	out := map[int]Pair{}
	for id, r := range standingRulings(rulings) {
		if findCane(m, rulings, id) == nil {
			continue // of a cane that this measurement doesn't have
		}
		p := Pair{Seen: r.Seen.Finding, Said: r.Said, Kind: r.Kind, Missed: !has(m, id)}
		if p.Kind == OneYearCane {
			p.Kind = ""
		}
		if i := slices.IndexFunc(confirmed, func(c ConfirmedCane) bool { return c.Cane.ID == id }); i >= 0 && confirmed[i].Kind == OneYearCane {
			p.Stood = confirmed[i].Cane.Finding
		}
		if r.Nodes != nil {
			p.NodesBy = len(r.Nodes) - r.Seen.Nodes
			p.Nodes = NodesMoved
			if p.NodesBy > 0 {
				p.Nodes = NodesMore
			} else if p.NodesBy < 0 {
				p.Nodes, p.NodesBy = NodesFewer, -p.NodesBy
			}
		}
		if q := r.Seen.Diameter; r.DiameterMM > 0 && q.Known() {
			switch {
			case r.DiameterMM > q.High:
				p.Hand = HandThicker
			case r.DiameterMM < q.Low:
				p.Hand = HandThinner
			default:
				p.Hand = HandHeld
			}
		}
		out[id] = p
	}
	return out
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
	Settled int // where the finding leaves it open: one-year canes of which somebody said what they are
}

// LeavesOpen tells whether a finding says that somebody must look at the cane.
// Whoever does so, and says what it is, doesn't contradict the program.
func LeavesOpen(f Finding) bool { return f == TooCloseToCall || f == NotMeasurable || f == "" }

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
	Called   int            // of Reported, those that the program didn't leave open
	Stood    int            // of Called, one-year canes that keep their finding
	Settled  int            // of those left open, one-year canes of which somebody said what they are

	// The most frequent first: of Called, and of those left open.
	Changes, SettledAs []Change

	// Of Canes, those whose nodes a person corrected: to more than the program
	// had seen, to fewer, or to as many in other places.
	NodesMore, NodesFewer, NodesMoved int
	NodesAdded, NodesTaken            int // nodes in all that came and went, counted by cane
	ByHand, Held                      int // diameters measured by hand, and how many lie in the photo's interval
	ByHandThicker                     int // of those outside, how many the caliper found thicker
}

// TallyPairs counts the pairs of a block.
func TallyPairs(pairs []PairCount) PairTally {
	var t PairTally
	byFinding := map[Finding]*FindingTally{}
	changes, settled := map[Change]int{}, map[Change]int{}
	for _, p := range pairs {
		if p.Missed {
			if p.Stood != "" {
				t.Missed += p.N
			}
			continue
		}
		t.Reported += p.N
		f := byFinding[p.Seen]
		if f == nil {
			f = &FindingTally{Finding: p.Seen}
			byFinding[p.Seen] = f
		}
		f.Ruled += p.N
		open := LeavesOpen(p.Seen)
		if !open {
			t.Called += p.N
		}
		switch {
		case p.Said == Reject || p.Kind == NotACane:
			t.NotACane += p.N
			continue
		case p.Kind == OldWood:
			t.OldWood += p.N
			continue
		}
		t.Canes += p.N
		switch change := (Change{From: p.Seen, To: p.Stood}); {
		case open && !LeavesOpen(p.Stood):
			f.Settled += p.N
			t.Settled += p.N
			settled[change] += p.N
		case open:
		case p.Stood == p.Seen:
			f.Stood += p.N
			t.Stood += p.N
		default:
			changes[change] += p.N
		}
		t.nodes(p)
		if p.Hand != "" {
			t.ByHand += p.N
		}
		switch p.Hand {
		case HandHeld:
			t.Held += p.N
		case HandThicker:
			t.ByHandThicker += p.N
		}
	}
	for _, f := range append(Findings(), "") {
		if c := byFinding[f]; c != nil {
			t.Findings = append(t.Findings, *c)
		}
	}
	t.Changes, t.SettledAs = mostFrequent(changes), mostFrequent(settled)
	return t
}

func mostFrequent(counts map[Change]int) []Change {
	var out []Change
	for c, n := range counts {
		out = append(out, Change{c.From, c.To, n})
	}
	slices.SortFunc(out, func(a, b Change) int {
		return cmp.Or(b.N-a.N, strings.Compare(string(a.From), string(b.From)), strings.Compare(string(a.To), string(b.To)))
	})
	return out
}

func (t *PairTally) nodes(p PairCount) {
	switch p.Nodes {
	case NodesMore:
		t.NodesMore += p.N
		t.NodesAdded += p.NodesBy
	case NodesFewer:
		t.NodesFewer += p.N
		t.NodesTaken += p.NodesBy
	case NodesMoved:
		t.NodesMoved += p.N
	}
}
