package assess

import "slices"

// Wishes are what a person has decided beforehand of the choice. A place is
// named by its index in the form, a cane by its number. The person stands
// above the findings: a cane that is wished for is kept whatever they are.
type Wishes struct {
	// Keep gives a cane to a place.
	Keep map[int]int `json:"keep,omitempty"`
	// Spurs are canes to cut to spurs.
	Spurs []int `json:"spurs,omitempty"`
	// Never are canes that are not to be kept as cane or spur.
	Never []int `json:"never,omitempty"`
	// Empty are places that are to stay empty.
	Empty []int `json:"empty,omitempty"`
	// Buds gives a place another number of buds than the form asks of each cane.
	Buds map[int]int `json:"buds,omitempty"`
	// Way gives the direction of a place for which the form leaves it open.
	Way map[int]Direction `json:"way,omitempty"`
}

// Any tells whether anything is wished for.
func (w Wishes) Any() bool {
	return len(w.Keep)+len(w.Spurs)+len(w.Never)+len(w.Empty)+len(w.Buds)+len(w.Way) > 0
}

// check is EInvalid when a wish can't be had, whatever the choice.
func (w Wishes) check(s *stand, f Form) error {
	if err := w.checkPlaces(f); err != nil {
		return err
	}
	seen := map[int]int{}
	for place, id := range w.Keep {
		if err := s.mayKeep(id); err != nil {
			return err
		}
		switch {
		case slices.Contains(w.Never, id):
			return Errorf(EInvalid, "cane %d is both wished for and not to be kept: drop one of the two.", id)
		case slices.Contains(w.Spurs, id):
			return Errorf(EInvalid, "cane %d can't be both laid and cut to a spur: drop one of the two.", id)
		case slices.Contains(w.Empty, place):
			return Errorf(EInvalid, "%s is both to stay empty and to be filled with cane %d: drop one of the two.", f.Places[place], id)
		}
		if other, twice := seen[id]; twice {
			return Errorf(EInvalid, "cane %d can't fill two places (%s and %s): give it to one.", id, f.Places[min(other, place)], f.Places[max(other, place)])
		}
		seen[id] = place
	}
	for i, id := range w.Spurs {
		if err := s.mayKeep(id); err != nil {
			return err
		}
		if slices.Contains(w.Never, id) {
			return Errorf(EInvalid, "cane %d is both a spur and not to be kept: drop one of the two.", id)
		}
		if slices.Contains(w.Spurs[:i], id) {
			return Errorf(EInvalid, "cane %d is named twice as a spur: name it once.", id)
		}
	}
	if most := f.Spurs + len(f.Places); len(w.Spurs) > most {
		return Errorf(EInvalid, "%d canes are to be spurs, and this form has room for %d at most: drop some.", len(w.Spurs), most)
	}
	return nil
}

func (w Wishes) checkPlaces(f Form) error {
	exists := func(place int) error {
		if place >= 0 && place < len(f.Places) {
			return nil
		}
		if len(f.Places) == 0 {
			return Errorf(EInvalid, "the form %s lays no canes, so it has no place %d.", f.Name, place)
		}
		return Errorf(EInvalid, "the form %s has no place %d: its places are numbered from 0 to %d.", f.Name, place, len(f.Places)-1)
	}
	for place := range w.Keep {
		if err := exists(place); err != nil {
			return err
		}
	}
	for _, place := range w.Empty {
		if err := exists(place); err != nil {
			return err
		}
	}
	for place, n := range w.Buds {
		if err := exists(place); err != nil {
			return err
		}
		if _, err := f.WithBuds(n); err != nil {
			return err
		}
	}
	for place, way := range w.Way {
		if err := exists(place); err != nil {
			return err
		}
		if p := f.Places[place]; way != ToLeft && way != ToRight || p.Direction != EitherWay && p.Direction != way {
			return Errorf(EInvalid, "%s can't go %q: give left or right where the form leaves it open.", p, way)
		}
	}
	return nil
}

func (s *stand) mayKeep(id int) error {
	k := slices.IndexFunc(s.canes, func(c standing) bool { return c.ID == id })
	switch {
	case k < 0:
		return Errorf(EInvalid, "cane %d can't be kept: it was rejected, or nobody has ruled on it yet. Agree with it or correct it first.", id)
	case s.canes[k].old:
		return Errorf(EInvalid, "cane %d can't be kept: it was said to be old wood. Correct that first.", id)
	}
	return nil
}

// buds is how many are asked of the cane in a place.
func (w Wishes) buds(place int, f Form) int {
	if n, ok := w.Buds[place]; ok {
		return n
	}
	return f.Buds
}
