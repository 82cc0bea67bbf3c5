package assess

import (
	"math"
	"slices"
)

// Suggest proposes a choice from a judged measurement that nobody has
// confirmed: good to look at, never a vine's state. EInvalid when the form or
// the rule set can't be used.
func Suggest(m *Measurement, f Form, rs RuleSet) (Choice, error) {
	canes := make([]standing, 0, len(m.Canes))
	for _, c := range m.Canes {
		canes = append(canes, standing{Cane: c})
	}
	return suggest(m, canes, false, f, rs, Wishes{}, DefaultChoosing())
}

// SuggestConfirmed proposes a choice from the canes that a person has
// confirmed; m gives the wires, the head and the scale. A cane that isn't in
// canes, since it was rejected or nobody ruled on it, is never chosen.
// EInvalid when the form or the rule set can't be used, or a wish names a
// place or a cane that isn't there, or more than the form has room for.
func SuggestConfirmed(m *Measurement, canes []ConfirmedCane, f Form, rs RuleSet, w Wishes) (Choice, error) {
	return SuggestKnowing(m, canes, nil, f, rs, w)
}

// SuggestKnowing is SuggestConfirmed with what is known of the canes' descent
// from last winter: a cane from a spur counts like one from the head.
func SuggestKnowing(m *Measurement, canes []ConfirmedCane, from []Descent, f Form, rs RuleSet, w Wishes) (Choice, error) {
	ss := make([]standing, 0, len(canes))
	for _, c := range canes {
		st := standing{Cane: c.Cane, old: c.Kind == OldWood}
		for _, d := range from {
			if d.Cane == c.Cane.ID && d.From != FromUnknown {
				st.from = d
			}
		}
		ss = append(ss, st)
	}
	return suggest(m, ss, true, f, rs, w, DefaultChoosing())
}

func suggest(m *Measurement, canes []standing, confirmed bool, f Form, rs RuleSet, w Wishes, p Choosing) (Choice, error) {
	out := Choice{Form: f.ID(), RuleSet: rs.ID(), Confirmed: confirmed,
		Keep: []Kept{}, Spurs: []Spur{}, Remove: []Removed{}, Ask: []Doubt{}, Missing: []Sentence{}, Notes: []Sentence{}}
	if err := f.Validate(); err != nil {
		return out, err
	}
	if err := rs.Validate(); err != nil {
		return out, err
	}
	s := newStand(m, canes, p.LeanOverMM)
	if err := w.check(&s, f); err != nil {
		return out, err
	}

	options := s.options(f, rs, w, p)
	best, proven := s.fill(options, p)
	used := map[int]bool{} // indices of canes that the choice keeps
	for _, o := range best.options {
		if o != nil {
			used[o.cane] = true
		}
	}
	for i, o := range best.options {
		out.Keep = append(out.Keep, s.kept(i, o, best, options[i], used, f, w, p))
		out.Points += out.Keep[i].Points
		out.Buds += out.Keep[i].Buds
	}
	out.Points = math.Round(out.Points*10) / 10

	empty := out.Empty()
	if most := f.Spurs + len(empty); len(w.Spurs) > most {
		return out, Errorf(EInvalid, "%d canes are to be spurs, and there's room for %d: this form has %d, and one more for each place that stays empty. Drop some.", len(w.Spurs), most, f.Spurs)
	}
	for _, k := range s.spurs(f, rs, w, used, len(empty), p) {
		used[k] = true
		c := &s.canes[k]
		why := s.whySpur(c, f)
		if slices.Contains(w.Spurs, c.ID) {
			why = Tell("%s, wished for by a person", why)
		}
		out.Spurs = append(out.Spurs, Spur{Cane: c.ID, Buds: f.SpurBuds, Cut: c.cutAfter(f.SpurBuds, rs), Why: why})
		out.Buds += f.SpurBuds
	}
	s.rest(&out, f, w, used, p)
	s.whatIf(&out, f, rs, w, p)
	s.missing(&out, f, rs)
	s.notes(&out, m, f, proven)
	out.Phrases = PhrasesOf(&out)
	return out, nil
}

// Empty lists the places that stay empty, in the form's order.
func (c *Choice) Empty() []Place {
	var out []Place
	for _, k := range c.Keep {
		if k.Cane == 0 {
			out = append(out, k.Place)
		}
	}
	return out
}

