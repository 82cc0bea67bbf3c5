package assess

import (
	"slices"
	"time"
)

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

// Confirm reads the state of the vine on one photo from the rulings of its
// measurement: the canes that a person has ruled on and not rejected, by cane
// number. What nobody ruled on isn't in it, nor is what was rejected or said
// not to be a cane; old wood is, with its Kind.
//
// A finding that a person agreed with stays what it was then, by whichever
// rule set; what was corrected is judged by the rule set under which it was
// corrected, as far as Book has it.
//
// Of several rulings of one cane the latest stands alone, by When, and by its
// place in rulings where two were made at once: what an earlier one corrected
// is only kept if the later one repeats it. A ruling of a cane that m doesn't
// have counts for nothing. Where nodes or the diameter were corrected, what
// follows from them is derived anew and judged by rs; where nothing was, the
// finding stays what the person agreed with. m and rulings aren't changed.
func Confirm(m *Measurement, rulings []Ruling, rs RuleSet) []ConfirmedCane {
	return ConfirmBy(m, rulings, rs, nil)
}

// Book finds a rule set by its ID, "name@version"; false when it has none.
type Book func(id string) (RuleSet, bool)

// ConfirmBy is Confirm with a book of older rule sets.
func ConfirmBy(m *Measurement, rulings []Ruling, rs RuleSet, book Book) []ConfirmedCane {
	out := []ConfirmedCane{}
	for id, r := range standingRulings(rulings) {
		c := findCane(m, rulings, id)
		if c == nil || r.Said != Agree && r.Said != Correct || r.Kind == NotACane {
			continue
		}
		by := rs
		if book != nil && r.Seen.RuleSet != "" && r.Seen.RuleSet != rs.ID() {
			if then, ok := book(r.Seen.RuleSet); ok {
				by = then
			}
		}
		out = append(out, confirmOne(m, c, r, by))
	}
	slices.SortFunc(out, func(a, b ConfirmedCane) int { return a.Cane.ID - b.Cane.ID })
	return out
}

// standingRulings gives the latest ruling of each cane, by When, and by its
// place where two were made at once.
func standingRulings(rulings []Ruling) map[int]Ruling {
	inTime := slices.Clone(rulings)
	slices.SortStableFunc(inTime, func(a, b Ruling) int { return a.When.Compare(b.When) })
	stands := map[int]Ruling{}
	for _, r := range inTime {
		stands[r.Cane] = r
	}
	return stands
}

func confirmOne(m *Measurement, seen *Cane, r Ruling, rs RuleSet) ConfirmedCane {
	c := cloneCane(*seen)
	if r.Line != nil {
		c = cloneCane(*r.Line)
		c.Finding, c.Because = "", nil
	}
	c.ID = r.Cane
	then := Cane{Diameter: c.Diameter, Internode: c.Internode, Profile: c.Profile, Nodes: c.Nodes, Because: r.Seen.Because}
	RetellBecause(&then, rs)
	r.Seen.Because = then.Because
	cc := ConfirmedCane{Kind: OneYearCane, Said: r.Said, Who: r.Who, When: r.When, Ruling: r.ID, Seen: r.Seen, Added: !has(m, r.Cane)}
	if r.Kind == OldWood {
		cc.Kind = OldWood
	}
	if r.Said == Agree && r.Seen.Finding != "" {
		c.Finding, c.Because = r.Seen.Finding, slices.Clone(cc.Seen.Because)
	}
	anew := c.Finding == "" // an added or pulled cane was never judged
	if r.Nodes != nil {
		c.Nodes = slices.Clone(r.Nodes)
		c.NodeDoubt = 0 // a person has looked at them
		Derive(&c)
		anew = true
	}
	if r.DiameterMM > 0 {
		DefaultCombining().SetDiameterByHand(&c, r.DiameterMM)
		cc.ByHand = true
		anew = true
	}
	if anew {
		JudgeCane(&c, rs)
	}
	if r.Finding != "" && r.Finding != c.Finding {
		said := Tell("%s says %s; by its measures it is %s", r.Who, r.Finding, c.Finding)
		c.Because = append([]Sentence{said}, c.Because...)
		c.Finding = r.Finding
	}
	if cc.Kind == OldWood {
		c.Finding, c.Because = "", []Sentence{Tell("%s says that it is old wood", r.Who)}
	}
	cc.Cane = c
	return cc
}

// RetellBecause gives the reasons of a cane's finding, which a record keeps in
// English, what it takes to tell them in other languages: judging it anew by
// the rule set that judged it. Where that says anything else, the reasons stay
// as they were kept.
func RetellBecause(c *Cane, rs RuleSet) {
	anew := *c
	JudgeCane(&anew, rs)
	if slices.Equal(Texts(anew.Because), Texts(c.Because)) {
		c.Because = anew.Because
	}
}

// OfThisVine leaves out the canes that arise so far from the head that they
// may be the next vine's, farther than Choosing.NextVineMM; all stay where the
// head wasn't seen.
func OfThisVine(m *Measurement, canes []ConfirmedCane) []ConfirmedCane {
	p := DefaultChoosing()
	s := newStand(m, standingOf(canes), p.LeanOverMM)
	if !s.head {
		return canes
	}
	out := make([]ConfirmedCane, 0, len(canes))
	for _, c := range canes {
		k := slices.IndexFunc(s.canes, func(st standing) bool { return st.ID == c.Cane.ID })
		if !s.canes[k].placed || s.canes[k].away <= p.NextVineMM {
			out = append(out, c)
		}
	}
	return out
}

func has(m *Measurement, id int) bool {
	return slices.ContainsFunc(m.Canes, func(c Cane) bool { return c.ID == id })
}
