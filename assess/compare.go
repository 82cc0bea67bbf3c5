package assess

import "slices"

// Fate is what becomes of one cane in a choice.
type Fate struct {
	What  string `json:"what"`            // "lay", "spur", "remove", "ask", or "" when the choice doesn't speak of it
	Place *Place `json:"place,omitempty"` // of one that is laid
	Buds  int    `json:"buds"`
}

// FateOf tells what becomes of a cane.
func (c *Choice) FateOf(cane int) Fate {
	for _, k := range c.Keep {
		if k.Cane == cane {
			place := k.Place
			return Fate{What: "lay", Place: &place, Buds: k.Buds}
		}
	}
	for _, s := range c.Spurs {
		if s.Cane == cane {
			return Fate{What: "spur", Buds: s.Buds}
		}
	}
	if slices.ContainsFunc(c.Remove, func(r Removed) bool { return r.Cane == cane }) {
		return Fate{What: "remove"}
	}
	if slices.ContainsFunc(c.Ask, func(d Doubt) bool { return d.Cane == cane }) {
		return Fate{What: "ask"}
	}
	return Fate{}
}

// Changed is one cane to which another choice does something else.
type Changed struct {
	Cane   int  `json:"cane"`
	Before Fate `json:"before"`
	After  Fate `json:"after"`
}

// Difference is what one choice does otherwise than another.
type Difference struct {
	Canes   []Changed `json:"canes"` // by number
	Buds    [2]int    `json:"buds"`  // left on the vine, before and after
	Emptied []Place   `json:"emptied"`
	Filled  []Place   `json:"filled"`
}

// Compare tells what changes from one choice to another of the same vine, so
// that a person who swaps a cane sees all that follows from it.
func Compare(before, after Choice) Difference {
	d := Difference{Canes: []Changed{}, Buds: [2]int{before.Buds, after.Buds}, Emptied: []Place{}, Filled: []Place{}}
	ids := map[int]bool{}
	for _, c := range []*Choice{&before, &after} {
		for _, k := range c.Keep {
			ids[k.Cane] = true
		}
		for _, s := range c.Spurs {
			ids[s.Cane] = true
		}
		for _, r := range c.Remove {
			ids[r.Cane] = true
		}
		for _, a := range c.Ask {
			ids[a.Cane] = true
		}
	}
	delete(ids, 0)
	for id := range ids {
		a, b := before.FateOf(id), after.FateOf(id)
		same := a.What == b.What && a.Buds == b.Buds && (a.Place == nil) == (b.Place == nil) && (a.Place == nil || *a.Place == *b.Place)
		if !same {
			d.Canes = append(d.Canes, Changed{id, a, b})
		}
	}
	slices.SortFunc(d.Canes, func(a, b Changed) int { return a.Cane - b.Cane })
	for i := range min(len(before.Keep), len(after.Keep)) {
		a, b := before.Keep[i], after.Keep[i]
		switch {
		case a.Cane != 0 && b.Cane == 0:
			d.Emptied = append(d.Emptied, a.Place)
		case a.Cane == 0 && b.Cane != 0:
			d.Filled = append(d.Filled, b.Place)
		}
	}
	return d
}
