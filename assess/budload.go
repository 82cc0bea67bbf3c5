package assess

import "math"

// kgPerPound is exact by definition (international pound).
const kgPerPound = 0.45359237

// BalancedFormula is a rule of balanced pruning: so many buds for the first
// pound of prunings, so many for each further one.
type BalancedFormula struct {
	Name   string
	First  float64 // buds for the first pound
	Each   float64 // buds for each further pound
	For    string  // which vines it was made for
	Source string
}

// BalancedFormulas are the published ones whose figures are confirmed.
func BalancedFormulas() []BalancedFormula {
	return []BalancedFormula{
		{"30+10", 30, 10, "Concord and American types; a Cornell study finds that it leaves Concord under-cropped",
			"Univ. of Illinois Extension, Pruning and training grape vines, https://extension.illinois.edu/small-fruits/pruning-and-training-grape-vines"},
		{"20+20", 20, 20, "vinifera, as a practitioner gives it", "http://cooksplace.us/pruning-2013-part-2/"},
		{"20+10", 20, 10, "Pinot noir, as a practitioner gives it", "https://vidonvineyard.com/2017/05/24/pruning-the-winter-work/"},
		{"14+10", 14, 10, "Pinot noir in Oregon", "J. Cortell, Pruning: Bank on It, Oregon Wine Press 2012, https://www.oregonwinepress.com/article?articleId=1089"},
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
