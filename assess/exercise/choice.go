package exercise

import (
	"math"
	"slices"
	"unicode/utf8"

	"nodespan/assess"
)

// Fate is what somebody would do with a cane.
type Fate string

// The fates of a cane.
const (
	Lay    Fate = "lay"    // keep it, and lay it in a place
	Spur   Fate = "spur"   // cut it to a spur
	Remove Fate = "remove" // cut it away
	Other  Fate = "other"  // it is another vine's
	Unsure Fate = "ask"    // can't be told from what was shown
)

// Fates lists the fates.
func Fates() []Fate { return []Fate{Lay, Spur, Remove, Other, Unsure} }

// Head is how the vine's head stands.
type Head string

// How a head can stand.
const (
	HeadRight  Head = "right"
	HeadHigh   Head = "high" // too high: it must come down
	HeadLow    Head = "low"
	HeadUnsure Head = "unsure" // can't be told from what was shown
)

// Heads lists how a head can stand.
func Heads() []Head { return []Head{HeadRight, HeadHigh, HeadLow, HeadUnsure} }

// Reason is why somebody decided so, from a short list.
type Reason string

// Reasons lists the reasons to choose from; own words may stand beside or
// instead.
func Reasons() []Reason {
	return []Reason{"well_grown", "well_placed", "near_head", "renewal", "weak", "short_noded", "over_vigorous", "far_from_head", "badly_placed", "damaged", "place_filled"}
}

// Decision is what somebody would do with one cane.
type Decision struct {
	Cane int  `json:"cane"`
	Fate Fate `json:"fate"`
	// Place is which of the form's places the cane is laid in, from 1; 0 for one
	// that isn't laid.
	Place int `json:"place,omitempty"`
	// CutPx is where the last bud to keep was tapped, for a cane that is laid or
	// cut to a spur.
	CutPx *assess.Point `json:"cut_px,omitempty"`
	// CutMM is how far from the cane's base that lies, and Buds how many buds are
	// left; Seal works both out. Buds is 0 where no node of the cane was seen.
	CutMM  float64 `json:"cut_mm,omitempty"`
	Buds   int     `json:"buds,omitempty"`
	Reason Reason  `json:"reason,omitempty"`
	Words  string  `json:"words,omitempty"`
}

// keeps tells whether the cane is kept: "keep", "remove", "other" for another
// vine's, or "unsure".
func (d *Decision) keeps() string {
	switch d.Fate {
	case Lay, Spur:
		return "keep"
	case Remove, Other:
		return string(d.Fate)
	}
	return "unsure"
}

// Choice is what somebody would do with a vine.
type Choice struct {
	Canes     []Decision `json:"canes"` // one for each cane, by number
	Head      Head       `json:"head,omitempty"`
	HeadWords string     `json:"head_words,omitempty"`
	Note      string     `json:"note,omitempty"`
}

// Of is the decision on a cane, nil when there is none.
func (c *Choice) Of(cane int) *Decision {
	for i := range c.Canes {
		if c.Canes[i].Cane == cane {
			return &c.Canes[i]
		}
	}
	return nil
}

// Buds is how many buds are left on the vine; known is false when on a kept
// cane they couldn't be counted.
func (c *Choice) Buds() (n int, known bool) {
	known = true
	for _, d := range c.Canes {
		if d.keeps() == "keep" {
			n += d.Buds
			known = known && d.Buds > 0
		}
	}
	return n, known
}

// Bounds of what may be sealed; beyond them it's a slip or an attack.
const (
	longestWords = 500 // characters
	// offCanePx is how far off a cane's middle line a tap may lie, as a share of
	// the photo's longer side. Larger forgives more; smaller takes a tap beside
	// the cane for a slip.
	offCane = 0.08
)

