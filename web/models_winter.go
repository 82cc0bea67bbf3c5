package web

import "html/template"

// RulesPage shows and changes by what a block is judged and to what it is
// pruned.
type RulesPage struct {
	Frame
	ID               int64
	RuleSet, Name    string
	Forms            []FormOption
	Formulas         []FormulaOption
	Variety, Spacing string // Spacing in metres, "" while unknown
	Divided          bool
	// What the grower says of the density of canes, "" for nothing, and what is
	// assumed then.
	WoodLow, WoodHigh, WoodSource, WoodAssumed string
	Limits                                     []LimitField
	Canes                                      int    // that a preview counts
	CanesWinter                                string // in which they stand
	Winter                                     string // the present one
	YAML, TOML                                 string // addresses of the rule set
	FormYAML                                   string // address of the training form
	History                                    []RulesLine
	Tables                                     []TableLine
	TableSample                                string
}

// FormulaOption is a formula of balanced pruning to choose.
type FormulaOption struct {
	Name, For, Source string
	Chosen            bool
}

// LimitField is one limit to edit.
type LimitField struct{ Key, Title, Limit, Unit, Meaning, Source, Low, High, Words string }

// RulesLine is by what a block was judged from a winter on.
type RulesLine struct{ RuleSet, Form, Winter, Who, When, YAML, TOML string }

// TableLine is a descriptor table.
type TableLine struct {
	ID, Quantity, Source string
	Classes              []string
}

// PlanPage is what is to be done at a vine, in the order of work.
type PlanPage struct {
	Frame
	Where, Winter, Confirmed, Form, RuleSet string
	Drawing                                 template.HTML
	Buds                                    int
	Pointing, Advice                        string
	Missing, Notes                          []string
	Look, Away, Spurs, Lay                  []PlanLine
	Cautions                                []Caution
	PDF, RowPDF, Photo                      string // addresses
	Say                                     string // where to say that it's done
	Pruned                                  string // who said so; "" while nobody did
}

// PlanLine is one thing to do, to tick off.
type PlanLine struct {
	Words  string
	More   []string
	Source string
}

// YearsPart is what a vine's winters say, held side by side.
type YearsPart struct {
	Winter, Say              string // the latest winter; where to say something
	Remarks                  []string
	Renewal                  []RenewalLine
	Descents                 []DescentLine // of the latest winter's canes
	Sources                  []SourceOption
	Figures                  []FigureLine
	MissingInputs            []string
	Advice                   string
	Prunings, PruningsSource string // in words; "" when nothing is known
	PruningsKG, HarvestKG    string // as entered, "" for not
	Classes                  []ClassLine
}

// RenewalLine is one kept cane or spur in the line of renewal.
type RenewalLine struct {
	Winter         string
	Cane           int
	As, From, Fate string
	Warn           bool
}

// DescentLine is what one cane grew from.
type DescentLine struct {
	Cane      int
	From, Why string
	Sure      bool
	Value     string // as in SourceOption
}

// SourceOption is something that a cane can have grown from.
type SourceOption struct{ Value, Words string }

// FigureLine is a figure of the balance.
type FigureLine struct{ Words, Source string }

// ClassLine is a vine's class on a descriptor table; Class is "" where it can't
// be classed, and Words then say why.
type ClassLine struct{ Table, Quantity, Class, Words, Source string }

// BlockYears is what a block's winters say, held side by side.
type BlockYears struct {
	Winters []BlockYearLine // the oldest first
	Figures []Figure
}

// BlockYearLine is one winter of a block. Shares are those of confirmed canes,
// in words; Diameter and Internode are medians in mm, "" without any.
type BlockYearLine struct {
	Winter                              string
	Vines, Decided, Undecided, Waits    int
	Canes                               int
	Sound, Weak, Short, Vigorous, Close string
	Diameter, Internode                 string
}

// Figure is a drawing with what it shows in words.
type Figure struct{ Path, Words string }