// options lists, for each place, the canes that can be laid there.
func (s *stand) options(f Form, rs RuleSet, w Wishes, p Choosing) [][]option {
	wished := map[int]bool{}
	for _, id := range w.Keep {
		wished[id] = true
	}
	for _, id := range slices.Concat(w.Spurs, w.Never) {
		wished[id] = true
	}
	all := make([][]option, len(f.Places))
	for i, place := range f.Places {
		if slices.Contains(w.Empty, i) {
			continue
		}
		ways := []Place{place}
		if place.Direction == EitherWay {
			ways = []Place{{place.Wire, ToLeft}, {place.Wire, ToRight}}
		}
		if way, ok := w.Way[i]; ok {
			ways = []Place{{place.Wire, way}}
		}
		want, asked := w.Keep[i]
		for k := range s.canes {
			c := &s.canes[k]
			if asked && c.ID != want || !asked && wished[c.ID] {
				continue
			}
			if ok, _, _ := c.fruiting(s, f, p); !ok && !asked {
				continue
			}
			for _, way := range ways {
				if o, ok := s.consider(k, i, way, w.buds(i, f), f, rs, p, asked); ok {
					if asked {
						// So much that no argument outweighs it, and told as such.
						o.terms = append(o.terms, Term{"wish", 1000, Tell("wished for by a person")})
						o.points += 1000
					}
					all[i] = append(all[i], o)
				}
			}
		}
	}
	return all
}

// kept turns the option o of place i into what the person reads.
func (s *stand) kept(i int, o *option, best filling, options []option, used map[int]bool, f Form, w Wishes, p Choosing) Kept {
	second := s.secondBest(options, used)
	if o == nil {
		why := Tell("%s stays empty: no sure and sound cane that isn't needed elsewhere can be laid there", f.Places[i])
		if slices.Contains(w.Empty, i) {
			why = Tell("%s stays empty: a person decided so", f.Places[i])
		}
		return Kept{Place: f.Places[i], Terms: []Term{}, Why: why}
	}
	c := &s.canes[o.cane]
	k := Kept{Place: o.place, Cane: c.ID, Buds: o.buds, Cut: o.cut, Points: o.points, Terms: slices.Clone(o.terms)}
	for _, other := range best.options[:i] {
		if other != nil {
			for _, t := range s.against(other, o, p) {
				k.Terms = append(k.Terms, t)
				k.Points += t.Points
			}
		}
	}
	k.Points = math.Round(k.Points*10) / 10
	k.Laying = s.lay(o, DefaultTying())
	told := option{terms: k.Terms}
	k.Why = Tell("kept for %s: %s", o.place, told.why())
	if second != nil {
		k.SecondBest = s.canes[second.cane].ID
		k.SecondWhy = Tell("cane %d for %s: %s", k.SecondBest, second.place, second.why())
		k.SecondBehind = math.Round((o.points-second.points)*10) / 10
		if k.SecondBehind <= p.TiePoints {
			k.Tie = true
			k.SecondWhy = Tell("%s; as good by these measures: decide between them on the vine", k.SecondWhy)
		}
	}
	return k
}

func (s *stand) secondBest(options []option, used map[int]bool) *option {
	var second *option
	for j := range options {
		o := &options[j]
		if !used[o.cane] && (second == nil || o.points > second.points) {
			second = o
		}
	}
	return second
}

// rest sorts the canes that are neither kept nor cut to spurs into those to
// remove and those that a person must look at.
func (s *stand) rest(out *Choice, f Form, w Wishes, used map[int]bool, p Choosing) {
	empty := slices.ContainsFunc(out.Keep, func(k Kept) bool { return k.Cane == 0 })
	for k := range s.canes {
		if used[k] {
			continue
		}
		c := &s.canes[k]
		ok, why, ask := c.fruiting(s, f, p)
		tied := out.tiedFor(c.ID)
		switch {
		case slices.Contains(w.Never, c.ID):
			why, ask = Tell("a person decided not to keep it"), false
		case ok && tied != nil:
			why, ask = Tell("as good by these measures as the cane kept for %s: decide between them on the vine", *tied), true
		case c.Finding == OverVigorous && empty && !ask && why.Text == findingReason:
			why, ask = Tell("%s; a place stays empty, so decide whether it's better than none", why), true
		case ok && len(f.Places) == 0:
			why = Tell("sound, but the form has no more room for a spur here")
		case ok && empty:
			why, ask = Tell("sound, but not long enough to cover the places that stay empty: look whether it can be laid"), true
		case ok:
			why = Tell("sound, but the places are filled with canes that suit them better")
		}
		if ask {
			out.Ask = append(out.Ask, Doubt{Cane: c.ID, Why: why})
		} else {
			out.Remove = append(out.Remove, Removed{c.ID, why})
		}
	}
}

// tiedFor names the place for which a cane that isn't kept is as good as the
// one that is; nil when there's none.
func (c *Choice) tiedFor(cane int) *Place {
	for _, k := range c.Keep {
		if k.Tie && k.SecondBest == cane {
			return &k.Place
		}
	}
	return nil
}

