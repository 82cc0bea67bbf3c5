package exercise

import (
	"cmp"
	"slices"

	"nodespan/assess"
)

// Mistake is a way in which a participant's choices differ from the trainer's
// again and again.
type Mistake struct {
	// What is "keeps" (what the trainer cuts away), "removes" (what the trainer
	// keeps), "more_buds", "fewer_buds", "place", "no_spur", "other_spur",
	// "needless_spur", or "head".
	What string `json:"what"`
	// Finding and Near narrow down which canes; "" where they don't have it in
	// common.
	Finding assess.Finding `json:"finding,omitempty"`
	Near    string         `json:"near,omitempty"` // "near" or "far"
	Times   int            `json:"times"`
	Vines   []int          `json:"vines"` // to look at again: places in what Mistakes was given
}

// leastTimes is on how many vines something must happen until it is told as
// recurring: once is no habit.
const leastTimes = 2

// An occurrence is one difference on one cane.
type occurrence struct {
	vine    int
	finding assess.Finding
	near    string
}

// Mistakes finds what recurs in the differences between a participant's
// choices (First) and the trainer's (Second): the most frequent first, each as
// narrow as it recurs. A cane counts in one of them only.
func Mistakes(pairs []Pair) []Mistake {
	by := map[string][]occurrence{}
	for vine, p := range pairs {
		note := func(what string, cane int) {
			o := occurrence{vine: vine}
			if cane > 0 {
				o.finding, o.near = p.findingOf(cane), p.nearOf(cane)
			}
			by[what] = append(by[what], o)
		}
		for _, r := range Compare(p.First, p.Second).Rows {
			a, b := r.First, r.Second
			switch {
			case a.keeps() == "keep" && b.Fate == Remove:
				note("keeps", r.Cane)
			case a.Fate == Remove && b.keeps() == "keep":
				note("removes", r.Cane)
			case slices.Contains(r.Differs, PlaceKind):
				note("place", 0)
			}
			if slices.Contains(r.Differs, BudKind) {
				what := "more_buds"
				if a.Buds < b.Buds {
					what = "fewer_buds"
				}
				note(what, 0)
			}
		}
		mine, theirs := spursOf(p.First), spursOf(p.Second)
		switch {
		case len(mine) == 0 && len(theirs) > 0:
			note("no_spur", 0)
		case len(mine) > 0 && len(theirs) == 0:
			note("needless_spur", 0)
		case len(mine) > 0 && !slices.Equal(mine, theirs):
			note("other_spur", 0)
		}
		if a, b := p.First.Head, p.Second.Head; a != b && a != "" && b != "" && a != HeadUnsure && b != HeadUnsure {
			note("head", 0)
		}
	}
	var out []Mistake
	for what, all := range by {
		// The narrowest grouping first; what doesn't recur there is tried wider.
		for _, narrow := range []func(occurrence) occurrence{
			func(o occurrence) occurrence { return occurrence{finding: o.finding, near: o.near} },
			func(o occurrence) occurrence { return occurrence{finding: o.finding} },
			func(o occurrence) occurrence { return occurrence{near: o.near} },
			func(occurrence) occurrence { return occurrence{} },
		} {
			groups := map[occurrence][]occurrence{}
			for _, o := range all {
				groups[narrow(o)] = append(groups[narrow(o)], o)
			}
			all = nil
			for g, of := range groups {
				if vines := vinesOf(of); len(vines) >= leastTimes {
					out = append(out, Mistake{What: what, Finding: g.finding, Near: g.near, Times: len(of), Vines: vines})
				} else {
					all = append(all, of...)
				}
			}
		}
	}
	slices.SortFunc(out, func(a, b Mistake) int {
		return cmp.Or(b.Times-a.Times, cmp.Compare(a.What, b.What), cmp.Compare(a.Finding, b.Finding), cmp.Compare(a.Near, b.Near))
	})
	return out
}

func spursOf(c Choice) []int {
	var out []int
	for _, d := range c.Canes {
		if d.Fate == Spur {
			out = append(out, d.Cane)
		}
	}
	return out
}

func vinesOf(of []occurrence) []int {
	var out []int
	for _, o := range of {
		if !slices.Contains(out, o.vine) {
			out = append(out, o.vine)
		}
	}
	slices.Sort(out)
	return out
}
