package assess

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// Wishes are what a person has decided beforehand of the choice.
type Wishes struct {
	// Keep gives a cane, by number, to a place of the form, by its index. The
	// person stands above the findings: such a cane is kept whatever they are.
	Keep map[int]int `json:"keep,omitempty"`
	// Never are canes, by number, that are not to be kept as cane or spur.
	Never []int `json:"never,omitempty"`
}

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
// place or a cane that isn't there.
func SuggestConfirmed(m *Measurement, canes []ConfirmedCane, f Form, rs RuleSet, w Wishes) (Choice, error) {
	ss := make([]standing, 0, len(canes))
	for _, c := range canes {
		ss = append(ss, standing{Cane: c.Cane, old: c.Kind == OldWood})
	}
	return suggest(m, ss, true, f, rs, w, DefaultChoosing())
}

func suggest(m *Measurement, canes []standing, confirmed bool, f Form, rs RuleSet, w Wishes, p Choosing) (Choice, error) {
	out := Choice{Form: f.ID(), RuleSet: rs.ID(), Confirmed: confirmed,
		Keep: []Kept{}, Spurs: []Spur{}, Remove: []Removed{}, Ask: []Doubt{}, Missing: []string{}, Notes: []string{}}
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
		out.Keep = append(out.Keep, s.kept(i, o, best, options[i], used, f, p))
		out.Points += out.Keep[i].Points
		out.Buds += out.Keep[i].Buds
	}
	out.Points = math.Round(out.Points*10) / 10

	empty := 0
	for _, k := range out.Keep {
		if k.Cane == 0 {
			empty++
		}
	}
	spurs := s.spurs(f, rs, w, used, empty, p)
	for _, k := range spurs {
		used[k] = true
		c := &s.canes[k]
		out.Spurs = append(out.Spurs, Spur{Cane: c.ID, Buds: f.SpurBuds, Cut: c.cutAfter(f.SpurBuds, rs), Why: s.whySpur(c, f)})
		out.Buds += f.SpurBuds
	}
	s.rest(&out, f, w, used, p)
	s.missing(&out, f, rs)
	s.notes(&out, m, f, proven)
	return out, nil
}

func (w Wishes) check(s *stand, f Form) error {
	seen := map[int]int{}
	for place, id := range w.Keep {
		if place < 0 || place >= len(f.Places) {
			return Errorf(EInvalid, "the form %s has no place %d: its places are numbered from 0 to %d.", f.Name, place, len(f.Places)-1)
		}
		k := slices.IndexFunc(s.canes, func(c standing) bool { return c.ID == id })
		switch {
		case k < 0:
			return Errorf(EInvalid, "cane %d can't be kept: it was rejected, or nobody has ruled on it yet. Agree with it or correct it first.", id)
		case s.canes[k].old:
			return Errorf(EInvalid, "cane %d can't be kept: it was said to be old wood. Correct that first.", id)
		case slices.Contains(w.Never, id):
			return Errorf(EInvalid, "cane %d is both wished for and not to be kept: drop one of the two.", id)
		}
		if other, twice := seen[id]; twice {
			return Errorf(EInvalid, "cane %d can't fill two places (%s and %s): give it to one.", id, f.Places[min(other, place)], f.Places[max(other, place)])
		}
		seen[id] = place
	}
	return nil
}