func (s *stand) missing(out *Choice, f Form, rs RuleSet) {
	miss := func(what Sentence) { out.Missing = append(out.Missing, what) }
	var empty []Sentence
	for _, p := range out.Empty() {
		empty = append(empty, p.InWords())
	}
	if len(empty) > 0 {
		canes := TellCount(len(f.Places)-len(empty), "only one cane is", "only %d canes are", len(f.Places)-len(empty))
		if len(f.Places) == len(empty) {
			canes = Tell("no cane is")
		}
		miss(TellCount(len(empty), "%s sure and sound for %d places: %s stays empty rather than being filled with poor wood", "%s sure and sound for %d places: %s stay empty rather than being filled with poor wood", canes, len(f.Places), joined(empty, ", ")))
	}
	// The spurs beyond those that the form asks for stand in for empty places.
	for i := f.Spurs; i < len(out.Spurs) && i-f.Spurs < len(empty); i++ {
		place, cane := empty[i-f.Spurs], out.Spurs[i].Cane
		if away, ok := s.fromHead(cane); ok {
			miss(Tell("for %s, which stays empty, leave a spur on cane %d, %s from the head, so that there's wood next winter", place, cane, mm(away, 0)))
		} else {
			miss(Tell("for %s, which stays empty, leave a spur on cane %d, so that there's wood next winter", place, cane))
		}
	}
	if n := len(empty) - max(0, len(out.Spurs)-f.Spurs); n > 0 && f.Spurs > 0 && len(out.Spurs) >= f.Spurs {
		miss(Tell("for %s no sound cane stands near the head to leave as one more spur: look for a shoot from the head itself next summer", joined(empty[len(empty)-n:], ", ")))
	}
	if lack := f.Spurs - len(out.Spurs); lack > 0 && f.SpurSpacingMM > 0 {
		miss(Tell("%d of %d spurs: no more sound canes at %s from each other", lack, f.Spurs, mm(f.SpurSpacingMM, 0)))
	} else if lack > 0 {
		miss(Tell("%d of %d spurs: no other sound cane within %s of the head and below the wire", lack, f.Spurs, rs.NearHead.said()))
	}
}

// fromHead is how far a cane arises from the head, mm; false where that isn't
// known.
func (s *stand) fromHead(id int) (float64, bool) {
	k := slices.IndexFunc(s.canes, func(c standing) bool { return c.ID == id })
	if k < 0 || !s.head || !s.canes[k].placed {
		return 0, false
	}
	return s.canes[k].away, true
}

func (s *stand) notes(out *Choice, m *Measurement, f Form, proven bool) {
	note := func(s Sentence) { out.Notes = append(out.Notes, s) }
	if !out.Confirmed {
		note(Tell("made from findings that nobody has confirmed yet"))
	}
	if m.Outcome == Refused {
		note(Tell("the photo couldn't be measured, so there's nothing to choose from"))
	}
	if !s.mm {
		note(Tell("no millimetre mapping: places of canes weren't weighed, only which way they lean"))
	} else if !s.head {
		note(Tell("the head wasn't seen: distances and sides from it weren't weighed, only how the canes stand to each other and lean"))
	}
	if !s.lower && len(f.Places) > 0 {
		note(Tell("the lower fruiting wire wasn't seen: heights and reach along it weren't weighed"))
	}
	if !s.upper && slices.ContainsFunc(f.Places, func(p Place) bool { return p.Wire == UpperWire }) {
		note(Tell("the upper fruiting wire wasn't seen: whether canes reach it wasn't weighed"))
	}
	s.noteHead(f, note)
	if slices.ContainsFunc(m.Timber, func(t Timber) bool { return t.Kind == "old_wood" }) && len(f.Places) > 0 {
		note(Tell("last winter's fruiting wood is cut away behind the kept canes"))
	}
	if !proven {
		note(Tell("there were too many canes to try every way of placing them; this is the best that was found"))
	}
}

// noteHead holds the head's height against the form's.
func (s *stand) noteHead(f Form, note func(Sentence)) {
	below, ok := s.headBelow()
	switch {
	case !ok:
	case below < 0:
		note(Tell("the head stands %s above the lower wire: it must come below, so take canes and a spur from lower down", mm(-below, 0)))
	case below < f.HeadBelowMM[0]:
		note(Tell("the head stands %s below the lower wire, higher than the form's %s to %s: take canes from lower down where you can", mm(below, 0), Length{f.HeadBelowMM[0], 0, true}, mm(f.HeadBelowMM[1], 0)))
	case below > f.HeadBelowMM[1]:
		note(Tell("the head stands %s below the lower wire, lower than the form's %s to %s: canes lose length on the way up", mm(below, 0), Length{f.HeadBelowMM[0], 0, true}, mm(f.HeadBelowMM[1], 0)))
	}
}
