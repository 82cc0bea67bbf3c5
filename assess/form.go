package assess

import (
	"fmt"
	"slices"
	"strings"
)

// Level is one of the fixed wires that canes are tied to.
type Level string

// Direction is the way along the wire from the head, as seen in the photo.
type Direction string

// The fixed wires, and the two ways along them.
const (
	LowerWire Level     = "lower"
	UpperWire Level     = "upper"
	ToLeft    Direction = "left"
	ToRight   Direction = "right"
	// EitherWay is for a form with one cane: it may go left or right.
	EitherWay Direction = "either"
)

// Place is a stretch of wire that one fruiting cane is to fill.
type Place struct {
	Wire      Level     `json:"wire" yaml:"wire" toml:"wire"`
	Direction Direction `json:"direction" yaml:"direction" toml:"direction"`
}

// String gives "lower left", or "lower wire, either way".
func (p Place) String() string {
	if p.Direction == EitherWay {
		return string(p.Wire) + " wire, either way"
	}
	return string(p.Wire) + " " + string(p.Direction)
}

// InWords is "lower left", or "lower wire, either way".
func (p Place) InWords() Sentence {
	switch p {
	case Place{LowerWire, ToLeft}:
		return Tell("lower left")
	case Place{LowerWire, ToRight}:
		return Tell("lower right")
	case Place{UpperWire, ToLeft}:
		return Tell("upper left")
	case Place{UpperWire, ToRight}:
		return Tell("upper right")
	case Place{LowerWire, EitherWay}:
		return Tell("lower wire, either way")
	case Place{UpperWire, EitherWay}:
		return Tell("upper wire, either way")
	}
	return cited(p.String())
}

// InWords is "lower", of a wire.
func (l Level) InWords() Sentence {
	if l == UpperWire {
		return Tell("upper")
	}
	return Tell("lower")
}

// InWords is "left", "right" or "either".
func (d Direction) InWords() Sentence {
	switch d {
	case ToLeft:
		return Tell("left")
	case ToRight:
		return Tell("right")
	}
	return Tell("either")
}

// Form is a training form as data: what a vine of a block is pruned to.
type Form struct {
	Name    string `json:"name" yaml:"name" toml:"name"`
	Version int    `json:"version" yaml:"version" toml:"version"`
	Title   string `json:"title" yaml:"title" toml:"title"` // for people
	// Places are the stretches of wire to fill, the most important first;
	// empty for a form that keeps spurs alone.
	Places []Place `json:"places" yaml:"places" toml:"places"`
	// Buds is the number of buds asked of each fruiting cane; BudsMin and
	// BudsMax bound what a person may ask instead.
	Buds    int `json:"buds_per_cane" yaml:"buds_per_cane" toml:"buds_per_cane"`
	BudsMin int `json:"buds_per_cane_min" yaml:"buds_per_cane_min" toml:"buds_per_cane_min"`
	BudsMax int `json:"buds_per_cane_max" yaml:"buds_per_cane_max" toml:"buds_per_cane_max"`
	// Spurs is how many spurs are asked for, SpurBuds how many buds each has.
	Spurs    int `json:"spurs" yaml:"spurs" toml:"spurs"`
	SpurBuds int `json:"spur_buds" yaml:"spur_buds" toml:"spur_buds"`
	// SpurSpacingMM is the least distance between spurs along a cordon, mm; 0
	// where spurs stand at the head.
	SpurSpacingMM float64 `json:"spur_spacing_mm" yaml:"spur_spacing_mm" toml:"spur_spacing_mm"`
	// HeadBelowMM are the least and the most that the head may stand below the
	// lower fruiting wire, mm.
	HeadBelowMM [2]float64 `json:"head_below_wire_mm" yaml:"head_below_wire_mm" toml:"head_below_wire_mm"`
	Source      string     `json:"source" yaml:"source" toml:"source"`
}

// ID is how records name the form: "name@version".
func (f Form) ID() string { return fmt.Sprintf("%s@%d", f.Name, f.Version) }

// MaxBuds is the most buds that a vine of this form may be left with.
func (f Form) MaxBuds() int { return len(f.Places)*f.BudsMax + f.Spurs*f.SpurBuds }

// WithBuds gives the form with another number of buds asked of each cane, and
// EInvalid when that's outside of the form's bounds.
func (f Form) WithBuds(n int) (Form, error) {
	if n < f.BudsMin || n > f.BudsMax {
		return f, Errorf(EInvalid, "%d buds a cane isn't in this form's range: ask for %d to %d.", n, f.BudsMin, f.BudsMax)
	}
	f.Buds = n
	return f, nil
}

const (
	noSource   = "common practice, no source"
	headSource = "head 100 to 150 mm below the wire: Cool Climate Classroom (https://coolclimateclassroom.com/viticulture/pruning), stated there for spur pruning; widened to 20 to 250 mm, common practice, no source"
)

