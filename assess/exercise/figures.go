package exercise

import (
	"nodespan/assess"
	"nodespan/assess/agreement"
)

// Kind is a kind of decision.
type Kind string

// The kinds of decisions.
const (
	KeepKind  Kind = "keep"  // keep a cane or cut it away
	PlaceKind Kind = "place" // where a laid cane goes
	BudKind   Kind = "bud"   // behind which bud a kept cane is cut
	SpurKind  Kind = "spur"  // which cane is the spur
	HeadKind  Kind = "head"  // how the head stands
)

// Kinds lists the kinds of decisions.
func Kinds() []Kind { return []Kind{KeepKind, PlaceKind, BudKind, SpurKind, HeadKind} }

// Row is one cane in two choices.
type Row struct {
	Cane    int       `json:"cane"`
	First   *Decision `json:"first"`
	Second  *Decision `json:"second"`
	Differs []Kind    `json:"differs"` // in what; empty where both say the same
}

// Comparison is two choices of one vine, cane by cane.
type Comparison struct {
	Rows     []Row `json:"rows"`
	Same     int   `json:"same"` // canes of which both say the same
	HeadSame bool  `json:"head_same"`
	HeadSaid bool  `json:"head_said"` // both said something of the head
}

// Compare holds two choices of a vine against each other.
func Compare(first, second Choice) Comparison {
	out := Comparison{Rows: []Row{}, HeadSaid: first.Head != "" && second.Head != ""}
	out.HeadSame = out.HeadSaid && first.Head == second.Head
	for i := range first.Canes {
		a := &first.Canes[i]
		b := second.Of(a.Cane)
		if b == nil {
			continue
		}
		r := Row{Cane: a.Cane, First: a, Second: b, Differs: []Kind{}}
		switch {
		case a.keeps() != b.keeps():
			r.Differs = append(r.Differs, KeepKind)
		case a.Fate != b.Fate:
			r.Differs = append(r.Differs, SpurKind)
		case a.keeps() == "keep":
			if a.Place != b.Place {
				r.Differs = append(r.Differs, PlaceKind)
			}
			if a.Buds > 0 && b.Buds > 0 && a.Buds != b.Buds {
				r.Differs = append(r.Differs, BudKind)
			}
		}
		if len(r.Differs) == 0 {
			out.Same++
		}
		out.Rows = append(out.Rows, r)
	}
	return out
}

// Pair is two choices of one vine, the participant's first.
type Pair struct {
	First, Second Choice
	Seen          *Seen
}

// Small numbers. A share of a handful says more about chance than about
// people; common practice, no source.
const (
	// leastShared is how many decisions it takes until a share is told: below
	// that it's "3 of 4". Larger is more careful; smaller shows percentages that
	// one decision turns over.
	leastShared = 10
	// leastKappa likewise for kappa, whose interval is one of large samples.
	leastKappa = 20
)

// Figure is how far two people agree in one kind of decision.
type Figure struct {
	Kind Kind `json:"kind"`
	N    int  `json:"n"`    // decisions that both made
	Same int  `json:"same"` // made alike
	// Within counts those that differ by one bud at most; 0 for other kinds.
	Within int `json:"within,omitempty"`
	// Share is Same of N with its interval (Wilson 1927); nil for too few.
	Share *agreement.Bounded `json:"share,omitempty"`
	// Kappa is agreement beyond chance: Cohen's, weighted linearly for buds;
	// nil for too few, and where both always said the same one thing.
	Kappa *agreement.Kappa `json:"kappa,omitempty"`
}

// Few tells whether there are too few decisions for a share.
func (f Figure) Few() bool { return f.Share == nil }

// Figures gives the agreement over vines, one figure for each kind of decision.
func Figures(pairs []Pair) []Figure {
	var out []Figure
	for _, k := range Kinds() {
		out = append(out, figure(k, pairs))
	}
	return out
}

