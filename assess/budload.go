package assess

import (
	"math"
	"strings"
)

// kgPerPound is exact by definition (international pound).
const kgPerPound = 0.45359237

// BalancedFormula is a rule of balanced pruning: so many buds for the first
// pound of prunings, so many for each further one.
type BalancedFormula struct {
	Name   string  `json:"name"`
	First  float64 `json:"first"` // buds for the first pound
	Each   float64 `json:"each"`  // buds for each further pound
	For    string  `json:"for"`   // which vines it was made for
	Source string  `json:"source"`
}

// BalancedFormulas are the published ones whose figures are confirmed.
func BalancedFormulas() []BalancedFormula {
	return []BalancedFormula{
		{"30+10", 30, 10, phrase("Concord and American types; a Cornell study finds that it leaves Concord under-cropped"),
			"Univ. of Illinois Extension, Pruning and training grape vines, https://extension.illinois.edu/small-fruits/pruning-and-training-grape-vines"},
		{"60+10", 60, 10, phrase("Concord, where 30+10 leaves the vine under-cropped"), "Cornell Lake Erie extension, Vine size, pruning severity and vine balance, https://efficientvineyard.com/blog/vine-size-pruning-severity-and-vine-balance"},
		{"20+20", 20, 20, phrase("vinifera, as a practitioner gives it"), "http://cooksplace.us/pruning-2013-part-2/"},
		{"20+10", 20, 10, phrase("Pinot noir, as a practitioner gives it"), "https://vidonvineyard.com/2017/05/24/pruning-the-winter-work/"},
		{"14+10", 14, 10, phrase("Pinot noir in Oregon"), "J. Cortell, Pruning: Bank on It, Oregon Wine Press 2012, https://www.oregonwinepress.com/article?articleId=1089"},
	}
}

// Buds gives the buds to leave on a vine whose prunings weigh kg:
// First + Each*(kg/0.4536 - 1), rounded. EInvalid for a mass that can't be one
// vine's, and below one pound, for which the formulas aren't defined.
func (f BalancedFormula) Buds(kg float64) (int, error) {
	switch {
	case !(kg > 0 && kg <= 20):
		return 0, Errorf(EInvalid, "prunings of %v kg can't be one vine's: give what was cut off one vine, weighed, in kilograms.", kg)
	case kg < kgPerPound:
		return 0, Errorf(EInvalid, "%s isn't defined below one pound (0.45 kg) of prunings: leave fewer buds, in proportion, and no crop on a very small vine (common practice, no source).", f.Name)
	}
	return int(math.Round(f.First + f.Each*(kg/kgPerPound-1))), nil
}

// FormulaByName finds a published formula; ENotFound, with the names that
// exist, when there is none.
func FormulaByName(name string) (BalancedFormula, error) {
	var known []string
	for _, f := range BalancedFormulas() {
		if f.Name == name {
			return f, nil
		}
		known = append(known, f.Name)
	}
	return BalancedFormula{}, Errorf(ENotFound, "there's no formula of balanced pruning %q; choose one of %s.", name, strings.Join(known, ", "))
}

// BudAdvice holds a vine's buds against what its prunings can carry by a
// formula.
type BudAdvice struct {
	Formula BalancedFormula `json:"formula"`
	// Low, Value and High are the buds to leave by the bounds and the value of
	// the prunings' mass. Low is 0 where the lower bound lies below one pound,
	// for which no formula is defined.
	Low     int        `json:"low"`
	Value   int        `json:"value"`
	High    int        `json:"high"`
	Left    int        `json:"left"`    // buds of the choice; 0 when none was made
	Verdict string     `json:"verdict"` // "within", "below", "above", "too close to call", or "" without a choice
	Missing []Sentence `json:"missing"` // what isn't known, so that the figures are of part of the wood
}

// Advise gives the buds to leave for a mass of prunings, and what to make of
// those that are left. EInvalid, with what to enter, when the mass is missing
// or below one pound: the formula isn't defined there, and nothing is guessed.
//
// Where part of the wood wasn't seen, the mass can only be larger, so that
// nothing is called above.
func (f BalancedFormula) Advise(p *Prunings, left int) (BudAdvice, error) {
	a := BudAdvice{Formula: f, Left: left, Missing: []Sentence{}}
	if p == nil || !p.KG.Known() {
		return a, Errorf(EInvalid, "%s needs the mass of the prunings: weigh what was cut off this vine, in kilograms, or confirm its canes so that it can be estimated.", f.Name)
	}
	var err error
	if a.Value, err = f.Buds(p.KG.Value); err != nil {
		return a, err
	}
	if a.High, err = f.Buds(math.Min(20, p.KG.High)); err != nil {
		return a, err
	}
	if p.KG.Low >= kgPerPound {
		if a.Low, err = f.Buds(p.KG.Low); err != nil {
			return a, err
		}
	}
	a.Missing = append(a.Missing, p.Missing...)
	switch {
	case left <= 0:
	case left < a.Low:
		a.Verdict = "below"
	case left > a.High && len(p.Missing) > 0:
		a.Verdict = "too close to call"
	case left > a.High:
		a.Verdict = "above"
	default:
		a.Verdict = "within"
	}
	return a, nil
}

// InWords is the advice for people: "20+20 leaves 44 buds for 1.00 kg of
// prunings, weighed (43 to 45 by its interval); the 34 that are left lie below
// that". p is the mass that it was reckoned from.
func (a BudAdvice) InWords(p *Prunings) Sentence {
	how := Tell("weighed")
	if !p.Weighed {
		how = Tell("estimated from measured canes")
	}
	s := Tell("%s leaves %d buds for %.2f kg of prunings, %s", a.Formula.Name, a.Value, p.KG.Value, how)
	switch {
	case a.Low == 0:
		s = Tell("%s (up to %d by its interval; its lower end lies below one pound, where no formula holds)", s, a.High)
	case a.Low != a.High:
		s = Tell("%s (%d to %d by its interval)", s, a.Low, a.High)
	}
	for _, m := range a.Missing {
		s = Tell("%s; not in it: %s", s, m)
	}
	switch a.Verdict {
	case "below":
		s = Tell("%s; the %d that are left lie below that", s, a.Left)
	case "above":
		s = Tell("%s; the %d that are left lie above that", s, a.Left)
	case "within":
		s = Tell("%s; the %d that are left agree with that", s, a.Left)
	case "too close to call":
		s = Tell("%s; whether the %d that are left are too many can't be told", s, a.Left)
	}
	return s
}