// Seal checks a choice for a vine and gives it as it is kept: one decision for
// each cane, by number, with the buds that the taps mean. EInvalid, with a
// sentence of what to do, when a cane is left out or a decision can't stand.
func (s *Seen) Seal(c Choice) (Choice, error) {
	out := Choice{Head: c.Head, HeadWords: c.HeadWords, Note: c.Note, Canes: []Decision{}}
	if !slices.Contains(Heads(), c.Head) {
		return out, assess.Errorf(assess.EInvalid, "Say whether the head stands right, too high or too low, or that it can't be told.")
	}
	for _, words := range []string{c.HeadWords, c.Note} {
		if utf8.RuneCountInString(words) > longestWords {
			return out, assess.Errorf(assess.EInvalid, "The words are longer than %d characters: shorten them.", longestWords)
		}
	}
	filled := map[int]int{} // place -> cane
	for _, cane := range s.Canes {
		d := c.Of(cane.ID)
		if d == nil {
			return out, assess.Errorf(assess.EInvalid, "Nothing is decided of cane %d yet: say what becomes of it, or that you can't tell.", cane.ID)
		}
		kept, err := s.decide(*d, &cane)
		if err != nil {
			return out, err
		}
		if other := filled[kept.Place]; kept.Place > 0 && other != 0 {
			return out, assess.Errorf(assess.EInvalid, "Canes %d and %d can't both be laid in the same place: give it to one.", other, cane.ID)
		}
		if kept.Place > 0 {
			filled[kept.Place] = cane.ID
		}
		out.Canes = append(out.Canes, kept)
	}
	if len(c.Canes) != len(out.Canes) {
		return out, assess.Errorf(assess.EInvalid, "%d decisions were sent for %d canes: load the page anew and try again.", len(c.Canes), len(out.Canes))
	}
	return out, nil
}

func (s *Seen) decide(d Decision, cane *SeenCane) (Decision, error) {
	d.CutMM, d.Buds = 0, 0
	switch {
	case !slices.Contains(Fates(), d.Fate):
		return d, assess.Errorf(assess.EInvalid, "%q isn't anything that can become of cane %d.", d.Fate, d.Cane)
	case d.Reason != "" && !slices.Contains(Reasons(), d.Reason):
		return d, assess.Errorf(assess.EInvalid, "%q isn't among the reasons: choose one, or use your own words.", d.Reason)
	case utf8.RuneCountInString(d.Words) > longestWords:
		return d, assess.Errorf(assess.EInvalid, "The words on cane %d are longer than %d characters: shorten them.", d.Cane, longestWords)
	case d.Fate == Lay && (d.Place < 1 || d.Place > len(s.Form.Places)):
		return d, assess.Errorf(assess.EInvalid, "Say in which place cane %d is laid.", d.Cane)
	}
	if d.Fate != Lay {
		d.Place = 0
	}
	if d.Fate != Lay && d.Fate != Spur {
		d.CutPx = nil
		return d, nil
	}
	if d.CutPx == nil {
		return d, assess.Errorf(assess.EInvalid, "Tap the last bud that stays on cane %d: it is cut behind it.", d.Cane)
	}
	along, away, ok := cane.NearestOn(*d.CutPx)
	if !ok || away > offCane*float64(max(s.WidthPx, s.HeightPx)) {
		return d, assess.Errorf(assess.EInvalid, "The cut of cane %d doesn't lie on it: tap its last bud again.", d.Cane)
	}
	d.CutMM = along
	d.Buds = budsAt(cane, along)
	return d, nil
}

// budsAt is how many buds a cut behind the node nearest to along leaves; 0 for
// a cane without nodes.
func budsAt(c *SeenCane, along float64) int {
	best, away := 0, math.Inf(1)
	for i, n := range c.Nodes {
		if d := math.Abs(n.AlongMM - along); d < away {
			best, away = i+1, d
		}
	}
	return best
}

// OfProgram is a suggestion of the program as a choice; of the head it says
// nothing.
func (s *Seen) OfProgram(ch assess.Choice) Choice {
	out := Choice{Canes: []Decision{}}
	for _, cane := range s.Canes {
		d := Decision{Cane: cane.ID, Fate: Unsure}
		switch f := ch.FateOf(cane.ID); f.What {
		case "lay":
			d.Fate, d.Buds = Lay, f.Buds
		case "spur":
			d.Fate, d.Buds = Spur, f.Buds
		case "remove":
			d.Fate = Remove
		}
		for i, k := range ch.Keep {
			if k.Cane == cane.ID {
				d.Place, d.CutPx, d.CutMM = i+1, k.Cut.Px, k.Cut.AlongMM
			}
		}
		for _, k := range ch.Spurs {
			if k.Cane == cane.ID {
				d.CutPx, d.CutMM = k.Cut.Px, k.Cut.AlongMM
			}
		}
		out.Canes = append(out.Canes, d)
	}
	return out
}

