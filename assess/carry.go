package assess

import "slices"

// A cane of two measurements of one photo is the same when no place of either
// line lies farther from the other line than this, px: a program that follows
// it a little otherwise still means it, one that follows its neighbour doesn't.
const sameLinePx = 6

// Carry takes what people said of one measurement over to a newer one of the
// same photo, so that nothing that was said is lost because the photo was
// measured again. Of each cane the ruling that stands comes over, under the
// name and the time of who made it, by the number that the cane has now.
//
// What comes over is what was said of the wood itself: corrections, "not a
// cane", canes that were pointed out. An agreement comes over only where the
// program still says what was agreed with. What can't come over (another
// finding now, a cane that isn't reported any more) is given in left, by the
// cane's number now, 0 where there is none: a person looks again.
//
// there are the rulings that the newer measurement has already; a cane on which
// one of them was made later is left out.
func Carry(from *Measurement, rulings []Ruling, to *Measurement, there []Ruling) (carried, left []Ruling) {
	stands := standingRulings(rulings)
	now := standingRulings(there)
	var ids []int
	for id := range stands {
		ids = append(ids, id)
	}
	slices.Sort(ids)
	taken := slices.Clone(there)
	for _, id := range ids {
		r := stands[id]
		if r.Carried == 0 {
			r.Carried = r.ID
		}
		if slices.ContainsFunc(there, func(t Ruling) bool { return t.Carried != 0 && t.Carried == r.Carried }) {
			continue // has come over already
		}
		r.ID = 0
		old := findCane(from, rulings, id)
		if old == nil {
			continue
		}
		var ok bool
		if has(from, id) {
			r, ok = carryOne(from, old, r, to)
		} else {
			// Pointed out by a person: what was traced then stays as it was.
			if r.Said == Reject {
				continue // and taken back
			}
			missed := cloneCane(*old)
			if r.Line != nil {
				missed = cloneCane(*r.Line)
			}
			if findCane(to, taken, id) != nil {
				r.Cane = NextCane(to, taken)
			}
			missed.ID = r.Cane
			r.Said, r.Missed, r.Line, ok = Correct, &missed, nil, true
		}
		if later, is := now[r.Cane]; is && !later.When.Before(r.When) {
			continue
		}
		if !ok {
			left = append(left, r)
			continue
		}
		carried = append(carried, r)
		taken = append(taken, r)
	}
	slices.SortStableFunc(carried, func(a, b Ruling) int { return a.When.Compare(b.When) })
	return carried, left
}

// carryOne takes a ruling of a cane that the program reported over to the same
// cane of the newer measurement; false when it has to be said anew.
func carryOne(from *Measurement, old *Cane, r Ruling, to *Measurement) (Ruling, bool) {
	i := slices.IndexFunc(to.Canes, func(c Cane) bool { return sameLine(old.CentreLine, c.CentreLine) })
	if i < 0 {
		r.Cane = 0
		return r, false
	}
	c := &to.Canes[i]
	r.Cane = c.ID
	switch {
	case r.Said == Agree:
		if r.Seen.Finding != c.Finding {
			return r, false
		}
		r.Seen = SeenOf(to, c)
	case r.Line != nil:
		line := cloneCane(*r.Line)
		line.ID = c.ID
		r.Line = &line
	case r.Nodes != nil:
		// The places stay; how far along the cane they lie is by the new scale.
		r.Nodes = slices.Clone(r.Nodes)
		for k := range r.Nodes {
			if along, _, ok := c.NearestOn(r.Nodes[k].Px); ok {
				r.Nodes[k].AlongMM = along
			}
		}
	}
	return r, true
}

// SameCanes tells whether two measurements of one photo have the same canes
// under the same numbers.
func SameCanes(a, b *Measurement) bool {
	return len(a.Canes) == len(b.Canes) && !slices.ContainsFunc(a.Canes, func(c Cane) bool {
		i := slices.IndexFunc(b.Canes, func(o Cane) bool { return o.ID == c.ID })
		return i < 0 || !sameLine(c.CentreLine, b.Canes[i].CentreLine)
	})
}

// sameLine tells whether two lines run along the same wood.
func sameLine(a, b []Point) bool {
	if len(a) < 2 || len(b) < 2 {
		return false
	}
	near := func(a, b []Point) bool {
		for _, p := range a {
			if awayFrom(p, b) > sameLinePx {
				return false
			}
		}
		return true
	}
	return near(a, b) && near(b, a)
}
