package assess

import (
	"fmt"
	"regexp"
	"strings"
	"sync"
)

// Threshold is one limit of a rule set, with what a person needs to judge it.
type Threshold struct {
	Limit   float64 `json:"limit" yaml:"limit" toml:"limit"`
	Unit    string  `json:"unit" yaml:"unit" toml:"unit"`          // "mm" for all limits so far
	Meaning string  `json:"meaning" yaml:"meaning" toml:"meaning"` // what happens on which side of it
	Source  string  `json:"source" yaml:"source" toml:"source"`    // publication, or "common practice, no source"
}

// String gives "6 mm".
func (t Threshold) String() string { return trimNumber(t.Limit) + " " + t.Unit }

// said is the limit as a sentence has it.
func (t Threshold) said() Length { return mm(t.Limit, -1) }

// RuleSet is a named, versioned set of limits by which canes are judged. A
// changed rule set is a new version: an old record names the version that
// judged it.
type RuleSet struct {
	Name    string `json:"name" yaml:"name" toml:"name"`
	Version int    `json:"version" yaml:"version" toml:"version"` // from 1

	// Weak: a cane whose diameter (median, internodes 1-8) is below.
	Weak Threshold `json:"weak" yaml:"weak" toml:"weak"`
	// ShortNoded: a cane whose internode length (median, internodes 1-8) is
	// below.
	ShortNoded Threshold `json:"short_noded" yaml:"short_noded" toml:"short_noded"`
	// OverVigorous: a cane whose diameter is above.
	OverVigorous Threshold `json:"over_vigorous" yaml:"over_vigorous" toml:"over_vigorous"`
	// LongNoded decides nothing by itself: an over-vigorous cane whose
	// internodes are also above it is told as one of bull type.
	LongNoded Threshold `json:"long_noded" yaml:"long_noded" toml:"long_noded"`

	// CutBeyond is how far beyond the last counted node a cane is cut.
	CutBeyond Threshold `json:"cut_beyond" yaml:"cut_beyond" toml:"cut_beyond"`
	// NearHead is how far from the head a cane may arise to count as one from
	// the head's surroundings: for the renewal spur, and for a cane to lay.
	NearHead Threshold `json:"near_head" yaml:"near_head" toml:"near_head"`
}

// DefaultRuleSet is "nodespan-default@1". Its limits are rounder than those of
// the guides they come from, so that nobody reads more precision into them
// than they have; a grower can change each.
func DefaultRuleSet() RuleSet {
	return RuleSet{
		Name:    "nodespan-default",
		Version: 1,
		Weak: Threshold{
			Limit: 6, Unit: "mm",
			Meaning: phrase("a cane thinner than this is weak: poor fruiting wood"),
			Source: phrase("E. Hellman, Cane Pruning, eXtension 2019, gives 1/4 to 1/2 in = 6.4 to 12.7 mm for a fruiting cane " +
				"(https://grapes.extension.org/2019/06/cane-pruning/); 6 mm is a rounder limit just below it"),
		},
		ShortNoded: Threshold{
			Limit: 50, Unit: "mm",
			Meaning: phrase("a cane whose internodes are shorter than this is short-noded: it grew little and its buds sit close together"),
			Source: phrase("lower end of the class short, 50 to 60 mm: Italian Central Ampelographic Committee, in G. Dalmasso, VITE, " +
				"Enciclopedia Italiana. Guides call 76 to 102 mm good, but sound Cabernet Sauvignon had means of 48 to 56 mm " +
				"over whole shoots (AJEV table, Oakville 1993-95), so the limit isn't higher"),
		},
		OverVigorous: Threshold{
			Limit: 13, Unit: "mm",
			Meaning: phrase("a cane thicker than this is over-vigorous: less hardy and hard to lay; a caution, not a proven loss of fruit"),
			Source: phrase("eXtension Grapes, What are bull canes, gives more than 1/2 in = 12.7 mm " +
				"(https://grapes.extension.org/what-are-bull-canes-and-how-do-i-handle-them/); 13 mm is a rounder limit just above it. " +
				"In a Marlborough trial fruitfulness still rose at 14 mm (Eltom, Winefield & Trought 2014)"),
		},
		LongNoded: Threshold{
			Limit: 127, Unit: "mm",
			Meaning: phrase("an over-vigorous cane whose internodes are longer than this is of bull type"),
			Source:  phrase("eXtension Grapes, What are bull canes: 5 to 6 in = 127 to 152 mm and more"),
		},
		CutBeyond: Threshold{
			Limit: 19, Unit: "mm",
			Meaning: phrase("a kept cane is cut this far beyond the last counted node, so that its bud doesn't dry out"),
			Source: phrase("table-grape handbook: 3/4 in = 19 mm past the last counted node " +
				"(https://www.grovida.us/growing-table-grapes/step-select-and-prune-fruiting-canes.html)"),
		},
		NearHead: Threshold{
			Limit: 150, Unit: "mm",
			Meaning: phrase("a cane that arises within this distance of the head counts as one near the head"),
			Source:  phrase("common practice, no source"),
		},
	}
}

