package assess

import (
	"math"
	"slices"
)

// spurs chooses the canes to cut to spurs among those that aren't used: at the
// head, or along a cordon where the form gives a spacing. At the head each
// place that stays empty asks for one spur more than the form does. It
// returns indices in the stand, those first that a person wished for.
func (s *stand) spurs(f Form, rs RuleSet, w Wishes, used map[int]bool, empty int, p Choosing) []int {
	var can, chosen []int
	for k := range s.canes {
		c := &s.canes[k]
		if slices.Contains(w.Spurs, c.ID) {
			chosen = append(chosen, k)
			continue
		}
		if used[k] || c.old || c.Finding != Sound || !c.placed || len(c.Nodes) < f.SpurBuds || slices.Contains(w.Never, c.ID) {
			continue
		}
		// A cane that a person may yet lay in an empty place isn't cut short.
		if _, _, ask := c.fruiting(s, f, p); ask && (empty > 0 || s.head && c.away > p.NextVineMM) {
			continue
		}
		if f.SpurSpacingMM == 0 {
			if s.head && c.away > rs.NearHead.Limit || s.lower && c.rise[0] < 0 {
				continue
			}
		}
		can = append(can, k)
	}
	if f.SpurSpacingMM > 0 {
		// Those wished for stand; the others keep their distance from them.
		can = slices.DeleteFunc(can, func(k int) bool {
			return slices.ContainsFunc(chosen, func(j int) bool { return math.Abs(s.canes[k].x-s.canes[j].x) < f.SpurSpacingMM })
		})
		f.Spurs = max(0, f.Spurs-len(chosen))
		return append(chosen, s.spursAlong(can, f)...)
	}
	return s.spursAtHead(chosen, can, f.Spurs+empty)
}

// spursAtHead takes those nearest to the head, one on each side of it where
// there are to be two. Without a seen head or millimetres it takes the lowest.
func (s *stand) spursAtHead(chosen, can []int, most int) []int {
	slices.SortStableFunc(can, func(a, b int) int {
		x, y := s.nearness(a), s.nearness(b)
		switch {
		case x < y:
			return -1
		case x > y:
			return 1
		}
		return s.canes[a].ID - s.canes[b].ID
	})
	for len(chosen) < most && len(can) > 0 {
		pick := 0
		if len(chosen) > 0 {
			last := s.canes[chosen[len(chosen)-1]].x
			if j := slices.IndexFunc(can, func(k int) bool { return s.canes[k].x*last < 0 }); j >= 0 {
				pick = j
			}
		}
		chosen = append(chosen, can[pick])
		can = slices.Delete(can, pick, pick+1)
	}
	return chosen
}

func (s *stand) nearness(k int) float64 {
	if s.head {
		return s.canes[k].away
	}
	return -s.canes[k].y
}

// spursAlong takes as many as fit at the form's spacing, and of the ways to do
// so the one with the thickest canes. Without millimetres there's no spacing
// to keep, and none is taken.
func (s *stand) spursAlong(can []int, f Form) []int {
	if !s.mm {
		return nil
	}
	slices.SortStableFunc(can, func(a, b int) int {
		switch x, y := s.canes[a].x, s.canes[b].x; {
		case x < y:
			return -1
		case x > y:
			return 1
		}
		return s.canes[a].ID - s.canes[b].ID
	})
	// best[n][i]: the most diameter that n spurs give with the last one at i;
	// a plain table, since the last place decides what may follow.
	n := len(can)
	type cell struct {
		sum  float64
		from int
	}
	most := min(f.Spurs, n)
	best := make([][]cell, most+1)
	for count := 1; count <= most; count++ {
		best[count] = make([]cell, n)
		for i := range can {
			here := cell{math.Inf(-1), -1}
			if count == 1 {
				here.sum = 0
			}
			for j := 0; j < i && count > 1; j++ {
				if s.canes[can[i]].x-s.canes[can[j]].x >= f.SpurSpacingMM && best[count-1][j].sum > here.sum {
					here = cell{best[count-1][j].sum, j}
				}
			}
			here.sum += s.canes[can[i]].Diameter.Value
			best[count][i] = here
		}
	}
	for count := most; count >= 1; count-- {
		end, sum := -1, math.Inf(-1)
		for i, c := range best[count] {
			if c.sum > sum {
				end, sum = i, c.sum
			}
		}
		if end < 0 {
			continue
		}
		var chosen []int
		for i, k := end, count; k >= 1; k-- {
			chosen = append(chosen, can[i])
			i = best[k][i].from
		}
		slices.Reverse(chosen)
		return chosen
	}
	return nil
}

func (s *stand) whySpur(c *standing, f Form) Sentence {
	if f.SpurSpacingMM > 0 {
		return Tell("cut to a %d-bud spur: %s, %s, at least %s from the next", f.SpurBuds, c.Finding, mm(c.Diameter.Value, 1), mm(f.SpurSpacingMM, 0))
	}
	where := Tell("the lowest that isn't kept")
	if s.head {
		where = Tell("arises %s from the head", mm(c.away, 0))
	}
	return Tell("cut to a %d-bud spur, for next winter's wood: %s, %s, %s", f.SpurBuds, c.Finding, mm(c.Diameter.Value, 1), where)
}