// Forms are the training forms that the program knows, the default first. The
// result is the caller's own to change.
func Forms() []Form {
	lowerBoth := []Place{{LowerWire, ToLeft}, {LowerWire, ToRight}}
	return []Form{
		{
			Name: "four-cane", Version: 1, Title: phrase("Four canes on two wires"),
			Places: append(slices.Clone(lowerBoth), Place{UpperWire, ToLeft}, Place{UpperWire, ToRight}),
			Buds:   8, BudsMin: 6, BudsMax: 8, Spurs: 1, SpurBuds: 2,
			HeadBelowMM: [2]float64{20, 250},
			Source:      phrase("canes, buds and spur: " + noSource + "; " + headSource),
		},
		{
			Name: "three-cane", Version: 1, Title: phrase("Three canes on two wires"),
			Places: append(slices.Clone(lowerBoth), Place{UpperWire, ToLeft}, Place{UpperWire, ToRight})[:3],
			Buds:   8, BudsMin: 6, BudsMax: 8, Spurs: 1, SpurBuds: 2,
			HeadBelowMM: [2]float64{20, 250},
			Source:      phrase("canes, buds and spur: " + noSource + "; " + headSource),
		},
		{
			Name: "two-cane", Version: 1, Title: phrase("Two canes, one each way (double Guyot)"),
			Places: slices.Clone(lowerBoth),
			Buds:   8, BudsMin: 6, BudsMax: 15, Spurs: 2, SpurBuds: 2,
			HeadBelowMM: [2]float64{20, 250},
			Source: phrase("up to 12 to 15 buds a cane, a two-bud spur below each cane: Selecting fruiting canes, Yuma Sun 2022-06-27; " +
				"default of 8: " + noSource + "; " + headSource),
		},
		{
			Name: "one-cane-and-spur", Version: 1, Title: phrase("One cane and a spur (single Guyot)"),
			Places: []Place{{LowerWire, EitherWay}},
			Buds:   8, BudsMin: 6, BudsMax: 15, Spurs: 1, SpurBuds: 2,
			HeadBelowMM: [2]float64{20, 250},
			Source:      phrase("at least 8 buds a cane, spurs of 2 buds: Hanwell estate, Winter pruning (http://www.hanwellwine.co.uk/winter-pruning/); " + headSource),
		},
		{
			Name: "spur-cordon", Version: 1, Title: phrase("Spur-pruned cordon"),
			Places: []Place{},
			Spurs:  10, SpurBuds: 2, SpurSpacingMM: 150,
			HeadBelowMM: [2]float64{0, 150},
			Source: phrase("crown 100 to 150 mm below the wire: Cool Climate Classroom; spacing of 150 to 200 mm: Pruning for flowers and fruit, " +
				"p. 128, stated there for canes; ten two-bud spurs: " + noSource),
		},
	}
}

// DefaultForm is the first of Forms.
func DefaultForm() Form { return Forms()[0] }

// FormByName finds a form by "name" or "name@version"; ENotFound, with the
// names that exist, when there is none.
func FormByName(name string) (Form, error) {
	var known []string
	for _, f := range Forms() {
		if name == f.Name || name == f.ID() {
			return f, nil
		}
		known = append(known, f.Name)
	}
	return Form{}, Errorf(ENotFound, "there's no training form %q; choose one of %s.", name, strings.Join(known, ", "))
}

// Validate returns nil, or an Error with code EInvalid that says what can't
// stand.
func (f Form) Validate() error {
	if fs := f.faults(); len(fs) > 0 {
		return Errorf(EInvalid, "the training form %q can't be used: %s", f.Name, joinFaults(fs))
	}
	return nil
}

func (f Form) faults() faults {
	var fs faults
	fs.name(f.Name, f.Version)
	canes := len(f.Places) > 0
	if len(f.Places) == 0 && f.Spurs == 0 {
		fs.say("places", "it keeps neither canes nor spurs; name at least one place or spur.")
	}
	if len(f.Places) > 12 || f.Spurs > 100 || f.Spurs < 0 {
		fs.say("spurs", "%d canes and %d spurs; a form has at most 12 canes and 100 spurs.", len(f.Places), f.Spurs)
	}
	switch {
	case canes && (f.BudsMin < 1 || f.BudsMax > 60 || f.BudsMin > f.BudsMax):
		fs.say("buds_per_cane_min", "buds a cane run from %d to %d; give a range within 1 to 60.", f.BudsMin, f.BudsMax)
	case canes && (f.Buds < f.BudsMin || f.Buds > f.BudsMax):
		fs.say("buds_per_cane", "%d buds are asked of a cane, outside its own range of %d to %d.", f.Buds, f.BudsMin, f.BudsMax)
	case canes && f.SpurBuds > f.BudsMax:
		fs.say("spur_buds", "a spur has more buds (%d) than a cane may have (%d).", f.SpurBuds, f.BudsMax)
	}
	// A form without spurs of its own leaves them for places that stay empty.
	if f.SpurBuds < 1 || f.SpurBuds > 4 {
		fs.say("spur_buds", "a spur has %d buds; give 1 to 4.", f.SpurBuds)
	}
	if !(f.SpurSpacingMM >= 0 && f.SpurSpacingMM <= 1000) {
		fs.say("spur_spacing_mm", "spurs stand %v mm apart; give 0 to 1000.", f.SpurSpacingMM)
	}
	if !(f.HeadBelowMM[0] <= f.HeadBelowMM[1] && f.HeadBelowMM[0] >= -1000 && f.HeadBelowMM[1] <= 2000) {
		fs.say("head_below_wire_mm", "the head stands %v to %v mm below the wire; give the least before the most, in millimetres.", f.HeadBelowMM[0], f.HeadBelowMM[1])
	}
	if strings.TrimSpace(f.Source) == "" || len(f.Source) > longestNote {
		fs.say("source", "its source is missing or longer than %d characters; name one, or write %q.", longestNote, noSource)
	}
	if strings.TrimSpace(f.Title) == "" || len(f.Title) > longestWho {
		fs.say("title", "its title is missing or longer than %d characters: write what people call it.", longestWho)
	}
	for i, p := range f.Places {
		at := fmt.Sprintf("places[%d]", i)
		if p.Wire != LowerWire && p.Wire != UpperWire {
			fs.say(at, "place %d is on the wire %q; give lower or upper.", i+1, p.Wire)
		}
		if p.Direction != ToLeft && p.Direction != ToRight && p.Direction != EitherWay {
			fs.say(at, "place %d goes %q; give left, right or either.", i+1, p.Direction)
		}
	}
	return fs
}
