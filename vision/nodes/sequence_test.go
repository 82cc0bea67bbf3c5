package nodes

import (
	"math"
	"testing"
)

// marks are candidates at places with a score each.
func marks(score float64, at ...float64) (out []candidate) {
	for _, a := range at {
		out = append(out, candidate{at: int(a), exact: a, score: score})
	}
	return out
}

// Where nodes stand three times as close as usual, one costs ln 3 less; few
// internodes, and extremes, change little or nothing.
func TestRarity(t *testing.T) {
	par := DefaultParams()
	for name, c := range map[string]struct {
		every float64
		n     int
		want  float64
	}{
		"a third of the usual": {par.UsualMM / 3, 8, -math.Log(3)},
		"the usual":            {par.UsualMM, 8, 0},
		"too few to tell":      {par.UsualMM / 3, par.MinApart, 0},
		"hardly believable":    {par.UsualMM / 20, 8, -par.MostRarity},
	} {
		var at []float64
		for i := range c.n {
			at = append(at, 30+c.every*float64(i))
		}
		if got := par.rarity(marks(5, at...)); math.Abs(got-par.Rarity*c.want) > 0.02 {
			t.Errorf("%s: the price rises by %.2f, want %.2f", name, got, par.Rarity*c.want)
		}
	}
}

// The lowest internodes are shorter than those above. As faint as these
// candidates are, the rhythm alone decides on them: at the base growing internodes
// are kept, the same farther up, or shrinking ones, are not.
func TestGrowingFromBase(t *testing.T) {
	par := DefaultParams()
	const faint = 3
	above := marks(6, 180, 255, 330, 405)
	grows := append(marks(faint, 30, 60, 105), above...)
	if got := sequence(grows, par.Price, par); len(got) != len(grows) {
		t.Errorf("of %d nodes whose internodes grow from the base, %d were kept", len(grows), len(got))
	}
	cost := func(cs []candidate) float64 {
		p := par
		p.Grow = 0
		return float64(len(sequence(cs, p.Price, p)) - len(sequence(cs, par.Price, par)))
	}
	if cost(grows) >= 0 {
		t.Error("the growth at the base makes no difference")
	}
	var far []candidate
	for _, c := range grows {
		c.at, c.exact = c.at+600, c.exact+600
		far = append(far, c)
	}
	if cost(far) != 0 {
		t.Error("growth is expected far from the base too")
	}
}
