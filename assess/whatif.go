package assess

import "slices"

// mostWhatIfs bounds for how many uncertain canes the question is asked what
// would follow if they were sound: each takes a search of its own.
const mostWhatIfs = 8

// whatIf tells of each cane that was left to the person because of its finding
// what would become of it if the person finds it sound.
func (s *stand) whatIf(out *Choice, f Form, rs RuleSet, w Wishes, p Choosing) {
	asked := 0
	for i := range out.Ask {
		d := &out.Ask[i]
		k := slices.IndexFunc(s.canes, func(c standing) bool { return c.ID == d.Cane })
		c := &s.canes[k]
		switch c.Finding {
		case TooCloseToCall, NotMeasurable, "":
		default:
			continue
		}
		if asked++; asked > mostWhatIfs || len(f.Places) == 0 {
			return
		}
		was := c.Finding
		c.Finding = Sound
		// A rough answer is good enough where there are too many ways.
		p.Steps /= 4
		best, _ := s.fill(s.options(f, rs, w, p), p)
		c.Finding = was
		d.IfSound = s.ifSound(out, best, k)
	}
}

// ifSound puts in words what another filling does with cane k.
func (s *stand) ifSound(out *Choice, best filling, k int) Sentence {
	at := slices.IndexFunc(best.options, func(o *option) bool { return o != nil && o.cane == k })
	if at < 0 {
		return Tell("if it's sound it still isn't needed for a place")
	}
	place := best.options[at].place
	now := map[int]bool{}
	for _, o := range best.options {
		if o != nil {
			now[s.canes[o.cane].ID] = true
		}
	}
	for _, kept := range out.Keep {
		if kept.Cane != 0 && !now[kept.Cane] {
			return Tell("if it's sound it's better for %s, and cane %d isn't needed", place, kept.Cane)
		}
	}
	// Nobody is put out, so it fills a place that would stay empty; others may
	// move up for it.
	others := []Sentence{}
	for i, o := range best.options {
		if o == nil || o.cane == k {
			continue
		}
		if id := s.canes[o.cane].ID; out.Keep[i].Cane != id {
			others = append(others, Tell("and cane %d %s", id, o.place))
		}
	}
	if len(others) == 0 {
		return Tell("if it's sound, lay it %s: one place less stays empty", place)
	}
	return Tell("if it's sound, lay it %s, %s: one place less stays empty", place, joined(others, ", "))
}