// options lists, for each place, the canes that can be laid there.
func (s *stand) options(f Form, rs RuleSet, w Wishes, p Choosing) [][]option {
	wished := map[int]bool{}
	for _, id := range w.Keep {
		wished[id] = true
	}
	all := make([][]option, len(f.Places))
	for i, place := range f.Places {
		ways := []Place{place}
		if place.Direction == EitherWay {
			ways = []Place{{place.Wire, ToLeft}, {place.Wire, ToRight}}
		}
		want, asked := w.Keep[i]
		for k := range s.canes {
			c := &s.canes[k]
			switch {
			case asked && c.ID != want, !asked && wished[c.ID], slices.Contains(w.Never, c.ID):
				continue
			}
			if ok, _, _ := c.fruiting(s, f, p); !ok && !asked {
				continue
			}
			for _, way := range ways {
				if o, ok := s.consider(k, i, way, f, rs, p, asked); ok {
					if asked {
						// So much that no argument outweighs it, and told as such.
						o.terms = append(o.terms, Term{"wish", 1000, "wished for by a person"})
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
func (s *stand) kept(i int, o *option, best filling, options []option, used map[int]bool, f Form, p Choosing) Kept {
	second := s.secondBest(options, used)
	if o == nil {
		return Kept{Place: f.Places[i], Terms: []Term{}, Why: f.Places[i].String() + " stays empty: no sure and sound cane that isn't needed elsewhere can be laid there"}
	}
	c := &s.canes[o.cane]
	k := Kept{Place: o.place, Cane: c.ID, Buds: o.buds, Cut: o.cut, Points: o.points, Terms: slices.Clone(o.terms)}
	for _, other := range best.options[:i] {
		if other != nil && s.cross(other, o) {
			k.Terms = append(k.Terms, Term{"crossing", -p.Crossing, fmt.Sprintf("crosses cane %d", s.canes[other.cane].ID)})
			k.Points -= p.Crossing
		}
	}
	k.Points = math.Round(k.Points*10) / 10
	k.Laying = s.lay(o, DefaultTying())
	told := option{terms: k.Terms}
	k.Why = told.why("kept for " + o.place.String())
	if second != nil {
		k.SecondBest = s.canes[second.cane].ID
		k.SecondWhy = second.why(fmt.Sprintf("cane %d for %s", k.SecondBest, second.place))
		if o.points-second.points <= p.TiePoints {
			k.Tie = true
			k.SecondWhy += "; as good by these measures: decide between them on the vine"
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
		switch {
		case slices.Contains(w.Never, c.ID):
			why, ask = "a person decided not to keep it", false
		case c.Finding == OverVigorous && empty && !ask && strings.HasPrefix(why, c.Finding.InWords()):
			why, ask = why+"; a place stays empty, so decide whether it's better than none", true
		case ok && len(f.Places) == 0:
			why = "sound, but the form has no more room for a spur here"
		case ok && empty:
			why, ask = "sound, but not long enough to cover the places that stay empty: look whether it can be laid", true
		case ok:
			why = "sound, but the places are filled with canes that suit them better"
		}
		if ask {
			out.Ask = append(out.Ask, Doubt{c.ID, why})
		} else {
			out.Remove = append(out.Remove, Removed{c.ID, why})
		}
	}
}

func (s *stand) missing(out *Choice, f Form, rs RuleSet) {
	filled := 0
	var empty []string
	for _, k := range out.Keep {
		if k.Cane == 0 {
			empty = append(empty, k.Place.String())
		} else {
			filled++
		}
	}
	if len(empty) > 0 {
		verb := "stay"
		if len(empty) == 1 {
			verb = "stays"
		}
		out.Missing = append(out.Missing, fmt.Sprintf("%s sure and sound for %d places: %s %s empty rather than being filled with poor wood",
			canesInWords(filled), len(f.Places), strings.Join(empty, ", "), verb))
	}
	if more := len(out.Spurs) - f.Spurs; more > 0 {
		out.Missing = append(out.Missing, fmt.Sprintf("for what stays empty, %d more of the sound canes near the head %s left as a spur, so that there's wood next winter", more, isAre(more)))
	}
	if lack := f.Spurs - len(out.Spurs); lack > 0 && f.SpurSpacingMM > 0 {
		out.Missing = append(out.Missing, fmt.Sprintf("%d of %d spurs: no more sound canes at %.0f mm from each other", lack, f.Spurs, f.SpurSpacingMM))
	} else if lack > 0 {
		out.Missing = append(out.Missing, fmt.Sprintf("%d of %d spurs: no other sound cane within %s of the head and below the wire", lack, f.Spurs, rs.NearHead))
	}
}

func isAre(n int) string {
	if n == 1 {
		return "is"
	}
	return "are"
}

func canesInWords(n int) string {
	switch n {
	case 0:
		return "no cane is"
	case 1:
		return "only one cane is"
	}
	return fmt.Sprintf("only %d canes are", n)
}

func (s *stand) notes(out *Choice, m *Measurement, f Form, proven bool) {
	note := func(format string, args ...any) { out.Notes = append(out.Notes, fmt.Sprintf(format, args...)) }
	if !out.Confirmed {
		note("made from findings that nobody has confirmed yet")
	}
	if m.Outcome == Refused {
		note("the photo couldn't be measured, so there's nothing to choose from")
	}
	if !s.mm {
		note("no millimetre mapping: places of canes weren't weighed, only which way they lean")
	} else if !s.head {
		note("the head wasn't seen: distances from it weren't weighed, and left and right are taken from the middle of the canes")
	}
	if !s.lower && len(f.Places) > 0 {
		note("the lower fruiting wire wasn't seen: heights and reach along it weren't weighed")
	}
	if !s.upper && slices.ContainsFunc(f.Places, func(p Place) bool { return p.Wire == UpperWire }) {
		note("the upper fruiting wire wasn't seen: whether canes reach it wasn't weighed")
	}
	s.noteHead(f, note)
	if slices.ContainsFunc(m.Timber, func(t Timber) bool { return t.Kind == "old_wood" }) && len(f.Places) > 0 {
		note("last winter's fruiting wood is cut away behind the kept canes")
	}
	if !proven {
		note("there were too many canes to try every way of placing them; this is the best that was found")
	}
}

// noteHead holds the head's height against the form's.
func (s *stand) noteHead(f Form, note func(string, ...any)) {
	below, ok := s.headBelow()
	switch {
	case !ok:
	case below < 0:
		note("the head stands %.0f mm above the lower wire: it must come below, so take canes and a spur from lower down", -below)
	case below < f.HeadBelowMM[0]:
		note("the head stands %.0f mm below the lower wire, higher than the form's %.0f to %.0f mm: take canes from lower down where you can", below, f.HeadBelowMM[0], f.HeadBelowMM[1])
	case below > f.HeadBelowMM[1]:
		note("the head stands %.0f mm below the lower wire, lower than the form's %.0f to %.0f mm: canes lose length on the way up", below, f.HeadBelowMM[0], f.HeadBelowMM[1])
	}
}
