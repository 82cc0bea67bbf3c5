package assess

import "slices"

// Plan is a choice in the order in which it's carried out: away with what
// goes, spurs, then the kept canes, the lower wire first.
type Plan struct {
	Winter  string `json:"winter"`
	Form    string `json:"form"`
	RuleSet string `json:"rule_set"`
	// OldWood are last winter's fruiting canes, to be cut away behind this
	// winter's.
	OldWood []Sentence `json:"old_wood"`
	Away    []Removed  `json:"away"`
	Look    []Doubt    `json:"look"` // not to be cut before a person has decided
	Spurs   []Spur     `json:"spurs"`
	Lay     []Kept     `json:"lay"`
	Empty   []Place    `json:"empty"`
	Buds    int        `json:"buds"`
	// Pointing counts the buds of all laid canes once they're laid as told.
	Pointing BudsPointing `json:"pointing"`
	Missing  []Sentence   `json:"missing"`
	Notes    []Sentence   `json:"notes"`
}

// PlanOf puts a choice in the order of work. past may be nil: then nothing is
// known of last winter's canes.
func PlanOf(winter string, ch Choice, past *Past) Plan {
	p := Plan{
		Winter: winter, Form: ch.Form, RuleSet: ch.RuleSet, OldWood: []Sentence{}, Away: ch.Remove, Look: ch.Ask, Spurs: ch.Spurs,
		Lay: []Kept{}, Empty: ch.Empty(), Buds: ch.Buds, Missing: ch.Missing, Notes: ch.Notes,
	}
	if past != nil && past.Choice != nil {
		for _, k := range past.Choice.Keep {
			if k.Cane != 0 {
				p.OldWood = append(p.OldWood, Tell("what was laid %s in %s (cane %d of then)", k.Place, past.Winter, k.Cane))
			}
		}
	}
	for _, k := range ch.Keep {
		if k.Cane == 0 {
			continue
		}
		p.Lay = append(p.Lay, k)
		if l := k.Laying; l != nil {
			b := l.Turned
			if b == (BudsPointing{}) { // kept before turns were reckoned
				b = l.Buds
			}
			p.Pointing.Up += b.Up
			p.Pointing.Out += b.Out
			p.Pointing.Down += b.Down
			p.Pointing.Rising += b.Rising
			p.Pointing.Unknown += b.Unknown
		}
	}
	slices.SortStableFunc(p.Lay, func(a, b Kept) int {
		return wireOrder(a.Place.Wire) - wireOrder(b.Place.Wire)
	})
	return p
}

func wireOrder(w Level) int {
	if w == UpperWire {
		return 1
	}
	return 0
}
