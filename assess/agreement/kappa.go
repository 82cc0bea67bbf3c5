package agreement

import (
	"math"
	"slices"

	"nodespan/assess"
)

// Kappa is how far two raters agree who put the same things into the same
// categories, beyond what chance alone would bring.
type Kappa struct {
	N int `json:"n"` // things that both rated
	// Raw is the share of things that both put into the same category. With
	// weights it's the mean weight.
	Raw float64 `json:"raw"`
	// Chance is the same if each rater had kept to their own shares of the
	// categories, but blindly.
	Chance float64 `json:"chance"`
	// Value is (Raw - Chance) / (1 - Chance): 1 for agreement in all, 0 for
	// what chance brings, below 0 for less.
	Value Bounded `json:"value"`
	// SE is the large-sample standard error of the value.
	SE float64 `json:"se"`
}

// CohenKappa is the kappa of Cohen 1960 from a square table: table[i][j] counts
// the things that one rater put into category i and the other into j. The
// interval is by the large-sample standard error of Fleiss, Cohen & Everitt
// 1969, which takes the things as independent of each other. EInvalid when the
// table isn't square, has less than two things, or when one of the raters used
// one category alone: kappa is then 0 or undefined whatever the other did, and
// its standard error 0, which would look like a sure result.
func CohenKappa(table [][]int) (Kappa, error) {
	return WeightedKappa(table, identity(len(table)))
}

// WeightedKappa is the weighted kappa of Cohen 1968: weights[i][j] is how far
// categories i and j agree, 1 for fully and 0 for not at all. Interval and
// errors as CohenKappa's; EInvalid too when the weights don't fit the table, or
// don't lie within 0 to 1.
func WeightedKappa(table [][]int, weights [][]float64) (Kappa, error) {
	n, err := checkTable(table, weights)
	if err != nil {
		return Kappa{}, err
	}
	k, total := len(table), float64(n)
	rows, columns := make([]float64, k), make([]float64, k)
	for i := range k {
		for j := range k {
			p := float64(table[i][j]) / total
			rows[i] += p
			columns[j] += p
		}
	}
	out := Kappa{N: n}
	// The mean weight of a category, over the other rater's shares.
	meanRow, meanColumn := make([]float64, k), make([]float64, k)
	for i := range k {
		for j := range k {
			out.Raw += weights[i][j] * float64(table[i][j]) / total
			out.Chance += weights[i][j] * rows[i] * columns[j]
			meanRow[i] += weights[i][j] * columns[j]
			meanColumn[j] += weights[i][j] * rows[i]
		}
	}
	left := 1 - out.Chance
	if left < 1e-12 || slices.Max(rows) > 1-1e-12 || slices.Max(columns) > 1-1e-12 {
		return out, assess.Errorf(assess.EInvalid, "One of the two used one category alone, so agreement beyond chance can't be told.")
	}
	out.Value.Value = (out.Raw - out.Chance) / left
	sum := 0.0
	for i := range k {
		for j := range k {
			d := weights[i][j]*left - (meanRow[i]+meanColumn[j])*(1-out.Raw)
			sum += float64(table[i][j]) / total * d * d
		}
	}
	d := out.Raw*out.Chance - 2*out.Chance + out.Raw
	out.SE = math.Sqrt(math.Max(0, sum-d*d)/total) / (left * left)
	out.Value.Low = math.Max(-1, out.Value.Value-normal95*out.SE)
	out.Value.High = math.Min(1, out.Value.Value+normal95*out.SE)
	if out.Raw > 1-1e-12 {
		// Agreement in all has a standard error of 0, which no number of things
		// bears out: the lower bound is that of the raw share (Wilson 1927).
		w, err := Wilson(n, n)
		if err != nil {
			return out, err
		}
		out.Value.Low = math.Max(-1, (w.Low-out.Chance)/left)
	}
	return out, nil
}

// LinearWeights are weights for k ordered categories, 1 - |i - j| / (k - 1):
// two apart are half as good as one apart (Cicchetti & Allison 1971).
func LinearWeights(k int) [][]float64 {
	return weightsBy(k, func(d float64) float64 { return 1 - d })
}

