package assess

import "encoding/json"

// Cut says where a cane is cut.
type Cut struct {
	AfterNode int     `json:"after_node"` // the last node kept, counted from the head, from 1
	AlongMM   float64 `json:"along_mm"`   // of the cut, from the cane's base
	BeyondMM  float64 `json:"beyond_mm"`  // how far past the last kept node
	Px        *Point  `json:"px,omitempty"`
	// Why says where the distance comes from, with its source.
	Why Sentence `json:"why,omitzero"`
	// Check asks to count the buds on the vine, where a node may be missed below
	// the cut; empty where nothing speaks for that.
	Check Sentence `json:"check,omitzero"`
}

// Term is one weighed argument for a cane in a place. The terms of a Kept sum
// up to its Points, so that nothing is decided out of sight.
type Term struct {
	Name   string   `json:"name"`
	Points float64  `json:"points"`
	Words  Sentence `json:"words"`
}

// Kept is a cane that is kept for one place of the form.
type Kept struct {
	Place  Place    `json:"place"`
	Cane   int      `json:"cane"` // 0 when the place stays empty
	Buds   int      `json:"buds"`
	Cut    Cut      `json:"cut"`
	Points float64  `json:"points"`
	Terms  []Term   `json:"terms"`
	Why    Sentence `json:"why"` // the sentence for people
	// Laying says how the cane is brought to its wire; nil when the place stays
	// empty.
	Laying *Laying `json:"laying,omitempty"`
	// SecondBest is the best cane for this place among those that aren't kept;
	// 0 when there's none.
	SecondBest int      `json:"second_best"`
	SecondWhy  Sentence `json:"second_why,omitzero"`
	// SecondBehind is how many points the second best has less.
	SecondBehind float64 `json:"second_behind,omitempty"`
	Tie          bool    `json:"tie,omitempty"` // the second best is as good: the person decides
}

// Spur is a cane that is cut short to give next winter's wood.
type Spur struct {
	Cane int      `json:"cane"`
	Buds int      `json:"buds"`
	Cut  Cut      `json:"cut"`
	Why  Sentence `json:"why"`
}

// Removed is a cane that is cut away.
type Removed struct {
	Cane int      `json:"cane"`
	Why  Sentence `json:"why"`
}

// Doubt is a cane about which a person must decide before it can be chosen.
type Doubt struct {
	Cane int      `json:"cane"`
	Why  Sentence `json:"why"`
	// IfSound says what would become of the cane if the person finds it sound;
	// empty where that isn't the question.
	IfSound Sentence `json:"if_sound,omitzero"`
}

// Choice says what becomes of each cane of one vine this winter. Each cane is
// in exactly one of Keep, Spurs, Remove and Ask.
type Choice struct {
	Form      string `json:"form"`      // "four-cane@1"
	RuleSet   string `json:"rule_set"`  // "nodespan-default@1"
	Confirmed bool   `json:"confirmed"` // made from canes that a person confirmed
	// Keep has one entry for each place of the form, in the form's order; its
	// Cane is 0 where the place stays empty.
	Keep   []Kept    `json:"keep"`
	Spurs  []Spur    `json:"spurs"`
	Remove []Removed `json:"remove"`
	Ask    []Doubt   `json:"ask"`
	Buds   int       `json:"buds"` // left on the vine in all
	// Points is the sum over Keep: what the choice was made to be largest in,
	// after the number of places filled.
	Points  float64    `json:"points"`
	Missing []Sentence `json:"missing"` // what the form asks for and the vine doesn't have, in words
	Notes   []Sentence `json:"notes"`   // what to know before cutting
	// Phrases has the sentences of the choice by their English text, with what
	// it takes to tell them in other languages; a choice that was kept before
	// there were any has none.
	Phrases map[string]Phrase `json:"phrases,omitempty"`
}

// UnmarshalJSON reads a choice with its sentences.
func (c *Choice) UnmarshalJSON(data []byte) error {
	type plain Choice
	var p plain
	if err := json.Unmarshal(data, &p); err != nil {
		return err
	}
	Restore(&p, p.Phrases)
	*c = Choice(p)
	return nil
}
