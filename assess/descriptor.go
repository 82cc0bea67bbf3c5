package assess

import (
	"fmt"
	"strings"
)

// Quantity is what a descriptor table classes.
type Quantity string

// What can be classed, each in mm.
const (
	InternodeLength   Quantity = "internode_length"
	InternodeDiameter Quantity = "internode_diameter"
)

// InWords is "internode length".
func (q Quantity) InWords() Sentence {
	if q == InternodeDiameter {
		return Tell("internode diameter")
	}
	return Tell("internode length")
}

// DescriptorClass is one class of a descriptor table, both ends within it.
// Classes may leave gaps between them, as published ones do.
type DescriptorClass struct {
	Note string  `json:"note,omitempty" yaml:"note,omitempty" toml:"note,omitempty"` // its number in the list, if it has one
	Name string  `json:"name" yaml:"name" toml:"name"`
	From float64 `json:"from" yaml:"from" toml:"from"` // mm
	// Through is its upper end, mm; 0 for an open one, which only the last
	// class can have.
	Through float64 `json:"through,omitempty" yaml:"through,omitempty" toml:"through,omitempty"`
}

// DescriptorTable is a descriptor's scale: built in where it's confirmed, else
// entered by the user with its source.
type DescriptorTable struct {
	Name     string            `json:"name" yaml:"name" toml:"name"`
	Version  int               `json:"version" yaml:"version" toml:"version"`
	Quantity Quantity          `json:"quantity" yaml:"quantity" toml:"quantity"`
	Classes  []DescriptorClass `json:"classes" yaml:"classes" toml:"classes"` // the smallest first
	// Internodes and Shoots are the least sample.
	Internodes int    `json:"least_internodes" yaml:"least_internodes" toml:"least_internodes"`
	Shoots     int    `json:"least_shoots" yaml:"least_shoots" toml:"least_shoots"`
	Source     string `json:"source" yaml:"source" toml:"source"`
}

const (
	protocolSource = "%s; sample after the Italian user manual for the OIV vine sheet: at least 10 internodes of the middle third of several shoots"
	// leastInternodes is the manual's number.
	leastInternodes = 10
	// leastShoots is our reading of the manual's "several".
	leastShoots = 3
)

// InternodeTable holds the classes for internode length of woody shoots of the
// Italian Central Ampelographic Committee: G. Dalmasso, VITE, Enciclopedia
// Italiana (Treccani),
// http://156.54.191.164/enciclopedia/ricerca/ampelografo_(industria). The
// scale leaves gaps between its classes, and so does this. No other
// descriptor's figures are built in: those of OIV 353 and 354 aren't
// confirmed.
func InternodeTable() DescriptorTable {
	return DescriptorTable{
		Name: "central-committee-internode-length", Version: 1, Quantity: InternodeLength,
		Classes:    []DescriptorClass{{Name: phrase("short"), From: 50, Through: 60}, {Name: phrase("medium"), From: 90, Through: 100}, {Name: phrase("long"), From: 120}},
		Internodes: leastInternodes, Shoots: leastShoots,
		Source: "Italian Central Ampelographic Committee, in G. Dalmasso, VITE, Enciclopedia Italiana",
	}
}

// ID is how records name the table: "name@version".
func (t DescriptorTable) ID() string { return fmt.Sprintf("%s@%d", t.Name, t.Version) }

// Validate returns nil, or an Error with code EInvalid that says what can't
// stand.
func (t DescriptorTable) Validate() error {
	if fs := t.faults(); len(fs) > 0 {
		return Errorf(EInvalid, "the descriptor table can't be used: %s", joinFaults(fs))
	}
	return nil
}

func (t DescriptorTable) faults() faults {
	var fs faults
	fs.name(t.Name, t.Version)
	if t.Quantity != InternodeLength && t.Quantity != InternodeDiameter {
		fs.say("quantity", "quantity is %q: give %s or %s.", t.Quantity, InternodeLength, InternodeDiameter)
	}
	if strings.TrimSpace(t.Source) == "" {
		fs.say("source", "there's no source: name where the classes come from, so that whoever reads a class can look it up.")
	}
	if t.Internodes < leastInternodes || t.Internodes > 1000 {
		fs.say("least_internodes", "least_internodes is %d: the protocol asks for %d or more.", t.Internodes, leastInternodes)
	}
	if t.Shoots < leastShoots || t.Shoots > 1000 {
		fs.say("least_shoots", "least_shoots is %d: the protocol asks for several shoots, taken here as %d or more.", t.Shoots, leastShoots)
	}
	if len(t.Classes) < 2 || len(t.Classes) > 20 {
		fs.say("classes", "there are %d classes: give 2 to 20.", len(t.Classes))
	}
	for i, c := range t.Classes {
		at := fmt.Sprintf("classes[%d]", i)
		if strings.TrimSpace(c.Name) == "" {
			fs.say(at, "class %d has no name.", i+1)
		}
		switch {
		case !(c.From >= 0 && c.From <= 1000 && c.Through >= 0 && c.Through <= 1000):
			fs.say(at, "class %d runs from %v to %v: give millimetres up to 1000.", i+1, c.From, c.Through)
		case c.Through == 0 && i+1 < len(t.Classes):
			fs.say(at, "class %d has no upper end, and isn't the last: give through.", i+1)
		case c.Through != 0 && c.Through < c.From:
			fs.say(at, "class %d runs from %s to %s, backwards.", i+1, trimNumber(c.From), trimNumber(c.Through))
		case i > 0 && c.From < t.Classes[i-1].Through:
			fs.say(at, "class %d begins at %s, within class %d: order them from the smallest.", i+1, trimNumber(c.From), i)
		}
	}
	return fs
}

func (c DescriptorClass) holds(v float64) bool {
	return v >= c.From && (c.Through == 0 || v <= c.Through)
}

// InWords is the class's name.
func (c DescriptorClass) InWords() Sentence { return Sentence{Text: c.Name} }

// classOf gives the class of a value, or between which it lies, and the
// class's note.
func (t DescriptorTable) classOf(v float64) (name Sentence, note string) {
	for i, c := range t.Classes {
		switch {
		case c.holds(v):
			return c.InWords(), c.Note
		case v < c.From && i == 0:
			return Tell("below %s", c), ""
		case v < c.From:
			return Tell("between %s and %s", t.Classes[i-1], c), ""
		}
	}
	return Tell("above %s", t.Classes[len(t.Classes)-1]), ""
}

// classesWithin names every class, and every gap between two, that an interval
// reaches into.
func (t DescriptorTable) classesWithin(q Interval) []Sentence {
	var out []Sentence
	add := func(v float64) {
		if v < q.Low || v > q.High {
			return
		}
		if name, _ := t.classOf(v); len(out) == 0 || out[len(out)-1].String() != name.String() {
			out = append(out, name)
		}
	}
	add(q.Low)
	for i, c := range t.Classes {
		add(c.From)
		if c.Through > 0 {
			add(c.Through)
			if i+1 < len(t.Classes) && t.Classes[i+1].From > c.Through {
				add((c.Through + t.Classes[i+1].From) / 2)
			}
		}
	}
	add(q.High)
	return out
}
