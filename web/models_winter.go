package web

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
	Limits           []LimitField
	Canes            int    // that a preview counts
	CanesWinter      string // in which they stand
	Winter           string // the present one
	YAML, TOML       string // addresses
	History          []RulesLine
	Tables           []TableLine
	TableSample      string
}

// FormulaOption is a formula of balanced pruning to choose.
type FormulaOption struct {
	Name, For, Source string
	Chosen            bool
}

// LimitField is one limit to edit.
type LimitField struct{ Key, Title, Limit, Unit, Meaning, Source, Low, High string }

// RulesLine is by what a block was judged from a winter on.
type RulesLine struct{ RuleSet, Form, Winter, Who, When, YAML, TOML string }

// TableLine is a descriptor table.
type TableLine struct {
	ID, Quantity, Source string
	Classes              []string
}