func figure(kind Kind, pairs []Pair) Figure {
	f := Figure{Kind: kind}
	var said [][2]int
	add := func(a, b int) {
		said = append(said, [2]int{a, b})
		f.N++
		if a == b {
			f.Same++
		}
		if kind == BudKind && a-b <= 1 && b-a <= 1 {
			f.Within++
		}
	}
	for _, p := range pairs {
		if kind == HeadKind {
			if p.First.Head != "" && p.Second.Head != "" {
				add(index(Heads(), p.First.Head), index(Heads(), p.Second.Head))
			}
			continue
		}
		for i := range p.First.Canes {
			a := &p.First.Canes[i]
			b := p.Second.Of(a.Cane)
			if b == nil {
				continue
			}
			switch {
			case kind == KeepKind:
				sorts := []string{"keep", "remove", "other", "unsure"}
				add(index(sorts, a.keeps()), index(sorts, b.keeps()))
			case kind == SpurKind:
				add(oneIf(a.Fate == Spur), oneIf(b.Fate == Spur))
			case kind == PlaceKind && a.Fate == Lay && b.Fate == Lay:
				add(a.Place, b.Place)
			case kind == BudKind && a.Fate == b.Fate && a.Buds > 0 && b.Buds > 0:
				add(a.Buds, b.Buds)
			}
		}
	}
	if f.N >= leastShared {
		if w, err := agreement.Wilson(f.Same, f.N); err == nil {
			f.Share = &w
		}
	}
	if f.N >= leastKappa {
		f.Kappa = kappaOf(said, kind == BudKind)
	}
	return f
}

// kappaOf tables what two people said and gives kappa; nil where it isn't
// defined. Categories that nobody used change nothing, so they run from the
// least to the most that was said.
func kappaOf(said [][2]int, ordered bool) *agreement.Kappa {
	low, high := said[0][0], said[0][0]
	for _, s := range said {
		low, high = min(low, s[0], s[1]), max(high, s[0], s[1])
	}
	n := max(2, high-low+1)
	table := make([][]int, n)
	for i := range table {
		table[i] = make([]int, n)
	}
	for _, s := range said {
		table[s[0]-low][s[1]-low]++
	}
	var k agreement.Kappa
	var err error
	if ordered {
		k, err = agreement.WeightedKappa(table, agreement.LinearWeights(n))
	} else {
		k, err = agreement.CohenKappa(table)
	}
	if err != nil {
		return nil
	}
	return &k
}

// Group is the agreement of several people over canes, by what becomes of each
// (Fleiss 1971). choices holds, for each vine, the choice of each person, in
// the same order. Vines that not everybody chose for are left out by whoever
// calls. n is the number of canes; k is nil for too few, or where all said the
// same one thing.
func Group(choices [][]Choice) (n int, k *agreement.ManyKappa) {
	var counts [][]int
	for _, of := range choices {
		if len(of) < 2 {
			continue
		}
	canes:
		for _, d := range of[0].Canes {
			row := make([]int, len(Fates()))
			for i := range of {
				x := of[i].Of(d.Cane)
				if x == nil {
					continue canes
				}
				row[index(Fates(), x.Fate)]++
			}
			counts = append(counts, row)
		}
	}
	if len(counts) < leastShared {
		return len(counts), nil
	}
	out, err := agreement.FleissKappa(counts)
	if err != nil {
		return len(counts), nil
	}
	return len(counts), &out
}

func index[T comparable](of []T, v T) int {
	for i := range of {
		if of[i] == v {
			return i
		}
	}
	return 0
}

func oneIf(b bool) int {
	if b {
		return 1
	}
	return 0
}

// findingOf is the finding of a cane as far as it is a fault; "" for a sound
// or unclear one.
func (p Pair) findingOf(cane int) assess.Finding {
	c := p.Seen.cane(cane)
	if c == nil || c.Finding == assess.TooCloseToCall || c.Finding == assess.NotMeasurable {
		return ""
	}
	return c.Finding
}

func (p Pair) nearOf(cane int) string {
	if c := p.Seen.cane(cane); c != nil {
		return c.Near
	}
	return ""
}