// QuadraticWeights are 1 - (i - j)^2 / (k - 1)^2 (Fleiss & Cohen 1973).
func QuadraticWeights(k int) [][]float64 {
	return weightsBy(k, func(d float64) float64 { return 1 - d*d })
}

func identity(k int) [][]float64 {
	return weightsBy(k, func(d float64) float64 {
		if d == 0 {
			return 1
		}
		return 0
	})
}

func weightsBy(k int, weight func(apart float64) float64) [][]float64 {
	w := make([][]float64, k)
	for i := range w {
		w[i] = make([]float64, k)
		for j := range w[i] {
			apart := 0.0
			if i != j {
				apart = math.Abs(float64(i-j)) / float64(k-1)
			}
			w[i][j] = weight(apart)
		}
	}
	return w
}

func checkTable(table [][]int, weights [][]float64) (n int, err error) {
	k := len(table)
	if k < 2 || len(weights) != k {
		return 0, assess.Errorf(assess.EInvalid, "A table of %d categories with weights for %d can't be used: give two categories or more, and a weight for each pair.", k, len(weights))
	}
	for i := range k {
		if len(table[i]) != k || len(weights[i]) != k {
			return 0, assess.Errorf(assess.EInvalid, "Row %d of the table doesn't have %d categories: both raters need the same ones.", i+1, k)
		}
		for j := range k {
			if table[i][j] < 0 {
				return 0, assess.Errorf(assess.EInvalid, "%d things in row %d: a count can't be negative.", table[i][j], i+1)
			}
			if w := weights[i][j]; !(w >= 0 && w <= 1) {
				return 0, assess.Errorf(assess.EInvalid, "A weight of %v isn't one: give 0 to 1.", w)
			}
			n += table[i][j]
		}
	}
	if n < 2 {
		return 0, assess.Errorf(assess.EInvalid, "%d things were rated by both: at least two are needed.", n)
	}
	return n, nil
}

// ManyKappa is how far a group of raters agrees beyond chance.
type ManyKappa struct {
	N      int     `json:"n"`      // things
	Raters int     `json:"raters"` // of each
	Raw    float64 `json:"raw"`    // share of pairs of raters that agree, over all things
	Chance float64 `json:"chance"`
	Value  float64 `json:"value"`
}

// FleissKappa is the kappa of Fleiss 1971: counts[i][j] is how many raters put
// thing i into category j. EInvalid when there are less than two things,
// raters or categories, when things were rated by different numbers of raters,
// or when all used one category alone.
func FleissKappa(counts [][]int) (ManyKappa, error) {
	if len(counts) < 2 || len(counts[0]) < 2 {
		return ManyKappa{}, assess.Errorf(assess.EInvalid, "For the agreement of a group at least two things and two categories are needed.")
	}
	k := len(counts[0])
	out := ManyKappa{N: len(counts)}
	shares := make([]float64, k)
	for i, row := range counts {
		raters, same := 0, 0
		if len(row) != k {
			return ManyKappa{}, assess.Errorf(assess.EInvalid, "Thing %d has %d categories, the first one %d: give all of them the same.", i+1, len(row), k)
		}
		for j, c := range row {
			if c < 0 {
				return ManyKappa{}, assess.Errorf(assess.EInvalid, "%d raters of thing %d: a count can't be negative.", c, i+1)
			}
			raters += c
			same += c * (c - 1)
			shares[j] += float64(c)
		}
		if i == 0 {
			out.Raters = raters
		}
		if raters != out.Raters || raters < 2 {
			return ManyKappa{}, assess.Errorf(assess.EInvalid, "Thing %d was rated by %d, the first one by %d: each must be rated by the same number of raters, two or more.", i+1, raters, out.Raters)
		}
		out.Raw += float64(same) / float64(raters*(raters-1)) / float64(len(counts))
	}
	for _, s := range shares {
		p := s / float64(out.N*out.Raters)
		out.Chance += p * p
	}
	if 1-out.Chance < 1e-12 {
		return out, assess.Errorf(assess.EInvalid, "All used one category alone, so agreement beyond chance can't be told.")
	}
	out.Value = (out.Raw - out.Chance) / (1 - out.Chance)
	return out, nil
}