// Remark is something that a trainer leaves on a choice: a word, or an arrow
// on the photo with a word.
type Remark struct {
	Cane int           `json:"cane,omitempty"` // 0 where it isn't of one cane
	From *assess.Point `json:"from_px,omitempty"`
	To   *assess.Point `json:"to_px,omitempty"` // the arrow's tip
	Text string        `json:"text"`
}

// Check is EInvalid when a remark can't be kept.
func (r Remark) Check(s *Seen) error {
	inside := func(p *assess.Point) bool {
		return p != nil && p[0] >= 0 && p[1] >= 0 && p[0] <= float64(s.WidthPx) && p[1] <= float64(s.HeightPx)
	}
	switch n := utf8.RuneCountInString(r.Text); {
	case n > longestWords:
		return assess.Errorf(assess.EInvalid, "The words are longer than %d characters: shorten them.", longestWords)
	case n == 0 && r.To == nil:
		return assess.Errorf(assess.EInvalid, "There is nothing to keep: write a word, or draw an arrow.")
	case r.Cane != 0 && s.cane(r.Cane) == nil:
		return assess.Errorf(assess.EInvalid, "This vine has no cane %d: load the page anew and try again.", r.Cane)
	case (r.From == nil) != (r.To == nil):
		return assess.Errorf(assess.EInvalid, "An arrow needs a tail and a tip: tap both on the photo.")
	case r.To != nil && (!inside(r.From) || !inside(r.To)):
		return assess.Errorf(assess.EInvalid, "The arrow must lie on the photo: draw it again.")
	case r.To != nil && math.Hypot(r.To[0]-r.From[0], r.To[1]-r.From[1]) < 0.01*float64(max(s.WidthPx, s.HeightPx)):
		return assess.Errorf(assess.EInvalid, "The arrow is too short to be seen: tap its tail and its tip further apart.")
	}
	return nil
}

// Done is what was really done at a vine: what a photo taken after pruning
// shows, as a person says it.
type Done struct {
	Canes []DoneCane `json:"canes"`
	Note  string     `json:"note,omitempty"`
}

// DoneCane is what was really done with a cane.
type DoneCane struct {
	Cane int  `json:"cane"`
	Fate Fate `json:"fate"`
}

// Check is EInvalid when it can't be kept.
func (d Done) Check(s *Seen) error {
	if utf8.RuneCountInString(d.Note) > longestWords {
		return assess.Errorf(assess.EInvalid, "The words are longer than %d characters: shorten them.", longestWords)
	}
	seen := map[int]bool{}
	for _, c := range d.Canes {
		if s.cane(c.Cane) == nil || seen[c.Cane] || !slices.Contains(Fates(), c.Fate) {
			return assess.Errorf(assess.EInvalid, "What was done with cane %d can't be read: load the page anew and try again.", c.Cane)
		}
		seen[c.Cane] = true
	}
	return nil
}

// PlannedDone is what was planned with a cane, and what was done.
type PlannedDone struct {
	Cane    int  `json:"cane"`
	Planned Fate `json:"planned"`
	Done    Fate `json:"done"` // "" where nobody said
	Same    bool `json:"same"`
}

// HoldDone holds what was done against what was planned, cane by cane.
func HoldDone(planned Choice, done Done) []PlannedDone {
	out := []PlannedDone{}
	for _, d := range planned.Canes {
		p := PlannedDone{Cane: d.Cane, Planned: d.Fate}
		for _, x := range done.Canes {
			if x.Cane == d.Cane {
				p.Done = x.Fate
			}
		}
		p.Same = p.Done == p.Planned
		out = append(out, p)
	}
	return out
}