// ID is how records name the rule set: "name@version".
func (rs RuleSet) ID() string { return fmt.Sprintf("%s@%d", rs.Name, rs.Version) }

// ruleName is compiled when it is first asked for: that takes longer than the
// rest of this package's start, and every photo is measured in a process of its
// own, which starts once.
var ruleName = sync.OnceValue(func() *regexp.Regexp {
	return regexp.MustCompile(`^[\p{L}\p{N}][\p{L}\p{N} ._-]{0,79}$`)
})

// Validate returns nil, or an Error with code EInvalid whose message names
// every limit that can't stand and what to enter instead, one a line.
func (rs RuleSet) Validate() error {
	if fs := rs.faults(); len(fs) > 0 {
		return Errorf(EInvalid, "the rule set can't be used: %s", joinFaults(fs))
	}
	return nil
}

func (rs RuleSet) faults() faults {
	var fs faults
	fs.name(rs.Name, rs.Version)
	for _, c := range rs.limits() {
		t := *c.t
		if t.Unit != "mm" {
			fs.say(c.name+".unit", "%s has the unit %q: give it in mm.", c.name, t.Unit)
		}
		// The negated form catches NaN, which no comparison does.
		if !(t.Limit >= c.low && t.Limit <= c.high) {
			fs.say(c.name+".limit", "%s is %s mm: give a value from %s to %s mm.", c.name, trimNumber(t.Limit), trimNumber(c.low), trimNumber(c.high))
		}
		if strings.TrimSpace(t.Source) == "" {
			fs.say(c.name+".source", "%s has no source: name where the value comes from, or write \"common practice, no source\".", c.name)
		}
		if len(t.Source) > longestNote || len(t.Meaning) > longestNote {
			fs.say(c.name, "meaning or source of %s is longer than %d characters: shorten it.", c.name, longestNote)
		}
	}
	if rs.Weak.Limit >= rs.OverVigorous.Limit {
		fs.say("weak.limit", "weak (%s) isn't below over_vigorous (%s): every cane would be one or the other.", rs.Weak.said(), rs.OverVigorous.said())
	}
	if rs.ShortNoded.Limit >= rs.LongNoded.Limit {
		fs.say("short_noded.limit", "short_noded (%s) isn't below long_noded (%s): lower the first or raise the second.", rs.ShortNoded.said(), rs.LongNoded.said())
	}
	return fs
}

// A namedLimit is a threshold with its key and the range in which a value
// can be meant; outside it, it's a slip (centimetres, a lost decimal point).
type namedLimit struct {
	name      string
	t         *Threshold
	low, high float64
}

func (rs *RuleSet) limits() []namedLimit {
	return []namedLimit{
		{"weak", &rs.Weak, 1, 30},
		{"short_noded", &rs.ShortNoded, 1, 300},
		{"over_vigorous", &rs.OverVigorous, 1, 50},
		{"long_noded", &rs.LongNoded, 1, 500},
		{"cut_beyond", &rs.CutBeyond, 0, 60},
		{"near_head", &rs.NearHead, 10, 1000},
	}
}

// trimNumber writes a limit as a person would: "6", "6.4".
func trimNumber(v float64) string {
	s := fmt.Sprintf("%.2f", v)
	return strings.TrimSuffix(strings.TrimRight(s, "0"), ".")
}
